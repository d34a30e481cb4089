//! The answer in words and tables.

use super::super::sum;
use crate::{
    calc::feeds::{
        FeedsAnswer, FeedsBody, FeedsOutput, FeedsUnchecked, FeedsUsedDriver, FeedsUsedSupply,
    },
    web::cx::Cx,
};

/// An output in use.
pub(super) struct Output {
    pub(super) number: u32,
    pub(super) feeds: String,
    pub(super) carries: String,
    pub(super) left: String,
    pub(super) inlet: u32,
    /// Counted from 1, as the supplies are listed.
    pub(super) supply: String,
}

/// A driver in use.
pub(super) struct Driver {
    pub(super) title: String,
    pub(super) why: String,
    pub(super) outputs: Vec<Output>,
    /// What its inlets and the whole carry.
    pub(super) carries: Vec<String>,
}

/// A supply in use.
pub(super) struct Supply {
    pub(super) number: usize,
    pub(super) name: String,
    pub(super) why: String,
    pub(super) load: String,
    pub(super) left: String,
    pub(super) pairs: u32,
}

/// A question, answered.
pub(super) struct Answered {
    pub(super) short: Vec<String>,
    pub(super) buy: String,
    pub(super) known: String,
    pub(super) lines: Vec<String>,
    pub(super) unchecked: Vec<String>,
    pub(super) drivers: Vec<Driver>,
    pub(super) supplies: Vec<Supply>,
    pub(super) document: String,
}

pub(super) fn answered(cx: &Cx, body: &FeedsBody, said: &FeedsAnswer) -> Answered {
    let bought = said.bought.iter();
    let bought: Vec<String> = bought
        .map(|it| format!("{} × {}", it.count, it.name))
        .collect();
    Answered {
        short: said
            .short
            .iter()
            .map(|it| format!("{} × {}: {}", it.quantity, it.load, it.why))
            .collect(),
        buy: if bought.is_empty() {
            "Nothing need be bought.".to_owned()
        } else {
            format!(
                "To buy: {} for {}.",
                bought.join(", "),
                sum(cx, said.purchase_minor)
            )
        },
        known: cost_known(cx, said),
        lines: figures(said),
        unchecked: said.unchecked.iter().map(unchecked).collect(),
        drivers: (1..)
            .zip(&said.drivers)
            .map(|(at, it)| driver(at, it))
            .collect(),
        supplies: (1..)
            .zip(&said.supplies)
            .map(|(at, it)| supply(at, it))
            .collect(),
        document: serde_json::to_string_pretty(body).unwrap_or_default(),
    }
}

fn cost_known(cx: &Cx, said: &FeedsAnswer) -> String {
    match said.purchase_bound_minor {
        Some(_) if said.proven.cost && said.purchase_minor == 0 => String::new(),
        Some(_) if said.proven.cost => "No other way to feed as many loads costs less.".to_owned(),
        Some(bound) => format!(
            "The best found; it cannot cost less than {}.",
            sum(cx, bound)
        ),
        None => "The best found; how little it can cost is not known.".to_owned(),
    }
}

/// What else was made least, and what is proven of it.
fn figures(said: &FeedsAnswer) -> Vec<String> {
    let known = |proven: bool, bound: Option<i64>| match bound {
        _ if proven => "proven least".to_owned(),
        Some(bound) => format!("the best found; it cannot be below {bound}"),
        None => "the best found".to_owned(),
    };
    let wide = |bound: Option<u32>| bound.map(i64::from);
    let cable = said
        .cable_m
        .map_or_else(String::new, |m| format!(" and {m} m of cable"));
    let proven = said.proven;
    vec![
        format!(
            "Loads short: {}, {}.",
            said.loads_short,
            known(proven.fewest_short, wide(said.loads_short_bound))
        ),
        format!(
            "Units bought: {}, {}.",
            said.units_bought,
            known(proven.fewest_bought, wide(said.units_bought_bound))
        ),
        format!(
            "Inlets in use: {}{cable}, {}.",
            said.inlets_used,
            known(proven.shortest_cable, wide(said.inlets_used_bound))
        ),
        format!(
            "Units taken of those on hand: {}, {}.",
            said.units_taken,
            known(proven.fewest_taken, wide(said.units_taken_bound))
        ),
        format!(
            "Unevenness of the supplies’ loads (the sum of their squares in tenths of an ampere): \
             {}, {}.",
            said.unevenness,
            known(proven.most_even, said.unevenness_bound)
        ),
    ]
}

fn unchecked(of: &FeedsUnchecked) -> String {
    let words = of.limits.iter().map(|field| match field.as_str() {
        "channel_limit_a" => "one channel",
        "output_limit_a" => "an output",
        "inlet_limit_a" => "an inlet",
        _ => "the whole",
    });
    let words: Vec<&str> = words.collect();
    format!("what {} of {} may carry", words.join(", "), of.driver)
}

/// Names with how often each follows itself.
fn counted(names: &[String]) -> String {
    let mut words: Vec<String> = Vec::new();
    for same in names.chunk_by(|one, other| one == other) {
        words.push(match same {
            [one] => one.clone(),
            all => format!("{} × {}", all.len(), all[0]),
        });
    }
    words.join(", ")
}

fn carries(ma: f64, limit: Option<f64>) -> String {
    limit.map_or_else(|| format!("{ma} A"), |most| format!("{ma} A of {most} A"))
}

fn driver(at: usize, of: &FeedsUsedDriver) -> Driver {
    let place = match of.place.as_str() {
        "" => String::new(),
        place => format!(", {place}"),
    };
    let mut lines: Vec<String> = (of.inlets.iter())
        .map(|it| {
            let carries = carries(it.current_a, it.limit_a);
            format!(
                "Inlet {} takes {carries} from supply {}.",
                it.inlet,
                it.supply + 1
            )
        })
        .collect();
    lines.push(format!(
        "All of it carries {}.",
        carries(of.current_a, of.limit_a)
    ));
    Driver {
        title: format!("Driver {at}: {}{place}, {} V", of.driver, of.voltage_v),
        why: of.why.clone(),
        outputs: of.outputs.iter().map(|it| output(of, it)).collect(),
        carries: lines,
    }
}

fn output(driver: &FeedsUsedDriver, of: &FeedsOutput) -> Output {
    let inlet = driver.inlets.iter().find(|it| it.inlet == of.inlet);
    Output {
        number: of.output,
        feeds: counted(&of.loads),
        carries: carries(of.current_a, of.limit_a),
        left: of
            .margin_a
            .map_or_else(|| "not known".to_owned(), |it| format!("{it} A")),
        inlet: of.inlet,
        supply: inlet.map_or_else(String::new, |it| (it.supply + 1).to_string()),
    }
}

fn supply(at: usize, of: &FeedsUsedSupply) -> Supply {
    Supply {
        number: at,
        name: of.supply.clone(),
        why: of.why.clone(),
        load: carries(of.load_a, Some(of.usable_a)),
        left: format!("{} A", of.margin_a),
        pairs: of.pairs_used,
    }
}
