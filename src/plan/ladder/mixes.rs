//! Every set of channels: all at full is not always the worst for every cut unit, since a colour
//! that loads one bar spares another.

use super::{
    circuit::{Circuit, Mix, Refused},
    figures::{Figures, Spot},
};

/// A set of channels with where something is least in it.
pub type At = (Mix, Spot);

/// What the worst sets of channels do.
#[derive(Debug, Clone, PartialEq)]
pub struct Worst {
    /// The set with the lowest voltage, and where.
    pub lowest: At,
    /// The set with the least light, and where.
    pub dimmest: At,
    /// The same by bar: lowest voltage, least light. `None` for a bar whose channels are all off in
    /// every set.
    pub bars: Vec<Option<(At, At)>>,
}

/// Differences of voltage, or of light in percent, below this are rounding.
const SAME: f64 = 1e-6;

/// Solves the circuit for every set of the channels that its bars have, and gives back the worst
/// ones with the figures of all channels at full and of each alone. Where two sets are alike, the
/// one with more channels before is named.
///
/// One bar that is fed at one end needs fewer: the loss on its common is greatest at its far end, and
/// each further channel adds to it there more than the others spare, so all at full is the worst set
/// (a test compares it with every set).
pub fn worst(circuit: &Circuit) -> Result<(Figures, Vec<Figures>, Worst), Refused> {
    circuit.check()?;
    let strips = circuit.bars.iter().flat_map(|bar| &bar.strips);
    let used = strips.fold(Mix::NONE, |mix, strip| mix.with(strip.channel));
    let full = super::solve_checked(circuit, used)?;
    let mut worst = Worst {
        lowest: (used, full.lowest),
        dimmest: (used, full.dimmest),
        bars: vec![None; circuit.bars.len()],
    };
    take_bars(&mut worst.bars, &full);
    let mut alone = Vec::new();
    let one_way = circuit.bars.len() == 1 && circuit.cables.len() == 1;
    let single = |on: Mix| (0..circuit.channels.len()).any(|channel| on == Mix::only(channel));
    let others = used
        .each_of()
        .filter(|on| *on != used && (!one_way || single(*on)));
    for on in others {
        let figures = super::solve_checked(circuit, on)?;
        lower(&mut worst.lowest, (on, figures.lowest));
        lower(&mut worst.dimmest, (on, figures.dimmest));
        take_bars(&mut worst.bars, &figures);
        if single(on) {
            alone.push(figures);
        }
    }
    alone.sort_by_key(|figures| figures.on);
    Ok((full, alone, worst))
}

fn lower(least: &mut At, other: At) {
    if other.1.value < least.1.value - SAME {
        *least = other;
    }
}

fn take_bars(bars: &mut [Option<(At, At)>], figures: &Figures) {
    for (at, (least, bar)) in bars.iter_mut().zip(&figures.bars).enumerate() {
        for strip in &bar.strips {
            let spot = |value| {
                let spot = Spot {
                    bar: at,
                    channel: strip.channel,
                    unit: strip.worst_unit,
                    value,
                };
                (figures.on, spot)
            };
            let (low, dim) = (spot(strip.worst_v), spot(strip.light_worst_percent));
            let (lowest, dimmest) = least.get_or_insert((low, dim));
            lower(lowest, low);
            lower(dimmest, dim);
        }
    }
}
