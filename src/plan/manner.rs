//! How a part is cut, and in what step its lengths are computed.

use crate::{
    model::part::{Part, PartSpec, Tape},
    units::Length,
};

/// How a part is cut.
#[derive(Debug, Clone, Copy)]
pub(super) struct Manner<'a> {
    /// The tape, where it is one: it is cut at its marks only.
    pub(super) tape: Option<&'a Tape>,
    /// What the saw takes, in the part's stock unit.
    pub(super) kerf: i64,
    /// Whether pieces are taken as they are, and never cut.
    pub(super) whole_only: bool,
}

/// Profile and cable are computed in at most so many steps along the longest piece: finer ones
/// cost time and gain less than a millimetre in ten metres.
pub(super) const MOST_STEPS: i64 = 10_000;

impl<'a> Manner<'a> {
    /// `None` for what has no length.
    pub(super) fn of(part: &'a Part) -> Option<Self> {
        let (tape, kerf, whole_only) = match &part.spec {
            PartSpec::Tape(tape) => (Some(tape), 0, false),
            PartSpec::Profile(profile) => {
                let kerf = profile.kerf_um.map_or(0, Length::get);
                (None, kerf, !profile.may_cut)
            }
            PartSpec::Cable(_) => (None, 0, false),
            _ => return None,
        };
        Some(Self {
            tape,
            kerf,
            whole_only,
        })
    }

    /// How many of the part's stock units a length holds.
    pub(super) fn amount(&self, length: Length) -> i64 {
        match self.tape {
            Some(tape) => i64::try_from(tape.pitch.whole_units(length).0).unwrap_or(0),
            None => length.get(),
        }
    }

    /// The step that lengths are computed in, of pieces to cut from and lengths that are wanted: 1
    /// for tape; else the greatest that divides all, or a coarser one where that is too fine.
    pub(super) fn step(
        &self,
        pieces: impl Iterator<Item = i64> + Clone,
        wanted: impl Iterator<Item = i64>,
    ) -> i64 {
        if self.tape.is_some() {
            return 1;
        }
        let longest = pieces.clone().max().unwrap_or(1);
        let shared = pieces.chain(wanted).chain([self.kerf]);
        let shared = shared.fold(0, greatest_divisor);
        shared.max(longest / MOST_STEPS).max(1)
    }
}

fn greatest_divisor(a: i64, b: i64) -> i64 {
    if b == 0 {
        a
    } else {
        greatest_divisor(b, a % b)
    }
}
