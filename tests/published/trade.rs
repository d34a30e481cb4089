//! The plan against facts of the trade: common practice, no source, unless one is named.

use std::collections::BTreeSet;

use serde_json::json;
use tapewright::{
    model::part::PartSpec,
    plan::{
        fit,
        outcome::{Becomes, CheckState, Joint, Plan, Serve},
    },
    units::{Current, Length, Power},
};

use crate::house::{House, RGB, RGBW, checks, driver, lead, need, supply, tape};

const FOOT: i64 = 304_800;

fn conductors_with(channels: &[&str], pins: &[&str], cores: u8, ways: u16, outputs: u8) -> Plan {
    let mut house = House::new();
    house.part(1, "tape", tape(channels));
    house.part(2, "lead", lead("male", pins));
    house.part(3, "socket", lead("female", pins));
    house.part(
        4,
        "cable",
        json!({"kind": "cable", "conductors": cores, "rating_ma": 5_000}),
    );
    house.part(
        5,
        "block",
        json!({"kind": "block", "ways": ways, "rating_ma": 5_000}),
    );
    house.part(6, "driver", driver(2, outputs, "isolated"));
    house.part(7, "supply", supply(10_000, Some(2)));
    house.piece(1, 1.into(), 100, json!({}));
    house.input.design.choices = serde_json::from_value(json!({
        "lead": 2, "cable": 4, "block": 5, "driver": 6, "supply": 7,
    }))
    .expect("choices");
    house.bar(1, 1_000_000, channels, json!({"cable_um": 2_000_000}));
    house.plan()
}

#[test]
fn four_colours_need_five_conductors_everywhere_and_three_need_four() {
    let five = ["common", "red", "green", "blue", "white"];
    let four = ["common", "red", "green", "blue"];
    let plan = conductors_with(RGBW, &five, 5, 5, 4);
    assert!(
        checks(&plan, "conductors")
            .iter()
            .all(|check| check.state == CheckState::Passed)
    );
    assert!(
        checks(&plan, "channels")
            .iter()
            .all(|check| check.state == CheckState::Passed)
    );
    // The lead, its other half, the cable and the block: one conductor fewer breaks each alone.
    assert_eq!(checks(&plan, "conductors").len(), 4);

    let broken = |plan: &Plan, rule: &str| -> Vec<String> {
        let found = checks(plan, rule).into_iter();
        found
            .filter(|check| check.state == CheckState::Broken)
            .map(|check| check.about.clone())
            .collect()
    };
    let plan = conductors_with(RGBW, &five, 4, 5, 4);
    assert_eq!(broken(&plan, "conductors"), ["cable"]);
    assert!(plan.breaks_a_limit());
    let sentence = &checks(&plan, "conductors")[0].sentence;
    assert!(
        sentence.contains("4 conductors") && sentence.contains("needs 5"),
        "{sentence}"
    );
    assert_eq!(
        broken(&conductors_with(RGBW, &five, 5, 4, 4), "conductors"),
        ["block"]
    );
    assert_eq!(
        broken(&conductors_with(RGBW, &five, 5, 5, 3), "channels"),
        ["driver"]
    );
    let plan = conductors_with(RGBW, &four, 5, 5, 4);
    assert_eq!(broken(&plan, "conductors"), ["lead"]);

    let plan = conductors_with(RGB, &four, 4, 4, 3);
    assert!(broken(&plan, "conductors").is_empty() && broken(&plan, "channels").is_empty());
    assert_eq!(
        broken(&conductors_with(RGB, &four, 3, 4, 3), "conductors"),
        ["cable"]
    );
}

#[test]
fn tape_of_12_mm_does_not_go_into_10_mm() {
    let mut house = House::new();
    let mut wide = tape(RGB);
    wide["width_um"] = json!(12_000);
    let wide = house.part(1, "wide tape", wide);
    let profile = |inner: i64| {
        json!({"kind": "profile", "inner_width_um": inner, "diffuser": "opal", "may_cut": true,
               "kerf_um": 2_000, "heat_mw_per_m": 20_000})
    };
    let narrow = house.part(2, "narrow profile", profile(10_000));
    house.offer(wide, 5_000_000, 5_000);
    house.offer(narrow, 2_000_000, 100);
    house.bar(1, 1_000_000, RGB, json!({"diffused": true}));
    // Left to itself the planner does not put them together.
    assert!(matches!(house.plan().bars[0].serve, Serve::Short { .. }));

    // Chosen by hand they are, and it says which two disagree, in what, and what would fit.
    house.input.design.bars[0].profile = Some(narrow);
    let plan = house.plan();
    let width = checks(&plan, "width");
    assert_eq!(width.len(), 1);
    assert_eq!(width[0].state, CheckState::Broken);
    assert!(width[0].sentence.contains("wide tape is 12 mm wide"));
    assert!(width[0].sentence.contains("narrow profile takes 10 mm"));
    assert!(width[0].mend.contains("12 mm"));

    house.input.design.bars[0].profile = None;
    let broad = house.part(3, "broad profile", profile(12_000));
    house.offer(broad, 2_000_000, 900);
    let plan = house.plan();
    let Serve::Build(build) = &plan.bars[0].serve else {
        panic!("{:?}", plan.bars[0])
    };
    assert_eq!(build.profile.map(|(part, _)| part), Some(broad));
    assert_eq!(checks(&plan, "width")[0].state, CheckState::Passed);
}

/// A 13 ft roll with a lead at each end, in cut units of an inch.
fn leaded_roll(bars: &[i64]) -> Plan {
    let mut house = House::new();
    let mut inch = tape(RGB);
    inch["pitch"] = json!({"units": 1, "um": 25_400});
    let pins = ["common", "red", "green", "blue"];
    let connector = json!({"family": "inline", "gender": "male", "pins": pins});
    let tape = house.part(1, "tape", inch);
    house.part(2, "lead", lead("male", &pins));
    let end = json!({"is": "lead", "connector": connector});
    house.piece(1, tape, 13 * 12, json!({"start": end, "end": end}));
    for (id, feet) in (1..).zip(bars) {
        house.bar(id, feet * FOOT, RGB, json!({"shorter_um": 0}));
    }
    house.plan()
}

fn factory_leads(plan: &Plan) -> usize {
    let joints = plan.bars.iter().filter_map(|bar| match &bar.serve {
        Serve::Build(build) => Some([build.start, build.end]),
        _ => None,
    });
    joints
        .flatten()
        .filter(|joint| *joint == Joint::FactoryLead)
        .count()
}

#[test]
fn a_roll_with_a_lead_at_each_end_gives_at_most_two_bars_with_one() {
    let plan = leaded_roll(&[3, 3, 3, 3]);
    assert!(
        plan.bars
            .iter()
            .all(|bar| matches!(bar.serve, Serve::Build(_)))
    );
    assert_eq!(factory_leads(&plan), 2);
    let soldered = need(&plan, 2.into()).expect("two leads are to be soldered on");
    assert_eq!((soldered.needed, soldered.short), (2, 2));

    let plan = leaded_roll(&[6, 6]);
    assert_eq!(factory_leads(&plan), 2);
    assert!(need(&plan, 2.into()).is_none(), "nothing is soldered");
    let rests: Vec<i64> = plan.cuts[0]
        .segments
        .iter()
        .filter(|segment| matches!(segment.becomes, Becomes::Offcut | Becomes::Scrap))
        .map(|segment| segment.to - segment.from)
        .collect();
    assert_eq!(rests, [12], "1 ft is left, in one piece");
}

#[test]
fn leads_come_in_packs() {
    // Five to a pack: six needed, ten bought, four left over.
    let mut house = House::new();
    let tape = house.part(1, "tape", tape(RGB));
    let lead = house.part(2, "lead", lead("male", &["common", "red", "green", "blue"]));
    house.piece(1, tape, 200, json!({}));
    house.offer(lead, 5, 450);
    for id in 1..=6 {
        house.bar(id, 1_000_000, RGB, json!({}));
    }
    let plan = house.plan();
    let leads = need(&plan, lead).expect("leads");
    assert_eq!((leads.needed, leads.there, leads.short), (6, 0, 6));
    let [buy] = leads.buy.as_slice() else {
        panic!("{:?}", leads.buy)
    };
    assert_eq!(
        (buy.packs, buy.left_over, buy.cost_minor.get()),
        (2, 4, 900)
    );
    // Built on 1 October, two days to spare, three to deliver.
    assert_eq!(buy.order_by, crate::house::day("2026-09-26"));
}

#[test]
fn what_is_left_of_a_bought_reel_is_what_the_cut_list_keeps() {
    // A reel of 25 m: four runs of 4 m and two feeds of 3 m leave 3 m.
    let mut house = House::new();
    let tape = house.part(1, "tape", tape(RGB));
    let cable = house.part(
        2,
        "cable",
        json!({"kind": "cable", "conductors": 4, "conductor": "16 AWG", "rating_ma": 10_000,
               "strand": "stranded"}),
    );
    house.part(3, "driver", driver(4, 3, "isolated"));
    house.part(4, "supply", supply(10_000, Some(2)));
    house.input.venue.feed_um = Length::mm(3_000);
    house.piece(1, tape, 400, json!({}));
    house.offer(cable, 25_000_000, 4_000);
    for id in 1..=4 {
        house.bar(id, 1_000_000, RGB, json!({"cable_um": 4_000_000}));
    }
    let plan = house.plan();
    let cable = need(&plan, cable).expect("cable");
    assert_eq!((cable.needed, cable.short), (22_000_000, 22_000_000));
    let [buy] = cable.buy.as_slice() else {
        panic!("{:?}", cable.buy)
    };
    assert_eq!((buy.packs, buy.left_over), (1, 3_000_000));
}

/// So many bars of four colours on a driver of eight outputs, with supplies of three pairs.
fn eight(bars: i64, isolation: &str) -> Plan {
    house_of_eight(bars, isolation).plan()
}

fn house_of_eight(bars: i64, isolation: &str) -> House {
    let mut house = House::new();
    let tape = house.part(1, "tape", tape(RGBW));
    let driver = house.part(2, "driver", driver(8, 4, isolation));
    house.part(3, "supply", supply(20_000, Some(3)));
    house.unit(1, "D-1", driver, Some(200));
    house.piece(9, tape, 400, json!({}));
    for id in 1..=bars {
        house.bar(id, 1_000_000, RGBW, json!({}));
    }
    house
}

#[test]
fn eight_outputs_of_four_channels_take_32_slots_and_their_supplies_pairs_of_terminals() {
    let plan = eight(6, "isolated");
    let [driver] = plan.drivers.as_slice() else {
        panic!("one driver serves: {:?}", plan.drivers)
    };
    assert_eq!(driver.slots, 32);
    // It stays at the address that it is set to, clear of the venue's slots 1 to 96.
    assert_eq!(
        driver.address.map(|start| (start.universe, start.slot)),
        Some((1, 200))
    );
    assert_eq!(plan.bars[1].slot.map(|slot| slot.slot), Some(204));
    assert_eq!(
        plan.supplies.len(),
        1,
        "three pairs feed three inlets of two outputs"
    );
    assert_eq!(plan.supplies[0].pairs_used, 3);

    let plan = eight(8, "isolated");
    let pairs: Vec<u8> = plan
        .supplies
        .iter()
        .map(|supply| supply.pairs_used)
        .collect();
    assert_eq!(pairs, [2, 2]);
    let fed: Vec<_> = plan.drivers[0]
        .inlets
        .iter()
        .map(|inlet| inlet.supply)
        .collect();
    assert_eq!(fed, [Some(0), Some(0), Some(1), Some(1)]);
    assert_eq!(checks(&plan, "isolation")[0].state, CheckState::Passed);

    for isolation in ["bonded", "unknown"] {
        // All eight on one driver need two supplies, which it can't have.
        let mut house = house_of_eight(8, isolation);
        let PartSpec::Driver(driver) = house.input.parts[1].spec.clone() else {
            panic!("the driver");
        };
        assert_eq!(
            fit::isolation("D-1", &driver, 2).state,
            CheckState::Broken,
            "{isolation}"
        );
        // So it is not planned: two bars have no driver, which the plan says.
        house.input.parts[1].retired = true;
        let plan = house.plan();
        assert_eq!((plan.drivers.len(), plan.supplies.len()), (1, 1));
        assert_eq!(
            plan.bars.iter().filter(|bar| bar.output.is_none()).count(),
            2
        );
        assert_eq!(checks(&plan, "driver")[0].state, CheckState::Broken);
        assert!(plan.breaks_a_limit());
        // With another driver to buy, each has one supply.
        let plan = eight(8, isolation);
        assert_eq!((plan.drivers.len(), plan.supplies.len()), (2, 2));
        assert!(checks(&plan, "isolation").is_empty(), "{isolation}");
    }
    assert!(
        checks(&eight(6, "bonded"), "isolation").is_empty(),
        "one supply is allowed"
    );
}

#[test]
fn a_currents_limits_and_what_is_not_known_are_not_passed() {
    let mut house = House::new();
    let tape_id = house.part(1, "tape", tape(RGB));
    let driver_id = house.part(2, "driver", driver(2, 3, "isolated"));
    house.part(3, "supply", supply(1_500, None));
    house.unit(1, "D-1", driver_id, None);
    house.piece(9, tape_id, 400, json!({}));
    // 2.5 m × 4.8 W/m ÷ 24 V is 0.5 A for each of three colours.
    house.bar(1, 2_500_000, RGB, json!({}));
    let plan = house.plan();
    let bar = &plan.bars[0];
    assert_eq!(bar.current_ma.map(Current::get), Some(1_500));
    assert_eq!(bar.channel_ma.map(Current::get), Some(500));
    assert_eq!(bar.power_mw.map(Power::get), Some(36_000));
    // 80 % of 1.5 A is 1.2 A: common practice, no source.
    assert_eq!(plan.supplies[0].usable_ma.get(), 1_200);
    assert_eq!(checks(&plan, "limit-supply")[0].state, CheckState::Broken);
    assert_eq!(checks(&plan, "terminals")[0].state, CheckState::Unknown);
    assert_eq!(
        plan.checks[0].state,
        CheckState::Broken,
        "broken ones come first"
    );

    let mut unknown = tape(RGB);
    unknown["channels"][1] = json!({"channel": "green"});
    house.input.parts.remove(0);
    house.part(1, "tape", unknown);
    let plan = house.plan();
    assert_eq!(plan.bars[0].current_ma, None, "unknown is not nought");
    assert_eq!(checks(&plan, "limit-supply")[0].state, CheckState::Unknown);
    assert_eq!(checks(&plan, "limit-channel")[0].state, CheckState::Unknown);
}

#[test]
fn polarity_and_voltage_agree_between_tape_driver_and_supply() {
    let plan_with = |common: &str, min_mv: u32, supply_mv: u32| {
        let mut house = House::new();
        let tape_id = house.part(1, "tape", tape(RGB));
        let mut driver = driver(2, 3, "isolated");
        driver["common"] = json!(common);
        driver["voltage_min_mv"] = json!(min_mv);
        driver["voltage_max_mv"] = json!(36_000);
        house.part(2, "driver", driver);
        let mut supply = supply(5_000, Some(2));
        supply["voltage_mv"] = json!(supply_mv);
        house.part(3, "supply", supply);
        house.piece(9, tape_id, 400, json!({}));
        house.input.design.choices =
            serde_json::from_value(json!({"driver": 2, "supply": 3})).expect("choices");
        house.bar(1, 1_000_000, RGB, json!({}));
        house.plan()
    };
    let broken = |plan: &Plan| -> BTreeSet<String> {
        let broken = plan
            .checks
            .iter()
            .filter(|check| check.state == CheckState::Broken);
        broken
            .map(|check| check.key.split(':').next().unwrap_or_default().to_owned())
            .collect()
    };
    let only = |rule: &str| BTreeSet::from([rule.to_owned()]);
    let lead_missing = only("lead");
    let without_lead = |plan: Plan| &broken(&plan) - &lead_missing;
    assert_eq!(
        without_lead(plan_with("positive", 12_000, 24_000)),
        BTreeSet::new()
    );
    assert_eq!(
        without_lead(plan_with("negative", 12_000, 24_000)),
        only("polarity")
    );
    assert_eq!(
        without_lead(plan_with("positive", 30_000, 24_000)),
        only("voltage")
    );
    assert_eq!(
        without_lead(plan_with("positive", 12_000, 12_000)),
        only("supply-voltage")
    );
}

#[test]
fn solid_cable_and_mixed_whites_or_batches_are_warned_of() {
    let mut house = House::new();
    let mut warm = tape(&["white"]);
    warm["channels"][0]["kelvin"] = json!(2_700);
    let mut cool = tape(&["white"]);
    cool["channels"][0]["kelvin"] = json!(4_000);
    let (warm, cool) = (house.part(1, "warm", warm), house.part(2, "cool", cool));
    let solid = json!({"kind": "cable", "conductors": 2, "strand": "solid"});
    house.part(3, "bell wire", solid);
    house.piece(1, warm, 40, json!({"batch": "A"}));
    house.piece(2, warm, 40, json!({"batch": "B"}));
    house.piece(3, cool, 40, json!({}));
    let bar = |tape: i64| json!({"tape": tape, "cable_um": 1_000_000});
    house.bar(1, 1_500_000, &["white"], bar(1));
    house.bar(2, 1_500_000, &["white"], bar(1));
    house.bar(3, 1_500_000, &["white"], bar(2));
    let plan = house.plan();
    let state = |rule: &str| {
        checks(&plan, rule)
            .iter()
            .map(|check| check.state)
            .collect::<Vec<_>>()
    };
    assert_eq!(state("whites"), [CheckState::Warned]);
    assert_eq!(state("batches"), [CheckState::Warned]);
    assert_eq!(state("flex"), [CheckState::Warned]);
}

#[test]
fn thirty_two_drivers_hang_on_one_line() {
    // EIA-485: 32 unit loads a line.
    let chain = |bars: i64| {
        let mut house = House::new();
        let tape = house.part(1, "tape", tape(RGB));
        house.part(2, "driver", driver(1, 3, "isolated"));
        house.part(3, "supply", supply(20_000, Some(9)));
        house.piece(1, tape, 40 * 20, json!({}));
        for id in 1..=bars {
            house.bar(id, 1_000_000, RGB, json!({}));
        }
        let data = house.plan().data;
        (data.cables, data.splitters, data.terminators)
    };
    assert_eq!(chain(32), (32, 0, 1));
    assert_eq!(chain(33), (34, 1, 2));
}
