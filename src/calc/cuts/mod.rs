//! How to cut bars from pieces on hand and rolls to buy: [`CutsBody`] in, [`CutsAnswer`] out.
//!
//! [`crate::plan::cut`] says what is best, and computes it. Here the document is checked, its
//! names become places in lists and the answer becomes names again; how long it has taken so far
//! is asked from whoever calls, and ends the search at the document's time limit.

mod asked;
mod said;
mod trade;

use std::time::Duration;

pub use asked::{
    CutsBar, CutsBody, CutsEnd, CutsFed, CutsObjective, CutsPiece, CutsRoll, CutsUnit, CutsWeights,
};
pub use said::{
    CutsAnswer, CutsBought, CutsEndOf, CutsLayout, CutsProven, CutsRest, CutsSegment, CutsShort,
};
pub use trade::{CutsTradeOff, CutsTradePoint, CutsUnsoldered};

use super::{Elapsed, Refused, document::sentence};
use crate::plan::cut::{self, Effort};

/// Worked examples, see [`super::Example`].
pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/two_leads.json"),
    include_str!("examples/three_rolls.json"),
    include_str!("examples/profile.json"),
];

/// The most steps of a search; the time limit ends it earlier unless it is proven before.
const STEPS: u64 = 1 << 40;

/// Checks the question, and answers it within its time limit.
pub fn answer(asked: &CutsBody, elapsed: Elapsed<'_>) -> Result<CutsAnswer, Refused> {
    let problem = asked.problem()?;
    let limit = Duration::from_millis(asked.time_limit_ms.unwrap_or(CutsBody::USUAL_LIMIT_MS));
    let effort = Effort {
        steps: STEPS,
        aim: asked.aim(),
        stop: &|| elapsed() >= limit,
    };
    // Each range was checked field by field, so that nothing is left to refuse as a whole.
    let whole = |why: cut::Refusal| Refused::at("", sentence(&why.to_string()));
    let plan = cut::plan_within(&problem, &effort).map_err(whole)?;
    let trade_off = if asked.trade_off == Some(true) {
        Some(cut::trade_off(&problem, &effort).map_err(whole)?)
    } else {
        None
    };
    let trade_off = trade_off.as_ref();
    Ok(CutsAnswer::new(
        asked,
        &problem,
        &plan,
        trade_off,
        elapsed(),
    ))
}

#[cfg(test)]
mod tests;
