//! Which fixtures serve, which nearly would, what else is needed with them. By hand.

use proptest::prelude::*;
use serde_json::json;
use tapewright::{
    model::{fixture::Condition, id::BarId},
    plan::{
        answer::Proof,
        differences,
        input::{Freedom, SpareFrame},
        known::paid_for_bars,
        outcome::{CheckState, Serve},
        reuse::replacements,
    },
    units::{Length, LengthUnit},
};

use crate::house::{House, RGB, RGBW, at, checks, driver, lead, need, supply, tape};

fn served(plan: &tapewright::plan::Plan) -> Vec<Option<i64>> {
    let bars = plan.bars.iter();
    bars.map(|bar| match &bar.serve {
        Serve::Reuse { fixture, .. } => Some(fixture.0),
        _ => None,
    })
    .collect()
}

#[test]
fn most_bars_are_served_then_lengths_then_the_walk() {
    let mut house = House::new();
    house.fixture(10, 980_000, RGB, json!({}));
    house.fixture(11, 1_000_000, RGB, json!({}));
    house.fixture(12, 1_000_000, RGB, json!({}));
    house.fixture(13, 1_000_000, RGBW, json!({}));
    for (spare, position) in house.input.stock.fixtures.iter_mut().zip([1, 9, 4, 2]) {
        spare.place = at(position);
    }
    // The second takes only the full metre: the first must leave it one.
    house.bar(1, 1_000_000, RGB, json!({}));
    assert_eq!(
        served(&house.plan()),
        [Some(12)],
        "the nearer of two equal ones"
    );
    house.bar(2, 1_000_000, RGB, json!({"shorter_um": 0}));
    house.bar(3, 1_000_000, RGB, json!({"shorter_um": 0}));
    let plan = house.plan();
    assert_eq!(served(&plan)[0], Some(10));
    assert!(served(&plan).iter().all(Option::is_some));
    assert_eq!(plan.holds.len(), 3);
}

/// By hand. One fixture serves either bar; a piece of exactly a metre is there. The fixture of a
/// metre fits the metre bar best, but then a roll is bought for the longer one.
#[test]
fn the_fixture_goes_where_it_saves_a_roll_and_not_where_it_fits_best() {
    let mut house = House::new();
    let part = house.part(1, "tape", tape(RGB));
    house.offer(part, 5_000_000, 3_000);
    house.fixture(10, 1_000_000, RGB, json!({}));
    house.bar(1, 1_000_000, RGB, json!({}));
    house.bar(2, 1_050_000, RGB, json!({"shorter_um": 50_000}));
    let without = house.plan();
    assert_eq!(served(&without), [Some(10), None]);
    // Twenty units of 50 mm.
    house.piece(20, part, 20, json!({}));
    let plan = house.plan();
    assert_eq!(served(&plan), [None, Some(10)], "{:?}", plan.bars);
    assert!(plan.reuse_proof.is_proven());
    assert_eq!(need(&plan, part).expect("needed").short, 0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Fixtures that serve any bar, more ways to give them than are tried: whichever bars get them
    /// by hand, what is left to buy costs no less than what the plan says that none can.
    #[test]
    fn no_choice_by_hand_leaves_less_to_buy_than_the_plan_says_that_none_does(
        units in prop::collection::btree_set(8_i64..60, 8..14),
        prices in (500_i64..3_000, 500_i64..6_000),
        offcuts in prop::collection::vec(10_i64..40, 0..3),
        fixtures in 2_usize..5,
        choices in prop::collection::vec(any::<prop::sample::Index>(), 40),
    ) {
        let mut house = House::new();
        let part = house.part(1, "tape", tape(RGB));
        house.offer(part, 3_000_000, prices.0);
        house.offer(part, 5_000_000, prices.1);
        for (id, units) in (100..).zip(offcuts) {
            house.piece(id, part, units, json!({}));
        }
        for (id, units) in (1..).zip(&units) {
            let any = json!({"shorter_um": 3_000_000, "longer_um": 3_000_000});
            house.bar(id, units * 50_000, RGB, any);
        }
        for id in (10..).take(fixtures) {
            house.fixture(id, 1_500_000, RGB, json!({}));
        }
        let plan = house.plan();
        prop_assert_eq!(served(&plan).iter().flatten().count(), fixtures);
        let paid = paid_for_bars(&plan, &house.input).get();
        let least = match plan.reuse_proof {
            Proof::Proven => paid,
            Proof::Within { bound } => bound,
            Proof::Open { .. } => return Err(TestCaseError::fail("no bound")),
        };
        prop_assert!(least <= paid);
        for chosen in choices.chunks(fixtures) {
            let mut by_hand = House { input: house.input.clone() };
            let bars = &mut by_hand.input.design.bars;
            for (id, index) in (10..).zip(chosen) {
                let at = index.index(bars.len());
                bars[at].fixture = Some(tapewright::model::id::ThingId(id));
            }
            let other = by_hand.plan();
            let other = paid_for_bars(&other, &by_hand.input).get();
            prop_assert!(other >= least, "{} by hand, {:?} and {} by plan", other, plan.reuse_proof, paid);
        }
    }
}

#[test]
fn what_is_not_free_good_or_alike_does_not_serve() {
    let mut house = House::new();
    house.fixture(10, 1_000_000, RGB, json!({}));
    house.bar(1, 1_000_000, RGB, json!({}));
    assert_eq!(served(&house.plan()), [Some(10)]);
    for change in [
        json!({"channels": RGBW}),
        json!({"diffused": true}),
        json!({"voltage_mv": 12_000}),
        json!({"fed": "both_ends"}),
    ] {
        let mut other = House::new();
        other.fixture(10, 1_000_000, RGB, json!({}));
        let mut more = json!({"voltage_mv": 24_000});
        more.as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        other.bar(1, 1_000_000, RGB, more);
        assert_eq!(served(&other.plan()), [None], "{change}");
    }
    house.input.stock.fixtures[0].fixture.condition = Condition::Suspect;
    assert_eq!(served(&house.plan()), [None]);
    house.input.stock.fixtures[0].fixture.condition = Condition::Good;
    house.input.stock.fixtures[0].freedom = Freedom::Not("held for Spring dance".into());
    assert_eq!(served(&house.plan()), [None]);
}

#[test]
fn a_fixture_chosen_by_hand_serves_or_the_plan_says_why_not() {
    let mut house = House::new();
    house.fixture(10, 1_000_000, RGB, json!({}));
    house.fixture(11, 1_000_000, RGB, json!({}));
    house.fixture(12, 700_000, RGB, json!({}));
    house.bar(1, 1_000_000, RGB, json!({"fixture": 11}));
    house.bar(2, 1_000_000, RGB, json!({"fixture": 11}));
    house.bar(3, 1_000_000, RGB, json!({"fixture": 12}));
    house.bar(4, 1_000_000, RGB, json!({"fixture": 99}));
    let plan = house.plan();
    assert_eq!(served(&plan), [Some(11), Some(10), None, None]);
    let said: Vec<(&str, &str)> = checks(&plan, "chosen")
        .iter()
        .map(|check| (check.about.as_str(), check.sentence.as_str()))
        .collect();
    assert_eq!(said.len(), 3);
    assert!(
        said[0].1.contains("F-11") && said[0].1.contains("another bar"),
        "{said:?}"
    );
    assert!(
        said[1].1.contains("F-12") && said[1].1.contains("300 mm shorter"),
        "{said:?}"
    );
    assert!(said[2].1.contains("not in the house"), "{said:?}");
    assert!(
        checks(&plan, "chosen")
            .iter()
            .all(|check| check.state == CheckState::Broken)
    );
}

#[test]
fn near_misses_say_by_how_much_the_bar_would_have_to_change() {
    let mut house = House::new();
    house.fixture(10, 1_040_000, RGB, json!({}));
    house.fixture(11, 900_000, RGB, json!({}));
    house.fixture(12, 2_000_000, RGB, json!({}));
    house.bar(7, 1_000_000, RGB, json!({"shorter_um": 10_000}));
    let plan = house.plan();
    let near: Vec<(BarId, i64, i64)> = plan
        .near_misses
        .iter()
        .map(|miss| (miss.bar, miss.fixture.0, miss.by_um))
        .collect();
    assert_eq!(near, [(BarId(7), 10, 40_000), (BarId(7), 11, -90_000)]);
    // The bar changed by just that is served.
    for (fixture, by) in [(10, 40_000), (11, -90_000)] {
        let mut changed = House::new();
        changed
            .input
            .stock
            .fixtures
            .clone_from(&house.input.stock.fixtures);
        changed.bar(7, 1_000_000 + by, RGB, json!({"shorter_um": 10_000}));
        assert_eq!(served(&changed.plan()), [Some(fixture)]);
    }
}

#[test]
fn a_coupler_joins_what_does_not_plug_together() {
    let pins = ["common", "red", "green", "blue"];
    let half =
        |family: &str, gender: &str| json!({"family": family, "gender": gender, "pins": pins});
    let build = |couplers: bool, sockets: bool| {
        let mut house = House::new();
        house.part(1, "male lead", lead("male", &pins));
        house.part(2, "female lead", lead("female", &pins));
        if couplers {
            let coupler = json!({"kind": "coupler", "rating_ma": 5_000,
                "a": half("inline", "male"), "b": half("round", "female")});
            house.part(3, "coupler", coupler);
        }
        if sockets {
            let mut round = lead("female", &pins);
            round["connector"]["family"] = json!("round");
            house.part(4, "round socket", round);
        }
        house.fixture(
            10,
            1_000_000,
            RGB,
            json!({"connector": half("inline", "male")}),
        );
        house.fixture(
            11,
            1_000_000,
            RGB,
            json!({"connector": half("round", "male")}),
        );
        house.input.design.choices = serde_json::from_value(json!({"lead": 1})).unwrap();
        house.bar(1, 1_000_000, RGB, json!({"fixture": 10}));
        house.bar(2, 1_000_000, RGB, json!({"fixture": 11}));
        house.plan()
    };
    let plan = build(true, true);
    let Serve::Reuse { couplers, .. } = &plan.bars[1].serve else {
        panic!("{:?}", plan.bars[1])
    };
    assert_eq!(couplers.as_slice(), [3.into()]);
    // Both plug into the driver's side through the same half.
    assert_eq!(need(&plan, 2.into()).map(|need| need.needed), Some(2));

    let plan = build(false, true);
    assert_eq!(
        need(&plan, 4.into()).map(|need| need.needed),
        Some(1),
        "a socket of its own"
    );
    assert!(checks(&plan, "connector").is_empty());

    let plan = build(false, false);
    let broken = checks(&plan, "connector");
    assert_eq!(broken[0].state, CheckState::Broken);
    assert!(
        broken[0].sentence.contains("F-11 ends in round, male"),
        "{}",
        broken[0].sentence
    );
}

#[test]
fn replacements_come_best_first_and_the_others_say_why_not() {
    let connector = json!({"family": "inline", "gender": "male", "pins": null});
    let other = json!({"family": "inline", "gender": "female", "pins": null});
    let mut house = House::new();
    for (id, lit, change) in [
        (10, 1_000_000, json!({})),
        (11, 1_010_000, json!({})),
        (12, 1_000_000, json!({})),
        (13, 1_000_000, json!({"connector": other})),
        (14, 1_000_000, json!({"connector": null})),
        (15, 1_500_000, json!({})),
        (16, 1_000_000, json!({})),
    ] {
        let mut more = json!({"connector": connector});
        more.as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        house.fixture(id, lit, RGB, more);
    }
    let spares = &mut house.input.stock.fixtures;
    spares[2].place = at(3);
    spares[6].freedom = Freedom::Not("held for Spring dance until 2026-10-09".into());
    let make = spares[0].fixture.make.clone();
    let (fit, not) = replacements(
        &make,
        Some(10.into()),
        Length::mm(20),
        Length::mm(20),
        spares,
        LengthUnit::Mm,
    );
    let fit: Vec<_> = fit.iter().map(|it| (it.fixture.0, it.off_um)).collect();
    assert_eq!(fit, [(12, 0), (11, 10_000)]);
    let not: Vec<_> = not
        .iter()
        .map(|it| (it.fixture.0, it.why.as_str()))
        .collect();
    assert_eq!(
        not,
        [
            (
                13,
                "its lead ends in inline, female, wanted is inline, male"
            ),
            (14, "what its lead ends in is not noted"),
            (15, "it is 500 mm longer than wanted"),
            (16, "it is not free: held for Spring dance until 2026-10-09"),
        ]
    );
}

#[test]
fn what_is_mounted_on_a_frame_serves_with_it_and_is_held_with_it() {
    let mut house = House::new();
    let tape = house.part(1, "tape", tape(RGB));
    let driver = house.part(2, "driver", driver(2, 3, "isolated"));
    let supply = house.part(3, "supply", supply(5_000, Some(2)));
    let block = house.part(
        4,
        "block",
        json!({"kind": "block", "ways": 4, "rating_ma": 5_000}),
    );
    house.piece(1, tape, 40, json!({}));
    let on_frame = house.unit(20, "D-1", driver, None);
    house.unit(21, "S-1", supply, None);
    house.input.stock.frames.push(SpareFrame {
        thing: 30.into(),
        tag: tapewright::model::text::Tag::parse("K-1").unwrap(),
        name: tapewright::model::text::Name::parse("arch").unwrap(),
        freedom: Freedom::Free,
        counts: vec![(block, 1)],
        things: vec![on_frame],
    });
    house.bar(1, 1_000_000, RGB, json!({"cable_um": 1_000_000}));
    // Another set's frame keeps its driver.
    let plan = house.plan();
    assert!(plan.drivers[0].unit.is_none());
    assert_eq!(need(&plan, block).map(|need| need.short), Some(1));

    house.input.design.frames = serde_json::from_value(json!([{
        "id": 1, "label": "arch", "x_um": 0, "y_um": 0, "width_um": 1, "height_um": 1, "thing": 30,
    }]))
    .unwrap();
    let with = house.plan();
    assert_eq!(
        with.drivers[0].unit.as_ref().map(|(thing, _)| *thing),
        Some(on_frame)
    );
    assert_eq!(
        need(&with, block).map(|need| (need.there, need.short)),
        Some((1, 0))
    );
    let held: Vec<i64> = with
        .holds
        .iter()
        .filter_map(|hold| match hold.held {
            tapewright::model::reservation::Held::Thing { thing, to: 1, .. } => Some(thing.0),
            _ => None,
        })
        .collect();
    assert_eq!(
        held,
        [30, 21],
        "the frame, and the supply that is not on it"
    );
    assert!(!differences(&plan, &with, &house.input.stock).is_empty());

    house.input.stock.frames[0].freedom = Freedom::Not("held for Spring dance".into());
    let plan = house.plan();
    assert!(plan.frames.is_empty() && plan.drivers[0].unit.is_none());
    assert_eq!(checks(&plan, "frame")[0].state, CheckState::Broken);
}

#[test]
fn what_changed_is_said_in_words() {
    let mut house = House::new();
    let tape = house.part(1, "tape", tape(RGB));
    house.piece(4, tape, 40, json!({}));
    house.fixture(12, 1_000_000, RGB, json!({}));
    house.bar(3, 1_000_000, RGB, json!({}));
    let before = house.plan();
    house.input.stock.fixtures[0].freedom = Freedom::Not("held for Spring dance".into());
    let after = house.plan();
    let said = differences(&before, &after, &house.input.stock);
    assert_eq!(said[0], "F-12 is no longer free: held for Spring dance.");
    assert_eq!(
        said[1],
        "Bar bar 3 was served by F-12; it is now cut from R-4."
    );
    assert!(differences(&after, &after, &house.input.stock).is_empty());
    assert_ne!(before.digest(), after.digest());
}
