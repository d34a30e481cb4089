//! The usual mistakes would fail the checks: each is made on purpose and compared with ngspice by
//! the tolerances of the generated circuits.

use serde_json::{Value, json};

use crate::{
    document::{Tape, answer, cable, whole},
    generated::differences,
};

const RGB: [&str; 3] = ["red", "green", "blue"];

fn tape() -> Tape<'static> {
    Tape {
        channels: &RGB,
        units: 50,
        pitch_m: 0.05,
        watts_per_m: 4.8,
        channel_ohm_per_m: 0.2,
        common_ohm_per_m: 0.1,
        in_series: 6,
        forward_v: 2.8,
    }
}

fn right() -> Value {
    let cables = vec![cable("cable", "driver_output", "a_start", 3.0, 0.026)];
    whole("resistor_string", 24.0, &RGB, &cables, &[tape().bar("a")])
}

/// The answer to a wrong document, held against ngspice's to the right one.
fn fails(wrong: &Value) -> String {
    let right = right();
    assert_eq!(
        differences(&right, &answer(&right)),
        "",
        "the right one agrees"
    );
    differences(&right, &answer(wrong))
}

#[test]
fn forgetting_the_return_fails() {
    let mut wrong = right();
    wrong["cables"][0]["channel_conductor"] = json!({"resistance_ohm_per_m": 1e-9});
    let told = fails(&wrong);
    assert!(
        told.contains("a start") && told.contains("a drop"),
        "{told}"
    );
}

#[test]
fn a_load_lumped_at_the_end_fails() {
    // One cut unit behind the whole trace: its first half must be as long as the bar.
    let mut wrong = right();
    let bar = &mut wrong["bars"][0];
    bar["cut_pitch_m"] = bar["length_m"].clone();
    for name in RGB {
        bar["trace_resistance_ohm_per_m"][name] = json!(2.0 * tape().channel_ohm_per_m);
    }
    bar["trace_resistance_common_ohm_per_m"] = json!(2.0 * tape().common_ohm_per_m);
    let told = fails(&wrong);
    assert!(
        told.contains("a worst") && told.contains("a current"),
        "{told}"
    );
}

#[test]
fn the_first_colour_alone_fails() {
    let mut wrong = right();
    wrong["driver"]["channels_on"] = json!(["red"]);
    let told = fails(&wrong);
    assert!(
        told.contains("a worst") && told.contains("supply"),
        "{told}"
    );
}

#[test]
fn resistivity_over_area_fails() {
    let sized = |conductor: Value| {
        let mut document = right();
        document["cables"][0]["channel_conductor"] = conductor.clone();
        document["cables"][0]["common_conductor"] = conductor;
        document
    };
    // IEC 60228 defines the size by its greatest resistance; 0.017241 Ω·mm²/m over the area is 4 to
    // 16 % less.
    for (size, area, strand) in [
        ("0.5 mm²", 0.5, "solid"),
        ("0.75 mm²", 0.75, "stranded"),
        ("1.5 mm²", 1.5, "stranded"),
    ] {
        let right = sized(json!({"size": size, "strand": strand, "temperature_c": 20}));
        assert_eq!(differences(&right, &answer(&right)), "", "{size}");
        let wrong = sized(json!({"resistance_ohm_per_m": 0.017_241 / area}));
        let told = differences(&right, &answer(&wrong));
        assert!(told.contains("a start"), "{size}: {told}");
    }
}
