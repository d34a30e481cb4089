//! The low-voltage circuit of a driver output, solved as a network.
//!
//! A supply with its own resistance, a feed cable, the driver's channels with their on-resistance,
//! then cables, joined at junctions in any way, and bars of tape. Tape is a ladder: each cut unit
//! is half its trace, the load, and the other half, of every colour and of the common that they
//! share. Common positive and common negative tape are the same circuit seen from the other side,
//! so what is solved for is the voltage lost on each conductor, counted from the supply.
//!
//! [`circuit`] is what is given and what of it is refused; [`network`] makes nodes and branches of
//! it; [`skyline`] solves one linear step directly; [`solve`] finds the currents of loads that are
//! not linear; [`figures`] is what is read from them; [`mixes`] tries every set of channels.

pub mod circuit;
pub mod figures;
pub mod mixes;
mod network;
mod skyline;
mod solve;

pub use circuit::{Bar, Cable, Circuit, Field, LoadModel, Mix, Place, Refused, Strip};
pub use figures::{BarFigures, CableFigures, Figures, Losses, Spot, StripFigures};
pub use mixes::{Worst, worst};

/// Solves a circuit with a set of channels at full.
///
/// The answer is checked: no current is missing at any node, and what the supply gives is what is
/// lost and lit, to a millionth. Otherwise the circuit is refused rather than answered wrongly.
pub fn solve(circuit: &Circuit, on: Mix) -> Result<Figures, Refused> {
    circuit.check()?;
    solve_checked(circuit, on)
}

/// As [`solve`], for a circuit that was checked before.
fn solve_checked(circuit: &Circuit, on: Mix) -> Result<Figures, Refused> {
    let network = network::Network::new(circuit, on)?;
    let lost = solve::lost(circuit, &network)?;
    figures::read(circuit, &network, &lost, on)
}

#[cfg(test)]
mod tests;
