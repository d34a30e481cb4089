//! Volts along the bars of a plan, against the circuit written out by hand and against closed forms.

use serde_json::{Value, json};
use tapewright::{
    calc::drop::{self, DropAnswer, DropBody},
    model::{channel::Channel, fixture::Fed},
    plan::{
        outcome::{CheckState, Plan},
        volts::figures::{BarVolts, DropVolts, How, Mend},
    },
    units::{ConductorSize, Length, Money, Strand},
};

use crate::house::{House, RGB, checks, driver, lead, supply, tape};

const PINS: &[&str] = &["common", "green", "red", "blue"];
/// What every plan takes for a contact, a driver's channel and warmth, as its assumptions state.
const CONTACT_OHM: f64 = 0.010;
const ON_OHM: f64 = 0.030;
const CELSIUS: f64 = 40.0;
/// Length of both tails of a plug, in m.
const TAILS_M: f64 = 0.3;

fn known_tape() -> Value {
    let mut spec = tape(RGB);
    spec["leds_in_series"] = json!(6);
    spec["trace_common_uohm_per_m"] = json!(100_000);
    spec["trace_channel_uohm_per_m"] = json!(140_000);
    spec
}

/// A house with one bar of RGB tape, everything noted.
fn house(spec: Value, length_um: i64, more: Value) -> House {
    let mut house = House::new();
    house.part(1, "tape", spec);
    let tail = |gender| {
        let mut spec = lead(gender, PINS);
        spec["tail_um"] = json!(150_000);
        spec["conductor"] = json!("22 AWG");
        spec
    };
    house.part(2, "lead", tail("male"));
    house.part(3, "socket", tail("female"));
    house.part(
        4,
        "cable",
        json!({"kind": "cable", "conductors": 4, "rating_ma": 9_000, "conductor": "18 AWG",
               "strand": "stranded"}),
    );
    house.part(
        5,
        "block",
        json!({"kind": "block", "ways": 12, "rating_ma": 9_000}),
    );
    house.part(6, "driver", driver(2, 3, "isolated"));
    house.part(7, "supply", supply(10_000, Some(2)));
    house.piece(1, 1.into(), 400, json!({}));
    house.input.design.choices = serde_json::from_value(json!({
        "lead": 2, "cable": 4, "block": 5, "driver": 6, "supply": 7,
    }))
    .expect("choices");
    house.bar(1, length_um, RGB, more);
    house
}

fn of_bar(plan: &Plan) -> &BarVolts {
    let output = &plan.volts.outputs[0];
    assert_eq!(output.unsolved, None);
    &output.bars[0]
}

fn ohm_per_m(size: &str) -> f64 {
    let size: ConductorSize = size.parse().expect("a size");
    let found = size.resistance(Strand::Stranded, CELSIUS);
    found.expect("in the table").ohms_per_m()
}

/// The cable, tails and contacts of one run as one cable: driver, block and plug make 3 contacts.
fn run(name: &str, to: &str, cable_m: f64) -> Value {
    let ohm = cable_m * ohm_per_m("18 AWG") + TAILS_M * ohm_per_m("22 AWG");
    let conductor = json!({"resistance_ohm_per_m": ohm});
    json!({
        "name": name, "from": "driver_output", "to": to, "length_m": 1.0,
        "channel_conductor": conductor, "common_conductor": conductor,
        "contact_resistance_ohm_per_contact": CONTACT_OHM, "contacts_in_series_per_conductor": 3,
    })
}

/// The same circuit as a document of the calculator, which knows nothing of plans.
fn by_hand(model: &str, cables: &[Value], lit_m: f64, on: &[&str]) -> DropAnswer {
    let body = json!({
        "nominal_voltage_v": 24.0, "load_model": model,
        "supply": {"voltage_v": 24.0, "source_resistance_ohm": 0.0}, "feed_cable": null,
        "driver": {"channels": RGB, "channels_on": on, "on_resistance_ohm_per_channel": ON_OHM},
        "cables": cables,
        "bars": [{
            "name": "a", "channels": RGB, "length_m": lit_m, "cut_pitch_m": 0.05,
            "power_w_per_m": 4.8, "trace_resistance_ohm_per_m": 0.14,
            "trace_resistance_common_ohm_per_m": 0.1, "leds_in_series": 6,
            "led_forward_voltage_v": {"red": 1.85, "green": 2.8, "blue": 2.8},
        }],
    });
    let body: DropBody = serde_json::from_value(body).expect("a document");
    drop::answer(&body).expect("it is answered")
}

/// Figures of a plan are kept in thousandths.
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 0.000_6, "{found}, {expected}");
}

fn same(found: &DropVolts, by_hand: &DropAnswer, colour: &str) {
    let bar = &by_hand.bars[0];
    near(found.current_a, bar.current_a[colour]);
    near(found.power_w, bar.power_w[colour]);
    near(found.voltage_at_driver_v, bar.voltage_at_driver_v[colour]);
    near(found.voltage_at_start_v, bar.voltage_at_start_v[colour]);
    near(found.voltage_at_worst_v, bar.voltage_at_worst_v[colour]);
    near(found.drop_percent, bar.drop_percent[colour]);
    near(found.drop_cable_percent, bar.drop_cable_percent[colour]);
    near(found.drop_tape_percent, bar.drop_tape_percent[colour]);
    near(found.light_worst_percent, bar.light_worst_percent[colour]);
    assert_eq!(found.worst_cut_unit, bar.worst_cut_unit[colour]);
}

#[test]
fn a_bar_of_a_plan_is_the_circuit_written_out_by_hand() {
    let plan = house(known_tape(), 2_500_000, json!({"cable_um": 4_000_000})).plan();
    let bar = of_bar(&plan);
    assert_eq!((bar.cut_units, bar.channels.len()), (50, 3));
    assert!(bar.assumed.is_empty() && bar.range.is_none());
    let cables = [run("run", "a_start", 4.0)];
    let full = by_hand("resistor_string", &cables, 2.5, RGB);
    let bound = by_hand("constant_current", &cables, 2.5, RGB);
    for (channel, word) in bar.channels.iter().zip(["red", "green", "blue"]) {
        assert_eq!(channel.channel.word(), word);
        same(&channel.full, &full, word);
        let alone = by_hand("resistor_string", &cables, 2.5, &[word]);
        same(&channel.alone, &alone, word);
        near(
            channel.bound_drop_percent.expect("the wires carry it"),
            bound.bars[0].drop_percent[word],
        );
        assert!(channel.full.drop_percent < channel.bound_drop_percent.expect("as before"));
    }
    // The lowest volts and the least light are different colours.
    assert_eq!(bar.lowest.channel, Channel::Red);
    assert_ne!(bar.dimmest.channel, Channel::Red);
    near(bar.runs[0].lost_w, full.cables[0].lost_w);
    let total = plan.volts.outputs[0].total.as_ref().expect("it is solved");
    let sum = total.lost_driver_w + total.lost_cables_w + total.lost_tape_w + total.lit_w;
    assert!((total.power_w - sum).abs() < 0.003, "{total:?}");
    near(total.power_w, full.supply_power_w);
}

#[test]
fn the_second_run_of_a_bar_fed_at_both_ends_is_longer_by_the_bar() {
    let more = json!({"cable_um": 4_000_000, "fed": "both_ends"});
    let plan = house(known_tape(), 5_000_000, more).plan();
    let bar = of_bar(&plan);
    let cables = [run("near", "a_start", 4.0), run("far", "a_end", 9.0)];
    let full = by_hand("resistor_string", &cables, 5.0, RGB);
    for (channel, word) in bar.channels.iter().zip(["red", "green", "blue"]) {
        same(&channel.full, &full, word);
    }
    assert!(bar.lowest.cut_unit < bar.cut_units, "{:?}", bar.lowest);
}

/// Constant current, one end: drop of the tape is I·r·L/2, and ΣI·r·L/2 of the common; of the wires
/// (I + ΣI)·R, of the driver I·R (the ladder's convention, CHECKS; by Ohm's law).
#[test]
fn the_upper_bound_is_the_closed_form() {
    let plan = house(known_tape(), 5_000_000, json!({"cable_um": 10_000_000})).plan();
    let (amps, length_m) = (4.8 * 5.0 / 24.0, 5.0);
    let run_ohm = 10.0 * ohm_per_m("18 AWG") + TAILS_M * ohm_per_m("22 AWG") + 3.0 * CONTACT_OHM;
    let tape = amps * 0.14 * length_m / 2.0 + 3.0 * amps * 0.1 * length_m / 2.0;
    let volts = tape + 4.0 * amps * run_ohm + amps * ON_OHM;
    let bound = of_bar(&plan).channels[0].bound_drop_percent;
    near(bound.expect("the wires carry it"), 100.0 * volts / 24.0);
}

fn state(plan: &Plan, rule: &str) -> CheckState {
    let found = checks(plan, rule);
    assert_eq!(found.len(), 1, "{rule}");
    found[0].state
}

#[test]
fn drop_and_light_are_judged_by_the_usual_bounds() {
    // 3 %, 5 % and 10 %: NFPA 70, informational notes; BS 7671, appendix; common practice for tape.
    let at = |length_um: i64, cable_um: i64| {
        let plan = house(
            known_tape(),
            length_um,
            json!({"cable_um": cable_um, "longer_um": 0}),
        )
        .plan();
        let worst = of_bar(&plan).worst_drop_percent;
        (worst, state(&plan, "drop"), state(&plan, "light"))
    };
    let (short, drop, light) = at(1_000_000, 2_000_000);
    assert!(short < 3.0, "{short}");
    assert_eq!((drop, light), (CheckState::Passed, CheckState::Passed));
    let (long, drop, light) = at(5_000_000, 5_000_000);
    assert!((5.0..10.0).contains(&long), "{long}");
    assert_eq!((drop, light), (CheckState::Warned, CheckState::Warned));
    let (far, drop, light) = at(10_000_000, 20_000_000);
    assert!(far > 10.0, "{far}");
    assert_eq!((drop, light), (CheckState::Broken, CheckState::Broken));
}

#[test]
fn what_is_missing_is_assumed_and_never_passed() {
    for field in [
        "leds_in_series",
        "trace_common_uohm_per_m",
        "trace_channel_uohm_per_m",
    ] {
        let mut spec = known_tape();
        spec.as_object_mut().expect("an object").remove(field);
        let plan = house(spec, 1_000_000, json!({"cable_um": 2_000_000})).plan();
        let bar = of_bar(&plan);
        assert_eq!(bar.assumed.iter().filter(|one| one.missing).count(), 1);
        let range = bar.range.expect("a range");
        assert!(range.drop_best_percent <= bar.worst_drop_percent);
        assert!(
            bar.worst_drop_percent <= range.drop_worst_percent + 0.01,
            "{field}"
        );
        assert!(
            range.light_worst_percent < range.light_best_percent,
            "{field}"
        );
        assert_eq!(state(&plan, "drop"), CheckState::Warned, "{field}");
        assert_ne!(state(&plan, "light"), CheckState::Passed, "{field}");
        let said = checks(&plan, "drop")[0];
        assert!(said.sentence.contains("Assumed"), "{}", said.sentence);
        assert!(said.mend.contains("Enter it"), "{}", said.mend);
    }
}

#[test]
fn where_the_range_of_what_is_missing_decides_it_is_not_known() {
    let mut spec = known_tape();
    for field in ["trace_common_uohm_per_m", "trace_channel_uohm_per_m"] {
        spec.as_object_mut().expect("an object").remove(field);
    }
    let plan = house(spec, 5_000_000, json!({"cable_um": 12_000_000})).plan();
    let range = of_bar(&plan).range.expect("a range");
    assert!(
        range.drop_best_percent < 10.0 && range.drop_worst_percent > 10.0,
        "{range:?}"
    );
    assert_eq!(state(&plan, "drop"), CheckState::Unknown);
    assert!(plan.breaks_a_limit());
}

#[test]
fn without_watts_or_tape_nothing_is_said_and_nothing_passed() {
    let mut spec = known_tape();
    spec["channels"][1] = json!({"channel": "green"});
    let plan = house(spec, 1_000_000, json!({})).plan();
    let output = &plan.volts.outputs[0];
    assert!(output.bars.is_empty() && output.total.is_none());
    let why = output.unsolved.as_deref().expect("why");
    assert!(why.contains("green"), "{why}");
    assert_eq!(state(&plan, "drop"), CheckState::Unknown);

    // A string that needs the whole voltage leaves nothing for its resistor.
    let mut spec = known_tape();
    spec["leds_in_series"] = json!(9);
    let plan = house(spec, 1_000_000, json!({})).plan();
    assert!(plan.volts.outputs[0].unsolved.is_some());
    assert_eq!(state(&plan, "drop"), CheckState::Unknown);
}

#[test]
fn bars_of_one_group_share_an_output_and_its_channels() {
    let mut house = house(
        known_tape(),
        2_000_000,
        json!({"cable_um": 4_000_000, "group": "left"}),
    );
    house.bar(
        2,
        1_000_000,
        RGB,
        json!({"cable_um": 2_000_000, "group": "left"}),
    );
    let plan = house.plan();
    assert_eq!(plan.volts.outputs.len(), 1);
    let output = &plan.volts.outputs[0];
    let [long, short] = output.bars.as_slice() else {
        panic!("two bars on one output");
    };
    assert!(long.worst_drop_percent > short.worst_drop_percent);
    // Both see the same volts at the driver: the channel carries both.
    near(
        long.channels[0].full.voltage_at_driver_v,
        short.channels[0].full.voltage_at_driver_v,
    );
    let amps = long.channels[0].full.current_a + short.channels[0].full.current_a;
    near(
        24.0 - amps * ON_OHM,
        long.channels[0].full.voltage_at_driver_v,
    );
}

#[test]
fn no_figure_of_a_plan_is_without_end() {
    fn look(value: &Value, path: &str) {
        match value {
            Value::Null if path.ends_with("_v") || path.ends_with("_percent") => {
                // A number that is none is written as null.
                assert!(path.ends_with("bound_drop_percent"), "{path}");
            }
            Value::Object(map) => {
                for (key, value) in map {
                    look(value, &format!("{path}/{key}"));
                }
            }
            Value::Array(list) => {
                for value in list {
                    look(value, path);
                }
            }
            _ => {}
        }
    }
    for length in [50_000, 1_000_000, 10_000_000] {
        for cable in [0, 500_000, 90_000_000] {
            let plan = house(known_tape(), length, json!({"cable_um": cable})).plan();
            look(&serde_json::to_value(&plan.volts).expect("JSON"), "");
            let text = serde_json::to_string(&plan).expect("JSON");
            let back: Plan = serde_json::from_str(&text).expect("a plan");
            assert_eq!(back, plan, "what is kept reads back the same");
        }
    }
}

/// A bar of 4 m behind 8 m of cable, which is not good enough, with what would mend it to buy.
fn long_bar() -> House {
    let mut house = house(known_tape(), 4_000_000, json!({"cable_um": 8_000_000}));
    let thick = json!({"kind": "cable", "conductors": 4, "rating_ma": 15_000,
                       "conductor": "14 AWG", "strand": "stranded"});
    house.part(14, "thick cable", thick);
    let five = json!({"kind": "cable", "conductors": 5, "rating_ma": 9_000,
                      "conductor": "18 AWG", "strand": "stranded"});
    house.part(15, "cable of five", five);
    house.offer(2.into(), 5, 1_000);
    house.offer(4.into(), 100_000_000, 8_000);
    house.offer(14.into(), 50_000_000, 10_000);
    house.offer(15.into(), 100_000_000, 9_000);
    house
}

fn mend(plan: &Plan, how: How) -> &Mend {
    let mends = &of_bar(plan).mends;
    let found = mends.iter().find(|mend| mend.how == how);
    found.unwrap_or_else(|| panic!("no {how:?} among {mends:?}"))
}

/// A mend has the figures of the plan of the changed set.
fn as_planned(mend: &Mend, changed: &House) {
    let plan = changed.plan();
    let bar = of_bar(&plan);
    near(mend.drop_percent, bar.worst_drop_percent);
    near(mend.light_percent, bar.worst_light_percent);
    let good =
        state(&plan, "drop") == CheckState::Passed && state(&plan, "light") == CheckState::Passed;
    assert_eq!(mend.good, good, "{mend:?}");
}

#[test]
fn a_good_bar_needs_no_mend_and_a_poor_one_has_all_that_can_be_had() {
    let plan = house(known_tape(), 1_000_000, json!({"cable_um": 2_000_000})).plan();
    assert!(of_bar(&plan).mends.is_empty());
    let plan = long_bar().plan();
    let hows: Vec<How> = of_bar(&plan).mends.iter().map(|mend| mend.how).collect();
    assert_eq!(
        hows,
        [
            How::BothEnds,
            How::MiddleFeed,
            How::ThickerCable,
            How::DoubledCommon,
            How::ShorterRun,
            How::DriverNearer,
        ]
    );
    let bar = of_bar(&plan);
    for mend in &bar.mends {
        assert!(mend.drop_percent < bar.worst_drop_percent, "{mend:?}");
    }
}

#[test]
fn feeding_both_ends_is_as_the_set_so_changed() {
    let plan = long_bar().plan();
    let found = mend(&plan, How::BothEnds);
    let mut changed = long_bar();
    changed.input.design.bars[0].fed = Fed::BothEnds;
    as_planned(found, &changed);
    // 8 m and the bar's 4 m of cable at 80.00 for 100 m, and a lead at 10.00 for 5.
    assert_eq!(found.cost_minor.map(Money::get), Some(960 + 200));
}

#[test]
fn a_thicker_cable_is_as_the_set_so_changed() {
    let plan = long_bar().plan();
    let found = mend(&plan, How::ThickerCable);
    assert!(found.words.contains("thick cable"), "{}", found.words);
    let mut changed = long_bar();
    changed.input.design.choices.cable = Some(14.into());
    as_planned(found, &changed);
    assert_eq!(found.cost_minor.map(Money::get), Some(1_600));
}

#[test]
fn a_shorter_bar_and_a_nearer_driver_are_as_the_set_so_changed() {
    let plan = long_bar().plan();
    let metres = |mend: &Mend| -> i64 {
        let word = mend.words.split("at most ").nth(1).expect("a length");
        let mm = word.split(" mm").next().expect("in mm");
        mm.replace(['\u{202f}', ' ', ','], "")
            .parse::<i64>()
            .expect("a number")
            * 1_000
    };
    let shorter = mend(&plan, How::ShorterRun);
    let mut changed = long_bar();
    changed.input.design.bars[0].length_um = Length::new(metres(shorter)).expect("a length");
    as_planned(shorter, &changed);
    // One cut unit more is no longer good enough.
    let more = metres(shorter) + 50_000;
    changed.input.design.bars[0].length_um = Length::new(more).expect("a length");
    let longer = changed.plan();
    assert!(shorter.good && !of_bar(&longer).mends.is_empty());

    let nearer = mend(&plan, How::DriverNearer);
    let mut changed = long_bar();
    changed.input.design.bars[0].cable_um = Length::new(metres(nearer)).expect("a length");
    as_planned(nearer, &changed);
    assert!(nearer.good);
}

/// Neither a run to the middle nor a doubled common can be planned, so the circuits are written out.
#[test]
fn a_middle_feed_and_a_doubled_common_are_as_the_circuits_written_out() {
    let plan = long_bar().plan();
    let worst = |answer: &DropAnswer| {
        let drop = answer.bars.iter().flat_map(|bar| bar.drop_percent.values());
        let light = answer
            .bars
            .iter()
            .flat_map(|bar| bar.light_worst_percent.values());
        (
            drop.copied().fold(0.0, f64::max),
            light.copied().fold(f64::INFINITY, f64::min),
        )
    };
    let doubled = mend(&plan, How::DoubledCommon);
    let mut cable = run("run", "a_start", 8.0);
    cable["common_conductor"] = json!({"resistance_ohm_per_m":
        4.0 * ohm_per_m("18 AWG") + TAILS_M * ohm_per_m("22 AWG")});
    let (drop, light) = worst(&by_hand("resistor_string", &[cable], 4.0, RGB));
    near(doubled.drop_percent, drop);
    near(doubled.light_percent, light);
    assert!(doubled.words.contains("cable of five"), "{}", doubled.words);
    assert_eq!(doubled.cost_minor.map(Money::get), Some(720));

    // Two halves of 2 m from the middle, over 8 m and half the bar of cable. Each mix is solved.
    let middle = mend(&plan, How::MiddleFeed);
    let mut found = (0.0_f64, f64::INFINITY);
    for mix in 1..8_u32 {
        let on: Vec<&str> = (0..3)
            .filter(|at| mix >> at & 1 == 1)
            .map(|at| RGB[at])
            .collect();
        let answer = by_hand_halves(&run("run", "left_start", 10.0), &on);
        let (drop, light) = worst(&answer);
        found = (found.0.max(drop), found.1.min(light));
    }
    near(middle.drop_percent, found.0);
    near(middle.light_percent, found.1);
    assert_eq!(middle.cost_minor.map(Money::get), Some(160));
}

fn by_hand_halves(cable: &Value, on: &[&str]) -> DropAnswer {
    let none = json!({"resistance_ohm_per_m": 0.001});
    let half = |name: &str| {
        json!({
            "name": name, "channels": RGB, "length_m": 2.0, "cut_pitch_m": 0.05,
            "power_w_per_m": 4.8, "trace_resistance_ohm_per_m": 0.14,
            "trace_resistance_common_ohm_per_m": 0.1, "leds_in_series": 6,
            "led_forward_voltage_v": {"red": 1.85, "green": 2.8, "blue": 2.8},
        })
    };
    let jumper = json!({
        "name": "jumper", "from": "left_start", "to": "right_start", "length_m": 0.0,
        "channel_conductor": none, "common_conductor": none,
        "contact_resistance_ohm_per_contact": 0.0, "contacts_in_series_per_conductor": 0,
    });
    let body = json!({
        "nominal_voltage_v": 24.0, "load_model": "resistor_string",
        "supply": {"voltage_v": 24.0, "source_resistance_ohm": 0.0}, "feed_cable": null,
        "driver": {"channels": RGB, "channels_on": on, "on_resistance_ohm_per_channel": ON_OHM},
        "cables": [cable, jumper], "bars": [half("left"), half("right")],
    });
    let body: DropBody = serde_json::from_value(body).expect("a document");
    drop::answer(&body).expect("it is answered")
}

#[test]
fn a_tape_of_higher_voltage_is_as_the_set_so_changed() {
    let low = || {
        let mut spec = known_tape();
        spec["voltage_mv"] = json!(12_000);
        spec["leds_in_series"] = json!(3);
        let mut house = house(spec, 3_000_000, json!({"cable_um": 5_000_000, "tape": 1}));
        house.part(11, "tape of 24 V", known_tape());
        let mut spec = supply(10_000, Some(2));
        spec["voltage_mv"] = json!(12_000);
        house.part(17, "supply of 12 V", spec);
        house.input.design.choices.supply = None;
        house.offer(11.into(), 5_000_000, 6_000);
        house
    };
    let plan = low().plan();
    let found = mend(&plan, How::HigherVoltage);
    assert!(found.words.contains("tape of 24 V"), "{}", found.words);
    let mut changed = low();
    changed.input.design.bars[0].tape = Some(11.into());
    as_planned(found, &changed);
    // 3 m of it at 60.00 for 5 m.
    assert_eq!(found.cost_minor.map(Money::get), Some(3_600));
    // Where the catalogue has none, a ready-made one is named.
    let mut alone = low();
    alone.input.parts.retain(|part| part.id != 11.into());
    let plan = alone.plan();
    let ready = mend(&plan, How::HigherVoltage);
    assert!(ready.words.contains("ready-made"), "{}", ready.words);
    assert!(ready.cost_minor.is_none());
    // At twice the volts half the current flows: a quarter of the drop in percent, or a little more.
    let ratio = of_bar(&plan).worst_drop_percent / found.drop_percent;
    assert!((2.5..4.5).contains(&ratio), "{ratio}");
}

#[test]
fn a_bar_that_stands_at_its_driver_still_needs_the_run_to_its_far_end() {
    let plan = house(known_tape(), 3_000_000, json!({"fed": "both_ends"})).plan();
    let runs = &of_bar(&plan).runs;
    assert_eq!(runs.len(), 2);
    near(runs[1].cable_m, 3.0);
    let cable = plan.needs.iter().find(|need| need.part == Some(4.into()));
    assert_eq!(cable.map(|need| need.needed), Some(3_000_000));
}

/// A house whose supply stands 3 m from its driver, fed by two conductors of a size.
fn fed_from_afar(length_um: i64, size: &str) -> House {
    let mut house = house(known_tape(), length_um, json!({"cable_um": 4_000_000}));
    house.part(
        8,
        "feed cable",
        json!({"kind": "cable", "conductors": 2, "rating_ma": 10_000, "conductor": size,
               "strand": "stranded"}),
    );
    house.input.venue.feed_um = Length::mm(3_000);
    house
}

#[test]
fn a_thicker_feed_is_as_the_set_so_changed() {
    let house = |size: &str| {
        let mut house = fed_from_afar(4_000_000, size);
        house.input.venue.feed_um = Length::mm(20_000);
        house
    };
    let mut thin = house("16 AWG");
    // Plans take the cable of fewest conductors: the thick one is there to be chosen by hand.
    thin.part(
        18,
        "thick feed",
        json!({"kind": "cable", "conductors": 3, "rating_ma": 30_000, "conductor": "10 AWG",
               "strand": "stranded"}),
    );
    thin.offer(18.into(), 50_000_000, 20_000);
    let plan = thin.plan();
    assert_eq!(
        plan.drivers[0].inlets[0].feed,
        Some((8.into(), Length::mm(20_000)))
    );
    let found = mend(&plan, How::ThickerFeed);
    assert!(found.words.contains("thick feed"), "{}", found.words);
    as_planned(found, &house("10 AWG"));
    // 20 m of it at 200.00 for 50 m.
    assert_eq!(found.cost_minor.map(Money::get), Some(8_000));
    // A feed that is thick already has no such mend.
    let thick = house("10 AWG").plan();
    let mends = &of_bar(&thick).mends;
    assert!(
        mends.iter().all(|mend| mend.how != How::ThickerFeed),
        "{mends:?}"
    );
}

/// The same output as a document, with so many ohms in one conductor of the feed.
fn fed_by_hand(cables: &[Value], bars: &[Value], feed_ohm: f64) -> DropAnswer {
    let body = json!({
        "nominal_voltage_v": 24.0, "load_model": "resistor_string",
        "supply": {"voltage_v": 24.0, "source_resistance_ohm": 0.0},
        "feed_cable": {"length_m": 1.0, "resistance_ohm_per_m": feed_ohm},
        "driver": {"channels": RGB, "channels_on": RGB, "on_resistance_ohm_per_channel": ON_OHM},
        "cables": cables, "bars": bars,
    });
    let body: DropBody = serde_json::from_value(body).expect("a document");
    drop::answer(&body).expect("it is answered")
}

fn bar_by_hand(name: &str, lit_m: f64) -> Value {
    json!({
        "name": name, "channels": RGB, "length_m": lit_m, "cut_pitch_m": 0.05,
        "power_w_per_m": 4.8, "trace_resistance_ohm_per_m": 0.14,
        "trace_resistance_common_ohm_per_m": 0.1, "leds_in_series": 6,
        "led_forward_voltage_v": {"red": 1.85, "green": 2.8, "blue": 2.8},
    })
}

#[test]
fn the_feed_is_in_the_drop_and_among_the_cable_to_get() {
    let plan = fed_from_afar(2_500_000, "16 AWG").plan();
    let bar = of_bar(&plan);
    let feed_ohm = 3.0 * ohm_per_m("16 AWG");
    let cables = [run("run", "a_start", 4.0)];
    let hand = fed_by_hand(&cables, &[bar_by_hand("a", 2.5)], feed_ohm);
    for (channel, word) in bar.channels.iter().zip(["red", "green", "blue"]) {
        same(&channel.full, &hand, word);
        near(
            channel.full.drop_source_percent,
            hand.bars[0].drop_percent[word]
                - hand.bars[0].drop_cable_percent[word]
                - hand.bars[0].drop_tape_percent[word],
        );
    }
    let inlet = &plan.drivers[0].inlets[0];
    assert_eq!(inlet.feed, Some((8.into(), Length::mm(3_000))));
    let need = plan
        .needs
        .iter()
        .find(|need| need.part == Some(8.into()))
        .expect("the feed is counted");
    assert_eq!((need.needed, need.short), (3_000_000, 3_000_000));
    assert_eq!(need.used_for, "runs from supply to driver");
    assert!(checks(&plan, "feed-rating")[0].state == CheckState::Passed);
}

/// Two outputs of one inlet load one feed. The plan solves each by itself; here both are one
/// network of six channels with the feed as it is.
#[test]
fn outputs_of_one_inlet_load_their_feed_together() {
    let mut house = fed_from_afar(2_500_000, "16 AWG");
    let alone = house.plan();
    house.bar(2, 2_500_000, RGB, json!({"cable_um": 4_000_000}));
    let plan = house.plan();
    assert_eq!((plan.volts.outputs.len(), plan.supplies.len()), (2, 1));
    let named = |mark: &str| -> Vec<String> {
        RGB.iter().map(|colour| format!("{colour}{mark}")).collect()
    };
    let bar = |name: &str, mark: &str| {
        let mut bar = bar_by_hand(name, 2.5);
        bar["channels"] = json!(named(mark));
        let volts = [1.85, 2.8, 2.8];
        let each: serde_json::Map<String, Value> = named(mark)
            .into_iter()
            .zip(volts.map(Value::from))
            .collect();
        bar["led_forward_voltage_v"] = Value::Object(each);
        bar
    };
    let all: Vec<String> = [named("1"), named("2")].concat();
    let body = json!({
        "nominal_voltage_v": 24.0, "load_model": "resistor_string",
        "supply": {"voltage_v": 24.0, "source_resistance_ohm": 0.0},
        "feed_cable": {"length_m": 3.0, "resistance_ohm_per_m": ohm_per_m("16 AWG")},
        "driver": {"channels": all, "channels_on": all, "on_resistance_ohm_per_channel": ON_OHM},
        "cables": [run("first", "a_start", 4.0), run("second", "b_start", 4.0)],
        "bars": [bar("a", "1"), bar("b", "2")],
    });
    let body: DropBody = serde_json::from_value(body).expect("a document");
    let hand = drop::answer(&body).expect("it is answered");
    for output in &plan.volts.outputs {
        for (channel, word) in output.bars[0].channels.iter().zip(named("1")) {
            same(&channel.full, &hand, &word);
        }
    }
    let given: f64 = plan
        .volts
        .outputs
        .iter()
        .map(|output| output.total.as_ref().expect("it is solved").power_w)
        .sum();
    assert!(
        (given - hand.supply_power_w).abs() < 0.002,
        "each bears its share of the feed"
    );
    let drop = |plan: &Plan| of_bar(plan).worst_drop_percent;
    assert!(drop(&plan) > drop(&alone));
}
