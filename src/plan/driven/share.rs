//! Rooms that ask for the same units, and the evenness of loads.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet, BinaryHeap},
    rc::Rc,
};

use super::{
    Bought, Buy, LEVELS, Question,
    anew::Units,
    room::{Cap, Room, Solved},
};

/// Steps for what the rooms cost at least together.
const MERGED_STEPS: u64 = 2_000;
/// Ways to share one kind out that are looked at in one go.
const WAYS: usize = 40;

/// Squares of loads in tenths of an ampere, rounded up, summed.
pub(in crate::plan) fn even(loads: impl Iterator<Item = i64>) -> i128 {
    loads.map(|ma| i128::from(tenths(ma)).pow(2)).sum()
}

fn tenths(ma: i64) -> i64 {
    (ma + 99) / 100
}

/// The least that [`even`] can be for a current on so many supplies.
pub(super) fn even_of_many(ma: i64, supplies: usize) -> i128 {
    let (all, count) = (
        i128::from(tenths(ma)),
        i128::try_from(supplies.max(1)).unwrap_or(1),
    );
    let (each, more) = (all / count, all % count);
    more * (each + 1).pow(2) + (count - more) * each.pow(2)
}

/// The least that [`even`] can become when a further current goes onto supplies that carry
/// something already, and onto so many further ones: all are filled up to one level.
pub(super) fn even_at_least(loads: &[i64], new: usize, rest: i64) -> i128 {
    let mut all: Vec<i128> = loads.iter().map(|ma| i128::from(*ma)).collect();
    let usable = i128::from(rest).min(i128::try_from(new).unwrap_or(i128::MAX));
    all.extend(std::iter::repeat_n(
        0,
        usize::try_from(usable).unwrap_or(0).min(1_000),
    ));
    all.sort_unstable();
    let (mut sum, mut count) = (i128::from(rest), 0_i128);
    let mut filled = 0;
    for (at, &ma) in all.iter().enumerate() {
        // The level that those so far are filled to; a supply above it is left as it is.
        if at > 0 && sum <= ma * count {
            break;
        }
        sum += ma;
        count += 1;
        filled = at + 1;
    }
    let above: i128 = all[filled..].iter().map(|ma| ma * ma).sum();
    let level = if count == 0 { 0 } else { sum * sum / count };
    (level + above + 9_999) / 10_000
}

/// Bounds of a room as one row of figures that no way beats: exact as far as they are proven.
fn at_least(solved: &Solved) -> [i128; LEVELS] {
    let mut row = [0; LEVELS];
    for (level, figure) in row.iter_mut().enumerate() {
        let Some(bound) = solved.bounds[level] else {
            break;
        };
        *figure = bound.min(solved.values[level]);
        if bound < solved.values[level] {
            break;
        }
    }
    row
}

fn sum(rows: impl Iterator<Item = [i128; LEVELS]>) -> [i128; LEVELS] {
    rows.fold([0; LEVELS], |mut sum, row| {
        for (sum, figure) in sum.iter_mut().zip(row) {
            *sum += figure;
        }
        sum
    })
}

/// What the rooms may have, by room and kind.
type Shares = Vec<Vec<Cap>>;

/// How many of each kind there are, drivers and then supplies.
pub(super) fn stock(question: &Question) -> Vec<Cap> {
    let loads = u32::try_from(question.loads.len()).unwrap_or(u32::MAX);
    let drivers = question.drivers.iter().map(|kind| kind.stock);
    let stocks = drivers.chain(question.supplies.iter().map(|kind| kind.stock));
    let caps = stocks.map(|stock| {
        let buy = |buy: Buy| buy.most.unwrap_or(loads).min(loads);
        [stock.mounted, stock.shelf, stock.buy.map_or(0, buy)]
    });
    caps.collect()
}

struct Sharing<'q> {
    question: &'q Question,
    all: Vec<Cap>,
    rooms: usize,
    steps: u64,
    /// What is known of a room with what it may have, without the evenness of its loads and with.
    known: BTreeMap<(usize, bool, Vec<Cap>), Rc<Solved>>,
}

/// The rooms, each with a way of its own.
type Rooms = Vec<Rc<Solved>>;

impl<'q> Sharing<'q> {
    fn new(question: &'q Question, steps: u64) -> Self {
        Self {
            question,
            all: stock(question),
            rooms: question.rooms(),
            steps,
            known: BTreeMap::new(),
        }
    }

    fn room(&mut self, room: usize, even: bool, caps: &[Cap], most: u64) -> Rc<Solved> {
        let key = (room, even, caps.to_vec());
        if let Some(known) = self.known.get(&key) {
            return Rc::clone(known);
        }
        let room = Room::new(self.question, room, caps);
        let given = self.steps.min(most).max(room.sure());
        let mut steps = given;
        let solved = room.solve(even, &mut steps);
        // What is found at once takes its time too.
        let least = 20 + 4 * u64::try_from(room.loads.len()).unwrap_or(0);
        self.steps = self.steps.saturating_sub((given - steps).max(least));
        let solved = Rc::new(solved);
        self.known.insert(key, Rc::clone(&solved));
        solved
    }

    fn solve_all(&mut self, even: bool, shares: &Shares, most: u64) -> Rooms {
        (0..self.rooms)
            .map(|room| self.room(room, even, &shares[room], most))
            .collect()
    }

    /// A unit that the rooms have more of together than there are: kind and origin.
    fn conflict(&self, rooms: &[Rc<Solved>]) -> Option<(usize, usize)> {
        // What is bought without end runs out for nobody.
        let endless = |kind: usize| {
            let stock = match kind.checked_sub(self.question.drivers.len()) {
                None => self.question.drivers[kind].stock,
                Some(supply) => self.question.supplies[supply].stock,
            };
            stock.buy.is_some_and(|buy| buy.most.is_none())
        };
        (0..self.all.len())
            .flat_map(|kind| (0..3).map(move |origin| (kind, origin)))
            .find(|&(kind, origin)| {
                let used: u32 = rooms.iter().map(|room| room.uses[kind][origin]).sum();
                used > self.all[kind][origin] && !(origin == 2 && endless(kind))
            })
    }

    /// The best way over all rooms, and figures that no way beats.
    fn best(&mut self) -> (Rooms, [i128; LEVELS]) {
        let everything: Shares = vec![self.all.clone(); self.rooms];
        // A room that stands alone may take all steps; several leave some for each other.
        let rooms = u64::try_from(self.rooms).unwrap_or(u64::MAX).max(1);
        let most = if rooms == 1 {
            self.steps
        } else {
            self.steps * 2 / (5 * rooms)
        };
        let first = self.solve_all(true, &everything, most);
        let mut bound = at_least_all(&first);
        if self.conflict(&first).is_none() {
            return (first, bound);
        }
        let found = self.in_turn(most);
        let mut heap: BinaryHeap<Reverse<([i128; LEVELS], bool, Shares)>> = BinaryHeap::new();
        let mut met: BTreeSet<Shares> = BTreeSet::from([everything.clone()]);
        heap.push(Reverse((bound, false, everything)));
        let few = self.steps / 20;
        while let Some(Reverse((row, even, shares))) = heap.pop() {
            bound = row;
            let rooms = self.solve_all(even, &shares, few);
            let Some((kind, origin)) = self.conflict(&rooms) else {
                if even {
                    let best = [rooms, found].into_iter().min_by_key(|it| values(it));
                    return (best.unwrap_or_default(), bound);
                }
                let row = at_least_all(&self.solve_all(true, &shares, few));
                heap.push(Reverse((row.max(bound), true, shares)));
                continue;
            };
            if self.steps == 0 || bound >= values(&found) {
                break;
            }
            for less in self.split(&shares, &rooms, kind, origin) {
                if met.insert(less.clone()) {
                    // A row may be lower than its parent's where a proof was not reached.
                    let row = at_least_all(&self.solve_all(false, &less, few));
                    heap.push(Reverse((row.max(bound), false, less)));
                }
            }
        }
        (found, bound)
    }

    /// Ways to share out what the rooms ask for twice; each way to serve them all keeps to one.
    fn split(
        &self,
        shares: &Shares,
        rooms: &[Rc<Solved>],
        kind: usize,
        origin: usize,
    ) -> Vec<Shares> {
        let there = self.all[kind][origin];
        let caps: Vec<u32> = shares
            .iter()
            .map(|room| room[kind][origin].min(there))
            .collect();
        // Every number that they can have together, as long as that is not too many.
        let mut ways: Vec<Vec<u32>> = vec![Vec::new()];
        for (room, &cap) in caps.iter().enumerate() {
            let others: u32 = caps[room + 1..].iter().sum();
            let mut longer = Vec::new();
            for way in &ways {
                let left = there - way.iter().sum::<u32>();
                for more in left.saturating_sub(others)..=cap.min(left) {
                    longer.push(way.iter().copied().chain([more]).collect());
                }
            }
            ways = longer;
            if ways.len() > WAYS {
                // Or somebody has one less than it asks for.
                ways = (0..self.rooms)
                    .filter(|&room| rooms[room].uses[kind][origin] > 0)
                    .map(|room| {
                        let mut way: Vec<u32> = shares.iter().map(|it| it[kind][origin]).collect();
                        way[room] = rooms[room].uses[kind][origin] - 1;
                        way
                    })
                    .collect();
                break;
            }
        }
        let share = |way: Vec<u32>| {
            let mut less = shares.clone();
            for (room, count) in way.into_iter().enumerate() {
                less[room][kind][origin] = count;
            }
            less
        };
        ways.into_iter().map(share).collect()
    }

    /// One room after the other from what the others left.
    fn in_turn(&mut self, most: u64) -> Rooms {
        let mut left = self.all.clone();
        (0..self.rooms)
            .map(|room| {
                let solved = self.room(room, true, &left, most);
                for (left, used) in left.iter_mut().zip(&solved.uses) {
                    for (left, used) in left.iter_mut().zip(used) {
                        *left = left.saturating_sub(*used);
                    }
                }
                solved
            })
            .collect()
    }
}

fn at_least_all(rooms: &[Rc<Solved>]) -> [i128; LEVELS] {
    sum(rooms.iter().map(|room| at_least(room)))
}

fn values(rooms: &[Rc<Solved>]) -> [i128; LEVELS] {
    sum(rooms.iter().map(|room| room.values))
}

/// A way to feed all rooms, with what is known about it.
pub(super) struct Planned {
    pub(super) units: Units,
    pub(super) unserved: Vec<usize>,
    pub(super) values: [i128; LEVELS],
    pub(super) bounds: [Option<i128>; LEVELS],
    pub(super) why: Vec<[Option<Bought>; 2]>,
}

/// All rooms, each planned by itself with what it may have.
pub(super) fn plan(question: &Question, steps: &mut u64) -> Planned {
    let mut sharing = Sharing::new(question, *steps);
    let (rooms, bound) = sharing.best();
    *steps = sharing.steps;
    let values = values(&rooms);
    let mut bounds = bound.map(Some);
    if bound[0] == values[0] && bound[1] < values[1] {
        let merged = Room::merged(question, &sharing.all);
        let skips = usize::try_from(values[0])
            .unwrap_or(0)
            .saturating_sub(merged.impossible.len());
        let least = merged.cost_at_least(skips, &mut { MERGED_STEPS });
        if least[0] > bound[1] {
            bounds = [
                bounds[0],
                Some(least[0].min(values[1])),
                Some(least[1]),
                None,
                None,
                None,
            ];
        }
    }
    let mut planned = Planned {
        units: Units::default(),
        unserved: Vec::new(),
        values,
        bounds,
        why: rooms.iter().map(|room| room.why).collect(),
    };
    for room in &rooms {
        planned.units = std::mem::take(&mut planned.units).with(Units {
            drivers: room.drivers.clone(),
            supplies: room.supplies.clone(),
        });
        planned.unserved.extend(&room.unserved);
    }
    planned.unserved.sort_unstable();
    planned
}

/// Makes the loads of the supplies more even by trading what outputs feed, and which supply feeds
/// an inlet, as long as that gains anything or until `bound` is met.
pub(super) fn improve(
    room: &Room<'_>,
    packed: &mut super::pack::Packed,
    bound: i128,
    steps: &mut u64,
) {
    let mut better = true;
    let mut looks: u64 = 0;
    while better && *steps > 0 {
        better = false;
        if even(packed.supplies.iter().map(|(_, ma)| *ma)) <= bound {
            return;
        }
        let outputs: Vec<(usize, usize)> = packed
            .drivers
            .iter()
            .enumerate()
            .flat_map(|(at, driver)| (0..driver.outputs.len()).map(move |output| (at, output)))
            .collect();
        for (place, &one) in outputs.iter().enumerate() {
            for &other in &outputs[place + 1..] {
                looks += 1;
                if looks.is_multiple_of(32) {
                    *steps = steps.saturating_sub(1);
                }
                better |= trade(room, packed, one, other);
            }
        }
        better |= rehook(room, packed);
    }
}

fn current(room: &Room<'_>, output: &super::Output) -> i64 {
    output
        .loads
        .iter()
        .map(|&load| room.loads[load].total_ma)
        .sum()
}

/// Whether two supplies are more even after a current went from one to the other.
fn gains(packed: &super::pack::Packed, from: usize, to: usize, ma: i64) -> bool {
    let (a, b) = (packed.supplies[from].1, packed.supplies[to].1);
    even([a - ma, b + ma].into_iter()) < even([a, b].into_iter())
}

fn usable(room: &Room<'_>, packed: &super::pack::Packed, supply: usize) -> i64 {
    room.supply(packed.supplies[supply].0).usable_ma
}

/// Two outputs trade what they feed, where that gains.
fn trade(
    room: &Room<'_>,
    packed: &mut super::pack::Packed,
    one: (usize, usize),
    other: (usize, usize),
) -> bool {
    let output = |at: (usize, usize)| &packed.drivers[at.0].outputs[at.1];
    let (a, b) = (output(one), output(other));
    let (Some(from), Some(to)) = (
        packed.drivers[one.0].feeds[a.inlet],
        packed.drivers[other.0].feeds[b.inlet],
    ) else {
        return false;
    };
    let moved = current(room, a) - current(room, b);
    if from == to || moved == 0 || !gains(packed, from, to, moved) {
        return false;
    }
    let (kind_a, kind_b) = (packed.drivers[one.0].kind, packed.drivers[other.0].kind);
    let fits = |loads: &[usize], kind: usize| {
        (loads.len() == 1 || kind_a == kind_b)
            && loads.iter().all(|&load| room.loads[load].alone[kind])
    };
    let holds = |at: (usize, usize), inlet: usize, more: i64| {
        let driver = &packed.drivers[at.0];
        let kind = room.driver(driver.kind);
        let own = driver.outputs.iter().filter(|it| it.inlet == inlet);
        let inlet_ma: i64 = own.map(|it| current(room, it)).sum();
        let whole: i64 = driver.outputs.iter().map(|it| current(room, it)).sum();
        let change = if one.0 == other.0 { 0 } else { more };
        kind.inlet_ma.is_none_or(|most| inlet_ma + more <= most)
            && kind.whole_ma.is_none_or(|most| whole + change <= most)
    };
    let kept = fits(&a.loads, kind_b)
        && fits(&b.loads, kind_a)
        && holds(one, a.inlet, -moved)
        && holds(other, b.inlet, moved)
        && packed.supplies[from].1 - moved <= usable(room, packed, from)
        && packed.supplies[to].1 + moved <= usable(room, packed, to);
    if !kept {
        return false;
    }
    packed.supplies[from].1 -= moved;
    packed.supplies[to].1 += moved;
    let loads = std::mem::take(&mut packed.drivers[one.0].outputs[one.1].loads);
    let others = std::mem::replace(&mut packed.drivers[other.0].outputs[other.1].loads, loads);
    packed.drivers[one.0].outputs[one.1].loads = others;
    true
}

/// Feeds (single inlets, or all inlets of a driver whose inlets are not isolated) go to another
/// supply, or trade supplies, where that gains.
fn rehook(room: &Room<'_>, packed: &mut super::pack::Packed) -> bool {
    let mut feeds: Vec<(usize, Vec<usize>)> = Vec::new();
    for (at, driver) in packed.drivers.iter().enumerate() {
        let used = (0..driver.feeds.len()).filter(|&inlet| driver.feeds[inlet].is_some());
        if room.driver(driver.kind).isolated {
            feeds.extend(used.map(|inlet| (at, vec![inlet])));
        } else {
            feeds.push((at, used.collect()));
        }
    }
    let load = |packed: &super::pack::Packed, feed: &(usize, Vec<usize>)| -> i64 {
        let outputs = packed.drivers[feed.0].outputs.iter();
        let own = outputs.filter(|it| feed.1.contains(&it.inlet));
        own.map(|it| current(room, it)).sum()
    };
    let of = |packed: &super::pack::Packed, feed: &(usize, Vec<usize>)| {
        feed.1
            .first()
            .and_then(|inlet| packed.drivers[feed.0].feeds[*inlet])
    };
    let pairs = |packed: &super::pack::Packed, supply: usize| {
        let all = packed.drivers.iter().flat_map(|driver| &driver.feeds);
        all.filter(|feed| **feed == Some(supply)).count()
    };
    let mut better = false;
    for one in &feeds {
        for to in 0..packed.supplies.len() {
            // To the other supply alone, or against each of its feeds.
            let against: Vec<Option<&(usize, Vec<usize>)>> = std::iter::once(None)
                .chain(
                    feeds
                        .iter()
                        .filter(|it| of(packed, it) == Some(to))
                        .map(Some),
                )
                .collect();
            for other in against {
                let Some(from) = of(packed, one) else {
                    continue;
                };
                if from == to || other.is_some_and(|it| of(packed, it) != Some(to)) {
                    continue;
                }
                let moved = load(packed, one) - other.map_or(0, |it| load(packed, it));
                let back = other.map_or(0, |it| it.1.len());
                let fits = |supply: usize, change: i64, more: usize, less: usize| {
                    let kind = room.supply(packed.supplies[supply].0);
                    let used = pairs(packed, supply) + more - less;
                    packed.supplies[supply].1 + change <= kind.usable_ma
                        && kind.pairs.is_none_or(|most| used <= most as usize)
                };
                let alone = other.is_none() && pairs(packed, from) <= one.1.len();
                if alone
                    || !gains(packed, from, to, moved)
                    || !fits(from, -moved, back, one.1.len())
                    || !fits(to, moved, one.1.len(), back)
                {
                    continue;
                }
                packed.supplies[from].1 -= moved;
                packed.supplies[to].1 += moved;
                for inlet in &one.1 {
                    packed.drivers[one.0].feeds[*inlet] = Some(to);
                }
                if let Some((driver, inlets)) = other {
                    for inlet in inlets {
                        packed.drivers[*driver].feeds[*inlet] = Some(from);
                    }
                }
                better = true;
            }
        }
    }
    better
}
