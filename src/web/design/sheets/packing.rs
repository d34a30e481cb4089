//! What is fetched from which place, place by place.

use std::collections::BTreeMap;

use askama::Template;

use crate::{
    db::{self, ReadTx},
    model::{
        design::State,
        id::PartId,
        reservation::{Held, HoldState, HoldUse},
        thing::Thing,
    },
    web::{
        cx::Cx,
        design::{Whole, short::uncounted_fuses},
        error::Trouble,
        link::Link,
    },
};

/// One thing or count to fetch.
struct Line {
    tag: String,
    what: String,
    amount: String,
}

#[derive(Template)]
#[template(path = "design/sheets/packing.html")]
struct Packing {
    /// Place by place, along the alphabet of their paths.
    places: Vec<(String, Vec<Line>)>,
    /// What is to be bought first, in words.
    missing: Vec<(String, String)>,
    /// The fuses that the plan counts as no part.
    fuses: Vec<String>,
    /// Whether the set is over.
    over: bool,
}

pub(super) fn amount_of(cx: &Cx, thing: &Thing) -> String {
    thing
        .amount
        .length()
        .map_or_else(|| "1".to_owned(), |length| cx.length(length))
}

/// What the set holds now, and what becomes of it: by the plan where it is still open; once it is
/// built, what is held in truth, finished bars included and used-up stock left out.
pub(super) async fn held(tx: &mut ReadTx, whole: &Whole) -> Result<Vec<(Held, HoldUse)>, Trouble> {
    if whole.is_open() {
        let holds = whole.plan().holds.iter();
        return Ok(holds.map(|hold| (hold.held, hold.becomes)).collect());
    }
    let holds = db::reservation::list(tx, whole.design().id).await?;
    Ok(holds
        .into_iter()
        .filter(|hold| hold.state == HoldState::Active)
        .map(|hold| (hold.hold.held, hold.hold.becomes))
        .collect())
}

pub(super) async fn body(cx: &Cx, whole: &Whole) -> Result<askama::Result<String>, Trouble> {
    let mut places: BTreeMap<String, Vec<Line>> = BTreeMap::new();
    let mut counts: BTreeMap<PartId, i64> = BTreeMap::new();
    let mut tx = cx.read().await?;
    let mut seen = std::collections::BTreeSet::new();
    for (held, _) in held(&mut tx, whole).await? {
        match &held {
            // A piece of which several bars are cut is fetched once.
            Held::Thing { thing, .. } if seen.insert(*thing) => {
                if let Some(thing) = db::thing::lookup(&mut tx, *thing).await? {
                    places
                        .entry(thing.place.words.clone())
                        .or_default()
                        .push(Line {
                            amount: amount_of(cx, &thing),
                            tag: thing.tag.to_string(),
                            what: thing.name,
                        });
                }
            }
            Held::Thing { .. } => {}
            Held::Count { part, amount, .. } => *counts.entry(*part).or_insert(0) += amount,
        }
    }
    for (part, mut wanted) in counts {
        // Taken from where there is most, so that one walks least.
        let mut there = db::balance::list_of_part(&mut tx, part).await?;
        there.retain(|at| at.place.place.is_some());
        there.sort_by_key(|at| std::cmp::Reverse(at.amount));
        for at in there {
            let take = wanted.min(at.amount);
            if take > 0 {
                wanted -= take;
                places.entry(at.place.words).or_default().push(Line {
                    tag: String::new(),
                    what: whole.part_name(part),
                    amount: whole.amount(cx, Some(part), take),
                });
            }
        }
    }
    drop(tx);
    for lines in places.values_mut() {
        lines.sort_by_cached_key(|line| (line.what.clone(), natural(&line.tag)));
    }
    let over = matches!(whole.design().state, State::Struck | State::Cancelled);
    let short = whole.plan().needs.iter();
    // Of a set that is over nothing is bought any more.
    let short = short.filter(|need| need.short > 0 && !over);
    Ok(Packing {
        fuses: uncounted_fuses(whole),
        over,
        places: places.into_iter().collect(),
        missing: short
            .map(|need| (need.name.clone(), whole.amount(cx, need.part, need.short)))
            .collect(),
    }
    .render())
}

/// A tag's row and number, so that `R-9` comes before `R-10`.
fn natural(tag: &str) -> (String, u64) {
    let row = tag.trim_end_matches(|c: char| c.is_ascii_digit());
    (row.to_owned(), tag[row.len()..].parse().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::natural;

    #[test]
    fn tags_are_in_the_order_of_their_numbers() {
        let mut tags = ["R-10", "F-9", "R-9", "F-10", ""];
        tags.sort_by_key(|tag| natural(tag));
        assert_eq!(tags, ["", "F-9", "F-10", "R-9", "R-10"]);
    }
}
