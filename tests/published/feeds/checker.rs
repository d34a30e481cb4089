//! Checks an answer of the calculator of feeds from its document alone: it knows nothing of the
//! planner, and reads nothing but the question and the answer.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

use super::{FIGURES, bound, figures};

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

fn whole(value: &Value) -> i64 {
    value.as_i64().unwrap_or(-1)
}

/// Volts or amperes in thousandths, as they are in whole ones here.
#[expect(clippy::cast_possible_truncation, reason = "a few thousand")]
pub(super) fn milli(value: &Value) -> Option<i64> {
    value.as_f64().map(|value| (value * 1_000.0).round() as i64)
}

fn named<'a>(all: &'a Value, name: &Value) -> Option<&'a Value> {
    list(all).iter().find(|it| it["name"] == *name)
}

/// A place and its voltage.
type Room = (String, Option<i64>);

/// What inlets take from a supply.
#[derive(Default)]
struct Taken {
    ma: i64,
    pairs: i64,
    rooms: BTreeSet<Room>,
}

/// What the drivers of an answer add up to.
#[derive(Default)]
struct Sums {
    /// By load: how often it is fed.
    fed: BTreeMap<String, i64>,
    /// By place of the supply.
    supplies: BTreeMap<i64, Taken>,
    /// Units by what they are and whether they are bought.
    used: BTreeMap<(String, bool), i64>,
}

/// Says what is wrong with an answer; nothing where it holds.
pub(super) fn flaws(asked: &Value, said: &Value) -> Vec<String> {
    let (mut found, mut sums) = (Vec::new(), Sums::default());
    for driver in list(&said["drivers"]) {
        check_driver(asked, driver, &mut sums, &mut found);
    }
    check_supplies(asked, said, &mut sums, &mut found);
    check_stock(asked, said, &sums, &mut found);
    check_loads(asked, said, &sums, &mut found);
    check_proofs(said, &mut found);
    found
}

/// Holds a limit and what is left of it against a current.
fn limit(of: &Value, limit: &Value, ma: i64, what: &str, found: &mut Vec<String>) {
    let most = milli(limit);
    if milli(&of["current_a"]) != Some(ma) {
        found.push(format!("{what} carries {ma} mA"));
    }
    if most.is_some_and(|most| ma > most) {
        found.push(format!("{what} carries too much"));
    }
    if milli(&of["limit_a"]) != most || milli(&of["margin_a"]) != most.map(|most| most - ma) {
        found.push(format!("{what} has another limit or margin"));
    }
}

fn check_driver(asked: &Value, driver: &Value, sums: &mut Sums, found: &mut Vec<String>) {
    let what = text(&driver["driver"]);
    let Some(kind) = named(&asked["drivers"], &driver["driver"]) else {
        found.push(format!("there is no driver {what}"));
        return;
    };
    let room = (
        text(&driver["place"]).to_owned(),
        milli(&driver["voltage_v"]),
    );
    let works = milli(&kind["voltage_min_v"]) <= room.1 && room.1 <= milli(&kind["voltage_max_v"]);
    if !works {
        found.push(format!("{what} does not work at that voltage"));
    }
    *sums
        .used
        .entry((what.to_owned(), driver["bought"] == true))
        .or_default() += 1;
    // The outputs that each inlet feeds, one after the other.
    let mut next = 1;
    let ranges: Vec<_> = (list(&kind["inlets"]).iter())
        .map(|outputs| {
            let from = next;
            next += whole(outputs);
            from..next
        })
        .collect();
    let mut on_inlet: BTreeMap<i64, i64> = BTreeMap::new();
    let mut outputs = BTreeSet::new();
    for output in list(&driver["outputs"]) {
        let (number, inlet) = (whole(&output["output"]), whole(&output["inlet"]));
        let range = usize::try_from(inlet - 1)
            .ok()
            .and_then(|at| ranges.get(at));
        if !range.is_some_and(|range| range.contains(&number)) || !outputs.insert(number) {
            found.push(format!(
                "{what} has no such output {number} of inlet {inlet}"
            ));
        }
        let ma = check_output(asked, kind, &room, output, sums, found);
        *on_inlet.entry(inlet).or_default() += ma;
    }
    let mut supplies = BTreeSet::new();
    for inlet in list(&driver["inlets"]) {
        let number = whole(&inlet["inlet"]);
        let Some(ma) = on_inlet.remove(&number) else {
            found.push(format!("{what} feeds nothing by inlet {number}"));
            continue;
        };
        limit(inlet, &kind["inlet_limit_a"], ma, "an inlet", found);
        let supply = whole(&inlet["supply"]);
        supplies.insert(supply);
        let taken = sums.supplies.entry(supply).or_default();
        taken.ma += ma;
        taken.pairs += 1;
        taken.rooms.insert(room.clone());
    }
    if !on_inlet.is_empty() || outputs.is_empty() {
        found.push(format!(
            "an inlet of {what} is not fed, or nothing hangs on it"
        ));
    }
    if kind["isolated"] != "isolated" && supplies.len() > 1 {
        found.push(format!("the inlets of {what} are not isolated"));
    }
    let ma = list(&driver["outputs"])
        .iter()
        .filter_map(|it| milli(&it["current_a"]))
        .sum();
    limit(driver, &kind["whole_limit_a"], ma, "a driver", found);
}

/// Gives what an output carries.
fn check_output(
    asked: &Value,
    kind: &Value,
    room: &Room,
    output: &Value,
    sums: &mut Sums,
    found: &mut Vec<String>,
) -> i64 {
    let (mut loads, mut takes) = (Vec::new(), Vec::<i64>::new());
    for name in list(&output["loads"]) {
        let Some(load) = named(&asked["loads"], name) else {
            found.push(format!("there is no load {name}"));
            continue;
        };
        *sums.fed.entry(text(name).to_owned()).or_default() += 1;
        if text(&load["place"]) != room.0 || milli(&load["voltage_v"]) != room.1 {
            found.push(format!("{name} is fed from another place or voltage"));
        }
        let channels = list(&load["channels_a"]);
        if channels.len() > usize::try_from(whole(&kind["channels_per_output"])).unwrap_or(0) {
            found.push(format!("{name} has more channels than its output"));
        }
        takes.resize(takes.len().max(channels.len()), 0);
        for (sum, channel) in takes.iter_mut().zip(channels) {
            *sum += milli(channel).unwrap_or(0);
        }
        loads.push(load);
    }
    match loads.as_slice() {
        [] => found.push("an output in use feeds nothing".to_owned()),
        [_] => {}
        [first, others @ ..] => {
            let width = list(&first["channels_a"]).len();
            let alike = first["group"].is_string()
                && others.iter().all(|it| {
                    it["group"] == first["group"] && list(&it["channels_a"]).len() == width
                });
            let known = kind["channel_limit_a"].is_number() && kind["output_limit_a"].is_number();
            if !alike || !known {
                found.push("loads share an output that may not".to_owned());
            }
        }
    }
    let fullest = takes.iter().copied().max().unwrap_or(0);
    let most = milli(&kind["channel_limit_a"]);
    if milli(&output["channel_a"]) != Some(fullest) || milli(&output["channel_limit_a"]) != most {
        found.push("a channel carries something else".to_owned());
    }
    if most.is_some_and(|most| fullest > most) {
        found.push("a channel carries too much".to_owned());
    }
    let ma = takes.iter().sum();
    limit(output, &kind["output_limit_a"], ma, "an output", found);
    ma
}

fn check_supplies(asked: &Value, said: &Value, sums: &mut Sums, found: &mut Vec<String>) {
    let mut uneven = 0;
    for (at, supply) in (0..).zip(list(&said["supplies"])) {
        let what = text(&supply["supply"]);
        let Some(kind) = named(&asked["supplies"], &supply["supply"]) else {
            found.push(format!("there is no supply {what}"));
            continue;
        };
        *sums
            .used
            .entry((what.to_owned(), supply["bought"] == true))
            .or_default() += 1;
        let Taken { ma, pairs, rooms } = sums.supplies.remove(&at).unwrap_or_default();
        let percent = kind["usable_percent"].as_i64().unwrap_or(80);
        let usable = milli(&kind["rated_a"]).unwrap_or(0) * percent / 100;
        if ma > usable
            || kind["terminal_pairs"]
                .as_i64()
                .is_some_and(|most| pairs > most)
        {
            found.push(format!("{what} is loaded too much"));
        }
        let fields = ["load_a", "usable_a", "margin_a"].map(|field| milli(&supply[field]));
        if fields != [ma, usable, usable - ma].map(Some) || whole(&supply["pairs_used"]) != pairs {
            found.push(format!(
                "{what} carries {ma} mA of {usable} by {pairs} pairs"
            ));
        }
        let gives = milli(&kind["voltage_v"]);
        if rooms.len() != 1 || rooms.iter().any(|(_, volts)| *volts != gives) {
            found.push(format!("{what} feeds several places, or another voltage"));
        }
        uneven += ((ma + 99) / 100).pow(2);
    }
    if !sums.supplies.is_empty() {
        found.push("an inlet is fed by no supply".to_owned());
    }
    if whole(&said["unevenness"]) != uneven {
        found.push(format!("the loads are {uneven} uneven"));
    }
}

/// Whether there are so many of everything, what they cost, and what is not known of them.
fn check_stock(asked: &Value, said: &Value, sums: &Sums, found: &mut Vec<String>) {
    let (mut cost, mut bought, mut taken) = (0, 0, 0);
    let (mut buys, mut unchecked) = (Vec::new(), Vec::new());
    for kind in list(&asked["drivers"])
        .iter()
        .chain(list(&asked["supplies"]))
    {
        let used = |bought: bool| {
            let key = (text(&kind["name"]).to_owned(), bought);
            sums.used.get(&key).copied().unwrap_or(0)
        };
        let price = kind["price_minor"].as_i64();
        let most = kind["most"].as_i64().unwrap_or(i64::MAX);
        if used(false) > kind["on_hand"].as_i64().unwrap_or(0)
            || used(true) > price.map_or(0, |_| most)
        {
            found.push(format!("there are not so many of {}", kind["name"]));
        }
        cost += price.unwrap_or(0) * used(true);
        bought += used(true);
        taken += used(false);
        if used(true) > 0 {
            buys.push(json!({"name": kind["name"], "count": used(true)}));
        }
        let limits = [
            "channel_limit_a",
            "output_limit_a",
            "inlet_limit_a",
            "whole_limit_a",
        ];
        let unknown: Vec<&str> = (limits.into_iter())
            .filter(|it| kind[it].is_null())
            .collect();
        let driver = kind["inlets"].is_array();
        if driver && used(true) + used(false) > 0 && !unknown.is_empty() {
            unchecked.push(json!({"driver": kind["name"], "limits": unknown}));
        }
    }
    let inlets = list(&said["drivers"])
        .iter()
        .map(|it| list(&it["inlets"]).len());
    let inlets = i64::try_from(inlets.sum::<usize>()).unwrap_or(i64::MAX);
    for (field, value) in [
        ("purchase_minor", cost),
        ("units_bought", bought),
        ("units_taken", taken),
        ("inlets_used", inlets),
    ] {
        if whole(&said[field]) != value {
            found.push(format!("{field} is {value}"));
        }
    }
    if said["bought"] != json!(buys) || said["unchecked"] != json!(unchecked) {
        found.push("something else is bought or not known".to_owned());
    }
    let cable = milli(&asked["feed_length_m"]).map(|each| each * inlets);
    if milli(&said["cable_m"]) != cable {
        found.push("the cable has another length".to_owned());
    }
}

/// Whether each load is fed once or short.
fn check_loads(asked: &Value, said: &Value, sums: &Sums, found: &mut Vec<String>) {
    let mut all = 0;
    for load in list(&asked["loads"]) {
        let name = text(&load["name"]);
        let short = list(&said["short"]).iter().filter(|it| it["load"] == name);
        let short: i64 = short.map(|it| whole(&it["quantity"])).sum();
        all += short;
        let fed = sums.fed.get(name).copied().unwrap_or(0);
        if fed + short != load["quantity"].as_i64().unwrap_or(1) {
            found.push(format!("{name} is fed {fed} times and short {short} times"));
        }
    }
    if whole(&said["loads_short"]) != all {
        found.push(format!("{all} loads are short"));
    }
}

/// Whether what is proven and the bounds go together: nothing is known of what stands after
/// something that is not proven.
fn check_proofs(said: &Value, found: &mut Vec<String>) {
    let mut open = false;
    for ((field, proven), value) in FIGURES.into_iter().zip(figures(said)) {
        let (bound, proven) = (bound(said, field), said["proven"][proven] == true);
        let agree = if proven {
            !open && bound == Some(value)
        } else {
            bound.is_none_or(|bound| !open && bound < value)
        };
        if !agree {
            found.push(format!(
                "{field}: what is proven does not agree with its bound"
            ));
        }
        open |= !proven;
    }
}
