//! Closed forms. Constant current along a ladder is a sum of whole numbers; a linear load along a
//! line is the telegraph equation for direct current (Heaviside; any text on transmission lines),
//! whose forms for a ballasted load and for a feed resistance follow by shifting the voltage.

use serde_json::json;

use crate::document::{Tape, answer, cable, whole};

const RGBW: [&str; 4] = ["red", "green", "blue", "white"];

fn near(found: f64, wanted: f64, part: f64, what: &str) {
    assert!(
        (found - wanted).abs() <= part * wanted.abs(),
        "{what}: {found} instead of {wanted}"
    );
}

fn tape<'a>(channels: &'a [&'a str], units: u32) -> Tape<'a> {
    Tape {
        channels,
        units,
        pitch_m: 0.05,
        watts_per_m: 4.8,
        channel_ohm_per_m: 0.21,
        common_ohm_per_m: 0.13,
        in_series: 6,
        forward_v: 2.8,
    }
}

/// Cables without length to the ends of the bar `a`.
fn fed(ends: &[&str]) -> Vec<serde_json::Value> {
    let cables = ends.iter().enumerate();
    cables
        .map(|(at, end)| {
            let (name, to) = (format!("cable {at}"), format!("a_{end}"));
            cable(&name, "driver_output", &to, 0.0, 0.02)
        })
        .collect()
}

#[test]
fn constant_current_from_one_end_loses_half_of_current_times_resistance() {
    // Sum of 1 to N: I_c·r_c·L/2 + (ΣI)·r_common·L/2, with the common's share of every colour.
    for (count, units) in [(1, 1), (1, 37), (3, 60), (4, 100)] {
        let tape = tape(&RGBW[..count], units);
        let bar = tape.bar("a");
        let found = answer(&whole(
            "constant_current",
            24.0,
            &RGBW[..count],
            &fed(&["start"]),
            &[bar],
        ));
        let length = tape.length_m();
        let amps = tape.watts_per_m * length / 24.0;
        let all: f64 = RGBW[..count].iter().map(|_| amps).sum();
        let lost = (amps * tape.channel_ohm_per_m + all * tape.common_ohm_per_m) * length / 2.0;
        for name in &RGBW[..count] {
            let bar = &found.bars[0];
            near(
                bar.drop_tape_percent[*name],
                100.0 * lost / 24.0,
                1e-6,
                name,
            );
            assert_eq!(bar.worst_cut_unit[*name], units as usize);
            near(bar.current_a[*name], amps, 1e-9, name);
        }
        near(found.supply_current_a, all, 1e-9, "supply");
    }
}

#[test]
fn constant_current_from_both_ends_loses_a_quarter_of_that() {
    // Sum of 1 to N/2 from each side; for odd N the middle unit is shared: (1 + 1/N²)/4.
    for units in [2_u32, 3, 7, 60, 61, 100] {
        let tape = tape(&RGBW, units);
        let one = answer(&whole(
            "constant_current",
            24.0,
            &RGBW,
            &fed(&["start"]),
            &[tape.bar("a")],
        ));
        let both = answer(&whole(
            "constant_current",
            24.0,
            &RGBW,
            &fed(&["start", "end"]),
            &[tape.bar("a")],
        ));
        let n = f64::from(units);
        let part = if units % 2 == 0 {
            0.25
        } else {
            (1.0 + 1.0 / (n * n)) / 4.0
        };
        for name in RGBW {
            let (one, both) = (&one.bars[0], &both.bars[0]);
            let ratio = both.drop_tape_percent[name] / one.drop_tape_percent[name];
            near(ratio, part, 1e-5, name);
            assert_eq!(both.worst_cut_unit[name], units.div_ceil(2) as usize);
        }
    }
}

#[test]
fn unequal_feeds_share_the_current_as_the_divider_says() {
    // Continuous limit of one channel alone: I1 = I(R2 + R/2)/(R1 + R2 + R), worst drop
    // I1·R1 + I1²·R/(2I); all resistances are loops. It holds where go and return are alike:
    // otherwise each shares the current by itself.
    let tape = Tape {
        pitch_m: 0.005,
        common_ohm_per_m: 0.21,
        ..tape(&RGBW[..1], 1000)
    };
    let (near_m, far_m, ohm_per_m) = (2.0, 7.0, 0.034);
    let cables = vec![
        cable("near", "driver_output", "a_start", near_m, ohm_per_m),
        cable("far", "driver_output", "a_end", far_m, ohm_per_m),
    ];
    let found = answer(&whole(
        "constant_current",
        24.0,
        &RGBW[..1],
        &cables,
        &[tape.bar("a")],
    ));
    let length = tape.length_m();
    let all = tape.watts_per_m * length / 24.0;
    let loop_ohm = (tape.channel_ohm_per_m + tape.common_ohm_per_m) * length;
    let (r1, r2) = (2.0 * near_m * ohm_per_m, 2.0 * far_m * ohm_per_m);
    let first = all * (r2 + loop_ohm / 2.0) / (r1 + r2 + loop_ohm);
    near(found.cables[0].common_current_a, first, 1e-6, "near feed");
    near(
        found.cables[1].common_current_a,
        all - first,
        1e-6,
        "far feed",
    );
    let worst = first * r1 + first * first * loop_ohm / (2.0 * all);
    near(
        found.bars[0].drop_percent["red"],
        100.0 * worst / 24.0,
        1e-5,
        "worst drop",
    );
}

/// √(g/r) and √(rg)·L of a line: the telegraph equation's two numbers.
fn line(tape: &Tape<'_>, volts: f64, colours: f64) -> (f64, f64) {
    let knee = f64::from(tape.in_series) * tape.forward_v;
    // i = (v − Vf)·g with the rated power at the nominal voltage.
    let g = tape.watts_per_m / volts / (volts - knee);
    // k equal colours on one common: the common's resistance counts k times for each of them.
    let r = tape.channel_ohm_per_m + colours * tape.common_ohm_per_m;
    ((g / r).sqrt(), (r * g).sqrt() * tape.length_m())
}

#[test]
fn a_linear_load_falls_as_the_hyperbolic_cosine() {
    // V_end = V0/cosh(aL), I0 = V0·√(g/r)·tanh(aL); both ends V0/cosh(aL/2).
    let tape = Tape {
        in_series: 1,
        forward_v: 1e-9,
        watts_per_m: 14.4,
        ..tape(&RGBW[..1], 100)
    };
    let (root, al) = line(&tape, 24.0, 1.0);
    for (ends, end_v, amps) in [
        (&["start"][..], 24.0 / al.cosh(), 24.0 * root * al.tanh()),
        (
            &["start", "end"][..],
            24.0 / (al / 2.0).cosh(),
            2.0 * 24.0 * root * (al / 2.0).tanh(),
        ),
    ] {
        let document = whole(
            "resistor_string",
            24.0,
            &RGBW[..1],
            &fed(ends),
            &[tape.bar("a")],
        );
        let found = answer(&document);
        let bar = &found.bars[0];
        near(bar.voltage_at_worst_v["red"], end_v, 1e-4, "worst voltage");
        near(found.supply_current_a, amps, 1e-4, "current");
    }
}

#[test]
fn a_ballasted_load_falls_the_same_above_its_knee_with_any_feed_and_any_equal_colours() {
    // u = v − Vf: u0 = (Vs − Vf)/(1 + Rs·√(g/r)·tanh(aL)), V_end = Vf + u0/cosh(aL). k equal
    // colours: in each of them the common and its feed count k times.
    for count in [1_u8, 2, 4] {
        let k = f64::from(count);
        let names = &RGBW[..usize::from(count)];
        let tape = tape(names, 100);
        let (length_m, ohm_per_m) = (4.0, 0.021);
        let cables = vec![cable(
            "feed",
            "driver_output",
            "a_start",
            length_m,
            ohm_per_m,
        )];
        let found = answer(&whole(
            "resistor_string",
            24.0,
            names,
            &cables,
            &[tape.bar("a")],
        ));
        let knee = f64::from(tape.in_series) * tape.forward_v;
        let (root, al) = line(&tape, 24.0, k);
        let feed = (1.0 + k) * length_m * ohm_per_m;
        let start = (24.0 - knee) / (1.0 + feed * root * al.tanh());
        for name in names {
            let bar = &found.bars[0];
            near(bar.voltage_at_start_v[*name], knee + start, 1e-4, "start");
            near(
                bar.voltage_at_worst_v[*name],
                knee + start / al.cosh(),
                1e-4,
                "worst",
            );
            near(
                bar.current_a[*name],
                start * root * al.tanh(),
                1e-4,
                "current",
            );
            // Light goes with current: (v − Vf)/(Vnom − Vf).
            let light = 100.0 * start / al.cosh() / (24.0 - knee);
            near(bar.light_worst_percent[*name], light, 1e-3, "light");
        }
    }
}

#[test]
fn supply_feed_cable_and_driver_lose_by_ohms_law_and_all_parts_add_up() {
    let tape = tape(&RGBW, 40);
    let mut document = whole(
        "constant_current",
        24.0,
        &RGBW,
        &[cable("cable", "driver_output", "a_start", 3.0, 0.0342)],
        &[tape.bar("a")],
    );
    document["supply"] = json!({"voltage_v": 24.3, "source_resistance_ohm": 0.05});
    document["feed_cable"] = json!({"length_m": 1.5, "resistance_ohm_per_m": 0.0133});
    document["driver"]["on_resistance_ohm_per_channel"] = json!({
        "red": 0.01, "green": 0.02, "blue": 0.03, "white": 0.04,
    });
    document["cables"][0]["contact_resistance_ohm_per_contact"] = json!(0.01);
    document["cables"][0]["contacts_in_series_per_conductor"] = json!(2);
    document["cables"][0]["common_conductor"]["conductors_in_parallel"] = json!(2);
    let found = answer(&document);
    let amps = tape.watts_per_m * tape.length_m() / 24.0;
    let all = 4.0 * amps;
    let bar = &found.bars[0];
    for (at, name) in (1..).zip(RGBW) {
        // Ohm: the feed cable twice, the driver's channel once.
        let source = all * (0.05 + 2.0 * 1.5 * 0.0133) + amps * 0.01 * f64::from(at);
        let found = bar.drop_supply_feed_driver_percent[name];
        near(found, 100.0 * source / 24.0, 1e-6, "source");
        let conductor = 3.0 * 0.0342 + 2.0 * 0.01;
        let cable = amps * conductor + all * conductor / 2.0;
        near(
            bar.drop_cable_percent[name],
            100.0 * cable / 24.0,
            1e-6,
            "cable",
        );
        let parts = bar.drop_supply_feed_driver_percent[name]
            + bar.drop_cable_percent[name]
            + bar.drop_tape_percent[name];
        near(bar.drop_percent[name], parts, 1e-7, "parts");
        let whole = 100.0 * (24.3 - bar.voltage_at_worst_v[name]) / 24.0;
        near(bar.drop_percent[name], whole, 1e-7, "whole");
    }
    // What the supply gives is what is lost and lit.
    let lost = &found.lost;
    let lost_w = lost.supply_w + lost.feed_cable_w + lost.driver_w + lost.cables_w + lost.tape_w;
    let lit_w: f64 = bar.power_w.values().sum();
    near(found.supply_power_w, 24.3 * all, 1e-9, "power");
    near(found.supply_power_w, lost_w + lit_w, 1e-6, "balance");
}

#[test]
fn light_goes_with_current_and_another_colour_loses_most() {
    // Per 1 % of voltage lost about 2 % of red and 3.4 to 4.4 % of green, blue and white (three in
    // series at 12 V; derived from the ballasted model): d ln i / d ln v = V/(V − n·Vf), with
    // 1.85 V and 2.8 V at the knee [assumed diode].
    for (forward_v, least, most) in [(1.85, 1.8, 2.1), (2.8, 3.3, 4.4)] {
        let tape = Tape {
            in_series: 3,
            forward_v,
            ..tape(&RGBW[..1], 1)
        };
        let mut document = whole(
            "resistor_string",
            12.0,
            &RGBW[..1],
            &fed(&["start"]),
            &[tape.bar("a")],
        );
        document["supply"]["voltage_v"] = json!(11.88);
        let lost = 100.0 - answer(&document).bars[0].light_worst_percent["red"];
        assert!((least..=most).contains(&lost), "{forward_v} V: {lost} %");
    }
}
