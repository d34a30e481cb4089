//! Fuses, limited power, bundled conductors and the mains circuit, against published tables and
//! bounds.

use std::collections::BTreeMap;

use serde_json::json;
use tapewright::{
    model::{
        id::PartId,
        reservation::{Held, HoldUse},
    },
    plan::{
        Plan, differences,
        fit::bundle_percent,
        outcome::{CheckState, PlannedHold},
        protect::{BLADE_MA, CARTRIDGE_MA, next_fuse},
    },
    units::Length,
};

use crate::house::{House, RGB, checks, driver, lead, need, supply, tape};

/// Common practice, no source: a fuse is loaded to 75 %, next size up, never above the thinnest
/// conductor. 18 AWG takes 7 A, 16 AWG 10 A (NFPA 70 240.4(D); 16 AWG from memory).
#[test]
fn a_fuse_is_the_next_size_above_four_thirds_of_the_current() {
    // 3 A ÷ 0.75 is 4 A exactly; a little more asks for the next size.
    assert_eq!(next_fuse(&BLADE_MA, 3_000, 7_000), Some(4_000));
    assert_eq!(next_fuse(&BLADE_MA, 3_001, 7_000), Some(5_000));
    assert_eq!(next_fuse(&CARTRIDGE_MA, 2_300, 7_000), Some(3_150));
    // 6 A ÷ 0.75 is 8 A: more than 18 AWG may have, and 16 AWG takes it.
    assert_eq!(next_fuse(&BLADE_MA, 6_000, 7_000), None);
    assert_eq!(next_fuse(&CARTRIDGE_MA, 6_000, 7_000), None);
    assert_eq!(next_fuse(&BLADE_MA, 6_000, 10_000), Some(10_000));
    assert_eq!(next_fuse(&CARTRIDGE_MA, 6_000, 10_000), Some(8_000));
    // Nothing is large enough.
    assert_eq!(next_fuse(&CARTRIDGE_MA, 8_000, 30_000), None);
}

/// NFPA 70 310.15(C)(1), from memory: four to six loaded conductors 80 %, seven to nine 70 %.
#[test]
fn bundled_conductors_are_loaded_less() {
    assert_eq!(
        [2, 3, 4, 6, 7, 9, 10].map(bundle_percent),
        [100, 100, 80, 80, 70, 70, 50]
    );
}

/// One bar of RGB tape at 14.4 W/m, 24 V: 3 m take 1.8 A.
fn house(length_um: i64) -> House {
    let mut house = House::new();
    house.part(1, "tape", tape(RGB));
    let pins = &["common", "green", "red", "blue"];
    for (id, gender) in [(2, "male"), (3, "female")] {
        let mut spec = lead(gender, pins);
        spec["rating_ma"] = json!(3_000);
        house.part(id, gender, spec);
    }
    house.part(
        4,
        "cable",
        json!({"kind": "cable", "conductors": 4, "rating_ma": 7_000, "conductor": "18 AWG",
               "strand": "stranded"}),
    );
    house.part(
        5,
        "block",
        json!({"kind": "block", "ways": 12, "rating_ma": 9_000}),
    );
    house.part(6, "driver", driver(2, 3, "isolated"));
    house.part(7, "supply", supply(10_000, Some(2)));
    house.part(
        8,
        "feed cable",
        json!({"kind": "cable", "conductors": 2, "rating_ma": 12_000, "conductor": "16 AWG",
               "strand": "stranded"}),
    );
    house.input.venue.feed_um = Length::mm(2_000);
    house.piece(1, 1.into(), 400, json!({}));
    house.bar(1, length_um, RGB, json!({"cable_um": 2_000_000}));
    house
}

fn set(house: &mut House, id: i64, field: &str, value: serde_json::Value) {
    let part = house
        .input
        .parts
        .iter_mut()
        .find(|part| part.id == id.into())
        .expect("it is there");
    let mut spec = serde_json::to_value(&part.spec).expect("a part is plain data");
    spec[field] = value;
    part.spec = serde_json::from_value(spec).expect("attributes");
}

/// What the checks of a rule say: state and sentence of the only one.
fn said(house: &House, rule: &str) -> (CheckState, String) {
    let plan = house.plan();
    let list = checks(&plan, rule);
    assert_eq!(list.len(), 1, "{list:?}");
    (list[0].state, list[0].sentence.clone())
}

/// Common practice, no source: a fuse protects up to the next fuse or output limit, and is not
/// larger than the thinnest conductor there.
#[test]
fn an_output_is_protected_by_its_limit_or_by_a_fuse_or_not_at_all() {
    let mut house = house(3_000_000);
    // Its limit of 10 A is more than the lead's 3 A: 1.8 A ÷ 0.75 is 2.4 A.
    let (state, sentence) = said(&house, "fuse-output");
    assert_eq!(state, CheckState::Passed);
    assert!(
        sentence.contains("3 A blade or 2.5 A cartridge fuse"),
        "{sentence}"
    );
    let plan = house.plan();
    let words = &plan.drivers[0].outputs[0].protection;
    assert!(words.contains("3 A blade"), "{words}");
    // A limit that no conductor minds is protection enough.
    set(&mut house, 6, "output_limit_ma", json!(3_000));
    let (state, sentence) = said(&house, "fuse-output");
    assert_eq!(state, CheckState::Passed);
    assert!(sentence.contains("own limit of 3 A"), "{sentence}");
    // A limit that is not known protects nothing.
    set(&mut house, 6, "output_limit_ma", json!(null));
    assert!(said(&house, "fuse-output").1.contains("3 A blade"));
    // Leads for 2 A: 2.4 A or more and 2 A or less is nothing.
    for id in [2, 3] {
        set(&mut house, id, "rating_ma", json!(2_000));
    }
    let (state, sentence) = said(&house, "fuse-output");
    assert_eq!(state, CheckState::Broken);
    assert!(sentence.contains("none fits"), "{sentence}");
    for id in [2, 3] {
        set(&mut house, id, "rating_ma", json!(null));
    }
    assert_eq!(said(&house, "fuse-output").0, CheckState::Unknown);
}

/// NFPA 70 240.4(D): 16 AWG takes no more than 10 A (from memory), whatever its maker rates it at.
#[test]
fn a_feed_has_a_fuse_no_larger_than_its_conductor() {
    let mut house = house(3_000_000);
    let (state, sentence) = said(&house, "fuse-feed");
    assert_eq!(state, CheckState::Passed);
    assert!(sentence.contains("at most 10 A"), "{sentence}");
    assert!(
        sentence.contains("3 A blade or 2.5 A cartridge fuse"),
        "{sentence}"
    );
    assert!(
        house.plan().drivers[0].inlets[0]
            .protection
            .contains("near the supply")
    );
    // A size that no table names, of a maker who rates nothing, is not known.
    set(&mut house, 8, "conductor", json!("20 AWG"));
    set(&mut house, 8, "rating_ma", json!(null));
    set(&mut house, 4, "rating_ma", json!(1_000));
    assert_eq!(said(&house, "fuse-feed").0, CheckState::Unknown);
}

/// NFPA 70 240.4(D): 18 AWG takes no more than 7 A; three quarters of the largest cartridge fuse (IEC
/// 60127) below it, 6.3 A, are 4.725 A. Two bars of 3 A each are never on one such feed, though the
/// inlet takes 20 A, and need not be: another inlet is free.
#[test]
fn bars_are_spread_over_feeds_where_one_would_have_no_fuse() {
    let mut house = house(5_000_000);
    set(&mut house, 6, "outputs", json!(4));
    set(&mut house, 6, "slots", json!(12));
    set(
        &mut house,
        6,
        "inlets",
        json!([{"outputs": [1, 2]}, {"outputs": [3, 4]}]),
    );
    house.bar(2, 5_000_000, RGB, json!({"cable_um": 2_000_000}));
    let fed = |house: &House| {
        let plan = house.plan();
        let inlets = plan.drivers.iter().map(|driver| driver.inlets.len());
        (plan.drivers.len(), inlets.sum::<usize>())
    };
    // On 16 AWG one inlet feeds both: 7.5 A are three quarters of 10 A.
    assert_eq!(fed(&house), (1, 1));
    set(&mut house, 8, "conductor", json!("18 AWG"));
    assert_eq!(fed(&house), (1, 2));
    let plan = house.plan();
    let judged = checks(&plan, "fuse-feed");
    assert!(judged.iter().all(|check| check.state == CheckState::Passed));
    assert!(!judged.is_empty());
}

/// As above: a thick solid cable in the catalogue, which is not what a feed is cut from, doesn't let the
/// thin stranded one carry more.
#[test]
fn a_solid_cable_lets_no_stranded_feed_carry_more() {
    let mut house = house(5_000_000);
    set(&mut house, 6, "outputs", json!(4));
    set(&mut house, 6, "slots", json!(12));
    set(
        &mut house,
        6,
        "inlets",
        json!([{"outputs": [1, 2]}, {"outputs": [3, 4]}]),
    );
    house.bar(2, 5_000_000, RGB, json!({"cable_um": 2_000_000}));
    set(&mut house, 8, "conductor", json!("18 AWG"));
    house.part(
        9,
        "solid cable",
        json!({"kind": "cable", "conductors": 2, "rating_ma": 20_000, "conductor": "12 AWG",
               "strand": "solid"}),
    );
    let plan = house.plan();
    let inlets: Vec<_> = (plan.drivers.iter())
        .flat_map(|driver| &driver.inlets)
        .collect();
    assert_eq!(inlets.len(), 2, "{inlets:?}");
    let feeds = inlets.iter().filter_map(|inlet| inlet.feed);
    assert!(feeds.map(|(part, _)| part).eq([PartId(8), PartId(8)]));
    let judged = checks(&plan, "fuse-feed");
    assert!(judged.iter().all(|check| check.state == CheckState::Passed));
}

/// NFPA 70 chapter 9 table 11: up to 60 V and 100 VA, so 4.17 A at 24 V; at 20 V and below 5 A (from
/// memory).
#[test]
fn a_limited_supply_is_one_by_its_figures_too() {
    let mut house = house(3_000_000);
    let limited = |house: &mut House, rated: i64, noted: serde_json::Value| {
        set(house, 7, "rated_ma", json!(rated));
        set(house, 7, "limited_power", noted);
        said(house, "limited-power").0
    };
    assert_eq!(limited(&mut house, 4_000, json!(true)), CheckState::Passed);
    assert_eq!(limited(&mut house, 4_200, json!(true)), CheckState::Broken);
    assert_eq!(limited(&mut house, 4_000, json!(null)), CheckState::Warned);
    assert_eq!(limited(&mut house, 10_000, json!(null)), CheckState::Passed);
}

/// NFPA 70 210.20: 80 % of 15 A at 120 V is 1440 VA; by definition VA are W ÷ efficiency ÷ power
/// factor.
#[test]
fn the_mains_circuit_is_judged_where_it_is_named() {
    let mut house = house(3_000_000);
    // 1.8 A at 24 V are 43.2 W; by 90 % and 0.96 that is 50 VA.
    set(&mut house, 7, "efficiency_percent", json!(90));
    set(&mut house, 7, "power_factor_percent", json!(96));
    let (state, sentence) = said(&house, "mains");
    assert_eq!(state, CheckState::Warned, "no circuit is named");
    assert!(sentence.contains("50 VA"), "{sentence}");
    let circuit = |ma: i64| {
        serde_json::from_value(json!({
            "voltage_mv": 120_000, "breaker_ma": ma, "continuous_percent": 80,
        }))
        .expect("a circuit")
    };
    house.input.venue.mains = Some(circuit(15_000));
    let (state, sentence) = said(&house, "mains");
    assert_eq!(state, CheckState::Passed);
    assert!(
        sentence.contains("is 1440 VA, so 1390 VA are in hand"),
        "{sentence}"
    );
    // What is only assumed is never passed.
    set(&mut house, 7, "power_factor_percent", json!(null));
    assert_eq!(said(&house, "mains").0, CheckState::Warned);
    // Twenty times the set on one breaker of 1 A: 80 % of 120 VA is 96 VA.
    set(&mut house, 7, "power_factor_percent", json!(40));
    house.input.venue.mains = Some(circuit(1_000));
    assert_eq!(said(&house, "mains").0, CheckState::Broken);
    // A supply made for another voltage.
    set(&mut house, 7, "mains_min_mv", json!(200_000));
    set(&mut house, 7, "mains_max_mv", json!(240_000));
    assert_eq!(said(&house, "mains-voltage").0, CheckState::Broken);
    // What all draw at once: a breaker of 1 A may trip from 3 A (IEC 60898-1, from memory).
    set(&mut house, 7, "inrush_ma", json!(3_000));
    assert_eq!(said(&house, "inrush").0, CheckState::Passed);
    set(&mut house, 7, "inrush_ma", json!(3_001));
    assert_eq!(said(&house, "inrush").0, CheckState::Warned);
}

/// Four loaded conductors of 7 A carry 5.6 A each; beyond that it depends on what the maker means.
#[test]
fn a_cable_of_four_loaded_conductors_is_warned_of_before_it_is_refused() {
    let mut house = house(5_000_000);
    let of_cable = |house: &House| {
        let plan = house.plan();
        let list = checks(&plan, "rating");
        let one = list.iter().find(|check| check.about == "cable");
        one.expect("it is judged").state
    };
    // 14.4 W/m × 5 m ÷ 24 V is 3 A.
    assert_eq!(of_cable(&house), CheckState::Passed);
    set(&mut house, 4, "rating_ma", json!(3_500));
    assert_eq!(
        of_cable(&house),
        CheckState::Warned,
        "80 % of 3.5 A is 2.8 A"
    );
    set(&mut house, 4, "rating_ma", json!(2_900));
    assert_eq!(of_cable(&house), CheckState::Broken);
}

/// Bars of one group share an output as long as its wires can be protected: three of 0.72 A ask for
/// a fuse of 2.88 A, which the lead's 3 A allow; four would ask for 3.84 A.
#[test]
fn bars_share_an_output_only_where_it_can_be_protected() {
    let mut house = house(1_200_000);
    house.input.design.bars[0].group = "uprights".parse().expect("a group");
    for id in 2..=4 {
        house.bar(
            id,
            1_200_000,
            RGB,
            json!({"cable_um": 2_000_000, "group": "uprights"}),
        );
    }
    let plan = house.plan();
    let outputs: Vec<usize> = plan
        .drivers
        .iter()
        .flat_map(|driver| &driver.outputs)
        .map(|output| output.bars.len())
        .collect();
    assert_eq!(outputs, [3, 1]);
    assert!(
        checks(&plan, "fuse-output")
            .iter()
            .all(|check| check.state == CheckState::Passed)
    );
    for id in [2, 3] {
        set(&mut house, id, "rating_ma", json!(4_000));
    }
    assert_eq!(house.plan().drivers[0].outputs.len(), 1);
}

/// Adds a fuse to the catalogue, and so many of it to the cupboard.
fn fuse(house: &mut House, id: i64, family: &str, rating_ma: i64, there: i64) -> PartId {
    let part = house.part(
        id,
        &format!("{family} of {rating_ma} mA"),
        json!({"kind": "sundry", "measure": "each",
               "fuse": {"family": family, "rating_ma": rating_ma}}),
    );
    house.count(part, there);
    part
}

/// Which part each asked fuse is.
fn fuse_parts(plan: &Plan) -> Vec<(&str, u32, Option<PartId>)> {
    let fuses = plan.fuses.iter();
    fuses
        .map(|it| (it.fuse.as_str(), it.many, it.part))
        .collect()
}

const ASKED: &str = "3 A blade or 2.5 A cartridge fuse";

/// Of the bar above, the feed and the output ask for one each: 1.8 A ÷ 0.75 is 2.4 A.
#[test]
fn a_fuse_that_lies_there_is_held_until_strike_and_one_that_is_short_is_bought() {
    let mut house = house(3_000_000);
    let blade = fuse(&mut house, 10, "blade", 3_000, 2);
    let plan = house.plan();
    assert_eq!(fuse_parts(&plan), [(ASKED, 2, Some(blade))]);
    assert_eq!(plan.asked_fuses()[ASKED], 2);
    assert!(plan.uncounted_fuses().is_empty());
    let wanted = need(&plan, blade).expect("it is needed");
    assert_eq!((wanted.needed, wanted.there, wanted.short), (2, 2, 0));
    let hold = |amount| PlannedHold {
        bar: None,
        held: Held::Count {
            part: blade,
            amount,
            due: None,
        },
        becomes: HoldUse::Returns,
    };
    assert!(plan.holds.contains(&hold(2)), "{:?}", plan.holds);

    house.input.stock.counts.last_mut().expect("it").available = 1;
    house.offer(blade, 5, 240);
    let plan = house.plan();
    let wanted = need(&plan, blade).expect("it is needed");
    assert_eq!((wanted.there, wanted.short), (1, 1));
    assert_eq!((wanted.buy.len(), wanted.buy[0].packs), (1, 1));
    assert!(plan.holds.contains(&hold(1)), "{:?}", plan.holds);

    // Spares that the set takes along come back as well.
    house.input.stock.counts.last_mut().expect("it").available = 5;
    house.extra(1, blade, 3);
    assert!(house.plan().holds.contains(&hold(5)));
}

#[test]
fn of_several_fuses_that_do_the_one_is_taken_that_lies_there_in_number() {
    let mut house = house(3_000_000);
    let blade = fuse(&mut house, 10, "blade", 3_000, 1);
    let cartridge = fuse(&mut house, 11, "cartridge", 2_500, 2);
    assert_eq!(fuse_parts(&house.plan()), [(ASKED, 2, Some(cartridge))]);
    // Two of these are wanted beside the plan: two more would be short.
    house.extra(1, cartridge, 2);
    house.offer(blade, 1, 100);
    assert_eq!(fuse_parts(&house.plan()), [(ASKED, 2, Some(blade))]);
}

/// Neither a larger fuse nor a smaller one, nor the right figure of the other make; and a sundry that is
/// called a fuse is none.
#[test]
fn without_a_fuse_that_does_the_plan_is_as_it_was() {
    let plain = house(3_000_000).plan();
    assert_eq!(fuse_parts(&plain), [(ASKED, 2, None)]);
    assert_eq!(plain.uncounted_fuses(), plain.asked_fuses());
    let mut house = house(3_000_000);
    for (id, family, ma) in [
        (10, "blade", 5_000),
        (11, "blade", 2_000),
        (12, "blade", 2_500),
        (13, "cartridge", 3_000),
        (14, "cartridge", 3_150),
    ] {
        let part = fuse(&mut house, id, family, ma, 9);
        house.offer(part, 1, 10);
    }
    let named = house.part(
        15,
        "Blade fuse, 3 A",
        json!({"kind": "sundry", "measure": "each"}),
    );
    house.count(named, 9);
    assert_eq!(house.plan(), plain);
}

/// Blade fuses are for at most 32 V dc (common sizes): 43.2 W at 48 V are 0.9 A, which ask for 1.2 A.
#[test]
fn no_blade_fuse_is_counted_above_32_volts() {
    let mut house = house(3_000_000);
    for (id, field) in [(1, "voltage_mv"), (6, "voltage_max_mv"), (7, "voltage_mv")] {
        set(&mut house, id, field, json!(48_000));
    }
    for (id, ma) in [(10, 1_250), (11, 2_000)] {
        fuse(&mut house, id, "blade", ma, 9);
    }
    let asked = "1.25 A cartridge fuse";
    assert_eq!(fuse_parts(&house.plan()), [(asked, 2, None)]);
    let cartridge = fuse(&mut house, 12, "cartridge", 1_250, 0);
    let plan = house.plan();
    assert_eq!(fuse_parts(&plan), [(asked, 2, Some(cartridge))]);
    assert_eq!(need(&plan, cartridge).map(|need| need.short), Some(2));
}

#[test]
fn a_plan_kept_before_fuses_were_counted_is_read_and_the_next_says_what_it_takes() {
    let mut house = house(3_000_000);
    let plain = house.plan();
    let mut kept = serde_json::to_value(&plain).expect("a plan is plain data");
    assert!(
        kept.as_object_mut()
            .and_then(|plan| plan.remove("fuses"))
            .is_some()
    );
    let kept: Plan = serde_json::from_value(kept).expect("a plan of then");
    assert_eq!(kept.uncounted_fuses(), plain.asked_fuses());
    assert_eq!(kept.holds, plain.holds);

    fuse(&mut house, 10, "blade", 3_000, 2);
    let now = house.plan();
    let stock = &house.input.stock;
    let said = |from: &Plan, to: &Plan| differences(from, to, stock).join(" ");
    assert_eq!(
        said(&kept, &now),
        format!("As {ASKED} it now takes blade of 3000 mA.")
    );
    assert!(said(&now, &plain).contains(&format!("The catalogue has no {ASKED} any more")));
}

/// Common practice, no source: a block belongs to one driver. Three bars of 4 conductors would go into one
/// block of 12 ways, were they not on two drivers of two outputs each.
#[test]
fn a_block_joins_bars_of_one_driver_only() {
    let mut house = house(3_000_000);
    for id in 2..=3 {
        house.bar(id, 3_000_000, RGB, json!({"cable_um": 2_000_000}));
    }
    let plan = house.plan();
    assert_eq!(plan.drivers.len(), 2);
    assert_eq!(need(&plan, PartId(5)).map(|need| need.needed), Some(2));
    let driver_of = |bar| {
        let plan = plan.bars.iter().find(|it| it.bar == bar)?;
        plan.output.map(|output| output.driver)
    };
    let mut of_block = BTreeMap::new();
    for joint in &plan.blocks {
        let driver = driver_of(joint.bar);
        assert!(driver.is_some(), "{joint:?}");
        let first = *of_block.entry((joint.frame, joint.block)).or_insert(driver);
        assert_eq!(first, driver, "{joint:?}");
    }
    assert_eq!((plan.blocks.len(), of_block.len()), (3, 2));
}
