//! The trade-off curve against every way to share the bars out.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;

use super::{
    tests::{LEADED, any_problem, one_end, piece, problem, ways},
    *,
};

const EFFORT: Effort<'_> = Effort {
    steps: 1_000_000,
    aim: Aim::Solder,
    stop: &|| false,
};

/// Soldered ends and money of each point.
fn curve(problem: &Problem) -> Vec<(u64, i64)> {
    let counting = Problem {
        weights: ENDS,
        ..problem.clone()
    };
    let curve = trade_off(problem, &EFFORT).expect("in range");
    assert!(curve.proven, "{problem:?} {curve:?}");
    for point in &curve.points {
        assert_eq!(verify(&counting, &point.plan), Ok(()));
        assert_eq!(point.ends, point.plan.solder_work);
        assert!(point.money.is_proven());
    }
    let points = curve.points.iter();
    points
        .map(|point| (point.ends, point.plan.purchase_minor))
        .collect()
}

const ENDS: SolderWeights = SolderWeights {
    lead: 0,
    joint: 1,
    mark: 1,
};

/// The same by going through all ways.
fn brute(problem: &Problem) -> Vec<(u64, i64)> {
    let problem = &Problem {
        weights: ENDS,
        ..problem.clone()
    };
    let bars: u32 = problem.wants.iter().map(|want| want.quantity).sum();
    let nothing = vec![0; problem.wants.len()];
    let mut reached = BTreeMap::from([(nothing.clone(), BTreeSet::from([(0_i64, 0_u64)]))]);
    let rolls = problem.rolls.iter().map(|roll| {
        let many = roll.quantity.unwrap_or(bars).min(bars);
        (&roll.piece, roll.price_minor, many)
    });
    let stock = problem.stock.iter().map(|piece| (piece, 0, 1));
    for (piece, price, many) in stock.chain(rolls) {
        let ways = ways(problem, piece);
        for _ in 0..many {
            let mut next = reached.clone();
            for (done, costs) in &reached {
                for (more, objective) in ways.iter().filter(|(more, _)| **more != nothing) {
                    let sum: Vec<u32> = done.iter().zip(more).map(|(a, b)| a + b).collect();
                    let fits = sum
                        .iter()
                        .zip(&problem.wants)
                        .all(|(sum, want)| *sum <= want.quantity);
                    if fits {
                        let known = next.entry(sum).or_default();
                        known.extend(costs.iter().map(|c| (c.0 + price, c.1 + objective.2)));
                    }
                }
            }
            reached = next;
        }
    }
    let served = |done: &Vec<u32>| -> u32 { done.iter().sum() };
    let most = reached.keys().map(served).max().unwrap_or(0);
    let all: BTreeSet<(u64, i64)> = reached
        .iter()
        .filter(|(done, _)| served(done) == most)
        .flat_map(|(_, costs)| costs.iter().map(|&(money, ends)| (ends, money)))
        .collect();
    let mut front: Vec<(u64, i64)> = Vec::new();
    for (ends, money) in all {
        if front.last().is_none_or(|&(_, known)| money < known) {
            front.push((ends, money));
        }
    }
    front
}

// By hand: each roll of 130 has two leads. Four bars of 30 come from one roll with two soldered
// ends, or from two rolls with none.
#[test]
fn two_rolls_spare_two_soldered_ends() {
    let mut asked = problem(Vec::new(), vec![one_end(30, 4)]);
    asked.rolls.push(Roll {
        piece: piece(130, LEADED, None),
        price_minor: 900,
        quantity: None,
    });
    assert_eq!(curve(&asked), [(0, 1_800), (2, 900)]);
}

#[test]
fn where_nothing_is_wanted_nothing_is_traded() {
    assert_eq!(curve(&problem(Vec::new(), Vec::new())), [(0, 0)]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn small_curves_are_those_of_every_way_tried(problem in any_problem()) {
        prop_assert_eq!(curve(&problem), brute(&problem));
    }
}
