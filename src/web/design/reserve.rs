//! Reserve: what is held, read before it is held; and what changed when it is another plan now.

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;

use super::{
    Head, Tab, Whole, count_of, day, head, load,
    runs::live_mates,
    taken::{Taken, taken},
};
use crate::{
    model::{
        design::State,
        id::{DesignId, ThingId},
        reservation::{Held, HoldUse},
    },
    plan::outcome::PlannedHold,
    stock::{self, StockError, reserve::Outcome},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, FlashKind, go_with, page_with},
    },
};

/// Something that is held.
pub struct HeldRow {
    /// What.
    pub what: String,
    /// Its page.
    pub href: Link,
    /// How much of it.
    pub amount: String,
    /// For which bar; empty for none.
    pub bar: String,
    /// Until when.
    pub until: &'static str,
    /// Whether it rests on ordered goods.
    pub due: bool,
}

#[derive(Template)]
#[template(path = "design/reserve.html")]
struct ReservePage {
    chrome: Chrome,
    head: Head,
    holds: Vec<HeldRow>,
    digest: String,
    window: String,
    short: Vec<String>,
    missing: Vec<String>,
    /// What was chosen and somebody else has.
    taken: Vec<Taken>,
    /// That cables fit into each other; `None` where they don't.
    mates: Option<String>,
    differences: Vec<String>,
    changed: bool,
    again: bool,
    possible: bool,
    wrong: Option<String>,
}

fn thing_words(cx: &Cx, whole: &Whole, id: ThingId, from: i64, to: i64) -> (String, String) {
    let stock = &whole.input().stock;
    if let Some(spare) = whole.fixture(id) {
        let make = &spare.fixture.make;
        return (
            format!("fixture {}", spare.fixture.tag),
            format!("{}, {}", cx.length(make.lit_um), make.channels),
        );
    }
    if let Some(spare) = stock.pieces.iter().find(|spare| spare.piece.id == id) {
        return (
            format!(
                "{} · {}",
                spare.piece.tag,
                whole.part_name(spare.piece.part)
            ),
            whole.amount(cx, Some(spare.piece.part), to - from),
        );
    }
    if let Some(spare) = stock.units.iter().find(|spare| spare.thing == id) {
        return (
            format!("{} · {}", spare.tag, whole.part_name(spare.part)),
            "1".to_owned(),
        );
    }
    if let Some(spare) = stock.frames.iter().find(|spare| spare.thing == id) {
        return (
            format!("frame {} · {}", spare.tag, spare.name),
            "1".to_owned(),
        );
    }
    ("something of the house".to_owned(), String::new())
}

fn held(cx: &Cx, whole: &Whole, hold: &PlannedHold) -> HeldRow {
    let bar = hold
        .bar
        .map_or_else(String::new, |bar| format!("bar {}", whole.bar_label(bar)));
    let until = match hold.becomes {
        HoldUse::Returns => "to strike",
        HoldUse::Consumed => "until it is used up",
    };
    match hold.held {
        Held::Thing { thing, from, to } => {
            let (what, amount) = thing_words(cx, whole, thing, from, to);
            HeldRow {
                what,
                href: Link::Thing(thing),
                amount,
                bar,
                until,
                due: false,
            }
        }
        Held::Count { part, amount, due } => HeldRow {
            what: whole.part_name(part),
            href: Link::Part(part),
            amount: whole.amount(cx, Some(part), amount),
            bar,
            until,
            due: due.is_some(),
        },
    }
}

/// Things by their kinds: `2 fixtures`, `5 pieces`.
fn things_words(whole: &Whole, things: &BTreeSet<ThingId>) -> Vec<String> {
    let stock = &whole.input().stock;
    let among = |ids: &[ThingId]| ids.iter().filter(|id| things.contains(id)).count();
    let fixtures: Vec<_> = stock.fixtures.iter().map(|it| it.fixture.id).collect();
    let pieces: Vec<_> = stock.pieces.iter().map(|it| it.piece.id).collect();
    let units: Vec<_> = stock.units.iter().map(|it| it.thing).collect();
    let (fixtures, pieces, units) = (among(&fixtures), among(&pieces), among(&units));
    let frames = things.len().saturating_sub(fixtures + pieces + units);
    [
        (fixtures, "fixture", "fixtures"),
        (
            pieces,
            "piece to cut from or to use",
            "pieces to cut from or to use",
        ),
        (units, "driver or supply", "drivers and supplies"),
        (frames, "frame", "frames"),
    ]
    .into_iter()
    .filter(|(count, ..)| *count > 0)
    .map(|(count, one, many)| count_of(count, one, many))
    .collect()
}

/// `a`, `a and b`, `a, b and c`.
fn and(words: &[String]) -> String {
    match words {
        [before @ .., last] if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => words.concat(),
    }
}

/// What reserving does to the stock, in a few lines.
pub fn does(whole: &Whole) -> Vec<String> {
    let plan = whole.plan();
    let (mut things, mut counts, mut due) = (BTreeSet::new(), BTreeSet::new(), 0);
    for hold in &plan.holds {
        match hold.held {
            // A piece of which several bars are cut is one.
            Held::Thing { thing, .. } => {
                things.insert(thing);
            }
            Held::Count { due: Some(_), .. } => due += 1,
            Held::Count { part, .. } => {
                counts.insert(part);
            }
        }
    }
    let dates = whole.design().dates;
    let mut held = things_words(whole, &things);
    if !counts.is_empty() {
        held.push(format!(
            "what it needs of {}",
            count_of(counts.len(), "counted part", "counted parts")
        ));
    }
    let mut lines = vec![format!(
        "Holds {} from {} to {}; nobody else’s set takes them.",
        if held.is_empty() {
            "nothing yet".to_owned()
        } else {
            and(&held)
        },
        day(dates.build_on()),
        day(dates.strike_on())
    )];
    if due > 0 {
        lines.push(format!(
            "{} on goods that are ordered and have not come.",
            count_of(due, "hold rests", "holds rest")
        ));
    }
    let short = whole.short_needs();
    if short > 0 {
        lines.push(format!(
            "{} on the shopping list.",
            count_of(short, "part is short and stays", "parts are short and stay")
        ));
    }
    lines.push("Nothing moves.".to_owned());
    lines
}

fn show(
    cx: &Cx,
    whole: &Whole,
    status: StatusCode,
    differences: Option<Vec<String>>,
    wrong: Option<String>,
) -> Answer {
    let (mut chrome, mut head) = head(cx, whole, Tab::Beside);
    // What those lines lead to is this page.
    head.not_held.clear();
    head.replans = false;
    let design = whole.design();
    let again = design.state == State::Reserved;
    chrome.title = format!("Reserve {}", design.name);
    let dates = design.dates;
    Ok(page_with(
        status,
        &ReservePage {
            chrome,
            holds: whole
                .plan()
                .holds
                .iter()
                .map(|hold| held(cx, whole, hold))
                .collect(),
            digest: whole.digest().to_owned(),
            window: format!("{} to {}", day(dates.build_on()), day(dates.strike_on())),
            short: whole
                .plan()
                .needs
                .iter()
                .filter(|need| need.short > 0)
                .map(|need| {
                    format!(
                        "{}: {} short",
                        need.name,
                        whole.amount(cx, need.part, need.short)
                    )
                })
                .collect(),
            missing: whole
                .unexplained()
                .iter()
                .map(|check| format!("{}: {}", check.about, check.sentence))
                .collect(),
            taken: taken(whole),
            mates: live_mates(whole),
            changed: differences.is_some(),
            differences: differences.unwrap_or_default(),
            again,
            possible: again || design.state == State::Draft,
            wrong,
            head,
        },
    ))
}

/// GET: what would be held.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    show(
        &cx,
        &load::whole(&cx, id).await?,
        StatusCode::OK,
        None,
        None,
    )
}

/// POST: holds just what was read. When the plan is another by now nothing is held, and the page
/// comes back with what changed and the new plan.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let version = form.value("version").parse().unwrap_or(0);
    let outcome = stock::reserve::reserve(&cx.act(&form), id, version, form.value("digest")).await;
    match outcome {
        Ok(Outcome::Reserved { holds, short, .. }) => {
            let text = format!(
                "Reserved: {} for its days.{}",
                count_of(holds, "hold", "holds"),
                if short {
                    " Something is short still; it stands on the shopping list."
                } else {
                    ""
                }
            );
            Ok(go_with(
                &Link::Design(id),
                &Flash {
                    kind: if short {
                        FlashKind::Warn
                    } else {
                        FlashKind::Good
                    },
                    text,
                    undoes: None,
                    toward: None,
                    log: false,
                    lines: Vec::new(),
                },
            ))
        }
        Ok(Outcome::Changed { differences, .. }) => {
            let whole = load::whole(&cx, id).await?;
            show(&cx, &whole, StatusCode::CONFLICT, Some(differences), None)
        }
        Err(StockError::Changed) => {
            let whole = load::whole(&cx, id).await?;
            let said = vec![
                "Somebody changed the set itself; the plan below is of the set as it is now."
                    .to_owned(),
            ];
            show(&cx, &whole, StatusCode::CONFLICT, Some(said), None)
        }
        Err(why @ (StockError::Refused(_) | StockError::Field { .. })) => {
            let whole = load::whole(&cx, id).await?;
            show(
                &cx,
                &whole,
                StatusCode::CONFLICT,
                None,
                Some(why.to_string()),
            )
        }
        Err(StockError::Db(crate::db::DbError::Refused(why))) => {
            let whole = load::whole(&cx, id).await?;
            let said = vec![why.sentence().to_owned()];
            show(&cx, &whole, StatusCode::CONFLICT, Some(said), None)
        }
        Err(StockError::NotFound(_)) => Err(load::no_design()),
        Err(why) => Err(why.into()),
    }
}
