//! A finished bar: what it is, what it plugs into, in what condition.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    channel::Channels,
    connector::Connector,
    id::{PartId, ThingId},
    text::{Tag, words},
};
use crate::units::{Length, Voltage};

words! {
    /// Condition of a thing. Bad means suspect or dead.
    Condition {
        /// Works.
        Good = "good", "good";
        /// To be tested before use.
        Suspect = "suspect", "suspect";
        /// Does not work.
        Dead = "dead", "dead";
    }
}

words! {
    /// At how many ends a bar is fed.
    Fed {
        /// At its start only.
        OneEnd = "one_end", "at one end";
        /// At both ends, from the same outputs.
        BothEnds = "both_ends", "at both ends";
    }
}

/// What a fixture is, apart from where it lies.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Make {
    /// Its tape, if it is in the catalogue.
    pub tape: Option<PartId>,
    /// Its profile; `None` for bare tape.
    pub profile: Option<PartId>,
    /// Colours.
    pub channels: Channels,
    /// Nominal voltage.
    pub voltage_mv: Voltage,
    /// Lit length.
    pub lit_um: Length,
    /// Whether its cover diffuses.
    pub diffused: bool,
    /// Ends with a lead.
    pub fed: Fed,
    /// What its lead ends in; `None` if not noted.
    pub connector: Option<Connector>,
}

/// A finished bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fixture {
    /// Its id.
    pub id: ThingId,
    /// Its tag.
    pub tag: Tag,
    /// What it is.
    pub make: Make,
    /// Condition.
    pub condition: Condition,
}
