//! The answer: what goes where, and where wires cross.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asked::WiresBody;
use crate::{
    model::channel::Role,
    plan::{
        chain::{Answer, Chain, HandJoint, Wired},
        wire::colours_of,
    },
};

/// Two wires that cross.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WiresCrossing {
    /// One role.
    #[schema(value_type = String)]
    pub one: Role,
    /// The other.
    #[schema(value_type = String)]
    pub other: Role,
}

/// One wire from terminal to pad.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WiresRow {
    /// Its role.
    #[schema(value_type = String)]
    pub role: Role,
    /// The driver's terminal, from 1.
    pub terminal: usize,
    /// Its place at every part, from 1, the terminal first and the pad last.
    pub places: Vec<usize>,
    /// The colour of its wire in each part that names colours, in order.
    pub wire_colours: Vec<String>,
}

/// One chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WiresChainAnswer {
    /// Its name.
    pub name: String,
    /// Whether every role reaches its own.
    pub right: bool,
    /// Why it can't be made right.
    pub why: Option<String>,
    /// The part before which wires cross; `None` where none do.
    pub crossed_before: Option<String>,
    /// Wires that cross there.
    pub crossings: Vec<WiresCrossing>,
    /// Wires in the order of the terminals.
    pub wires: Vec<WiresRow>,
}

/// Every chain, and where all of them cross.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WiresAnswer {
    /// The kind of joint at which wires cross; `None` where none do.
    pub cross_at: Option<HandJoint>,
    /// Crossings in all: the fewest at one kind of joint.
    pub crossings: usize,
    /// Chain by chain.
    pub chains: Vec<WiresChainAnswer>,
}

impl WiresAnswer {
    pub(super) fn new(asked: &WiresBody, chains: &[Chain], solved: &Answer) -> Self {
        let each = chains.iter().zip(&solved.chains).enumerate();
        Self {
            cross_at: solved.at,
            crossings: solved.crossings,
            chains: each
                .map(|(at, (chain, wired))| {
                    let mut said = WiresChainAnswer {
                        name: chain.name.clone(),
                        right: wired.is_ok(),
                        why: None,
                        crossed_before: None,
                        crossings: Vec::new(),
                        wires: Vec::new(),
                    };
                    match wired {
                        Err(why) => said.why = Some(why.to_string()),
                        Ok(wired) => {
                            let before = wired.crossed_before;
                            said.crossed_before = before.map(|at| chain.parts[at].name.clone());
                            said.crossings = wired
                                .crossings
                                .iter()
                                .map(|&(one, other)| WiresCrossing { one, other })
                                .collect();
                            said.wires = rows(asked, at, wired);
                        }
                    }
                    said
                })
                .collect(),
        }
    }
}

fn rows(asked: &WiresBody, chain: usize, wired: &Wired) -> Vec<WiresRow> {
    let roles: Vec<Role> = wired.wires.iter().map(|wire| wire.role).collect();
    let coloured: Vec<Vec<String>> = asked.chains[chain]
        .parts
        .iter()
        .filter(|part| !part.wire_colours.is_empty())
        .map(|part| colours_of(&part.wire_colours, &roles))
        .collect();
    let each = wired.wires.iter().enumerate();
    each.map(|(at, wire)| WiresRow {
        role: wire.role,
        terminal: wire.places.first().copied().unwrap_or(0),
        places: wire.places.clone(),
        wire_colours: coloured.iter().map(|part| part[at].clone()).collect(),
    })
    .collect()
}
