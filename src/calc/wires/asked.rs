//! The question: chains of parts from a driver's terminals to a tape's pads.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    calc::document::{Refused, named},
    model::{
        channel::{Channels, RoleOrder},
        part::Polarity,
        text::words,
    },
    plan::chain::{Chain, HandJoint, Joined, Part},
};

/// The most chains, and parts of one.
const MOST_CHAINS: usize = 500;
const MOST_PARTS: usize = 20;
/// The most conductors of a part.
const MOST_CONDUCTORS: usize = 100;

words! {
    /// How a part is joined to the one before it.
    WiresJoined {
        /// Pin to pin, with nothing to choose.
        Plugged = "plugged", "plugged";
        /// By hand, at the driver.
        DriverPlug = "driver_plug", "driver plug";
        /// By hand, in a block.
        Block = "block", "block";
        /// By hand, at a lead.
        Lead = "lead", "lead";
    }
}

/// A part of a chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WiresPart {
    /// What it is called.
    pub name: String,
    /// How it is joined to the part before; left out for the first.
    #[serde(default)]
    pub joined: Option<WiresJoined>,
    /// Its conductors by role on the side of the driver: `common`, a colour or `unused`. Left out
    /// where they have no names, such as the ways of a block.
    #[serde(default)]
    pub order: Option<RoleOrder>,
    /// The same on the other side, where a moulded part crosses by itself.
    #[serde(default)]
    pub order_out: Option<RoleOrder>,
    /// How many conductors it has; only where `order` is left out.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub conductors: Option<usize>,
    /// Colours of its wires, for a cable.
    #[serde(default)]
    pub wire_colours: Vec<String>,
}

/// From a driver's terminals to a tape's pads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WiresChain {
    /// What it is called, such as a bar.
    pub name: String,
    /// Its colours.
    pub channels: Channels,
    /// Which side the driver shares.
    #[serde(default)]
    pub driver_common: Option<Polarity>,
    /// Which side the tape shares.
    #[serde(default)]
    pub tape_common: Option<Polarity>,
    /// The driver's terminals first, the tape's pads last.
    #[schema(min_items = 2, max_items = 20)]
    pub parts: Vec<WiresPart>,
}

/// Chains that are to cross at one kind of joint.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WiresBody {
    /// Joints at which the venue prefers to cross, the best first; of equals the first is taken.
    #[serde(default)]
    #[schema(max_items = 3)]
    pub prefer: Vec<HandJoint>,
    /// Chains.
    #[schema(min_items = 1, max_items = 500)]
    pub chains: Vec<WiresChain>,
}

impl WiresBody {
    /// Checks every field, and gives the chains.
    pub(super) fn chains(&self) -> Result<Vec<Chain>, Refused> {
        if !(1..=MOST_CHAINS).contains(&self.chains.len()) {
            let detail = format!(
                "Send 1 to {MOST_CHAINS} of them; these are {}.",
                self.chains.len()
            );
            return Err(Refused::at("/chains", detail));
        }
        let chains = self.chains.iter().enumerate();
        chains
            .map(|(at, chain)| {
                named(|| format!("/chains/{at}/name"), &chain.name)?;
                let pointer = format!("/chains/{at}/parts");
                if !(2..=MOST_PARTS).contains(&chain.parts.len()) {
                    let detail = format!(
                        "Send 2 to {MOST_PARTS} parts, terminals first and pads last; these are {}.",
                        chain.parts.len()
                    );
                    return Err(Refused::at(pointer, detail));
                }
                let parts = chain.parts.iter().enumerate();
                Ok(Chain {
                    name: chain.name.clone(),
                    channels: chain.channels.clone(),
                    common: (chain.driver_common, chain.tape_common),
                    parts: parts
                        .map(|(nth, part)| part.part(&format!("{pointer}/{nth}"), nth == 0))
                        .collect::<Result<_, _>>()?,
                })
            })
            .collect()
    }
}

impl WiresPart {
    fn part(&self, pointer: &str, first: bool) -> Result<Part, Refused> {
        named(|| format!("{pointer}/name"), &self.name)?;
        let joined = match self.joined {
            None if first => Joined::Plugged,
            None => {
                let detail = "Send how it is joined to the part before: plugged, driver_plug, \
                              block or lead.";
                return Err(Refused::at(format!("{pointer}/joined"), detail));
            }
            Some(WiresJoined::Plugged) => Joined::Plugged,
            Some(WiresJoined::DriverPlug) => Joined::ByHand(HandJoint::DriverPlug),
            Some(WiresJoined::Block) => Joined::ByHand(HandJoint::Block),
            Some(WiresJoined::Lead) => Joined::ByHand(HandJoint::Lead),
        };
        let conductors = match (&self.order, self.conductors) {
            (Some(order), None) => order.count(),
            (None, Some(count)) if (1..=MOST_CONDUCTORS).contains(&count) => count,
            (None, Some(count)) => {
                let detail = format!("Send a number from 1 to {MOST_CONDUCTORS}, not {count}.");
                return Err(Refused::at(format!("{pointer}/conductors"), detail));
            }
            (Some(_), Some(_)) => {
                let detail = "Send order or conductors, not both: they may disagree.";
                return Err(Refused::at(format!("{pointer}/conductors"), detail));
            }
            (None, None) => {
                let detail = "Send order, or how many conductors it has.";
                return Err(Refused::at(format!("{pointer}/order"), detail));
            }
        };
        if self.order.is_none() && self.order_out.is_some() {
            let detail = "Send order too: order_out alone does not tell what goes where.";
            return Err(Refused::at(format!("{pointer}/order"), detail));
        }
        if !self.wire_colours.is_empty() && self.wire_colours.len() != conductors {
            let detail = format!(
                "Name {conductors} colours, one for each conductor, or none; these are {}.",
                self.wire_colours.len()
            );
            return Err(Refused::at(format!("{pointer}/wire_colours"), detail));
        }
        Ok(Part {
            name: self.name.clone(),
            joined,
            order: self.order.clone(),
            order_out: self.order_out.clone(),
            conductors,
        })
    }
}
