//! What protects wires, supplies and the mains circuit: fuses, limited power, and the load of all
//! supplies on the venue's circuit.

mod class;
mod fuse;
mod mains;

pub use fuse::{BLADE_MA, CARTRIDGE_MA, next_fuse};
pub(super) use fuse::{Sizes, fused_ma, protected_ma};
pub use mains::MainsLoad;

use std::collections::BTreeMap;

use super::{
    book::Book, check::Checks, feed::Feeds, load::Load, outcome::CheckState, plug::Plug,
    power::Used, supply::Fed,
};
use crate::model::id::{BarId, PartId};

/// What the plan has chosen so far.
pub(super) struct Chosen<'c, 'a> {
    pub(super) book: &'c Book<'a>,
    pub(super) loads: &'c [Load<'a>],
    pub(super) used: &'c [Used<'a>],
    pub(super) fed: &'c Fed<'a>,
    pub(super) plugs: &'c BTreeMap<BarId, Plug>,
    pub(super) cables: &'c BTreeMap<BarId, PartId>,
    pub(super) block: Option<PartId>,
    pub(super) feeds: &'c Feeds,
}

/// What protects what: whether it does, and in words.
pub(super) struct Protection {
    /// The feed of an inlet, by driver and inlet.
    pub(super) inlets: Words,
    /// The wires of an output, by driver and output.
    pub(super) outputs: Words,
    /// What the mains circuit carries; `None` where nothing is fed.
    pub(super) mains: Option<MainsLoad>,
}

/// By driver and inlet or output.
pub(super) type Words = BTreeMap<(usize, u16), Protected>;

/// What protects one feed, or the wires of one output.
#[derive(Debug, Clone)]
pub(super) struct Protected {
    /// Whether it does.
    pub(super) state: CheckState,
    /// In words.
    pub(super) words: String,
    /// The fuse that it asks for; `None` where another limit protects, or none is known to fit.
    pub(super) fuse: Option<Sizes>,
}

impl Protection {
    /// The fuses that feeds and outputs ask for, with how many of each.
    pub(super) fn fuses(&self) -> BTreeMap<Sizes, u32> {
        let mut fuses = BTreeMap::new();
        let all = self.inlets.values().chain(self.outputs.values());
        for fuse in all.filter_map(|it| it.fuse) {
            *fuses.entry(fuse).or_default() += 1;
        }
        fuses
    }
}

/// Judges all of it.
pub(super) fn protect(chosen: &Chosen<'_, '_>, checks: &mut Checks) -> Protection {
    class::check(chosen, checks);
    let (inlets, outputs) = fuse::check(chosen, checks);
    Protection {
        inlets,
        outputs,
        mains: mains::check(chosen, checks),
    }
}
