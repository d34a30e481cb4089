//! Proof by linear programming, one objective after the other: each is bounded with the earlier
//! ones held at their least, and what lies between bound and plan is searched.
//!
//! # Method
//! The relaxation over patterns, with a row for each earlier objective, by column generation
//! ([`super::price`] prices patterns, [`super::simplex`] solves). Prices of rows become whole
//! numbers, and the bound is worked out from those again without rounding: demand times worth,
//! less what held objectives may cost, and for each piece the cheapest pattern if that is below
//! nought (Lagrange's bound; A. M. Geoffrion, *Mathematical Programming Study* 2, 1974). Plans are
//! found by diving: patterns of the relaxation are fixed one after the other and the rest solved
//! again. Where a gap is left, all patterns whose reduced cost lies within it are listed, and
//! branched on ([`super::tree`]): none outside of the list can be in a better plan (R. Baldacci, N.
//! Christofides, A. Mingozzi, *Mathematical Programming* 115, 2008).

use std::{collections::HashMap, rc::Rc};

use super::{
    pattern::{Arrangements, Class, Cost, Counts, Instance, at_least},
    price::{Pricer, Weights},
    search::{Solution, total_cost},
    simplex::{Column, Ended, Simplex},
    start::complete,
    tree,
};

/// More rows than this are left to the other searches: their inverse would be too large.
const MOST_ROWS: usize = 420;
/// More patterns than this within a gap are not listed.
const MOST_LISTED: usize = 30_000;
/// A fraction that is as good as whole.
pub(super) const WHOLE: f64 = 1e-6;
/// What a bar that no pattern serves costs, in the largest cost of a pattern.
const MISSING: f64 = 10_000.0;

/// The objectives one by one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Level {
    Short,
    Money,
    Solder,
    Scrap,
    Offcuts,
    Squares,
}

impl Level {
    pub const ALL: [Self; 6] = [
        Self::Short,
        Self::Money,
        Self::Solder,
        Self::Scrap,
        Self::Offcuts,
        Self::Squares,
    ];

    pub fn of(self, cost: Cost) -> i128 {
        match self {
            Self::Short => cost.short.into(),
            Self::Money => cost.money.into(),
            Self::Solder => cost.solder.into(),
            Self::Scrap => cost.scrap.into(),
            Self::Offcuts => cost.offcuts.into(),
            Self::Squares => cost.squares_lost,
        }
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "floating point only steers; what is claimed is worked out in whole numbers"
)]
pub(super) fn float(value: i128) -> f64 {
    value as f64
}

/// Rounded to the nearest whole number.
#[expect(
    clippy::cast_possible_truncation,
    reason = "kept within range just before"
)]
pub(super) fn nearest(value: f64) -> i64 {
    value.clamp(-9e17, 9e17).round() as i64
}

/// What a column of the program stands for.
#[derive(Debug, Clone)]
pub(super) enum What {
    /// A bar served by nothing, which no plan has.
    Missing,
    /// One bar too many, which no plan has.
    Surplus,
    /// A row's slack.
    Left,
    /// A bar of a kind given up.
    Short(usize),
    /// A piece of a class cut to a pattern.
    Cut {
        class: usize,
        counts: Counts,
        cost: Cost,
    },
}

impl What {
    /// What it adds to an objective.
    pub fn adds(&self, level: Level) -> i128 {
        match self {
            Self::Cut { cost, .. } => level.of(*cost),
            Self::Short(_) => i128::from(level == Level::Short),
            Self::Missing | Self::Surplus | Self::Left => 0,
        }
    }
}

/// Whole-number weights with the bound that they give.
#[derive(Debug, Clone)]
pub(super) struct Dual {
    pub weights: Weights,
    /// What giving a bar up weighs.
    pub short: i64,
    /// What one of the objective weighs: bound and costs are in parts of it.
    pub scale: i64,
    /// The bound, scaled.
    pub bound: i128,
    /// By class: the cheapest pattern, if it costs less than nought.
    pub least: Vec<i64>,
}

impl Dual {
    /// What one of an objective weighs.
    fn weight_of(&self, level: Level) -> i128 {
        i128::from(match level {
            Level::Short => self.short,
            Level::Money => self.weights.money,
            Level::Solder => self.weights.solder,
            Level::Scrap => self.weights.scrap,
            Level::Offcuts => self.weights.offcuts,
            Level::Squares => self.weights.squares,
        })
    }

    /// The bound in whole units of the objective.
    pub fn least_value(&self) -> i128 {
        let scale = i128::from(self.scale);
        self.bound.div_euclid(scale) + i128::from(self.bound.rem_euclid(scale) > 0)
    }
}

/// How one level ended.
pub(super) enum Done {
    Proven,
    /// No plan is better than this in the level.
    Bound(i128),
    /// Nothing is known.
    Open,
}

pub(super) struct Levels<'a> {
    pub instance: &'a Instance,
    pub arrangements: &'a mut Arrangements,
    pub best: Solution,
    pub steps: u64,
    pub most_steps: u64,
    pub stop: &'a dyn Fn() -> bool,
    /// Every arrangement looked at is as good as can be.
    pub exact: bool,
    pricer: Pricer,
    lp: Simplex,
    what: Vec<What>,
    known: HashMap<(usize, Counts), usize>,
    class_row: Vec<Option<usize>>,
    held: Vec<(Level, usize)>,
    level: Level,
    unit: f64,
    may_be_short: bool,
}

impl<'a> Levels<'a> {
    /// `None` where the problem is too large for this.
    pub fn new(
        instance: &'a Instance,
        arrangements: &'a mut Arrangements,
        best: Solution,
        most_steps: u64,
        stop: &'a dyn Fn() -> bool,
    ) -> Option<Self> {
        let kinds = instance.kinds.len();
        let mut rhs: Vec<f64> = instance.demand.iter().map(|&many| many.into()).collect();
        let mut costs = vec![MISSING; kinds];
        let mut what = vec![What::Missing; kinds];
        let class_row = instance
            .classes
            .iter()
            .map(|class| {
                class.available.map(|many| {
                    rhs.push(many.into());
                    costs.push(0.0);
                    what.push(What::Left);
                    rhs.len() - 1
                })
            })
            .collect();
        if kinds == 0 || rhs.len() > MOST_ROWS {
            return None;
        }
        let pricer = Pricer::new(instance)?;
        let may_be_short = best.cost.short > 0;
        let mut levels = Self {
            instance,
            arrangements,
            best,
            steps: 0,
            most_steps,
            stop,
            exact: true,
            pricer,
            lp: Simplex::new(rhs, &costs),
            what,
            known: HashMap::new(),
            class_row,
            held: Vec::new(),
            level: Level::Short,
            unit: 1.0,
            may_be_short,
        };
        for kind in 0..kinds {
            levels.add(What::Surplus, vec![(kind, -1.0)]);
            if may_be_short {
                levels.add(What::Short(kind), vec![(kind, 1.0)]);
            }
        }
        levels.take_in();
        Some(levels)
    }

    fn spent(&self) -> bool {
        self.steps >= self.most_steps || (self.stop)()
    }

    fn add(&mut self, what: What, mut entries: Vec<(usize, f64)>) {
        for &(level, row) in &self.held {
            let adds = what.adds(level);
            if adds != 0 {
                entries.push((row, float(adds)));
            }
        }
        let cost = self.cost_of(&what);
        self.what.push(what);
        self.lp.add(Column { cost, entries });
    }

    fn cost_of(&self, what: &What) -> f64 {
        match what {
            What::Missing => MISSING,
            // One bar too many does no harm as long as rests don't count.
            What::Surplus if self.level > Level::Solder => MISSING,
            _ => float(what.adds(self.level)) / self.unit,
        }
    }

    /// The column of a pattern, new or not.
    fn pattern(&mut self, class: usize, counts: &Counts) -> (usize, bool) {
        if let Some(&known) = self.known.get(&(class, Rc::clone(counts))) {
            return (known, false);
        }
        let best = self.arrangements.best(self.instance, class, counts);
        self.exact &= best.exact;
        let mut entries: Vec<(usize, f64)> = counts
            .iter()
            .enumerate()
            .filter(|(_, count)| **count > 0)
            .map(|(kind, &count)| (kind, count.into()))
            .collect();
        if let Some(row) = self.class_row[class] {
            entries.push((row, 1.0));
        }
        let column = self.what.len();
        let cost = best.cost;
        self.known.insert((class, Rc::clone(counts)), column);
        self.add(
            What::Cut {
                class,
                counts: Rc::clone(counts),
                cost,
            },
            entries,
        );
        (column, true)
    }

    /// Takes the patterns of the best plan in.
    fn take_in(&mut self) {
        for (class, counts) in self.best.pieces.clone() {
            self.pattern(class, &counts);
        }
    }

    /// Keeps a plan if it is better.
    fn offer(&mut self, mut solution: Solution) -> bool {
        solution.cost = total_cost(self.instance, self.arrangements, &solution);
        if solution.cost < self.best.cost {
            self.best = solution;
            self.take_in();
            return true;
        }
        false
    }

    /// Proves one level after the other up to `last`; levels whose value the caller knows to be
    /// least already are given as such.
    pub fn prove(&mut self, last: Level, known: impl Fn(Level, &Solution) -> bool) -> Vec<Done> {
        let mut done = Vec::new();
        for level in Level::ALL {
            if level > last {
                break;
            }
            self.level = level;
            let ended = if known(level, &self.best) {
                Done::Proven
            } else {
                self.one_level()
            };
            let proven = matches!(ended, Done::Proven);
            done.push(ended);
            if !proven {
                break;
            }
            self.hold();
        }
        done
    }

    /// Holds the present level at its least from now on.
    fn hold(&mut self) {
        let value = self.level.of(self.best.cost);
        if self.level == Level::Short && !self.may_be_short {
            return;
        }
        let entries: Vec<(usize, f64)> = self
            .what
            .iter()
            .enumerate()
            .map(|(column, what)| (column, float(what.adds(self.level))))
            .filter(|(_, adds)| *adds != 0.0)
            .collect();
        let row = self.lp.rhs.len();
        self.lp.add_row(&entries, float(value));
        self.what.push(What::Left);
        self.held.push((self.level, row));
    }

    fn set_costs(&mut self) {
        self.unit = self
            .what
            .iter()
            .map(|what| float(what.adds(self.level)).abs())
            .fold(1.0, f64::max);
        for column in 0..self.what.len() {
            self.lp.columns[column].cost = self.cost_of(&self.what[column]);
        }
        self.lp.reprice();
    }

    fn value(&self) -> i128 {
        self.level.of(self.best.cost)
    }

    fn one_level(&mut self) -> Done {
        self.set_costs();
        let demand = self.instance.demand.clone();
        let mut best: Option<Dual> = None;
        let converged = self.generate(&demand, u32::MAX, &mut best);
        let proven = |levels: &Self, best: &Option<Dual>| {
            best.as_ref()
                .is_some_and(|dual| dual.least_value() >= levels.value())
        };
        if !proven(self, &best) && converged {
            let bound = best.as_ref().map(Dual::least_value);
            for unlucky in 0..3 {
                if proven(self, &best) || self.spent() {
                    break;
                }
                self.dive(bound, unlucky);
            }
        }
        // Each tree looks for something better than the best; a better one makes the next smaller.
        while !proven(self, &best) && converged && !self.spent() {
            let Some(dual) = &best else { break };
            match self.search_gap(&dual.clone()) {
                tree::Ended::Better(solution) => {
                    if !self.offer(solution) {
                        break;
                    }
                }
                tree::Ended::None if self.exact => return Done::Proven,
                tree::Ended::None | tree::Ended::Stopped => break,
            }
        }
        if proven(self, &best) {
            return Done::Proven;
        }
        match best {
            Some(dual) => Done::Bound(dual.least_value()),
            None => Done::Open,
        }
    }

    /// Adds patterns until none promises anything, or `rounds` are over. Tells whether it came to
    /// its end; the best bound is kept in `best` where the whole demand is asked for.
    fn generate(&mut self, left: &[u32], rounds: u32, best: &mut Option<Dual>) -> bool {
        for round in 0.. {
            if self.spent() || round >= rounds {
                return false;
            }
            let before = self.lp.steps;
            let ended = self.lp.primal(20_000);
            let rows = self.lp.rhs.len() as u64;
            self.steps += 1 + (self.lp.steps - before) * (1 + rows * rows / 1_024);
            if ended != Ended::Best {
                return false;
            }
            let Some(mut dual) = self.dual() else {
                return false;
            };
            let priced = self
                .pricer
                .price(self.instance, &dual.weights, left, |_| true);
            self.steps += 1 + self.pricer.work / 1_024;
            self.bound(&mut dual, &priced);
            let scale = float(dual.scale.into());
            let whole = left == self.instance.demand;
            if whole
                && best.as_ref().is_none_or(|known| {
                    dual.bound * i128::from(known.scale) > known.bound * i128::from(dual.scale)
                })
            {
                *best = Some(dual);
            }
            if whole
                && best
                    .as_ref()
                    .is_some_and(|dual| dual.least_value() >= self.value())
            {
                return true;
            }
            let mut added = false;
            for (class, priced) in priced.into_iter().enumerate() {
                let Some(priced) = priced else { continue };
                let own = self.class_row[class].map_or(0.0, |row| self.lp.prices[row]);
                let reduced = float(priced.reduced.into()) / scale / self.unit - own;
                if reduced > -1e-7 {
                    continue;
                }
                if !priced.bars.is_empty() {
                    self.arrangements
                        .offer(self.instance, class, &priced.counts, &priced.bars);
                }
                let proper: Vec<u32> = priced
                    .counts
                    .iter()
                    .zip(left)
                    .map(|(&count, &left)| count.min(left))
                    .collect();
                if proper != priced.counts && proper.iter().any(|&count| count > 0) {
                    added |= self.pattern(class, &Rc::from(proper)).1;
                }
                added |= self.pattern(class, &Rc::from(priced.counts)).1;
            }
            if !added {
                return true;
            }
        }
        false
    }

    /// The prices of the program in whole numbers.
    fn dual(&self) -> Option<Dual> {
        let instance = self.instance;
        let unit = self.unit;
        let prices = &self.lp.prices;
        let longest = instance.classes.iter().map(|class| class.whole).max()?;
        let shortest = instance.kinds.iter().map(|kind| kind.units).min()?;
        let most = longest / shortest.max(1) + 1;
        let size = |level: Level| -> f64 {
            float(match level {
                Level::Short => 1,
                Level::Money => instance
                    .classes
                    .iter()
                    .filter_map(|class| class.price_minor)
                    .max()
                    .unwrap_or(0)
                    .into(),
                Level::Solder => i128::from(2 * instance.mark) * i128::from(most),
                Level::Scrap => longest.into(),
                Level::Offcuts => most.into(),
                Level::Squares => 4 * i128::from(longest) * i128::from(longest),
            })
        };
        // Held objectives may weigh something, never less than nought.
        let held: Vec<(Level, f64)> = self
            .held
            .iter()
            .map(|&(level, row)| (level, (-prices[row] * unit).max(0.0)))
            .chain([(self.level, 1.0)])
            .collect();
        let dearest = prices
            .iter()
            .take(instance.kinds.len())
            .fold(0.0_f64, |most, price| most.max(price.abs()))
            * unit;
        let largest = held
            .iter()
            .map(|&(level, weight)| weight * size(level))
            .sum::<f64>()
            + dearest * float(most.into())
            + 1.0;
        let mut scale = 1_i64 << 24;
        while scale > 1 && largest * float(scale.into()) > 2e17 {
            scale /= 2;
        }
        if largest * float(scale.into()) > 2e17 {
            return None;
        }
        let scaled = float(scale.into());
        let mut dual = Dual {
            weights: Weights {
                worth: prices
                    .iter()
                    .take(instance.kinds.len())
                    .map(|price| nearest(price * unit * scaled))
                    .collect(),
                ..Weights::default()
            },
            short: 0,
            scale,
            bound: 0,
            least: Vec::new(),
        };
        for (level, weight) in held {
            let weight = if level == self.level {
                scale
            } else {
                nearest(weight * scaled)
            };
            match level {
                Level::Short => dual.short = weight,
                Level::Money => dual.weights.money = weight,
                Level::Solder => dual.weights.solder = weight,
                Level::Scrap => dual.weights.scrap = weight,
                Level::Offcuts => dual.weights.offcuts = weight,
                Level::Squares => dual.weights.squares = weight,
            }
        }
        Some(dual)
    }

    /// Lagrange's bound from what was priced.
    fn bound(&self, dual: &mut Dual, priced: &[Option<super::price::Priced>]) {
        let bars: u32 = self.instance.demand.iter().sum();
        let mut bound = dual.weights.worth_of(&self.instance.demand);
        for &(level, _) in &self.held {
            bound -= dual.weight_of(level) * level.of(self.best.cost);
        }
        if self.may_be_short {
            for (&worth, &many) in dual.weights.worth.iter().zip(&self.instance.demand) {
                bound += i128::from(many) * i128::from((dual.short - worth).min(0));
            }
        }
        dual.least = priced
            .iter()
            .map(|priced| priced.as_ref().map_or(0, |priced| priced.reduced.min(0)))
            .collect();
        for (class, &least) in self.instance.classes.iter().zip(&dual.least) {
            let most = class.available.map_or(bars, |many| many.min(bars));
            bound += i128::from(most) * i128::from(least);
        }
        dual.bound = bound;
    }

    /// Fixes patterns one after the other until all is served, and keeps the plan if it is better.
    /// `unlucky` says which of several it fixes first.
    fn dive(&mut self, bound: Option<i128>, unlucky: usize) {
        let saved = self.lp.snapshot();
        let mut left = self.instance.demand.clone();
        let mut pieces: Vec<(usize, Counts)> = Vec::new();
        let mut fixed = Cost::default();
        let mut skip = unlucky;
        loop {
            if self.spent() {
                break;
            }
            let mut used: Vec<(usize, f64)> = self
                .lp
                .basis
                .iter()
                .zip(&self.lp.value)
                .filter(|&(&column, &value)| {
                    value > WHOLE && matches!(self.what[column], What::Cut { .. })
                })
                .map(|(&column, &value)| (column, value))
                .collect();
            if used.is_empty() {
                break;
            }
            used.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let whole: Vec<(usize, f64)> = used
                .iter()
                .copied()
                .filter(|(_, value)| *value >= 1.0 - WHOLE)
                .collect();
            let chosen = if whole.is_empty() {
                used.sort_by(|a, b| (b.1.fract()).total_cmp(&a.1.fract()).then(a.0.cmp(&b.0)));
                let at = skip.min(used.len() - 1);
                skip = 0;
                vec![(used[at].0, 1.0)]
            } else {
                whole
            };
            let mut moved = false;
            for (column, value) in chosen {
                let What::Cut {
                    class,
                    counts,
                    cost,
                } = self.what[column].clone()
                else {
                    continue;
                };
                for _ in 0..nearest((value + WHOLE).floor()) {
                    let fits = counts.iter().zip(&left).all(|(count, left)| count <= left)
                        && self.class_row[class].is_none_or(|row| self.lp.rhs[row] > 0.5)
                        && self
                            .held
                            .iter()
                            .all(|&(level, row)| float(level.of(cost)) <= self.lp.rhs[row] + 0.5);
                    if !fits {
                        self.lp.forbidden[column] = true;
                        break;
                    }
                    moved = true;
                    for &(row, entry) in &self.lp.columns[column].entries {
                        self.lp.rhs[row] -= entry;
                    }
                    for (left, count) in left.iter_mut().zip(&*counts) {
                        *left -= count;
                    }
                    fixed = fixed.plus(cost);
                    pieces.push((class, Rc::clone(&counts)));
                }
            }
            if left.iter().all(|&left| left == 0) {
                break;
            }
            // What does not fit any more can't be used.
            for (column, what) in self.what.iter().enumerate() {
                if let What::Cut { class, counts, .. } = what {
                    let fits = counts.iter().zip(&left).all(|(count, left)| count <= left)
                        && self.class_row[*class].is_none_or(|row| self.lp.rhs[row] > 0.5);
                    if !fits {
                        self.lp.forbidden[column] = true;
                    }
                }
            }
            self.lp.revalue();
            let before = self.lp.steps;
            let ended = self.lp.dual(5_000);
            let rows = self.lp.rhs.len() as u64;
            self.steps += 1 + (self.lp.steps - before) * (1 + rows * rows / 1_024);
            if ended != Ended::Best && !moved {
                break;
            }
            if ended == Ended::Best {
                let mut none = None;
                self.generate(&left, 6, &mut none);
            }
            let reached = self.lp.cost() * self.unit + float(self.level.of(fixed));
            if bound.is_some() && reached > float(self.value()) - 1.0 + 1e-3 {
                break;
            }
        }
        let available: Vec<Option<u32>> = self
            .instance
            .classes
            .iter()
            .enumerate()
            .map(|(class, of)| {
                of.available.map(|many| {
                    let used = pieces.iter().filter(|(of, _)| *of == class).count();
                    many.saturating_sub(u32::try_from(used).unwrap_or(u32::MAX))
                })
            })
            .collect();
        let mut rest = complete(self.instance, self.arrangements, &left, &available);
        rest.pieces.extend(pieces);
        // Patterns found on the way stay; the rest is as it was.
        self.lp.restore(&saved);
        self.offer(rest);
    }

    /// Lists all patterns that a better plan can have, and branches on them.
    fn search_gap(&mut self, dual: &Dual) -> tree::Ended {
        let gap = (self.value() - 1) * i128::from(dual.scale) - dual.bound;
        let Some(patterns) = self.list(dual, gap) else {
            return tree::Ended::Stopped;
        };
        let held: Vec<(Level, i128)> = self
            .held
            .iter()
            .map(|&(level, _)| (level, level.of(self.best.cost)))
            .collect();
        let program = tree::Program {
            instance: self.instance,
            level: self.level,
            held,
            may_be_short: self.may_be_short,
            patterns,
            beat: self.value(),
        };
        let most = self.most_steps.saturating_sub(self.steps);
        let (ended, steps) = tree::search(&program, most, self.stop);
        self.steps += steps;
        ended
    }

    /// All patterns whose reduced cost lies within the gap; `None` where there are too many.
    fn list(&mut self, dual: &Dual, gap: i128) -> Option<Vec<(usize, Counts, Cost)>> {
        let mut found = Vec::new();
        for class in 0..self.instance.classes.len() {
            let most = gap + i128::from(dual.least[class]);
            let mut lister = Lister::new(self.instance, &dual.weights, class, most);
            let mut sets = Vec::new();
            let room = MOST_LISTED - found.len();
            let complete = lister.list(
                0,
                0,
                0,
                &mut vec![0; self.instance.kinds.len()],
                &mut sets,
                room,
            );
            self.steps += 1 + lister.looked / 8;
            if !complete || self.spent() {
                return None;
            }
            for counts in sets {
                let least = at_least(self.instance, &self.instance.classes[class], &counts);
                let worth = dual.weights.worth_of(&counts);
                if self.instance.classes[class].jointed
                    && self.held.iter().any(|&(level, _)| {
                        level <= Level::Solder && level.of(least) > level.of(self.best.cost)
                    })
                {
                    continue;
                }
                let before = self.arrangements.spent;
                let best = self.arrangements.best(self.instance, class, &counts);
                self.steps += 1 + (self.arrangements.spent - before);
                self.exact &= best.exact;
                let within = dual.weights.of(best.cost) - worth <= most
                    && self.held.iter().all(|&(level, _)| {
                        level == Level::Squares || level.of(best.cost) <= level.of(self.best.cost)
                    });
                if within {
                    found.push((class, counts, best.cost));
                }
            }
        }
        Some(found)
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
                    super::Fed::OneEnd => 1,
                    super::Fed::BothEnds => 2,
                };
                weights.solder * other * ends - weights.worth[kind]
            })
            .collect();
        let room = instance.room(of) / step;
        let size = usize::try_from(room).unwrap_or(0) + 1;
        let last: Vec<i64> = (0..size)
            .map(|taken| {
                let used = super::pattern::signed(taken as u64) * step;
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
