//! Which load hangs on which driver output, and which inlet on which supply: [`FeedsBody`] in,
//! [`FeedsAnswer`] out.
//!
//! [`crate::plan::driven`] says what is best, and computes it in whole milliamperes. Here the
//! document is checked, its names become places in lists and the answer becomes names again: what a
//! load takes is rounded up to the next milliampere, and what anything may carry down.

mod asked;
mod milli;
mod question;
mod said;
mod short;
#[cfg(test)]
mod tests;
mod used;

pub use asked::{FeedsBody, FeedsDriver, FeedsLoad, FeedsSupply};
pub use said::{
    FeedsAnswer, FeedsBought, FeedsInlet, FeedsOutput, FeedsProven, FeedsShort, FeedsUnchecked,
    FeedsUsedDriver, FeedsUsedSupply,
};

use super::{Elapsed, Refused};
use crate::plan::driven;

/// Worked examples, see [`super::Example`].
pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/three_pairs.json"),
    include_str!("examples/shared_output.json"),
    include_str!("examples/two_places.json"),
];

/// Checks the question and answers it.
pub fn answer(asked: &FeedsBody, elapsed: Elapsed<'_>) -> Result<FeedsAnswer, Refused> {
    asked.check()?;
    let asked = question::Asked::new(asked);
    let steps = asked.body.step_limit.unwrap_or(driven::STEPS);
    let answer = driven::solve(&asked.question, steps);
    Ok(FeedsAnswer::new(&asked, &answer, elapsed()))
}
