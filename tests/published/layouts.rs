//! Random questions to the cut calculator: a checker that knows the documents alone accepts every
//! answer, and refuses it once anything in it is changed.

use std::time::Duration;

use proptest::{collection::vec, option, prelude::*, sample::Index};
use serde_json::{Value, json};
use tapewright::calc::{Kind, answer};

use crate::checker::flaws;

fn end() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["lead", "bare"])
}

/// A piece or roll without its name.
fn tape() -> impl Strategy<Value = Value> {
    let joints = option::of((2..=6_u32, 0..=6_u32));
    (4..=40_u32, end(), end(), joints).prop_map(|(units, start, end, joints)| {
        let mut made = json!({"units": units, "start": start, "end": end});
        if let Some((every, offset)) = joints {
            made["joint_every_units"] = json!(every);
            made["joint_offset_units"] = json!(offset);
        }
        made
    })
}

fn named(letter: char, list: Vec<Value>) -> Vec<Value> {
    let name = |(at, mut one): (usize, Value)| {
        one["name"] = json!(format!("{letter}{at}"));
        one
    };
    list.into_iter().enumerate().map(name).collect()
}

/// A question of tape, or of profile with its saw and trim.
fn question() -> impl Strategy<Value = Value> {
    let roll = (tape(), 1..=900_i64, option::of(0..=3_u32)).prop_map(|(mut roll, price, most)| {
        roll["price_minor"] = json!(price);
        if let Some(most) = most {
            roll["quantity"] = json!(most);
        }
        roll
    });
    let fed = prop::sample::select(vec!["one_end", "both_ends"]);
    let bar = (2..=20_u32, 1..=4_u32, fed).prop_map(
        |(units, quantity, fed)| json!({"units": units, "quantity": quantity, "fed": fed}),
    );
    let sawn = option::of((0..=2_u32, 0..=2_u32));
    (
        vec(tape(), 0..5),
        vec(roll, 0..3),
        vec(bar, 1..4),
        0..=9_u32,
        sawn,
    )
        .prop_map(|(mut pieces, mut rolls, bars, usable, sawn)| {
            let mut asked = json!({
                "unit_um": 50_000,
                "usable_offcut_units": usable,
                "solder_weights": {"lead": 0, "joint": 1, "mark": 3},
            });
            if let Some((kerf, trim)) = sawn {
                for tape in pieces.iter_mut().chain(&mut rolls) {
                    let tape = tape.as_object_mut().expect("fields");
                    tape.retain(|field, _| !field.starts_with("joint"));
                    tape.insert("start".to_owned(), json!("bare"));
                    tape.insert("end".to_owned(), json!("bare"));
                }
                asked["kerf_units"] = json!(kerf);
                asked["end_trim_units"] = json!(trim);
            }
            asked["pieces"] = json!(named('P', pieces));
            asked["rolls"] = json!(named('R', rolls));
            asked["bars"] = json!(named('B', bars));
            asked
        })
}

/// Answers that each differ from this one in one place.
fn changed(asked: &Value, said: &Value, layout: Index, segment: Index) -> Vec<(String, Value)> {
    let mut all = Vec::new();
    let mut with = |what: &str, change: &dyn Fn(&mut Value)| {
        let mut other = said.clone();
        change(&mut other);
        assert_ne!(&other, said, "{what}");
        all.push((what.to_owned(), other));
    };
    let more = |value: &mut Value, by: i64| *value = json!(value.as_i64().expect("whole") + by);
    for field in [
        "/purchase_minor",
        "/solder_work",
        "/rest/scrap_units",
        "/rest/offcuts",
        "/rest/squared",
    ] {
        with(field, &|other| {
            more(other.pointer_mut(field).expect("there"), 1);
        });
    }
    let name = &asked["bars"][0]["name"];
    with("short", &|other| {
        let short = other["short"].as_array_mut().expect("a list");
        short.push(json!({"bar": name, "quantity": 1, "why": "It is said to be."}));
    });
    let layouts = said["layouts"].as_array().expect("a list");
    if layouts.is_empty() {
        return all;
    }
    let at = layout.index(layouts.len());
    with("count", &|other| {
        more(&mut other["layouts"][at]["count"], 1);
    });
    with("bought", &|other| {
        let bought = &mut other["layouts"][at]["bought"];
        *bought = json!(bought != true);
    });
    with("missing", &|other| {
        other["layouts"].as_array_mut().expect("a list").remove(at);
    });
    let segments = layouts[at]["segments"].as_array().expect("a list");
    let of = segment.index(segments.len());
    let path = format!("/layouts/{at}/segments/{of}");
    for (field, by) in [
        ("from_unit", 1),
        ("from_unit", -1),
        ("to_unit", 1),
        ("to_unit", -1),
    ] {
        let field = format!("{path}/{field}");
        with(&field, &|other| {
            more(other.pointer_mut(&field).expect("there"), by);
        });
    }
    with("no segment", &|other| {
        let list = other
            .pointer_mut(&format!("/layouts/{at}/segments"))
            .expect("there");
        list.as_array_mut().expect("a list").remove(of);
    });
    let here = |other: &'_ mut Value, change: &dyn Fn(&mut Value)| {
        change(other.pointer_mut(&path).expect("there"));
    };
    if segments[of]["bar"].is_string() {
        with("another bar", &|other| {
            here(other, &|segment| segment["bar"] = json!("nobody's"));
        });
        let ends = segments[of]["solder"].as_array().expect("a list").len();
        with("soldering", &|other| {
            here(other, &|segment| {
                segment["solder"] = if ends == 0 {
                    json!(["start", "end"])
                } else {
                    json!([])
                };
            });
        });
        with("a bar kept", &|other| {
            here(other, &|segment| segment["offcut"] = json!(true));
        });
    } else {
        with("rest", &|other| {
            here(other, &|segment| {
                let kept = segment["offcut"] == true;
                segment["offcut"] = json!(!kept);
                segment["scrap"] = json!(kept);
            });
        });
    }
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn every_answer_holds_and_none_that_was_changed(
        asked in question(), layout in any::<Index>(), segment in any::<Index>(),
    ) {
        let said = answer(Kind::Cuts, asked.clone(), &|| Duration::ZERO).expect("it is answered");
        prop_assert_eq!(flaws(&asked, &said), Vec::<String>::new(), "{} {}", asked, said);
        for (what, other) in changed(&asked, &said, layout, segment) {
            prop_assert!(!flaws(&asked, &other).is_empty(), "{}: {} {}", what, asked, other);
        }
    }
}
