//! The search: a start, exact branch and bound where it is small enough, and improvement by
//! solving a few pieces anew.
//!
//! All randomness is a fixed sequence, and budgets are counted in patterns looked at, so
//! the same problem gives the same plan everywhere.

mod branch;
mod improve;

use super::{
    Aim, CutPlan, Effort, Problem,
    bought::{PartDone, by_purchase, together},
    bound::{Bounds, Load},
    column,
    levels::{Dives, Done, Dual, Level, Levels, Rolls},
    pattern::{Arrangements, Cost, Counts, Instance},
    plain::Plain,
    start::{complete, starts},
    write::{proofs, written_out},
};

/// More bars than this are not searched exactly as a whole: the depth of the search is the
/// number of pieces.
const MOST_BARS_EXACT: u32 = 200;
/// More patterns than this are not searched exactly as a whole.
const MOST_PATTERNS: usize = 6_000;
/// Steps for searching a whole case exactly before it is bounded by linear programs.
const STEPS_WHOLE: u64 = 5_000;
/// With so few bars or fewer, a search through all ways comes first, for so many steps.
const FEW_BARS: u32 = 16;
const STEPS_FEW: u64 = 400;
/// The most patterns of one small case.
const MOST_PATTERNS_PART: usize = 800;
/// Steps for taking pieces apart, by the number of bars.
const STEPS_PER_BAR: u64 = 80;
/// Steps for what a relaxed plan leaves over.
const STEPS_ROUNDING: u64 = 5_000;

/// Pieces cut, by class and bars, and bars given up.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub cost: Cost,
    pub pieces: Vec<(usize, Counts)>,
    pub short: Vec<u32>,
}

struct Search<'a> {
    instance: &'a Instance,
    bounds: Bounds,
    arrangements: Arrangements,
    steps: u64,
    stop: &'a dyn Fn() -> bool,
    /// How plans are looked for from a relaxation.
    dives: Dives,
}

impl Search<'_> {
    /// Proves level by level, from the best plan so far to a better one, on top of what is known
    /// from a search before it.
    fn levels(
        &mut self,
        best: &mut Solution,
        available: &[Option<u32>],
        effort: &Effort<'_>,
        until: u64,
        known: &mut Known,
    ) {
        let root = self
            .bounds
            .load(self.instance, &self.instance.demand, available);
        let before = known.done.clone();
        let parts = self.parts(best, &root, known, effort.aim);
        let bought = parts.is_some();
        let whole = || vec![self.instance.clone()];
        let parts = parts.unwrap_or_else(whole);
        let mut done = Vec::new();
        for (at, part) in parts.iter().enumerate() {
            let bounds = &self.bounds;
            let is_least = |level: Level, solution: &Solution| {
                let cost = solution.cost;
                let least = bounds.least(&root);
                level.done(&before) == Some(Done::Proven)
                    || bought && level <= Level::Money
                    || match level {
                        Level::Short => cost.short == least.short,
                        Level::Money => cost.money == least.money,
                        Level::Solder => {
                            cost.solder == bounds.solder(&root, cost.short, cost.money)
                        }
                        Level::Scrap | Level::Offcuts | Level::Squares => false,
                    }
            };
            let most = until.saturating_sub(self.steps) / (parts.len() - at) as u64;
            let from = best.clone();
            let levels = Levels::new(part, &mut self.arrangements, from, most, effort.stop);
            let Some(mut levels) = levels else {
                if known.done.is_empty() {
                    let least = bounds.least(&root);
                    known.done = vec![Done::Bound(least.short.into())];
                }
                return;
            };
            if bought {
                levels.rolls = Rolls::OnePurchase;
            }
            levels.dives = self.dives;
            levels.duals.clone_from(&known.duals);
            let of_part = levels.prove(deepest(effort.aim), is_least);
            self.steps += levels.steps;
            *best = levels.best;
            if !bought {
                known.duals = levels.duals;
            }
            done.push(PartDone {
                done: of_part,
                best: best.cost,
            });
        }
        known.take(&together(&done, best.cost));
    }

    /// The same question for each purchase of the least money, where that is known and they are few.
    fn parts(
        &self,
        best: &Solution,
        root: &Load,
        known: &Known,
        aim: Aim,
    ) -> Option<Vec<Instance>> {
        let proven = |level: Level| level.done(&known.done) == Some(Done::Proven);
        let least = self.bounds.least(root);
        let cheapest = proven(Level::Money) || best.cost.money == least.money;
        if aim <= Aim::Money || best.cost.short > 0 || !cheapest {
            return None;
        }
        let weightings = self.bounds.weightings();
        by_purchase(self.instance, best.cost.money, weightings, &known.duals)
    }

    /// Proves what it can: money first, then the rest level by level.
    fn prove(
        &mut self,
        best: &mut Solution,
        available: &[Option<u32>],
        effort: &Effort<'_>,
        until: u64,
        known: &mut Known,
    ) {
        let is_open = |known: &Known| {
            let done = |level: Level| level.done(&known.done);
            [Level::Short, Level::Money]
                .into_iter()
                .any(|level| done(level).is_some_and(|done| done != Done::Proven))
        };
        let root = self
            .bounds
            .load(self.instance, &self.instance.demand, available);
        let least = self.bounds.least(&root);
        if effort.aim > Aim::Short
            && (best.cost.short > least.short || best.cost.money > least.money)
            && (known.done.is_empty() || is_open(known))
        {
            self.purchases(best, available, until, known);
        }
        // What matters less is looked at once money is proven.
        if !is_open(known) {
            self.levels(best, available, effort, until, known);
        }
    }

    /// Proves bars short and money, where bars and pieces of one length count alike.
    fn purchases(
        &mut self,
        best: &mut Solution,
        available: &[Option<u32>],
        until: u64,
        known: &mut Known,
    ) {
        let root = self
            .bounds
            .load(self.instance, &self.instance.demand, available);
        let least = self.bounds.least(&root);
        let plain = Plain::new(self.instance);
        let mut arrangements = Arrangements::default();
        let most = until.saturating_sub(self.steps);
        let from = plain.merged(best);
        let levels = Levels::new(&plain.instance, &mut arrangements, from, most, self.stop);
        let Some(mut levels) = levels else {
            return;
        };
        // Of these all depend on lengths alone.
        levels.weighings = self
            .bounds
            .weightings()
            .filter_map(|(weight, capacity)| plain.weighing(weight, capacity))
            .collect();
        let done = levels.prove(Level::Money, |level, solution| match level {
            Level::Short => solution.cost.short == least.short,
            _ => solution.cost.money == least.money,
        });
        self.steps += levels.steps;
        if (levels.best.cost.short, levels.best.cost.money) < (best.cost.short, best.cost.money) {
            *best = plain.parted(self.instance, &levels.best);
            best.cost = total_cost(self.instance, &mut self.arrangements, best);
        }
        known.duals = plain.duals(&levels.duals);
        known.take(&done);
    }

    /// Searches within an effort: the best plan, and what is known of it.
    fn look(&mut self, effort: &Effort<'_>) -> (Solution, Known) {
        let instance = self.instance;
        let available: Vec<Option<u32>> = instance
            .classes
            .iter()
            .map(|class| class.available)
            .collect();
        let bars: u32 = instance.demand.iter().sum();
        let mut best = starts(instance, &mut self.arrangements, effort.stop);
        let root = self.bounds.load(instance, &instance.demand, &available);
        let least = self.bounds.least(&root);
        if best.cost.solder > least.solder || best.cost.money > least.money {
            let until = (effort.steps / 8).min(STEPS_PER_BAR * u64::from(bars));
            self.improve(&mut best, least.money, until);
        }
        // Some steps are kept for what follows.
        let first = effort.steps / 10 * 7;
        let mut known = Known::default();
        // Going through a small case whole is quicker than a linear program of each level.
        if bars <= FEW_BARS {
            let to_beat = best.cost;
            let steps = STEPS_FEW.min(effort.steps / 4);
            let outcome = self.branch(
                &instance.demand,
                &available,
                to_beat,
                MOST_PATTERNS_PART,
                steps,
            );
            if let Some(better) = outcome.found {
                best = better;
            }
            if outcome.complete && outcome.exact {
                known.done = vec![Done::Proven; Level::ALL.len()];
            }
        }
        if known.done.is_empty() {
            self.prove(&mut best, &available, effort, first, &mut known);
        }
        // Where that leaves something open, a search of another kind may find a better plan.
        if !all_proven(&known.done, effort.aim) && self.steps < effort.steps && !(effort.stop)() {
            let before = best.cost;
            let root = self.bounds.load(instance, &instance.demand, &available);
            if best.cost.money > self.bounds.least(&root).money
                && let Some(relaxation) = column::relax(instance)
            {
                self.bounds.add(instance, relaxation.weight);
                self.round_up(relaxation.pieces, &available, &mut best);
            }
            let left = effort.steps.saturating_sub(self.steps);
            let mut whole = false;
            if bars <= MOST_BARS_EXACT {
                let to_beat = best.cost;
                let steps = (left / 3).min(STEPS_WHOLE);
                let outcome =
                    self.branch(&instance.demand, &available, to_beat, MOST_PATTERNS, steps);
                if let Some(better) = outcome.found {
                    best = better;
                }
                whole = outcome.complete && outcome.exact;
            }
            if whole {
                known.done = vec![Done::Proven; Level::ALL.len()];
            } else {
                // Loads belong to the weights they were made with.
                let root = self.bounds.load(instance, &instance.demand, &available);
                let least = self.bounds.least(&root);
                let left = effort.steps.saturating_sub(self.steps);
                let until = self.steps + (left / 2).min(8 * STEPS_PER_BAR * u64::from(bars));
                self.improve(&mut best, least.money, until);
                if best.cost < before {
                    self.prove(&mut best, &available, effort, effort.steps, &mut known);
                }
                // What is left of the steps goes into a better plan of what stayed open.
                if !all_proven(&known.done, effort.aim) {
                    let most = 8 * STEPS_PER_BAR * u64::from(bars);
                    let until = effort.steps.min(self.steps.saturating_add(most));
                    self.improve(&mut best, least.money, until);
                }
                // The first bounds may be the higher ones where the search was cut short.
                if best.cost.short == least.short {
                    known.take(&[Done::Proven, Done::Bound(least.money.into())]);
                }
            }
        }
        (best, known)
    }

    /// Completes the whole part of a relaxed plan, and keeps it if it beats `best`.
    fn round_up(
        &mut self,
        mut pieces: Vec<(usize, Counts)>,
        available: &[Option<u32>],
        best: &mut Solution,
    ) {
        let mut demand = self.instance.demand.clone();
        let mut left = available.to_vec();
        // A pattern may hold more bars than are wanted; such pieces are left to the end.
        pieces.retain(|(class, counts)| {
            let fits = left[*class] != Some(0)
                && counts
                    .iter()
                    .zip(&demand)
                    .all(|(count, demand)| count <= demand);
            if fits {
                left[*class] = left[*class].map(|many| many - 1);
                for (demand, count) in demand.iter_mut().zip(&**counts) {
                    *demand -= count;
                }
            }
            fits
        });
        let mut rounded = complete(
            self.instance,
            &mut self.arrangements,
            &demand,
            &left,
            self.stop,
        );
        let outcome = self.branch(&demand, &left, rounded.cost, MOST_PATTERNS, STEPS_ROUNDING);
        if let Some(better) = outcome.found {
            rounded = better;
        }
        rounded.pieces.extend(pieces);
        rounded.cost = total_cost(self.instance, &mut self.arrangements, &rounded);
        if rounded.cost < best.cost {
            *best = rounded;
        }
    }
}

/// The cost of a solution, from its pieces.
pub(super) fn total_cost(
    instance: &Instance,
    arrangements: &mut Arrangements,
    solution: &Solution,
) -> Cost {
    let short = Cost {
        short: solution.short.iter().map(|&count| i64::from(count)).sum(),
        ..Cost::default()
    };
    solution.pieces.iter().fold(short, |sum, (class, counts)| {
        sum.plus(arrangements.best(instance, *class, counts).cost)
    })
}

/// What is known of the levels.
#[derive(Default)]
struct Known {
    done: Vec<Done>,
    duals: Vec<(Level, Dual)>,
}

impl Known {
    /// What was found later is about a plan that is no worse: proofs and bounds of both hold.
    fn take(&mut self, later: &[Done]) {
        for (at, &later) in later.iter().enumerate() {
            match (self.done.get_mut(at), later) {
                (None, _) => self.done.push(later),
                (Some(Done::Proven), _) | (Some(Done::Bound(_)), Done::Open) => {}
                (Some(Done::Bound(least)), Done::Bound(other)) => *least = other.max(*least),
                (Some(known), later) => *known = later,
            }
        }
    }
}

/// The last level that an aim asks for.
fn deepest(aim: Aim) -> Level {
    match aim {
        Aim::Short => Level::Short,
        Aim::Money => Level::Money,
        Aim::Solder => Level::Solder,
        Aim::Rest => Level::Squares,
    }
}

fn all_proven(done: &[Done], aim: Aim) -> bool {
    let last = deepest(aim);
    let asked = Level::ALL.iter().filter(|level| **level <= last).count();
    done.len() >= asked && done.iter().all(|done| matches!(done, Done::Proven))
}

/// A plan to begin with, improved a little.
pub(super) fn start(instance: &Instance, arrangements: &mut Arrangements) -> Solution {
    let mut search = Search {
        instance,
        bounds: Bounds::new(instance, &|| false),
        arrangements: std::mem::take(arrangements),
        steps: 0,
        stop: &|| false,
        dives: Dives::Deep,
    };
    let mut best = starts(instance, &mut search.arrangements, &|| false);
    let bars: u32 = instance.demand.iter().sum();
    search.improve(&mut best, 0, STEPS_PER_BAR * u64::from(bars));
    *arrangements = search.arrangements;
    best
}

/// Plans what is left of a plan that is half made, down to soldering, in so many steps; gives the
/// steps taken too.
pub(super) fn finish(
    instance: &Instance,
    arrangements: &mut Arrangements,
    steps: u64,
    stop: &dyn Fn() -> bool,
) -> (Solution, u64) {
    let effort = Effort {
        steps,
        aim: Aim::Solder,
        stop,
    };
    let mut search = Search {
        instance,
        bounds: Bounds::new(instance, stop),
        arrangements: std::mem::take(arrangements),
        steps: 0,
        stop,
        dives: Dives::Quick,
    };
    let (best, _) = search.look(&effort);
    *arrangements = search.arrangements;
    (best, search.steps)
}

/// Searches within the budget and writes the plan out.
pub(super) fn solve(problem: &Problem, effort: &Effort<'_>) -> CutPlan {
    let instance = &Instance::new(problem);
    let mut search = Search {
        instance,
        bounds: Bounds::new(instance, effort.stop),
        arrangements: Arrangements::default(),
        steps: 0,
        stop: effort.stop,
        dives: Dives::Deep,
    };
    let (mut best, known) = search.look(effort);
    best.pieces.sort();
    let mut plan = written_out(problem, instance, &mut search.arrangements, &best);
    plan.proof = proofs(problem, &plan, &best, &known.done);
    plan
}
