//! What is suspect or dead and still there: to be repaired, taken apart or thrown away.

use askama::Template;

use super::{
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, page},
    show::{PAGE, Pager, counted},
};
use crate::{
    db::{
        self,
        movement::{About, LogFilter},
        thing::ThingFilter,
    },
    model::{
        fixture::Condition,
        id::ThingId,
        movement::MovementKind,
        thing::{Thing, ThingKind},
    },
};

struct Row {
    id: ThingId,
    tag: String,
    name: String,
    place: String,
    state: &'static str,
    word: String,
    /// Who said so, when and why.
    said: String,
    fixture: bool,
}

#[derive(Template)]
#[template(path = "repairs.html")]
struct RepairsPage {
    chrome: Chrome,
    rows: Vec<Row>,
    pager: Option<Pager>,
}

/// Who marked it bad last, when, and what they saw.
async fn said(tx: &mut db::ReadTx, thing: &Thing) -> Result<String, db::DbError> {
    let filter = LogFilter {
        about: About::Thing(thing.id),
        ..LogFilter::default()
    };
    let last = db::movement::list(tx, &filter, 20)
        .await?
        .into_iter()
        .find(|entry| entry.kind == MovementKind::Mark || entry.mark.is_some());
    Ok(last.map_or_else(String::new, |entry| {
        let why = entry.reason.as_str();
        let why = if why.is_empty() {
            String::new()
        } else {
            format!(": {why}")
        };
        format!("marked by {} on {}{why}", entry.who, entry.on)
    }))
}

/// GET: the list, dead ones and suspect ones alike.
pub async fn get(cx: Cx, form: Form) -> Answer {
    let (number, offset) = Pager::asked(&form);
    let filter = ThingFilter {
        bad: true,
        ..ThingFilter::default()
    };
    let mut tx = cx.read().await?;
    let mut things = db::thing::list(&mut tx, &filter, offset, PAGE + 1).await?;
    let most = usize::try_from(PAGE).unwrap_or(usize::MAX);
    let more = things.len() > most;
    things.truncate(most);
    let mut rows = Vec::new();
    for thing in things {
        rows.push(Row {
            id: thing.id,
            said: said(&mut tx, &thing).await?,
            name: super::cupboard::thing_line(&cx, &thing),
            place: thing.place.words.clone(),
            state: match thing.condition {
                Condition::Dead => "dead",
                Condition::Good | Condition::Suspect => "suspect",
            },
            word: thing.condition.to_string(),
            fixture: thing.kind == ThingKind::Fixture,
            tag: thing.tag.to_string(),
        });
    }
    drop(tx);
    let pager = Pager::new(number, rows.len(), more, |page| {
        Link::Repairs.with([("page", page)])
    });
    Ok(page(&RepairsPage {
        chrome: cx.chrome(
            Section::Fixtures,
            format!("To repair: {}", counted(rows.len(), "thing", "things")),
        ),
        rows,
        pager,
    }))
}
