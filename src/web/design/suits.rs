//! Which tape, which driver, which supply for this set: each of the catalogue that may be used is
//! planned throughout, and told beside the plan as it is.

use std::collections::BTreeMap;

use askama::Template;

use super::{BarList, Head, Tab, Whole, count_of, head, load, toll};
use crate::{
    model::{
        design::Bar,
        id::{BarId, DesignId, PartId},
        part::{Driver, Kind, Part, PartSpec, StockUnit, Supply, Tape},
    },
    plan::{
        Plan,
        other::{Other, Tally},
        outcome::{CheckState, Serve},
    },
    stock::{
        design::{Basics, Edit},
        planned,
    },
    units::Money,
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, page},
    },
};

/// Parts that are planned for one look at the page.
const TRIED: usize = 8;
/// Broken limits that are told of one part; the others are counted.
const TOLD: usize = 4;

/// One part that may be used.
struct Candidate {
    name: String,
    part: PartId,
    href: Link,
    /// Its figures.
    facts: String,
    /// Kind and word of how it comes out.
    state: (&'static str, &'static str),
    /// How many or how much, and of that how much is there.
    takes: String,
    /// What the whole set costs with it.
    costs: String,
    /// What is otherwise than in the plan as it is.
    apart: String,
    /// Limits that are broken or not known with it and are not without it.
    troubles: Vec<String>,
    /// How many more there are of those.
    more: usize,
    /// Whether it is what the set says already.
    chosen: bool,
}

/// The parts for some bars.
struct Group {
    title: String,
    /// The bars, where a button chooses for them.
    bars: String,
    rows: Vec<Candidate>,
    /// Parts that were not planned for want of time, by name.
    untried: Vec<String>,
    /// What is said of the rest of the catalogue.
    rest: String,
    /// Whether one is chosen by hand, which can be taken back.
    pinned: bool,
}

#[derive(Template)]
#[template(path = "design/suits.html")]
struct SuitsPage {
    chrome: Chrome,
    head: Head,
    kind: Kind,
    /// The three questions: where each leads, its words, whether it is this one.
    questions: Vec<(Link, &'static str, bool)>,
    groups: Vec<Group>,
    /// Why there is nothing to choose, where there is not.
    nothing: &'static str,
    /// Whether the set can be changed now.
    editable: bool,
    known: &'static str,
}

fn or_unknown<T>(value: Option<T>, what: &str, show: impl FnOnce(T) -> String) -> String {
    value.map_or_else(|| format!("{what} not known"), show)
}

fn tape_facts(cx: &Cx, tape: &Tape) -> String {
    [
        tape.voltage_mv.show(),
        format!("{} wide", cx.length(tape.width_um)),
        or_unknown(tape.power_per_m(), "power", |power| {
            format!("{} at full", power.show())
        }),
        or_unknown(tape.leds_per_m, "LEDs per metre", |leds| {
            format!("{leds} LEDs per metre")
        }),
        format!("cut every {}", tape.pitch.show(cx.unit())),
        or_unknown(tape.longest_run_um, "longest run", |run| {
            format!("longest run {}", cx.length(run))
        }),
    ]
    .join(", ")
}

fn driver_facts(driver: &Driver) -> String {
    let outputs = count_of(usize::from(driver.outputs), "output", "outputs");
    let channels = usize::from(driver.channels_per_output);
    [
        format!("{outputs} of {}", count_of(channels, "channel", "channels")),
        or_unknown(driver.channel_limit_ma, "limit of a channel", |limit| {
            format!("{} a channel", limit.show())
        }),
        or_unknown(driver.whole_limit_ma, "limit of the whole", |limit| {
            format!("{} in all", limit.show())
        }),
        format!(
            "{} to {}",
            driver.voltage_min_mv.show(),
            driver.voltage_max_mv.show()
        ),
        count_of(driver.inlets.len(), "inlet", "inlets"),
        or_unknown(driver.common, "common", |common| common.to_string()),
    ]
    .join(", ")
}

fn supply_facts(supply: &Supply) -> String {
    [
        supply.voltage_mv.show(),
        format!("{} rated", supply.rated_ma.show()),
        or_unknown(supply.terminal_pairs, "terminal pairs", |pairs| {
            count_of(pairs.into(), "pair of terminals", "pairs of terminals")
        }),
        match supply.limited_power {
            Some(true) => "limited power".to_owned(),
            Some(false) => "not limited power".to_owned(),
            None => "limited power not known".to_owned(),
        },
    ]
    .join(", ")
}

fn facts(cx: &Cx, part: &Part) -> String {
    match &part.spec {
        PartSpec::Tape(tape) => tape_facts(cx, tape),
        PartSpec::Driver(driver) => driver_facts(driver),
        PartSpec::Supply(supply) => supply_facts(supply),
        _ => String::new(),
    }
}

/// How much of a part a plan takes, and of that how much is there; `None` where it takes none.
fn takes(cx: &Cx, whole: &Whole, plan: &Plan, part: PartId) -> Option<String> {
    let need = plan.needs.iter().find(|need| need.part == Some(part))?;
    let amount = |amount| whole.amount(cx, Some(part), amount);
    let counted = whole
        .part(part)
        .is_some_and(|part| part.unit() == StockUnit::Each);
    let (all, of) = match (counted, need.needed) {
        (true, 1) => ("it", "it"),
        (true, _) => ("all", "them"),
        (false, _) => ("all of it", "it"),
    };
    let there = match need.short {
        0 if counted && need.needed > 1 => "all are there".to_owned(),
        0 => format!("{all} is there"),
        short if short >= need.needed => format!("{all} to buy"),
        short => format!("{} of {of} to buy", amount(short)),
    };
    Some(format!("Takes {}, {there}.", amount(need.needed)))
}

/// The worst drop of a plan in percent, where it was solved for any bar.
fn worst_drop(plan: &Plan) -> Option<f64> {
    let outputs = plan.volts.outputs.iter();
    outputs
        .flat_map(|output| &output.bars)
        .map(|bar| bar.worst_drop_percent)
        .max_by(f64::total_cmp)
}

fn candidate(cx: &Cx, whole: &Whole, part: &Part, plan: &Plan, chosen: bool) -> Candidate {
    let (now, then) = (Tally::of(whole.plan()), Tally::of(plan));
    let known: Vec<&str> = (whole.plan().checks.iter())
        .filter(|check| check.state <= CheckState::Unknown)
        .map(|check| check.sentence.as_str())
        .collect();
    let mut troubles: Vec<String> = (plan.checks.iter())
        .filter(|check| check.state <= CheckState::Unknown)
        .filter(|check| !known.contains(&check.sentence.as_str()))
        .map(|check| check.sentence.clone())
        .collect();
    for bar in &plan.bars {
        if let Serve::Short { why } = &bar.serve {
            troubles.insert(0, format!("Bar {}: {why}", bar.label));
        }
    }
    troubles.dedup();
    let more = troubles.len().saturating_sub(TOLD);
    troubles.truncate(TOLD);
    let took = takes(cx, whole, plan, part.id);
    let as_planned = takes(cx, whole, whole.plan(), part.id).is_some();
    let state = if took.is_none() {
        ("unknown", "not taken")
    } else if then.short > now.short {
        ("short", "leaves bars short")
    } else if then.not_kept > now.not_kept {
        ("broken", "breaks limits")
    } else if chosen {
        ("passed", "chosen by hand")
    } else if as_planned {
        ("passed", "in the plan")
    } else {
        ("passed", "would do")
    };
    let apart = toll::apart(cx, &then, &now);
    let drop = worst_drop(plan).map_or_else(String::new, |drop| {
        format!(" Worst drop along a bar: {drop:.1} %.")
    });
    Candidate {
        name: part.name.to_string(),
        part: part.id,
        href: Link::Part(part.id),
        facts: facts(cx, part),
        state,
        takes: took.unwrap_or_else(|| "Nothing of the set can use it.".to_owned()),
        costs: format!(
            "The set with it: {}{drop}",
            costs_words(&then, &cx.money(then.money))
        ),
        apart: if apart.is_empty() {
            "As much money, soldering and limits as in the plan as it is.".to_owned()
        } else {
            format!("Beside the plan as it is: {}.", apart.join(", "))
        },
        troubles,
        more,
        chosen,
    }
}

/// What a set costs, as far as there are prices for it.
fn costs_words(tally: &Tally, money: &str) -> String {
    let parts = count_of(tally.unpriced as usize, "part", "parts");
    match (tally.unpriced, tally.money) {
        (0, Money::ZERO) => "nothing to buy.".to_owned(),
        (0, _) => format!("{money} to buy."),
        (_, Money::ZERO) => format!(
            "its cost is not known, since {parts} to buy {} no price yet. Note a pack and its price on \
             the part’s page to learn it.",
            if tally.unpriced == 1 { "has" } else { "have" }
        ),
        _ => format!("from {money} to buy, and {parts} without a price yet."),
    }
}

/// Parts of a kind that may be used, those in the plan or the house first, then those that are sold.
fn candidates<'a>(whole: &'a Whole, fits: &dyn Fn(&PartSpec) -> bool) -> Vec<&'a Part> {
    let input = whole.input();
    let rank = |part: &Part| {
        let planned = (whole.plan().needs.iter()).any(|need| need.part == Some(part.id));
        let units = input.stock.units.iter().any(|unit| unit.part == part.id);
        let pieces = (input.stock.pieces.iter()).any(|spare| spare.piece.part == part.id);
        let sold = input.offers.iter().any(|offer| offer.part == part.id);
        (!planned, !(units || pieces), !sold, part.id)
    };
    let mut parts: Vec<&Part> = (input.parts.iter())
        .filter(|part| !part.retired && fits(&part.spec))
        .collect();
    parts.sort_by_key(|part| rank(part));
    parts
}

/// What is asked of the planner for one group, part by part.
struct Asked<'a> {
    title: String,
    bars: Vec<BarId>,
    parts: Vec<&'a Part>,
    rest: String,
    chosen: Option<PartId>,
    /// Whether the choice stands in the set, and not only in the plan.
    pinned: bool,
}

/// Bars that are made of tape, by their colours.
fn taped(whole: &Whole) -> BTreeMap<String, Vec<&Bar>> {
    let mut groups: BTreeMap<String, Vec<&Bar>> = BTreeMap::new();
    for bar in &whole.design().bars {
        let reused =
            (whole.bar_plan(bar.id)).is_some_and(|plan| matches!(plan.serve, Serve::Reuse { .. }));
        if !reused {
            groups
                .entry(bar.channels.to_string())
                .or_default()
                .push(bar);
        }
    }
    groups
}

fn tapes(whole: &Whole) -> Vec<Asked<'_>> {
    let groups = taped(whole).into_iter();
    groups
        .map(|(colours, bars)| {
            let wanted = &bars[0].channels;
            let of_colours = |spec: &PartSpec| matches!(spec, PartSpec::Tape(tape) if tape.colours().as_ref() == Some(wanted));
            let parts = candidates(whole, &of_colours);
            let all = candidates(whole, &|spec| matches!(spec, PartSpec::Tape(_))).len();
            let others = all - parts.len();
            let chosen = bars[0].tape.filter(|tape| bars.iter().all(|bar| bar.tape == Some(*tape)));
            let ids: Vec<BarId> = bars.iter().map(|bar| bar.id).collect();
            let list: BarList = whole.bar_list(&ids);
            Asked {
                title: format!("{colours}: {} {list}", list.word()),
                pinned: bars.iter().any(|bar| bar.tape.is_some()),
                bars: ids,
                parts,
                rest: match others {
                    0 => String::new(),
                    1 => "One other tape of the catalogue has other colours.".to_owned(),
                    _ => format!("{others} other tapes of the catalogue have other colours."),
                },
                chosen,
            }
        })
        .collect()
}

/// The one question about drivers, or about supplies.
fn throughout(whole: &Whole, kind: Kind) -> Vec<Asked<'_>> {
    let parts = candidates(whole, &|spec| spec.kind() == kind);
    let choices = &whole.design().choices;
    let (title, chosen) = match kind {
        Kind::Driver => ("One driver throughout", choices.driver),
        _ => ("One supply throughout", choices.supply),
    };
    vec![Asked {
        title: title.to_owned(),
        bars: Vec::new(),
        parts,
        rest: String::new(),
        chosen,
        pinned: chosen.is_some(),
    }]
}

fn kind_of(form: &Form) -> Kind {
    match form.value("of").parse() {
        Ok(kind @ (Kind::Driver | Kind::Supply)) => kind,
        _ => Kind::Tape,
    }
}

async fn groups(cx: &Cx, whole: &Whole, kind: Kind) -> Result<Vec<Group>, Trouble> {
    let asked = match kind {
        Kind::Tape => tapes(whole),
        _ => throughout(whole, kind),
    };
    let each = (TRIED / asked.len().max(1)).max(2);
    let mut ways = Vec::new();
    for group in &asked {
        for part in group.parts.iter().take(each) {
            ways.push(match kind {
                Kind::Tape => Other::Taping(part.id, group.bars.clone()),
                _ => Other::Throughout(part.id),
            });
        }
    }
    let plans = planned::other_ways(whole.planned(), ways).await?;
    let mut plans = plans.into_iter();
    let mut groups = Vec::new();
    for group in asked {
        let mut rows: Vec<(Tally, Candidate)> = Vec::new();
        for part in group.parts.iter().take(each) {
            if let Some(plan) = plans.next().flatten() {
                let row = candidate(cx, whole, part, &plan, group.chosen == Some(part.id));
                rows.push((Tally::of(&plan), row));
            }
        }
        rows.sort_by_key(|(tally, row)| {
            let refused = row.state.0 != "passed";
            (
                refused,
                tally.short,
                tally.not_kept,
                tally.unpriced,
                tally.money,
                row.part,
            )
        });
        groups.push(Group {
            title: group.title,
            bars: (group.bars.iter().map(ToString::to_string))
                .collect::<Vec<_>>()
                .join(" "),
            rows: rows.into_iter().map(|(_, row)| row).collect(),
            untried: (group.parts.iter().skip(each))
                .map(|part| part.name.to_string())
                .collect(),
            rest: group.rest,
            pinned: group.pinned,
        });
    }
    Ok(groups)
}

/// GET: what would suit, of one kind.
pub async fn get(cx: Cx, Path(id): Path<DesignId>, form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    if !whole.is_open() {
        let state = whole.design().state;
        return Err(Trouble::new(
            axum::http::StatusCode::CONFLICT,
            format!("A {state} set keeps its plan; what other parts would do is not worked out."),
        )
        .or_go(Link::Power(id), "Back to the plan"));
    }
    let kind = kind_of(&form);
    let groups = groups(&cx, &whole, kind).await?;
    let tab = if kind == Kind::Tape {
        Tab::Bars
    } else {
        Tab::Power
    };
    let (chrome, head) = head(&cx, &whole, tab);
    let question = |of: Kind, words| (Link::Suits(id, of), words, of == kind);
    let none = groups.iter().all(|group| group.rows.is_empty());
    Ok(page(&SuitsPage {
        chrome,
        kind,
        questions: vec![
            question(Kind::Tape, "Which tape"),
            question(Kind::Driver, "Which driver"),
            question(Kind::Supply, "Which supply"),
        ],
        nothing: if whole.design().bars.is_empty() {
            "The set has no bar yet. What suits is worked out from its bars."
        } else if none && kind == Kind::Tape && groups.is_empty() {
            "Every bar is served by a fixture from the cupboard: no tape is needed."
        } else if none {
            "The catalogue has none that could be used. Add one from the ready-made parts, or enter your own."
        } else {
            ""
        },
        editable: head.editable,
        head,
        groups,
        known: "Each is planned by the same planner from the same stock and prices; nothing is \
                estimated. Where a plan is not proven least, its cost is that of the best one found.",
    }))
}

/// The edit that the form asks for.
fn read(form: &mut Form, whole: &Whole) -> Option<Edit> {
    let part: Option<PartId> = form.optional_id("part")?;
    let design = whole.design();
    match kind_of(form) {
        Kind::Tape => {
            let named: Vec<&str> = form.value("bars").split(' ').collect();
            let bars = design.bars.iter();
            let bars = bars
                .filter(|bar| named.contains(&bar.id.to_string().as_str()))
                .map(|bar| Bar {
                    tape: part,
                    ..bar.clone()
                });
            Some(Edit::ChangeBars(bars.collect()))
        }
        kind => {
            let mut choices = design.choices.clone();
            if kind == Kind::Driver {
                choices.driver = part;
            } else {
                choices.supply = part;
            }
            Some(Edit::Basics(Basics {
                name: design.name.clone(),
                dates: design.dates,
                budget_minor: design.budget_minor,
                note: design.note.clone(),
                choices,
            }))
        }
    }
}

/// POST: chooses a part for the set, or leaves the choice to the plan.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let back = Link::Suits(id, kind_of(&form));
    let Some(edit) = read(&mut form, &whole) else {
        return Err(Trouble::new(
            axum::http::StatusCode::UNPROCESSABLE_ENTITY,
            "This button names no part. Nothing was changed.",
        )
        .or_go(back, "Back"));
    };
    let said = if form.value("part").is_empty() {
        "The plan chooses again."
    } else {
        "The set is planned with it."
    };
    load::store_or_say(&cx, &mut form, id, &[edit], &back, Flash::good(said)).await
}
