//! The second question: which tape, and with it everything that a first set needs of parts.

use askama::Template;
use axum::http::StatusCode;

use super::{Step, Steps};
use crate::{
    db,
    model::{
        channel::Channels,
        part::{Kind, PartSpec, Tape},
        ready_made::{self, ReadyMade},
    },
    stock::{StockError, catalogue},
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
        show::counted,
    },
};

/// A ready-made tape to tick.
struct Row {
    key: &'static str,
    name: String,
    /// What it can do, in plain words.
    light: String,
    /// What comes with it: names of the ready-made parts of its system.
    with: String,
    there: bool,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "start/tape.html")]
struct TapePage {
    chrome: Chrome,
    steps: Steps,
    form: Form,
    /// Voltage, and the tapes of it.
    groups: Vec<(String, Vec<Row>)>,
}

/// What light a tape gives, for somebody who has never chosen one.
fn light(colours: Option<&Channels>) -> &'static str {
    match colours.map(|colours| colours.conductors() - 1) {
        Some(1) => "one white; brighter or darker",
        Some(2) => "white from warm to cool",
        Some(3) => "any colour; white only as a mix",
        Some(4) => "any colour, and a white of its own",
        Some(_) => "any colour, and white from warm to cool",
        None => "its colours are not known",
    }
}

fn row(part: &ReadyMade, tape: &Tape, form: &Form, there: &[String]) -> Row {
    let with: Vec<String> = ready_made::system(part)
        .into_iter()
        .filter(|key| *key != part.key)
        .filter_map(ready_made::find)
        .filter(|part| !matches!(part.spec, PartSpec::Sundry(_)))
        .map(|part| part.name.to_string())
        .collect();
    let colours = tape.colours();
    let conductors = colours.as_ref().map_or(0, Channels::conductors);
    Row {
        key: part.key,
        name: part.name.to_string(),
        light: format!(
            "{}; {conductors} conductors to every bar",
            light(colours.as_ref())
        ),
        with: with.join(", "),
        there: there.iter().any(|key| key == part.key),
        ticked: form.all("tape").any(|key| key == part.key),
    }
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let there = db::part::list_ready_made(&mut *cx.read().await?).await?;
    let mut groups: Vec<(String, Vec<Row>)> = Vec::new();
    for part in ready_made::all() {
        let PartSpec::Tape(tape) = &part.spec else {
            continue;
        };
        let voltage = tape.voltage_mv.show();
        let row = row(part, tape, &form, &there);
        match groups.iter_mut().find(|(of, _)| *of == voltage) {
            Some((_, rows)) => rows.push(row),
            None => groups.push((voltage, vec![row])),
        }
    }
    Ok(page_with(
        status,
        &TapePage {
            chrome: cx.chrome(Section::Cupboard, "Your tape"),
            steps: Step::Tape.list(),
            form,
            groups,
        },
    ))
}

/// GET: the ready-made tapes.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

/// POST: takes the ticked tapes, with what goes with each, into the catalogue.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let tapes: Vec<&ReadyMade> = form
        .all("tape")
        .filter_map(ready_made::find)
        .filter(|part| part.spec.kind() == Kind::Tape)
        .collect();
    if tapes.is_empty() {
        form.fail(
            "tape",
            "Tick the tape that is nearest to yours; its figures can be changed. Or type your own.",
        );
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let mut keys: Vec<String> = Vec::new();
    for key in tapes.into_iter().flat_map(ready_made::system) {
        if !keys.iter().any(|known| known == key) {
            keys.push(key.to_owned());
        }
    }
    match catalogue::take_ready_made(&cx.act(&form), &keys).await {
        Ok(added) => Ok(go_with(
            &Link::StartHave,
            &Flash::good(format!(
                "{} in the catalogue. Their figures are typical ones: change them to the maker’s \
                 when you have them.",
                counted(added, "part is", "parts are")
            )),
        )),
        Err(StockError::NotFound(_)) => {
            form.fail(
                "tape",
                "One of these is no ready-made part any more. Nothing was added. Load this page again and tick anew.",
            );
            show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        Err(why) => Err(why.into()),
    }
}
