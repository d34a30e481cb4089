//! Voltage drop and light along bars: [`DropBody`] in, [`DropAnswer`] out.
//!
//! [`crate::plan::ladder`] solves the circuit. Here the document is checked, its names become
//! places in lists, sizes become resistances, and the answer becomes names again.

mod asked;
mod by_channel;
mod circuit;
mod said;

pub use asked::{
    DropBar, DropBody, DropCable, DropConductor, DropDriver, DropFeed, DropLoadModel, DropSupply,
};
pub use by_channel::ByChannel;
pub use said::{DropAnswer, DropBarAnswer, DropCableAnswer, DropDimmest, DropLosses, DropLowest};

use super::Refused;
use crate::plan::ladder;

pub(super) const EXAMPLES: &[&str] = &[
    include_str!("examples/one-end.json"),
    include_str!("examples/both-ends.json"),
    include_str!("examples/trunk.json"),
];

/// Checks the question, and solves it.
pub fn answer(asked: &DropBody) -> Result<DropAnswer, Refused> {
    let (circuit, notes) = asked.circuit()?;
    let on = asked.on()?;
    let figures = ladder::solve(&circuit, on)
        .map_err(|why| Refused::at(why.field().to_string(), why.to_string()))?;
    Ok(DropAnswer::new(asked, &circuit, &figures, notes))
}
