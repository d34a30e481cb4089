//! Which wire goes where: conductors, leads, couplers, blocks and cable runs by frame, and each run
//! drawn from the driver's terminals to the bar.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;

use super::{
    BarList, Head, Tab, Whole,
    address::data_line,
    count_of,
    feeds::{DriverFeeds, feeds},
    head, load,
    runs::{
        CableRun, cable_lead, couplers, own_plug, plug_kinds, plug_words, runs_of, shared_outputs,
        shared_with,
    },
};
use crate::{
    draw::wiring::{Column, crossings, svg, wire_class},
    model::{
        channel::{Role, RoleOrder},
        id::{BarId, DesignId, PartId},
        part::{Cable, Kind, PartSpec},
    },
    plan::{
        outcome::{BarPlan, Becomes, Serve},
        source::{self, Source},
        wire::{colours_of, terminals_for},
    },
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, page},
    },
};

/// Bars that are wired alike: drawn once.
pub struct Run {
    /// Its bars.
    pub bars: BarList,
    /// From driver to bar, drawn.
    pub svg: String,
    /// The same in words.
    pub twin: Vec<String>,
    /// What crosses.
    pub crossings: Vec<String>,
    /// The couplers between the lead on the cable and the bar's own; empty for none.
    pub couplers: String,
    /// What could not be drawn because it is not known.
    pub unknown: Vec<String>,
}

/// What a frame takes.
pub struct FrameWires {
    /// The frame, or that the bars hang on none.
    pub name: String,
    /// Bars on it.
    pub bars: Vec<BarWires>,
}

/// One bar's wires.
pub struct BarWires {
    /// The bar.
    pub label: String,
    /// Its page.
    pub href: Link,
    /// Conductors: class of the colour and its name.
    pub wires: Vec<(&'static str, String)>,
    /// Number of conductors.
    pub conductors: usize,
    /// Its cable runs: one for each end that is fed.
    pub runs: Vec<CableRun>,
    /// Its own plug and couplers.
    pub ends: String,
    /// The driver's output, and who shares it.
    pub from: String,
}

#[derive(Template)]
#[template(path = "design/wiring.html")]
struct WiringPage {
    chrome: Chrome,
    head: Head,
    /// What comes from the supplies.
    feeds: Vec<DriverFeeds>,
    /// The data chain, where there is one.
    data: Option<String>,
    frames: Vec<FrameWires>,
    runs: Vec<Run>,
    shared: Vec<String>,
    /// Kinds of leads that tell like bars apart.
    kinds: Vec<String>,
    counts: Vec<(Option<Link>, String, String, String)>,
    /// Conductors of each set of colours.
    conductors: Vec<Source>,
}

/// The cable that a bar's run is cut from.
pub fn cable_of(whole: &Whole, bar: BarId) -> Option<(PartId, &Cable)> {
    let from_cuts = whole
        .plan()
        .cuts
        .iter()
        .find(|cut| {
            cut.segments
                .iter()
                .any(|segment| matches!(segment.becomes, Becomes::Bar { bar: of, .. } if of == bar))
                && matches!(
                    whole.part(cut.part).map(|part| part.spec.kind()),
                    Some(Kind::Cable)
                )
        })
        .map(|cut| cut.part);
    let part = from_cuts.or(whole.design().choices.cable)?;
    match whole.part(part).map(|part| &part.spec) {
        Some(PartSpec::Cable(cable)) => Some((part, cable)),
        _ => None,
    }
}

/// The driver's terminals as the bar's colours use them.
fn terminals(whole: &Whole, plan: &BarPlan) -> Option<RoleOrder> {
    let driver = whole.plan().drivers.get(plan.output?.driver)?;
    match whole.part(driver.part).map(|part| &part.spec) {
        Some(PartSpec::Driver(driver)) => {
            let channels = &whole.bar(plan.bar)?.channels;
            Some(terminals_for(driver.terminals.as_ref()?, channels))
        }
        _ => None,
    }
}

/// The bar's own side: the pins of its plug, then the pads of its tape where a lead is soldered on
/// by hand.
fn bar_side(whole: &Whole, plan: &BarPlan) -> Vec<(String, Option<RoleOrder>)> {
    let own = own_plug(whole, plan);
    let plug = |name: &str| {
        let sex = own.map_or_else(String::new, |own| format!(", {}", own.gender));
        (format!("{name}{sex}"), own.and_then(|own| own.pins.clone()))
    };
    match &plan.serve {
        Serve::Reuse { .. } => vec![plug("Plug of the fixture")],
        Serve::Build(build) if build.lead.is_none() => vec![plug("Factory lead")],
        Serve::Build(build) => {
            let pads = match whole.part(build.tape).map(|part| &part.spec) {
                Some(PartSpec::Tape(tape)) => tape.pads.clone(),
                _ => None,
            };
            vec![
                plug("Lead of the bar"),
                ("Pads of the tape".to_owned(), pads),
            ]
        }
        Serve::Short { .. } => Vec::new(),
    }
}

/// A wire for each role.
fn wires(cable: &Cable, roles: &[Role]) -> Vec<String> {
    let colours: Vec<String> = cable.colours.iter().map(ToString::to_string).collect();
    colours_of(&colours, roles)
}

/// The cable's wires in the order of the plug that they lead to, so that what crosses does so at
/// the driver's terminals, which are wired by hand.
fn cable_column(cable: &Cable, plug: &RoleOrder, driver: &RoleOrder) -> Option<Column> {
    let used: Vec<Role> = plug
        .list()
        .iter()
        .copied()
        .filter(|role| *role != Role::Unused && driver.list().contains(role))
        .take(usize::from(cable.conductors))
        .collect();
    Some(Column {
        title: format!("Cable of {}", cable.conductors),
        wires: wires(cable, &used),
        order: RoleOrder::new(used).ok()?,
    })
}

fn run(whole: &Whole, plan: &BarPlan) -> Option<Run> {
    let mut unknown = Vec::new();
    let mut columns = Vec::new();
    let mut side = bar_side(whole, plan);
    let between: Vec<String> = couplers(plan)
        .iter()
        .map(|part| whole.part_name(*part))
        .collect();
    let couplers = between.join(", then ");
    if let Some((title, _)) = side.first_mut().filter(|_| !couplers.is_empty()) {
        title.push_str(", on a coupler");
    }
    match terminals(whole, plan) {
        Some(order) => {
            let plug = side.first().and_then(|(_, order)| order.as_ref());
            let cable = cable_of(whole, plan.bar)
                .and_then(|(_, cable)| cable_column(cable, plug.unwrap_or(&order), &order));
            columns.push(Column {
                title: "Driver output".to_owned(),
                order,
                wires: Vec::new(),
            });
            columns.extend(cable);
        }
        None if plan.output.is_none() => unknown.push("which driver feeds them".to_owned()),
        None => unknown.push("the order of the driver’s terminals".to_owned()),
    }
    let lead = cable_lead(whole, plan);
    if lead.is_none() {
        unknown.push("which lead goes on the cable".to_owned());
    }
    for (title, order) in lead.into_iter().chain(side) {
        match order {
            Some(order) => columns.push(Column {
                title,
                order,
                wires: Vec::new(),
            }),
            None => unknown.push(format!("the order of the {}", title.to_lowercase())),
        }
    }
    if matches!(plan.serve, Serve::Short { .. }) {
        return None;
    }
    let crossed = columns
        .windows(2)
        .filter_map(|pair| {
            let found = crossings(&pair[0].order, &pair[1].order);
            let between = format!("{} to {}", pair[0].title, pair[1].title.to_lowercase());
            (!found.is_empty()).then(|| format!("{between}: {}", found.join(", ")))
        })
        .collect();
    let mut twin: Vec<String> = columns
        .iter()
        .map(|column| {
            let words: Vec<String> = column
                .order
                .list()
                .iter()
                .enumerate()
                .map(|(at, role)| match column.wires.get(at) {
                    Some(wire) if !wire.is_empty() => format!("{} {role} ({wire} wire)", at + 1),
                    _ => format!("{} {role}", at + 1),
                })
                .collect();
            format!("{}: {}", column.title, words.join(", "))
        })
        .collect();
    if !couplers.is_empty() {
        twin.push(format!("Coupler between lead and bar: {couplers}"));
    }
    Some(Run {
        bars: BarList(vec![plan.label.clone()]),
        svg: if columns.len() > 1 {
            svg(&columns)
        } else {
            String::new()
        },
        twin,
        crossings: crossed,
        couplers,
        unknown,
    })
}

/// Every kind of run once, with the bars that are wired so.
pub fn runs(whole: &Whole) -> Vec<Run> {
    let mut found: Vec<Run> = Vec::new();
    for run in whole.plan().bars.iter().filter_map(|plan| run(whole, plan)) {
        match found
            .iter_mut()
            .find(|other| other.twin == run.twin && other.unknown == run.unknown)
        {
            Some(same) => {
                same.bars.0.extend(run.bars.0);
            }
            None => found.push(run),
        }
    }
    found
}

fn bar_wires(cx: &Cx, whole: &Whole, plan: &BarPlan) -> BarWires {
    let channels = whole.bar(plan.bar).map(|bar| bar.channels.clone());
    let mut wires = vec![(wire_class(Role::Common), "common".to_owned())];
    if let Some(channels) = &channels {
        wires.extend(channels.list().iter().map(|channel| {
            (
                wire_class(Role::Colour(*channel)),
                channel.label().to_owned(),
            )
        }));
    }
    let named = |part: PartId| whole.part_name(part);
    let own =
        own_plug(whole, plan).map_or_else(String::new, |own| format!(": {}", plug_words(own)));
    let (lead, couplers) = match &plan.serve {
        Serve::Reuse { couplers, .. } => (format!("the fixture’s own plug{own}"), couplers.clone()),
        Serve::Build(build) => (
            build.lead.map_or_else(
                || format!("factory lead{own}"),
                |(part, number)| format!("{number} × {}{own}", named(part)),
            ),
            build.couplers.clone(),
        ),
        Serve::Short { .. } => (String::new(), Vec::new()),
    };
    let mut ends = vec![lead];
    ends.extend(couplers.iter().map(|part| named(*part)));
    ends.retain(|text| !text.is_empty());
    let others = shared_with(whole, plan);
    let shared = match others.0.len() {
        0 => String::new(),
        _ => format!(", shared with {} {others}", others.word()),
    };
    BarWires {
        label: plan.label.clone(),
        href: Link::Bar(whole.design().id, plan.bar),
        conductors: channels.map_or(0, |channels| channels.conductors()),
        wires,
        runs: runs_of(cx, whole, plan),
        ends: ends.join(", "),
        from: plan.output.map_or_else(
            || "no output".to_owned(),
            |output| {
                format!(
                    "{}, output {}{shared}",
                    whole.driver_name(output.driver),
                    output.output
                )
            },
        ),
    }
}

/// The wires of every bar, frame by frame.
pub fn by_frame(cx: &Cx, whole: &Whole) -> Vec<FrameWires> {
    let mut frames: BTreeMap<(usize, String), Vec<BarWires>> = BTreeMap::new();
    for plan in &whole.plan().bars {
        let at = whole
            .bar(plan.bar)
            .and_then(|bar| bar.frame)
            .and_then(|id| {
                whole
                    .design()
                    .frames
                    .iter()
                    .position(|frame| frame.id == id)
            });
        let key = at.map_or_else(
            || (usize::MAX, "On no frame".to_owned()),
            |at| (at, format!("Frame {}", whole.design().frames[at].label)),
        );
        frames
            .entry(key)
            .or_default()
            .push(bar_wires(cx, whole, plan));
    }
    frames
        .into_iter()
        .map(|((_, name), bars)| FrameWires { name, bars })
        .collect()
}

/// How outputs are shared, driver by driver.
pub fn shared(whole: &Whole) -> Vec<String> {
    let drivers = whole.plan().drivers.iter().enumerate();
    drivers
        .flat_map(|(at, driver)| {
            let name = whole.driver_name(at);
            let lines = shared_outputs(whole, driver);
            lines.into_iter().map(move |line| format!("{name}, {line}"))
        })
        .collect()
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Wiring);
    let counts = whole
        .plan()
        .needs
        .iter()
        .filter(|need| {
            need.part.and_then(|id| whole.part(id)).is_some_and(|part| {
                matches!(
                    part.spec.kind(),
                    Kind::Lead | Kind::Coupler | Kind::Block | Kind::Cable | Kind::Data
                )
            })
        })
        .map(|need| {
            (
                need.part.map(Link::Part),
                need.name.clone(),
                whole.amount(&cx, need.part, need.needed),
                need.used_for.clone(),
            )
        })
        .collect();
    let colours: BTreeSet<_> = whole
        .design()
        .bars
        .iter()
        .map(|bar| &bar.channels)
        .collect();
    Ok(page(&WiringPage {
        chrome,
        conductors: colours.into_iter().map(source::conductors).collect(),
        feeds: feeds(&cx, &whole),
        data: data_line(&whole),
        frames: by_frame(&cx, &whole),
        runs: runs(&whole),
        shared: shared(&whole),
        kinds: plug_kinds(&whole),
        counts,
        head,
    }))
}

impl FrameWires {
    fn title(&self) -> String {
        format!(
            "{}: {}",
            self.name,
            count_of(self.bars.len(), "bar", "bars")
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wire_of_the_own_colour_is_taken_and_the_black_one_for_the_common() {
        let cable = Cable {
            conductors: 4,
            conductor: None,
            strand: None,
            colours: ["black", "green", "red", "blue"]
                .into_iter()
                .filter_map(|word| crate::model::text::Name::parse(word).ok())
                .collect(),
            reels_um: Vec::new(),
            rating_ma: None,
        };
        let order: RoleOrder = "common, red, green, blue".parse().unwrap();
        assert_eq!(
            wires(&cable, order.list()),
            ["black", "red", "green", "blue"]
        );
        let whites: RoleOrder = "warm, common, cool".parse().unwrap();
        assert_eq!(wires(&cable, whites.list()), ["green", "black", "red"]);
    }
}
