//! The columns of a file of stock.

use crate::{model::text::words, units::LengthUnit};

words! {
    /// What a row of stock is; also what a file may be narrowed to.
    Sheet {
        /// A number of a part in a place.
        Counted = "counted", "counted";
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

/// Declares the columns: their titles, and which rows have them.
macro_rules! columns {
    ($($(#[$doc:meta])* $name:ident = $title:literal, $sheets:expr;)+) => {
        /// A column.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Column { $($(#[$doc])* $name,)+ }

        impl Column {
            /// All, in their order.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The title without its unit.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $title,)+ }
            }

            const fn sheets(self) -> &'static [Sheet] {
                match self { $(Self::$name => $sheets,)+ }
            }
        }
    };
}

use Sheet::{Counted, Fixture, Frame, Piece, Unit};

/// Rows of things with a tag.
const TAGGED: &[Sheet] = &[Piece, Unit, Fixture, Frame];

columns! {
    /// What the row is.
    What = "what", Sheet::ALL;
    /// Its part; of a fixture its tape.
    Part = "part", &[Counted, Piece, Unit, Fixture];
    /// A fixture's profile.
    Profile = "profile", &[Fixture];
    /// A frame's name.
    Name = "name", &[Frame];
    /// The tag.
    Tag = "tag", TAGGED;
    /// How many.
    Number = "number", &[Counted, Piece, Unit];
    /// A piece's length, a fixture's lit length, or how much of what is counted by length.
    Length = "length", &[Counted, Piece, Fixture];
    /// A frame's width.
    Width = "width", &[Frame];
    /// A frame's height.
    Height = "height", &[Frame];
    /// Where it is.
    Place = "place", Sheet::ALL;
    /// In what condition.
    Condition = "condition", TAGGED;
    /// A piece's marked end.
    Start = "start", &[Piece];
    /// Its other end.
    End = "end", &[Piece];
    /// Cut units to its first pre-tinned joint.
    FirstJoint = "first joint", &[Piece];
    /// The batch of its tape.
    Batch = "batch", &[Piece, Fixture];
    /// A driver's DMX start address.
    Address = "address", &[Unit];
    /// The maker's number.
    Serial = "serial", &[Unit];
    /// A fixture's colours.
    Colours = "colours", &[Fixture];
    /// Its voltage.
    Voltage = "voltage", &[Fixture];
    /// Whether its cover diffuses.
    Diffused = "diffused", &[Fixture];
    /// At how many ends it is fed.
    Fed = "fed", &[Fixture];
    /// What its lead ends in.
    Connector = "connector", &[Fixture];
    /// When it is due for inspection.
    InspectOn = "inspect on", TAGGED;
    /// Notes.
    Note = "note", TAGGED;
}

impl Column {
    /// Whether rows of this sheet have it.
    pub fn of(self, sheet: Sheet) -> bool {
        self.sheets().contains(&sheet)
    }

    /// The title, with the unit that bare figures take.
    pub fn title(self, unit: LengthUnit) -> String {
        match self {
            Self::Length | Self::Width | Self::Height => format!("{} ({unit})", self.name()),
            Self::Voltage => format!("{} (V)", self.name()),
            _ => self.name().to_owned(),
        }
    }

    /// Whether a title may name this unit.
    pub(super) fn takes_unit(self, unit: &str) -> bool {
        match self {
            Self::Length | Self::Width | Self::Height => unit.parse::<LengthUnit>().is_ok(),
            Self::Voltage => unit == "V",
            _ => false,
        }
    }

    /// The columns of a file of one sheet, or of all.
    pub fn list(sheet: Option<Sheet>) -> impl Iterator<Item = Self> {
        Self::ALL
            .iter()
            .copied()
            .filter(move |column| sheet.is_none_or(|sheet| column.of(sheet)))
    }
}
