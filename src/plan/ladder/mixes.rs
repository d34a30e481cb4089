//! Every set of channels: all at full is not always the worst for every cut unit, since a colour
//! that loads one bar spares another.

use super::{
    circuit::{Circuit, Mix, Refused},
    figures::{Figures, Spot},
};

/// What the worst sets of channels do.
#[derive(Debug, Clone, PartialEq)]
pub struct Worst {
    /// The set with the lowest voltage, and where.
    pub lowest: (Mix, Spot),
    /// The set with the least light, and where.
    pub dimmest: (Mix, Spot),
}

/// Differences of voltage, or of light in percent, below this are rounding.
const SAME: f64 = 1e-6;

/// Solves the circuit for every set of the channels that its bars have, and gives back the worst
/// ones with the figures of all channels at full and of each alone. Where two sets are alike, the
/// one with more channels before is named.
pub fn worst(circuit: &Circuit) -> Result<(Figures, Vec<Figures>, Worst), Refused> {
    circuit.check()?;
    let strips = circuit.bars.iter().flat_map(|bar| &bar.strips);
    let used = strips.fold(Mix::NONE, |mix, strip| mix.with(strip.channel));
    let full = super::solve_checked(circuit, used)?;
    let mut worst = Worst {
        lowest: (used, full.lowest),
        dimmest: (used, full.dimmest),
    };
    let mut alone = Vec::new();
    for on in used.each_of().filter(|on| *on != used) {
        let figures = super::solve_checked(circuit, on)?;
        if figures.lowest.value < worst.lowest.1.value - SAME {
            worst.lowest = (on, figures.lowest);
        }
        if figures.dimmest.value < worst.dimmest.1.value - SAME {
            worst.dimmest = (on, figures.dimmest);
        }
        if (0..circuit.channels.len()).any(|channel| on == Mix::only(channel)) {
            alone.push(figures);
        }
    }
    alone.sort_by_key(|figures| figures.on);
    Ok((full, alone, worst))
}
