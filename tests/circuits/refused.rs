//! Bad documents: each is refused at its field, with what to send.

use serde_json::{Value, json};
use tapewright::calc::drop::{self, DropBody};

use crate::document::{Tape, answer, cable, whole};

const RGB: [&str; 3] = ["red", "green", "blue"];

fn good() -> Value {
    let tape = Tape {
        channels: &RGB,
        units: 20,
        pitch_m: 0.05,
        watts_per_m: 4.8,
        channel_ohm_per_m: 0.2,
        common_ohm_per_m: 0.1,
        in_series: 6,
        forward_v: 2.8,
    };
    let cables = vec![
        cable("one", "driver_output", "fork", 3.0, 0.026),
        cable("two", "fork", "a_start", 1.0, 0.026),
    ];
    whole("resistor_string", 24.0, &RGB, &cables, &[tape.bar("a")])
}

#[test]
fn what_cannot_be_is_refused_at_its_field() {
    let changes: &[(&str, Value)] = &[
        ("/nominal_voltage_v", json!(0)),
        ("/supply/voltage_v", json!(-24)),
        ("/supply/source_resistance_ohm", json!(-0.1)),
        ("/supply/voltage_v", json!(16.0)),
        ("/driver/channels", json!([])),
        ("/driver/channels_on/1", json!("amber")),
        ("/driver/on_resistance_ohm_per_channel/green", json!(-1)),
        ("/cables", json!([])),
        ("/cables/0/length_m", json!(-1)),
        ("/cables/0/contact_resistance_ohm_per_contact", json!(-1)),
        ("/cables/1/channel_conductor/resistance_ohm_per_m", json!(0)),
        (
            "/cables/1/common_conductor/resistance_ohm_per_m",
            json!(-0.1),
        ),
        (
            "/cables/1/common_conductor/conductors_in_parallel",
            json!(0),
        ),
        ("/cables/0/to", json!("driver_output")),
        ("/bars", json!([])),
        ("/bars/0/length_m", json!(0)),
        ("/bars/0/length_m", json!(0.04)),
        ("/bars/0/cut_pitch_m", json!(0)),
        ("/bars/0/power_w_per_m/blue", json!(0)),
        ("/bars/0/trace_resistance_ohm_per_m/red", json!(0)),
        ("/bars/0/trace_resistance_common_ohm_per_m", json!(-0.1)),
        ("/bars/0/leds_in_series", json!(9)),
        ("/bars/0/leds_in_series", json!(2.5)),
        ("/bars/0/leds_in_series", Value::Null),
        ("/bars/0/led_forward_voltage_v", Value::Null),
        ("/bars/0/led_forward_voltage_v/green", json!(0)),
        ("/bars/0/channels/2", json!("amber")),
        ("/bars/0/channels/2", json!("red")),
        ("/bars/0/name", json!("")),
    ];
    answer(&good());
    for (pointer, value) in changes {
        let mut document = good();
        *document.pointer_mut(pointer).expect("a field") = value.clone();
        let body: DropBody = serde_json::from_value(document).expect("it reads");
        let refused = drop::answer(&body).expect_err(pointer);
        assert_eq!(refused.pointer, *pointer, "{refused}");
        assert!(refused.detail.len() > 15, "{refused}");
    }
}

#[test]
fn what_no_cable_reaches_is_refused() {
    // A loop of its own, without supply.
    let mut document = good();
    let more = [
        cable("three", "here", "there", 1.0, 0.02),
        cable("four", "there", "here", 1.0, 0.02),
    ];
    let list = document["cables"].as_array_mut().expect("cables");
    list.extend(more);
    let body: DropBody = serde_json::from_value(document).expect("it reads");
    let refused = drop::answer(&body).expect_err("a loop without supply");
    assert_eq!(refused.pointer, "/cables/2/from");
    // A bar that hangs on nothing.
    let mut document = good();
    document["cables"][1]["to"] = json!("a_stat");
    let body: DropBody = serde_json::from_value(document).expect("it reads");
    let refused = drop::answer(&body).expect_err("a bar without cable");
    assert_eq!(refused.pointer, "/bars/0");
    // A colour that is not brought.
    let mut document = good();
    document["cables"][0]["channels"] = json!(["red", "green"]);
    let body: DropBody = serde_json::from_value(document).expect("it reads");
    let refused = drop::answer(&body).expect_err("no blue");
    assert_eq!(refused.pointer, "/bars/0/channels");
    assert!(refused.detail.contains("blue"), "{refused}");
}

#[test]
fn a_constant_current_that_the_wires_cannot_carry_is_refused() {
    let mut document = good();
    document["load_model"] = json!("constant_current");
    document["cables"][0]["length_m"] = json!(900);
    document["cables"][0]["common_conductor"]["resistance_ohm_per_m"] = json!(0.08);
    let body: DropBody = serde_json::from_value(document).expect("it reads");
    let refused = drop::answer(&body).expect_err("nothing is left");
    assert_eq!(refused.pointer, "/bars/0/length_m");
}

#[test]
fn a_rest_is_left_out_and_said() {
    let mut document = good();
    let whole = answer(&document);
    document["bars"][0]["length_m"] = json!(1.03);
    let found = answer(&document);
    assert_eq!(found.bars, whole.bars);
    let told = found.notes.join(" ");
    assert!(
        told.contains("20 whole cut units") && told.contains("30.0 mm"),
        "{told}"
    );
}

#[test]
fn size_and_resistance_are_never_both() {
    let mut document = good();
    document["cables"][0]["channel_conductor"]["size"] = json!("18 AWG");
    let body: DropBody = serde_json::from_value(document.clone()).expect("it reads");
    let refused = drop::answer(&body).expect_err("both");
    assert_eq!(refused.pointer, "/cables/0/channel_conductor/size");
    document["cables"][0]["channel_conductor"] = json!({"size": "0.35 mm²", "temperature_c": 20});
    let body: DropBody = serde_json::from_value(document.clone()).expect("it reads");
    let refused = drop::answer(&body).expect_err("not in the table");
    assert_eq!(refused.pointer, "/cables/0/channel_conductor/size");
    document["cables"][0]["channel_conductor"] = json!({"size": "18 AWG"});
    let body: DropBody = serde_json::from_value(document).expect("it reads");
    let refused = drop::answer(&body).expect_err("no temperature");
    assert_eq!(refused.pointer, "/cables/0/channel_conductor/temperature_c");
}
