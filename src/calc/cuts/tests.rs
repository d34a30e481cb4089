use serde_json::{Value, json};

use crate::calc::{Kind, Refused, answer};

fn refused(asked: Value) -> Refused {
    answer(Kind::Cuts, asked, &|| std::time::Duration::ZERO).expect_err("it is refused")
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
    let said = answer(Kind::Cuts, asked, &|| std::time::Duration::ZERO).expect("it is answered");
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
