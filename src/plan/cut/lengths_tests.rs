//! Sets whose bars nearly all differ in length, as real stages ask for them.

use super::{
    Aim, Budget, Effort, End, Fed, Joints, Problem, Roll, SolderWeights, Stock, Want, dice::Dice,
    plan, plan_within, tests::any_problem, verify,
};
use proptest::prelude::*;

/// So many bars of 0.6 to 1.8 m in units of 5 mm, offcuts on hand, rolls of 5, 10 and 20 m.
fn set(seed: usize, bars: usize, pieces: usize) -> Problem {
    let mut dice = Dice::default();
    for _ in 0..seed {
        dice.below(2);
    }
    let mut between = |least: usize, most: usize| (least + dice.below(most - least + 1)) as u64;
    let joints = |offset| Some(Joints { every: 100, offset });
    let stock = (0..pieces).map(|_| Stock {
        units: between(50, 350),
        start: if between(0, 2) == 0 {
            End::Lead
        } else {
            End::Bare
        },
        end: End::Bare,
        joints: joints(between(0, 99)),
    });
    let stock = stock.collect();
    let wants = (0..bars).map(|_| Want {
        units: between(120, 360),
        quantity: 1,
        fed: if between(0, 2) == 0 {
            Fed::BothEnds
        } else {
            Fed::OneEnd
        },
    });
    let wants = wants.collect();
    let rolls =
        [(1_000, 2_940), (2_000, 5_520), (4_000, 10_200)].map(|(units, price_minor)| Roll {
            piece: Stock {
                units,
                start: End::Lead,
                end: End::Lead,
                joints: joints(0),
            },
            price_minor,
            quantity: None,
        });
    Problem {
        stock,
        rolls: rolls.to_vec(),
        wants,
        usable_units: 100,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    }
}

#[test]
fn money_of_sets_of_many_lengths_is_proven_in_the_usual_budget() {
    for seed in 1..=4 {
        let problem = set(seed, 60, 40);
        let best = plan(&problem, Budget::USUAL).expect("in range");
        assert_eq!(verify(&problem, &best), Ok(()));
        assert!(best.proof.money.is_proven(), "{seed}: {:?}", best.proof);
    }
}

proptest! {
    /// What costs least does not depend on where bars lie: without soldering it is the same.
    #[test]
    fn least_money_is_the_same_without_soldering(problem in any_problem()) {
        let plain = Problem { weights: SolderWeights::NONE, ..problem.clone() };
        let effort = Effort { steps: 1_000_000, aim: Aim::Money, stop: &|| false };
        let (with, without) = (plan_within(&problem, &effort), plan_within(&plain, &effort));
        let (with, without) = (with.expect("in range"), without.expect("in range"));
        prop_assert!(with.proof.money.is_proven() && without.proof.money.is_proven());
        prop_assert_eq!(with.purchase_minor, without.purchase_minor);
    }
}
