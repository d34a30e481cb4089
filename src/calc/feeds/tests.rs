use std::time::Duration;

use serde_json::{Value, json};

use crate::calc::{Kind, Refused, answer};

fn said(asked: Value) -> Value {
    answer(Kind::Feeds, asked, &|| Duration::ZERO).expect("it is answered")
}

fn refused(asked: Value) -> Refused {
    answer(Kind::Feeds, asked, &|| Duration::ZERO).expect_err("it is refused")
}

/// What is asked in the worked example that is titled so.
fn example(title: &str) -> Value {
    let all = Kind::Feeds.examples();
    let one = all.into_iter().find(|it| it.title.starts_with(title));
    one.expect("it is there").asked
}

fn without(mut asked: Value, list: &str, at: usize) -> Value {
    asked[list].as_array_mut().expect("a list").remove(at);
    asked
}

/// By hand. Eight bars want eight outputs: all four inlets of two outputs each, and each inlet a
/// pair of terminals. A supply has three pairs, so that one cannot do, though its 16 A would carry
/// all 14.4 A. One is there: a second must be bought, 65.00, and no sum is less than one price.
#[test]
fn three_pairs_of_terminals_feed_three_inlets() {
    let asked = example("A supply's three pairs");
    let all = said(asked.clone());
    assert_eq!(all["purchase_minor"], 6_500);
    assert_eq!(all["purchase_bound_minor"], 6_500);
    assert_eq!(all["inlets_used"], 4);
    // Two inlets each, 7.2 A and 7.2 A, is as even as it can be.
    assert_eq!(all["unevenness"], 2 * 72 * 72);
    // It is the terminals: where nothing is known of them, the supply that is there does.
    let mut asked = asked;
    asked["supplies"][0]
        .as_object_mut()
        .expect("fields")
        .remove("terminal_pairs");
    assert_eq!(said(asked)["purchase_minor"], 0);
}

/// By hand. Of the three arches of 2.8 A two may share an output (1.6 A of 2 A on a channel, 5.6 A of
/// 6 A in all), three may not (8.4 A): with the step light, three outputs are needed and do. Nothing
/// is there, so that a driver is bought, 39.00; its one inlet takes all 8.75 A from one supply. Of 10
/// A at 80 % only 8 A may be used, so that it is the other, 13.5 A of 15 A, for 59.00. Two drivers
/// would cost 78.00, and 120.00 with the cheaper supply: more than 98.00.
#[test]
fn two_of_a_group_share_an_output() {
    let asked = example("Two of a group share");
    let all = said(asked.clone());
    assert_eq!(all["purchase_minor"], 3_900 + 5_900);
    assert_eq!(all["purchase_bound_minor"], 9_800);
    assert_eq!(
        all["bought"],
        json!([{"name": "Three outputs", "count": 1}, {"name": "Supply 24 V 15 A", "count": 1}])
    );
    // Alone, each wants an output of its own: two drivers, whose two inlets the larger supply feeds
    // for less than two of the smaller would.
    let mut alone = asked.clone();
    for load in alone["loads"].as_array_mut().expect("a list") {
        load.as_object_mut().expect("fields").remove("group");
    }
    assert_eq!(said(alone)["purchase_minor"], 2 * 3_900 + 5_900);
    // Where a limit is not known, nothing is shared, and the answer says what is not known.
    let mut unknown = asked;
    let driver = unknown["drivers"][0].as_object_mut().expect("fields");
    driver.remove("channel_limit_a");
    let all = said(unknown);
    assert_eq!(all["units_bought"], 3);
    assert_eq!(
        all["unchecked"],
        json!([{"driver": "Three outputs", "limits": ["channel_limit_a", "inlet_limit_a"]}])
    );
}

/// By hand. No driver works at 48 V, so that the work light is short whatever is bought. The places
/// share nothing. On the right 10.8 A at 24 V need a supply of 24 V, and none is there: 65.00 at
/// least. On the left 14.4 A at 12 V are more than one supply's 9.6 A, so that it takes both that
/// are there and a driver with isolated inlets; the joined one, on the right, takes its 10.8 A from
/// one supply. So nothing else is bought.
#[test]
fn two_places_share_nothing() {
    let asked = example("Two places");
    let all = said(asked.clone());
    assert_eq!(all["purchase_minor"], 6_500);
    assert_eq!(all["purchase_bound_minor"], 6_500);
    assert_eq!(
        all["short"],
        json!([{"load": "Work light", "quantity": 1, "why": "No driver works at 48 V."}])
    );
    // Without the driver whose inlets are isolated, a driver on the left gets 9.6 A at most, which
    // is two of the four bars: two drivers there and one on the right, of which one is there.
    let joined = said(without(asked, "drivers", 1));
    assert_eq!(joined["purchase_minor"], 6_500 + 2 * 4_500);
}

/// Each row: where something else is put, and the field that is then named.
#[test]
fn what_is_wrong_is_named_by_a_pointer() {
    let cases = [
        ("/loads", json!({}), "/loads"),
        ("/loads/1/name", json!("Left arch"), "/loads/1/name"),
        ("/loads/1/name", json!(" "), "/loads/1/name"),
        ("/loads/1/name", json!("x".repeat(121)), "/loads/1/name"),
        ("/loads/0/voltage_v", json!(0), "/loads/0/voltage_v"),
        ("/loads/0/voltage_v", json!(24.0005), "/loads/0/voltage_v"),
        ("/loads/0/voltage_v", json!(1e300), "/loads/0/voltage_v"),
        ("/loads/0/place", json!("x".repeat(121)), "/loads/0/place"),
        ("/loads/0/channels_a", json!([]), "/loads/0/channels_a"),
        (
            "/loads/0/channels_a",
            json!(vec![1; 9]),
            "/loads/0/channels_a",
        ),
        (
            "/loads/0/channels_a/2",
            json!(-0.1),
            "/loads/0/channels_a/2",
        ),
        (
            "/loads/0/channels_a/2",
            json!(100.5),
            "/loads/0/channels_a/2",
        ),
        ("/loads/0/group", json!(""), "/loads/0/group"),
        ("/loads/0/quantity", json!(0), "/loads/0/quantity"),
        ("/loads/1/quantity", json!(499), "/loads/1/quantity"),
        (
            "/drivers/0/channels_per_output",
            json!(0),
            "/drivers/0/channels_per_output",
        ),
        ("/drivers/0/inlets", json!([]), "/drivers/0/inlets"),
        ("/drivers/0/inlets", json!([100, 29]), "/drivers/0/inlets"),
        ("/drivers/0/inlets/0", json!(0), "/drivers/0/inlets/0"),
        ("/drivers/0/inlets/0", json!(1.5), "/drivers/0/inlets/0"),
        (
            "/drivers/0/voltage_max_v",
            json!(4),
            "/drivers/0/voltage_max_v",
        ),
        (
            "/drivers/0/output_limit_a",
            json!(-1),
            "/drivers/0/output_limit_a",
        ),
        ("/drivers/0/isolated", json!("maybe"), "/drivers/0/isolated"),
        (
            "/drivers/0/price_minor",
            json!(-1),
            "/drivers/0/price_minor",
        ),
        (
            "/supplies/1/name",
            json!("Three outputs"),
            "/supplies/1/name",
        ),
        ("/supplies/1/rated_a", json!("x"), "/supplies/1/rated_a"),
        (
            "/supplies/1/usable_percent",
            json!(0),
            "/supplies/1/usable_percent",
        ),
        (
            "/supplies/1/usable_percent",
            json!(101),
            "/supplies/1/usable_percent",
        ),
    ];
    for (at, value, named) in cases {
        let mut asked = example("Two of a group share");
        *asked.pointer_mut(at).expect("it is there") = value.clone();
        assert_eq!(refused(asked).pointer, named, "{at} {value}");
    }
}

#[test]
fn what_is_put_in_wrongly_is_named_by_a_pointer() {
    for (at, field, value) in [
        ("", "step_limit", json!(0)),
        ("", "step_limit", json!(1_000_001)),
        ("", "feed_length_m", json!(0)),
        ("", "colour", json!("red")),
        ("/drivers/0", "on_hand", json!(10_001)),
        ("/supplies/0", "terminal_pairs", json!(0)),
        ("/supplies/0", "most", json!(-1)),
        ("/supplies/0", "whole_limit_a", json!(3)),
    ] {
        let mut asked = example("Two of a group share");
        asked.pointer_mut(at).expect("it is there")[field] = value;
        assert_eq!(refused(asked).pointer, format!("{at}/{field}"), "{field}");
    }
    // How many can be bought means nothing without a price.
    let mut asked = example("A supply's three pairs");
    asked["drivers"][0]["most"] = json!(2);
    assert_eq!(refused(asked).pointer, "/drivers/0/most");
    for field in ["loads", "drivers", "supplies"] {
        let mut asked = example("Two of a group share");
        asked.as_object_mut().expect("fields").remove(field);
        assert_eq!(refused(asked).pointer, format!("/{field}"));
        let mut asked = example("Two of a group share");
        let one = asked[field][0].clone();
        asked[field] = json!(vec![one; 501]);
        assert_eq!(refused(asked).pointer, format!("/{field}"));
    }
    for none in [json!(null), json!([]), json!("feeds")] {
        assert_eq!(refused(none).pointer, "");
    }
}

/// Each row: what is put where in a document whose one load is fed, and why it is short then.
#[test]
fn a_load_that_is_short_says_what_stands_against_it() {
    let asked = json!({
        "loads": [{"name": "Bar", "voltage_v": 24, "channels_a": [2, 1.5]}],
        "drivers": [{
            "name": "Driver", "channels_per_output": 2, "inlets": [1],
            "voltage_min_v": 12, "voltage_max_v": 24, "channel_limit_a": 2, "output_limit_a": 3.5,
            "inlet_limit_a": 3.5, "whole_limit_a": 3.5, "isolated": "unknown", "on_hand": 1,
        }],
        "supplies": [{"name": "Supply", "voltage_v": 24, "rated_a": 4.375, "on_hand": 1}],
    });
    assert_eq!(said(asked.clone())["loads_short"], 0);
    let otherwise = "those that suit it otherwise carry at most";
    for (at, value, why) in [
        ("/drivers", json!([]), "No driver is listed.".to_owned()),
        ("/drivers/0/voltage_max_v", json!(23.5), "No driver works at 24 V.".to_owned()),
        (
            "/drivers/0/channels_per_output",
            json!(1),
            "It has 2 channels; the outputs of drivers for 24 V have at most 1.".to_owned(),
        ),
        (
            "/drivers/0/channel_limit_a",
            json!(1.999),
            format!("It takes 2 A on one channel of a driver; {otherwise} 1.999 A."),
        ),
        (
            "/drivers/0/output_limit_a",
            json!(3),
            format!("It takes 3.5 A on an output of a driver; {otherwise} 3 A."),
        ),
        (
            "/drivers/0/inlet_limit_a",
            json!(0),
            format!("It takes 3.5 A on an inlet of a driver; {otherwise} 0 A."),
        ),
        (
            "/drivers/0/whole_limit_a",
            json!(3.4999),
            format!("It takes 3.5 A on the whole of a driver; {otherwise} 3.499 A."),
        ),
        (
            "/drivers/0/on_hand",
            json!(0),
            "Of the drivers that could carry it none is on hand or can be bought.".to_owned(),
        ),
        ("/supplies/0/voltage_v", json!(12), "No supply gives 24 V.".to_owned()),
        (
            "/supplies/0/rated_a",
            json!(4.374),
            "It takes 3.5 A; a supply of 24 V may be loaded with 3.499 A at most.".to_owned(),
        ),
        (
            "/supplies/0/on_hand",
            json!(0),
            "Of the supplies that could feed it none is on hand or can be bought.".to_owned(),
        ),
        (
            "/loads/0",
            json!({"name": "Bar", "voltage_v": 24, "channels_a": [1.5, 1.5], "quantity": 2}),
            "By itself it could be fed; what is on hand and can be bought does not feed more loads \
             at once."
                .to_owned(),
        ),
    ] {
        let mut asked = asked.clone();
        *asked.pointer_mut(at).expect("it is there") = value;
        let said = said(asked);
        assert_eq!(
            said["short"],
            json!([{"load": "Bar", "quantity": 1, "why": why}])
        );
        assert_eq!(said["loads_short_bound"], 1, "{at}");
    }
}

/// What is taken is counted up to the next milliampere, what may be carried down to it.
#[test]
fn no_rounding_lets_a_load_pass() {
    let mut asked = example("A supply's three pairs");
    asked["loads"][0]["channels_a"] = json!([5.000_01, 0, 0]);
    let said = said(asked);
    assert_eq!(said["loads_short"], 8);
    assert_eq!(
        said["short"][0]["why"],
        "It takes 5.001 A on one channel of a driver; those that suit it otherwise carry at most 5 A."
    );
}

#[test]
fn where_the_steps_run_out_nothing_is_claimed_that_is_not_known() {
    // Sizes that fill no supply evenly, so that there is something to search for.
    let loads: Vec<Value> = (0..24)
        .map(|at| json!({"name": format!("Bar {at}"), "voltage_v": 24, "channels_a": [1.0 + 0.137 * f64::from(at)]}))
        .collect();
    let mut asked = json!({
        "loads": loads,
        "drivers": [
            {"name": "Four", "channels_per_output": 1, "inlets": [2, 2], "voltage_min_v": 5,
                "voltage_max_v": 24, "inlet_limit_a": 6, "isolated": "isolated", "price_minor": 3100},
            {"name": "Six", "channels_per_output": 1, "inlets": [3, 3], "voltage_min_v": 5,
                "voltage_max_v": 24, "whole_limit_a": 11, "isolated": "bonded", "price_minor": 4300},
        ],
        "supplies": [
            {"name": "Small", "voltage_v": 24, "rated_a": 9, "price_minor": 2700},
            {"name": "Large", "voltage_v": 24, "rated_a": 16, "terminal_pairs": 3, "price_minor": 4900},
        ],
    });
    let long = said(asked.clone());
    asked["step_limit"] = json!(1);
    let short = said(asked.clone());
    assert_eq!(said(asked), short, "the same steps, the same answer");
    let value = |said: &Value, field: &str| said[field].as_i64();
    assert_eq!(value(&short, "loads_short"), Some(0));
    assert!(value(&short, "purchase_minor") >= value(&long, "purchase_minor"));
    assert!(value(&short, "purchase_bound_minor") <= value(&long, "purchase_minor"));
    assert_eq!(short["proven"]["most_even"], false);
    assert_eq!(short["unevenness_bound"], Value::Null);
}
