//! Wire order from terminal to pad: [`WiresBody`] in, [`WiresAnswer`] out.

mod asked;
mod said;

pub use asked::{WiresBody, WiresChain, WiresJoined, WiresPart};
pub use said::{WiresAnswer, WiresChainAnswer, WiresCrossing, WiresRow};

use super::Refused;
use crate::plan::chain;

pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/one-crossing.json"),
    include_str!("examples/moulded.json"),
    include_str!("examples/wrong-side.json"),
];

/// Checks the question, and places the crossings.
pub fn answer(asked: &WiresBody) -> Result<WiresAnswer, Refused> {
    let chains = asked.chains()?;
    let solved = chain::solve(&chains, &asked.prefer);
    Ok(WiresAnswer::new(asked, &chains, &solved))
}
