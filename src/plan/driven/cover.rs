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

use super::{Load, room::Room};

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

/// Loads that the same kinds serve, or fewer of these: what only these can be asked for.
struct Asked {
    /// By place in the room's drivers, or supplies: whether it may serve them.
    by: Vec<bool>,
    /// Their currents, the largest first.
    sizes: Vec<i64>,
    /// Outputs that they need at least.
    outputs: i64,
}

/// What the loads of a room ask for, whoever of them is left out.
pub(super) struct Asks<'r> {
    room: &'r Room<'r>,
    drivers: Vec<Asked>,
    supplies: Vec<Asked>,
    /// Outputs that all loads need at least.
    pub(super) outputs: i64,
}

/// Gathers the rows; of those that the same kinds fill, the largest.
#[derive(Default)]
struct Rows {
    found: BTreeMap<(Vec<i64>, bool), (i64, What)>,
}

impl Rows {
    /// `drivers` tells whether drivers give anything to it.
    fn add(&mut self, need: i64, gives: Vec<i64>, drivers: bool, what: What) {
        if need > 0 {
            let entry = self.found.entry((gives, drivers)).or_insert((need, what));
            // Of rows that ask for as much, the one about places says it in the plainest words.
            let plainest = |what: What| (what == What::Places, what);
            if (need, plainest(what)) > (entry.0, plainest(entry.1)) {
                *entry = (need, what);
            }
        }
    }
}

impl<'r> Asks<'r> {
    pub(super) fn of(room: &'r Room<'r>) -> Self {
        Self {
            room,
            drivers: asked(room, &|load| load.alone.clone()),
            supplies: asked(room, &|load| room.fed_by(load)),
            outputs: room.outputs_at_least(&|_| true),
        }
    }

    /// What any set that serves all but `skips` of the loads must have.
    pub(super) fn rows(&self, skips: usize) -> Vec<Row> {
        let mut rows = Rows::default();
        let mut widths: Vec<i64> = (0..self.room.drivers.len())
            .flat_map(|at| &self.room.driver(at).inlets)
            .map(|outputs| i64::from(*outputs))
            .collect();
        widths.sort_unstable();
        widths.dedup();
        let widest = widths.pop().unwrap_or(0);
        self.of_drivers(skips, &mut rows);
        self.of_supplies(skips, widest, &mut rows);
        for width in widths.into_iter().filter(|width| *width > 0) {
            self.of_terminals(skips, width, &mut rows);
        }
        (rows.found.into_iter())
            .map(|((gives, _), (need, what))| {
                let gives = gives.into_iter().map(|it| it.min(need)).collect();
                Row { need, gives, what }
            })
            .collect()
    }

    fn of_drivers(&self, skips: usize, rows: &mut Rows) {
        let room = self.room;
        let (most, shares) = (room.largest_supply(), room.shares());
        // What an inlet and the whole of a driver carry, fed by the largest supply.
        let limits = |at: usize| {
            let kind = room.driver(at);
            let whole = kind.whole_ma.unwrap_or(i64::MAX);
            let fed = if kind.isolated { i64::MAX } else { most };
            (kind.inlet_ma.unwrap_or(i64::MAX).min(most), whole.min(fed))
        };
        let places = |at: usize| -> i64 {
            let inlets = room.driver(at).inlets.iter();
            inlets.map(|outputs| i64::from(*outputs)).sum()
        };
        let large = |at: usize, size: i64| {
            let (inlet, whole) = limits(at);
            let fit = times(inlet, size);
            let inlets = room.driver(at).inlets.iter();
            let outputs = inlets.fold(0_i64, |sum, &outputs| {
                let own = i64::from(outputs);
                sum.saturating_add(if shares { fit } else { fit.min(own) })
            });
            outputs.min(times(whole, size))
        };
        let current = |at: usize| {
            let (inlet, whole) = limits(at);
            let inlets = i64::try_from(room.driver(at).inlets.len()).unwrap_or(i64::MAX);
            inlet.saturating_mul(inlets).min(whole)
        };
        for asked in &self.drivers {
            let among = |gives: &dyn Fn(usize) -> i64| -> Vec<i64> {
                let drivers =
                    (0..room.drivers.len()).map(|at| if asked.by[at] { gives(at) } else { 0 });
                drivers.chain(room.supplies.iter().map(|_| 0)).collect()
            };
            rows.add(
                less(asked.outputs, skips),
                among(&places),
                true,
                What::Places,
            );
            for (count, size) in counted(&asked.sizes) {
                let gives = among(&|at| large(at, size));
                rows.add(less(count, skips), gives, true, What::Large(size));
            }
            rows.add(asked.current(skips), among(&current), true, What::Current);
        }
    }

    fn of_supplies(&self, skips: usize, widest: i64, rows: &mut Rows) {
        let room = self.room;
        let places = |at: usize| {
            let pairs = room.supply(at).pairs;
            pairs.map_or(i64::MAX, |pairs| i64::from(pairs).saturating_mul(widest))
        };
        let shares = room.shares();
        let large = |at: usize, size: i64| {
            let places = if shares { i64::MAX } else { places(at) };
            times(room.supply(at).usable_ma, size).min(places)
        };
        for asked in &self.supplies {
            let among = |gives: &dyn Fn(usize) -> i64| -> Vec<i64> {
                let supplies =
                    (0..room.supplies.len()).map(|at| if asked.by[at] { gives(at) } else { 0 });
                (room.drivers.iter().map(|_| 0)).chain(supplies).collect()
            };
            rows.add(
                less(asked.outputs, skips),
                among(&places),
                false,
                What::Places,
            );
            for (count, size) in counted(&asked.sizes) {
                let gives = among(&|at| large(at, size));
                rows.add(less(count, skips), gives, false, What::Large(size));
            }
            let current = among(&|at| room.supply(at).usable_ma);
            rows.add(asked.current(skips), current, false, What::Current);
        }
    }

    /// Each pair feeds an inlet: so many outputs by its pair, the others by how wide it is.
    fn of_terminals(&self, skips: usize, width: i64, rows: &mut Rows) {
        let room = self.room;
        let wider = (0..room.drivers.len()).map(|at| {
            let inlets = room.driver(at).inlets.iter();
            inlets
                .map(|outputs| (i64::from(*outputs) - width).max(0))
                .sum()
        });
        let pairs = (0..room.supplies.len()).map(|at| {
            let pairs = room.supply(at).pairs;
            pairs.map_or(i64::MAX, |pairs| i64::from(pairs).saturating_mul(width))
        });
        let gives = wider.chain(pairs).collect();
        rows.add(less(self.outputs, skips), gives, true, What::Terminals);
    }
}

impl Asked {
    /// Current of all but the largest.
    fn current(&self, skips: usize) -> i64 {
        self.sizes.iter().skip(skips).sum()
    }
}

/// So many without those that are left out.
fn less(count: i64, skips: usize) -> i64 {
    count.saturating_sub(i64::try_from(skips).unwrap_or(i64::MAX))
}

/// For every choice of kinds that serves some load: the loads that no other kind serves.
fn asked(room: &Room<'_>, by: &dyn Fn(&Load) -> Vec<bool>) -> Vec<Asked> {
    let choices: BTreeSet<Vec<bool>> = room.loads.iter().map(by).collect();
    let all = choices.into_iter().map(|choice| {
        let within = |load: &Load| by(load).iter().zip(&choice).all(|(one, all)| !one || *all);
        let loads = room.loads.iter().filter(|load| within(load));
        let mut sizes: Vec<i64> = loads.map(|load| load.total_ma).collect();
        sizes.sort_unstable_by_key(|size| Reverse(*size));
        let outputs = room.outputs_at_least(&within);
        Asked {
            by: choice,
            sizes,
            outputs,
        }
    });
    all.collect()
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
