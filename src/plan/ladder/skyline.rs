//! A symmetric positive definite matrix, each row kept from its first entry to the diagonal, and
//! its direct solution by `LDLᵀ`.
//!
//! Factors stay within these rows, so a ladder costs its length times the square of its width, and
//! each loop one long row for each conductor.

/// The most entries held: 32 MB.
const MOST_ENTRIES: usize = 4_000_000;

/// The matrix, or its factors after [`Self::factor`].
pub(super) struct Skyline {
    /// Column of each row's first entry.
    first: Vec<usize>,
    /// Where each row begins in `entries`; one more than there are rows.
    begin: Vec<usize>,
    entries: Vec<f64>,
}

impl Skyline {
    /// Rows with room from their first column to the diagonal; `None` where these are too many
    /// entries to hold.
    pub(super) fn new(first: Vec<usize>) -> Option<Self> {
        let mut begin = Vec::with_capacity(first.len() + 1);
        let mut total = 0;
        begin.push(0);
        for (row, &column) in first.iter().enumerate() {
            total += row + 1 - column;
            begin.push(total);
        }
        (total <= MOST_ENTRIES).then(|| Self {
            first,
            begin,
            entries: vec![0.0; total],
        })
    }

    /// Everything back to nothing.
    pub(super) fn clear(&mut self) {
        self.entries.fill(0.0);
    }

    /// Adds to an entry at or below the diagonal, in either order of its two numbers.
    pub(super) fn add(&mut self, a: usize, b: usize, value: f64) {
        let (row, column) = if a > b { (a, b) } else { (b, a) };
        self.entries[self.begin[row] + column - self.first[row]] += value;
    }

    /// Replaces the matrix by its factors: L below the diagonal, D on it. `false` where it is not
    /// positive definite as far as can be told.
    pub(super) fn factor(&mut self) -> bool {
        for row in 0..self.first.len() {
            let (first, begin) = (self.first[row], self.begin[row]);
            let (done, rest) = self.entries.split_at_mut(begin);
            let this = &mut rest[..=row - first];
            for column in first..row {
                let from = first.max(self.first[column]);
                let other = &done[self.begin[column] + from - self.first[column]
                    ..self.begin[column] + column - self.first[column]];
                let mine = &this[from - first..column - first];
                let sum: f64 = mine.iter().zip(other).map(|(a, b)| a * b).sum();
                this[column - first] -= sum;
            }
            let mut diagonal = this[row - first];
            for column in first..row {
                let scaled = this[column - first];
                let factor = scaled / done[self.begin[column + 1] - 1];
                diagonal -= factor * scaled;
                this[column - first] = factor;
            }
            this[row - first] = diagonal;
            if diagonal.is_nan() || diagonal <= 0.0 {
                return false;
            }
        }
        true
    }

    /// Solves with the factors, in place.
    pub(super) fn solve(&self, right: &mut [f64]) {
        let rows = self.first.len();
        for row in 0..rows {
            let factors = &self.entries[self.begin[row]..self.begin[row + 1] - 1];
            let known = &right[self.first[row]..row];
            let sum: f64 = factors.iter().zip(known).map(|(a, b)| a * b).sum();
            right[row] -= sum;
        }
        for (row, value) in right.iter_mut().enumerate() {
            *value /= self.entries[self.begin[row + 1] - 1];
        }
        for row in (0..rows).rev() {
            let factors = &self.entries[self.begin[row]..self.begin[row + 1] - 1];
            let (before, rest) = right.split_at_mut(row);
            let value = rest[0];
            for (target, factor) in before[self.first[row]..].iter_mut().zip(factors) {
                *target -= factor * value;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_system_comes_out_as_by_hand() {
        // 4x + y = 9, x + 3y + z = 13, y + 2z = 10: x = 1.5, y = 3, z = 3.5 … checked below by
        // putting the answer back in.
        let mut matrix = Skyline::new(vec![0, 0, 1]).expect("a small one");
        for (a, b, value) in [
            (0, 0, 4.0),
            (0, 1, 1.0),
            (1, 1, 3.0),
            (2, 1, 1.0),
            (2, 2, 2.0),
        ] {
            matrix.add(a, b, value);
        }
        assert!(matrix.factor());
        let mut x = [9.0, 13.0, 10.0];
        matrix.solve(&mut x);
        let back = [
            4.0 * x[0] + x[1],
            x[0] + 3.0 * x[1] + x[2],
            x[1] + 2.0 * x[2],
        ];
        for (found, wanted) in back.iter().zip([9.0, 13.0, 10.0]) {
            assert!((found - wanted).abs() < 1e-12, "{back:?}");
        }
    }

    #[test]
    fn what_would_not_fit_is_refused() {
        assert!(Skyline::new(vec![0; 3_000]).is_none());
    }

    #[test]
    fn what_is_not_positive_definite_is_said() {
        let mut matrix = Skyline::new(vec![0, 0]).expect("a small one");
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, 2.0);
        matrix.add(1, 1, 1.0);
        assert!(!matrix.factor());
    }
}
