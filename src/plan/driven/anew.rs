//! A few units at a time are planned anew: what some supplies, their drivers and their loads come to
//! by themselves, beside all others as they stand.
//!
//! Rooms are planned one after the other and outputs filled before it is known what feeds them, so
//! that the first takes what the next would need. Here units of several rooms are taken up together,
//! with what is left on the shelf, and put down again where that costs less.

use std::cmp::Reverse;

use super::{
    LEVELS, Origin, Question, Stock, UsedDriver, UsedSupply,
    room::Room,
    share::{self, even},
};

/// Steps that one look may take.
const LOOK_STEPS: u64 = 2_000;
/// Steps for what a few units cost at least.
const FLOOR_STEPS: u64 = 200;
/// Clusters that are looked at: those with the most to spare.
const LOOSEST: usize = 12;
/// How many of them are taken up together at most.
const TOGETHER: u32 = 4;
/// Loads that are taken up together at most.
const MOST_LOADS: usize = 40;

/// What feeds what, over all rooms.
#[derive(Debug, Clone, Default)]
pub(super) struct Units {
    pub(super) drivers: Vec<UsedDriver>,
    pub(super) supplies: Vec<UsedSupply>,
}

/// Supplies and drivers that feed each other, by place among the units.
#[derive(Debug, Clone, Default)]
struct Cluster {
    drivers: Vec<usize>,
    supplies: Vec<usize>,
}

/// A part of a question, with what its places are in the whole.
struct Part {
    question: Question,
    loads: Vec<usize>,
    rooms: Vec<usize>,
}

/// Plans a few units at a time anew, until the cost meets `bound`, nothing is gained or the steps
/// run out; tells whether anything was gained.
pub(super) fn better(question: &Question, units: &mut Units, bound: i128, steps: &mut u64) -> bool {
    let mut gained = false;
    while *steps > 0 && units.values(question)[1] > bound {
        let clusters = clusters(question, units);
        let found = choices(clusters.len().min(LOOSEST)).find_map(|chosen| {
            let chosen: Vec<&Cluster> = chosen.iter().map(|&at| &clusters[at]).collect();
            look(question, units, &chosen, steps)
        });
        let Some(found) = found else { break };
        *units = found;
        gained = true;
    }
    gained
}

/// Every choice of two and more out of so many, the smaller choices first.
fn choices(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (2..=TOGETHER).flat_map(move |size| {
        (0..1_usize << count)
            .filter(move |mask| mask.count_ones() == size)
            .map(move |mask| (0..count).filter(|at| (mask >> at) & 1 == 1).collect())
    })
}

/// What feeds each other; what has the largest part of its supplies to spare comes first.
fn clusters(question: &Question, units: &Units) -> Vec<Cluster> {
    let mut root: Vec<usize> = (0..units.supplies.len()).collect();
    for driver in &units.drivers {
        let mut feeds = driver.feeds.iter().flatten();
        let Some(&first) = feeds.next() else { continue };
        for &other in feeds {
            let (into, from) = (root[first], root[other]);
            for it in &mut root {
                if *it == from {
                    *it = into;
                }
            }
        }
    }
    let mut clusters = vec![Cluster::default(); units.supplies.len()];
    for (at, &root) in root.iter().enumerate() {
        clusters[root].supplies.push(at);
    }
    for (at, driver) in units.drivers.iter().enumerate() {
        if let Some(&feed) = driver.feeds.iter().flatten().next() {
            clusters[root[feed]].drivers.push(at);
        }
    }
    clusters.retain(|cluster| !cluster.supplies.is_empty());
    clusters.sort_by_cached_key(|cluster| {
        let own = cluster.supplies.iter().map(|&at| &units.supplies[at]);
        let (usable, load) = own.fold((0_i64, 0_i64), |(usable, load), it| {
            let most = question.supplies[it.kind].usable_ma;
            (usable.saturating_add(most), load.saturating_add(it.load_ma))
        });
        let spare = i128::from(usable - load) * 1_000 / i128::from(usable.max(1));
        (Reverse(spare), cluster.supplies.clone())
    });
    clusters
}

/// All units with the chosen ones planned anew, where that is better.
fn look(question: &Question, all: &Units, chosen: &[&Cluster], steps: &mut u64) -> Option<Units> {
    if *steps == 0 {
        return None;
    }
    let (taken, rest) = all.apart(chosen);
    let part = Part::of(question, &taken, &rest);
    *steps = steps.saturating_sub(1);
    if part.loads.len() > MOST_LOADS {
        return None;
    }
    let old = taken.values(&part.question);
    let floor = {
        let stock = share::stock(&part.question);
        let room = Room::merged(&part.question, &stock);
        let mut own = FLOOR_STEPS.min(*steps);
        *steps -= own;
        let floor = room.cost_at_least(0, &mut own);
        *steps += own;
        floor
    };
    if [floor[0], floor[1]] >= [old[1], old[2]] {
        return None;
    }
    let mut own = LOOK_STEPS.min(*steps);
    *steps -= own;
    let planned = share::plan(&part.question, &mut own);
    *steps += own;
    (planned.values < old).then(|| rest.with(part.back(planned.units)).in_order(question))
}

impl Units {
    /// The chosen clusters, and all other units; feeds are by place in each.
    fn apart(&self, chosen: &[&Cluster]) -> (Self, Self) {
        let within = |at: usize, of: &dyn Fn(&Cluster) -> &Vec<usize>| {
            chosen.iter().any(|cluster| of(cluster).contains(&at))
        };
        let (mut taken, mut rest) = (Self::default(), Self::default());
        let mut places = Vec::new();
        for (at, supply) in self.supplies.iter().enumerate() {
            let to = if within(at, &|it| &it.supplies) {
                &mut taken
            } else {
                &mut rest
            };
            places.push(to.supplies.len());
            to.supplies.push(supply.clone());
        }
        for (at, driver) in self.drivers.iter().enumerate() {
            let to = if within(at, &|it| &it.drivers) {
                &mut taken
            } else {
                &mut rest
            };
            let mut driver = driver.clone();
            for feed in driver.feeds.iter_mut().flatten() {
                *feed = places[*feed];
            }
            to.drivers.push(driver);
        }
        (taken, rest)
    }

    /// These and others.
    pub(super) fn with(mut self, others: Self) -> Self {
        let before = self.supplies.len();
        self.supplies.extend(others.supplies);
        self.drivers
            .extend(others.drivers.into_iter().map(|mut driver| {
                for feed in driver.feeds.iter_mut().flatten() {
                    *feed += before;
                }
                driver
            }));
        self
    }

    /// Drivers room by room and in the order of their first loads, supplies in that of the inlets
    /// that they feed; of each kind what is mounted is used first, then what is on the shelf.
    fn in_order(mut self, question: &Question) -> Self {
        self.drivers.sort_by_key(|driver| {
            let first = driver.outputs.iter().flat_map(|it| &it.loads).min();
            (driver.room, first.copied())
        });
        let mut order: Vec<usize> = Vec::new();
        for feed in (self.drivers.iter_mut()).flat_map(|driver| driver.feeds.iter_mut().flatten()) {
            let place = order.iter().position(|it| it == feed).unwrap_or_else(|| {
                order.push(*feed);
                order.len() - 1
            });
            *feed = place;
        }
        self.supplies = (order.iter())
            .map(|&at| self.supplies[at].clone())
            .collect();
        let mut used = vec![0; question.drivers.len() + question.supplies.len()];
        let mut next = |kind: usize, stock: &Stock| {
            used[kind] += 1;
            origin(stock, used[kind])
        };
        for driver in &mut self.drivers {
            driver.origin = next(driver.kind, &question.drivers[driver.kind].stock);
        }
        for supply in &mut self.supplies {
            let stock = &question.supplies[supply.kind].stock;
            supply.origin = next(question.drivers.len() + supply.kind, stock);
        }
        self
    }

    /// How many there are of each kind of the question, drivers and then supplies.
    fn counts(&self, question: &Question) -> Vec<u32> {
        let mut counts = vec![0; question.drivers.len() + question.supplies.len()];
        for driver in &self.drivers {
            counts[driver.kind] += 1;
        }
        for supply in &self.supplies {
            counts[question.drivers.len() + supply.kind] += 1;
        }
        counts
    }

    /// By level, what they come to where they serve all loads.
    pub(super) fn values(&self, question: &Question) -> [i128; LEVELS] {
        let (mut cost, mut bought, mut taken) = (0, 0, 0);
        for (count, stock) in self.counts(question).into_iter().zip(stocks(question)) {
            for one in 1..=count {
                match origin(stock, one) {
                    Origin::Mounted => {}
                    Origin::Shelf => taken += 1,
                    Origin::Bought => {
                        bought += 1;
                        cost += stock.buy.map_or(0, |buy| buy.cost);
                    }
                }
            }
        }
        let inlets = self.drivers.iter().flat_map(|it| it.feeds.iter().flatten());
        let inlets = i128::try_from(inlets.count()).unwrap_or(i128::MAX);
        [
            0,
            cost,
            bought,
            inlets.saturating_mul(i128::from(question.feed_um)),
            taken,
            even(self.supplies.iter().map(|supply| supply.load_ma)),
        ]
    }
}

/// Where the so-manieth unit of a kind comes from.
fn origin(stock: &Stock, one: u32) -> Origin {
    if one <= stock.mounted {
        Origin::Mounted
    } else if one <= stock.mounted.saturating_add(stock.shelf) {
        Origin::Shelf
    } else {
        Origin::Bought
    }
}

fn stocks(question: &Question) -> impl Iterator<Item = &Stock> {
    let drivers = question.drivers.iter().map(|kind| &kind.stock);
    drivers.chain(question.supplies.iter().map(|kind| &kind.stock))
}

impl Part {
    /// What some units feed, with all that the others leave.
    fn of(question: &Question, taken: &Units, rest: &Units) -> Self {
        let mut loads: Vec<usize> = (taken.drivers.iter().flat_map(|driver| &driver.outputs))
            .flat_map(|output| output.loads.iter().copied())
            .collect();
        loads.sort_unstable();
        let mut rooms: Vec<usize> = loads.iter().map(|&at| question.loads[at].room).collect();
        rooms.sort_unstable();
        rooms.dedup();
        let mut part = question.clone();
        part.loads = (loads.iter())
            .map(|&at| {
                let mut load = question.loads[at].clone();
                load.room = rooms.partition_point(|room| *room < load.room);
                load
            })
            .collect();
        for kind in &mut part.supplies {
            let may = |room: &usize| kind.rooms.get(*room) == Some(&true);
            kind.rooms = rooms.iter().map(may).collect();
        }
        let used = rest.counts(question);
        let (drivers, supplies) = used.split_at(question.drivers.len());
        for (kind, used) in part.drivers.iter_mut().zip(drivers) {
            kind.stock = without(kind.stock, *used);
        }
        for (kind, used) in part.supplies.iter_mut().zip(supplies) {
            kind.stock = without(kind.stock, *used);
        }
        Self {
            question: part,
            loads,
            rooms,
        }
    }

    /// Units of the part in the words of the whole.
    fn back(&self, mut units: Units) -> Units {
        for driver in &mut units.drivers {
            driver.room = self.rooms[driver.room];
            for load in driver.outputs.iter_mut().flat_map(|it| &mut it.loads) {
                *load = self.loads[*load];
            }
        }
        units
    }
}

/// What is left of a kind where so many are used.
fn without(stock: Stock, used: u32) -> Stock {
    let mounted = stock.mounted.min(used);
    let shelf = stock.shelf.min(used - mounted);
    let bought = used - mounted - shelf;
    let mut left = Stock {
        mounted: stock.mounted - mounted,
        shelf: stock.shelf - shelf,
        buy: stock.buy,
    };
    if let Some(most) = left.buy.as_mut().and_then(|buy| buy.most.as_mut()) {
        *most = most.saturating_sub(bought);
    }
    left
}

#[cfg(test)]
mod tests {
    use proptest::{prelude::*, test_runner::FileFailurePersistence};

    use super::*;
    use crate::plan::driven::{
        Answer, Buy, DriverKind, Load, Output, SupplyKind,
        room::Solved,
        tests::{brute, cases, checked},
    };

    /// As an answer that claims nothing.
    fn answer(question: &Question, units: Units, unserved: Vec<usize>) -> Answer {
        let mut values = units.values(question);
        values[0] = i128::try_from(unserved.len()).unwrap();
        Answer {
            drivers: units.drivers,
            supplies: units.supplies,
            unserved,
            values,
            proofs: Solved::proofs(&values, &[None; LEVELS]),
            why: Vec::new(),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            cases: 300,
            failure_persistence: Some(Box::new(FileFailurePersistence::Direct(
                "tests/proptest-regressions/driven.txt"
            ))),
            ..ProptestConfig::default()
        })]

        #[test]
        fn what_is_planned_anew_keeps_every_rule(question in cases(), steps in 0_u64..40) {
            let mut planned = share::plan(&question, &mut { steps });
            let before = planned.values;
            let gained = better(&question, &mut planned.units, 0, &mut 10_000);
            let answer = answer(&question, planned.units, planned.unserved);
            prop_assert_eq!(checked(&question, &answer), answer.values);
            prop_assert!(answer.values >= brute(&question));
            prop_assert_eq!(gained, answer.values < before);
        }
    }

    /// Two places with a load each: what the first takes, the second must buy.
    #[test]
    fn what_one_place_has_too_much_of_serves_another() {
        let load = |room, total_ma| Load {
            room,
            channels: vec![total_ma],
            total_ma,
            alone: vec![true],
            group: None,
        };
        let there = Stock {
            mounted: 2,
            ..Stock::default()
        };
        let supply = |usable_ma, cost| SupplyKind {
            usable_ma,
            pairs: Some(2),
            rooms: vec![true, true],
            stock: Stock {
                shelf: 1,
                buy: Some(Buy { cost, most: None }),
                ..Stock::default()
            },
        };
        let question = Question {
            loads: vec![load(0, 900), load(1, 1_800)],
            drivers: vec![DriverKind {
                inlets: vec![2],
                inlet_ma: None,
                whole_ma: None,
                isolated: false,
                shared: Vec::new(),
                stock: there,
            }],
            supplies: vec![supply(1_000, 300), supply(2_000, 1_000)],
            feed_um: 1,
        };
        let driver = |room: usize| UsedDriver {
            kind: 0,
            origin: Origin::Mounted,
            room,
            outputs: vec![Output {
                inlet: 0,
                loads: vec![room],
            }],
            feeds: vec![Some(room)],
        };
        let large = |origin, load_ma| UsedSupply {
            kind: 1,
            origin,
            load_ma,
        };
        let mut units = Units {
            drivers: vec![driver(0), driver(1)],
            supplies: vec![large(Origin::Shelf, 900), large(Origin::Bought, 1_800)],
        };
        assert_eq!(units.values(&question)[1], 1_000);
        assert!(better(&question, &mut units, 0, &mut 10_000));
        let kinds: Vec<usize> = units.supplies.iter().map(|supply| supply.kind).collect();
        assert_eq!(kinds, [0, 1]);
        let answer = answer(&question, units, Vec::new());
        assert_eq!(checked(&question, &answer)[..3], [0, 0, 0]);
    }
}
