//! One room: the best way to feed its loads from so many units of each kind, level by level: the
//! fewest left out and the least money ([`money`]), then cable, units taken and evenness
//! ([`finer`]); [`written`] says it in the question's words.

mod bins;
mod finer;
mod money;
mod written;

pub(super) use written::why;

use super::{
    Bought, DriverKind, LEVELS, Load, Origin, Question, SupplyKind, UsedDriver, UsedSupply,
    cover::{Asks, Cost, Covers, Item},
    pack::Packed,
    share::even,
};
use crate::plan::answer::{Proof, Why};

/// Steps of one search for a packing.
const PACK_STEPS: u64 = 30_000;
/// The same where there are many loads.
const TRY_STEPS: u64 = 120;
/// Sets of equal cost that are looked at.
const TIES: usize = 24;
/// Loads up to which the most even way is searched for through all ways.
pub(super) const FEW_LOADS: usize = 12;

/// How many of a kind a room may have: mounted, on the shelf, to be bought.
pub(super) type Cap = [u32; 3];

/// The loads of a room, and the kinds that may serve them.
pub(super) struct Room<'q> {
    question: &'q Question,
    number: usize,
    /// Places in the question's list.
    ids: Vec<usize>,
    /// Loads that something can serve; by place in [`Room::drivers`] whether it does alone.
    pub(super) loads: Vec<Load>,
    /// Loads that nothing serves, by place in the question's list.
    pub(super) impossible: Vec<usize>,
    pub(super) drivers: Vec<usize>,
    pub(super) supplies: Vec<usize>,
    /// Of each kind, drivers and then supplies.
    caps: Vec<Cap>,
}

/// What came out for a room.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    pub(super) drivers: Vec<UsedDriver>,
    /// With their places in [`Solved::drivers`] feeding from them.
    pub(super) supplies: Vec<UsedSupply>,
    pub(super) unserved: Vec<usize>,
    pub(super) values: [i128; LEVELS],
    pub(super) bounds: [Option<i128>; LEVELS],
    pub(super) why: [Option<Bought>; 2],
    /// How many of each kind of the question it has, drivers and then supplies.
    pub(super) uses: Vec<Cap>,
}

impl<'q> Room<'q> {
    /// All rooms as one, where loads of different rooms share as if they stood together: what that
    /// costs at least, the rooms cost at least.
    pub(super) fn merged(question: &'q Question, all: &[Cap]) -> Self {
        Self::of(question, None, all)
    }

    /// Takes the kinds that may serve from what the room may have of each kind of the question.
    pub(super) fn new(question: &'q Question, number: usize, all: &[Cap]) -> Self {
        Self::of(question, Some(number), all)
    }

    fn of(question: &'q Question, number: Option<usize>, all: &[Cap]) -> Self {
        let some = |cap: &Cap| cap.iter().any(|it| *it > 0);
        let ids: Vec<usize> = (0..question.loads.len())
            .filter(|&at| number.is_none_or(|number| question.loads[at].room == number))
            .collect();
        let supplies: Vec<usize> = (0..question.supplies.len())
            .filter(|&at| {
                let kind = &question.supplies[at];
                number.is_none_or(|number| kind.rooms.get(number) == Some(&true))
                    && kind.pairs != Some(0)
                    && some(&all[question.drivers.len() + at])
            })
            .collect();
        let largest = supplies
            .iter()
            .map(|&at| question.supplies[at].usable_ma)
            .max();
        let carries = |kind: usize, load: usize| {
            let (driver, load) = (&question.drivers[kind], &question.loads[load]);
            load.alone.get(kind) == Some(&true)
                && driver.inlets.iter().any(|outputs| *outputs > 0)
                && driver.inlet_ma.is_none_or(|most| load.total_ma <= most)
                && driver.whole_ma.is_none_or(|most| load.total_ma <= most)
                && largest.is_some_and(|most| load.total_ma <= most)
        };
        let drivers: Vec<usize> = (0..question.drivers.len())
            .filter(|&kind| some(&all[kind]) && ids.iter().any(|&load| carries(kind, load)))
            .collect();
        let (can, impossible): (Vec<usize>, Vec<usize>) =
            (ids.iter()).partition(|&&load| drivers.iter().any(|&kind| carries(kind, load)));
        let loads: Vec<Load> = can
            .iter()
            .map(|&load| Load {
                alone: drivers.iter().map(|&kind| carries(kind, load)).collect(),
                ..question.loads[load].clone()
            })
            .collect();
        let most = u32::try_from(loads.len()).unwrap_or(u32::MAX);
        let caps = (drivers.iter().copied())
            .chain(supplies.iter().map(|at| question.drivers.len() + at))
            .map(|at| all[at].map(|count| count.min(most)))
            .collect();
        let number = number.unwrap_or(usize::MAX);
        Self {
            question,
            number,
            ids: can,
            loads,
            impossible,
            drivers,
            supplies,
            caps,
        }
    }

    pub(super) fn driver(&self, at: usize) -> &DriverKind {
        &self.question.drivers[self.drivers[at]]
    }

    pub(super) fn supply(&self, at: usize) -> &SupplyKind {
        &self.question.supplies[self.supplies[at]]
    }

    /// Outputs of one driver of a kind.
    pub(super) fn places(&self, at: usize) -> usize {
        self.driver(at)
            .inlets
            .iter()
            .map(|outputs| usize::from(*outputs))
            .sum()
    }

    pub(super) fn largest_supply(&self) -> i64 {
        let all = (0..self.supplies.len()).map(|at| self.supply(at).usable_ma);
        all.max().unwrap_or(0)
    }

    /// Loads that few kinds take, and large ones, are hard to place.
    pub(super) fn hardness(&self, load: usize) -> (usize, i64) {
        let load = &self.loads[load];
        let cannot = load.alone.iter().filter(|alone| !**alone).count();
        (cannot, load.total_ma)
    }

    /// What an output of any kind carries at most that loads of a group share.
    fn shared(&self, group: usize) -> Option<i64> {
        let all = 0..self.drivers.len();
        all.filter_map(|at| self.driver(at).shared.get(group).copied().flatten())
            .map(|most| most.output_ma)
            .max()
    }

    /// Whether any two loads may share an output.
    pub(super) fn shares(&self) -> bool {
        let groups = self.loads.iter().filter_map(|load| load.group);
        let mut met = std::collections::BTreeSet::new();
        groups
            .into_iter()
            .any(|group| !met.insert(group) && self.shared(group).is_some())
    }

    /// Outputs that some of the loads need at least.
    pub(super) fn outputs_at_least(&self, among: &dyn Fn(&Load) -> bool) -> i64 {
        let mut single = 0;
        let mut groups: std::collections::BTreeMap<usize, Vec<i64>> =
            std::collections::BTreeMap::new();
        for load in self.loads.iter().filter(|load| among(load)) {
            match load.group.filter(|_| !load.channels.is_empty()) {
                Some(group) if self.shared(group).is_some() => {
                    groups.entry(group).or_default().push(load.total_ma);
                }
                _ => single += 1,
            }
        }
        let shared = groups.into_iter().map(|(group, sizes)| {
            bins::at_least(sizes, self.shared(group).unwrap_or(0).max(1)).max(1)
        });
        single + shared.sum::<i64>()
    }

    /// By place in [`Room::supplies`]: whether it may feed the load.
    pub(super) fn fed_by(&self, load: &Load) -> Vec<bool> {
        let kinds = self.supplies.iter().map(|&at| &self.question.supplies[at]);
        kinds
            .map(|kind| kind.rooms.get(load.room) == Some(&true))
            .collect()
    }

    /// The least cost and then the fewest units bought that any set comes to that covers all but so
    /// many of the loads, as far as the steps reach.
    pub(super) fn cost_at_least(&self, skips: usize, steps: &mut u64) -> Cost {
        let rows = Asks::of(self).rows(skips);
        let items = self.items(Origin::Bought);
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let mut covers = Covers::new(&rows, &items, self.drivers.len(), &there);
        let floor = covers.floor();
        match covers.next(steps) {
            Ok(Some((cost, _))) => cost,
            Ok(None) => floor.unwrap_or_default(),
            Err(()) => covers.floor().unwrap_or_default(),
        }
    }

    fn item(&self, kind: usize, origin: Origin) -> Item {
        let stock = match kind.checked_sub(self.drivers.len()) {
            None => self.driver(kind).stock,
            Some(supply) => self.supply(supply).stock,
        };
        let cost = match origin {
            Origin::Mounted => [0; 3],
            Origin::Shelf => [0, 0, 1],
            Origin::Bought => [stock.buy.map_or(0, |buy| buy.cost), 1, 0],
        };
        Item {
            kind,
            cost,
            most: self.caps[kind][origin as usize],
        }
    }

    fn items(&self, origin: Origin) -> Vec<Item> {
        (0..self.caps.len())
            .map(|kind| self.item(kind, origin))
            .filter(|item| item.most > 0)
            .collect()
    }

    fn there(&self, origins: &[Origin]) -> Vec<u32> {
        let sum = |cap: &Cap| origins.iter().map(|it| cap[*it as usize]).sum();
        self.caps.iter().map(sum).collect()
    }

    /// What a packing comes to.
    fn values(&self, packed: &Packed) -> [i128; LEVELS] {
        let mut counts = vec![0_u32; self.caps.len()];
        for driver in &packed.drivers {
            counts[driver.kind] += 1;
        }
        for (kind, _) in &packed.supplies {
            counts[self.drivers.len() + kind] += 1;
        }
        let mut cost: Cost = [0; 3];
        for (kind, &count) in counts.iter().enumerate() {
            let mut left = count;
            for origin in [Origin::Mounted, Origin::Shelf, Origin::Bought] {
                let item = self.item(kind, origin);
                let take = left.min(item.most);
                left -= take;
                for (sum, each) in cost.iter_mut().zip(item.cost) {
                    *sum += each * i128::from(take);
                }
            }
        }
        let inlets = i128::from(inlets(packed));
        let unserved = packed.left.len() + self.impossible.len();
        [
            i128::try_from(unserved).unwrap_or(i128::MAX),
            cost[0],
            cost[1],
            inlets * i128::from(self.question.feed_um),
            cost[2],
            even(packed.supplies.iter().map(|(_, ma)| *ma)),
        ]
    }

    /// Steps that it may always take: a search that goes straight through ends in them.
    pub(super) fn sure(&self) -> u64 {
        let loads = u64::try_from(self.loads.len()).unwrap_or(0);
        if self.loads.len() > FEW_LOADS {
            1_000 + 20 * loads
        } else {
            2 * loads + 10
        }
    }

    /// The best way, level by level; that of evenness only where it is asked for.
    pub(super) fn solve(&self, even: bool, steps: &mut u64) -> Solved {
        let nothing = Packed {
            left: (0..self.loads.len()).collect(),
            ..Packed::default()
        };
        let mut best = Best {
            packed: nothing,
            bounds: [None; LEVELS],
        };
        let asks = Asks::of(self);
        // Many loads are served some cheap way first: a limit to every search after it.
        let star = (self.loads.len() > FEW_LOADS)
            .then(|| self.cheap(&asks.rows(0), &mut best, steps))
            .flatten();
        let (skips, least) = if star.is_some() {
            (0, None)
        } else {
            self.fewest_out(&asks, &mut best, steps)
        };
        let unserved = least.unwrap_or(skips).min(skips) + self.impossible.len();
        best.bounds[0] = i128::try_from(unserved).ok();
        let rows = asks.rows(skips);
        let ties = self.cheapest(&rows, skips, star, &mut best, steps);
        self.shortest(&asks, &ties, skips, &mut best, steps);
        self.fewest(&rows, &ties, skips, &mut best, steps);
        if even {
            self.evenest(&rows, &ties, skips, &mut best, steps);
        }
        self.write(&rows, best)
    }

    /// Steps of one search for a packing: all ways where there are few, a try where there are many.
    fn pack_steps(&self) -> u64 {
        if self.loads.len() > FEW_LOADS {
            TRY_STEPS
        } else {
            PACK_STEPS
        }
    }
}

/// The best so far, and the bounds that are known.
struct Best {
    packed: Packed,
    bounds: [Option<i128>; LEVELS],
}

/// Sets of equal cost.
struct Ties {
    sets: Vec<Vec<u32>>,
    /// Whether these are all of them.
    complete: bool,
}

fn inlets(packed: &Packed) -> u32 {
    let feeds = packed.drivers.iter().flat_map(|driver| &driver.feeds);
    u32::try_from(feeds.flatten().count()).unwrap_or(u32::MAX)
}

fn with(base: &[u32], items: &[Item], counts: &[u32]) -> Vec<u32> {
    let mut set = base.to_vec();
    for (item, count) in items.iter().zip(counts) {
        set[item.kind] += count;
    }
    set
}

impl Solved {
    /// What is known about each level.
    pub(super) fn proofs(
        values: &[i128; LEVELS],
        bounds: &[Option<i128>; LEVELS],
    ) -> [Proof<i128>; LEVELS] {
        let mut open = false;
        let mut at = 0;
        [(); LEVELS].map(|()| {
            let level = at;
            at += 1;
            let proof = match bounds[level] {
                _ if open => Proof::Open {
                    why: Why::EarlierOpen,
                },
                None => Proof::Open {
                    why: Why::StepBudget,
                },
                Some(bound) if bound >= values[level] => Proof::Proven,
                Some(bound) => Proof::Within { bound },
            };
            open = !proof.is_proven();
            proof
        })
    }
}
