//! Which tape bars are made of, where several fit. By hand, and against planning every choice.

use proptest::prelude::*;
use serde_json::json;
use tapewright::{
    model::id::{PartId, SupplierId},
    plan::{
        Plan,
        other::Tally,
        outcome::{Check, CheckState, Serve},
    },
    units::Money,
};

use crate::house::{House, RGB, RGBW, tape};

/// The tapes of the bars that are built.
fn tapes(plan: &Plan) -> Vec<PartId> {
    let bars = plan.bars.iter();
    bars.filter_map(|bar| match &bar.serve {
        Serve::Build(build) => Some(build.tape),
        Serve::Reuse { .. } | Serve::Short { .. } => None,
    })
    .collect()
}

fn minor(sum: i64) -> Money {
    Money::new(sum).expect("a sum")
}

/// Sells a roll of 5 m.
fn sell(house: &mut House, part: PartId, price: i64, supplier: i64, delivery: i64) {
    house.offer(part, 5_000_000, price);
    let offer = house.input.offers.last_mut().expect("just added");
    offer.supplier = SupplierId(supplier);
    offer.supplier_name = format!("Seller {supplier}");
    offer.delivery_minor = minor(delivery);
}

/// By hand. A metre of the second tape is cheaper by the length, but its delivery is not free:
/// 50.00 against 45.00 + 8.00.
#[test]
fn the_cheaper_tape_is_not_taken_where_its_delivery_makes_it_dearer() {
    let mut house = House::new();
    let first = house.part(1, "first", tape(RGB));
    let second = house.part(2, "second", tape(RGB));
    sell(&mut house, first, 5_000, 1, 0);
    sell(&mut house, second, 4_500, 2, 800);
    house.bar(1, 1_000_000, RGB, json!({}));
    let plan = house.plan();
    assert_eq!(tapes(&plan), [first]);
    assert_eq!(plan.cost.planned_minor, minor(5_000));
    assert!(plan.tape_proof.is_proven());
    // Of two rolls the second is cheaper all the same: 100.00 against 90.00 + 8.00.
    for id in 2..=6 {
        house.bar(id, 1_000_000, RGB, json!({}));
    }
    let plan = house.plan();
    assert_eq!(tapes(&plan), [second; 6]);
    assert_eq!(plan.cost.planned_minor, minor(9_800));
    // One that is chosen by hand is not asked for its price.
    for bar in &mut house.input.design.bars {
        bar.tape = Some(first);
    }
    assert_eq!(tapes(&house.plan()), [first; 6]);
}

/// By hand. Three offcuts of 1.5 m add up to what three bars of 1.2 m take, but two offcuts of
/// 900 mm and one of 2 m add up to it as well, and only one bar comes out of them.
#[test]
fn what_lies_there_counts_by_what_can_be_cut_from_it_and_not_by_its_length() {
    let mut house = House::new();
    let short = house.part(1, "short pieces", tape(RGB));
    let long = house.part(2, "long pieces", tape(RGB));
    sell(&mut house, short, 2_000, 1, 0);
    sell(&mut house, long, 9_000, 1, 0);
    for (id, units) in [(20, 18), (21, 18), (22, 40)] {
        house.piece(id, short, units, json!({}));
    }
    for id in 30..33 {
        house.piece(id, long, 30, json!({}));
    }
    for id in 1..=3 {
        house.bar(id, 1_200_000, RGB, json!({}));
    }
    let plan = house.plan();
    assert_eq!(tapes(&plan), [long; 3]);
    assert_eq!(plan.cost.planned_minor, Money::ZERO);
}

/// A tape that breaks a limit does not fit, whatever it saves: 4 m are beyond its longest run.
#[test]
fn a_tape_beyond_its_longest_run_is_not_the_cheapest_that_fits() {
    let mut house = House::new();
    let mut weak = tape(RGB);
    weak["longest_run_um"] = json!(2_000_000);
    let weak = house.part(1, "weak", weak);
    let strong = house.part(2, "strong", tape(RGB));
    sell(&mut house, weak, 1_000, 1, 0);
    sell(&mut house, strong, 9_000, 1, 0);
    house.bar(1, 4_000_000, RGB, json!({}));
    let plan = house.plan();
    assert_eq!(tapes(&plan), [strong]);
    let runs = plan.checks.iter().filter(|it| it.key.starts_with("run:"));
    let runs: Vec<&Check> = runs.collect();
    assert!(runs.iter().all(|it| it.state == CheckState::Passed));
}

/// What counts between two plans, most important first.
fn cost(plan: &Plan) -> (usize, usize, u32, i64, i64, u64) {
    let tally = Tally::of(plan);
    let rolls = plan.needs.iter().flat_map(|need| &need.unpriced);
    (
        tally.short,
        tally.not_kept,
        tally.unpriced,
        rolls.map(|it| it.roll_um.get() * i64::from(it.rolls)).sum(),
        tally.money.get(),
        plan.proofs.iter().map(|proof| proof.solder_work).sum(),
    )
}

/// A tape as it is thrown: price and supplier of a roll if it is sold, offcuts in cut units.
type Thrown = (Option<(i64, i64)>, Vec<i64>);

fn thrown() -> impl Strategy<Value = Thrown> {
    (
        prop::option::of((10_i64..80, 1_i64..3)),
        prop::collection::vec(10_i64..60, 0..3),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    /// No choice of tapes for the two groups of bars costs less: each is planned by itself, with
    /// the tape chosen by hand.
    #[test]
    fn equals_the_best_of_planning_every_choice(
        three in prop::collection::vec(thrown(), 1..4),
        four in prop::collection::vec(thrown(), 1..3),
        bars in prop::collection::vec((any::<bool>(), 10_i64..50), 1..6),
        deliveries in prop::collection::vec(0_i64..20, 2),
    ) {
        let mut house = House::new();
        let mut parts: [Vec<PartId>; 2] = [Vec::new(), Vec::new()];
        let (mut part, mut piece) = (1, 100);
        for (group, (list, colours)) in [(&three, RGB), (&four, RGBW)].into_iter().enumerate() {
            for (sold, offcuts) in list {
                let id = house.part(part, &format!("tape {part}"), tape(colours));
                part += 1;
                parts[group].push(id);
                if let Some((price, supplier)) = sold {
                    let delivery = deliveries[usize::try_from(*supplier - 1).expect("small")];
                    sell(&mut house, id, price * 100, *supplier, delivery * 100);
                }
                for units in offcuts {
                    house.piece(piece, id, *units, json!({}));
                    piece += 1;
                }
            }
        }
        for (id, (whites, units)) in (1..).zip(&bars) {
            let colours = if *whites { RGBW } else { RGB };
            house.bar(id, units * 50_000, colours, json!({}));
        }
        let plan = house.plan();
        prop_assert!(plan.tape_proof.is_proven(), "{:?}", plan.tape_proof);
        let mut least = None;
        for first in &parts[0] {
            for second in &parts[1] {
                let mut chosen = House { input: house.input.clone() };
                for (bar, (whites, _)) in chosen.input.design.bars.iter_mut().zip(&bars) {
                    bar.tape = Some(if *whites { *second } else { *first });
                }
                let cost = cost(&chosen.plan());
                least = Some(least.map_or(cost, |least: (_, _, _, _, _, _)| least.min(cost)));
            }
        }
        prop_assert_eq!(Some(cost(&plan)), least);
    }
}
