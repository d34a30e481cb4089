//! Column generation: which patterns would be used if pieces could be cut in fractions.
//!
//! # Method
//! The linear relaxation of the cutting problem by money alone, solved by the simplex method
//! with patterns made when they are needed, each by a knapsack over the lengths (P. C.
//! Gilmore and R. E. Gomory, *A linear programming approach to the cutting-stock problem*,
//! Operations Research 9, 1961). It is computed in floating point, and nothing rests on its
//! exactness: its prices become whole-number weights, whose bound [`super::bound`] works out
//! again in whole numbers, and its patterns become a start whose cost is counted anew.

use std::rc::Rc;

use super::pattern::{Counts, Instance};

/// Beyond these sizes the relaxation is left out.
const MOST_ROWS: usize = 60;
const MOST_POSITIONS: usize = 5_000;
const MOST_PIVOTS: usize = 300;
/// Whole-number weights are prices times this over the dearest price: a bound loses at most
/// one part in this many for each bar.
const SCALE: f64 = 4_000_000.0;
/// What counts as nought among reduced costs, relative to the dearest roll.
const NEAR_NOUGHT: f64 = 1e-9;

/// What the relaxation is good for.
pub(super) struct Relaxation {
    /// Weights of the kinds for a bound.
    pub weight: Vec<i64>,
    /// Patterns used a whole number of times, rounded down.
    pub pieces: Vec<(usize, Counts)>,
}

/// A column of the simplex method.
#[derive(Clone)]
enum Column {
    /// Bars not cut, at a price above all rolls.
    Missing,
    /// More bars than wanted.
    Surplus(usize),
    /// Pieces of a limited class left over.
    Left(usize),
    /// A piece of a class cut to a pattern.
    Cut(usize, Vec<u32>),
}

struct Simplex<'a> {
    instance: &'a Instance,
    /// For each class its row, if it is limited.
    row_of: Vec<Option<usize>>,
    price: Vec<f64>,
    missing: f64,
    basis: Vec<Column>,
    value: Vec<f64>,
    inverse: Vec<Vec<f64>>,
    /// By kind, in steps of length.
    takes: Vec<usize>,
    /// By class, in steps of length.
    room: Vec<usize>,
}

/// Solves the relaxation; `None` where it is too large or there is nothing to buy.
pub(super) fn relax(instance: &Instance) -> Option<Relaxation> {
    let mut simplex = Simplex::new(instance)?;
    let mut prices = simplex.prices();
    for _ in 0..MOST_PIVOTS {
        let Some(entering) = simplex.entering(&prices) else {
            break;
        };
        if !simplex.pivot(entering) {
            break;
        }
        prices = simplex.prices();
    }
    let dearest = prices
        .iter()
        .take(instance.kinds.len())
        .copied()
        .fold(0.0, f64::max);
    if dearest <= 0.0 {
        return None;
    }
    let weight = prices
        .iter()
        .take(instance.kinds.len())
        .map(|price| i64::from(whole(price / dearest * SCALE)))
        .collect();
    let mut pieces = Vec::new();
    for (column, value) in simplex.basis.iter().zip(&simplex.value) {
        if let Column::Cut(class, counts) = column {
            let counts: Counts = Rc::from(counts.as_slice());
            for _ in 0..whole(value + 1e-6) {
                pieces.push((*class, Rc::clone(&counts)));
            }
        }
    }
    Some(Relaxation { weight, pieces })
}

/// Rounded down to a whole number, nought if below.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "kept within range just before"
)]
fn whole(value: f64) -> u32 {
    value.clamp(0.0, f64::from(u32::MAX)).floor() as u32
}

impl<'a> Simplex<'a> {
    #[expect(
        clippy::cast_precision_loss,
        reason = "prices only steer the search; the bound is worked out again in whole numbers"
    )]
    fn new(instance: &'a Instance) -> Option<Self> {
        let kinds = instance.kinds.len();
        let mut rows = kinds;
        let row_of: Vec<_> = instance
            .classes
            .iter()
            .map(|class| {
                class.available.map(|_| {
                    rows += 1;
                    rows - 1
                })
            })
            .collect();
        let price: Vec<f64> = instance
            .classes
            .iter()
            .map(|class| class.price_minor.unwrap_or(0) as f64)
            .collect();
        let dearest = price.iter().copied().fold(0.0, f64::max);
        let step = instance.step();
        let takes: Vec<usize> = (0..kinds)
            .map(|kind| usize::try_from(instance.takes(kind) / step).ok())
            .collect::<Option<_>>()?;
        let room: Vec<usize> = instance
            .classes
            .iter()
            .map(|class| usize::try_from(instance.room(class) / step).ok())
            .collect::<Option<_>>()?;
        let longest = room.iter().copied().max()?;
        if rows > MOST_ROWS || longest > MOST_POSITIONS || dearest <= 0.0 {
            return None;
        }
        let mut basis = vec![Column::Missing; kinds];
        let mut value: Vec<f64> = instance
            .demand
            .iter()
            .map(|&count| f64::from(count))
            .collect();
        for (class, of) in instance.classes.iter().enumerate() {
            if let Some(available) = of.available {
                basis.push(Column::Left(class));
                value.push(f64::from(available));
            }
        }
        let inverse = (0..rows)
            .map(|row| (0..rows).map(|at| f64::from(u8::from(row == at))).collect())
            .collect();
        Some(Self {
            instance,
            row_of,
            missing: dearest * 10.0,
            price,
            basis,
            value,
            inverse,
            takes,
            room,
        })
    }

    fn cost(&self, column: &Column) -> f64 {
        match column {
            Column::Missing => self.missing,
            Column::Surplus(_) | Column::Left(_) => 0.0,
            Column::Cut(class, _) => self.price[*class],
        }
    }

    /// What one bar of each kind and one piece of each limited class is worth.
    fn prices(&self) -> Vec<f64> {
        let mut prices = vec![0.0; self.basis.len()];
        for (column, row) in self.basis.iter().zip(&self.inverse) {
            let cost = self.cost(column);
            if cost != 0.0 {
                for (price, entry) in prices.iter_mut().zip(row) {
                    *price += cost * entry;
                }
            }
        }
        prices
    }

    /// The column that promises most, if any promises anything.
    fn entering(&self, prices: &[f64]) -> Option<Column> {
        let mut best: Option<(f64, Column)> = None;
        let mut offer = |reduced: f64, column: &dyn Fn() -> Column| {
            let good = reduced < -NEAR_NOUGHT * self.missing;
            if good && best.as_ref().is_none_or(|(known, _)| reduced < *known) {
                best = Some((reduced, column()));
            }
        };
        for (kind, &price) in prices.iter().enumerate().take(self.takes.len()) {
            offer(price, &|| Column::Surplus(kind));
        }
        let longest = self.room.iter().copied().max().unwrap_or(0);
        let (worth, last) = self.knapsack(prices, longest);
        for (class, &room) in self.room.iter().enumerate() {
            let own = self.row_of[class].map_or(0.0, |row| prices[row]);
            if self.row_of[class].is_some() {
                offer(-own, &|| Column::Left(class));
            }
            offer(self.price[class] - worth[room] - own, &|| {
                let mut counts = vec![0; self.takes.len()];
                let mut at = room;
                while let Some(kind) = last[at] {
                    if kind < counts.len() {
                        counts[kind] += 1;
                        at -= self.takes[kind];
                    } else {
                        at -= 1;
                    }
                }
                Column::Cut(class, counts)
            });
        }
        best.map(|(_, column)| column)
    }

    /// The most worth that fits each length, and the kind laid last there; one more than the
    /// last kind stands for a step left empty.
    fn knapsack(&self, prices: &[f64], longest: usize) -> (Vec<f64>, Vec<Option<usize>>) {
        let mut worth = vec![0.0; longest + 1];
        let mut last = vec![None; longest + 1];
        for at in 1..=longest {
            worth[at] = worth[at - 1];
            last[at] = Some(self.takes.len());
            for (kind, &takes) in self.takes.iter().enumerate() {
                if takes <= at && prices[kind] > 0.0 && self.instance.demand[kind] > 0 {
                    let with = worth[at - takes] + prices[kind];
                    if with > worth[at] {
                        worth[at] = with;
                        last[at] = Some(kind);
                    }
                }
            }
        }
        (worth, last)
    }

    /// Brings a column into the basis; false when it can't be.
    fn pivot(&mut self, entering: Column) -> bool {
        let rows = self.basis.len();
        let mut column = vec![0.0; rows];
        match &entering {
            Column::Missing => {}
            Column::Surplus(kind) => column[*kind] = -1.0,
            Column::Left(class) => {
                if let Some(row) = self.row_of[*class] {
                    column[row] = 1.0;
                }
            }
            Column::Cut(class, counts) => {
                for (entry, &count) in column.iter_mut().zip(counts) {
                    *entry = f64::from(count);
                }
                if let Some(row) = self.row_of[*class] {
                    column[row] = 1.0;
                }
            }
        }
        let direction: Vec<f64> = self
            .inverse
            .iter()
            .map(|row| row.iter().zip(&column).map(|(a, b)| a * b).sum())
            .collect();
        let leaving = (0..rows)
            .filter(|&row| direction[row] > 1e-9)
            .map(|row| (self.value[row] / direction[row], row))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let Some((step, leaving)) = leaving else {
            return false;
        };
        let scale = direction[leaving];
        for entry in &mut self.inverse[leaving] {
            *entry /= scale;
        }
        let pivot_row = self.inverse[leaving].clone();
        for (row, along) in direction.into_iter().enumerate() {
            if row == leaving {
                self.value[row] = step;
            } else if along != 0.0 {
                for (entry, pivot) in self.inverse[row].iter_mut().zip(&pivot_row) {
                    *entry -= along * pivot;
                }
                self.value[row] = (self.value[row] - along * step).max(0.0);
            }
        }
        self.basis[leaving] = entering;
        true
    }
}
