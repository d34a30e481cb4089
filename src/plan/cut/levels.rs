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

mod buy;
mod dive;
mod dual;
mod gap;
mod level;
mod prices;

use std::{collections::HashMap, rc::Rc};

use super::{
    pattern::{Arrangements, Cost, Counts, Instance},
    price::Pricer,
    purchase::Purchases,
    search::{Solution, total_cost},
    simplex::{Column, Simplex},
};

pub(super) use dual::{Dual, What};
pub(super) use level::{Done, Level};

/// More rows than this are left to the other searches: their inverse would be too large.
const MOST_ROWS: usize = 420;
/// A fraction that is as good as whole.
pub(super) const WHOLE: f64 = 1e-6;
/// Dives for a plan with less soldering: the nearer it comes to its bound, the fewer patterns lie
/// between.
const MOST_DIVES: usize = 8;
/// What a bar that no pattern serves costs, in the largest cost of a pattern.
const MISSING: f64 = 10_000.0;

#[expect(
    clippy::cast_precision_loss,
    reason = "floating point only steers; what is claimed is worked out in whole numbers"
)]
pub(super) fn float(value: i128) -> f64 {
    value as f64
}

/// The next multiple from a value on.
fn up_to(value: i128, grain: i128) -> i128 {
    value + (-value).rem_euclid(grain)
}

/// Rounded to the nearest whole number.
#[expect(
    clippy::cast_possible_truncation,
    reason = "kept within range just before"
)]
pub(super) fn nearest(value: f64) -> i64 {
    value.clamp(-9e17, 9e17).round() as i64
}

/// How pricing ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Run {
    /// No pattern promises anything more.
    Whole,
    /// Rounds, steps or time are over.
    Cut,
    /// The program could not be solved.
    Stuck,
}

/// How plans are looked for from the relaxation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dives {
    /// Often where soldering counts, and what is left over is planned by a search of its own.
    Deep,
    /// Twice, and what is left over is filled up: for what is itself left over by another search.
    Quick,
}

/// What can be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rolls {
    /// Whatever money allows.
    Any,
    /// The rolls of one purchase, which costs what the best plan does: money needs no holding.
    OnePurchase,
}

/// All patterns within a gap.
type Listed = (i128, Vec<(usize, Counts, Cost)>);

/// What a search gave.
pub(super) enum Found {
    /// The best of all plans that were asked for; its cost is left to be counted.
    Best(Solution),
    /// A plan that was asked for.
    Better(Solution),
    /// There is none.
    None,
    /// It is not known.
    Stopped,
}

pub(super) struct Levels<'a> {
    pub instance: &'a Instance,
    pub arrangements: &'a mut Arrangements,
    pub best: Solution,
    pub steps: u64,
    pub most_steps: u64,
    pub stop: &'a dyn Fn() -> bool,
    /// How plans are looked for from the relaxation.
    pub dives: Dives,
    /// What can be bought.
    pub rolls: Rolls,
    /// Every arrangement looked at is as good as can be.
    pub exact: bool,
    pricer: Pricer,
    lp: Simplex,
    what: Vec<What>,
    known: HashMap<(usize, Counts), usize>,
    class_row: Vec<Option<usize>>,
    held: Vec<(Level, usize)>,
    level: Level,
    /// All values of the level are whole multiples of this.
    grain: i128,
    unit: f64,
    may_be_short: bool,
    /// What bounded the levels that are proven.
    pub duals: Vec<(Level, Dual)>,
    /// The levels in the order in which they matter.
    order: &'static [Level],
    /// The most soldering that any plan may take.
    cap: Option<i64>,
    /// No more than this has to be shown of the first level.
    enough: i128,
    /// Weights of the bars, and what each class holds of them at most: bounds known before.
    pub weighings: Vec<(Vec<i64>, Vec<i64>)>,
    /// What is known of purchases, where only money counts.
    purchases: Option<Purchases>,
    /// The best plan is the best in all levels.
    finished: bool,
    /// Patterns of the level within a gap, once they were listed.
    listed: Option<Listed>,
    /// All patterns that a plan with the least soldering can have, with their soldering, where
    /// they are few enough.
    universe: Option<Vec<(usize, Counts, Option<i64>)>>,
}

impl<'a> Levels<'a> {
    /// In another order than the usual one, and with no more soldering than `cap`, which `best` must
    /// keep to. `None` where the problem is too large for this.
    pub fn in_order(
        order: &'static [Level],
        cap: Option<i64>,
        instance: &'a Instance,
        arrangements: &'a mut Arrangements,
        best: Solution,
        (most_steps, stop): (u64, &'a dyn Fn() -> bool),
    ) -> Option<Self> {
        let mut levels = Self::new(instance, arrangements, best, most_steps, stop)?;
        levels.order = order;
        if let Some(cap) = cap {
            levels.cap = Some(cap);
            levels.hold_at(Level::Solder, cap.into());
        }
        Some(levels)
    }

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
            rolls: Rolls::Any,
            dives: Dives::Deep,
            exact: true,
            pricer,
            lp: Simplex::new(rhs, &costs),
            what,
            known: HashMap::new(),
            class_row,
            held: Vec::new(),
            level: Level::Short,
            grain: 1,
            unit: 1.0,
            may_be_short,
            duals: Vec::new(),
            order: &Level::ALL,
            cap: None,
            enough: i128::MAX,
            weighings: Vec::new(),
            purchases: None,
            finished: false,
            listed: None,
            universe: None,
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
        let key = |cost: Cost| self.order.iter().map(move |level| level.of(cost));
        let kept = self.cap.is_none_or(|cap| solution.cost.solder <= cap);
        if kept && key(solution.cost).lt(key(self.best.cost)) {
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
        for &level in self.order {
            if level > last {
                break;
            }
            self.level = level;
            let ended = if self.finished || known(level, &self.best) {
                Done::Proven
            } else {
                self.one_level()
            };
            let proven = matches!(ended, Done::Proven);
            done.push(ended);
            if !proven {
                break;
            }
            if level == Level::Solder && last > level && !self.finished {
                self.find_universe();
            }
            self.hold();
        }
        done
    }

    /// Holds the present level at its least from now on.
    fn hold(&mut self) {
        let held_already = match self.level {
            Level::Short => !self.may_be_short,
            Level::Money => self.rolls == Rolls::OnePurchase,
            _ => false,
        };
        if !held_already {
            self.hold_at(self.level, self.value());
        }
    }

    fn hold_at(&mut self, level: Level, value: i128) {
        let entries: Vec<(usize, f64)> = self
            .what
            .iter()
            .enumerate()
            .map(|(column, what)| (column, float(what.adds(level))))
            .filter(|(_, adds)| *adds != 0.0)
            .collect();
        let row = self.lp.rhs.len();
        self.lp.add_row(&entries, float(value));
        self.what.push(What::Left);
        self.held.push((level, row));
    }

    /// What a held level may come to.
    fn most(&self, level: Level) -> i128 {
        match (level, self.cap) {
            (Level::Solder, Some(cap)) => cap.into(),
            _ => level.of(self.best.cost),
        }
    }

    fn holds(&self, level: Level) -> bool {
        self.held.iter().any(|&(held, _)| held == level)
    }

    /// It matters what soldering a pattern takes, or what rests it leaves.
    fn is_laid(&self) -> bool {
        self.level > Level::Money || self.holds(Level::Solder)
    }

    /// A cost as far as the present level looks at it: what matters less than soldering is looked at
    /// all at once.
    fn cut_off(&self, cost: Cost) -> Cost {
        if self.level > Level::Solder {
            return cost;
        }
        let seen = |level: Level, value: i64| {
            if self.level == level || self.holds(level) {
                value
            } else {
                0
            }
        };
        Cost {
            short: cost.short,
            money: seen(Level::Money, cost.money),
            solder: seen(Level::Solder, cost.solder),
            ..Cost::default()
        }
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

    /// A bound that is as high proves what is asked.
    fn goal(&self) -> i128 {
        self.value().min(self.enough)
    }

    /// What no plan is below, by a bound.
    fn least(&self, dual: &Dual) -> i128 {
        up_to(dual.least_value(), self.grain)
    }

    /// How often a plan is looked for from the relaxation.
    fn dives(&self) -> usize {
        match self.dives {
            Dives::Deep if self.level == Level::Solder => MOST_DIVES,
            _ => 2,
        }
    }

    fn one_level(&mut self) -> Done {
        self.set_costs();
        self.grain = self.instance.grain(self.level);
        let demand = self.instance.demand.clone();
        let mut best: Option<Dual> = None;
        let (mut known, mut converged) = (i128::MIN, false);
        if self.only_buys() {
            (known, converged) = self.buy_early(&mut best);
        }
        if known < self.goal() && !converged {
            converged = self.generate(&demand, u32::MAX, &mut best) == Run::Whole;
        }
        let proven = |levels: &Self, best: &Option<Dual>| {
            best.as_ref()
                .map_or(known, |dual| levels.least(dual).max(known))
                >= levels.goal()
        };
        if !proven(self, &best) && converged {
            let bound = best.as_ref().map(|dual| self.least(dual));
            for unlucky in 0..self.dives() {
                if proven(self, &best) || self.spent() {
                    break;
                }
                self.dive(bound, unlucky);
            }
        }
        let mut least = best.as_ref().map(|dual| self.least(dual));
        if known > i128::MIN {
            least = least.max(Some(known));
        }
        if let Some(dual) = &best
            && converged
        {
            if self.only_buys() && least < Some(self.value()) {
                least = Some(self.buy(least.unwrap_or(known)));
            }
            least = least.max(Some(self.close(dual, least)));
        }
        self.purchases = None;
        if least.is_some_and(|least| least >= self.goal()) {
            self.duals.extend(best.map(|dual| (self.level, dual)));
            return Done::Proven;
        }
        least.map_or(Done::Open, Done::Bound)
    }
}
