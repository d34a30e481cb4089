//! Linear programs in floating point: columns that are made as they are needed, warm starts.
//!
//! # Method
//! The revised simplex method with an explicit inverse (V. Chvátal, *Linear Programming*, Freeman
//! 1983, chapters 7 and 10): primal steps where columns were added or costs changed, dual steps
//! where right-hand sides changed or columns were forbidden. All rows are equations; what may be
//! left over has a column of its own. Nothing that is claimed rests on its exactness: its prices
//! become whole numbers, and what they prove is worked out again in those ([`super::price`]).

/// What counts as nought.
const NEAR: f64 = 1e-9;
/// The least pivot that is taken.
const PIVOT: f64 = 1e-7;
/// Steps after which the inverse is made anew.
const REFRESH: u32 = 120;

/// A column: its cost, and its entries by row.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub cost: f64,
    pub entries: Vec<(usize, f64)>,
}

/// A linear program with its current basis.
#[derive(Debug, Clone)]
pub(super) struct Simplex {
    pub columns: Vec<Column>,
    /// Columns that must stay nought.
    pub forbidden: Vec<bool>,
    pub rhs: Vec<f64>,
    /// The column of each row.
    pub basis: Vec<usize>,
    is_basic: Vec<bool>,
    inverse: Vec<Vec<f64>>,
    /// The value of each row's column.
    pub value: Vec<f64>,
    /// The price of each row.
    pub prices: Vec<f64>,
    since_refresh: u32,
    /// Steps taken.
    pub steps: u64,
}

/// Where a program stands, without its columns.
#[derive(Debug, Clone)]
pub(super) struct Snapshot {
    forbidden: Vec<bool>,
    rhs: Vec<f64>,
    basis: Vec<usize>,
    is_basic: Vec<bool>,
    inverse: Vec<Vec<f64>>,
    value: Vec<f64>,
    prices: Vec<f64>,
    since_refresh: u32,
}

/// How a run of steps ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ended {
    Best,
    /// No values keep to the rows.
    Impossible,
    /// The steps were used up, or the numbers went bad.
    Stuck,
}

impl Simplex {
    /// A program whose rows each begin with a column of their own, of cost `costs` and value
    /// `rhs`, which may not be negative.
    pub fn new(rhs: Vec<f64>, costs: &[f64]) -> Self {
        let rows = rhs.len();
        Self {
            columns: costs
                .iter()
                .enumerate()
                .map(|(row, &cost)| Column {
                    cost,
                    entries: vec![(row, 1.0)],
                })
                .collect(),
            forbidden: vec![false; rows],
            basis: (0..rows).collect(),
            is_basic: vec![true; rows],
            inverse: (0..rows)
                .map(|row| (0..rows).map(|at| f64::from(u8::from(at == row))).collect())
                .collect(),
            value: rhs.clone(),
            prices: costs.to_vec(),
            rhs,
            since_refresh: 0,
            steps: 0,
        }
    }

    pub fn add(&mut self, column: Column) {
        self.columns.push(column);
        self.forbidden.push(false);
        self.is_basic.push(false);
    }

    /// Adds a row `entries · x + left = rhs`, where `entries` is by column and `left` a new column
    /// without cost, which takes up what the present values leave.
    pub fn add_row(&mut self, entries: &[(usize, f64)], rhs: f64) {
        let row = self.rhs.len();
        let mut along = vec![0.0; row];
        let mut reached = 0.0;
        for &(column, entry) in entries {
            self.columns[column].entries.push((row, entry));
        }
        for (at, &column) in self.basis.iter().enumerate() {
            if let Some(&(_, entry)) = self.columns[column]
                .entries
                .last()
                .filter(|(r, _)| *r == row)
            {
                reached += entry * self.value[at];
                for (sum, part) in along.iter_mut().zip(&self.inverse[at]) {
                    *sum -= entry * part;
                }
            }
        }
        for line in &mut self.inverse {
            line.push(0.0);
        }
        along.push(1.0);
        self.inverse.push(along);
        self.rhs.push(rhs);
        self.value.push((rhs - reached).max(0.0));
        self.prices.push(0.0);
        self.basis.push(self.columns.len());
        self.columns.push(Column {
            cost: 0.0,
            entries: vec![(row, 1.0)],
        });
        self.forbidden.push(false);
        self.is_basic.push(true);
    }

    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            forbidden: self.forbidden.clone(),
            rhs: self.rhs.clone(),
            basis: self.basis.clone(),
            is_basic: self.is_basic.clone(),
            inverse: self.inverse.clone(),
            value: self.value.clone(),
            prices: self.prices.clone(),
            since_refresh: self.since_refresh,
        }
    }

    /// Goes back to where it stood; columns added since stay, unused.
    pub fn restore(&mut self, snapshot: &Snapshot) {
        let columns = self.columns.len();
        self.forbidden.clone_from(&snapshot.forbidden);
        self.forbidden.resize(columns, false);
        self.rhs.clone_from(&snapshot.rhs);
        self.basis.clone_from(&snapshot.basis);
        self.is_basic.clone_from(&snapshot.is_basic);
        self.is_basic.resize(columns, false);
        self.inverse.clone_from(&snapshot.inverse);
        self.value.clone_from(&snapshot.value);
        self.prices.clone_from(&snapshot.prices);
        self.since_refresh = snapshot.since_refresh;
    }

    /// What the present values cost.
    pub fn cost(&self) -> f64 {
        self.basis
            .iter()
            .zip(&self.value)
            .map(|(&column, value)| self.columns[column].cost * value)
            .sum()
    }

    /// Prices from the costs as they are now.
    pub fn reprice(&mut self) {
        let mut prices = vec![0.0; self.rhs.len()];
        for (&column, line) in self.basis.iter().zip(&self.inverse) {
            let cost = self.columns[column].cost;
            if cost != 0.0 {
                for (price, part) in prices.iter_mut().zip(line) {
                    *price += cost * part;
                }
            }
        }
        self.prices = prices;
    }

    /// Values from the right-hand sides as they are now.
    pub fn revalue(&mut self) {
        for (value, line) in self.value.iter_mut().zip(&self.inverse) {
            *value = line.iter().zip(&self.rhs).map(|(a, b)| a * b).sum();
        }
    }

    fn reduced(&self, column: usize) -> f64 {
        let Column { cost, entries } = &self.columns[column];
        entries
            .iter()
            .fold(*cost, |sum, &(row, entry)| sum - self.prices[row] * entry)
    }

    /// Cost per unit below which a column is worth entering.
    fn worthwhile(&self) -> f64 {
        let dearest = self
            .basis
            .iter()
            .map(|&column| self.columns[column].cost.abs())
            .fold(1.0, f64::max);
        -NEAR * dearest.min(1e6)
    }

    /// Primal steps until nothing that is there is worth entering.
    pub fn primal(&mut self, most: u64) -> Ended {
        let until = self.steps + most;
        let mut stalled = 0_u32;
        loop {
            if self.steps >= until {
                return Ended::Stuck;
            }
            let mut best = self.worthwhile();
            let mut entering = None;
            for column in 0..self.columns.len() {
                if self.is_basic[column] || self.forbidden[column] {
                    continue;
                }
                let reduced = self.reduced(column);
                if reduced < best {
                    best = reduced;
                    entering = Some(column);
                    // After many steps without gain the first that is worthwhile: no cycles.
                    if stalled > 200 {
                        break;
                    }
                }
            }
            let Some(entering) = entering else {
                return Ended::Best;
            };
            let direction = self.direction(entering);
            let mut leaving: Option<(f64, f64, usize)> = None;
            for (row, &along) in direction.iter().enumerate() {
                if along > PIVOT {
                    let step = self.value[row].max(0.0) / along;
                    let better = leaving.is_none_or(|(known, pivot, _)| {
                        step < known - 1e-12 || (step <= known + 1e-12 && along > pivot)
                    });
                    if better {
                        leaving = Some((step, along, row));
                    }
                }
            }
            let Some((step, _, row)) = leaving else {
                return Ended::Stuck;
            };
            stalled = if step * -best < 1e-9 { stalled + 1 } else { 0 };
            if stalled > 5_000 {
                return Ended::Stuck;
            }
            self.pivot(row, entering, &direction);
        }
    }

    /// Dual steps until no value is negative and nothing forbidden is used.
    pub fn dual(&mut self, most: u64) -> Ended {
        let until = self.steps + most;
        loop {
            if self.steps >= until {
                return Ended::Stuck;
            }
            let mut worst = 1e-7;
            let mut leaving = None;
            for (row, &value) in self.value.iter().enumerate() {
                let wrong = if value < 0.0 {
                    -value
                } else if self.forbidden[self.basis[row]] {
                    value
                } else {
                    0.0
                };
                if wrong > worst {
                    worst = wrong;
                    leaving = Some(row);
                }
            }
            let Some(row) = leaving else {
                return Ended::Best;
            };
            let falls = self.value[row] > 0.0;
            let line = &self.inverse[row];
            let mut entering: Option<(f64, f64, usize)> = None;
            for (column, of) in self.columns.iter().enumerate() {
                if self.is_basic[column] || self.forbidden[column] {
                    continue;
                }
                let along: f64 = of.entries.iter().map(|&(at, entry)| line[at] * entry).sum();
                let pull = if falls { along } else { -along };
                if pull > PIVOT {
                    let ratio = self.reduced(column).max(0.0) / pull;
                    let better = entering.is_none_or(|(known, pivot, _)| {
                        ratio < known - 1e-12 || (ratio <= known + 1e-12 && pull > pivot)
                    });
                    if better {
                        entering = Some((ratio, pull, column));
                    }
                }
            }
            let Some((_, _, entering)) = entering else {
                return Ended::Impossible;
            };
            let direction = self.direction(entering);
            if direction[row].abs() < PIVOT {
                if self.since_refresh == 0 || !self.refresh() {
                    return Ended::Stuck;
                }
                continue;
            }
            self.pivot(row, entering, &direction);
        }
    }

    fn direction(&self, column: usize) -> Vec<f64> {
        let entries = &self.columns[column].entries;
        self.inverse
            .iter()
            .map(|line| entries.iter().map(|&(row, entry)| line[row] * entry).sum())
            .collect()
    }

    fn pivot(&mut self, row: usize, entering: usize, direction: &[f64]) {
        self.steps += 1;
        let reduced = self.reduced(entering);
        let scale = direction[row];
        let step = self.value[row] / scale;
        let mut line = std::mem::take(&mut self.inverse[row]);
        for part in &mut line {
            *part /= scale;
        }
        for (at, &along) in direction.iter().enumerate() {
            if at != row && along != 0.0 {
                for (part, of) in self.inverse[at].iter_mut().zip(&line) {
                    *part -= along * of;
                }
                self.value[at] -= along * step;
            }
        }
        self.value[row] = step;
        for (price, of) in self.prices.iter_mut().zip(&line) {
            *price += reduced * of;
        }
        self.inverse[row] = line;
        self.is_basic[self.basis[row]] = false;
        self.is_basic[entering] = true;
        self.basis[row] = entering;
        self.since_refresh += 1;
        if self.since_refresh >= REFRESH {
            self.refresh();
        }
    }

    /// Makes the inverse anew from the basis; false where that can't be done.
    fn refresh(&mut self) -> bool {
        let rows = self.rhs.len();
        let mut left: Vec<Vec<f64>> = vec![vec![0.0; rows]; rows];
        for (at, &column) in self.basis.iter().enumerate() {
            for &(row, entry) in &self.columns[column].entries {
                left[row][at] = entry;
            }
        }
        let mut right: Vec<Vec<f64>> = (0..rows)
            .map(|row| (0..rows).map(|at| f64::from(u8::from(at == row))).collect())
            .collect();
        for at in 0..rows {
            let best = (at..rows)
                .max_by(|&a, &b| left[a][at].abs().total_cmp(&left[b][at].abs()))
                .unwrap_or(at);
            if left[best][at].abs() < 1e-11 {
                return false;
            }
            left.swap(at, best);
            right.swap(at, best);
            let scale = left[at][at];
            for entry in left[at].iter_mut().skip(at) {
                *entry /= scale;
            }
            for entry in &mut right[at] {
                *entry /= scale;
            }
            let (pivot_left, pivot_right) = (left[at].clone(), right[at].clone());
            for row in 0..rows {
                let along = left[row][at];
                if row != at && along != 0.0 {
                    for (entry, of) in left[row].iter_mut().zip(&pivot_left).skip(at) {
                        *entry -= along * of;
                    }
                    for (entry, of) in right[row].iter_mut().zip(&pivot_right) {
                        *entry -= along * of;
                    }
                }
            }
        }
        self.inverse = right;
        self.since_refresh = 0;
        self.revalue();
        self.reprice();
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two rows of demand 3 and 4; each row's own column is dear.
    fn small() -> Simplex {
        let mut lp = Simplex::new(vec![3.0, 4.0], &[100.0, 100.0]);
        for (cost, a, b) in [(2.0, 1.0, 0.0), (3.0, 0.0, 1.0), (4.0, 1.0, 1.0)] {
            lp.add(Column {
                cost,
                entries: vec![(0, a), (1, b)],
            });
        }
        lp
    }

    // By hand: three of the column that serves both, one of the second.
    #[test]
    fn primal_steps_find_the_least_cost() {
        let mut lp = small();
        assert_eq!(lp.primal(100), Ended::Best);
        assert!((lp.cost() - 15.0).abs() < 1e-9);
    }

    // By hand: without the third column it is 3·2 + 4·3; with less wanted, less.
    #[test]
    fn dual_steps_follow_what_is_forbidden_and_what_is_wanted() {
        let mut lp = small();
        assert_eq!(lp.primal(100), Ended::Best);
        lp.forbidden[4] = true;
        assert_eq!(lp.dual(100), Ended::Best);
        assert!((lp.cost() - 18.0).abs() < 1e-9);
        lp.rhs = vec![1.0, 0.0];
        lp.revalue();
        assert_eq!(lp.dual(100), Ended::Best);
        assert!((lp.cost() - 2.0).abs() < 1e-9);
    }

    // By hand: at most two of the third column leaves 1·2 + 2·3 beside them.
    #[test]
    fn a_row_added_later_is_kept() {
        let mut lp = small();
        assert_eq!(lp.primal(100), Ended::Best);
        lp.add_row(&[(4, 1.0)], 2.0);
        lp.revalue();
        assert_eq!(lp.dual(100), Ended::Best);
        assert!((lp.cost() - 16.0).abs() < 1e-9, "{}", lp.cost());
        assert!(lp.refresh());
        assert!((lp.cost() - 16.0).abs() < 1e-9);
    }
}
