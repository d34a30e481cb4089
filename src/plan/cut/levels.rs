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
    list,
    pattern::{Arrangements, Cost, Counts, Instance, at_least, gcd},
    price::{Pricer, Weights},
    reach,
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
/// Patterns that a dive takes back because nothing better can come of them.
const MOST_TAKEN_BACK: u32 = 8;
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

impl Instance {
    /// What all values of a level are multiples of.
    fn grain(&self, level: Level) -> i128 {
        let grain = match level {
            Level::Money => self
                .classes
                .iter()
                .filter_map(|class| class.price_minor)
                .fold(0, gcd),
            Level::Solder => {
                let jointed = self.classes.iter().any(|class| class.jointed);
                let joint = if jointed { self.joint } else { 0 };
                gcd(gcd(self.lead, joint), self.mark)
            }
            Level::Short | Level::Scrap | Level::Offcuts | Level::Squares => 1,
        };
        grain.max(1).into()
    }
}

impl Level {
    /// Soldering before money, and nothing that matters less.
    pub const SOLDER_FIRST: [Self; 3] = [Self::Short, Self::Solder, Self::Money];

    pub const ALL: [Self; 6] = [
        Self::Short,
        Self::Money,
        Self::Solder,
        Self::Scrap,
        Self::Offcuts,
        Self::Squares,
    ];

    /// How it ended, among levels in their order.
    pub fn done(self, done: &[Done]) -> Option<Done> {
        let at = Self::ALL.iter().position(|&level| level == self)?;
        done.get(at).copied()
    }

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

    /// By how much a pattern is dearer than the cheapest of its class, scaled.
    fn slack(&self, class: usize, counts: &[u32], cost: Cost) -> i128 {
        let reduced = self.weights.of(cost) - self.weights.worth_of(counts);
        reduced - i128::from(self.least[class])
    }

    /// No more than that, from a cost that has the least money and soldering and all rest in one.
    fn slack_at_least(
        &self,
        instance: &Instance,
        class: usize,
        counts: &[u32],
        cost: Cost,
    ) -> i128 {
        let rest: i64 = counts
            .iter()
            .enumerate()
            .map(|(kind, &count)| instance.takes(kind) * i64::from(count))
            .sum();
        let rest = (instance.room(&instance.classes[class]) - rest - instance.kerf).max(0);
        let whole = self.weights.rest(instance, rest);
        // It may lie in several places, all of them scrap.
        let parts = self.weights.scrap.saturating_mul(rest);
        i128::from(self.weights.piece(instance, class))
            + i128::from(self.weights.solder) * i128::from(cost.solder)
            + i128::from(whole.min(parts))
            - self.weights.worth_of(counts)
            - i128::from(self.least[class])
    }

    /// The bound in whole units of the objective.
    pub fn least_value(&self) -> i128 {
        let scale = i128::from(self.scale);
        self.bound.div_euclid(scale) + i128::from(self.bound.rem_euclid(scale) > 0)
    }
}

/// All patterns within a gap.
type Listed = (i128, Vec<(usize, Counts, Cost)>);

/// A way to search a gap.
#[derive(Clone, Copy)]
enum Way {
    /// State by state, with so many of them.
    Reach(usize),
    /// By branching, with so many steps.
    Branch(u64),
}

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

/// How one level ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
        if self.level != Level::Short || self.may_be_short {
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

    /// What no plan is below, by a bound.
    fn least(&self, dual: &Dual) -> i128 {
        up_to(dual.least_value(), self.grain)
    }

    fn one_level(&mut self) -> Done {
        self.set_costs();
        self.grain = self.instance.grain(self.level);
        let demand = self.instance.demand.clone();
        let mut best: Option<Dual> = None;
        let converged = self.generate(&demand, u32::MAX, &mut best);
        let proven = |levels: &Self, best: &Option<Dual>| {
            best.as_ref()
                .is_some_and(|dual| levels.least(dual) >= levels.value())
        };
        if !proven(self, &best) && converged {
            let bound = best.as_ref().map(|dual| self.least(dual));
            for unlucky in 0..2 {
                if proven(self, &best) || self.spent() {
                    break;
                }
                self.dive(bound, unlucky);
            }
        }
        let mut least = best.as_ref().map(|dual| self.least(dual));
        if let Some(dual) = &best
            && converged
        {
            least = least.max(Some(self.close(dual)));
        }
        if least.is_some_and(|least| least >= self.value()) {
            self.duals.extend(best.map(|dual| (self.level, dual)));
            return Done::Proven;
        }
        least.map_or(Done::Open, Done::Bound)
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
                    .is_some_and(|dual| self.least(dual) >= self.value())
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

    /// Solves the program again where what is `left` has changed; gives what it costs.
    fn again(&mut self, left: &[u32]) -> f64 {
        self.lp.revalue();
        let before = self.lp.steps;
        let ended = self.lp.dual(5_000);
        let rows = self.lp.rhs.len() as u64;
        self.steps += 1 + (self.lp.steps - before) * (1 + rows * rows / 1_024);
        if ended != Ended::Best {
            return f64::INFINITY;
        }
        self.generate(left, 6, &mut None);
        self.lp.cost() * self.unit
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
            .filter(|(level, _)| *level != self.level)
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
                    // Where too many bars do no harm, no bar is worth less than nothing.
                    .map(|worth| match self.level {
                        Level::Short | Level::Money => worth.max(0),
                        _ => worth,
                    })
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
            if level != self.level {
                bound -= dual.weight_of(level) * self.most(level);
            }
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
        let mut taken_back = 0;
        loop {
            if self.spent() {
                break;
            }
            let before = (self.lp.snapshot(), left.clone(), pieces.len(), fixed);
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
            let only = match chosen[..] {
                [(column, value)] if value <= 1.0 => Some(column),
                _ => None,
            };
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
            let mut reached = self.again(&left) + float(self.level.of(fixed));
            let most = float(self.value()) - 1.0 + 1e-3;
            if let Some(column) = only
                && bound.is_some()
                && reached > most
                && taken_back < MOST_TAKEN_BACK
            {
                // Another pattern instead.
                taken_back += 1;
                self.lp.restore(&before.0);
                left = before.1;
                pieces.truncate(before.2);
                fixed = before.3;
                self.lp.forbidden[column] = true;
                reached = self.again(&left) + float(self.level.of(fixed));
                moved = true;
            }
            if !moved || (bound.is_some() && reached > most) {
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

    /// Searches between the bound and the best plan from below, by what is quickest for small gaps
    /// first; gives what no plan is below.
    fn close(&mut self, dual: &Dual) -> i128 {
        let mut least = self.least(dual);
        self.listed = None;
        // Where all patterns up to the best plan are few, they are listed only once.
        let all = if self.level > Level::Solder {
            0
        } else {
            self.grain
        };
        let gap = (self.value() - all) * i128::from(dual.scale) - dual.bound;
        if least < self.value() {
            self.list(dual, gap, 6_000);
        }
        for way in [
            Way::Branch(8_000),
            Way::Reach(6_000),
            Way::Branch(40_000),
            Way::Reach(40_000),
            Way::Branch(200_000),
            Way::Reach(200_000),
            Way::Branch(u64::MAX),
        ] {
            if matches!(way, Way::Reach(_)) && self.level <= Level::Money {
                continue;
            }
            let mut target = least;
            let mut stride = up_to(((self.value() - least) / 8).max(1), self.grain);
            while least < self.value() && self.exact && !self.spent() {
                // State by state, plans that are better only in what matters less are found too.
                let all = matches!(way, Way::Reach(_)) && self.level > Level::Solder;
                target = target.min(self.value() - if all { 0 } else { self.grain });
                let found = match way {
                    Way::Reach(states) => self.reach(dual, target, states),
                    Way::Branch(steps) => self.branch(dual, target, steps),
                };
                match found {
                    Found::Best(solution) => {
                        self.offer(solution);
                        // It is the best in what matters less too.
                        self.finished = all && self.exact;
                        return if self.exact { self.value() } else { least };
                    }
                    Found::Better(solution) => {
                        if !self.offer(solution) {
                            return least;
                        }
                        target = target.min(self.value() - self.grain);
                    }
                    Found::None if !self.exact => return least,
                    Found::None => {
                        self.finished = target == self.value();
                        least = up_to(target + 1, self.grain);
                        target = least + stride;
                        stride *= 2;
                    }
                    Found::Stopped => break,
                }
            }
        }
        least
    }

    /// Goes state by state through all plans whose value is at most `target`.
    fn reach(&mut self, dual: &Dual, target: i128, most_states: usize) -> Found {
        let gap = target * i128::from(dual.scale) - dual.bound;
        let listed = self.list(dual, gap, 4 * most_states as u64);
        let Some(patterns) = listed else {
            return Found::Stopped;
        };
        let budgets: Vec<(&Dual, i128)> = std::iter::once((dual, gap))
            .chain(
                self.duals
                    .iter()
                    .map(|(level, dual)| (dual, self.may_exceed(*level, dual))),
            )
            .take(reach::MOST_BUDGETS)
            .collect();
        let small = |value: i128| {
            i64::try_from(value)
                .unwrap_or(i64::MAX / 4)
                .min(i64::MAX / 4)
        };
        let slacks = |of: &dyn Fn(&Dual) -> i128| {
            let mut slack = [0; reach::MOST_BUDGETS];
            for (slack, (dual, _)) in slack.iter_mut().zip(&budgets) {
                *slack = small(of(dual));
            }
            slack
        };
        let mut budget = [0; reach::MOST_BUDGETS];
        for (budget, (_, most)) in budget.iter_mut().zip(&budgets) {
            *budget = small(*most);
        }
        let options: Vec<reach::Taking> = patterns
            .into_iter()
            .map(|(class, counts, cost)| {
                let slack = slacks(&|dual| dual.slack(class, &counts, cost));
                reach::Taking {
                    class,
                    counts,
                    cost,
                    slack,
                }
            })
            .filter(|option| {
                option
                    .slack
                    .iter()
                    .zip(&budget)
                    .all(|(slack, most)| slack <= most)
            })
            .collect();
        let program = reach::Program {
            instance: self.instance,
            unused: self
                .instance
                .classes
                .iter()
                .enumerate()
                .map(|(class, of)| match of.available {
                    Some(many) if many <= reach::MOST_ALIKE => {
                        slacks(&|dual| -i128::from(dual.least[class]))
                    }
                    _ => [0; reach::MOST_BUDGETS],
                })
                .collect(),
            given_up: self.may_be_short.then(|| {
                (0..self.instance.kinds.len())
                    .map(|kind| {
                        slacks(&|dual| i128::from((dual.short - dual.weights.worth[kind]).max(0)))
                    })
                    .collect()
            }),
            budget,
            options,
            beat: self.cut_off(self.best.cost),
        };
        let most = self.most_steps.saturating_sub(self.steps);
        let (ended, steps) = reach::search(&program, most_states, most, self.stop);
        self.steps += steps;
        ended
    }

    /// Branches on all patterns that a plan whose value is at most `target` can have.
    fn branch(&mut self, dual: &Dual, target: i128, most_steps: u64) -> Found {
        let gap = target * i128::from(dual.scale) - dual.bound;
        let listed = self.list(dual, gap, 4 * most_steps.min(u64::MAX / 8));
        let Some(patterns) = listed else {
            return Found::Stopped;
        };
        let held: Vec<(Level, i128)> = self
            .held
            .iter()
            .map(|&(level, _)| (level, self.most(level)))
            .collect();
        let program = tree::Program {
            instance: self.instance,
            level: self.level,
            held,
            may_be_short: self.may_be_short,
            covering: !self.is_laid(),
            patterns,
            beat: target + 1,
        };
        let most = self.most_steps.saturating_sub(self.steps).min(most_steps);
        let (ended, steps) = tree::search(&program, most, self.stop);
        self.steps += steps;
        ended
    }

    /// Whether a plan no worse than the best in a proven level can have a pattern.
    fn affords(&self, level: Level, dual: &Dual, class: usize, counts: &[u32], cost: Cost) -> bool {
        dual.slack(class, counts, cost) <= self.may_exceed(level, dual)
    }

    /// By how much the slacks of a plan no worse than the best in a proven level may exceed nought.
    fn may_exceed(&self, level: Level, dual: &Dual) -> i128 {
        level.of(self.best.cost) * i128::from(dual.scale) - dual.bound
    }

    /// All patterns whose reduced cost lies within the gap; `None` where there are too many.
    fn list(
        &mut self,
        dual: &Dual,
        gap: i128,
        most_steps: u64,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        if let Some((known, patterns)) = &self.listed
            && *known >= gap
        {
            let within = |class: usize, counts: &[u32], cost: Cost| {
                dual.slack(class, counts, cost) <= gap
                    && self
                        .duals
                        .iter()
                        .all(|(level, dual)| self.affords(*level, dual, class, counts, cost))
            };
            let found = patterns
                .iter()
                .filter(|(class, counts, cost)| within(*class, counts, *cost))
                .cloned()
                .collect();
            self.steps += 1 + patterns.len() as u64 / 64;
            return Some(found);
        }
        let until = self.steps.saturating_add(most_steps);
        let duals = std::mem::take(&mut self.duals);
        let universe = self.universe.take();
        let found = match &universe {
            Some(all) => {
                self.steps += 1 + all.len() as u64 / 64;
                let mut all = all.iter().cloned();
                self.all_within(dual, gap, &duals, until, &mut all)
            }
            None => self.listed_anew(dual, gap, &duals, until),
        };
        self.universe = universe;
        self.duals = duals;
        let found = found?;
        self.listed = Some((gap, found.clone()));
        Some(found)
    }

    /// Of patterns those that a plan within the gap can have, with what they cost.
    fn all_within(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        until: u64,
        patterns: &mut dyn Iterator<Item = (usize, Counts, Option<i64>)>,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        let mut found = Vec::new();
        for (class, counts, solder) in patterns {
            let cost = self.cost_in(dual, gap, (class, &counts, solder), duals);
            found.extend(cost.map(|cost| (class, counts, cost)));
            if self.steps > until || self.spent() || found.len() > MOST_LISTED {
                return None;
            }
        }
        Some(found)
    }

    /// Lists them class by class.
    fn listed_anew(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        until: u64,
    ) -> Option<Vec<(usize, Counts, Cost)>> {
        let mut found = Vec::new();
        for class in 0..self.instance.classes.len() {
            if self.spent() {
                return None;
            }
            let sets = self.sets(dual, gap, duals, class, until)?;
            let by_solder = self.level == Level::Solder;
            let mut sets = sets.into_iter().map(|(counts, priced)| {
                // Where only soldering weighs anything, that is what a way costs.
                let solder = priced.filter(|_| by_solder).map(|priced| {
                    let solder = i128::from(priced) + dual.weights.worth_of(&counts);
                    let solder = solder / i128::from(dual.weights.solder);
                    i64::try_from(solder).unwrap_or(i64::MAX)
                });
                (class, counts, solder)
            });
            found.extend(self.all_within(dual, gap, duals, until, &mut sets)?);
            if found.len() > MOST_LISTED {
                return None;
            }
        }
        Some(found)
    }

    /// Sets of bars of a class that can be within the gap.
    fn sets(
        &mut self,
        dual: &Dual,
        gap: i128,
        duals: &[(Level, Dual)],
        class: usize,
        until: u64,
    ) -> Option<list::Sets> {
        let limit = |dual: &Dual, gap: i128| gap + i128::from(dual.least[class]);
        let mut limits = vec![list::Limit {
            weights: &dual.weights,
            most: limit(dual, gap),
        }];
        for (level, dual) in duals.iter().rev() {
            if *level > Level::Money {
                let weights = &dual.weights;
                let most = limit(dual, self.may_exceed(*level, dual));
                limits.push(list::Limit { weights, most });
            }
        }
        let by_joints = self.is_laid() && self.instance.classes[class].jointed;
        let how = (by_joints, !self.is_laid());
        let most = until.min(self.most_steps).saturating_sub(self.steps);
        let (sets, steps) = list::sets(
            self.instance,
            &limits,
            class,
            MOST_LISTED,
            how,
            (most, self.stop),
        );
        self.steps += 1 + steps;
        sets
    }

    /// Lists all that a plan with the least soldering can have.
    fn find_universe(&mut self) {
        let Some((Level::Solder, dual)) = self.duals.last().cloned() else {
            return;
        };
        let gap = self.may_exceed(Level::Solder, &dual);
        let most = (self.most_steps.saturating_sub(self.steps) / 4).min(100_000);
        self.listed = None;
        if let Some(found) = self.list(&dual, gap, most) {
            let jointed = |class: usize| self.instance.classes[class].jointed;
            let patterns = found.into_iter().map(|(class, counts, cost)| {
                (class, counts, jointed(class).then_some(cost.solder))
            });
            self.universe = Some(patterns.collect());
        }
    }

    /// What a pattern costs, if a plan within the gap can have it.
    fn cost_in(
        &mut self,
        dual: &Dual,
        gap: i128,
        (class, counts, solder): (usize, &Counts, Option<i64>),
        duals: &[(Level, Dual)],
    ) -> Option<Cost> {
        let of = &self.instance.classes[class];
        let least = at_least(self.instance, of, counts);
        // It does not matter how bars lie, beyond what soldering they take.
        if !self.is_laid() || self.level == Level::Solder && solder.is_some() {
            let cost = Cost {
                money: least.money,
                solder: solder.filter(|_| self.level == Level::Solder).unwrap_or(0),
                ..Cost::default()
            };
            let cost = self.cut_off(cost);
            return (dual.slack(class, counts, cost) <= gap).then_some(cost);
        }
        let soldered = Cost {
            solder: solder.unwrap_or(least.solder),
            ..least
        };
        let cannot = self
            .held
            .iter()
            .any(|&(level, _)| level <= Level::Solder && level.of(soldered) > self.most(level));
        if cannot || dual.slack_at_least(self.instance, class, counts, soldered) > gap {
            return None;
        }
        let before = self.arrangements.spent;
        let best = self.arrangements.best(self.instance, class, counts);
        self.steps += 1 + (self.arrangements.spent - before);
        self.exact &= best.exact;
        let within = dual.slack(class, counts, best.cost) <= gap
            && self.held.iter().all(|&(level, _)| {
                level == Level::Squares || level.of(best.cost) <= self.most(level)
            })
            && duals
                .iter()
                .all(|(level, dual)| self.affords(*level, dual, class, counts, best.cost));
        within.then(|| self.cut_off(best.cost))
    }
}
