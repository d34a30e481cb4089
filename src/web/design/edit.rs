//! Name, dates, budget, notes and the parts to use throughout.

use askama::Template;
use axum::http::StatusCode;

use super::{day, load};
use crate::{
    model::{
        design::{Choices, Design},
        id::{DesignId, PartId},
        part::{Kind, Part},
    },
    stock::design::{Basics, Edit},
    units::{Date, Money, ShowDates, ShowDatesError},
    web::{
        at::Path,
        clash::{Clash, Field},
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
    },
};

#[derive(Template)]
#[template(path = "design/edit.html")]
struct EditPage {
    chrome: Chrome,
    id: DesignId,
    form: Form,
    clash: Option<Clash>,
    currency: String,
    leads: Vec<Choice>,
    cables: Vec<Choice>,
    blocks: Vec<Choice>,
    drivers: Vec<Choice>,
    supplies: Vec<Choice>,
}

/// The parts of one kind to choose from, with "any that fits" first.
pub fn choices(parts: &[Part], kind: Kind, chosen: &str) -> Vec<Choice> {
    let mut list = Choice::list([("", "any that fits")], chosen);
    list.extend(Choice::list(
        parts
            .iter()
            .filter(|part| part.spec.kind() == kind)
            .filter(|part| !part.retired || part.id.to_string() == chosen)
            .map(|part| (part.id.to_string(), part.name.to_string())),
        chosen,
    ));
    list
}

/// The years in which a set can be; any other is a slip of the finger.
const YEARS: std::ops::RangeInclusive<i16> = 1950..=2199;

/// A day of a set as it was typed, with what is wrong said beside it.
pub fn day_of_show(form: &mut Form, field: &str) -> Option<Date> {
    let day = form.date(field)?;
    if !YEARS.contains(&day.year()) {
        form.fail(
            field,
            format!(
                "This is the year {}. Type the year with its four figures, such as 2026.",
                day.year()
            ),
        );
        return None;
    }
    Some(day)
}

/// The three dates of a form, with what is wrong said beside them.
pub fn dates(form: &mut Form) -> Option<ShowDates> {
    let (build_on, get_in, strike_on) = (
        day_of_show(form, "build_on"),
        day_of_show(form, "get_in"),
        day_of_show(form, "strike_on"),
    );
    let (build_on, get_in, strike_on) = (build_on?, get_in?, strike_on?);
    // Each is said where it can be mended: what is wrong with the get-in is of no use at the strike.
    if get_in < build_on {
        form.fail(
            "get_in",
            ShowDatesError::GetInBeforeBuild { build_on, get_in },
        );
    }
    if strike_on < get_in {
        form.fail(
            "strike_on",
            ShowDatesError::StrikeBeforeGetIn { get_in, strike_on },
        );
    }
    ShowDates::new(build_on, get_in, strike_on).ok()
}

fn filled(cx: &Cx, design: &Design) -> Form {
    let id = |part: Option<PartId>| part.map_or_else(String::new, |id| id.to_string());
    Form::filled([
        ("name", design.name.to_string()),
        ("build_on", design.dates.build_on().to_string()),
        ("get_in", design.dates.get_in().to_string()),
        ("strike_on", design.dates.strike_on().to_string()),
        (
            "budget",
            design
                .budget_minor
                .map_or_else(String::new, |budget| cx.money(budget)),
        ),
        ("note", design.note.as_str().to_owned()),
        ("lead", id(design.choices.lead)),
        ("cable", id(design.choices.cable)),
        ("block", id(design.choices.block)),
        ("driver", id(design.choices.driver)),
        ("supply", id(design.choices.supply)),
        ("version", design.version.to_string()),
    ])
}

const FIELDS: &[Field] = &[
    ("name", "Name"),
    ("build_on", "Build day"),
    ("get_in", "Get-in"),
    ("strike_on", "Strike"),
    ("budget", "Budget"),
    ("note", "Notes"),
    ("lead", "Lead to solder on"),
    ("cable", "Cable from driver to bar"),
    ("block", "Terminal block"),
    ("driver", "Driver"),
    ("supply", "Supply"),
];

/// A field's value as people read it.
fn words(parts: &[Part], name: &str, value: &str) -> String {
    match name {
        "lead" | "cable" | "block" | "driver" | "supply" if value.is_empty() => {
            "any that fits".to_owned()
        }
        "lead" | "cable" | "block" | "driver" | "supply" => parts
            .iter()
            .find(|part| part.id.to_string() == value)
            .map_or_else(|| value.to_owned(), |part| part.name.to_string()),
        "build_on" | "get_in" | "strike_on" => {
            crate::units::parse_date(value).map_or_else(|_| value.to_owned(), day)
        }
        _ => value.to_owned(),
    }
}

fn show(cx: &Cx, id: DesignId, parts: &[Part], form: Form, clash: Option<Clash>) -> Answer {
    let status = if clash.is_some() {
        StatusCode::PRECONDITION_FAILED
    } else if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let list = |kind, field: &str| choices(parts, kind, form.value(field));
    Ok(page_with(
        status,
        &EditPage {
            chrome: cx.chrome(Section::Designs, "Change the set"),
            id,
            clash,
            currency: cx.venue.currency.to_string(),
            leads: list(Kind::Lead, "lead"),
            cables: list(Kind::Cable, "cable"),
            blocks: list(Kind::Block, "block"),
            drivers: list(Kind::Driver, "driver"),
            supplies: list(Kind::Supply, "supply"),
            form,
        },
    ))
}

/// GET: the form.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let form = filled(&cx, whole.design());
    show(&cx, id, &whole.input().parts, form, None)
}

/// POST: changes them.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let parts = &whole.input().parts;
    let name = form.name("name");
    let dates = dates(&mut form);
    let currency = cx.venue.currency;
    let budget = form.optional("budget", |text| Money::parse(text, &currency));
    if budget.flatten().is_some_and(|budget| budget < Money::ZERO) {
        form.fail("budget", "Type a sum of zero or more, or leave it empty.");
    }
    let note = form.note("note");
    let choices = Choices {
        lead: form.optional_id("lead").flatten(),
        cable: form.optional_id("cable").flatten(),
        block: form.optional_id("block").flatten(),
        driver: form.optional_id("driver").flatten(),
        supply: form.optional_id("supply").flatten(),
    };
    let (Some(name), Some(dates), Some(budget), Some(note), true) =
        (name, dates, budget, note, form.ok())
    else {
        return show(&cx, id, parts, form, None);
    };
    let basics = Basics {
        name,
        dates,
        budget_minor: budget,
        note,
        choices,
    };
    let edits = [Edit::Basics(basics)];
    for _ in 0..load::ATTEMPTS {
        match load::store(&cx, &mut form, id, &edits).await? {
            load::Stored::Done(lines) => {
                let flash = Flash::good("The set was changed.").followed(lines);
                return Ok(go_with(&Link::Design(id), &flash));
            }
            load::Stored::Wrong => return show(&cx, id, parts, form, None),
            load::Stored::Changed(now) => {
                let clash = Clash::meet(&mut form, &filled(&cx, &now), FIELDS, |name, value| {
                    words(parts, name, value)
                });
                // Where only bars were changed, this goes on.
                if !clash.is_none() {
                    return show(&cx, id, parts, form, Some(clash));
                }
            }
        }
    }
    Err(load::changed(&Link::DesignEdit(id)))
}
