//! Start addresses of some drivers by plain fields, or by the document of
//! `tapewright calc addresses`.

use askama::Template;

use super::{pasted, refuse, status};
use crate::{
    calc::addresses::{self, AddressSetting, AddressesAnswer, AddressesBody, AddressesDriver},
    model::part::AddressBy,
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Section, page_with},
    },
};

/// What stands in the fields at first, invented.
const FIRST: [(&str, &str); 2] = [
    ("taken", "1-96"),
    (
        "drivers",
        "D1, 12, switches, 97\nD2, 12, menu\nD3, 4, switches_less_one",
    ),
];

/// A driver with its address.
struct Row {
    name: String,
    start: String,
    slots: String,
    kept: &'static str,
    /// Nine switches, where it has them.
    switches: Option<Vec<bool>>,
}

/// A question, answered.
struct Answered {
    rows: Vec<Row>,
    lines: Vec<String>,
    notes: Vec<String>,
    document: String,
}

#[derive(Template)]
#[template(path = "bench/addresses.html")]
struct AddressesPage {
    chrome: Chrome,
    form: Form,
    answered: Option<Answered>,
}

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let chrome = cx.chrome(Section::Bench, "Start addresses");
    let page = AddressesPage {
        chrome,
        form,
        answered,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("taken") || form.has("drivers");
    form.fill(&FIRST);
    if !asked {
        return show(&cx, form, None);
    }
    let body = form.take("drivers", drivers).map(|drivers| AddressesBody {
        slots_taken: form.value("taken").trim().to_owned(),
        drivers,
    });
    let answered = body.and_then(|body| answer(&mut form, &body, field_of));
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in FIRST {
        form.set(field, first);
    }
    let body = pasted::<AddressesBody>(&mut form);
    let answered = body.and_then(|body| answer(&mut form, &body, |_| "document"));
    show(&cx, form, answered)
}

fn field_of(pointer: &str) -> &'static str {
    if pointer == "/slots_taken" {
        "taken"
    } else {
        "drivers"
    }
}

/// Drivers, one a line.
fn drivers(text: &str) -> Result<Vec<AddressesDriver>, String> {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let drivers = (1..)
        .zip(lines)
        .map(|(at, line): (u32, _)| driver(line).map_err(|why| format!("Line {at}: {why}")))
        .collect::<Result<Vec<_>, _>>()?;
    if drivers.is_empty() {
        return Err("Type at least one driver, such as D1, 12, switches.".to_owned());
    }
    Ok(drivers)
}

/// `D1, 12, switches, 97`: a name, its slots, how it is set, where it is now.
fn driver(line: &str) -> Result<AddressesDriver, String> {
    let mut words = line.split(',').map(str::trim);
    let name = words.next().unwrap_or_default();
    let slots = words.next().unwrap_or_default();
    let slots = slots.parse().map_err(|_| {
        "after the name stands how many slots it takes, 1 to 512, such as D1, 12.".to_owned()
    })?;
    let address_by = match words.next() {
        None | Some("") => AddressBy::Menu,
        Some(word) => word.parse().map_err(|_| {
            "then how it is set: menu, rdm, switches, or switches_less_one where they show start − 1."
                .to_owned()
        })?,
    };
    let set_to = match words.next() {
        None | Some("") => None,
        Some(word) => Some(set_to(word)?),
    };
    if let Some(more) = words.next() {
        return Err(format!("“{more}” is one thing too many."));
    }
    Ok(AddressesDriver {
        name: name.to_owned(),
        slots,
        address_by,
        set_to,
        follows: None,
    })
}

/// `97`, or `2:97` in universe 2.
fn set_to(word: &str) -> Result<AddressSetting, String> {
    let (universe, slot) = word.split_once(':').unwrap_or(("1", word));
    let read = |text: &str| {
        text.trim().parse().map_err(|_| {
            "last stands its address now, 1 to 512, such as 97, or 2:97 in universe 2.".to_owned()
        })
    };
    Ok(AddressSetting {
        universe: read(universe)?,
        slot: read(slot)?,
    })
}

fn answer(
    form: &mut Form,
    body: &AddressesBody,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    match addresses::answer(body) {
        Ok(said) => Some(answered(body, &said)),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}

fn answered(body: &AddressesBody, said: &AddressesAnswer) -> Answered {
    Answered {
        rows: said
            .drivers
            .iter()
            .map(|driver| Row {
                name: driver.name.clone(),
                start: if driver.universe == 1 {
                    driver.start.to_string()
                } else {
                    format!("{} in universe {}", driver.start, driver.universe)
                },
                slots: format!("{} to {}", driver.start, driver.last),
                kept: if driver.kept { "as it is" } else { "to be set" },
                switches: driver.switches_show.map(|_| {
                    (1..=9)
                        .map(|nth| driver.switches_on.contains(&nth))
                        .collect()
                }),
            })
            .collect(),
        lines: said
            .data_lines
            .iter()
            .map(|line| {
                format!(
                    "Universe {}: {} of 32 unit loads on {}, a terminator at the end of each{}.",
                    line.universe,
                    line.unit_loads,
                    if line.lines == 1 {
                        "one line".to_owned()
                    } else {
                        format!("{} lines", line.lines)
                    },
                    if line.splitter {
                        ", with a splitter"
                    } else {
                        ""
                    }
                )
            })
            .collect(),
        notes: said.notes.clone(),
        document: serde_json::to_string_pretty(body).unwrap_or_default(),
    }
}
