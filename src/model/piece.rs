//! A length of something: a roll, a reel, a bar of profile, an offcut.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    connector::Connector,
    fixture::Condition,
    id::{PartId, ThingId},
    part::StockUnit,
    text::Tag,
};
use crate::units::{CutPitch, Length};

/// One end of a piece.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum End {
    /// Cut, nothing on it.
    #[default]
    Bare,
    /// A lead is on it, from the factory or soldered.
    Lead {
        /// What the lead ends in.
        connector: Connector,
    },
}

impl End {
    /// The connector, if there is a lead.
    pub const fn connector(&self) -> Option<&Connector> {
        match self {
            Self::Bare => None,
            Self::Lead { connector } => Some(connector),
        }
    }
}

/// A piece of tape, profile or cable.
///
/// `amount` is in the part's stock unit: whole cut units for tape (with `rest_um` beside them,
/// at the piece's end), micrometres for profile and cable (where `rest_um` is 0).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Piece {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is a piece of.
    pub part: PartId,
    /// Cut units or micrometres.
    pub amount: i64,
    /// What is left beyond the last whole cut unit.
    pub rest_um: i64,
    /// The marked end.
    pub start: End,
    /// The other end.
    pub end: End,
    /// Cut units from the start to the first pre-tinned joint, if it has any.
    pub joint_offset_units: Option<i64>,
    /// Batch, empty if not known.
    pub batch: String,
    /// Condition.
    pub condition: Condition,
    /// The piece that it was cut from, and where in it its start lay.
    pub cut_from: Option<(ThingId, i64)>,
}

/// The length of an amount: derived, rounded once.
pub fn length_of(unit: StockUnit, amount: i64, rest_um: i64) -> Length {
    let um = match unit {
        StockUnit::Each => 0,
        StockUnit::Micrometres => amount,
        StockUnit::CutUnits(pitch) => pitch_length(pitch, amount).saturating_add(rest_um),
    };
    Length::new(um.clamp(Length::MIN, Length::MAX)).unwrap_or(Length::ZERO)
}

fn pitch_length(pitch: CutPitch, units: i64) -> i64 {
    pitch.length_of(u64::try_from(units).unwrap_or(0)).get()
}
