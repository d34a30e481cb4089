//! The next set: frames, bars, dates, and the states it goes through.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    channel::Channels,
    fixture::Fed,
    id::{BarId, DesignId, ExtraId, FrameId, PartId, SupplierId, ThingId},
    text::{Name, Note, words},
};
use crate::units::{Length, Money, ShowDates, SignedLength, Voltage};

words! {
    /// The states of a design.
    State {
        /// Nothing is held.
        Draft = "draft", "draft";
        /// What it needs is held from build day to strike.
        Reserved = "reserved", "reserved";
        /// The bench is at work; ticked steps move stock.
        Building = "building", "building";
        /// What it holds is out on the stage.
        Standing = "standing", "standing";
        /// Everything is checked in, lost or bad.
        Struck = "struck", "struck";
        /// Released.
        Cancelled = "cancelled", "cancelled";
    }
}

/// A change of state that the rules do not have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("A {from} set cannot become {to}. From {from} it can go to: {}.", list(*.from))]
pub struct NoSuchStep {
    /// The state it is in.
    pub from: State,
    /// The state asked for.
    pub to: State,
}

fn list(from: State) -> String {
    let next: Vec<_> = from.next().iter().map(|state| state.label()).collect();
    if next.is_empty() {
        "nothing".into()
    } else {
        next.join(", ")
    }
}

impl State {
    /// States that may follow.
    pub const fn next(self) -> &'static [Self] {
        match self {
            Self::Draft => &[Self::Reserved, Self::Cancelled],
            Self::Reserved => &[Self::Draft, Self::Building, Self::Cancelled],
            Self::Building => &[Self::Reserved, Self::Standing, Self::Cancelled],
            Self::Standing => &[Self::Struck, Self::Building],
            Self::Struck => &[],
            Self::Cancelled => &[Self::Draft],
        }
    }

    /// Refuses a step that the rules do not have.
    pub fn go(self, to: Self) -> Result<Self, NoSuchStep> {
        if self.next().contains(&to) {
            Ok(to)
        } else {
            Err(NoSuchStep { from: self, to })
        }
    }

    /// Whether the set holds stock.
    pub const fn holds(self) -> bool {
        matches!(self, Self::Reserved | Self::Building | Self::Standing)
    }

    /// Whether nothing more comes of the set: it is struck or was given up.
    pub const fn is_over(self) -> bool {
        matches!(self, Self::Struck | Self::Cancelled)
    }

    /// Whether its bars and dates may still be edited.
    pub const fn editable(self) -> bool {
        matches!(self, Self::Draft | Self::Reserved)
    }
}

/// The most bars in one design.
pub const BAR_LIMIT: usize = 1000;

/// One wanted bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Bar {
    /// Its id.
    pub id: BarId,
    /// Name on pages and sheets.
    pub label: Name,
    /// Wanted lit length.
    pub length_um: Length,
    /// How much shorter it may be.
    pub shorter_um: Length,
    /// How much longer it may be.
    pub longer_um: Length,
    /// Colours wanted.
    pub channels: Channels,
    /// Voltage, if it matters.
    pub voltage_mv: Option<Voltage>,
    /// Diffused, or bare tape.
    pub diffused: bool,
    /// Ends that are fed.
    pub fed: Fed,
    /// The frame that it hangs on.
    pub frame: Option<FrameId>,
    /// Left end, from the left of the elevation.
    pub x_um: SignedLength,
    /// Left end, above the floor.
    pub y_um: SignedLength,
    /// Turned counter-clockwise from lying level, in thousandths of a degree.
    pub angle_mdeg: i32,
    /// Bars of one group follow one another; empty for none.
    pub group: String,
    /// The place of the driver that feeds it; empty for the design's only one.
    pub feed_place: String,
    /// Cable from driver to bar.
    pub cable_um: Length,
    /// The tape to use, if not any that fits.
    pub tape: Option<PartId>,
    /// The profile to use, if not any that fits.
    pub profile: Option<PartId>,
    /// The fixture chosen by hand.
    pub fixture: Option<ThingId>,
}

/// A frame of a design.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Frame {
    /// Its id.
    pub id: FrameId,
    /// Name on pages and sheets.
    pub label: Name,
    /// Left edge.
    pub x_um: SignedLength,
    /// Lower edge, above the floor.
    pub y_um: SignedLength,
    /// Width.
    pub width_um: Length,
    /// Height.
    pub height_um: Length,
    /// The frame in the cupboard that serves.
    pub thing: Option<ThingId>,
}

/// An extra line for anything else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Extra {
    /// Its id.
    pub id: ExtraId,
    /// What.
    pub part: PartId,
    /// How many, or how long in micrometres for parts kept by length.
    pub amount: i64,
    /// What for.
    pub note: Note,
}

/// Something in the house that a design leaves alone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LeftAlone {
    /// A roll, an offcut or a fixture.
    pub thing: ThingId,
    /// Why.
    pub note: Note,
}

/// Somebody from whom nothing is bought for a design.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NotFrom {
    /// Who sells.
    pub supplier: SupplierId,
    /// Why.
    pub note: Note,
}

/// Parts to use throughout, where one is chosen.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Choices {
    /// Lead to solder on.
    pub lead: Option<PartId>,
    /// Cable from driver to bar.
    pub cable: Option<PartId>,
    /// Terminal block.
    pub block: Option<PartId>,
    /// Driver.
    pub driver: Option<PartId>,
    /// Supply.
    pub supply: Option<PartId>,
}

/// A set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Design {
    /// Its id.
    pub id: DesignId,
    /// Name.
    pub name: Name,
    /// State.
    pub state: State,
    /// Build day, get-in, strike.
    pub dates: ShowDates,
    /// Budget, if there is one.
    pub budget_minor: Option<Money>,
    /// Notes.
    pub note: Note,
    /// Parts to use throughout.
    pub choices: Choices,
    /// Frames.
    pub frames: Vec<Frame>,
    /// Bars, in their order.
    pub bars: Vec<Bar>,
    /// Extra lines.
    pub extras: Vec<Extra>,
    /// What it leaves alone, by id.
    #[serde(default)]
    pub left_alone: Vec<LeftAlone>,
    /// From whom nothing is bought for it, by id.
    #[serde(default)]
    pub not_from: Vec<NotFrom>,
    /// Raised by each change.
    pub version: i64,
}
