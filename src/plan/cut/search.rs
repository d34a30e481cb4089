//! The search: a start, exact branch and bound where it is small enough, and improvement by
//! solving a few pieces anew.
//!
//! All randomness is a fixed sequence, and budgets are counted in patterns looked at, so
//! the same problem gives the same plan everywhere.

use std::{collections::HashMap, rc::Rc};

use super::{
    Aim, CutPlan, Effort, Problem,
    bound::{Bounds, Load},
    column,
    dice::Dice,
    levels::{Done, Dual, Level, Levels},
    pattern::{self, Arrangements, Cost, Counts, Instance},
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
/// Limits for one small case of the improvement.
const MOST_PATTERNS_PART: usize = 800;
const STEPS_PART: u64 = 375;
/// Steps for taking pieces apart, by the number of bars.
const STEPS_PER_BAR: u64 = 80;
/// Patterns looked at that count as one step.
const PER_STEP: u64 = 4;
/// Steps for what a relaxed plan leaves over.
const STEPS_ROUNDING: u64 = 5_000;

/// Pieces cut, by class and bars, and bars given up.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub cost: Cost,
    pub pieces: Vec<(usize, Counts)>,
    pub short: Vec<u32>,
}

/// One way to cut one piece.
struct Pattern {
    class: usize,
    counts: Counts,
    /// No arrangement of it costs less; what the best one costs is found when it is needed.
    at_least: Cost,
}

/// All ways to cut the pieces at hand, by the longest kind of bar in them; `None` when there
/// are more than `most`.
fn patterns(
    instance: &Instance,
    demand: &[u32],
    available: &[Option<u32>],
    most: usize,
) -> Option<Vec<Vec<Pattern>>> {
    let mut by_longest: Vec<Vec<Pattern>> = demand.iter().map(|_| Vec::new()).collect();
    let mut number = 0;
    let mut sets = Vec::new();
    for (class, of) in instance.classes.iter().enumerate() {
        if available[class] == Some(0) {
            continue;
        }
        sets.clear();
        let mut counts = vec![0; demand.len()];
        if !extend(
            instance,
            demand,
            0,
            instance.room(of),
            &mut counts,
            &mut sets,
            most - number,
        ) {
            return None;
        }
        number += sets.len();
        for counts in sets.drain(..) {
            if let Some(longest) = counts.iter().position(|&count| count > 0) {
                by_longest[longest].push(Pattern {
                    class,
                    at_least: pattern::at_least(instance, of, &counts),
                    counts,
                });
            }
        }
    }
    Some(by_longest)
}

/// Adds to `sets` all non-empty sets from `kind` on; false when there would be too many.
fn extend(
    instance: &Instance,
    demand: &[u32],
    kind: usize,
    room: i64,
    counts: &mut Vec<u32>,
    sets: &mut Vec<Counts>,
    most: usize,
) -> bool {
    if kind == demand.len() {
        if counts.iter().any(|&count| count > 0) {
            if sets.len() >= most {
                return false;
            }
            sets.push(Rc::from(counts.as_slice()));
        }
        return true;
    }
    let takes = instance.takes(kind);
    let fit = u32::try_from(room / takes)
        .unwrap_or(u32::MAX)
        .min(demand[kind]);
    for count in (0..=fit).rev() {
        counts[kind] = count;
        let room = room - takes * i64::from(count);
        if !extend(instance, demand, kind + 1, room, counts, sets, most) {
            return false;
        }
    }
    counts[kind] = 0;
    true
}

/// One way on from a state of the search.
struct Choice {
    /// The least that can come of it.
    least: Cost,
    /// A pattern and what it costs; `None` gives the kind of bar up.
    piece: Option<(usize, Cost)>,
    after: Load,
}

/// Depth-first branch and bound: the longest bar still wanted is cut from some piece, with
/// whatever else comes from that piece, or all of its kind are given up.
struct Branch<'a> {
    instance: &'a Instance,
    bounds: &'a Bounds,
    patterns: &'a [Vec<Pattern>],
    arrangements: &'a mut Arrangements,
    /// All arrangements looked at are as good as can be.
    exact: bool,
    /// The classes of which there are some, but not any number.
    limited: Vec<usize>,
    /// The cheapest way each state was reached.
    reached: HashMap<Vec<u32>, Cost>,
    best: Cost,
    found: Option<Solution>,
    pieces: Vec<(usize, Counts)>,
    short: Vec<u32>,
    steps: u64,
    most_steps: u64,
    stop: &'a dyn Fn() -> bool,
}

impl Branch<'_> {
    fn stopped(&self) -> bool {
        self.steps + self.arrangements.spent >= self.most_steps || (self.stop)()
    }

    fn descend(
        &mut self,
        demand: &mut Vec<u32>,
        left: &mut Vec<Option<u32>>,
        load: &Load,
        cost: Cost,
    ) {
        let Some(kind) = demand.iter().position(|&count| count > 0) else {
            if cost < self.best {
                self.best = cost;
                self.found = Some(Solution {
                    cost,
                    pieces: self.pieces.clone(),
                    short: self.short.clone(),
                });
            }
            return;
        };
        let key: Vec<u32> = demand
            .iter()
            .copied()
            .chain(self.limited.iter().filter_map(|&class| left[class]))
            .collect();
        match self.reached.get_mut(&key) {
            Some(known) if *known <= cost => return,
            Some(known) => *known = cost,
            None => {
                self.reached.insert(key, cost);
            }
        }

        let mut choices: Vec<Choice> = Vec::new();
        for (index, pattern) in self.patterns[kind].iter().enumerate() {
            self.steps += 1;
            let fits = left[pattern.class] != Some(0)
                && pattern
                    .counts
                    .iter()
                    .zip(&*demand)
                    .all(|(count, demand)| count <= demand);
            if !fits {
                continue;
            }
            let after = self
                .bounds
                .after(load, self.instance, pattern.class, &pattern.counts);
            let rest = self.bounds.least(&after);
            if cost.plus(pattern.at_least).plus(rest) >= self.best {
                continue;
            }
            let best = self
                .arrangements
                .best(self.instance, pattern.class, &pattern.counts);
            self.exact &= best.exact;
            let least = cost.plus(best.cost).plus(rest);
            if least < self.best {
                choices.push(Choice {
                    least,
                    piece: Some((index, best.cost)),
                    after,
                });
            }
        }
        self.steps += 1;
        let given_up = Cost {
            short: i64::from(demand[kind]),
            ..Cost::default()
        };
        let after = self.bounds.without(load, kind, demand[kind]);
        let least = cost.plus(given_up).plus(self.bounds.least(&after));
        if least < self.best {
            choices.push(Choice {
                least,
                piece: None,
                after,
            });
        }
        choices.sort_by_key(|choice| choice.least);

        for Choice {
            least,
            piece,
            after,
        } in choices
        {
            if self.stopped() {
                return;
            }
            if least >= self.best {
                break;
            }
            if let Some((index, of_piece)) = piece {
                let pattern = &self.patterns[kind][index];
                for (demand, count) in demand.iter_mut().zip(&*pattern.counts) {
                    *demand -= count;
                }
                left[pattern.class] = left[pattern.class].map(|many| many - 1);
                self.pieces
                    .push((pattern.class, Rc::clone(&pattern.counts)));
                self.descend(demand, left, &after, cost.plus(of_piece));
                self.pieces.pop();
                left[pattern.class] = left[pattern.class].map(|many| many + 1);
                for (demand, count) in demand.iter_mut().zip(&*pattern.counts) {
                    *demand += count;
                }
            } else {
                let count = std::mem::take(&mut demand[kind]);
                self.short[kind] += count;
                self.descend(demand, left, &after, cost.plus(given_up));
                self.short[kind] -= count;
                demand[kind] = count;
            }
        }
    }
}

/// What a branch and bound gave.
pub(super) struct Outcome {
    /// Something better than the cost to beat, if found.
    pub found: Option<Solution>,
    /// Nothing is left to try.
    pub complete: bool,
    /// All patterns were laid as well as can be.
    pub exact: bool,
}

struct Search<'a> {
    instance: &'a Instance,
    bounds: Bounds,
    arrangements: Arrangements,
    steps: u64,
    stop: &'a dyn Fn() -> bool,
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
        let (bounds, instance) = (&self.bounds, self.instance);
        let before = known.done.clone();
        let is_least = |level: Level, solution: &Solution| {
            let cost = solution.cost;
            let least = bounds.least(&root);
            level.done(&before) == Some(Done::Proven)
                || match level {
                    Level::Short => cost.short == least.short,
                    Level::Money => cost.money == least.money,
                    Level::Solder => cost.solder == bounds.solder(&root, cost.short, cost.money),
                    Level::Scrap | Level::Offcuts | Level::Squares => false,
                }
        };
        let most = until.saturating_sub(self.steps);
        let from = best.clone();
        let levels = Levels::new(instance, &mut self.arrangements, from, most, effort.stop);
        let Some(mut levels) = levels else {
            if known.done.is_empty() {
                let least = bounds.least(&root);
                known.done = vec![Done::Bound(least.short.into())];
            }
            return;
        };
        levels.duals = std::mem::take(&mut known.duals);
        let done = levels.prove(deepest(effort.aim), is_least);
        self.steps += levels.steps;
        *best = levels.best;
        known.duals = levels.duals;
        known.take(&done);
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

    /// Looks for a way to serve `demand` from `available` that costs less than `beat`.
    fn branch(
        &mut self,
        demand: &[u32],
        available: &[Option<u32>],
        beat: Cost,
        most_patterns: usize,
        most_steps: u64,
    ) -> Outcome {
        let Some(patterns) = patterns(self.instance, demand, available, most_patterns) else {
            self.steps += most_patterns as u64 / 16;
            return Outcome {
                found: None,
                complete: false,
                exact: false,
            };
        };
        let number: usize = patterns.iter().map(Vec::len).sum();
        let before = self.arrangements.spent;
        let mut branch = Branch {
            instance: self.instance,
            bounds: &self.bounds,
            patterns: &patterns,
            arrangements: &mut self.arrangements,
            exact: true,
            limited: (0..available.len())
                .filter(|&class| available[class].is_some_and(|many| many > 0))
                .collect(),
            reached: HashMap::new(),
            best: beat,
            found: None,
            pieces: Vec::new(),
            short: vec![0; demand.len()],
            steps: 1 + number as u64 / 4,
            most_steps: before + most_steps.saturating_mul(PER_STEP),
            stop: self.stop,
        };
        let load = self.bounds.load(self.instance, demand, available);
        branch.descend(
            &mut demand.to_vec(),
            &mut available.to_vec(),
            &load,
            Cost::default(),
        );
        let outcome = Outcome {
            complete: !branch.stopped(),
            found: branch.found,
            exact: branch.exact,
        };
        self.steps += (branch.steps + self.arrangements.spent - before).div_ceil(PER_STEP);
        outcome
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
        let mut rounded = complete(self.instance, &mut self.arrangements, &demand, &left);
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

    /// Takes two or three pieces apart, with a few unused ones beside them, and solves them
    /// again; keeps what is better, until the steps are used up.
    fn improve(&mut self, solution: &mut Solution, least_money: i64, most_steps: u64) {
        let mut dice = Dice::default();
        let stock: Vec<usize> = (0..self.instance.classes.len())
            .filter(|&class| self.instance.classes[class].price_minor.is_none())
            .collect();
        // Going through all classes once costs about as much as a few patterns.
        let overhead = (self.instance.classes.len() as u64).div_ceil(16);
        while self.steps < most_steps && !solution.pieces.is_empty() && !(self.stop)() {
            self.steps += overhead;
            let mut left: Vec<Option<u32>> = self
                .instance
                .classes
                .iter()
                .map(|class| class.available)
                .collect();
            for (class, _) in &solution.pieces {
                left[*class] = left[*class].map(|many| many - 1);
            }
            // Only rolls may be used freely; of the stock, a few kinds of piece at a time.
            let mut available: Vec<Option<u32>> = self
                .instance
                .classes
                .iter()
                .zip(&left)
                .map(|(class, left)| class.price_minor.map_or(Some(0), |_| *left))
                .collect();
            for _ in 0..dice.below(5) {
                if let Some(&class) = stock.get(dice.below(stock.len())) {
                    available[class] = left[class].map(|many| many.min(2));
                }
            }
            let mut demand = solution.short.clone();
            let mut beat = Cost {
                short: solution.short.iter().map(|&count| i64::from(count)).sum(),
                ..Cost::default()
            };
            let many = (2 + dice.below(2)).min(solution.pieces.len());
            let mut chosen: Vec<usize> = Vec::new();
            // Where money may still be saved, every other time begins with a roll.
            if solution.cost.money > least_money && dice.below(2) == 0 {
                let bought = |(class, _): &(usize, Counts)| {
                    self.instance.classes[*class].price_minor.is_some()
                };
                let rolls: Vec<usize> = (0..solution.pieces.len())
                    .filter(|&index| bought(&solution.pieces[index]))
                    .collect();
                chosen.extend(rolls.get(dice.below(rolls.len())));
            }
            while chosen.len() < many {
                let index = dice.below(solution.pieces.len());
                if !chosen.contains(&index) {
                    chosen.push(index);
                }
            }
            for &index in &chosen {
                let (class, counts) = &solution.pieces[index];
                available[*class] = available[*class].map(|many| many + 1);
                beat = beat.plus(self.arrangements.best(self.instance, *class, counts).cost);
                for (demand, count) in demand.iter_mut().zip(&**counts) {
                    *demand += count;
                }
            }
            let outcome = self.branch(&demand, &available, beat, MOST_PATTERNS_PART, STEPS_PART);
            let Some(better) = outcome.found else {
                continue;
            };
            chosen.sort_unstable();
            for index in chosen.into_iter().rev() {
                solution.pieces.swap_remove(index);
            }
            solution.pieces.extend(better.pieces);
            solution.short = better.short;
            solution.cost = total_cost(self.instance, &mut self.arrangements, solution);
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
        bounds: Bounds::new(instance),
        arrangements: std::mem::take(arrangements),
        steps: 0,
        stop: &|| false,
    };
    let mut best = starts(instance, &mut search.arrangements);
    let bars: u32 = instance.demand.iter().sum();
    search.improve(&mut best, 0, STEPS_PER_BAR * u64::from(bars));
    *arrangements = search.arrangements;
    best
}

/// Searches within the budget and writes the plan out.
pub(super) fn solve(problem: &Problem, effort: &Effort<'_>) -> CutPlan {
    let instance = &Instance::new(problem);
    let mut search = Search {
        instance,
        bounds: Bounds::new(instance),
        arrangements: Arrangements::default(),
        steps: 0,
        stop: effort.stop,
    };
    let available: Vec<Option<u32>> = instance
        .classes
        .iter()
        .map(|class| class.available)
        .collect();
    let bars: u32 = instance.demand.iter().sum();
    let mut best = starts(instance, &mut search.arrangements);
    let root = search.bounds.load(instance, &instance.demand, &available);
    let least = search.bounds.least(&root);
    if best.cost.solder > least.solder || best.cost.money > least.money {
        let until = (effort.steps / 8).min(STEPS_PER_BAR * u64::from(bars));
        search.improve(&mut best, least.money, until);
    }
    // Some steps are kept for what follows.
    let first = effort.steps / 10 * 7;
    let mut known = Known::default();
    // Going through a small case whole is quicker than a linear program of each level.
    if bars <= FEW_BARS {
        let to_beat = best.cost;
        let steps = STEPS_FEW.min(effort.steps / 4);
        let outcome = search.branch(
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
        search.prove(&mut best, &available, effort, first, &mut known);
    }
    // Where that leaves something open, a search of another kind may find a better plan.
    if !all_proven(&known.done, effort.aim) && search.steps < effort.steps && !(effort.stop)() {
        let before = best.cost;
        let root = search.bounds.load(instance, &instance.demand, &available);
        if best.cost.money > search.bounds.least(&root).money
            && let Some(relaxation) = column::relax(instance)
        {
            search.bounds.add(instance, relaxation.weight);
            search.round_up(relaxation.pieces, &available, &mut best);
        }
        let left = effort.steps.saturating_sub(search.steps);
        let mut whole = false;
        if bars <= MOST_BARS_EXACT {
            let to_beat = best.cost;
            let steps = (left / 3).min(STEPS_WHOLE);
            let outcome =
                search.branch(&instance.demand, &available, to_beat, MOST_PATTERNS, steps);
            if let Some(better) = outcome.found {
                best = better;
            }
            whole = outcome.complete && outcome.exact;
        }
        if whole {
            known.done = vec![Done::Proven; Level::ALL.len()];
        } else {
            // Loads belong to the weights they were made with.
            let root = search.bounds.load(instance, &instance.demand, &available);
            let least = search.bounds.least(&root);
            let left = effort.steps.saturating_sub(search.steps);
            let until = search.steps + (left / 2).min(8 * STEPS_PER_BAR * u64::from(bars));
            search.improve(&mut best, least.money, until);
            if best.cost < before {
                search.prove(&mut best, &available, effort, effort.steps, &mut known);
            }
            // What is left of the steps goes into a better plan of what stayed open.
            if !all_proven(&known.done, effort.aim) {
                let most = 8 * STEPS_PER_BAR * u64::from(bars);
                let until = effort.steps.min(search.steps.saturating_add(most));
                search.improve(&mut best, least.money, until);
            }
            // The first bounds may be the higher ones where the search was cut short.
            if best.cost.short == least.short {
                known.take(&[Done::Proven, Done::Bound(least.money.into())]);
            }
        }
    }

    best.pieces.sort();
    let mut plan = written_out(problem, instance, &mut search.arrangements, &best);
    plan.proof = proofs(problem, &plan, &best, &known.done);
    plan
}
