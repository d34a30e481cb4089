//! Whether a set of units serves the loads, by a search over the loads.
//!
//! Load by load: onto an output that one of its group has, onto a free output of an inlet in use,
//! onto a further inlet, onto a further driver; a further inlet takes a pair of terminals of a
//! supply in use or of a further one. States that are alike but for names are looked at once.

use std::collections::HashSet;

use super::{Output, room::Room, share::even};

/// What a search may use.
#[derive(Debug, Clone)]
pub(super) struct Given {
    /// How many of each kind: drivers, then supplies, by place in the room's lists.
    pub(super) counts: Vec<u32>,
    /// How many inlets at most.
    pub(super) inlets: u32,
    /// How many loads may be left out.
    pub(super) skips: usize,
}

/// A driver of a packing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PackedDriver {
    /// By place in the room's list.
    pub(super) kind: usize,
    /// Its outputs; loads by place in the room.
    pub(super) outputs: Vec<Output>,
    pub(super) feeds: Vec<Option<usize>>,
}

/// What feeds what in a room.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Packed {
    pub(super) drivers: Vec<PackedDriver>,
    /// Kinds of the supplies by place in the room's list, and what each carries.
    pub(super) supplies: Vec<(usize, i64)>,
    /// Loads left out, by place in the room.
    pub(super) left: Vec<usize>,
}

/// How a search ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Found {
    Packed(Packed),
    /// Nothing serves.
    Never,
    /// The steps ran out.
    Stopped,
}

#[derive(Clone)]
struct Inlet {
    outputs: u16,
    used: u16,
    ma: i64,
    supply: Option<usize>,
}

struct Driver {
    kind: usize,
    ma: i64,
    inlets: Vec<Inlet>,
}

struct Supply {
    kind: usize,
    ma: i64,
    pairs: u32,
}

struct Out {
    driver: usize,
    inlet: usize,
    loads: Vec<usize>,
}

#[derive(Clone, Copy)]
enum Which {
    Open(usize),
    New(usize),
}

#[derive(Clone, Copy)]
enum Move {
    Share(usize),
    /// On a driver and inlet; with the supply where the inlet has none yet.
    Put(Which, usize, Option<Which>),
    Skip,
}

/// What is looked for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Goal {
    Any,
    /// The most even one that is better than this.
    Even(i128),
}

struct Search<'r> {
    room: &'r Room<'r>,
    order: &'r [usize],
    /// Current of the loads from each place of the order on.
    rest: Vec<i64>,
    left: Vec<u32>,
    inlets: u32,
    skips: usize,
    drivers: Vec<Driver>,
    supplies: Vec<Supply>,
    outs: Vec<Out>,
    skipped: Vec<usize>,
    steps: u64,
    /// Steps that a look at one load takes: more where there is more to look at.
    each: u64,
    goal: Goal,
    best: Option<Packed>,
    seen: Option<HashSet<Vec<i64>>>,
}

/// Steps that a look at one load takes.
fn each(room: &Room<'_>) -> u64 {
    1 + u64::try_from(room.loads.len()).unwrap_or(u64::MAX) / 20
}

/// Looks for any way to serve the loads: quickly in three orders, then through all ways.
pub(super) fn pack(room: &Room<'_>, given: &Given, steps: &mut u64, most: u64) -> Found {
    let mut orders = vec![(0..room.loads.len()).collect::<Vec<usize>>()];
    let mut down = orders[0].clone();
    down.sort_by_key(|&at| std::cmp::Reverse(room.hardness(at)));
    let (mut big, mut small) = (down.iter(), down.iter().rev());
    let turns = (0..down.len()).filter_map(|turn| {
        if turn % 2 == 0 {
            big.next()
        } else {
            small.next()
        }
    });
    orders.push(turns.copied().collect());
    orders.push(down.clone());
    if room.loads.len() > super::room::FEW_LOADS
        && let Some(packed) = super::settle::settle(room, given, steps)
    {
        return Found::Packed(packed);
    }
    // An order that goes straight through needs a step for each load; a few more may mend it.
    let quick = (2 * u64::try_from(room.loads.len()).unwrap_or(u64::MAX) + 40) * each(room);
    for order in &orders {
        match run(room, given, order, steps, quick) {
            Found::Stopped => {}
            found => return found,
        }
    }
    run(room, given, &down, steps, most)
}

/// Looks for the most even way that is better than `below`; `Never` where there is none.
pub(super) fn most_even(
    room: &Room<'_>,
    given: &Given,
    below: i128,
    steps: &mut u64,
    most: u64,
) -> (Option<Packed>, bool) {
    let mut down: Vec<usize> = (0..room.loads.len()).collect();
    down.sort_by_key(|&at| std::cmp::Reverse(room.hardness(at)));
    let mut search = Search::new(room, given, &down, (*steps).min(most), Goal::Even(below));
    let budget = search.steps;
    let ended = search.go(0);
    *steps -= budget - search.steps;
    (search.best.take(), ended.is_some())
}

fn run(room: &Room<'_>, given: &Given, order: &[usize], steps: &mut u64, most: u64) -> Found {
    let mut search = Search::new(room, given, order, (*steps).min(most), Goal::Any);
    let budget = search.steps;
    let ended = search.go(0);
    *steps -= budget - search.steps;
    match (search.best.take(), ended) {
        (Some(best), _) => Found::Packed(best),
        (None, Some(_)) => Found::Never,
        (None, None) => Found::Stopped,
    }
}

impl<'r> Search<'r> {
    fn new(room: &'r Room<'r>, given: &Given, order: &'r [usize], steps: u64, goal: Goal) -> Self {
        let mut rest = vec![0; order.len() + 1];
        for (at, &load) in order.iter().enumerate().rev() {
            rest[at] = rest[at + 1] + room.loads[load].total_ma;
        }
        Self {
            room,
            order,
            rest,
            left: given.counts.clone(),
            inlets: given.inlets,
            skips: given.skips,
            drivers: Vec::new(),
            supplies: Vec::new(),
            outs: Vec::new(),
            skipped: Vec::new(),
            steps,
            each: each(room),
            goal,
            best: None,
            seen: (!room.shares()).then(HashSet::new),
        }
    }

    /// `Some(true)` ends the search with what was found, `Some(false)` found nothing (better) here,
    /// `None` ran out of steps.
    fn go(&mut self, at: usize) -> Option<bool> {
        if at == self.order.len() {
            return Some(self.arrived());
        }
        if self.steps == 0 {
            return None;
        }
        self.steps = self.steps.saturating_sub(self.each);
        if self.hopeless(at) || !self.is_new(at) {
            return Some(false);
        }
        let load = self.order[at];
        for step in self.moves(load) {
            self.apply(step, load);
            let end = self.go(at + 1);
            self.undo(step, load);
            if end != Some(false) {
                return end;
            }
        }
        Some(false)
    }

    fn arrived(&mut self) -> bool {
        let packed = self.write();
        match self.goal {
            Goal::Any => {
                self.best = Some(packed);
                true
            }
            Goal::Even(below) => {
                let value = even(packed.supplies.iter().map(|(_, ma)| *ma));
                if value < below {
                    self.goal = Goal::Even(value);
                    self.best = Some(packed);
                }
                false
            }
        }
    }

    fn usable(&self, kind: usize) -> i64 {
        self.room.supply(kind).usable_ma
    }

    /// Whether what is left cannot take the loads that are left.
    fn hopeless(&self, at: usize) -> bool {
        let drivers = self.room.drivers.len();
        if self.skips == 0 {
            let open = self.supplies.iter().fold(0_i64, |sum, supply| {
                sum.saturating_add(self.usable(supply.kind) - supply.ma)
            });
            let all = (self.left[drivers..].iter().enumerate()).fold(open, |sum, (kind, &left)| {
                sum.saturating_add(self.usable(kind).saturating_mul(i64::from(left)))
            });
            if all < self.rest[at] {
                return true;
            }
        }
        if !self.room.shares() {
            let open: usize = (self.drivers.iter().flat_map(|driver| &driver.inlets))
                .map(|inlet| usize::from(inlet.outputs - inlet.used))
                .sum();
            let new: usize = (0..drivers)
                .map(|kind| self.room.places(kind) * self.left[kind] as usize)
                .sum();
            if open + new + self.skips < self.order.len() - at {
                return true;
            }
        }
        if let Goal::Even(below) = self.goal {
            let new = self.left[drivers..].iter().map(|left| *left as usize).sum();
            let loads: Vec<i64> = self.supplies.iter().map(|supply| supply.ma).collect();
            // What may still be left out weighs nothing.
            let rest = if self.skips == 0 { self.rest[at] } else { 0 };
            return super::share::even_at_least(&loads, new, rest) >= below;
        }
        false
    }

    /// Whether no state like this one was looked at before.
    fn is_new(&mut self, at: usize) -> bool {
        let Some(seen) = &mut self.seen else {
            return true;
        };
        let mut drivers: Vec<(Vec<i64>, Vec<Option<usize>>)> = self
            .drivers
            .iter()
            .map(|driver| {
                let mut inlets: Vec<([i64; 6], Option<usize>)> = driver
                    .inlets
                    .iter()
                    .map(|inlet| {
                        let supply = inlet.supply.map(|it| &self.supplies[it]);
                        let key = [
                            i64::from(inlet.outputs),
                            i64::from(inlet.used),
                            inlet.ma,
                            supply.map_or(-1, |it| i64::try_from(it.kind).unwrap_or(-1)),
                            supply.map_or(0, |it| it.ma),
                            supply.map_or(0, |it| i64::from(it.pairs)),
                        ];
                        (key, inlet.supply)
                    })
                    .collect();
                inlets.sort_unstable();
                let mut key = vec![i64::try_from(driver.kind).unwrap_or(-1)];
                key.extend(inlets.iter().flat_map(|(key, _)| *key));
                (key, inlets.into_iter().map(|(_, supply)| supply).collect())
            })
            .collect();
        drivers.sort_unstable();
        let mut names: Vec<usize> = Vec::new();
        let mut state = vec![
            i64::try_from(at).unwrap_or(-1),
            i64::try_from(self.skips).unwrap_or(-1),
        ];
        for (key, supplies) in drivers {
            state.extend(key);
            for supply in supplies {
                let name = supply.map(|supply| {
                    names
                        .iter()
                        .position(|it| *it == supply)
                        .unwrap_or_else(|| {
                            names.push(supply);
                            names.len() - 1
                        })
                });
                state.push(name.map_or(-1, |name| i64::try_from(name).unwrap_or(-1)));
            }
        }
        seen.insert(state)
    }

    fn moves(&self, load: usize) -> Vec<Move> {
        let mut moves = Vec::new();
        self.shares(load, &mut moves);
        let (mut kept, mut hooked, mut fresh) = (Vec::new(), Vec::new(), Vec::new());
        let mut met: HashSet<Vec<i64>> = HashSet::new();
        let ma = self.room.loads[load].total_ma;
        for (at, driver) in self.drivers.iter().enumerate() {
            let kind = self.room.driver(driver.kind);
            if !self.room.loads[load].alone[driver.kind]
                || kind.whole_ma.is_some_and(|most| driver.ma + ma > most)
            {
                continue;
            }
            let by = driver.inlets.iter().find_map(|inlet| inlet.supply);
            for (number, inlet) in driver.inlets.iter().enumerate() {
                if inlet.used == inlet.outputs
                    || kind.inlet_ma.is_some_and(|most| inlet.ma + ma > most)
                {
                    continue;
                }
                if let Some(supply) = inlet.supply {
                    let slack = self.usable(self.supplies[supply].kind) - self.supplies[supply].ma;
                    if slack >= ma {
                        kept.push((slack, Move::Put(Which::Open(at), number, None)));
                    }
                    continue;
                }
                // Of inlets that are alike the first stands for all.
                let twin = (driver.inlets[..number].iter())
                    .any(|it| it.supply.is_none() && it.outputs == inlet.outputs);
                if twin || self.inlets == 0 {
                    continue;
                }
                let only = if kind.isolated { None } else { by };
                self.hooks(ma, only, &mut |supply, slack| {
                    hooked.push((slack, Move::Put(Which::Open(at), number, Some(supply))));
                });
            }
        }
        if self.inlets > 0 {
            for kind in 0..self.room.drivers.len() {
                if self.left[kind] == 0 || !self.room.loads[load].alone[kind] {
                    continue;
                }
                let spec = self.room.driver(kind);
                if spec.whole_ma.is_some_and(|most| ma > most)
                    || spec.inlet_ma.is_some_and(|most| ma > most)
                {
                    continue;
                }
                for (number, outputs) in spec.inlets.iter().enumerate() {
                    if *outputs > 0 && !spec.inlets[..number].contains(outputs) {
                        self.hooks(ma, None, &mut |supply, slack| {
                            fresh.push((slack, Move::Put(Which::New(kind), number, Some(supply))));
                        });
                    }
                }
            }
        }
        kept.sort_by_key(|(slack, _)| *slack);
        kept.retain(|(_, step)| met.insert(self.likeness(*step)));
        let open = |(_, step): &(i64, Move)| matches!(step, Move::Put(_, _, Some(Which::New(_))));
        hooked.sort_by_key(|one| (open(one), one.0));
        fresh.sort_by_key(open);
        for (_, step) in kept.into_iter().chain(hooked).chain(fresh) {
            moves.push(step);
        }
        if self.skips > 0 {
            moves.push(Move::Skip);
        }
        moves
    }

    /// Moves onto an inlet in use that do the same; without groups alone, where outputs are alike.
    fn likeness(&self, step: Move) -> Vec<i64> {
        let Move::Put(Which::Open(at), number, None) = step else {
            return Vec::new();
        };
        let driver = &self.drivers[at];
        let mut key = vec![i64::try_from(driver.kind).unwrap_or(-1)];
        let inlet = &driver.inlets[number];
        let name = |it: Option<usize>| it.map_or(-1, |it| i64::try_from(it).unwrap_or(-1));
        if self.room.shares() {
            key.extend([
                i64::try_from(at).unwrap_or(-1),
                i64::try_from(number).unwrap_or(-1),
            ]);
            return key;
        }
        key.extend([
            i64::from(inlet.outputs),
            i64::from(inlet.used),
            inlet.ma,
            name(inlet.supply),
        ]);
        let mut others: Vec<[i64; 4]> = (driver.inlets.iter().enumerate())
            .filter(|(other, _)| *other != number)
            .map(|(_, it)| {
                [
                    i64::from(it.outputs),
                    i64::from(it.used),
                    it.ma,
                    name(it.supply),
                ]
            })
            .collect();
        others.sort_unstable();
        key.extend(others.into_iter().flatten());
        key
    }

    /// Supplies that could feed a further inlet with this load; `only` one where the driver has one.
    fn hooks(&self, ma: i64, only: Option<usize>, each: &mut dyn FnMut(Which, i64)) {
        let mut met: Vec<(usize, i64, u32)> = Vec::new();
        for (at, supply) in self.supplies.iter().enumerate() {
            let kind = self.room.supply(supply.kind);
            let slack = kind.usable_ma - supply.ma;
            if only.is_some_and(|only| only != at)
                || slack < ma
                || kind.pairs.is_some_and(|pairs| supply.pairs >= pairs)
            {
                continue;
            }
            each(Which::Open(at), slack);
            met.push((supply.kind, supply.ma, supply.pairs));
        }
        if only.is_some() {
            return;
        }
        for kind in 0..self.room.supplies.len() {
            let spec = self.room.supply(kind);
            let left = self.left[self.room.drivers.len() + kind];
            if left > 0 && spec.usable_ma >= ma && spec.pairs != Some(0) {
                each(Which::New(kind), spec.usable_ma);
            }
        }
    }

    fn shares(&self, load: usize, moves: &mut Vec<Move>) {
        let wanted = &self.room.loads[load];
        let Some(group) = wanted.group else { return };
        for (at, out) in self.outs.iter().enumerate() {
            let driver = &self.drivers[out.driver];
            let kind = self.room.driver(driver.kind);
            let Some(most) = kind.shared.get(group).copied().flatten() else {
                continue;
            };
            let first = &self.room.loads[out.loads[0]];
            if !wanted.alone[driver.kind]
                || first.group != wanted.group
                || wanted.channels.is_empty()
                || first.channels.is_empty()
            {
                continue;
            }
            let mut sums = wanted.channels.clone();
            let mut total = wanted.total_ma;
            for &other in &out.loads {
                total += self.room.loads[other].total_ma;
                for (sum, ma) in sums.iter_mut().zip(&self.room.loads[other].channels) {
                    *sum += ma;
                }
            }
            let ma = wanted.total_ma;
            let inlet = &driver.inlets[out.inlet];
            let slack = inlet.supply.map_or(0, |it| {
                self.usable(self.supplies[it].kind) - self.supplies[it].ma
            });
            if total <= most.output_ma
                && sums.iter().all(|sum| *sum <= most.channel_ma)
                && kind.inlet_ma.is_none_or(|most| inlet.ma + ma <= most)
                && kind.whole_ma.is_none_or(|most| driver.ma + ma <= most)
                && slack >= ma
            {
                moves.push(Move::Share(at));
            }
        }
    }

    fn apply(&mut self, step: Move, load: usize) {
        let ma = self.room.loads[load].total_ma;
        match step {
            Move::Skip => {
                self.skips -= 1;
                self.skipped.push(load);
            }
            Move::Share(out) => {
                self.outs[out].loads.push(load);
                let (driver, inlet) = (self.outs[out].driver, self.outs[out].inlet);
                self.load(driver, inlet, ma);
            }
            Move::Put(which, inlet, supply) => {
                let driver = match which {
                    Which::Open(at) => at,
                    Which::New(kind) => {
                        self.left[kind] -= 1;
                        let inlets = self.room.driver(kind).inlets.iter();
                        self.drivers.push(Driver {
                            kind,
                            ma: 0,
                            inlets: inlets
                                .map(|&outputs| Inlet {
                                    outputs,
                                    used: 0,
                                    ma: 0,
                                    supply: None,
                                })
                                .collect(),
                        });
                        self.drivers.len() - 1
                    }
                };
                if let Some(which) = supply {
                    let supply = match which {
                        Which::Open(at) => at,
                        Which::New(kind) => {
                            self.left[self.room.drivers.len() + kind] -= 1;
                            self.supplies.push(Supply {
                                kind,
                                ma: 0,
                                pairs: 0,
                            });
                            self.supplies.len() - 1
                        }
                    };
                    self.supplies[supply].pairs += 1;
                    self.inlets -= 1;
                    self.drivers[driver].inlets[inlet].supply = Some(supply);
                }
                self.drivers[driver].inlets[inlet].used += 1;
                self.outs.push(Out {
                    driver,
                    inlet,
                    loads: vec![load],
                });
                self.load(driver, inlet, ma);
            }
        }
    }

    fn load(&mut self, driver: usize, inlet: usize, ma: i64) {
        self.drivers[driver].ma += ma;
        self.drivers[driver].inlets[inlet].ma += ma;
        if let Some(supply) = self.drivers[driver].inlets[inlet].supply {
            self.supplies[supply].ma += ma;
        }
    }

    fn undo(&mut self, step: Move, load: usize) {
        let ma = self.room.loads[load].total_ma;
        match step {
            Move::Skip => {
                self.skips += 1;
                self.skipped.pop();
            }
            Move::Share(out) => {
                self.outs[out].loads.pop();
                let (driver, inlet) = (self.outs[out].driver, self.outs[out].inlet);
                self.load(driver, inlet, -ma);
            }
            Move::Put(which, inlet, supply) => {
                let Some(out) = self.outs.pop() else { return };
                let driver = out.driver;
                self.load(driver, inlet, -ma);
                self.drivers[driver].inlets[inlet].used -= 1;
                if let Some(hook) = supply {
                    self.inlets += 1;
                    if let Some(supply) = self.drivers[driver].inlets[inlet].supply.take() {
                        self.supplies[supply].pairs -= 1;
                    }
                    if let Which::New(kind) = hook {
                        self.supplies.pop();
                        self.left[self.room.drivers.len() + kind] += 1;
                    }
                }
                if let Which::New(kind) = which {
                    self.drivers.pop();
                    self.left[kind] += 1;
                }
            }
        }
    }

    fn write(&self) -> Packed {
        let mut drivers: Vec<PackedDriver> = self
            .drivers
            .iter()
            .map(|driver| PackedDriver {
                kind: driver.kind,
                outputs: Vec::new(),
                feeds: driver.inlets.iter().map(|inlet| inlet.supply).collect(),
            })
            .collect();
        for out in &self.outs {
            let mut loads = out.loads.clone();
            loads.sort_unstable();
            drivers[out.driver].outputs.push(Output {
                inlet: out.inlet,
                loads,
            });
        }
        let mut left = self.skipped.clone();
        left.sort_unstable();
        Packed {
            drivers,
            supplies: self
                .supplies
                .iter()
                .map(|supply| (supply.kind, supply.ma))
                .collect(),
            left,
        }
    }
}
