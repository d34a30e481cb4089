//! Plug-in connectors: family, gender and the order of their pins.

use serde::{Deserialize, Serialize};

use super::{
    channel::{Channels, RoleOrder},
    text::{Name, words},
};

words! {
    /// Which half of a connector.
    Gender {
        /// The half with pins.
        Male = "male", "male";
        /// The half with sockets.
        Female = "female", "female";
    }
}

impl Gender {
    /// The half that plugs into this one.
    pub const fn mate(self) -> Self {
        match self {
            Self::Male => Self::Female,
            Self::Female => Self::Male,
        }
    }
}

/// One half of a plug-in connector, as it hangs on a lead, a roll's end or a fixture.
///
/// The family is the user's own word for a shape that plugs together (such as `five-pin inline`);
/// two connectors are of one family when the words are the same but for case.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Connector {
    /// The user's word for the shape.
    pub family: Name,
    /// Which half.
    pub gender: Gender,
    /// Roles by pin, if known.
    pub pins: Option<RoleOrder>,
}

impl Connector {
    /// Whether the two are of one family.
    pub fn same_family(&self, other: &Self) -> bool {
        self.family
            .as_str()
            .eq_ignore_ascii_case(other.family.as_str())
    }

    /// Whether the two plug together.
    pub fn mates(&self, other: &Self) -> bool {
        self.same_family(other) && self.gender == other.gender.mate()
    }

    /// Whether a plug of this kind can stand in for `other` with nothing changed: the same half of
    /// the same family, the same pins where both are known.
    pub fn stands_in_for(&self, other: &Self) -> bool {
        self.same_family(other)
            && self.gender == other.gender
            && match (&self.pins, &other.pins) {
                (Some(mine), Some(theirs)) => mine == theirs,
                _ => true,
            }
    }

    /// Whether the pins carry the colours; `None` where the pin order is not known.
    pub fn carries(&self, channels: &Channels) -> Option<bool> {
        self.pins.as_ref().map(|pins| pins.carries(channels))
    }
}

impl std::fmt::Display for Connector {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}, {}", self.family, self.gender)
    }
}
