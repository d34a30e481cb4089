//! Branch and bound over a list of patterns that holds every better plan.
//!
//! # Method
//! Each node is the linear program over the patterns that are left; it is bounded in whole numbers
//! from its prices. Branching is on how often pieces of a class are used, then on how often a
//! pattern is; the whole part of a chosen pattern is taken out of the demand, so that a pattern
//! which is more than what is left drops out. Depth first, what is nearest to whole first.

use std::{collections::BTreeMap, rc::Rc};

use super::{
    levels::{Found, Level, WHOLE, What, float, nearest},
    pattern::{Cost, Counts, Instance},
    search::Solution,
    simplex::{Column, Ended as Run, Simplex},
};

/// What a row that is not kept costs, in the largest cost of a pattern.
const MISSING: f64 = 10_000.0;
/// Prices in whole numbers are so many times those of the program.
const SCALE: i64 = 1 << 22;

/// What is searched for.
pub(super) struct Program<'a> {
    pub instance: &'a Instance,
    pub level: Level,
    /// Earlier levels with what they may not exceed.
    pub held: Vec<(Level, i128)>,
    pub may_be_short: bool,
    /// More bars than wanted may be cut, and are left out in the end: then only patterns that no bar
    /// can be added to are needed.
    pub covering: bool,
    pub patterns: Vec<(usize, Counts, Cost)>,
    /// The level's value that is to be beaten.
    pub beat: i128,
}

struct Tree<'a> {
    program: &'a Program<'a>,
    lp: Simplex,
    what: Vec<What>,
    /// By class: rows that say how many of it may, and must, be used.
    at_most: Vec<Option<usize>>,
    at_least: Vec<Option<usize>>,
    unit: f64,
    left: Vec<u32>,
    pieces: Vec<(usize, Counts)>,
    fixed: i128,
    steps: u64,
    most_steps: u64,
    stop: &'a dyn Fn() -> bool,
    found: Option<Solution>,
    /// Something was left out that might hold a better plan.
    open: bool,
}

/// Searches the list; gives the steps taken too.
pub(super) fn search(
    program: &Program<'_>,
    most_steps: u64,
    stop: &dyn Fn() -> bool,
) -> (Found, u64) {
    let mut tree = Tree::new(program, most_steps, stop);
    if tree.solve(true) {
        tree.node();
    } else {
        tree.open = true;
    }
    let ended = match tree.found {
        Some(solution) => Found::Better(solution),
        None if tree.open => Found::Stopped,
        None => Found::None,
    };
    (ended, tree.steps)
}

impl<'a> Tree<'a> {
    fn new(program: &'a Program<'a>, most_steps: u64, stop: &'a dyn Fn() -> bool) -> Self {
        let instance = program.instance;
        let kinds = instance.kinds.len();
        let bars: u32 = instance.demand.iter().sum();
        let mut rhs: Vec<f64> = instance.demand.iter().map(|&many| many.into()).collect();
        let mut costs = vec![MISSING; kinds];
        let mut what = vec![What::Missing; kinds];
        let classes = instance.classes.len();
        let (mut at_most, mut at_least) = (vec![None; classes], vec![None; classes]);
        for (class, of) in instance.classes.iter().enumerate() {
            if !program.patterns.iter().any(|(used, ..)| *used == class) {
                continue;
            }
            let many = of.available.map_or(bars, |many| many.min(bars));
            at_most[class] = Some(rhs.len());
            rhs.push(many.into());
            costs.push(0.0);
            what.push(What::Left);
            if many > 1 {
                at_least[class] = Some(rhs.len());
                rhs.push(0.0);
                costs.push(MISSING);
                what.push(What::Missing);
            }
        }
        let mut held_row = Vec::new();
        for &(_, most) in &program.held {
            held_row.push(rhs.len());
            rhs.push(float(most));
            costs.push(0.0);
            what.push(What::Left);
        }
        let unit = program
            .patterns
            .iter()
            .map(|(_, _, cost)| float(program.level.of(*cost)).abs())
            .fold(1.0, f64::max);
        let mut lp = Simplex::new(rhs, &costs);
        for row in at_least.iter().flatten() {
            lp.add(Column {
                cost: 0.0,
                entries: vec![(*row, -1.0)],
            });
            what.push(What::Surplus);
        }
        let mut add = |of: What, mut entries: Vec<(usize, f64)>| {
            for (&(level, _), &row) in program.held.iter().zip(&held_row) {
                let adds = of.adds(level);
                if adds != 0 {
                    entries.push((row, float(adds)));
                }
            }
            lp.add(Column {
                cost: float(of.adds(program.level)) / unit,
                entries,
            });
            what.push(of);
        };
        if program.covering {
            for kind in 0..kinds {
                add(What::Surplus, vec![(kind, -1.0)]);
            }
        }
        if program.may_be_short {
            for kind in 0..kinds {
                add(What::Short(kind), vec![(kind, 1.0)]);
            }
        }
        for (class, counts, cost) in &program.patterns {
            let mut entries: Vec<(usize, f64)> = counts
                .iter()
                .enumerate()
                .filter(|(_, count)| **count > 0)
                .map(|(kind, &count)| (kind, count.into()))
                .collect();
            entries.extend(at_most[*class].map(|row| (row, 1.0)));
            entries.extend(at_least[*class].map(|row| (row, 1.0)));
            let of = What::Cut {
                class: *class,
                counts: Rc::clone(counts),
                cost: *cost,
            };
            add(of, entries);
        }
        Self {
            program,
            lp,
            what,
            at_most,
            at_least,
            unit,
            left: instance.demand.clone(),
            pieces: Vec::new(),
            fixed: 0,
            steps: 0,
            most_steps,
            stop,
            found: None,
            open: false,
        }
    }

    /// Solves the program again; false where that did not work.
    fn solve(&mut self, anew: bool) -> bool {
        let before = self.lp.steps;
        let ended = if anew {
            self.lp.primal(50_000)
        } else {
            match self.lp.dual(5_000) {
                Run::Best => self.lp.primal(5_000),
                ended => ended,
            }
        };
        let size = (self.lp.rhs.len() * self.lp.rhs.len() + 4 * self.lp.columns.len()) as u64;
        self.steps += 1 + (self.lp.steps - before) * (1 + size / 512);
        ended == Run::Best
    }

    /// Whether no plan below this node beats what is to be beaten, worked out in whole numbers.
    fn is_beaten(&self) -> bool {
        let scaled = f64::from(u32::try_from(SCALE).unwrap_or(1));
        let mut prices: Vec<i128> = self
            .lp
            .prices
            .iter()
            .map(|price| nearest(price * self.unit * scaled).into())
            .collect();
        if self.program.covering {
            for price in prices.iter_mut().take(self.left.len()) {
                *price = (*price).max(0);
            }
        }
        let mut bound = i128::from(SCALE) * self.fixed;
        for (&price, &rhs) in prices.iter().zip(&self.lp.rhs) {
            bound += price * i128::from(nearest(rhs));
        }
        for (column, what) in self.what.iter().enumerate() {
            if matches!(what, What::Missing) || self.lp.forbidden[column] {
                continue;
            }
            let entries = &self.lp.columns[column].entries;
            let mut reduced = i128::from(SCALE) * what.adds(self.program.level);
            for &(row, entry) in entries {
                reduced -= prices[row] * i128::from(nearest(entry));
            }
            if reduced < 0 {
                bound += reduced * i128::from(self.most_of(what, entries));
            }
        }
        bound > i128::from(SCALE) * (self.program.beat - 1)
    }

    /// The most that a column can be in any plan below this node.
    fn most_of(&self, what: &What, entries: &[(usize, f64)]) -> i64 {
        match what {
            // Not more often than it still brings anything.
            What::Cut { counts, .. } if self.program.covering => counts
                .iter()
                .zip(&self.left)
                .filter(|(count, _)| **count > 0)
                .map(|(count, left)| i64::from(left.div_ceil(*count)))
                .max()
                .unwrap_or(0),
            What::Cut { counts, .. } => counts
                .iter()
                .zip(&self.left)
                .filter(|(count, _)| **count > 0)
                .map(|(count, left)| i64::from(left / count))
                .min()
                .unwrap_or(0),
            What::Short(kind) => self.left[*kind].into(),
            What::Left => entries
                .iter()
                .map(|&(row, _)| nearest(self.lp.rhs[row]).max(0))
                .max()
                .unwrap_or(0),
            What::Surplus => self.left.iter().map(|&left| i64::from(left)).sum(),
            What::Missing => 0,
        }
    }

    fn done(&self) -> bool {
        self.found.is_some()
    }

    /// Searches below a node whose program is solved.
    fn node(&mut self) {
        if self.steps >= self.most_steps || (self.stop)() {
            self.open = true;
            return;
        }
        self.steps += 4 + self.what.len() as u64 / 32;
        let value = self.lp.cost() * self.unit + float(self.fixed);
        if value > float(self.program.beat - 1) + 1e-6 && self.is_beaten() {
            return;
        }
        let used: Vec<(usize, f64)> = self
            .lp
            .basis
            .iter()
            .zip(&self.lp.value)
            .filter(|(_, value)| **value > WHOLE)
            .map(|(&column, &value)| (column, value))
            .collect();
        let fraction = |value: f64| (value - value.round()).abs();
        // How often each class is used, where that is no whole number.
        let mut usage = vec![0.0; self.at_most.len()];
        for &(column, value) in &used {
            if let What::Cut { class, .. } = &self.what[column] {
                usage[*class] += value;
            }
        }
        // What is bought decides most, so it comes first.
        let bought = |class: usize| self.program.instance.classes[class].price_minor.is_some();
        let class = (0..usage.len())
            .filter(|&class| fraction(usage[class]) > WHOLE)
            .max_by(|&a, &b| {
                (bought(a).cmp(&bought(b)))
                    .then(fraction(usage[a]).total_cmp(&fraction(usage[b])))
                    .then(b.cmp(&a))
            });
        if let Some(class) = class {
            self.on_class(class, usage[class]);
            return;
        }
        if let Some((class, kind, many)) = self.split(&used) {
            self.on_count(class, kind, many);
            return;
        }
        let pattern = used
            .iter()
            .filter(|(column, value)| {
                fraction(*value) > WHOLE && matches!(self.what[*column], What::Cut { .. })
            })
            .max_by(|a, b| a.1.fract().total_cmp(&b.1.fract()).then(b.0.cmp(&a.0)));
        if let Some(&(column, value)) = pattern {
            self.on_pattern(column, value);
            return;
        }
        self.whole(&used);
    }

    /// All patterns are used a whole number of times: a plan, if nothing is missing.
    fn whole(&mut self, used: &[(usize, f64)]) {
        let mut pieces = self.pieces.clone();
        let mut short = vec![0_u32; self.left.len()];
        let mut value = self.fixed;
        let mut left: Vec<i64> = self.left.iter().map(|&left| left.into()).collect();
        for &(column, amount) in used {
            let many = nearest(amount);
            value += i128::from(many) * self.what[column].adds(self.program.level);
            match &self.what[column] {
                What::Cut { class, counts, .. } => {
                    for _ in 0..many {
                        pieces.push((*class, Rc::clone(counts)));
                    }
                    for (left, &count) in left.iter_mut().zip(&**counts) {
                        *left -= many * i64::from(count);
                    }
                }
                What::Short(kind) => {
                    short[*kind] += u32::try_from(many).unwrap_or(0);
                    left[*kind] -= many;
                }
                What::Left | What::Surplus => {}
                What::Missing => {
                    self.open = true;
                    return;
                }
            }
        }
        let served = |left: i64| left == 0 || self.program.covering && left < 0;
        if !left.iter().all(|&left| served(left)) || value >= self.program.beat {
            // The program was not as exact as it said, or a proof of it fell short.
            self.open = true;
            return;
        }
        if self.program.covering {
            let mut wanted = self.program.instance.demand.clone();
            for (wanted, short) in wanted.iter_mut().zip(&short) {
                *wanted -= (*short).min(*wanted);
            }
            for (_, counts) in &mut pieces {
                let fewer = counts
                    .iter()
                    .zip(&wanted)
                    .map(|(&count, &left)| count.min(left));
                *counts = fewer.collect();
                for (wanted, count) in wanted.iter_mut().zip(&**counts) {
                    *wanted -= count;
                }
            }
            pieces.retain(|(_, counts)| counts.iter().any(|&count| count > 0));
        }
        self.found = Some(Solution {
            cost: Cost::default(),
            pieces,
            short,
        });
    }

    fn on_class(&mut self, class: usize, usage: f64) {
        let down_first = usage.fract() < 0.5;
        for down in [down_first, !down_first] {
            if self.done() {
                return;
            }
            let saved = self.lp.snapshot();
            match (down, self.at_most[class], self.at_least[class]) {
                (true, Some(row), _) => self.lp.rhs[row] = usage.floor(),
                (false, _, Some(row)) => self.lp.rhs[row] = usage.ceil(),
                // One piece, which must be used.
                (false, Some(row), None) => self.lp.forbidden[row] = true,
                _ => self.open = true,
            }
            self.child();
            self.lp.restore(&saved);
        }
    }

    /// A kind of bar of which a single piece gives a part only: the piece, the kind, and how many it
    /// gives.
    fn split(&self, used: &[(usize, f64)]) -> Option<(usize, usize, f64)> {
        let kinds = self.left.len();
        let mut gives: BTreeMap<(usize, usize), f64> = BTreeMap::new();
        for &(column, value) in used {
            if let What::Cut { class, counts, .. } = &self.what[column]
                && self.at_least[*class].is_none()
                && (value - value.round()).abs() > WHOLE
            {
                for kind in (0..kinds).filter(|&kind| counts[kind] > 0) {
                    *gives.entry((*class, kind)).or_default() += value * f64::from(counts[kind]);
                }
            }
        }
        gives
            .into_iter()
            .map(|((class, kind), many)| (class, kind, many))
            .filter(|(_, _, many)| (many - many.round()).abs() > WHOLE)
            .max_by(|a, b| {
                let fraction = |many: f64| (many - many.round()).abs();
                fraction(a.2)
                    .total_cmp(&fraction(b.2))
                    .then((b.0, b.1).cmp(&(a.0, a.1)))
            })
    }

    /// Either at most so many bars of a kind from a piece, or more.
    fn on_count(&mut self, class: usize, kind: usize, many: f64) {
        let most = u32::try_from(nearest(many.floor())).unwrap_or(0);
        let up_first = many.fract() >= 0.5;
        for up in [up_first, !up_first] {
            if self.done() {
                return;
            }
            let saved = self.lp.snapshot();
            for (column, what) in self.what.iter().enumerate() {
                if let What::Cut {
                    class: of, counts, ..
                } = what
                    && *of == class
                    && (counts[kind] > most) != up
                {
                    self.lp.forbidden[column] = true;
                }
            }
            if let Some(row) = self.at_most[class].filter(|_| up) {
                self.lp.forbidden[row] = true;
            }
            self.child();
            self.lp.restore(&saved);
        }
    }

    fn child(&mut self) {
        self.lp.revalue();
        if self.solve(false) {
            self.node();
        } else {
            self.open = true;
        }
    }

    fn on_pattern(&mut self, column: usize, value: f64) {
        let What::Cut {
            class,
            counts,
            cost,
        } = self.what[column].clone()
        else {
            return;
        };
        let floor = nearest(value.floor());
        // At least the next whole number, or exactly one below it.
        for (many, exactly) in
            std::iter::once((floor + 1, false)).chain((0..=floor).rev().map(|many| (many, true)))
        {
            if self.done() {
                return;
            }
            let count = u32::try_from(many).unwrap_or(u32::MAX);
            let fits = counts
                .iter()
                .zip(&self.left)
                .all(|(&each, &left)| each.saturating_mul(count) <= left);
            if !fits && !self.program.covering {
                continue;
            }
            let saved = self.lp.snapshot();
            let (left, fixed, pieces) = (self.left.clone(), self.fixed, self.pieces.len());
            for &(row, entry) in &self.lp.columns[column].entries {
                self.lp.rhs[row] -= entry * float(many.into());
            }
            for (left, &each) in self.left.iter_mut().zip(&*counts) {
                *left = left.saturating_sub(each.saturating_mul(count));
            }
            self.fixed += i128::from(many) * self.program.level.of(cost);
            for _ in 0..many {
                self.pieces.push((class, Rc::clone(&counts)));
            }
            if exactly {
                self.lp.forbidden[column] = true;
            }
            for (other, what) in self.what.iter().enumerate() {
                if let What::Cut { counts, .. } = what
                    && !self.program.covering
                    && counts
                        .iter()
                        .zip(&self.left)
                        .any(|(count, left)| count > left)
                {
                    self.lp.forbidden[other] = true;
                }
            }
            // What must still be used of the class is less by what was taken.
            let kept = self.at_least[class].into_iter().all(|row| {
                if self.lp.rhs[row] < 0.0 {
                    self.lp.rhs[row] = 0.0;
                }
                true
            }) && self
                .at_most
                .iter()
                .flatten()
                .all(|&row| self.lp.rhs[row] > -0.5);
            if kept && self.held_can_be_kept() {
                self.child();
            }
            self.lp.restore(&saved);
            (self.left, self.fixed) = (left, fixed);
            self.pieces.truncate(pieces);
        }
    }

    /// Nothing that was fixed is more than an earlier level may cost.
    fn held_can_be_kept(&self) -> bool {
        let rows = self.lp.rhs.len();
        let held = self.program.held.len();
        self.program
            .held
            .iter()
            .zip(&self.lp.rhs[rows - held..])
            .all(|(&(level, _), &rhs)| level == Level::Squares || rhs > -0.5)
    }
}
