//! Ready-made parts: generic ones to be ticked instead of typed.

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    error::Answer,
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
};
use crate::{
    db,
    model::{
        attribute,
        part::Kind,
        ready_made::{self, ReadyMade},
    },
    stock::{StockError, catalogue},
    units::LengthUnit,
};

struct Row {
    key: &'static str,
    name: String,
    figures: String,
    there: bool,
    ticked: bool,
}

struct Group {
    kind: Kind,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "part/ready_made.html")]
struct ReadyMadePage {
    chrome: Chrome,
    form: Form,
    groups: Vec<Group>,
    /// Tapes whose whole system can be ticked at once.
    systems: Vec<Choice>,
    /// The tape whose system is ticked, if one was chosen.
    with: String,
    /// Ticked, but not among what is shown.
    kept: Vec<String>,
}

/// The figures that one chooses by.
fn figures(part: &ReadyMade, unit: LengthUnit) -> String {
    let texts: Vec<_> = attribute::show(&part.spec, unit)
        .into_iter()
        .filter(|shown| shown.attribute.need && !shown.text.is_empty())
        .map(|shown| format!("{} {}", shown.attribute.label.to_lowercase(), shown.text))
        .collect();
    texts.join(" · ")
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let there = db::part::list_ready_made(&mut *cx.read().await?).await?;
    let mut ticked: BTreeSet<String> = form.all("key").map(ToOwned::to_owned).collect();
    let words: Vec<_> = form
        .value("q")
        .split_whitespace()
        .map(str::to_lowercase)
        .collect();
    let with = ready_made::find(form.value("with")).filter(|_| form.value("tick") == "system");
    if let Some(tape) = with {
        ticked.extend(ready_made::system(tape).into_iter().map(ToOwned::to_owned));
    }
    let systems = ready_made::all()
        .iter()
        .filter(|part| part.spec.kind() == Kind::Tape)
        .map(|part| (part.key, &part.name));
    let systems = Choice::list(systems, form.value("with"));
    let mut groups: Vec<Group> = Vec::new();
    for part in ready_made::all() {
        let kind = part.spec.kind();
        let figures = figures(part, cx.unit());
        let text = format!("{kind} {} {figures}", part.name).to_lowercase();
        if !words.iter().all(|word| text.contains(word)) {
            continue;
        }
        let row = Row {
            key: part.key,
            name: part.name.to_string(),
            figures,
            there: there.iter().any(|key| key == part.key),
            ticked: ticked.remove(part.key),
        };
        match groups.last_mut() {
            Some(group) if group.kind == kind => group.rows.push(row),
            _ => groups.push(Group {
                kind,
                rows: vec![row],
            }),
        }
    }
    let kept = ticked
        .into_iter()
        .filter(|key| ready_made::find(key).is_some())
        .collect();
    Ok(page_with(
        status,
        &ReadyMadePage {
            chrome: cx.chrome(Section::Cupboard, "Ready-made parts"),
            form,
            groups,
            kept,
            systems,
            with: with.map_or_else(String::new, |tape| tape.name.to_string()),
        },
    ))
}

/// GET: all of them, or those that have the words in them.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

/// POST: takes those that are ticked into the catalogue.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let keys: Vec<_> = form.all("key").map(ToOwned::to_owned).collect();
    if keys.is_empty() {
        form.fail("key", "Tick at least one part, then add them.");
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    match catalogue::take_ready_made(&cx.act(&form), &keys).await {
        Ok(added) => {
            let parts = if added == 1 { "part is" } else { "parts are" };
            Ok(go_with(
                &Link::TakeIn,
                &Flash::good(format!(
                    "{added} {parts} in the catalogue. Their figures are typical ones: change them \
                     to the maker's. Next, type what you have of them."
                )),
            ))
        }
        Err(StockError::NotFound(_)) => {
            form.fail(
                "key",
                "One of these is no ready-made part any more. Nothing was added. \
                 Load this page again and tick anew.",
            );
            show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        Err(why) => Err(why.into()),
    }
}
