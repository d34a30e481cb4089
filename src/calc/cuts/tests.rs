use std::time::Duration;

use serde_json::{Value, json};

use crate::calc::{Kind, Refused, answer};

fn refused(asked: Value) -> Refused {
    answer(Kind::Cuts, asked, &|| Duration::ZERO).expect_err("it is refused")
}

fn good() -> Value {
    Kind::Cuts.examples()[1].asked.clone()
}

/// Each row: where something else is put, and the field that is then named.
#[test]
fn what_is_wrong_is_named_by_a_pointer() {
    let cases = [
        ("/unit_um", json!(0), "/unit_um"),
        ("/unit_um", json!([50_000]), "/unit_um"),
        ("/unit_um", json!([1, 3]), "/unit_um"),
        ("/pieces", json!({}), "/pieces"),
        ("/pieces/1/name", json!("O-4"), "/pieces/1/name"),
        ("/pieces/1/name", json!(" "), "/pieces/1/name"),
        ("/pieces/1/units", json!(0), "/pieces/1/units"),
        ("/pieces/1/units", json!(-1), "/pieces/1/units"),
        ("/pieces/1/units", json!(2.5), "/pieces/1/units"),
        ("/pieces/1/units", json!(1_000_001), "/pieces/1/units"),
        ("/pieces/1/start", json!("plug"), "/pieces/1/start"),
        (
            "/pieces/0/joint_every_units",
            json!(0),
            "/pieces/0/joint_every_units",
        ),
        (
            "/pieces/0/joint_offset_units",
            json!(-1),
            "/pieces/0/joint_offset_units",
        ),
        ("/rolls/2/price_minor", json!(-1), "/rolls/2/price_minor"),
        ("/rolls/2/quantity", json!(10_001), "/rolls/2/quantity"),
        ("/rolls/2/name", json!("5 m"), "/rolls/2/name"),
        ("/bars/0/quantity", json!(0), "/bars/0/quantity"),
        ("/bars/1/quantity", json!(9_995), "/bars/1/quantity"),
        ("/bars/1/fed", json!("middle"), "/bars/1/fed"),
        ("/usable_offcut_units", json!("x"), "/usable_offcut_units"),
        ("/solder_weights/joint", json!(3), "/solder_weights/mark"),
        ("/solder_weights/lead", json!(2), "/solder_weights/joint"),
        ("/time_limit_ms", json!(0), "/time_limit_ms"),
        ("/time_limit_ms", json!(60_000), "/time_limit_ms"),
    ];
    for (at, value, named) in cases {
        let mut asked = good();
        *asked.pointer_mut(at).expect("it is there") = value.clone();
        assert_eq!(refused(asked).pointer, named, "{at} {value}");
    }
}

#[test]
fn what_does_not_go_together_is_named_by_a_pointer() {
    for (field, value, named) in [
        ("kerf_units", json!(3), "/pieces/0/joint_every_units"),
        ("end_trim_units", json!(3), "/pieces/1/start"),
        ("objectives", json!(["solder"]), "/objectives"),
        ("objectives", json!(["money", "rest"]), "/objectives"),
        (
            "objectives",
            json!(["money", "solder", "rest", "rest"]),
            "/objectives",
        ),
        ("objectives", json!(["beauty"]), "/objectives/0"),
        ("colour", json!("red"), "/colour"),
    ] {
        let mut asked = good();
        asked[field] = value;
        assert_eq!(refused(asked).pointer, named, "{field}");
    }
    let mut asked = good();
    asked.as_object_mut().expect("fields").remove("bars");
    assert_eq!(refused(asked).pointer, "/bars");
    for none in [json!(null), json!([]), json!("cuts")] {
        assert_eq!(refused(none).pointer, "");
    }
}

#[test]
fn what_was_not_asked_for_is_not_claimed() {
    let mut asked = good();
    asked["objectives"] = json!(["money"]);
    let said = answer(Kind::Cuts, asked, &|| Duration::ZERO).expect("it is answered");
    assert_eq!(
        said["proven"],
        json!({"money": true, "solder": null, "rest": null})
    );
    assert_eq!(
        (&said["solder_bound"], &said["rest_bound"]),
        (&Value::Null, &Value::Null)
    );
    assert_eq!(said["purchase_minor"], said["purchase_bound_minor"]);
}

// By hand: a roll of 130 has two leads. Four bars of 30 come from one roll with two soldered ends,
// or from two rolls with none.
#[test]
fn what_soldering_saves_is_answered_where_it_is_asked_for() {
    let mut asked = json!({
        "unit_um": 50_000,
        "rolls": [{"name": "roll", "units": 130, "start": "lead", "end": "lead", "price_minor": 900}],
        "bars": [{"name": "bar", "units": 30, "quantity": 4, "fed": "one_end"}],
        "usable_offcut_units": 10,
        "solder_weights": {"lead": 0, "joint": 1, "mark": 2},
    });
    let plain = answer(Kind::Cuts, asked.clone(), &|| Duration::ZERO).expect("it is answered");
    assert_eq!(plain.get("trade_off"), None);
    asked["trade_off"] = json!(true);
    let said = answer(Kind::Cuts, asked.clone(), &|| Duration::ZERO).expect("it is answered");
    let found = &said["trade_off"];
    let points = [(0, 1_800), (2, 900)].map(|(ends, money)| {
        json!({"soldered_ends": ends, "purchase_minor": money, "purchase_bound_minor": money})
    });
    assert_eq!(
        (&found["points"], &found["proven"]),
        (&json!(points), &json!(true))
    );
    let unsoldered = &found["without_solder"];
    assert_eq!(unsoldered["bought"], json!([{"roll": "roll", "count": 2}]));
    let layouts = unsoldered["layouts"].as_array().expect("a list");
    assert!(layouts.iter().all(|layout| {
        let segments = layout["segments"].as_array().expect("a list");
        segments
            .iter()
            .all(|segment| segment["solder"] == json!([]))
    }));
    // Whatever is bought, a bar fed at both ends and shorter than every roll is soldered.
    asked["bars"][0]["fed"] = json!("both_ends");
    let said = answer(Kind::Cuts, asked, &|| Duration::ZERO).expect("it is answered");
    assert_eq!(said["trade_off"].get("without_solder"), None);
    assert_eq!(said["trade_off"]["points"][0]["soldered_ends"], 4);
}

#[test]
fn out_of_time_no_point_of_the_trade_off_is_claimed() {
    let mut asked = good();
    asked["trade_off"] = json!(true);
    let late = || Duration::from_mins(1);
    let said = answer(Kind::Cuts, asked, &late).expect("it is answered");
    assert_eq!(said["trade_off"], json!({"points": [], "proven": false}));
}
