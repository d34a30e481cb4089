//! Whether a set of units serves the loads, by a search over the loads.
//!
//! Load by load: onto an output that one of its group has, onto a free output of an inlet in use,
//! onto a further inlet, onto a further driver; a further inlet takes a pair of terminals of a
//! supply in use or of a further one ([`moves`], [`taken`]). States that are alike but for names are
//! looked at once ([`prune`]).

mod moves;
mod prune;
mod taken;

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
}
