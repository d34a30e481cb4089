//! Sets of units that cover what is asked for, from the cheapest on.
//!
//! A [`Row`] says what any set that serves the loads must have enough of; a set that has enough of
//! everything may still fail to be packed, one that has not can't serve. [`Covers`] goes through
//! sets by best-first search: what a set must cost at least when it is filled up is bounded row by
//! row, drivers and supplies apart, since no unit is both.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet, BinaryHeap},
};

use super::room::Room;

/// Something that a set of units must have enough of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// How much.
    pub(super) need: i64,
    /// What one of each kind gives: drivers, then supplies, by place in the room's lists.
    pub(super) gives: Vec<i64>,
    pub(super) what: What,
}

/// What a row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum What {
    /// Loads, or outputs for them.
    Places,
    /// Loads of so many mA and more.
    Large(i64),
    /// All current.
    Current,
    /// Outputs by the terminals and the inlets that they need.
    Terminals,
}

/// A sum that counts from the first figure on: cost, units bought, units from the shelf.
pub(super) type Cost = [i128; 3];

pub(super) fn plus(a: Cost, b: Cost) -> Cost {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(super) fn minus(a: Cost, b: Cost) -> Cost {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// How many of a size go into a capacity.
fn times(capacity: i64, size: i64) -> i64 {
    if size <= 0 { i64::MAX } else { capacity / size }
}

/// What any set that serves all but `skips` of the loads must have.
pub(super) fn rows(room: &Room<'_>, skips: usize) -> Vec<Row> {
    let most = room.largest_supply();
    let shares = room.shares();
    let mut found: BTreeMap<(Vec<i64>, bool), (i64, What)> = BTreeMap::new();
    let mut add = |need: i64, gives: Vec<i64>, drivers: bool, what: What| {
        if need > 0 {
            let entry = found.entry((gives, drivers)).or_insert((need, what));
            // Of rows that ask for as much, the one about places says it in the plainest words.
            let plainest = |what: What| (what == What::Places, what);
            if (need, plainest(what)) > (entry.0, plainest(entry.1)) {
                *entry = (need, what);
            }
        }
    };
    let driver_gives = |at: usize, size: i64, sharing: bool| {
        let kind = room.driver(at);
        let inlet = kind.inlet_ma.unwrap_or(i64::MAX).min(most);
        let outputs = kind.inlets.iter().fold(0_i64, |sum, &outputs| {
            let fit = times(inlet, size);
            sum.saturating_add(if sharing {
                fit
            } else {
                fit.min(i64::from(outputs))
            })
        });
        let whole = kind.whole_ma.unwrap_or(i64::MAX);
        let whole = if kind.isolated {
            whole
        } else {
            whole.min(most)
        };
        outputs.min(times(whole, size))
    };
    let masks: BTreeSet<Vec<bool>> = room.loads.iter().map(|load| load.alone.clone()).collect();
    let skipped = i64::try_from(skips).unwrap_or(i64::MAX);
    let none = vec![0; room.supplies.len()];
    let among = |mask: &[bool], gives: &dyn Fn(usize) -> i64| -> Vec<i64> {
        let drivers = (0..room.drivers.len()).map(|at| if mask[at] { gives(at) } else { 0 });
        drivers.chain(none.iter().copied()).collect()
    };
    for mask in &masks {
        let within = |alone: &[bool]| alone.iter().zip(mask).all(|(one, all)| !one || *all);
        let mut sizes: Vec<i64> = (room.loads.iter())
            .filter(|load| within(&load.alone))
            .map(|load| load.total_ma)
            .collect();
        sizes.sort_unstable_by_key(|size| Reverse(*size));
        let outputs = room.outputs_at_least(&|load| within(&load.alone));
        let plain = |at: usize| {
            let kind = room.driver(at);
            kind.inlets.iter().map(|outputs| i64::from(*outputs)).sum()
        };
        add(outputs - skipped, among(mask, &plain), true, What::Places);
        for (count, size) in counted(&sizes) {
            let gives = |at: usize| driver_gives(at, size, shares);
            add(
                count - skipped,
                among(mask, &gives),
                true,
                What::Large(size),
            );
        }
        let sum: i64 = sizes.iter().skip(skips).sum();
        let gives = |at: usize| {
            let kind = room.driver(at);
            let inlet = kind.inlet_ma.unwrap_or(i64::MAX).min(most);
            let whole = kind.whole_ma.unwrap_or(i64::MAX);
            let whole = if kind.isolated {
                whole
            } else {
                whole.min(most)
            };
            let inlets = i64::try_from(kind.inlets.len()).unwrap_or(i64::MAX);
            inlet.saturating_mul(inlets).min(whole)
        };
        add(sum, among(mask, &gives), true, What::Current);
    }
    let widest = (0..room.drivers.len())
        .flat_map(|at| room.driver(at).inlets.iter().copied())
        .max();
    let widest = i64::from(widest.unwrap_or(0));
    let sources: BTreeSet<Vec<bool>> = room.loads.iter().map(|load| room.fed_by(load)).collect();
    for mask in &sources {
        let within = |one: &[bool]| one.iter().zip(mask).all(|(one, all)| !one || *all);
        let mut sizes: Vec<i64> = (room.loads.iter())
            .filter(|load| within(&room.fed_by(load)))
            .map(|load| load.total_ma)
            .collect();
        sizes.sort_unstable_by_key(|size| Reverse(*size));
        let supply_gives = |gives: &dyn Fn(usize) -> i64| -> Vec<i64> {
            let of = (0..room.supplies.len()).map(|at| if mask[at] { gives(at) } else { 0 });
            vec![0; room.drivers.len()].into_iter().chain(of).collect()
        };
        let loads_of = |size: i64| {
            supply_gives(&|at| {
                let kind = room.supply(at);
                let pairs = kind.pairs.map_or(i64::MAX, i64::from);
                let places = if shares {
                    i64::MAX
                } else {
                    pairs.saturating_mul(widest)
                };
                times(kind.usable_ma, size).min(places)
            })
        };
        let outputs = room.outputs_at_least(&|load| within(&room.fed_by(load)));
        let places = supply_gives(&|at| {
            let pairs = room.supply(at).pairs;
            pairs.map_or(i64::MAX, |pairs| i64::from(pairs) * widest)
        });
        add(outputs - skipped, places, false, What::Places);
        for (count, size) in counted(&sizes) {
            add(count - skipped, loads_of(size), false, What::Large(size));
        }
        let sum: i64 = sizes.iter().skip(skips).sum();
        add(
            sum,
            supply_gives(&|at| room.supply(at).usable_ma),
            false,
            What::Current,
        );
    }
    let mut widths: Vec<i64> = (0..room.drivers.len())
        .flat_map(|at| {
            room.driver(at)
                .inlets
                .iter()
                .map(|outputs| i64::from(*outputs))
        })
        .collect();
    widths.sort_unstable();
    widths.dedup();
    widths.pop();
    // Each pair feeds an inlet: so many outputs by its pair, the others by how wide it is.
    let outputs = room.outputs_at_least(&|_| true);
    for width in widths.into_iter().filter(|width| *width > 0) {
        let wider = (0..room.drivers.len()).map(|at| {
            let inlets = room.driver(at).inlets.iter();
            inlets
                .map(|outputs| (i64::from(*outputs) - width).max(0))
                .sum()
        });
        let pairs = (0..room.supplies.len()).map(|at| {
            room.supply(at)
                .pairs
                .map_or(i64::MAX, |pairs| i64::from(pairs) * width)
        });
        add(
            outputs - skipped,
            wider.chain(pairs).collect(),
            true,
            What::Terminals,
        );
    }
    found
        .into_iter()
        .map(|((gives, _), (need, what))| {
            let gives = gives.into_iter().map(|it| it.min(need)).collect();
            Row { need, gives, what }
        })
        .collect()
}

/// Every size above nought with how many are of it or larger; sizes go down.
fn counted(sizes: &[i64]) -> Vec<(i64, i64)> {
    let mut rows: Vec<(i64, i64)> = Vec::new();
    for (count, &size) in (1..).zip(sizes) {
        match rows.last_mut() {
            Some((so_far, last)) if *last == size => *so_far = count,
            _ => rows.push((count, size)),
        }
    }
    rows.retain(|(_, size)| *size > 0);
    rows
}

/// A kind that may be added to a set.
#[derive(Debug, Clone)]
pub(super) struct Item {
    /// Its place among the room's drivers, then supplies.
    pub(super) kind: usize,
    pub(super) cost: Cost,
    pub(super) most: u32,
}

#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Node {
    /// What it costs at least when it is filled up.
    at_least: Cost,
    /// Sets that have more come first.
    more: Reverse<u32>,
    counts: Vec<u32>,
    /// Only kinds from here on are added, so that each set is met once.
    from: usize,
    cost: Cost,
    /// What is missing of each row; nothing where it is not above nought.
    missing: Vec<i64>,
}

/// Sets of items that cover all rows, from the cheapest on.
pub(super) struct Covers<'r> {
    rows: &'r [Row],
    items: &'r [Item],
    drivers: usize,
    /// By row and figure of the cost: items that give anything, what gives most for it first.
    cheapest: Vec<[Vec<usize>; 3]>,
    heap: BinaryHeap<Reverse<Node>>,
    /// Steps that a look at one set takes.
    each: u64,
}

impl<'r> Covers<'r> {
    /// From what is there for nothing: how many of each kind.
    pub(super) fn new(rows: &'r [Row], items: &'r [Item], drivers: usize, there: &[u32]) -> Self {
        let order = |row: &Row, figure: usize| {
            let gives = |at: usize| i128::from(row.gives[items[at].kind]);
            let mut order: Vec<usize> = (0..items.len()).filter(|&at| gives(at) > 0).collect();
            order.sort_by(|&a, &b| {
                let (x, y) = (items[a].cost[figure], items[b].cost[figure]);
                // Where the products are beyond reckoning, what costs less comes first.
                match (x.checked_mul(gives(b)), y.checked_mul(gives(a))) {
                    (Some(x), Some(y)) => x.cmp(&y),
                    _ => x.cmp(&y),
                }
            });
            order
        };
        let mut covers = Self {
            rows,
            items,
            drivers,
            cheapest: rows
                .iter()
                .map(|row| [0, 1, 2].map(|figure| order(row, figure)))
                .collect(),
            heap: BinaryHeap::new(),
            each: 1 + u64::try_from(rows.len() * items.len()).unwrap_or(u64::MAX) / 250,
        };
        let missing = rows
            .iter()
            .map(|row| row.need - given(row, there))
            .collect();
        covers.push(vec![0; items.len()], 0, [0; 3], missing);
        covers
    }

    fn push(&mut self, counts: Vec<u32>, from: usize, cost: Cost, missing: Vec<i64>) {
        if let Some(more) = self.more(&counts, from, &missing) {
            self.heap.push(Reverse(Node {
                at_least: plus(cost, more),
                more: Reverse(counts.iter().sum()),
                counts,
                from,
                cost,
                missing,
            }));
        }
    }

    /// The least that must be added to a set by kinds from a place on; `None` where nothing does.
    fn more(&self, counts: &[u32], from: usize, missing: &[i64]) -> Option<Cost> {
        let mut most = [[0; 3]; 3];
        for ((row, cheapest), &missing) in self.rows.iter().zip(&self.cheapest).zip(missing) {
            if missing <= 0 {
                continue;
            }
            let open = |at: &&usize| **at >= from && counts[**at] < self.items[**at].most;
            let mut can = 0_i64;
            for &at in cheapest[0].iter().filter(open) {
                let left = i64::from(self.items[at].most - counts[at]);
                can = can.saturating_add(row.gives[self.items[at].kind].saturating_mul(left));
            }
            if can < missing {
                return None;
            }
            for (figure, order) in cheapest.iter().enumerate() {
                let item = &self.items[*order.iter().find(open)?];
                let side = match row.what {
                    What::Terminals => 2,
                    _ => usize::from(item.kind >= self.drivers),
                };
                let least = part(item.cost[figure], missing, row.gives[item.kind]);
                most[side][figure] = least.max(most[side][figure]);
            }
        }
        let [drivers, supplies, both] = most;
        let apart = plus(drivers, supplies);
        Some([0, 1, 2].map(|figure| apart[figure].max(both[figure])))
    }

    /// What the next set costs at least.
    pub(super) fn floor(&self) -> Option<Cost> {
        self.heap.peek().map(|Reverse(node)| node.at_least)
    }

    /// The next set, with its cost; `Err` where the steps ran out before it was found.
    pub(super) fn next(&mut self, steps: &mut u64) -> Result<Option<(Cost, Vec<u32>)>, ()> {
        while let Some(Reverse(node)) = self.heap.pop() {
            if *steps == 0 {
                self.heap.push(Reverse(node));
                return Err(());
            }
            *steps = steps.saturating_sub(self.each);
            for at in node.from..self.items.len() {
                let item = &self.items[at];
                if node.counts[at] < item.most {
                    let mut counts = node.counts.clone();
                    counts[at] += 1;
                    let missing = self.rows.iter().zip(&node.missing);
                    let missing = missing.map(|(row, it)| it.saturating_sub(row.gives[item.kind]));
                    let (cost, missing) = (plus(node.cost, item.cost), missing.collect());
                    self.push(counts, at, cost, missing);
                }
            }
            if node.missing.iter().all(|missing| *missing <= 0) {
                return Ok(Some((node.cost, node.counts)));
            }
        }
        Ok(None)
    }
}

/// Some set that covers all rows, found at once: what gives the most for its cost to the row that
/// is covered least, until nothing is missing.
pub(super) fn some(rows: &[Row], items: &[Item], there: &[u32]) -> Option<(Cost, Vec<u32>)> {
    let mut counts = vec![0; items.len()];
    let mut cost = [0; 3];
    let mut missing: Vec<i64> = rows
        .iter()
        .map(|row| row.need - given(row, there))
        .collect();
    loop {
        let share = |at: usize| i128::from(missing[at]) * 1_000 / i128::from(rows[at].need.max(1));
        let worst = (0..rows.len())
            .filter(|&at| missing[at] > 0)
            .max_by_key(|&at| (share(at), Reverse(at)));
        let Some(worst) = worst else {
            return Some((cost, counts));
        };
        let best = (0..items.len())
            .filter(|&at| rows[worst].gives[items[at].kind] > 0 && counts[at] < items[at].most)
            .min_by_key(|&at| {
                let gives = rows[worst].gives[items[at].kind].min(missing[worst]);
                (
                    items[at]
                        .cost
                        .map(|cost| part(cost, rows[worst].need, gives)),
                    at,
                )
            })?;
        counts[best] += 1;
        cost = plus(cost, items[best].cost);
        for (row, missing) in rows.iter().zip(&mut missing) {
            *missing = missing.saturating_sub(row.gives[items[best].kind]);
        }
    }
}

/// What so many of each kind give of a row.
pub(super) fn given(row: &Row, counts: &[u32]) -> i64 {
    row.gives
        .iter()
        .zip(counts)
        .fold(0, |sum: i64, (gives, count)| {
            sum.saturating_add(gives.saturating_mul(i64::from(*count)))
        })
}

/// The cost of what is missing, at the cost of what one gives, rounded up; where that cannot be
/// reckoned, as many whole ones as it takes at least.
fn part(cost: i128, missing: i64, gives: i64) -> i128 {
    if cost == 0 {
        return 0;
    }
    if cost == 1 {
        return i128::from((missing - 1) / gives + 1);
    }
    let (missing, gives) = (i128::from(missing), i128::from(gives));
    match cost.checked_mul(missing) {
        Some(all) => (all + gives - 1) / gives,
        None => cost.saturating_mul(missing / gives),
    }
}
