//! What comes down: where it goes and in what condition it came.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;

use super::packing::{amount_of, held};
use crate::{
    db,
    model::{
        design::State,
        id::{PartId, PlaceId, ThingId},
        part::Kind,
        reservation::{Held, HoldUse},
    },
    plan::outcome::{Becomes, CutSource, Serve},
    stock::{
        StockError,
        strike::{self, OutWhat},
    },
    web::{cx::Cx, design::Whole, error::Trouble},
};

struct Line {
    tag: String,
    what: String,
    amount: String,
    goes_to: String,
    /// Counted, so that a number is written where one thing is ticked.
    count: bool,
}

#[derive(Template)]
#[template(path = "design/sheets/strike.html")]
struct Strike {
    lines: Vec<Line>,
    /// Whether it lists what is out.
    out: bool,
    /// Whether it lists what is still to go out.
    more: bool,
}

/// A cable run that is cut for the set, and has no tag yet.
fn run(cx: &Cx, whole: &Whole, part: Option<PartId>, length: i64) -> Line {
    let name = part.map_or_else(|| "Cable".to_owned(), |part| whole.part_name(part));
    Line {
        count: false,
        tag: String::new(),
        what: format!("{name}, cut for this set"),
        amount: whole.amount(cx, part, length),
        goes_to: String::new(),
    }
}

/// Cable runs of a plan that are cut from reels to buy.
fn runs_to_buy(cx: &Cx, whole: &Whole) -> Vec<Line> {
    if !whole.is_open() {
        return Vec::new();
    }
    let is_cable = |part: PartId| {
        let part = whole.part(part);
        part.is_some_and(|part| part.spec.kind() == Kind::Cable)
    };
    let mut lines = Vec::new();
    for cut in &whole.plan().cuts {
        if matches!(cut.source, CutSource::Piece { .. }) || !is_cable(cut.part) {
            continue;
        }
        for segment in &cut.segments {
            if !matches!(segment.becomes, Becomes::Offcut | Becomes::Scrap) {
                let length = segment.to - segment.from;
                lines.push(run(cx, whole, Some(cut.part), length));
            }
        }
    }
    lines
}

pub(super) async fn body(cx: &Cx, whole: &Whole) -> Result<askama::Result<String>, Trouble> {
    let mut tx = cx.read().await?;
    let out = match strike::list(&mut tx, whole.design().id).await {
        // A set of which nothing ever went out has no stage yet.
        Err(StockError::NotFound(_)) => Vec::new(),
        out => out?,
    };
    let nodes = db::place::list(&mut tx, true).await?;
    let paths: BTreeMap<PlaceId, String> = nodes
        .into_iter()
        .map(|node| (node.place.id, node.place.path))
        .collect();
    let path = |id: Option<PlaceId>| {
        id.and_then(|id| paths.get(&id).cloned())
            .unwrap_or_default()
    };
    let mut lines = Vec::new();
    for line in &out {
        lines.push(match &line.what {
            OutWhat::Thing(thing) => Line {
                count: false,
                tag: thing.tag.to_string(),
                what: thing.name.clone(),
                amount: amount_of(cx, thing),
                goes_to: path(line.came_from),
            },
            OutWhat::Count { part, name, amount } => Line {
                count: true,
                tag: String::new(),
                what: name.to_string(),
                amount: whole.amount(cx, Some(*part), *amount),
                goes_to: path(line.came_from),
            },
        });
    }
    let said = lines.len();
    if out.is_empty() || whole.design().state == State::Building {
        let mut out_counts: BTreeMap<PartId, i64> = BTreeMap::new();
        let mut out_things: BTreeSet<ThingId> = BTreeSet::new();
        for line in &out {
            match &line.what {
                OutWhat::Thing(thing) => {
                    out_things.insert(thing.id);
                }
                OutWhat::Count { part, amount, .. } => {
                    *out_counts.entry(*part).or_insert(0) += *amount;
                }
            }
        }
        for (held, becomes) in held(&mut tx, whole).await? {
            let returns = becomes == HoldUse::Returns;
            match held {
                Held::Thing { thing, from, to } => {
                    let found = db::thing::lookup(&mut tx, thing).await?;
                    let Some(thing) = found.filter(|it| !out_things.contains(&it.id)) else {
                        continue;
                    };
                    // Cable is held for good until it hangs; then all of it comes back.
                    let cable = thing.part_kind == Some(Kind::Cable);
                    if returns || (cable && thing.amount.amount == to - from) {
                        lines.push(Line {
                            count: false,
                            amount: amount_of(cx, &thing),
                            goes_to: path(thing.place.place),
                            tag: thing.tag.to_string(),
                            what: thing.name,
                        });
                    } else if cable {
                        lines.push(run(cx, whole, thing.part, to - from));
                    }
                }
                Held::Count { part, amount, .. } if returns => {
                    let gone = out_counts.entry(part).or_insert(0);
                    let known = amount.min(*gone);
                    *gone -= known;
                    if amount > known {
                        lines.push(Line {
                            count: true,
                            tag: String::new(),
                            what: whole.part_name(part),
                            amount: whole.amount(cx, Some(part), amount - known),
                            goes_to: String::new(),
                        });
                    }
                }
                Held::Count { .. } => {}
            }
        }
        lines.extend(runs_to_buy(cx, whole));
        for bar in &whole.plan().bars {
            if let Serve::Build(build) = &bar.serve
                && !whole.serving.contains_key(&bar.bar)
            {
                lines.push(Line {
                    count: false,
                    tag: String::new(),
                    what: format!("Bar {}, built for this set", bar.label),
                    amount: cx.length(build.lit_um),
                    goes_to: String::new(),
                });
            }
        }
    }
    drop(tx);
    Ok(Strike {
        more: lines.len() > said,
        out: !out.is_empty(),
        lines,
    }
    .render())
}
