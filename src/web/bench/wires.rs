//! Wire order from a driver's terminals to a tape's pads by plain fields, or by the document of
//! `tapewright calc wires`.

use askama::Template;

use super::{pasted, refuse, status};
use crate::{
    calc::wires::{self, WiresAnswer, WiresBody, WiresChain, WiresJoined, WiresPart},
    draw::wiring::{Column, svg, wire_class},
    model::channel::{Channels, Role, RoleOrder},
    plan::chain::HandJoint,
    web::{
        cx::Cx,
        error::Answer,
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Section, page_with},
    },
};

/// What stands in the fields at first: orders of the trade, of which red and green clash.
const FIRST: [(&str, &str); 6] = [
    ("colours", "RGB"),
    ("terminals", "common, red, green, blue"),
    ("cable", "black, green, red, blue"),
    ("lead", "common, green, red, blue"),
    ("pads", "common, green, red, blue"),
    ("prefer", "block"),
];

/// One wire.
struct Row {
    class: &'static str,
    role: String,
    cells: Vec<String>,
}

/// One chain, answered.
struct ChainRow {
    name: String,
    sentence: String,
    right: bool,
    heads: Vec<String>,
    rows: Vec<Row>,
    picture: String,
}

/// A question, answered.
struct Answered {
    chains: Vec<ChainRow>,
    document: String,
}

#[derive(Template)]
#[template(path = "bench/wires.html")]
struct WiresPage {
    chrome: Chrome,
    form: Form,
    joints: Vec<Choice>,
    answered: Option<Answered>,
}

fn show(cx: &Cx, form: Form, answered: Option<Answered>) -> Answer {
    let status = status(&form);
    let joints = HandJoint::ALL.iter();
    let page = WiresPage {
        chrome: cx.chrome(Section::Bench, "Wire order"),
        joints: Choice::list(
            joints.map(|joint| (*joint, joint.label())),
            form.value("prefer"),
        ),
        form,
        answered,
    };
    Ok(page_with(status, &page))
}

/// GET: the fields, with the answer where something was asked.
pub async fn get(cx: Cx, mut form: Form) -> Answer {
    let asked = form.has("colours");
    form.fill(&FIRST);
    if !asked {
        return show(&cx, form, None);
    }
    let body = read(&mut form);
    let answered = body.and_then(|body| answer(&mut form, &body, field_of));
    show(&cx, form, answered)
}

/// POST: a document instead of the fields.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    for (field, first) in FIRST {
        form.set(field, first);
    }
    let body = pasted::<WiresBody>(&mut form);
    let answered = body.and_then(|body| answer(&mut form, &body, |_| "document"));
    show(&cx, form, answered)
}

fn field_of(pointer: &str) -> &'static str {
    let part = |at: &str| pointer.contains(&format!("/parts/{at}"));
    if part("0") {
        "terminals"
    } else if part("1") {
        "cable"
    } else if part("2") {
        "lead"
    } else if part("3") {
        "pads"
    } else {
        "colours"
    }
}

/// The fields as a document: terminals, cable, lead, pads.
fn read(form: &mut Form) -> Option<WiresBody> {
    let channels = form.take("colours", str::parse::<Channels>);
    let terminals = form.take("terminals", str::parse::<RoleOrder>);
    let lead = form.optional("lead", str::parse::<RoleOrder>);
    let pads = form.take("pads", str::parse::<RoleOrder>);
    let prefer = form.word::<HandJoint>("prefer");
    let wires: Vec<String> = form
        .value("cable")
        .split([',', ';'])
        .map(str::trim)
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    if wires.len() < 2 {
        form.fail(
            "cable",
            "Name the colours of its wires in order, such as black, green, red, blue.",
        );
    }
    if !form.ok() {
        return None;
    }
    let named = |name: &str, joined: Option<WiresJoined>, order: RoleOrder| WiresPart {
        name: name.to_owned(),
        joined,
        order: Some(order),
        order_out: None,
        conductors: None,
        wire_colours: Vec::new(),
    };
    let mut parts = vec![
        named("driver terminals", None, terminals?),
        WiresPart {
            name: "cable".to_owned(),
            joined: Some(WiresJoined::DriverPlug),
            order: None,
            order_out: None,
            conductors: Some(wires.len()),
            wire_colours: wires,
        },
    ];
    // Without a lead the cable is soldered to the pads.
    parts.extend(lead?.map(|order| named("lead", Some(WiresJoined::Block), order)));
    parts.push(named("tape pads", Some(WiresJoined::Lead), pads?));
    Some(WiresBody {
        prefer: vec![prefer?],
        chains: vec![WiresChain {
            name: "bar".to_owned(),
            channels: channels?,
            driver_common: None,
            tape_common: None,
            parts,
        }],
    })
}

fn answer(
    form: &mut Form,
    body: &WiresBody,
    field: impl Fn(&str) -> &'static str,
) -> Option<Answered> {
    match wires::answer(body) {
        Ok(said) => Some(Answered {
            chains: (0..said.chains.len())
                .map(|at| chain(body, &said, at))
                .collect(),
            document: serde_json::to_string_pretty(body).unwrap_or_default(),
        }),
        Err(why) => {
            refuse(form, &why, field);
            None
        }
    }
}

fn chain(body: &WiresBody, said: &WiresAnswer, at: usize) -> ChainRow {
    let (asked, said) = (&body.chains[at], &said.chains[at]);
    let crossing: Vec<String> = said
        .crossings
        .iter()
        .map(|cross| format!("{} crosses {}", cross.one, cross.other))
        .collect();
    let sentence = match (&said.why, &said.crossed_before) {
        (Some(why), _) => why.clone(),
        (None, Some(part)) => format!(
            "Every wire reaches its own with {} before the {part}: {}.",
            match crossing.len() {
                1 => "one crossing".to_owned(),
                n => format!("{n} crossings"),
            },
            crossing.join(", ")
        ),
        (None, None) => "Every wire reaches its own, and none crosses.".to_owned(),
    };
    ChainRow {
        name: said.name.clone(),
        sentence,
        right: said.right,
        heads: asked.parts.iter().map(|part| part.name.clone()).collect(),
        rows: said
            .wires
            .iter()
            .map(|wire| Row {
                class: wire_class(wire.role),
                role: wire.role.to_string(),
                cells: asked
                    .parts
                    .iter()
                    .zip(&wire.places)
                    .map(|(part, place)| {
                        let colour = place
                            .checked_sub(1)
                            .and_then(|at| part.wire_colours.get(at))
                            .map_or_else(String::new, |colour| format!(", {colour}"));
                        format!("{place}{colour}")
                    })
                    .collect(),
            })
            .collect(),
        picture: picture(asked, said),
    }
}

/// The wires from part to part, each at its place.
fn picture(asked: &WiresChain, said: &wires::WiresChainAnswer) -> String {
    let mut columns = Vec::new();
    for (at, part) in asked.parts.iter().enumerate() {
        let placed = said.wires.iter().filter_map(|wire| {
            let place = wire.places.get(at)?.checked_sub(1)?;
            Some((place, wire.role))
        });
        let placed: Vec<(usize, Role)> = placed.collect();
        let count = part
            .order
            .as_ref()
            .map(RoleOrder::count)
            .or(part.conductors)
            .unwrap_or(0);
        let mut roles = vec![Role::Unused; count];
        for (place, role) in placed {
            if let Some(free) = roles.get_mut(place) {
                *free = role;
            }
        }
        let Ok(order) = RoleOrder::new(roles) else {
            return String::new();
        };
        columns.push(Column {
            title: part.name.clone(),
            order,
            wires: part.wire_colours.clone(),
        });
    }
    if said.wires.is_empty() {
        String::new()
    } else {
        svg(&columns)
    }
}
