//! How many equal bins some sizes need.

use std::collections::BTreeSet;

/// Looks that a search may take before what it has refuted so far stands.
const LOOKS: u32 = 2_000;

/// The fewest bins of one capacity that hold all sizes, or fewer where the search is too long: never
/// more than are needed. Sizes above the capacity have a bin each.
pub(super) fn at_least(mut sizes: Vec<i64>, capacity: i64) -> i64 {
    sizes.retain(|size| *size > 0);
    sizes.sort_unstable_by_key(|size| std::cmp::Reverse(*size));
    let large = sizes.partition_point(|size| *size > capacity);
    let small = &sizes[large..];
    let sum: i64 = small.iter().sum();
    let mut bins = if sum > 0 { (sum - 1) / capacity + 1 } else { 0 };
    let mut looks = LOOKS;
    loop {
        let mut filled = vec![0; usize::try_from(bins).unwrap_or(0)];
        if fit(small, capacity, &mut filled, &mut looks) != Some(false) {
            return bins + i64::try_from(large).unwrap_or(0);
        }
        bins += 1;
    }
}

/// Whether sizes, the largest first, go into bins that are filled so far; `None` where the looks ran
/// out.
fn fit(sizes: &[i64], capacity: i64, filled: &mut [i64], looks: &mut u32) -> Option<bool> {
    let Some((size, rest)) = sizes.split_first() else {
        return Some(true);
    };
    *looks = looks.checked_sub(1)?;
    let mut met = BTreeSet::new();
    for bin in 0..filled.len() {
        // Bins that are filled alike are alike.
        if filled[bin] + size > capacity || !met.insert(filled[bin]) {
            continue;
        }
        filled[bin] += size;
        let found = fit(rest, capacity, filled, looks);
        filled[bin] -= size;
        if found != Some(false) {
            return found;
        }
    }
    Some(false)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Every way to put sizes into bins, one by one.
    fn brute(sizes: &[i64], capacity: i64, filled: &mut Vec<i64>) -> i64 {
        let Some((size, rest)) = sizes.split_first() else {
            return i64::try_from(filled.len()).unwrap();
        };
        filled.push(*size);
        let mut best = brute(rest, capacity, filled);
        filled.pop();
        for bin in 0..filled.len() {
            if filled[bin] + size <= capacity {
                filled[bin] += size;
                best = best.min(brute(rest, capacity, filled));
                filled[bin] -= size;
            }
        }
        best
    }

    proptest! {
        #[test]
        fn equals_trying_every_way(sizes in proptest::collection::vec(1_i64..30, 0..7)) {
            prop_assert_eq!(at_least(sizes.clone(), 20), brute(&sizes, 20, &mut Vec::new()));
        }
    }

    #[test]
    fn more_than_the_sum_asks_for() {
        // Two of 1,200 do not share 2,250, though their sum would say so.
        assert_eq!(at_least(vec![1_200; 15], 2_250), 15);
        assert_eq!(at_least(vec![1_080; 5], 2_250), 3);
        assert_eq!(at_least(vec![0, 0], 2_250), 0);
    }
}
