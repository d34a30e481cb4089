//! Which sets of bars a piece can give at a reduced cost of at most so much.
//!
//! # Method
//! Without joints only the bars count, and sets are built up kind by kind; what can still be gained
//! is known from a knapsack. With joints a set costs what its best places cost: sets grow from the
//! piece's start, by what is cut and how far along; what the rest of the piece costs at least from
//! each position is known from the shortest path back from its end. Both leave out only what is
//! dearer than asked for.

use std::{
    collections::{HashMap, HashSet, hash_map::Entry},
    rc::Rc,
};

use super::{
    Fed,
    pack::{Mixed, Packing},
    pattern::{Class, Counts, Instance, Kind, signed},
    price::Weights,
};

/// The longest piece that is gone through position by position.
const MOST_POSITIONS: i64 = 4_000;
/// What is looked at in one step.
const PER_STEP: u64 = 64;
/// Beyond any cost; two of them still add up.
const NEVER: i64 = i64::MAX / 4;

/// All sets of a class whose reduced cost can be at most `most`, and the steps that it took;
/// `None` where there are more than `room`. Some of the sets can be dearer.
pub(super) fn sets(
    instance: &Instance,
    weights: &Weights,
    class: usize,
    most: i128,
    room: usize,
    by_joints: bool,
) -> (Option<Vec<Counts>>, u64) {
    if by_joints
        && instance.classes[class].units <= MOST_POSITIONS
        && let Some(packing) = Packing::new(&instance.demand)
        && let Ok(most) = i64::try_from(most - i128::from(weights.piece(instance, class)))
    {
        return Along::new(instance, weights, class, packing).list(most.min(NEVER / 2), room);
    }
    let mut lister = Lister::new(instance, weights, class, most);
    let mut sets = Vec::new();
    let complete = lister.list(0, 0, 0, &mut vec![0; instance.kinds.len()], &mut sets, room);
    (complete.then_some(sets), lister.looked / PER_STEP)
}

/// A bar that can begin after a rest, and what it costs there.
#[derive(Clone, Copy)]
struct Rested {
    from: usize,
    kind: usize,
    to: usize,
    cost: i64,
}

/// A piece with joints, position by position.
struct Along<'a> {
    instance: &'a Instance,
    packing: Packing,
    length: usize,
    /// By position: bars that can begin there, where they end, and what they cost.
    arcs: Vec<Vec<(usize, usize, i64)>>,
    /// By position of the cut before it: the least that is still to come.
    still: Vec<i64>,
    /// By length.
    rest: Vec<i64>,
    /// Bars that touch a joint or a lead, in order of where they begin, see `pattern`.
    rested: Vec<Rested>,
    /// By position: the first of those that begin behind it.
    behind: Vec<usize>,
}

impl<'a> Along<'a> {
    fn new(instance: &'a Instance, weights: &Weights, class: usize, packing: Packing) -> Self {
        let of = &instance.classes[class];
        let length = usize::try_from(of.units).unwrap_or(0);
        let at: Vec<i64> = (0..=of.units)
            .map(|at| instance.weight_at(of, at))
            .collect();
        let kinds: Vec<(usize, usize, Fed)> = (0..instance.kinds.len())
            .filter(|&kind| instance.demand[kind] > 0)
            .map(|kind| {
                let Kind { units, fed } = instance.kinds[kind];
                (kind, usize::try_from(units).unwrap_or(usize::MAX), fed)
            })
            .collect();
        let mut arcs = vec![Vec::new(); length + 1];
        let mut rested = Vec::new();
        let mut behind = Vec::with_capacity(length + 1);
        for from in 0..=length {
            for &(kind, units, fed) in &kinds {
                let Some(to) = from.checked_add(units).filter(|&to| to <= length) else {
                    continue;
                };
                let solder = match fed {
                    Fed::OneEnd => at[from].min(at[to]),
                    Fed::BothEnds => at[from] + at[to],
                };
                let cost = weights.solder * solder - weights.worth[kind];
                arcs[from].push((kind, to, cost));
                if at[from].min(at[to]) < instance.mark {
                    rested.push(Rested {
                        from,
                        kind,
                        to,
                        cost,
                    });
                }
            }
            behind.push(rested.len());
        }
        let rest: Vec<i64> = (0..=of.units)
            .map(|rest| weights.rest(instance, rest))
            .collect();
        let mut still = vec![NEVER; length + 1];
        for from in (0..=length).rev() {
            let straight = arcs[from].iter().map(|&(_, to, cost)| cost + still[to]);
            let after = rested[behind[from]..]
                .iter()
                .map(|bar| rest[bar.from - from] + bar.cost + still[bar.to]);
            let end = rest[length - from];
            still[from] = straight.chain(after).fold(end, i64::min);
        }
        Self {
            instance,
            packing,
            length,
            arcs,
            still,
            rest,
            rested,
            behind,
        }
    }

    fn list(&self, most: i64, room: usize) -> (Option<Vec<Counts>>, u64) {
        let mut looked = (self.rested.len() * self.length / 16) as u64;
        let ones: Vec<u128> = (0..self.instance.kinds.len())
            .map(|kind| self.packing.one(kind))
            .collect();
        let mut at: Vec<HashMap<u128, i64, Mixed>> = vec![HashMap::default(); self.length + 1];
        at[0].insert(0, 0);
        let mut found: HashSet<u128, Mixed> = HashSet::default();
        let mut sets = Vec::new();
        for from in 0..=self.length {
            let mut here: Vec<(u128, i64)> = std::mem::take(&mut at[from]).into_iter().collect();
            here.sort_unstable();
            for (key, so_far) in here {
                if key != 0 && so_far + self.rest[self.length - from] <= most && found.insert(key) {
                    if sets.len() >= room {
                        return (None, looked / PER_STEP);
                    }
                    sets.push(self.packing.unpack(key));
                }
                let mut go = |kind: usize, to: usize, cost: i64| {
                    looked += 1;
                    let key = key + ones[kind];
                    if cost + self.still[to] > most || !self.packing.fits(key) {
                        return;
                    }
                    match at[to].entry(key) {
                        Entry::Occupied(mut known) => {
                            if cost < *known.get() {
                                known.insert(cost);
                            }
                        }
                        Entry::Vacant(free) => {
                            free.insert(cost);
                        }
                    }
                };
                for &(kind, to, cost) in &self.arcs[from] {
                    go(kind, to, so_far + cost);
                }
                for bar in &self.rested[self.behind[from]..] {
                    go(
                        bar.kind,
                        bar.to,
                        so_far + self.rest[bar.from - from] + bar.cost,
                    );
                }
            }
            if looked > 400 * (room as u64 + 1_000) {
                return (None, looked / PER_STEP);
            }
        }
        (Some(sets), looked / PER_STEP)
    }
}

/// Lists the sets of bars of a class whose reduced cost can be at most so much.
struct Lister<'a> {
    instance: &'a Instance,
    takes: Vec<i64>,
    gain: Vec<i64>,
    /// By kind from which on, by steps taken: the least that is still to come.
    still: Vec<Vec<i64>>,
    room: i64,
    before: i128,
    most: i128,
    looked: u64,
}

impl<'a> Lister<'a> {
    fn new(instance: &'a Instance, weights: &Weights, class: usize, most: i128) -> Self {
        let of: &Class = &instance.classes[class];
        let step = instance.step();
        let kinds = instance.kinds.len();
        let other = if of.jointed {
            instance.joint
        } else {
            instance.mark
        };
        let takes: Vec<i64> = (0..kinds).map(|kind| instance.takes(kind) / step).collect();
        let gain: Vec<i64> = (0..kinds)
            .map(|kind| {
                let ends = match instance.kinds[kind].fed {
                    Fed::OneEnd => 1,
                    Fed::BothEnds => 2,
                };
                weights.solder * other * ends - weights.worth[kind]
            })
            .collect();
        let room = instance.room(of) / step;
        let size = usize::try_from(room).unwrap_or(0) + 1;
        let last: Vec<i64> = (0..size)
            .map(|taken| {
                let used = signed(taken as u64) * step;
                let rest = (of.units - used).max(0);
                let whole = weights.rest(instance, rest);
                // Between joints it may lie in several places, all of them scrap at worst.
                if of.jointed {
                    whole.min(weights.scrap * rest)
                } else {
                    whole
                }
            })
            .collect();
        let mut still = vec![last];
        for kind in (0..kinds).rev() {
            let mut table = still[still.len() - 1].clone();
            let takes = usize::try_from(takes[kind]).unwrap_or(usize::MAX);
            if instance.demand[kind] > 0 {
                for at in (0..size.saturating_sub(takes)).rev() {
                    table[at] = table[at].min(table[at + takes].saturating_add(gain[kind]));
                }
            }
            still.push(table);
        }
        still.reverse();
        let leads = of.leads();
        let before = i128::from(weights.piece(instance, class))
            - i128::from(weights.solder * (other - instance.lead).max(0) * leads);
        Self {
            instance,
            takes,
            gain,
            still,
            room,
            before,
            most,
            looked: 0,
        }
    }

    fn list(
        &mut self,
        kind: usize,
        taken: i64,
        so_far: i64,
        counts: &mut Vec<u32>,
        sets: &mut Vec<Counts>,
        most_sets: usize,
    ) -> bool {
        self.looked += 1;
        let at = usize::try_from(taken).unwrap_or(0);
        let least = self.before + i128::from(so_far) + i128::from(self.still[kind][at]);
        if least > self.most {
            return true;
        }
        if kind == counts.len() {
            if taken > 0 {
                if sets.len() >= most_sets {
                    return false;
                }
                sets.push(Rc::from(counts.as_slice()));
            }
            return true;
        }
        let fit = (self.room - taken) / self.takes[kind];
        let fit = u32::try_from(fit)
            .unwrap_or(u32::MAX)
            .min(self.instance.demand[kind]);
        for count in 0..=fit {
            counts[kind] = count;
            let many = i64::from(count);
            let (taken, so_far) = (
                taken + many * self.takes[kind],
                so_far + many * self.gain[kind],
            );
            if !self.list(kind + 1, taken, so_far, counts, sets, most_sets) {
                return false;
            }
        }
        counts[kind] = 0;
        true
    }
}
