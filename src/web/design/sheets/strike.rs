//! What comes down: where it goes and in what condition it came.

use std::collections::BTreeMap;

use askama::Template;

use super::packing::{amount_of, held};
use crate::{
    db,
    model::{
        id::PlaceId,
        reservation::{Held, HoldUse},
    },
    plan::outcome::Serve,
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
    /// Whether it lists what is out, or what is planned to be.
    out: bool,
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
    if out.is_empty() {
        let held = held(&mut tx, whole).await?;
        for (held, _) in (held.iter()).filter(|(_, becomes)| *becomes == HoldUse::Returns) {
            match held {
                Held::Thing { thing, .. } => {
                    if let Some(thing) = db::thing::lookup(&mut tx, *thing).await? {
                        lines.push(Line {
                            count: false,
                            amount: amount_of(cx, &thing),
                            goes_to: path(thing.place.place),
                            tag: thing.tag.to_string(),
                            what: thing.name,
                        });
                    }
                }
                Held::Count { part, amount, .. } => lines.push(Line {
                    count: true,
                    tag: String::new(),
                    what: whole.part_name(*part),
                    amount: whole.amount(cx, Some(*part), *amount),
                    goes_to: String::new(),
                }),
            }
        }
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
        lines,
        out: !out.is_empty(),
    }
    .render())
}
