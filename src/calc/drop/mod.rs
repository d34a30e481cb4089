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

/// Voltage of every cut unit of a channel of a bar, from start to end, in V.
#[derive(Debug, Clone, PartialEq)]
pub struct VoltsAlong {
    /// Place of the bar in the question.
    pub bar: usize,
    /// The channel's name.
    pub channel: String,
    /// The voltages.
    pub volts: Vec<f64>,
}

/// Checks the question, and solves it.
pub fn answer(asked: &DropBody) -> Result<DropAnswer, Refused> {
    answer_along(asked).map(|(answer, _)| answer)
}

/// The same, with every cut unit's voltage to be drawn.
pub fn answer_along(asked: &DropBody) -> Result<(DropAnswer, Vec<VoltsAlong>), Refused> {
    let (circuit, notes) = asked.circuit()?;
    let on = asked.on()?;
    let figures = ladder::solve(&circuit, on)
        .map_err(|why| Refused::at(why.field().to_string(), why.to_string()))?;
    let along = figures.bars.iter().enumerate().flat_map(|(bar, figures)| {
        let strips = figures.strips.iter();
        strips.map(move |strip| (bar, strip.channel, strip.volts.clone()))
    });
    let along = along
        .map(|(bar, channel, volts)| VoltsAlong {
            bar,
            channel: circuit.channels[channel].0.clone(),
            volts,
        })
        .collect();
    Ok((DropAnswer::new(asked, &circuit, &figures, notes), along))
}
