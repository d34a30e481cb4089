//! The steps of the bench: what is done, and what each does to the stock.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    id::{AccountId, BarId, DesignId, MovementId, PartId, StepId, ThingId},
    text::words,
};
use crate::units::Length;

words! {
    /// Kinds of bench steps, in the order of the work.
    StepKind {
        /// Bring things to the set.
        Fetch = "fetch", "fetch";
        /// Cut one piece.
        Cut = "cut", "cut";
        /// Make one fixture.
        Assemble = "assemble", "assemble";
        /// Join a driver to its supply and bars.
        Wire = "wire", "wire";
        /// Set a driver's start address.
        Address = "address", "address";
        /// Light it.
        Test = "test", "test";
    }
}

impl StepKind {
    /// About how long one step takes a practised hand, in minutes: our estimate (common practice,
    /// no source), there to share the work out, not to promise an hour.
    pub const fn usual_minutes(self) -> u32 {
        match self {
            Self::Fetch | Self::Test => 5,
            Self::Cut => 4,
            Self::Assemble => 25,
            Self::Wire => 15,
            Self::Address => 2,
        }
    }
}

/// One part of a piece that is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Segment {
    /// From here, in the part's stock unit, counted from the marked end.
    pub from: i64,
    /// To here.
    pub to: i64,
    /// The bar that it is for, if for one.
    pub bar: Option<BarId>,
    /// Whether it is thrown away.
    pub scrap: bool,
    /// Whether it is a rest.
    pub offcut: bool,
}

/// What an assembly made of what, to be taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Made {
    /// The fixture.
    pub fixture: ThingId,
    /// Pieces that went inside.
    pub pieces: Vec<ThingId>,
    /// Counts that went inside or were used up.
    pub counts: Vec<(PartId, i64)>,
}

/// What a step does to the stock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "do", rename_all = "snake_case")]
pub enum Task {
    /// Takes things and counts out to the set.
    Fetch {
        /// From where the counts come.
        from: AccountId,
        /// Things.
        things: Vec<ThingId>,
        /// Counts of parts.
        counts: Vec<(PartId, i64)>,
        /// Pieces for the bench: they move when they are cut or built in. Steps made before the
        /// field was there name none.
        #[serde(default)]
        pieces: Vec<ThingId>,
        /// Counts that are used up at the bench: they move then.
        #[serde(default)]
        used: Vec<(PartId, i64)>,
    },
    /// Cuts a piece.
    Cut {
        /// Which.
        piece: ThingId,
        /// In order from the marked end.
        segments: Vec<Segment>,
    },
    /// Makes a fixture of what is held for its bar.
    Assemble {
        /// Which bar.
        bar: BarId,
        /// Lit length.
        lit_um: Length,
        /// What it made, once it is ticked.
        made: Option<Made>,
    },
    /// Hangs the cable runs of a driver's bars, and with the last driver those of no bar: they are
    /// out with the set from then on.
    Wire {
        /// The bars that it feeds.
        bars: Vec<BarId>,
        /// The runs that went out, once it is ticked.
        out: Vec<ThingId>,
    },
    /// Moves nothing: testing is ticked only.
    Tick,
    /// Notes the start address that a driver is set to.
    Address {
        /// Which.
        unit: ThingId,
        /// Its address from now on.
        address: u16,
        /// Its address before the step was ticked.
        before: Option<u16>,
    },
}

/// Who ticked a step, and when.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(as = StepDone)]
pub struct Done {
    /// Who.
    pub who: String,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
    /// The movement that it made, if any.
    pub movement: Option<MovementId>,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Step {
    /// Its id.
    pub id: StepId,
    /// Of which set.
    pub design: DesignId,
    /// Its place in the order of the work.
    pub position: i64,
    /// Its kind.
    pub kind: StepKind,
    /// What is to be done.
    pub title: String,
    /// The bar that it is about, if about one.
    pub bar: Option<BarId>,
    /// What it does to the stock.
    pub task: Task,
    /// Ticked by whom, if it is.
    pub done: Option<Done>,
}
