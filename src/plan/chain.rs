//! Wires from terminal to pad: whether every role reaches its own, and where they cross if not.
//!
//! A chain is a row of parts: the driver's terminals, then cables, blocks, leads, couplers, and the
//! tape's pads. Two neighbours are *plugged* (pin to pin, nothing to choose) or *wired by hand*. By
//! hand, wires go over in their order ("straight") unless they are crossed on purpose. A moulded part
//! whose two sides are named in different orders crosses by itself; two of them may cancel.
//!
//! [`solve`] composes each chain with every joint straight. Where a role would miss its own, all
//! crossings are made at one joint of the chain, and at the same kind of joint on every chain: the
//! kind with the fewest crossings in all, and of equals the one that the venue prefers. How many
//! wires cross at a joint is the number of pairs that change sides there.

use crate::model::{
    channel::{Channels, Role, RoleOrder},
    part::Polarity,
    text::words,
};

words! {
    /// A joint that is wired by hand.
    HandJoint {
        /// The plug or terminals at the driver.
        DriverPlug = "driver_plug", "driver plug";
        /// A terminal block.
        Block = "block", "block";
        /// Where a lead is soldered to the tape, or joined to a cable.
        Lead = "lead", "lead";
    }
}

/// How a part is joined to the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Joined {
    /// Pin to pin.
    Plugged,
    /// By hand.
    ByHand(HandJoint),
}

/// A part of a chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// What it is called.
    pub name: String,
    /// How it is joined to the part before; of no matter for the first.
    pub joined: Joined,
    /// Its conductors by name on the side of the driver. `None` where they have no names, such as
    /// the cores of a cable or the ways of a block.
    pub order: Option<RoleOrder>,
    /// The same on the other side, where a moulded part crosses by itself.
    pub order_out: Option<RoleOrder>,
    /// How many conductors it has.
    pub conductors: usize,
}

/// From a driver's terminals to a tape's pads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    /// What it is called.
    pub name: String,
    /// Its colours.
    pub channels: Channels,
    /// Which side the driver and the tape share, if known.
    pub common: (Option<Polarity>, Option<Polarity>),
    /// Terminals first, pads last; both are named.
    pub parts: Vec<Part>,
}

/// Why a chain can't be made right. Its Display is the sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    /// Terminals or pads without names, or no chain at all.
    #[error("Name the conductors of {0}: without an order nobody can tell what reaches what.")]
    NoOrder(String),
    /// A role is missing where it begins or ends.
    #[error("{part} has no {role}.")]
    NoRole {
        /// The part.
        part: String,
        /// The role.
        role: Role,
    },
    /// A part has too few conductors.
    #[error(
        "{part} has {has} conductors; {needed} are needed: one for each colour, and the common."
    )]
    TooFew {
        /// The part.
        part: String,
        /// What it has.
        has: usize,
        /// What is needed.
        needed: usize,
    },
    /// A plug leaves a wire without a pin, or a moulded part a pin without a way.
    #[error("{role} ends at {part}: what it is plugged onto has nothing there.")]
    Lost {
        /// The part.
        part: String,
        /// The role.
        role: Role,
    },
    /// Driver and tape share different sides.
    #[error("The driver is {driver}, the tape {tape}: no order of wires mends that.")]
    WrongSide {
        /// The driver's.
        driver: Polarity,
        /// The tape's.
        tape: Polarity,
    },
    /// It is wrong, and no joint is wired by hand.
    #[error("Wires would have to cross, but no joint of it is wired by hand.")]
    NoJoint,
    /// It is wrong, and has no joint of the kind at which the others cross.
    #[error("Wires would have to cross, and it has no {0} to do it at.")]
    NoSuchJoint(HandJoint),
}

/// What each wire does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wire {
    /// Its role.
    pub role: Role,
    /// Its place at each part, counted from 1: on the side of the driver.
    pub places: Vec<usize>,
}

/// A chain that is right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wired {
    /// The joint at which wires cross, by the place of the part after it; `None` where none do.
    pub crossed_before: Option<usize>,
    /// Pairs of roles that cross there.
    pub crossings: Vec<(Role, Role)>,
    /// Wires in the order of the terminals.
    pub wires: Vec<Wire>,
}

/// Every chain, and where all of them cross.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The kind of joint; `None` where nothing crosses.
    pub at: Option<HandJoint>,
    /// Crossings in all.
    pub crossings: usize,
    /// By chain.
    pub chains: Vec<Result<Wired, Why>>,
}

/// Roles by place.
type Row = Vec<Option<Role>>;

fn wanted(channels: &Channels) -> Vec<Role> {
    let colours = channels.list().iter().map(|channel| Role::Colour(*channel));
    std::iter::once(Role::Common).chain(colours).collect()
}

impl Part {
    fn size(&self) -> usize {
        self.order
            .as_ref()
            .map_or(self.conductors, RoleOrder::count)
    }

    /// Places that wires take when they come over by hand: those with a wanted name, else the first.
    fn room(&self, wanted: &[Role]) -> Vec<usize> {
        match &self.order {
            Some(order) => (0..order.count())
                .filter(|&at| wanted.contains(&order.list()[at]))
                .collect(),
            None => (0..self.conductors.min(wanted.len())).collect(),
        }
    }

    /// What lies where on the far side.
    fn through<T: Copy>(&self, row: &[Option<T>]) -> Vec<Option<T>> {
        let (Some(order), Some(out)) = (&self.order, &self.order_out) else {
            return row.to_vec();
        };
        let at = |role: &Role| order.list().iter().position(|name| name == role);
        out.list()
            .iter()
            .map(|role| match role {
                Role::Unused => None,
                role => at(role).and_then(|at| row.get(at).copied().flatten()),
            })
            .collect()
    }
}

impl Chain {
    fn check(&self) -> Result<(), Why> {
        let wanted = wanted(&self.channels);
        if let (Some(driver), Some(tape)) = self.common
            && driver != tape
        {
            return Err(Why::WrongSide { driver, tape });
        }
        let ends = [self.parts.first(), self.parts.last()];
        for part in ends {
            let Some(part) = part else {
                return Err(Why::NoOrder(self.name.clone()));
            };
            let Some(order) = &part.order else {
                return Err(Why::NoOrder(part.name.clone()));
            };
            if let Some(role) = wanted.iter().find(|role| !order.list().contains(role)) {
                return Err(Why::NoRole {
                    part: part.name.clone(),
                    role: *role,
                });
            }
        }
        for part in &self.parts {
            let has = part.room(&wanted).len();
            if has < wanted.len() {
                return Err(match &part.order {
                    Some(order) if order.count() >= wanted.len() => Why::NoRole {
                        part: part.name.clone(),
                        role: wanted
                            .iter()
                            .copied()
                            .find(|role| !order.list().contains(role))
                            .unwrap_or(Role::Common),
                    },
                    _ => Why::TooFew {
                        part: part.name.clone(),
                        has: part.size(),
                        needed: wanted.len(),
                    },
                });
            }
        }
        Ok(())
    }

    /// The joints that are wired by hand, by the place of the part after each.
    fn by_hand(&self) -> impl Iterator<Item = (usize, HandJoint)> {
        self.parts
            .iter()
            .enumerate()
            .skip(1)
            .filter_map(|(at, part)| match part.joined {
                Joined::ByHand(kind) => Some((at, kind)),
                Joined::Plugged => None,
            })
    }

    /// The rows of every part, each joint straight but one: there the wires go over as `order` says,
    /// the k-th to the place of the `order[k]`-th.
    fn rows(&self, crossed: Option<(usize, &[usize])>) -> Result<Vec<Row>, Why> {
        let wanted = wanted(&self.channels);
        let mut rows: Vec<Row> = Vec::with_capacity(self.parts.len());
        for (at, part) in self.parts.iter().enumerate() {
            let row: Row = match rows.last() {
                None => part
                    .order
                    .iter()
                    .flat_map(RoleOrder::list)
                    .map(|role| wanted.contains(role).then_some(*role))
                    .collect(),
                Some(before) => {
                    let before = self.parts[at - 1].through(before);
                    match part.joined {
                        Joined::Plugged => {
                            let mut row = before;
                            row.resize(part.size().max(row.len()), None);
                            row
                        }
                        Joined::ByHand(_) => {
                            let wires: Vec<Role> = before.into_iter().flatten().collect();
                            let room = part.room(&wanted);
                            let mut row = vec![None; part.size()];
                            for (k, role) in wires.iter().enumerate() {
                                let to = match crossed {
                                    Some((joint, order)) if joint == at => order[k],
                                    _ => k,
                                };
                                row[room[to]] = Some(*role);
                            }
                            row
                        }
                    }
                }
            };
            let there = row.iter().take(part.size()).flatten();
            if let Some(role) = wanted
                .iter()
                .find(|role| there.clone().all(|there| there != *role))
            {
                return Err(Why::Lost {
                    part: part.name.clone(),
                    role: *role,
                });
            }
            rows.push(row);
        }
        Ok(rows)
    }

    /// Whether every role lies on its own pad.
    fn is_right(&self, rows: &[Row]) -> bool {
        let pads = self.parts.last().and_then(|part| part.order.as_ref());
        let (Some(row), Some(pads)) = (rows.last(), pads) else {
            return false;
        };
        row.iter()
            .zip(pads.list())
            .all(|(role, pad)| role.is_none_or(|role| role == *pad))
    }

    /// How wires must go over at a joint so that all is right, every other joint straight.
    fn crossing_at(&self, joint: usize, rows: &[Row]) -> Option<Vec<usize>> {
        let wires: Vec<Role> = self.parts[joint - 1]
            .through(&rows[joint - 1])
            .into_iter()
            .flatten()
            .collect();
        let pads = self.parts.last()?.order.as_ref()?;
        let pad_of = |row: &Row, role: Role| row.iter().position(|there| *there == Some(role));
        // Straight from here on, the k-th wire ends on the pad of some role: which?
        let last = rows.last()?;
        let ends: Vec<Role> = wires
            .iter()
            .map(|role| pad_of(last, *role).map(|pad| pads.list()[pad]))
            .collect::<Option<_>>()?;
        wires
            .iter()
            .map(|role| ends.iter().position(|end| end == role))
            .collect()
    }

    /// All crossings at one joint of a kind: the fewest, the first of equals.
    fn crossed_at(&self, kind: HandJoint, rows: &[Row]) -> Result<Wired, Why> {
        self.by_hand()
            .filter(|(_, of)| *of == kind)
            .filter_map(|(joint, _)| {
                let order = self.crossing_at(joint, rows)?;
                let rows = self.rows(Some((joint, &order))).ok()?;
                self.is_right(&rows)
                    .then(|| self.wired(&rows, Some((joint, order))))
            })
            .min_by_key(|wired| wired.crossings.len())
            .ok_or(Why::NoSuchJoint(kind))
    }

    fn wired(&self, rows: &[Row], crossed: Option<(usize, Vec<usize>)>) -> Wired {
        let mut crossings = Vec::new();
        if let Some((joint, order)) = &crossed {
            let before: Vec<Role> = self.parts[joint - 1]
                .through(&rows[joint - 1])
                .into_iter()
                .flatten()
                .collect();
            for (i, one) in before.iter().enumerate() {
                for (j, two) in before.iter().enumerate().skip(i + 1) {
                    if order[i] > order[j] {
                        crossings.push((*one, *two));
                    }
                }
            }
        }
        let first = rows.first().into_iter().flatten();
        let wires = first.flatten().map(|role| Wire {
            role: *role,
            places: rows
                .iter()
                .filter_map(|row| row.iter().position(|there| *there == Some(*role)))
                .map(|at| at + 1)
                .collect(),
        });
        Wired {
            crossed_before: crossed.map(|(joint, _)| joint),
            crossings,
            wires: wires.collect(),
        }
    }
}

/// Composes every chain and places the fewest crossings, all at the same kind of joint.
pub fn solve(chains: &[Chain], prefer: &[HandJoint]) -> Answer {
    let straight: Vec<Result<Vec<Row>, Why>> = chains
        .iter()
        .map(|chain| chain.check().and_then(|()| chain.rows(None)))
        .collect();
    let at_kind = |kind: Option<HandJoint>| -> Vec<Result<Wired, Why>> {
        chains
            .iter()
            .zip(&straight)
            .map(|(chain, rows)| match rows {
                Err(why) => Err(why.clone()),
                Ok(rows) if chain.is_right(rows) => Ok(chain.wired(rows, None)),
                Ok(rows) => match kind {
                    _ if chain.by_hand().next().is_none() => Err(Why::NoJoint),
                    Some(kind) => chain.crossed_at(kind, rows),
                    None => Err(Why::NoJoint),
                },
            })
            .collect()
    };
    let rank = |kind: HandJoint, wired: &[Result<Wired, Why>]| {
        let wrong = wired.iter().filter(|one| one.is_err()).count();
        let preferred = prefer.iter().position(|of| *of == kind);
        (wrong, count(wired), preferred.unwrap_or(usize::MAX), kind)
    };
    let best = HandJoint::ALL
        .iter()
        .map(|kind| (*kind, at_kind(Some(*kind))))
        .min_by_key(|(kind, wired)| rank(*kind, wired));
    let (kind, wired) = match best {
        Some((kind, wired)) => (Some(kind), wired),
        None => (None, at_kind(None)),
    };
    let crossings = count(&wired);
    Answer {
        at: kind.filter(|_| crossings > 0),
        crossings,
        chains: wired,
    }
}

fn count(wired: &[Result<Wired, Why>]) -> usize {
    wired.iter().flatten().map(|one| one.crossings.len()).sum()
}

#[cfg(test)]
mod tests;
