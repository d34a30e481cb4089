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
use crate::units::{CutPitch, Length, LengthUnit};

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

/// An amount of a part in words: a count, or a length in the unit, a sum beyond the longest [`Length`]
/// in whole metres or feet.
pub fn say_amount(unit: StockUnit, amount: i64, show: LengthUnit) -> String {
    let um = match unit {
        StockUnit::Each => return amount.to_string(),
        StockUnit::Micrometres => i128::from(amount),
        StockUnit::CutUnits(pitch) => {
            i128::from(amount) * i128::from(pitch.um()) / i128::from(pitch.units())
        }
    };
    if um > i128::from(Length::MAX) {
        let large = if show.metric() {
            LengthUnit::M
        } else {
            LengthUnit::Ft
        };
        let each = i128::from(large.um());
        return format!("{} {large}", (um + each / 2) / each);
    }
    length_of(unit, amount, 0).say(show)
}

fn pitch_length(pitch: CutPitch, units: i64) -> i64 {
    pitch.length_of(u64::try_from(units).unwrap_or(0)).get()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_beyond_the_longest_length_is_not_cut_short() {
        let um = StockUnit::Micrometres;
        assert_eq!(say_amount(um, 1_262_400_000, LengthUnit::Mm), "1262 m");
        assert_eq!(say_amount(um, 1_262_000_000, LengthUnit::Ft), "4140 ft");
        assert_eq!(say_amount(um, 1_000_000_000, LengthUnit::M), "1000 m");
        let pitch = StockUnit::CutUnits(CutPitch::new(3, 50_000).unwrap());
        assert_eq!(say_amount(pitch, 90_000, LengthUnit::Mm), "1500 m");
        assert_eq!(say_amount(pitch, 3, LengthUnit::Mm), "50 mm");
        assert_eq!(say_amount(StockUnit::Each, 2_000, LengthUnit::Mm), "2000");
    }
}
