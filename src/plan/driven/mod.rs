//! Loads to driver outputs, and driver inlets to supplies, for the least money and the fewest units.
//!
//! # Contract
//! A [`Load`] is a bar, or whatever else one output feeds. Loads of one room (one place and one
//! voltage) may share drivers and supplies; those of two rooms never do. Every load gets an output
//! whose driver may carry it, alone or together with others of its group; every inlet stays within
//! its limit, every driver within that of the whole, every supply within what it may be loaded with
//! and its pairs of terminals. Inlets that are not isolated from each other are fed by one supply,
//! each by a pair of its own. All currents are in mA.
//!
//! [`solve`] looks for, in this order: the fewest loads unserved, the least cost of what is bought,
//! the fewest units bought, the shortest cable from supplies to inlets, the fewest units taken from
//! the shelf, and the most even loads ([`Level`]). What stays mounted on a frame costs nothing and
//! is not counted. Equal answers come out the same whatever the order of kinds of one cost; loads
//! are taken in the order given, so that neighbours stay neighbours.
//!
//! # Method
//! For each room, sets of units to buy are gone through from the cheapest on, by best-first search
//! over how many of each kind ([`cover`]): a set must cover, for every size of load, as many loads
//! of that size or larger as there are, and all of their current. Sets that do are packed by a
//! search over the loads ([`pack`]): the first that can be packed is the cheapest, where all before
//! it were refuted. Cable, units and evenness are then bettered in the same way among sets of equal
//! cost. Rooms that ask for the same unit are told apart by branch and bound over how many each
//! room may have.
//!
//! # Proof
//! A level is proven when every cheaper set was refuted, or when its bound meets its value; the
//! search is limited by steps, never by time. Where the steps run out, the best that was found
//! stands with its bound.

mod anew;
mod cover;
mod keep;
mod pack;
mod room;
mod settle;
mod share;
#[cfg(test)]
mod tests;
mod why;

use super::answer::Proof;
use crate::model::text::words;

/// The cost of one unit that nobody sells, beyond any sum of prices.
pub const UNPRICED: i128 = 1 << 90;

/// Steps of the search that one question may take: about a fifth of a second for 300 loads, far less
/// for a few.
pub const STEPS: u64 = 200_000;

words! {
    /// What is made least, in this order.
    Level {
        /// Loads that nothing serves.
        Unserved = "unserved", "loads unserved";
        /// Cost of what is bought.
        Cost = "cost", "cost";
        /// Units bought.
        Bought = "bought", "units bought";
        /// Cable from supplies to inlets, in micrometres.
        Cable = "cable", "cable";
        /// Units from the shelf.
        Taken = "taken", "units from the shelf";
        /// Squares of the loads of the supplies, each in tenths of an ampere and rounded up.
        Uneven = "uneven", "unevenness";
    }
}

/// How many levels there are.
pub const LEVELS: usize = 6;

/// What can be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Buy {
    /// What one costs, in any unit of money; [`UNPRICED`] where nobody sells it.
    pub cost: i128,
    /// How many there are at most; as many as wanted if not given.
    pub most: Option<u32>,
}

/// How many of a kind there are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Stock {
    /// Mounted on a frame that serves.
    pub mounted: u32,
    /// On the shelf.
    pub shelf: u32,
    /// To be bought; `None` where it is not.
    pub buy: Option<Buy>,
}

/// The most that a shared output carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shared {
    /// On each channel.
    pub channel_ma: i64,
    /// On all of them.
    pub output_ma: i64,
}

/// A kind of driver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DriverKind {
    /// How many outputs each inlet feeds.
    pub inlets: Vec<u16>,
    /// Limit of an inlet; an unknown one does not limit.
    pub inlet_ma: Option<i64>,
    /// Limit of the whole.
    pub whole_ma: Option<i64>,
    /// Whether two supplies may feed it.
    pub isolated: bool,
    /// By group of loads: what an output carries that several of it share; `None` where none may.
    pub shared: Vec<Option<Shared>>,
    /// How many there are.
    pub stock: Stock,
}

/// A kind of supply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SupplyKind {
    /// What it may be loaded with.
    pub usable_ma: i64,
    /// Pairs of terminals; unknown ones do not limit.
    pub pairs: Option<u32>,
    /// By room: whether it may feed drivers there.
    pub rooms: Vec<bool>,
    /// How many there are.
    pub stock: Stock,
}

/// Something that an output feeds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Load {
    /// Its place and voltage.
    pub room: usize,
    /// Current of each channel; empty where it is not known.
    pub channels: Vec<i64>,
    /// Current of all; nought where it is not known.
    pub total_ma: i64,
    /// By kind of driver: whether an output of it may carry the load by itself.
    pub alone: Vec<bool>,
    /// Loads of one group may share an output; they have the same channels and room.
    pub group: Option<usize>,
}

/// What is to be fed, and by what it can be.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Question {
    /// What is to be fed.
    pub loads: Vec<Load>,
    /// Kinds of drivers.
    pub drivers: Vec<DriverKind>,
    /// Kinds of supplies.
    pub supplies: Vec<SupplyKind>,
    /// Cable from a supply to an inlet, in micrometres.
    pub feed_um: i64,
}

/// Where a unit comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Origin {
    /// It is mounted on a frame that serves.
    Mounted,
    /// It lies on the shelf.
    Shelf,
    /// It is bought.
    Bought,
}

/// An output in use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// Its inlet, by place in the kind's list.
    pub inlet: usize,
    /// What it feeds, by place in the question.
    pub loads: Vec<usize>,
}

/// A driver in use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsedDriver {
    /// What it is, by place in the question.
    pub kind: usize,
    /// Where it comes from.
    pub origin: Origin,
    /// Its room.
    pub room: usize,
    /// Outputs in use.
    pub outputs: Vec<Output>,
    /// By inlet: the supply that feeds it, by place in [`Answer::supplies`].
    pub feeds: Vec<Option<usize>>,
}

/// A supply in use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsedSupply {
    /// What it is, by place in the question.
    pub kind: usize,
    /// Where it comes from.
    pub origin: Origin,
    /// What it carries.
    pub load_ma: i64,
}

/// Why one was bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bought {
    /// Nothing that is there suits.
    NoneThere,
    /// What is there has fewer places (outputs, or terminals by what they can feed) than are asked
    /// for.
    Places {
        /// How many loads ask for a place; those that share an output ask for one.
        wanted: i64,
        /// How many what is there can take at most.
        there: i64,
    },
    /// What is there takes fewer of the larger loads than there are.
    Large {
        /// Loads of this many mA or more are meant.
        from_ma: i64,
        /// How many there are.
        wanted: i64,
        /// How many what is there can take at most.
        there: i64,
    },
    /// What is there carries less than is asked for.
    Current {
        /// What is asked for.
        wanted_ma: i64,
        /// What is there carries at most.
        there_ma: i64,
    },
    /// Each limit by itself would be kept by what is there, but not all at once.
    Together,
}

/// What feeds what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Drivers in use, room by room and in the order of their first loads.
    pub drivers: Vec<UsedDriver>,
    /// Supplies in use, in the order of the inlets that they feed.
    pub supplies: Vec<UsedSupply>,
    /// Loads that nothing serves.
    pub unserved: Vec<usize>,
    /// By level, what came out.
    pub values: [i128; LEVELS],
    /// By level, what is known about it.
    pub proofs: [Proof<i128>; LEVELS],
    /// By room: why drivers and why supplies were bought there.
    pub why: Vec<[Option<Bought>; 2]>,
}

impl Question {
    /// The number of rooms.
    pub(super) fn rooms(&self) -> usize {
        self.loads
            .iter()
            .map(|load| load.room + 1)
            .max()
            .unwrap_or(0)
    }
}

/// Gives every load an output and every inlet a supply; takes about so many steps at most.
pub fn solve(question: &Question, steps: u64) -> Answer {
    let mut planned = share::plan(question, &mut { steps });
    let least = planned.bounds[1].filter(|_| planned.bounds[0] == Some(planned.values[0]));
    let before = planned.units.values(question);
    let mut again = steps / 2;
    if anew::better(question, &mut planned.units, least.unwrap_or(0), &mut again) {
        let after = planned.units.values(question);
        for (value, (after, before)) in planned.values.iter_mut().zip(after.iter().zip(before)) {
            *value += after - before;
        }
        planned.why = room::why(question, &planned);
    }
    Answer {
        proofs: room::Solved::proofs(&planned.values, &planned.bounds),
        drivers: planned.units.drivers,
        supplies: planned.units.supplies,
        unserved: planned.unserved,
        values: planned.values,
        why: planned.why,
    }
}
