//! What is held, for which design and for which days.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    id::{BarId, DesignId, HoldId, PartId, PurchaseLineId, ThingId},
    text::words,
};
use crate::units::Window;

words! {
    /// What becomes of a held thing.
    HoldUse {
        /// Comes back at strike.
        Returns = "returns", "comes back";
        /// Is used up: held on every later day.
        Consumed = "consumed", "is used up";
    }
}

words! {
    /// Whether a hold still stands.
    HoldState {
        /// Holds.
        Active = "active", "held";
        /// What it held is gone; shown until mended.
        Broken = "broken", "broken";
        /// Over.
        Ended = "ended", "ended";
    }
}

/// What a hold is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Held {
    /// A thing, or the range `from..to` of a piece in its stock unit. Other things are 0..1.
    Thing {
        /// Which.
        thing: ThingId,
        /// Start of the range.
        from: i64,
        /// End of the range.
        to: i64,
    },
    /// A count (or a length without pieces) of a part.
    Count {
        /// Of what.
        part: PartId,
        /// How much.
        amount: i64,
        /// The ordered goods on which it rests, if it does.
        due: Option<PurchaseLineId>,
    },
}

/// A hold about to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewHold {
    /// For which design.
    pub design: DesignId,
    /// For which bar, if for one.
    pub bar: Option<BarId>,
    /// What.
    pub held: Held,
    /// Which days.
    pub window: Window,
    /// What becomes of it.
    pub becomes: HoldUse,
}

/// A hold as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// Its id.
    pub id: HoldId,
    /// What it holds.
    pub hold: NewHold,
    /// Whether it stands.
    pub state: HoldState,
    /// Why it broke, if it did.
    pub broken_why: String,
}
