//! Exact minimum-cost assignment: which spare fixture serves which wanted bar.
//!
//! # Contract
//! Rows are wanted bars, columns are fixtures. A pair is either forbidden or has a
//! [`Cost`]; each row gets at most one column and each column at most one row. Among all
//! such assignments the answer has, in this order,
//! 1. the most rows served,
//! 2. the least sum of [`Cost::primary`] (length mismatch, µm),
//! 3. the least sum of [`Cost::secondary`] (distance of places, in the caller's steps).
//!
//! All three figures are exact and do not depend on the order of rows or columns; which of
//! several equally good assignments is given does, but the same input always gives the
//! same one. There is nothing to be in doubt about, so the answer carries no bound.
//!
//! # Method
//! Shortest augmenting paths with dual potentials (H. W. Kuhn, *The Hungarian method for
//! the assignment problem*, Naval Research Logistics Quarterly 2, 1955; R. Jonker and
//! A. Volgenant, *A shortest augmenting path algorithm for dense and sparse linear
//! assignment problems*, Computing 38, 1987). Costs are ordered triples *(unserved,
//! primary, secondary)*: the method only adds, subtracts and compares, so it holds for them
//! as for numbers; where they are small enough they are packed into one number. Each row may also end a path by going unserved, at cost (1, 0, 0).
//!
//! Time O(rows × (pairs + rows × columns)), memory O(pairs + columns).
//!
//! # Example
//! Two bars, three fixtures. Taking the nearest fixture first for bar 0 would leave bar 1
//! a mismatch of 90 mm; the least sum is 10 + 20.
//! ```
//! use tapewright::plan::assign::{Cost, assign};
//!
//! let mismatch_mm = [[5, 10, 70], [20, 90, 90]];
//! let best = assign(2, 3, |row, column| {
//!     Some(Cost { primary: mismatch_mm[row][column], secondary: 0 })
//! });
//! assert_eq!(best.column_of, [Some(1), Some(0)]);
//! assert_eq!((best.served, best.primary), (2, 30));
//! ```

use std::ops::{Add, Sub};

/// What it costs to let one column serve one row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Cost {
    /// Compared first: length mismatch in µm.
    pub primary: u64,
    /// Compared among equal sums of the first: distance between places.
    pub secondary: u64,
}

/// The best assignment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assignment {
    /// For each row the column that serves it.
    pub column_of: Vec<Option<usize>>,
    /// How many rows are served.
    pub served: usize,
    /// Sum of [`Cost::primary`] over the served rows.
    pub primary: u128,
    /// Sum of [`Cost::secondary`] over the served rows.
    pub secondary: u128,
}

/// An element of the ordered group the method computes in; compared field by field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
struct Lex {
    unserved: i64,
    primary: i128,
    secondary: i128,
}

impl Add for Lex {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            unserved: self.unserved + other.unserved,
            primary: self.primary + other.primary,
            secondary: self.secondary + other.secondary,
        }
    }
}

impl Sub for Lex {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self {
            unserved: self.unserved - other.unserved,
            primary: self.primary - other.primary,
            secondary: self.secondary - other.secondary,
        }
    }
}

/// Turns costs into what the method computes in.
trait Scale {
    type Price: Copy + Ord + Default + Add<Output = Self::Price> + Sub<Output = Self::Price>;
    fn price(&self, cost: Cost) -> Self::Price;
    fn unserved(&self) -> Self::Price;
}

/// Any costs at all.
struct Wide;

impl Scale for Wide {
    type Price = Lex;

    fn price(&self, cost: Cost) -> Lex {
        Lex {
            unserved: 0,
            primary: i128::from(cost.primary),
            secondary: i128::from(cost.secondary),
        }
    }

    fn unserved(&self) -> Lex {
        Lex {
            unserved: 1,
            ..Lex::default()
        }
    }
}

/// Costs small enough that one number orders their sums like the triple, which is several
/// times faster.
struct Packed {
    primary: i64,
    unserved: i64,
}

impl Packed {
    /// `None` when some sum on the way could outgrow the number. A dual value or a distance
    /// is a difference of sums of at most `rows` costs each; eightfold leaves room for all.
    fn new(rows: usize, pairs: &[Vec<(usize, Cost)>]) -> Option<Self> {
        let most = |of: fn(&Cost) -> u64| -> Option<i64> {
            let most = pairs.iter().flatten().map(|(_, cost)| of(cost)).max();
            i64::try_from(most.unwrap_or(0)).ok()
        };
        let sums = i64::try_from(rows).ok()?.checked_add(1)?.checked_mul(8)?;
        let primary = most(|cost| cost.secondary)?
            .checked_mul(sums)?
            .checked_add(1)?;
        let dearest = most(|cost| cost.primary)?
            .checked_add(1)?
            .checked_mul(primary)?;
        let unserved = dearest.checked_mul(sums)?;
        unserved.checked_mul(sums)?;
        Some(Self { primary, unserved })
    }
}

impl Scale for Packed {
    type Price = i64;

    fn price(&self, cost: Cost) -> i64 {
        // In range: `new` has looked at every cost.
        cost.primary.cast_signed() * self.primary + cost.secondary.cast_signed()
    }

    fn unserved(&self) -> i64 {
        self.unserved
    }
}

/// How a shortest path ends.
#[derive(Clone, Copy)]
enum Finish {
    /// In a column that nobody uses.
    Column(usize),
    /// In a row that goes unserved.
    Row(usize),
}

/// Assigns columns to rows at least cost; `cost` gives `None` for a forbidden pair and is
/// asked once per pair. See the module for the contract.
pub fn assign(
    rows: usize,
    columns: usize,
    cost: impl Fn(usize, usize) -> Option<Cost>,
) -> Assignment {
    let pairs: Vec<Vec<(usize, Cost)>> = (0..rows)
        .map(|row| {
            (0..columns)
                .filter_map(|column| cost(row, column).map(|cost| (column, cost)))
                .collect()
        })
        .collect();
    let column_of = match Packed::new(rows, &pairs) {
        Some(scale) => solve(&pairs, columns, &scale),
        None => solve(&pairs, columns, &Wide),
    };
    let mut answer = Assignment {
        column_of,
        served: 0,
        primary: 0,
        secondary: 0,
    };
    for (row, column) in answer.column_of.iter().enumerate() {
        let Some(column) = column else { continue };
        let found = pairs[row].binary_search_by_key(column, |&(column, _)| column);
        if let Ok(at) = found {
            let cost = pairs[row][at].1;
            answer.served += 1;
            answer.primary += u128::from(cost.primary);
            answer.secondary += u128::from(cost.secondary);
        }
    }
    answer
}

fn solve<S: Scale>(pairs: &[Vec<(usize, Cost)>], columns: usize, scale: &S) -> Vec<Option<usize>> {
    let pairs: Vec<Vec<(usize, S::Price)>> = pairs
        .iter()
        .map(|row| {
            let priced = row
                .iter()
                .map(|&(column, cost)| (column, scale.price(cost)));
            priced.collect()
        })
        .collect();
    let mut solver = Solver {
        unserved: scale.unserved(),
        row_price: vec![S::Price::default(); pairs.len()],
        column_price: vec![S::Price::default(); columns],
        row_of: vec![None; columns],
        column_of: vec![None; pairs.len()],
        pairs: &pairs,
    };
    for row in 0..pairs.len() {
        solver.add(row);
    }
    solver.column_of
}

struct Solver<'a, P> {
    pairs: &'a [Vec<(usize, P)>],
    unserved: P,
    /// Dual values: row + column price never exceeds a pair's cost, and equals it where used.
    row_price: Vec<P>,
    column_price: Vec<P>,
    row_of: Vec<Option<usize>>,
    column_of: Vec<Option<usize>>,
}

impl<P> Solver<'_, P>
where
    P: Copy + Ord + Default + Add<Output = P> + Sub<Output = P>,
{
    /// Brings one more row in, along the cheapest chain of changes.
    fn add(&mut self, first: usize) {
        let columns = self.row_of.len();
        let mut distance: Vec<Option<P>> = vec![None; columns];
        let mut reached_from = vec![first; columns];
        let mut settled = vec![false; columns];
        // Rows on the tree with their distance, in the order they were reached.
        let mut tree = vec![(first, P::default())];
        let mut last = 0;
        let mut quit: Option<(P, usize)> = None;

        let (length, finish) = loop {
            let (row, so_far) = tree[last];
            let leave = so_far + self.unserved - self.row_price[row];
            if quit.is_none_or(|(best, _)| leave < best) {
                quit = Some((leave, row));
            }
            for &(column, cost) in &self.pairs[row] {
                if settled[column] {
                    continue;
                }
                let through = so_far + cost - self.row_price[row] - self.column_price[column];
                if distance[column].is_none_or(|known| through < known) {
                    distance[column] = Some(through);
                    reached_from[column] = row;
                }
            }
            let nearest = (0..columns)
                .filter(|&column| !settled[column])
                .filter_map(|column| distance[column].map(|far| (far, column)))
                .min();
            match (nearest, quit) {
                (Some((far, column)), Some((leave, row))) => {
                    if leave < far {
                        break (leave, Finish::Row(row));
                    }
                    settled[column] = true;
                    match self.row_of[column] {
                        None => break (far, Finish::Column(column)),
                        Some(next) => {
                            tree.push((next, far));
                            last = tree.len() - 1;
                        }
                    }
                }
                (_, Some((leave, row))) => break (leave, Finish::Row(row)),
                (_, None) => unreachable!("the row itself can always go unserved"),
            }
        };

        for &(row, far) in &tree {
            if far < length {
                self.row_price[row] = self.row_price[row] + length - far;
            }
        }
        for column in 0..columns {
            if let Some(far) = distance[column].filter(|far| settled[column] && *far < length) {
                self.column_price[column] = self.column_price[column] - (length - far);
            }
        }

        let mut free = match finish {
            Finish::Column(column) => column,
            Finish::Row(row) => match self.column_of[row].take() {
                None => return,
                Some(column) => column,
            },
        };
        loop {
            let row = reached_from[free];
            self.row_of[free] = Some(row);
            match self.column_of[row].replace(free) {
                Some(column) if row != first => free = column,
                _ => return,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Every assignment, tried one by one.
    fn brute(costs: &[Vec<Option<Cost>>], row: usize, used: &mut Vec<bool>) -> (i64, u128, u128) {
        let Some(line) = costs.get(row) else {
            return (0, 0, 0);
        };
        let mut best = brute(costs, row + 1, used);
        best.0 += 1;
        for (column, cost) in line.iter().enumerate() {
            let Some(cost) = cost.filter(|_| !used[column]) else {
                continue;
            };
            used[column] = true;
            let rest = brute(costs, row + 1, used);
            used[column] = false;
            best = best.min((
                rest.0,
                rest.1 + u128::from(cost.primary),
                rest.2 + u128::from(cost.secondary),
            ));
        }
        best
    }

    fn objective(answer: &Assignment) -> (i64, u128, u128) {
        let unserved = answer.column_of.iter().filter(|c| c.is_none()).count();
        (
            i64::try_from(unserved).unwrap_or(i64::MAX),
            answer.primary,
            answer.secondary,
        )
    }

    fn table() -> impl Strategy<Value = Vec<Vec<Option<Cost>>>> {
        (0_usize..6, 0_usize..6).prop_flat_map(|(rows, columns)| {
            let cost = proptest::option::weighted(
                0.6,
                (0_u64..6, 0_u64..4).prop_map(|(primary, secondary)| Cost { primary, secondary }),
            );
            proptest::collection::vec(proptest::collection::vec(cost, columns), rows)
        })
    }

    fn width(costs: &[Vec<Option<Cost>>]) -> usize {
        costs.first().map_or(0, Vec::len)
    }

    proptest! {
        #[test]
        fn equals_trying_every_assignment(costs in table()) {
            let columns = width(&costs);
            let answer = assign(costs.len(), columns, |row, column| costs[row][column]);
            prop_assert_eq!(objective(&answer), brute(&costs, 0, &mut vec![false; columns]));

            // A cost too large to pack, on a column that nobody needs, changes nothing.
            let most = Cost { primary: u64::MAX, secondary: u64::MAX };
            let wide = assign(costs.len() + 1, columns + 1, |row, column| {
                match costs.get(row) {
                    Some(line) => line.get(column).copied().flatten(),
                    None => (column == columns).then_some(most),
                }
            });
            prop_assert_eq!(wide.served, answer.served + 1);
            prop_assert_eq!(wide.primary, answer.primary + u128::from(u64::MAX));
            prop_assert_eq!(wide.secondary, answer.secondary + u128::from(u64::MAX));

            let mut used: Vec<usize> = answer.column_of.iter().copied().flatten().collect();
            prop_assert_eq!(used.len(), answer.served);
            used.sort_unstable();
            used.dedup();
            prop_assert_eq!(used.len(), answer.served, "a column serves one row only");
            for (row, column) in answer.column_of.iter().enumerate() {
                prop_assert!(column.is_none_or(|column| costs[row][column].is_some()));
            }
        }

        #[test]
        fn the_order_of_rows_and_columns_does_not_change_the_objective(costs in table()) {
            let (rows, columns) = (costs.len(), width(&costs));
            let plain = assign(rows, columns, |row, column| costs[row][column]);
            let turned = assign(rows, columns, |row, column| {
                costs[rows - 1 - row][columns - 1 - column]
            });
            prop_assert_eq!(objective(&plain), objective(&turned));
        }
    }

    #[test]
    fn serving_more_bars_counts_before_any_mismatch() {
        // Row 0 likes column 0, which is the only one that row 1 can use.
        let costs = [[Some(0), Some(1_000_000)], [Some(7), None]];
        let answer = assign(2, 2, |row, column| {
            costs[row][column].map(|primary| Cost {
                primary,
                secondary: 0,
            })
        });
        assert_eq!(answer.column_of, [Some(1), Some(0)]);
        assert_eq!((answer.served, answer.primary), (2, 1_000_007));
    }

    #[test]
    fn the_largest_costs_do_not_overflow() {
        let most = Cost {
            primary: u64::MAX,
            secondary: u64::MAX,
        };
        let answer = assign(3, 3, |_, _| Some(most));
        assert_eq!(answer.served, 3);
        assert_eq!(answer.primary, 3 * u128::from(u64::MAX));
        assert!(Packed::new(3, &[vec![(0, most)]]).is_none());
    }
}
