//! What is suspect or dead and still there: to be repaired, taken apart or thrown away.

use askama::Template;

use super::{
    cx::Cx,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Section, page},
    show::{PAGE, Pager, day},
};
use crate::{
    db::{self, overview::Marked, thing::ThingFilter},
    model::{fixture::Condition, id::ThingId, thing::ThingKind},
    units::Date,
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
    /// Which page of the list this is.
    number: i64,
    pager: Option<Pager>,
}

/// Who marked it, when, and what they saw.
fn said(marked: &Marked, today: Date) -> String {
    let why = if marked.reason.is_empty() {
        String::new()
    } else {
        format!(": {}", marked.reason)
    };
    format!("marked by {} on {}{why}", marked.who, day(marked.on, today))
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
    let ids: Vec<ThingId> = things.iter().map(|thing| thing.id).collect();
    let marks = db::overview::list_last_marks(&mut tx, &ids).await?;
    drop(tx);
    let rows: Vec<Row> = things
        .into_iter()
        .map(|thing| Row {
            id: thing.id,
            said: marks
                .get(&thing.id)
                .map_or_else(String::new, |marked| said(marked, cx.today)),
            name: super::cupboard::thing_line(&cx, &thing),
            place: thing.place.words.clone(),
            state: match thing.condition {
                Condition::Dead => "dead",
                Condition::Good | Condition::Suspect => "suspect",
            },
            word: thing.condition.to_string(),
            fixture: thing.kind == ThingKind::Fixture,
            tag: thing.tag.to_string(),
        })
        .collect();
    let pager = Pager::new(number, rows.len(), more, |page| {
        Link::Repairs.with([("page", page)])
    });
    Ok(page(&RepairsPage {
        chrome: cx.chrome(Section::Fixtures, "To repair"),
        rows,
        number,
        pager,
    }))
}
