//! The assignment against an implementation of the published method that we did not write:
//! `kuhn_munkres` of the `pathfinding` crate (J. Munkres, *Algorithms for the assignment
//! and transportation problems*, J. SIAM 5, 1957).

use pathfinding::{kuhn_munkres::kuhn_munkres_min, matrix::Matrix};
use proptest::prelude::*;
use tapewright::plan::assign::{Cost, assign};

/// One number that orders like (unserved, primary, secondary) for sums over 60 rows.
const SECONDARY: i128 = 1 << 24;
const UNSERVED: i128 = 1 << 60;

fn reference(costs: &[Vec<Option<Cost>>], columns: usize) -> i128 {
    // One more column per row stands for 'unserved', so that every row finds a place.
    let wide = columns + costs.len();
    let matrix = Matrix::from_fn(costs.len(), wide, |(row, column)| {
        costs[row]
            .get(column)
            .copied()
            .flatten()
            .map_or(UNSERVED, |cost| {
                i128::from(cost.primary) * SECONDARY + i128::from(cost.secondary)
            })
    });
    kuhn_munkres_min(&matrix).0
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn objective_equals_kuhn_munkres(
        (columns, costs) in (1_usize..25, 1_usize..25).prop_flat_map(|(rows, columns)| {
            let cost = proptest::option::weighted(
                0.5,
                (0_u64..2_000, 0_u64..40)
                    .prop_map(|(primary, secondary)| Cost { primary, secondary }),
            );
            let line = proptest::collection::vec(cost, columns);
            (Just(columns), proptest::collection::vec(line, rows))
        })
    ) {
        let ours = assign(costs.len(), columns, |row, column| costs[row][column]);
        let unserved = i128::try_from(costs.len() - ours.served).expect("small");
        let objective = unserved * UNSERVED
            + i128::try_from(ours.primary).expect("small") * SECONDARY
            + i128::try_from(ours.secondary).expect("small");
        prop_assert_eq!(objective, reference(&costs, columns));
    }
}
