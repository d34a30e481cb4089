//! Random questions to the calculator of feeds: the answer comes to what trying every way comes to,
//! and a checker that knows the documents alone accepts it, and refuses it once anything in it is
//! changed.

mod checker;
mod every_way;

use std::time::Duration;

use proptest::{collection::vec, option, prelude::*, sample::Index, test_runner};
use serde_json::{Value, json};
use tapewright::calc::{Kind, answer};

use checker::flaws;

/// The most loads of a question, so that every way can be tried.
const MOST_LOADS: u64 = 4;

/// Adds a field where there is something to put in.
fn put<T: Into<Value>>(made: &mut Value, field: &str, value: Option<T>) {
    if let Some(value) = value {
        made[field] = value.into();
    }
}

/// Amperes in tenths, where they are given.
fn tenths(least: u32, most: u32) -> impl Strategy<Value = Option<f64>> {
    option::of((least..=most).prop_map(|tenths| f64::from(tenths) / 10.0))
}

fn load() -> impl Strategy<Value = Value> {
    let voltage = prop_oneof![8 => Just(24), 1 => Just(12)];
    let place = prop_oneof![4 => Just(""), 1 => Just("Left")];
    let channels = vec(
        (1..=9_u32).prop_map(|tenths| f64::from(tenths) / 10.0),
        1..=2,
    );
    let group = option::of(prop::sample::select(vec!["arch", "step"]));
    (voltage, place, channels, group, 1..=3_u64).prop_map(
        |(voltage, place, channels, group, quantity)| {
            let mut made = json!({
                "voltage_v": voltage, "place": place, "channels_a": channels, "quantity": quantity,
            });
            put(&mut made, "group", group);
            made
        },
    )
}

/// How many there are and can be bought, and for how much.
fn stocked(made: impl Strategy<Value = Value>) -> impl Strategy<Value = Value> {
    let buy = option::weighted(0.7, (1..6_i64, option::of(0..=2_u32)));
    (made, option::weighted(0.8, 0..=2_u32), buy).prop_map(|(mut made, on_hand, buy)| {
        put(&mut made, "on_hand", on_hand);
        if let Some((price, most)) = buy {
            made["price_minor"] = json!(price * 100);
            put(&mut made, "most", most);
        }
        made
    })
}

fn driver() -> impl Strategy<Value = Value> {
    let inlets = prop::sample::select(vec![vec![2], vec![1, 1], vec![2, 1], vec![1], vec![3]]);
    let voltages = prop_oneof![8 => Just([5, 24]), 1 => Just([12, 12]), 1 => Just([24, 48])];
    let limits = (
        tenths(8, 20),
        tenths(10, 30),
        tenths(10, 40),
        tenths(10, 60),
    );
    let isolated = prop::sample::select(vec!["isolated", "bonded", "unknown"]);
    let channels = prop_oneof![1 => Just(1), 4 => 2..=3_u8];
    stocked((channels, inlets, voltages, limits, isolated).prop_map(
        |(channels, inlets, [least, most], limits, isolated)| {
            let mut made = json!({
                "channels_per_output": channels, "inlets": inlets, "isolated": isolated,
                "voltage_min_v": least, "voltage_max_v": most,
            });
            put(&mut made, "channel_limit_a", limits.0);
            put(&mut made, "output_limit_a", limits.1);
            put(&mut made, "inlet_limit_a", limits.2);
            put(&mut made, "whole_limit_a", limits.3);
            made
        },
    ))
}

fn supply() -> impl Strategy<Value = Value> {
    let voltage = prop_oneof![8 => Just(24), 1 => Just(12)];
    let percent = option::of(50..=100_u32);
    stocked(
        (voltage, 10..=60_u32, percent, option::of(1..=3_u32)).prop_map(
            |(voltage, rated, percent, pairs)| {
                let mut made = json!({"voltage_v": voltage, "rated_a": f64::from(rated) / 10.0});
                put(&mut made, "usable_percent", percent);
                put(&mut made, "terminal_pairs", pairs);
                made
            },
        ),
    )
}

fn named(letter: char, list: Vec<Value>) -> Value {
    let name = |(at, mut one): (usize, Value)| {
        one["name"] = json!(format!("{letter}{at}"));
        one
    };
    list.into_iter().enumerate().map(name).collect()
}

fn question() -> impl Strategy<Value = Value> {
    (
        vec(load(), 1..=3),
        vec(driver(), 1..=2),
        vec(supply(), 1..=2),
        option::of(1..=3_u32),
    )
        .prop_map(|(mut loads, drivers, supplies, feed)| {
            let mut left = MOST_LOADS;
            let others = loads.len() as u64 - 1;
            for (at, load) in loads.iter_mut().enumerate() {
                let quantity = load["quantity"].as_u64().expect("a number");
                let quantity = quantity.min(left - (others - at as u64));
                left -= quantity;
                load["quantity"] = json!(quantity);
            }
            let mut asked = json!({
                "loads": named('L', loads),
                "drivers": named('D', drivers),
                "supplies": named('S', supplies),
            });
            put(&mut asked, "feed_length_m", feed);
            asked
        })
}

fn said(asked: &Value) -> Value {
    answer(Kind::Feeds, asked.clone(), &|| Duration::ZERO).expect("it is answered")
}

/// The figures that are made least, in their order, as fields of the answer with those of what is
/// proven of them.
const FIGURES: [(&str, &str); 6] = [
    ("loads_short", "fewest_short"),
    ("purchase", "cost"),
    ("units_bought", "fewest_bought"),
    ("inlets_used", "shortest_cable"),
    ("units_taken", "fewest_taken"),
    ("unevenness", "most_even"),
];

/// What an answer comes to.
fn figures(said: &Value) -> [i64; 6] {
    FIGURES.map(|(field, _)| {
        let minor = &said[format!("{field}_minor")];
        let value = if minor.is_null() { &said[field] } else { minor };
        value.as_i64().expect("a whole number")
    })
}

/// A bound of an answer, where it has one.
fn bound(said: &Value, field: &str) -> Option<i64> {
    let minor = said[format!("{field}_bound_minor")].as_i64();
    minor.or_else(|| said[format!("{field}_bound")].as_i64())
}

/// Answers that each differ from this one in one place.
fn changed(asked: &Value, said: &Value, one: Index, two: Index) -> Vec<(String, Value)> {
    let mut all = Vec::new();
    let mut with = |what: &str, change: &dyn Fn(&mut Value)| {
        let mut other = said.clone();
        change(&mut other);
        assert_ne!(&other, said, "{what}");
        all.push((what.to_owned(), other));
    };
    let more = |other: &mut Value, at: &str, by: i64| {
        let value = other.pointer_mut(at).expect("there");
        *value = json!(value.as_i64().expect("a whole number") + by);
    };
    for field in [
        "/loads_short",
        "/purchase_minor",
        "/units_bought",
        "/inlets_used",
        "/units_taken",
        "/unevenness",
    ] {
        with(field, &|other| more(other, field, 1));
    }
    for (figure, proven) in FIGURES {
        with(proven, &|other| {
            let flag = &mut other["proven"][proven];
            *flag = json!(*flag != true);
        });
        let at = if figure == "purchase" {
            "/purchase_bound_minor".to_owned()
        } else {
            format!("/{figure}_bound")
        };
        if said.pointer(&at).is_some_and(Value::is_number) {
            with(&at, &|other| more(other, &at, 1));
        }
    }
    with("a load short", &|other| {
        let short = other["short"].as_array_mut().expect("a list");
        let name = &asked["loads"][0]["name"];
        short.push(json!({"load": name, "quantity": 1, "why": "It is said to be."}));
    });
    with("something bought", &|other| {
        let bought = other["bought"].as_array_mut().expect("a list");
        let name = &asked["supplies"][0]["name"];
        bought.push(json!({"name": name, "count": 1}));
    });
    with("something unchecked", &|other| {
        let unchecked = other["unchecked"].as_array_mut().expect("a list");
        unchecked.push(json!({"driver": "nobody's", "limits": ["whole_limit_a"]}));
    });
    if said["cable_m"].is_number() && said["inlets_used"] != 0 {
        with("cable", &|other| other["cable_m"] = json!(0.5));
    }
    let length = |at: &str| {
        let list = said.pointer(at).and_then(Value::as_array);
        list.expect("a list").len()
    };
    if length("/drivers") == 0 {
        return all;
    }
    let driver = format!("/drivers/{}", one.index(length("/drivers")));
    let output = format!(
        "{driver}/outputs/{}",
        two.index(length(&format!("{driver}/outputs")))
    );
    let inlet = format!(
        "{driver}/inlets/{}",
        two.index(length(&format!("{driver}/inlets")))
    );
    let supply = format!("/supplies/{}", two.index(length("/supplies")));
    let mut put = |at: String, value: Value| {
        with(&at, &|other| {
            *other.pointer_mut(&at).expect("there") = value.clone();
        });
    };
    put(format!("{driver}/driver"), json!("nobody's"));
    put(format!("{driver}/voltage_v"), json!(11));
    put(format!("{driver}/place"), json!("elsewhere"));
    put(format!("{driver}/inlets"), json!([]));
    put(format!("{driver}/outputs"), json!([]));
    put(format!("{output}/loads"), json!([]));
    put(format!("{output}/output"), json!(0));
    put(format!("{output}/output"), json!(99));
    put(format!("{output}/inlet"), json!(9));
    put(format!("{inlet}/supply"), json!(9));
    put(format!("{supply}/supply"), json!("nobody's"));
    for unit in [&driver, &supply] {
        let at = format!("{unit}/bought");
        let bought = said.pointer(&at) == Some(&json!(true));
        put(at, json!(!bought));
    }
    for at in [
        format!("{output}/current_a"),
        format!("{output}/channel_a"),
        format!("{output}/limit_a"),
        format!("{output}/margin_a"),
        format!("{output}/channel_limit_a"),
        format!("{inlet}/current_a"),
        format!("{inlet}/limit_a"),
        format!("{inlet}/margin_a"),
        format!("{inlet}/inlet"),
        format!("{driver}/current_a"),
        format!("{driver}/limit_a"),
        format!("{driver}/margin_a"),
        format!("{supply}/load_a"),
        format!("{supply}/usable_a"),
        format!("{supply}/margin_a"),
        format!("{supply}/pairs_used"),
    ] {
        let value = said.pointer(&at).expect("there");
        let other = value
            .as_f64()
            .map_or_else(|| json!(1.0), |value| json!(value + 0.5));
        put(at, other);
    }
    for unit in [&driver, &output, &inlet, &supply] {
        let (from, at) = unit.rsplit_once('/').expect("a place in a list");
        let at: usize = at.parse().expect("a number");
        with(&format!("{unit} is missing"), &|other| {
            let list = other.pointer_mut(from).expect("there");
            list.as_array_mut().expect("a list").remove(at);
        });
        with(&format!("{unit} is there twice"), &|other| {
            let list = other.pointer_mut(from).expect("there");
            let list = list.as_array_mut().expect("a list");
            list.push(list[at].clone());
        });
    }
    with("a load is fed twice", &|other| {
        let loads = other
            .pointer_mut(&format!("{output}/loads"))
            .expect("there");
        let loads = loads.as_array_mut().expect("a list");
        loads.push(loads[0].clone());
    });
    all
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        failure_persistence: Some(Box::new(test_runner::FileFailurePersistence::Direct(
            "tests/proptest-regressions/feeds.txt",
        ))),
        ..ProptestConfig::with_cases(cases)
    }
}

proptest! {
    #![proptest_config(cases(250))]

    #[test]
    fn every_answer_comes_to_what_trying_every_way_comes_to(asked in question()) {
        let said = said(&asked);
        prop_assert_eq!(flaws(&asked, &said), Vec::<String>::new(), "{} {}", asked, said);
        prop_assert_eq!(figures(&said), every_way::best(&asked), "{} {}", asked, said);
        for (field, proven) in FIGURES {
            prop_assert_eq!(&said["proven"][proven], &json!(true), "{} {}", field, asked);
        }
    }

    #[test]
    fn no_bound_is_beaten_wherever_the_search_ends(asked in question(), steps in 1..60_u64) {
        let mut asked = asked;
        asked["step_limit"] = json!(steps);
        let said = said(&asked);
        prop_assert_eq!(flaws(&asked, &said), Vec::<String>::new(), "{} {}", asked, said);
        let best = every_way::best(&asked);
        prop_assert!(figures(&said) >= best, "{} {}", asked, said);
        for (at, (field, proven)) in FIGURES.into_iter().enumerate() {
            let bound = bound(&said, field);
            prop_assert!(bound.is_none_or(|it| it <= best[at]), "{} {} {}", field, asked, said);
            if said["proven"][proven] != true {
                break;
            }
            prop_assert_eq!(figures(&said)[at], best[at], "{} {} {}", field, asked, said);
        }
    }

    #[test]
    fn no_answer_that_was_changed_holds(
        asked in question(), one in any::<Index>(), two in any::<Index>(),
    ) {
        let said = said(&asked);
        for (what, other) in changed(&asked, &said, one, two) {
            prop_assert!(!flaws(&asked, &other).is_empty(), "{}: {} {}", what, asked, other);
        }
    }
}
