//! Anything with a tag of its own, as lists show it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    fixture::Condition,
    id::{PartId, ThingId},
    part::{Kind, StockUnit},
    piece::length_of,
    place::Whereabouts,
    text::{Name, Note, Tag, words},
};
use crate::units::{Date, Length};

words! {
    /// What a thing is.
    ThingKind {
        /// A roll, reel, bar or offcut.
        Piece = "piece", "piece";
        /// A driver or supply.
        Unit = "unit", "unit";
        /// A finished bar.
        Fixture = "fixture", "fixture";
        /// A frame.
        Frame = "frame", "frame";
    }
}

/// How much of a thing there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Amount {
    /// What it is counted in.
    pub unit: StockUnit,
    /// Cut units, micrometres, or 1.
    pub amount: i64,
    /// What is left of a tape beyond the last whole cut unit.
    pub rest_um: i64,
}

impl Amount {
    /// Its length, for what is kept by length.
    pub fn length(self) -> Option<Length> {
        (self.unit != StockUnit::Each).then(|| length_of(self.unit, self.amount, self.rest_um))
    }
}

/// A thing as lists show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thing {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is.
    pub kind: ThingKind,
    /// Its part, for pieces and units.
    pub part: Option<PartId>,
    /// Its part's kind, for pieces and units.
    pub part_kind: Option<Kind>,
    /// The part's name, a frame's name, or a fixture in short.
    pub name: String,
    /// How much of it there is; a fixture's is its lit length.
    pub amount: Amount,
    /// Where it is.
    pub place: Whereabouts,
    /// Condition.
    pub condition: Condition,
    /// Notes.
    pub note: Note,
    /// When it is due for inspection.
    pub inspect_on: Option<Date>,
    /// Raised by each change.
    pub version: i64,
}

impl Thing {
    /// Whether it is still one's own: not used up, scrapped, lost, cut up or given away.
    pub const fn owned(&self) -> bool {
        self.place.kind.owned()
    }
}

/// A driver or supply.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Unit {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is one of.
    pub part: PartId,
    /// The DMX start address that a driver is set to, if known.
    pub address: Option<u16>,
    /// The maker's number, empty if not noted.
    pub serial: String,
    /// Condition.
    pub condition: Condition,
}

/// A frame: a thing that bars, blocks, cable and sometimes drivers stay mounted on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OwnedFrame {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// Its name.
    pub name: Name,
    /// Width.
    pub width_um: Length,
    /// Height.
    pub height_um: Length,
    /// Condition.
    pub condition: Condition,
}
