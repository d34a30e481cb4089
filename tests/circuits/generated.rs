//! Generated circuits of every topology against ngspice (Debian package): volts within 0.02 % of
//! the nominal voltage, currents within 0.1 %.

use std::fmt::Write as _;

use serde_json::{Value, json};
use tapewright::calc::drop::DropAnswer;

use crate::{
    document::{answer, each},
    netlist::{Netlist, units},
};

/// Numbers from a seed, the same every time (Knuth's MMIX generator).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// From 0 to below 1.
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).expect("32 bits")) / 4_294_967_296.0
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a small whole number"
    )]
    fn whole(&mut self, low: u32, high: u32) -> u32 {
        self.between(f64::from(low), f64::from(high) + 1.0).floor() as u32
    }

    fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        let length = u32::try_from(list.len()).expect("a short list");
        &list[self.whole(0, length - 1) as usize]
    }
}

/// How cables join bars. `c` to `e` are bars, all else are junctions.
const TOPOLOGIES: &[(&str, &[(&str, &str)])] = &[
    ("one end", &[("driver_output", "c_start")]),
    ("the far end only", &[("driver_output", "c_end")]),
    (
        "both ends",
        &[("driver_output", "c_start"), ("driver_output", "c_end")],
    ),
    (
        "middle feed",
        &[
            ("driver_output", "mid"),
            ("mid", "c_start"),
            ("mid", "d_start"),
        ],
    ),
    (
        "trunk of two bars",
        &[
            ("driver_output", "fork"),
            ("fork", "c_start"),
            ("fork", "d_start"),
        ],
    ),
    (
        "two bars on one output",
        &[("driver_output", "c_start"), ("driver_output", "d_end")],
    ),
    (
        "jumper along the bar",
        &[("driver_output", "c_start"), ("c_start", "c_end")],
    ),
    (
        "trunk, both ends of both",
        &[
            ("driver_output", "fork"),
            ("fork", "c_start"),
            ("fork", "c_end"),
            ("fork", "d_start"),
            ("driver_output", "d_end"),
        ],
    ),
    (
        "one bar after another",
        &[
            ("driver_output", "c_start"),
            ("c_end", "d_start"),
            ("d_end", "e_start"),
        ],
    ),
    (
        "ring of three",
        &[
            ("driver_output", "c_start"),
            ("c_end", "d_start"),
            ("e_end", "d_end"),
            ("driver_output", "e_start"),
        ],
    ),
    (
        "ladder of junctions",
        &[
            ("driver_output", "one"),
            ("one", "two"),
            ("driver_output", "two"),
            ("two", "c_start"),
            ("one", "c_end"),
            ("two", "d_start"),
            ("d_end", "three"),
            ("three", "e_start"),
            ("c_end", "three"),
        ],
    ),
];

const COLOURS: [&str; 4] = ["red", "green", "blue", "white"];

fn conductor(dice: &mut Dice) -> Value {
    let parallel = *dice.pick(&[1, 1, 1, 2]);
    let strand = *dice.pick(&["solid", "stranded"]);
    let celsius = dice.between(15.0, 70.0);
    match dice.whole(0, 3) {
        0 => json!({
            "size": *dice.pick(&["16 AWG", "18 AWG", "20 AWG", "22 AWG"]),
            "strand": strand, "temperature_c": celsius, "conductors_in_parallel": parallel,
        }),
        1 => json!({
            "size": *dice.pick(&["0.5 mm²", "0.75 mm²", "1 mm²", "1.5 mm²"]),
            "strand": strand, "temperature_c": celsius, "conductors_in_parallel": parallel,
        }),
        _ => json!({
            "resistance_ohm_per_m": dice.between(0.01, 0.08), "conductors_in_parallel": parallel,
        }),
    }
}

fn bar(dice: &mut Dice, name: &str, volts: f64, channels: &[&str], tired: f64) -> Value {
    let pitch = *dice.pick(&[0.05, 0.1, 0.0333]);
    let units = dice.whole(3, 70);
    let by = |dice: &mut Dice, low: f64, high: f64| -> Value {
        let map = channels.iter().map(|name| {
            let value = json!(dice.between(low, high));
            ((*name).to_owned(), value)
        });
        Value::Object(map.collect())
    };
    // Three in series at 12 V, six or seven at 24 V (common practice, no source).
    let series = if volts < 18.0 { 3 } else { *dice.pick(&[6, 7]) };
    json!({
        "name": name, "channels": channels,
        // A rest shorter than a cut unit is left out.
        "length_m": (f64::from(units) + dice.between(0.0, 0.9)) * pitch,
        "cut_pitch_m": pitch,
        "power_w_per_m": by(dice, 2.0, 6.0 * tired),
        "trace_resistance_ohm_per_m": by(dice, 0.05, 0.4 * tired),
        "trace_resistance_common_ohm_per_m": dice.between(0.05, 0.3 * tired),
        "leds_in_series": series,
        "led_forward_voltage_v": by(dice, 1.8, 3.1),
    })
}

/// A circuit of a topology; the larger `tired`, the more is lost in its tape.
pub fn circuit(seed: u64, ways: &[(&str, &str)], model: &str, tired: f64) -> Value {
    let mut dice = Dice::new(seed);
    let volts = *dice.pick(&[12.0, 24.0]);
    let count = dice.whole(1, 4) as usize;
    let channels = &COLOURS[..count];
    let mut cables = Vec::new();
    for (at, (from, to)) in ways.iter().enumerate() {
        let (channel, common) = (conductor(&mut dice), conductor(&mut dice));
        cables.push(json!({
            "name": format!("cable {at}"), "from": from, "to": to,
            "length_m": *dice.pick(&[0.0, 0.5, 1.2, 2.5, 4.0]),
            "channel_conductor": channel, "common_conductor": common,
            "contact_resistance_ohm_per_contact": *dice.pick(&[0.0, 0.005, 0.02]),
            "contacts_in_series_per_conductor": dice.whole(0, 4),
        }));
    }
    let mut bars = Vec::new();
    for name in ["c", "d", "e"] {
        if !ways.iter().any(|(a, b)| {
            [a, b]
                .iter()
                .any(|end| end.starts_with(&format!("{name}_")))
        }) {
            continue;
        }
        // A bar that others hang on has every colour; the last may have fewer.
        let some = if name == "e" {
            dice.whole(1, 4) as usize
        } else {
            count
        };
        bars.push(bar(
            &mut dice,
            name,
            volts,
            &channels[..some.min(count)],
            tired,
        ));
    }
    let feed = match dice.whole(0, 2) {
        0 => Value::Null,
        _ => json!({
            "length_m": dice.between(0.3, 3.0), "resistance_ohm_per_m": dice.between(0.004, 0.02),
        }),
    };
    let on_from = dice.whole(0, u32::try_from(count).expect("four at most") / 2) as usize;
    json!({
        "nominal_voltage_v": volts,
        "load_model": model,
        "supply": {
            "voltage_v": volts * dice.between(0.97, 1.02),
            "source_resistance_ohm": *dice.pick(&[0.0, 0.02, 0.1]),
        },
        "feed_cable": feed,
        "driver": {
            "channels": channels,
            // A bar of fewer colours has at least the first.
            "channels_on": if dice.next() < 0.3 { &channels[..=on_from.min(count - 1)] } else { channels },
            "on_resistance_ohm_per_channel": each(channels, *dice.pick(&[0.0, 0.01, 0.05])),
        },
        "cables": cables,
        "bars": bars,
    })
}

/// What differs between an answer and ngspice's, beyond the tolerances; empty where they agree.
pub fn differences(document: &Value, found: &DropAnswer) -> String {
    let mut list = Netlist::new(document);
    let solved = list.solve();
    let nominal = document["nominal_voltage_v"].as_f64().expect("volts");
    let supply = document["supply"]["voltage_v"].as_f64().expect("volts");
    let mut wrong = String::new();
    let mut volts = |what: &str, found: f64, wanted: f64| {
        if (found - wanted).abs().is_nan() || (found - wanted).abs() > 0.0002 * nominal {
            let _ = writeln!(wrong, "{what}: {found} V instead of {wanted} V");
        }
    };
    let bars = document["bars"].as_array().expect("bars");
    let mut amps = Vec::new();
    let mut lowest = f64::INFINITY;
    let mut dimmest = f64::INFINITY;
    for (bar, found) in bars.iter().zip(&found.bars) {
        for name in &found.channels {
            let at = |place: &str| format!("{} {place}", found.name);
            let driver = list.volts(&solved, "driver_output", name);
            let start = list.volts(&solved, &format!("{}_start", found.name), name);
            let along: Vec<f64> = (1..=units(bar))
                .map(|unit| list.volts(&solved, &at(&format!("at {unit}")), name))
                .collect();
            let worst = along.iter().copied().fold(f64::INFINITY, f64::min);
            volts(&at("driver"), found.voltage_at_driver_v[name], driver);
            volts(&at("start"), found.voltage_at_start_v[name], start);
            volts(&at("worst"), found.voltage_at_worst_v[name], worst);
            volts(
                &at("named worst"),
                found.voltage_at_worst_v[name],
                along
                    .get(found.worst_cut_unit[name] - 1)
                    .copied()
                    .unwrap_or(f64::NAN),
            );
            let drop = found.drop_percent[name] / 100.0 * nominal;
            volts(&at("drop"), drop, supply - worst);
            let parts = found.drop_supply_feed_driver_percent[name]
                + found.drop_cable_percent[name]
                + found.drop_tape_percent[name];
            volts(&at("parts"), parts / 100.0 * nominal, supply - worst);
            let full = bar["power_w_per_m"][name].as_f64().expect("watts")
                * bar["cut_pitch_m"].as_f64().expect("metres")
                / nominal;
            let knee = bar["leds_in_series"].as_f64().expect("a number")
                * bar["led_forward_voltage_v"][name].as_f64().expect("volts");
            let light = |v: f64| match document["load_model"].as_str() {
                Some("constant_current") => 1.0,
                _ => ((v - knee) / (nominal - knee)).max(0.0),
            };
            let sum: f64 = along.iter().map(|v| full * light(*v)).sum();
            amps.push((at("current"), found.current_a[name], sum));
            let best = along.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let scale = nominal / (nominal - knee);
            volts(
                &at("best light"),
                found.light_best_percent[name] / 100.0 / scale * nominal,
                light(best) / scale * nominal,
            );
            volts(
                &at("worst light"),
                found.light_worst_percent[name] / 100.0 / scale * nominal,
                light(worst) / scale * nominal,
            );
            lowest = lowest.min(worst);
            dimmest = dimmest.min(100.0 * light(worst));
        }
    }
    volts("lowest", found.lowest_voltage.voltage_v, lowest);
    let light = found.least_light.light_percent;
    if (light - dimmest).abs() > 0.2 {
        let _ = writeln!(wrong, "least light: {light} % instead of {dimmest} %");
    }
    amps.push((
        "supply".to_owned(),
        found.supply_current_a,
        solved.supply_a(),
    ));
    for cable in &found.cables {
        let wire = |name: &str| &list.cables[&(cable.name.clone(), name.to_owned())];
        let wanted = solved.amps(wire("common"));
        amps.push((
            format!("{} common", cable.name),
            cable.common_current_a,
            wanted,
        ));
        for (name, &found) in &cable.channel_current_a {
            // The netlist measures the way back.
            let wanted = -solved.amps(wire(name));
            amps.push((format!("{} {name}", cable.name), found, wanted));
        }
    }
    let least = 1e-6 * solved.supply_a();
    for (what, found, wanted) in amps {
        let gap = (found - wanted).abs();
        if gap.is_nan() || gap > 0.001 * wanted.abs() + least {
            let _ = writeln!(wrong, "{what}: {found} A instead of {wanted} A");
        }
    }
    wrong
}

#[test]
fn circuits_of_every_topology_agree_with_ngspice() {
    let mut seed = 0;
    let mut dark = 0;
    for (name, ways) in TOPOLOGIES {
        for (model, tired) in [
            ("resistor_string", 1.0),
            ("resistor_string", 1.0),
            ("resistor_string", 4.0),
            ("constant_current", 0.5),
        ] {
            seed += 1;
            let document = circuit(seed, ways, model, tired);
            let found = answer(&document);
            let wrong = differences(&document, &found);
            assert!(wrong.is_empty(), "{name}, {model}:\n{wrong}\n{document:#}");
            let units = found
                .bars
                .iter()
                .flat_map(|bar| bar.dark_cut_units.values());
            dark += usize::from(units.sum::<usize>() > 0);
        }
    }
    assert!(seed >= 30, "{seed} circuits");
    assert!(dark > 0, "some circuits have dark cut units");
}
