//! Drivers and supplies: what feeds what, and how full each is.

use std::fmt::Write as _;

use askama::Template;

use super::{
    BarList, Head, MOST_OPEN, Tab, Whole, amps, count_of, head, load, percent,
    volts::{HEADS, VoltsShown, shown},
};
use crate::{
    model::{
        id::{BarId, DesignId, PartId, ThingId},
        part::{Driver, Isolation, PartSpec, Supply},
        text::Tag,
    },
    plan::{
        answer::Proof,
        outcome::{CheckState, DriverPlan, OutputPlan, PowerProof},
        source::{self, Source},
    },
    units::{Current, Money, Power, Voltage},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, page},
    },
};

/// How full something is.
pub struct Meter {
    /// What.
    pub label: String,
    /// Load and limit in words.
    pub text: String,
    /// Filled part of the picture, 0 to 100.
    pub percent: i64,
    /// Whether it is beyond its limit.
    pub over: bool,
    /// Where the figure comes from, term by term.
    pub terms: Vec<String>,
}

impl Meter {
    fn new(
        label: String,
        load: Option<Current>,
        limit: Option<Current>,
        terms: Vec<String>,
    ) -> Self {
        let full = load
            .zip(limit)
            .map_or(0, |(load, limit)| percent(load, limit));
        Self {
            label,
            text: match limit {
                Some(limit) if load == Some(limit) => {
                    format!(
                        "{} of {}: all of what it may give",
                        amps(load),
                        limit.show()
                    )
                }
                Some(limit) if load.is_some() => {
                    format!("{} of {} ({full} %)", amps(load), limit.show())
                }
                Some(limit) => format!("load not known, of {}", limit.show()),
                None => format!("{}, limit not known", amps(load)),
            },
            percent: full.min(100),
            over: load.zip(limit).is_some_and(|(load, limit)| load > limit),
            terms,
        }
    }

    /// Beyond its limit it is broken, whatever else is said of it.
    fn judged(&self, amiss: Option<CheckState>) -> Option<CheckState> {
        self.over.then_some(CheckState::Broken).or(amiss)
    }
}

/// An output in use.
pub struct OutputRow {
    /// How full it is.
    pub meter: Meter,
    /// The bars on it.
    pub bars: BarList,
    /// What protects its wires.
    pub protection: String,
    /// How it was judged, where it does not simply pass.
    pub amiss: Option<CheckState>,
}

/// An inlet in use.
pub struct InletRow {
    /// How full it is.
    pub meter: Meter,
    /// From which supply, over which cable.
    pub from: String,
    /// The fuse of its feed.
    pub protection: String,
    /// How it was judged, where it does not simply pass.
    pub amiss: Option<CheckState>,
}

/// A driver of the plan.
pub struct DriverRow {
    /// What it is called, and what it is.
    pub name: String,
    /// The one in the house.
    pub unit: Option<(Link, String)>,
    /// Whether it is on order, where none in the house is taken.
    pub coming: bool,
    /// What it is.
    pub part: Link,
    /// Where it stands.
    pub place: String,
    /// Outputs in use.
    pub outputs: Vec<OutputRow>,
    /// Inlets in use.
    pub inlets: Vec<InletRow>,
    /// How full all of it is.
    pub whole: Meter,
    /// Whether its inlets are isolated.
    pub inlets_words: &'static str,
    /// Outputs that are left.
    pub spare: String,
    /// Why it is this one.
    pub why: String,
}

/// A supply of the plan.
pub struct SupplyRow {
    /// What it is called, and what it is.
    pub name: String,
    /// The one in the house.
    pub unit: Option<(Link, String)>,
    /// Whether it is on order, where none in the house is taken.
    pub coming: bool,
    /// What it is.
    pub part: Link,
    /// How full it is.
    pub meter: Meter,
    /// Its voltage and current.
    pub rated: String,
    /// Its terminals in use.
    pub pairs: String,
    /// What it feeds.
    pub feeds: String,
    /// What it takes from the mains.
    pub mains: String,
    /// Why it is this one.
    pub why: String,
    /// Where its usable load comes from.
    pub usable: Option<Source>,
}

impl DriverRow {
    /// The worst of what does not simply pass.
    pub fn amiss(&self) -> Option<CheckState> {
        let outputs = self.outputs.iter().map(|it| (&it.meter, it.amiss));
        let inlets = self.inlets.iter().map(|it| (&it.meter, it.amiss));
        let parts = outputs.chain(inlets).chain([(&self.whole, None)]);
        parts.filter_map(|(meter, amiss)| meter.judged(amiss)).min()
    }
}

impl SupplyRow {
    /// Whether it carries too much.
    pub fn amiss(&self) -> Option<CheckState> {
        self.meter.judged(None)
    }
}

/// What the mains circuit carries.
pub struct MainsRow {
    /// How it is judged.
    pub state: CheckState,
    /// Load and margin.
    pub sentence: String,
    /// Inrush of all supplies at once.
    pub inrush: String,
    /// Where the load comes from.
    pub from: Source,
}

/// Drivers, supplies and the mains circuit of a plan.
pub struct Loads {
    /// Drivers in order.
    pub drivers: Vec<DriverRow>,
    /// Supplies in order.
    pub supplies: Vec<SupplyRow>,
    /// The mains circuit, where anything is fed.
    pub mains: Option<MainsRow>,
}

#[derive(Template)]
#[template(path = "design/power.html")]
struct PowerPage {
    chrome: Chrome,
    head: Head,
    loads: Loads,
    total: String,
    /// What is known of drivers and supplies being the best; empty for plans of before.
    proof: Vec<String>,
    volts: VoltsShown,
    heads: [&'static str; 8],
    bars: Vec<(Link, String, String, String, String)>,
    any_bars: bool,
}

fn unit_of(unit: Option<&(ThingId, Tag)>) -> Option<(Link, String)> {
    unit.map(|(thing, tag)| (Link::Thing(*thing), tag.to_string()))
}

/// The sum of what is known, or nothing when a part of it is not.
fn sum(list: impl IntoIterator<Item = Option<Current>>) -> Option<Current> {
    list.into_iter()
        .try_fold(Current::ZERO, |sum, one| sum.checked_add(one?))
}

impl Whole {
    fn driver(&self, id: PartId) -> Option<&Driver> {
        match self.part(id).map(|part| &part.spec) {
            Some(PartSpec::Driver(driver)) => Some(driver),
            _ => None,
        }
    }

    fn supply(&self, id: PartId) -> Option<&Supply> {
        match self.part(id).map(|part| &part.spec) {
            Some(PartSpec::Supply(supply)) => Some(supply),
            _ => None,
        }
    }

    /// Why drivers or supplies of a part are bought; `None` where none is.
    pub fn why_bought(&self, part: PartId) -> Option<&str> {
        let plan = self.plan();
        let drivers = (plan.drivers.iter()).map(|it| (it.part, it.unit.is_some(), &it.why));
        let supplies = (plan.supplies.iter()).map(|it| (it.part, it.unit.is_some(), &it.why));
        drivers
            .chain(supplies)
            .find(|(of, there, why)| *of == part && !there && !why.is_empty())
            .map(|(_, _, why)| why.as_str())
    }

    /// What a driver of the plan is called: its tag, or the name of what is to be bought.
    pub fn driver_name(&self, at: usize) -> String {
        self.plan().drivers.get(at).map_or_else(
            || "a driver".to_owned(),
            |driver| match &driver.unit {
                Some((_, tag)) => format!("driver {tag}"),
                None => format!("driver {} (new)", at + 1),
            },
        )
    }

    fn bar_terms(&self, cx: &Cx, bars: &[BarId]) -> Vec<String> {
        bars.iter()
            .filter_map(|id| Some((self.bar(*id)?, self.bar_plan(*id)?)))
            .map(|(bar, plan)| {
                format!(
                    "bar {}, {} lit: {}",
                    bar.label,
                    cx.length(bar.length_um),
                    amps(plan.current_ma)
                )
            })
            .collect()
    }
}

fn output(cx: &Cx, whole: &Whole, plan: &DriverPlan, output: &OutputPlan) -> OutputRow {
    let driver = whole.driver(plan.part);
    let limit = driver.and_then(|driver| {
        driver.output_limit_ma.or_else(|| {
            let each = driver.channel_limit_ma?;
            Current::new(each.get() * i64::from(driver.channels_per_output)).ok()
        })
    });
    OutputRow {
        meter: Meter::new(
            format!("Output {}", output.number),
            output.current_ma,
            limit,
            whole.bar_terms(cx, &output.bars),
        ),
        bars: whole.bar_list(&output.bars),
        protection: output.protection.clone(),
        amiss: amiss(output.protected),
    }
}

/// What of a judgement has to be seen beside the words.
fn amiss(state: Option<CheckState>) -> Option<CheckState> {
    state.filter(|state| *state != CheckState::Passed)
}

fn driver_row(
    cx: &Cx,
    whole: &Whole,
    at: usize,
    plan: &DriverPlan,
    coming: &[PartId],
) -> DriverRow {
    let driver = whole.driver(plan.part);
    let inlets = plan
        .inlets
        .iter()
        .map(|inlet| {
            let feeds = driver
                .and_then(|driver| driver.inlets.get(usize::from(inlet.number).checked_sub(1)?))
                .map_or_else(Vec::new, |inlet| inlet.outputs.clone());
            let terms = plan
                .outputs
                .iter()
                .filter(|output| feeds.contains(&output.number))
                .map(|output| format!("output {}: {}", output.number, amps(output.current_ma)))
                .collect();
            let mut from = inlet.supply.map_or_else(
                || "no supply could be given".to_owned(),
                |supply| format!("from {}", whole.supply_name(supply)),
            );
            if let Some((cable, length)) = inlet.feed {
                let (length, cable) = (cx.length(length), whole.part_name(cable));
                let _ = write!(from, " over {length} of {cable}");
            }
            InletRow {
                meter: Meter::new(
                    format!("Inlet {}", inlet.number),
                    inlet.current_ma,
                    driver.and_then(|driver| driver.inlet_limit_ma),
                    terms,
                ),
                from,
                protection: inlet.protection.clone(),
                amiss: amiss(inlet.protected),
            }
        })
        .collect();
    DriverRow {
        name: format!("{} · {}", whole.driver_name(at), whole.part_name(plan.part)),
        unit: unit_of(plan.unit.as_ref()),
        coming: coming.contains(&plan.part),
        part: Link::Part(plan.part),
        place: plan.place.clone(),
        outputs: plan
            .outputs
            .iter()
            .map(|one| output(cx, whole, plan, one))
            .collect(),
        inlets,
        whole: Meter::new(
            "The whole driver".to_owned(),
            sum(plan.outputs.iter().map(|output| output.current_ma)),
            driver.and_then(|driver| driver.whole_limit_ma),
            plan.outputs
                .iter()
                .map(|output| format!("output {}: {}", output.number, amps(output.current_ma)))
                .collect(),
        ),
        inlets_words: match driver.map(|driver| driver.isolation) {
            Some(Isolation::Isolated) => {
                "Its inlets are isolated: each may have a supply of its own."
            }
            Some(Isolation::Bonded) => "Its inlets are joined inside: one supply only.",
            _ => "Nobody has noted whether its inlets are joined inside: one supply only.",
        },
        spare: driver.map_or_else(String::new, |driver| {
            format!(
                "{} of {} outputs in use",
                plan.outputs.len(),
                driver.outputs
            )
        }),
        why: plan.why.clone(),
    }
}

impl Whole {
    /// What a supply of the plan is called.
    pub fn supply_name(&self, at: usize) -> String {
        self.plan().supplies.get(at).map_or_else(
            || "a supply".to_owned(),
            |supply| match &supply.unit {
                Some((_, tag)) => format!("supply {tag}"),
                None => format!("supply {} (new)", at + 1),
            },
        )
    }
}

fn supply_row(whole: &Whole, at: usize, coming: &[PartId]) -> Option<SupplyRow> {
    let plan = whole.plan().supplies.get(at)?;
    let supply = whole.supply(plan.part);
    let mut feeds = Vec::new();
    let mut terms = Vec::new();
    for (index, driver) in whole.plan().drivers.iter().enumerate() {
        for inlet in &driver.inlets {
            if inlet.supply == Some(at) {
                let name = format!("{}, inlet {}", whole.driver_name(index), inlet.number);
                terms.push(format!("{name}: {}", amps(inlet.current_ma)));
                feeds.push(name);
            }
        }
    }
    let percent = supply
        .and_then(|supply| supply.load_percent)
        .unwrap_or(Supply::USUAL_LOAD_PERCENT);
    terms.push(format!(
        "it may be loaded to {percent} % of {}",
        supply.map_or_else(|| "its rating".to_owned(), |supply| supply.rated_ma.show())
    ));
    let mains = supply.zip(plan.load_ma).map_or_else(
        || "not known".to_owned(),
        |(supply, load)| mains_words(supply, load),
    );
    let mut meter = Meter::new("Load".to_owned(), plan.load_ma, Some(plan.usable_ma), terms);
    if let Some(rated) = supply.map(|supply| supply.rated_ma)
        && rated != plan.usable_ma
    {
        let _ = write!(meter.text, ", derated from {}", rated.show());
    }
    Some(SupplyRow {
        name: format!("{} · {}", whole.supply_name(at), whole.part_name(plan.part)),
        unit: unit_of(plan.unit.as_ref()),
        coming: coming.contains(&plan.part),
        part: Link::Part(plan.part),
        meter,
        rated: supply.map_or_else(String::new, |supply| {
            format!("{}, {}", supply.voltage_mv.show(), supply.rated_ma.show())
        }),
        pairs: match supply.and_then(|supply| supply.terminal_pairs) {
            Some(pairs) => format!("{} of {pairs} pairs of terminals", plan.pairs_used),
            None => format!(
                "{} pairs of terminals used; how many it has is not known",
                plan.pairs_used
            ),
        },
        feeds: feeds.join("; "),
        mains,
        usable: supply.map(source::usable_load),
        why: plan.why.clone(),
    })
}

/// What a supply takes from the mains side, from its efficiency where that is known.
fn mains_words(supply: &Supply, load: Current) -> String {
    let out = Power::of(supply.voltage_mv, load);
    match supply.efficiency_percent {
        Some(percent) if percent > 0 => {
            let drawn = out.watts() * 100.0 / f64::from(percent);
            format!(
                "about {drawn:.0} W ({:.0} W ÷ {percent} % efficiency)",
                out.watts()
            )
        }
        _ => format!(
            "more than {:.0} W: its efficiency is not known",
            out.watts()
        ),
    }
}

/// Words in a row, the last after an or; `None` where there are none.
fn or(words: &[&str]) -> Option<String> {
    let (last, before) = words.split_last()?;
    Some(if before.is_empty() {
        (*last).to_owned()
    } else {
        format!("{} or {last}", before.join(", "))
    })
}

/// What is known of drivers and supplies being the best, as sentences.
fn proof(cx: &Cx, proof: &PowerProof) -> Vec<String> {
    let mut said = Vec::new();
    match proof.cost {
        Proof::Open { why } => said.push(format!(
            "It is not known whether other drivers and supplies would cost less: {why}."
        )),
        Proof::Proven if proof.bought == 0 => {
            said.push("No driver or supply has to be bought for them.".to_owned());
        }
        Proof::Proven if proof.unpriced == proof.bought => {
            said.push("None of the new ones has a price yet, so the fewest were taken.".to_owned());
        }
        Proof::Proven => said.push(format!(
            "No other choice of drivers and supplies costs less than {}, at {}{}.",
            match proof.bought {
                1 => "this one new one".to_owned(),
                more => format!("these {more} new ones"),
            },
            cx.money(proof.cost_minor),
            match proof.unpriced {
                0 => String::new(),
                many => format!(" and {many} without a price"),
            }
        )),
        Proof::Within { bound } => said.push(format!(
            "The drivers and supplies to buy cost {}; it is not shown that none could cost less, but none costs less than {}.",
            cx.money(proof.cost_minor),
            Money::new(bound).map_or_else(|_| "nothing".to_owned(), |bound| cx.money(bound))
        )),
    }
    let levels = [
        ("fewer new units", &proof.fewest_bought),
        ("less cable from its supplies", &proof.shortest_cable),
        ("fewer units from the shelf", &proof.fewest_taken),
        ("supplies more evenly loaded", &proof.most_even),
    ];
    let proven: Vec<&str> = levels
        .iter()
        .take_while(|(_, level)| level.is_proven())
        .map(|(words, _)| *words)
        .collect();
    if let Some(list) = or(&proven) {
        said.push(format!("No choice as cheap has {list}: proven."));
    }
    let open: Vec<&str> = levels[proven.len()..]
        .iter()
        .map(|(words, _)| *words)
        .collect();
    if let Some(list) = or(&open).filter(|_| proof.cost.is_proven()) {
        said.push(format!(
            "Whether one as cheap has {list} was not tried to the end."
        ));
    }
    if proof.beyond > 0 {
        said.push(format!(
            "{} beyond a limit, since nothing carries its bars within all: the checks say which.",
            count_of(
                usize::try_from(proof.beyond).unwrap_or(usize::MAX),
                "driver goes",
                "drivers go"
            )
        ));
    }
    said
}

/// The load of everything in watts, as far as it is known.
fn total(whole: &Whole) -> String {
    let known = whole.plan().bars.iter().filter_map(|bar| bar.power_mw);
    let sum = known
        .clone()
        .try_fold(Power::ZERO, Power::checked_add)
        .map_or_else(|| "not known".to_owned(), Power::show);
    let unknown = whole.plan().bars.len() - known.count();
    if unknown == 0 {
        sum
    } else {
        format!(
            "{sum} and {} whose power is not known",
            count_of(unknown, "bar", "bars")
        )
    }
}

/// What the mains circuit carries, as the plan has judged it.
fn mains_row(whole: &Whole) -> Option<MainsRow> {
    let load = whole.plan().mains.as_ref()?;
    let mut checks = whole.plan().checks.iter();
    let judged = checks.find(|check| check.key == "mains:circuit")?;
    let unknown = match load.inrush_unknown {
        0 => String::new(),
        n => format!("; of {} it is not known", count_of(n, "supply", "supplies")),
    };
    Some(MainsRow {
        state: judged.state,
        sentence: judged.sentence.clone(),
        inrush: format!("{} for an instant{unknown}", load.inrush_ma.show()),
        from: source::mains(load),
    })
}

/// Drivers, supplies and the mains circuit, as pages and sheets show them.
pub fn loads(cx: &Cx, whole: &Whole) -> Loads {
    let drivers = whole.plan().drivers.iter().enumerate();
    let coming = whole.parts_on_order(cx);
    Loads {
        drivers: drivers
            .map(|(at, driver)| driver_row(cx, whole, at, driver, &coming))
            .collect(),
        supplies: (0..whole.plan().supplies.len())
            .filter_map(|at| supply_row(whole, at, &coming))
            .collect(),
        mains: mains_row(whole),
    }
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Power);
    let bars = whole
        .plan()
        .bars
        .iter()
        .map(|bar| {
            let voltage = whole
                .bar(bar.bar)
                .and_then(|bar| bar.voltage_mv)
                .map_or_else(String::new, Voltage::show);
            (
                Link::Bar(id, bar.bar),
                bar.label.clone(),
                bar.power_mw
                    .map_or_else(|| "not known".to_owned(), Power::show),
                format!(
                    "{}{}",
                    amps(bar.current_ma),
                    if voltage.is_empty() {
                        String::new()
                    } else {
                        format!(" at {voltage}")
                    }
                ),
                bar.output.map_or_else(
                    || "none".to_owned(),
                    |output| {
                        format!(
                            "{}, output {}",
                            whole.driver_name(output.driver),
                            output.output
                        )
                    },
                ),
            )
        })
        .collect();
    Ok(page(&PowerPage {
        chrome,
        loads: loads(&cx, &whole),
        total: total(&whole),
        proof: proof(&cx, &whole.plan().power_proof),
        volts: shown(&cx, &whole),
        heads: HEADS,
        any_bars: !whole.design().bars.is_empty(),
        bars,
        head,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_used_to_its_end_alarms_nobody() {
        let amps = |text: &str| Current::parse(text).ok();
        let meter = |load: &str| Meter::new("Load".to_owned(), amps(load), amps("3.36 A"), vec![]);
        let full = meter("3.36 A");
        assert_eq!(full.text, "3.36 A of 3.36 A: all of what it may give");
        assert!(!full.over);
        assert_eq!(meter("2.7 A").text, "2.7 A of 3.36 A (80 %)");
        assert!(meter("3.4 A").over);
    }
}
