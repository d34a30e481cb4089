//! Times the solved circuit against an ngspice process on the same circuit, in the same run.
//!
//! `cargo bench --bench ladder` solves bars of more and more cut units and channels, then a set of
//! 60 bars with every mix of channels, then plans 60 bars of which none is bright enough and every
//! mend is solved, beside 60 that need none, and prints medians; only ratios of one run mean anything.

#[path = "../tests/circuits/document.rs"]
mod document;
#[path = "../tests/published/house.rs"]
#[expect(dead_code, reason = "most of what builds a house is for other tests")]
mod house;
#[path = "../tests/circuits/netlist.rs"]
mod netlist;

use std::time::{Duration, Instant};

use house::House;
use serde_json::{Value, json};
use tapewright::{
    calc::drop::{self, DropBody},
    plan::ladder::{self, Bar, Cable, Circuit, LoadModel, Mix, Place, Strip},
};

const NAMES: [&str; 4] = ["red", "green", "blue", "white"];
const ROUNDS: usize = 200;

fn circuit(units: usize, channels: usize) -> Circuit {
    Circuit {
        nominal_v: 24.0,
        model: LoadModel::ResistorString,
        supply_v: 24.0,
        source_ohm: 0.0,
        feed_ohm: 0.0,
        channels: NAMES[..channels]
            .iter()
            .map(|name| ((*name).to_owned(), 0.02))
            .collect(),
        junctions: 0,
        cables: vec![Cable {
            name: "cable".to_owned(),
            from: Place::Driver,
            to: Place::Start(0),
            channel_ohm: 0.1,
            common_ohm: 0.1,
            channels: Mix::first(channels),
        }],
        bars: vec![Bar {
            name: "a".to_owned(),
            units,
            pitch_m: 0.05,
            common_ohm_per_m: 0.1,
            strips: (0..channels)
                .map(|channel| Strip {
                    channel,
                    watts_per_m: 4.8,
                    trace_ohm_per_m: 0.2,
                    string_v: Some(16.8),
                })
                .collect(),
        }],
    }
}

/// The same as a document, for the calculator and for ngspice.
fn written(units: u32, channels: usize) -> Value {
    let names = &NAMES[..channels];
    let tape = document::Tape {
        channels: names,
        units,
        pitch_m: 0.05,
        watts_per_m: 4.8,
        channel_ohm_per_m: 0.2,
        common_ohm_per_m: 0.1,
        in_series: 6,
        forward_v: 2.8,
    };
    let cables = [document::cable(
        "cable",
        "driver_output",
        "a_start",
        4.0,
        0.025,
    )];
    document::whole("resistor_string", 24.0, names, &cables, &[tape.bar("a")])
}

/// Both find the same volts at the last cut unit and the same amps in the cable.
fn same_figures(asked: &Value, list: &mut netlist::Netlist) {
    let found = document::answer(asked);
    let solved = list.solve();
    let place = format!("a at {}", netlist::units(&asked["bars"][0]));
    let volts = list.volts(&solved, &place, "red");
    let wire = &list.cables[&("cable".to_owned(), "common".to_owned())];
    let amps = solved.amps(wire);
    assert!((found.bars[0].voltage_at_worst_v["red"] - volts).abs() < 0.0002 * 24.0);
    assert!((found.cables[0].common_current_a - amps).abs() < 0.001 * amps);
}

fn median(rounds: usize, mut what: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..rounds)
        .map(|_| {
            let begun = Instant::now();
            what();
            begun.elapsed()
        })
        .collect();
    times.sort();
    times[times.len() / 2]
}

/// A house that wants 60 bars of four colours, no two alike: so long and behind so much cable at
/// least.
fn sixty(length_um: i64, cable_um: i64) -> House {
    let mut house = House::new();
    house.part(1, "tape", house::tape(house::RGBW));
    let pins = ["common", "green", "red", "blue", "white"];
    house.part(2, "lead", house::lead("male", &pins));
    house.part(3, "socket", house::lead("female", &pins));
    for (id, size) in [(4, "18 AWG"), (5, "14 AWG")] {
        let cable = json!({"kind": "cable", "conductors": 5, "rating_ma": 9_000,
                           "conductor": size, "strand": "stranded"});
        house.part(id, &format!("cable of {size}"), cable);
    }
    let block = json!({"kind": "block", "ways": 12, "rating_ma": 9_000});
    house.part(6, "block", block);
    house.part(7, "driver", house::driver(8, 4, "isolated"));
    house.part(8, "supply", house::supply(20_000, Some(4)));
    house.offer(1.into(), 5_000_000, 4_000);
    house.input.design.choices = serde_json::from_value(json!({
        "lead": 2, "cable": 4, "block": 6, "driver": 7, "supply": 8,
    }))
    .expect("choices");
    for at in 0..60 {
        let more = json!({"cable_um": cable_um + at * 10_000});
        house.bar(at + 1, length_um + at * 25_000, house::RGBW, more);
    }
    house
}

fn micros(time: Duration) -> f64 {
    time.as_secs_f64() * 1e6
}

fn main() {
    println!(
        "{:>6} {:>9} {:>10} {:>12} {:>12} {:>7}",
        "units", "channels", "solve µs", "document µs", "ngspice µs", "ratio"
    );
    for (units, channels) in [
        (25_u32, 4),
        (50, 4),
        (100, 1),
        (100, 2),
        (100, 4),
        (200, 4),
        (400, 4),
    ] {
        let circuit = circuit(units as usize, channels);
        let on = circuit.all();
        let solve = median(ROUNDS, || {
            assert!(ladder::solve(&circuit, on).is_ok());
        });
        let asked = written(units, channels);
        let body: DropBody = serde_json::from_value(asked.clone()).expect("a document");
        let whole = median(ROUNDS, || {
            assert!(drop::answer(&body).is_ok());
        });
        let mut list = netlist::Netlist::new(&asked);
        same_figures(&asked, &mut list);
        let other = median(9, || {
            assert!(list.solve().supply_a() > 0.0);
        });
        println!(
            "{units:>6} {channels:>9} {:>10.1} {:>12.1} {:>12.0} {:>7.0}",
            micros(solve),
            micros(whole),
            micros(other),
            micros(other) / micros(solve)
        );
    }
    let bars: Vec<Circuit> = (0..60).map(|at| circuit(20 + at, 4)).collect();
    let mixes = median(9, || {
        for circuit in &bars {
            assert!(ladder::worst(circuit).is_ok());
        }
    });
    println!(
        "60 bars of 20 to 79 cut units, 4 channels, all 15 mixes: {:.1} ms",
        mixes.as_secs_f64() * 1e3
    );
    let (good, poor) = (sixty(1_000_000, 1_000_000), sixty(3_000_000, 9_000_000));
    let mends = |house: &House| -> usize {
        let plan = house.plan();
        let bars = plan.volts.outputs.iter().flat_map(|output| &output.bars);
        bars.map(|bar| bar.mends.len()).sum()
    };
    assert_eq!(mends(&good), 0);
    let count = mends(&poor);
    let of = |house: &House| {
        median(9, || {
            house.plan();
        })
    };
    let (without, with) = (of(&good), of(&poor));
    println!(
        "plan of 60 unlike bars, 4 channels: {:.1} ms; with {count} mends solved: {:.1} ms",
        without.as_secs_f64() * 1e3,
        with.as_secs_f64() * 1e3
    );
}
