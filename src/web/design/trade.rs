//! What soldering saves: the least money for each number of soldered ends, in words.

use super::Whole;
use crate::{
    plan::{
        answer::Proof,
        cut::{Aim, Effort, Problem, TradeOff, trade_off},
        outcome::CutProof,
    },
    stock::desk::Wanted,
    units::Money,
    web::cx::Cx,
};

/// Steps for the tapes of a page together, as in [`crate::plan::cut::Budget`].
const STEPS: u64 = 40_000;
/// Longer tables are folded.
const MOST_ROWS_OPEN: usize = 8;

/// What soldering saves on one tape.
pub struct Trade {
    /// Which tape.
    pub part: String,
    /// What it comes to, as sentences.
    pub words: String,
    /// From the fewest soldered ends on; none where there is nothing to choose.
    pub rows: Vec<TradeRow>,
    /// The table stands open.
    pub open: bool,
}

/// The least money for a number of soldered ends.
pub struct TradeRow {
    /// How many ends are soldered.
    pub ends: u64,
    /// What the rolls cost.
    pub money: String,
    /// What that saves against the row before.
    pub saves: String,
    /// What is known of it.
    pub known: String,
}

fn sum(cx: &Cx, minor: i64) -> String {
    Money::new(minor).map_or_else(|_| minor.to_string(), |sum| cx.money(sum))
}

fn ends(number: u64, before: &str) -> String {
    let word = if number == 1 { "end" } else { "ends" };
    format!("{number} {before}{word}")
}

/// The questions of the tapes that are cut for money, with what they are called.
pub fn questions(whole: &Whole) -> Vec<(String, Problem)> {
    let question = |proof: &CutProof| {
        let asked = proof.asked.0.clone().filter(|_| proof.priced)?;
        Some((whole.part_name(proof.part), asked))
    };
    whole.plan().proofs.iter().filter_map(question).collect()
}

/// Works each out, in a number of steps that is the same everywhere.
pub fn found(questions: Vec<(String, Problem)>, wanted: &Wanted) -> Vec<(String, TradeOff)> {
    let effort = Effort {
        steps: STEPS / u64::try_from(questions.len().max(1)).unwrap_or(u64::MAX),
        aim: Aim::Solder,
        stop: &|| !wanted.still(),
    };
    questions
        .into_iter()
        .filter_map(|(part, question)| Some((part, trade_off(&question, &effort).ok()?)))
        .filter(|(_, found)| !found.points.is_empty())
        .collect()
}

/// As it is shown.
pub fn shown(cx: &Cx, part: String, found: &TradeOff) -> Trade {
    let mut words = Vec::new();
    if let (Some(first), Some(last)) = (found.points.first(), found.points.last()) {
        let dear = sum(cx, first.plan.purchase_minor);
        let cheap = sum(cx, last.plan.purchase_minor);
        let one = found.points.len() == 1;
        words.push(match first.ends {
            0 if one => format!(
                "Nothing has to be soldered: rolls for {cheap} do, and no less does with soldering."
            ),
            0 => format!("With nobody to solder, the rolls cost {dear}."),
            fewest if one => format!(
                "{} soldered whatever is bought; the rolls cost {cheap}.",
                ends(fewest, "") + if fewest == 1 { " is" } else { " are" }
            ),
            fewest => format!(
                "{} soldered whatever is bought; with no more than that, the rolls cost {dear}.",
                ends(fewest, "") + if fewest == 1 { " is" } else { " are" }
            ),
        });
        if !one {
            words.push(format!(
                "With {} they cost {cheap}, and more soldering saves nothing.",
                ends(last.ends, "soldered ")
            ));
        }
        if !found.proven {
            words.push(
                "Not all of this is proven: the search was stopped before it had tried \
                 everything, and steps between these may save something too."
                    .to_owned(),
            );
        }
    }
    let before = std::iter::once(None).chain(found.points.iter().map(Some));
    let rows: Vec<TradeRow> = before
        .zip(&found.points)
        .map(|(before, point)| {
            let money = point.plan.purchase_minor;
            TradeRow {
                ends: point.ends,
                money: sum(cx, money),
                saves: before.map_or_else(String::new, |before| {
                    let more = ends(point.ends - before.ends, "more ");
                    format!("{} by {more}", sum(cx, before.plan.purchase_minor - money))
                }),
                known: match point.money {
                    Proof::Proven => "proven".to_owned(),
                    Proof::Within { bound } => format!("not less than {}", sum(cx, bound)),
                    Proof::Open { .. } => "not known".to_owned(),
                },
            }
        })
        .collect();
    Trade {
        part,
        words: words.join(" "),
        open: rows.len() <= MOST_ROWS_OPEN,
        rows: if rows.len() > 1 { rows } else { Vec::new() },
    }
}
