//! Which sets of bars a piece can give at a reduced cost of at most so much.
//!
//! # Method
//! Without joints only the bars count, and sets are built up kind by kind; what can still be gained
//! is known from a knapsack. With joints a set costs what its best places cost: sets grow from the
//! piece's start, by what is cut and how far along; what the rest of the piece costs at least from
//! each position is known from the shortest path back from its end. Both leave out only what is
//! dearer than asked for.

use std::{collections::HashMap, rc::Rc};

use super::{
    Fed,
    pack::{Mixed, Packing},
    pattern::{Class, Counts, Instance, Kind, signed},
    price::Weights,
};

/// The longest piece that is gone through position by position.
const MOST_POSITIONS: i64 = 4_000;
/// What is looked at in one step.
const PER_STEP: u64 = 96;
/// Beyond any cost; two of them still add up.
const NEVER: i64 = i64::MAX / 4;

/// Sets of bars; where joints count, with the least reduced cost in the first price vector, the
/// piece's own left out.
pub(super) type Sets = Vec<(Counts, Option<i64>)>;

/// A price vector, and what a set's reduced cost in it may be at most.
pub(super) struct Limit<'a> {
    pub weights: &'a Weights,
    pub most: i128,
}

/// All sets of a class whose reduced cost can be within each of the limits, and the steps that it
/// took; `None` where there are more than `room`, after `most_steps`, or once it is late. Some can be
/// dearer. Only `full` ones are those that no bar can be added to.
pub(super) fn sets(
    instance: &Instance,
    limits: &[Limit<'_>],
    class: usize,
    room: usize,
    (by_joints, full): (bool, bool),
    (most_steps, is_late): (u64, &dyn Fn() -> bool),
) -> (Option<Sets>, u64) {
    let most_looked = most_steps.saturating_mul(PER_STEP);
    if by_joints
        && instance.classes[class].units <= MOST_POSITIONS
        && let Some(packing) = Packing::new(&instance.demand)
    {
        return Along::new(instance, limits, class, packing).list(room, most_looked, is_late);
    }
    let mut lister = Lister::new(
        instance,
        limits[0].weights,
        class,
        limits[0].most,
        (most_looked, is_late),
    );
    lister.full = full;
    let mut sets = Vec::new();
    let complete = lister.list(0, 0, 0, &mut vec![0; instance.kinds.len()], &mut sets, room);
    let sets = sets.into_iter().map(|counts| (counts, None)).collect();
    (complete.then_some(sets), lister.looked / PER_STEP)
}

/// Looks between two questions whether it is late.
const LOOKED_BETWEEN: u64 = 4_096;
/// More states than this are not held at once: beyond, memory would be what runs out.
const MOST_HELD: usize = 800_000;
/// How many price vectors are looked at together.
const ALONG: usize = 3;

/// Costs, one in each price vector.
type Costs = [i64; ALONG];

fn sum(a: &Costs, b: &Costs) -> Costs {
    std::array::from_fn(|at| a[at] + b[at])
}

fn least(a: &Costs, b: &Costs) -> Costs {
    std::array::from_fn(|at| a[at].min(b[at]))
}

fn within(costs: &Costs, most: &Costs) -> bool {
    costs.iter().zip(most).all(|(cost, most)| cost <= most)
}

/// A bar where it can begin, and what it costs there.
#[derive(Clone, Copy)]
struct Arc {
    kind: usize,
    to: usize,
    cost: Costs,
}

/// Bars that can begin at a position after a rest, and the least of them with all that follows.
struct Rested {
    at: usize,
    arcs: Vec<Arc>,
    least: Costs,
}

/// A piece with joints, position by position.
struct Along<'a> {
    instance: &'a Instance,
    packing: Packing,
    length: usize,
    most: Costs,
    rests_are_free: bool,
    /// By position.
    arcs: Vec<Vec<Arc>>,
    /// By position of the cut before it: the least that is still to come.
    still: Vec<Costs>,
    /// By length.
    rest: Vec<Costs>,
    /// Where bars touch a joint or a lead, see `pattern`; from the piece's end.
    rested: Vec<Rested>,
}

impl<'a> Along<'a> {
    fn new(instance: &'a Instance, limits: &[Limit<'_>], class: usize, packing: Packing) -> Self {
        let of = &instance.classes[class];
        let length = usize::try_from(of.units).unwrap_or(0);
        let at: Vec<i64> = (0..=of.units)
            .map(|at| instance.weight_at(of, at))
            .collect();
        let each = |cost: &dyn Fn(&Weights) -> i64| -> Costs {
            std::array::from_fn(|at| limits.get(at).map_or(0, |limit| cost(limit.weights)))
        };
        let most = std::array::from_fn(|at| {
            limits.get(at).map_or(0, |limit| {
                let most = limit.most - i128::from(limit.weights.piece(instance, class));
                let far = i128::from(NEVER / 2);
                i64::try_from(most.clamp(-far, far)).unwrap_or(0)
            })
        });
        let rest: Vec<Costs> = (0..=of.units)
            .map(|rest| each(&|weights| weights.rest(instance, rest)))
            .collect();
        let mut along = Self {
            instance,
            packing,
            length,
            most,
            rests_are_free: limits.iter().all(|limit| limit.weights.rests_are_free()),
            arcs: vec![Vec::new(); length + 1],
            still: vec![[0; ALONG]; length + 1],
            rest,
            rested: Vec::new(),
        };
        for from in (0..=length).rev() {
            let mut still = along.rest[length - from];
            for rested in &along.rested {
                still = least(&still, &sum(&along.rest[rested.at - from], &rested.least));
            }
            let mut touching = Vec::new();
            let mut least_touching = [NEVER; ALONG];
            for kind in (0..instance.kinds.len()).filter(|&kind| instance.demand[kind] > 0) {
                let Kind { units, fed } = instance.kinds[kind];
                let to = from + usize::try_from(units).unwrap_or(length);
                if to > length || units == 0 {
                    continue;
                }
                let solder = match fed {
                    Fed::OneEnd => at[from].min(at[to]),
                    Fed::BothEnds => at[from] + at[to],
                };
                let cost = each(&|weights| weights.solder * solder - weights.worth[kind]);
                let arc = Arc { kind, to, cost };
                let with = sum(&cost, &along.still[to]);
                still = least(&still, &with);
                along.arcs[from].push(arc);
                if at[from].min(at[to]) < instance.mark {
                    touching.push(arc);
                    least_touching = least(&least_touching, &with);
                }
            }
            if !touching.is_empty() {
                along.rested.push(Rested {
                    at: from,
                    arcs: touching,
                    least: least_touching,
                });
            }
            along.still[from] = still;
        }
        along
    }

    fn list(
        &self,
        room: usize,
        most_looked: u64,
        is_late: &dyn Fn() -> bool,
    ) -> (Option<Sets>, u64) {
        let mut ask_at = LOOKED_BETWEEN;
        let mut looked = (self.rested.len() * self.length) as u64;
        let ones: Vec<u128> = (0..self.instance.kinds.len())
            .map(|kind| self.packing.one(kind))
            .collect();
        let mut at: Vec<HashMap<u128, Costs, Mixed>> = vec![HashMap::default(); self.length + 1];
        at[0].insert(0, [0; ALONG]);
        let mut found: HashMap<u128, i64, Mixed> = HashMap::default();
        // Where rests cost nothing, who is less far along has all ways on that others have: bars
        // that touch nothing can begin at once, others where they would have.
        let mut nearer: HashMap<u128, Costs, Mixed> = HashMap::default();
        let mut held = 1;
        for from in 0..=self.length {
            let mut here: Vec<(u128, Costs)> = std::mem::take(&mut at[from]).into_iter().collect();
            here.sort_unstable();
            held -= here.len();
            for (key, so_far) in here {
                if self.rests_are_free {
                    let known = nearer.entry(key).or_insert([NEVER; ALONG]);
                    if within(known, &so_far) {
                        continue;
                    }
                    *known = least(known, &so_far);
                }
                let ended = sum(&so_far, &self.rest[self.length - from]);
                if key != 0 && within(&ended, &self.most) {
                    let least = found.entry(key).or_insert(ended[0]);
                    *least = ended[0].min(*least);
                    if found.len() > room {
                        return (None, looked / PER_STEP);
                    }
                }
                let mut go = |arc: &Arc, so_far: &Costs| {
                    let key = key + ones[arc.kind];
                    let cost = sum(so_far, &arc.cost);
                    if !within(&sum(&cost, &self.still[arc.to]), &self.most)
                        || !self.packing.fits(key)
                    {
                        return;
                    }
                    // Each price vector has a cheapest way of its own: less than all together cost.
                    at[arc.to]
                        .entry(key)
                        .and_modify(|known| *known = least(known, &cost))
                        .or_insert_with(|| {
                            held += 1;
                            cost
                        });
                };
                for arc in &self.arcs[from] {
                    looked += 2;
                    go(arc, &so_far);
                }
                for rested in self.rested.iter().take_while(|rested| rested.at > from) {
                    looked += 1;
                    let so_far = sum(&so_far, &self.rest[rested.at - from]);
                    if within(&sum(&so_far, &rested.least), &self.most) {
                        looked += 2 * rested.arcs.len() as u64;
                        for arc in &rested.arcs {
                            go(arc, &so_far);
                        }
                    }
                }
                // Time is not asked for at every step.
                let late = looked >= ask_at && is_late();
                if looked >= ask_at {
                    ask_at = looked + LOOKED_BETWEEN;
                }
                if late || looked > most_looked || held + nearer.len() > MOST_HELD {
                    return (None, looked / PER_STEP);
                }
            }
        }
        let mut sets: Vec<(u128, i64)> = found.into_iter().collect();
        sets.sort_unstable();
        let sets = sets
            .into_iter()
            .map(|(key, least)| (self.packing.unpack(key), Some(least)))
            .collect();
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
    most_looked: u64,
    is_late: &'a dyn Fn() -> bool,
    full: bool,
}

impl<'a> Lister<'a> {
    fn new(
        instance: &'a Instance,
        weights: &Weights,
        class: usize,
        most: i128,
        (most_looked, is_late): (u64, &'a dyn Fn() -> bool),
    ) -> Self {
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
            most_looked,
            is_late,
            full: false,
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
        let late = self.looked.is_multiple_of(LOOKED_BETWEEN) && (self.is_late)();
        if late || self.looked > self.most_looked {
            return false;
        }
        let at = usize::try_from(taken).unwrap_or(0);
        let least = self.before + i128::from(so_far) + i128::from(self.still[kind][at]);
        if least > self.most {
            return true;
        }
        if kind == counts.len() {
            let more = || {
                let demand = &self.instance.demand;
                (0..counts.len()).any(|kind| {
                    counts[kind] < demand[kind] && taken + self.takes[kind] <= self.room
                })
            };
            if taken > 0 && !(self.full && more()) {
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
        // The last kind fills up what is left.
        let first = if self.full && kind + 1 == counts.len() {
            fit
        } else {
            0
        };
        for count in first..=fit {
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
