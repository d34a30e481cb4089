//! A card for each fixture that is built: what goes into it, and what is done with it.

use askama::Template;

use super::listed;
use crate::{
    model::{
        channel::{Role, RoleOrder},
        design::Bar,
        part::{PartSpec, StockUnit},
    },
    plan::{
        outcome::{BarPlan, BuildBar, CutSource, From, Joint, Serve},
        sundry,
    },
    web::{
        cx::Cx,
        design::{
            Whole,
            runs::{CableRun, lead_connector, plug_words, runs_of},
            show_day::least_volts,
        },
    },
};

struct Card {
    label: String,
    /// What it becomes.
    what: String,
    /// Materials and where they come from.
    parts: Vec<(&'static str, String)>,
    /// What is done at each end.
    ends: [(&'static str, String); 2],
    /// What is soldered to what, where a lead is.
    solder: Option<String>,
    /// The wires of that lead, each with its pad; their colours are written by hand.
    wires: Vec<String>,
    /// Clips, caps, screws and what else is used up.
    sundries: Vec<String>,
    /// Whether it lies in a profile.
    profiled: bool,
    /// Its cable runs, with the leads on their ends.
    runs: Vec<String>,
    /// What it hangs on and what feeds it.
    place: String,
    /// Colours to try, each with its box.
    colours: Vec<String>,
    /// The least volts at the far end, if they are known.
    volts: Option<String>,
}

#[derive(Template)]
#[template(path = "design/sheets/cards.html")]
struct Cards {
    cards: Vec<Card>,
}

/// From where, and between which marks, something is cut.
fn cut(cx: &Cx, whole: &Whole, from: From) -> String {
    let Some(cut) = whole.plan().cuts.get(from.cut) else {
        return "not known from where".to_owned();
    };
    let source = match &cut.source {
        CutSource::Piece { tag, .. } => tag.to_string(),
        CutSource::Buy { roll_um, nth, .. } => {
            format!("new {} no. {nth}", cx.length(*roll_um))
        }
    };
    let Some(segment) = cut.segments.get(from.segment) else {
        return source;
    };
    match whole.part(cut.part).map(crate::model::part::Part::unit) {
        Some(StockUnit::CutUnits(_)) => format!(
            "from {source}, mark {} to {} from its marked end ({} cut units)",
            segment.from,
            segment.to,
            segment.to - segment.from
        ),
        _ => format!(
            "from {source}, {} to {} from its marked end",
            whole.amount(cx, Some(cut.part), segment.from),
            whole.amount(cx, Some(cut.part), segment.to)
        ),
    }
}

fn end(joint: Joint) -> String {
    match joint {
        Joint::None => "not fed: insulate the cut pads".to_owned(),
        Joint::FactoryLead => "has its factory lead".to_owned(),
        Joint::Tinned => "solder the lead to the pre-tinned joint".to_owned(),
        Joint::Mark => "solder the lead to the cut mark".to_owned(),
    }
}

/// The pads of a bar's tape in their order, if that is noted.
fn pads_of<'w>(whole: &'w Whole, build: &BuildBar) -> Option<&'w RoleOrder> {
    match whole.part(build.tape).map(|part| &part.spec) {
        Some(PartSpec::Tape(tape)) => tape.pads.as_ref(),
        _ => None,
    }
}

/// The wires of the lead that is soldered on, each with its pad where that is known. Which colour each
/// has nobody noted, and makers keep to no one code.
fn wires(whole: &Whole, bar: &Bar, build: &BuildBar) -> Vec<String> {
    if build.lead.is_none() {
        return Vec::new();
    }
    let pads = pads_of(whole, build).map_or(&[][..], RoleOrder::list);
    let colours = bar.channels.list().iter().copied().map(Role::Colour);
    let wire = |role: Role| match pads.iter().position(|pad| *pad == role) {
        Some(at) => format!("{role} (pad {})", at + 1),
        None => role.to_string(),
    };
    std::iter::once(Role::Common)
        .chain(colours)
        .map(wire)
        .collect()
}

/// Which wire of the lead goes on which pad.
fn solder(whole: &Whole, build: &BuildBar) -> Option<String> {
    let (lead, _) = build.lead?;
    let lead = match lead_connector(whole, lead) {
        Some(lead) => plug_words(lead),
        None => "not noted: find its wires with a meter".to_owned(),
    };
    let pads = pads_of(whole, build).map_or_else(
        || "their order is not noted; read it off the tape".to_owned(),
        |pads| format!("in the order {pads}"),
    );
    Some(format!(
        "pads {pads}; lead {lead}. Each wire goes on the pad of its own name"
    ))
}

/// What of each sundry the bar takes.
pub fn sundries(cx: &Cx, whole: &Whole, build: &BuildBar) -> Vec<String> {
    let bar = build.into();
    let parts = whole.input().parts.iter();
    parts
        .filter_map(|part| match &part.spec {
            PartSpec::Sundry(sundry) => {
                let amount = sundry::of_bar(sundry, &bar);
                let much = || whole.amount(cx, Some(part.id), amount);
                (amount > 0).then(|| format!("{} {}", much(), part.name))
            }
            _ => None,
        })
        .collect()
}

fn card(cx: &Cx, whole: &Whole, plan: &BarPlan, build: &BuildBar) -> Option<Card> {
    let bar = whole.bar(plan.bar)?;
    let name = |id| whole.part_name(id);
    let mut parts = vec![(
        "Tape",
        format!(
            "{}, {} lit, {}",
            name(build.tape),
            cx.length(build.lit_um),
            cut(cx, whole, build.tape_from)
        ),
    )];
    if let Some((profile, from)) = build.profile {
        parts.push((
            "Profile",
            format!("{}, {}", name(profile), cut(cx, whole, from)),
        ));
    }
    if let Some((lead, count)) = build.lead {
        parts.push(("Lead", format!("{count} × {}", name(lead))));
    }
    if !build.couplers.is_empty() {
        let couplers = build.couplers.iter().map(|part| name(*part));
        parts.push(("Coupler", listed(couplers)));
    }
    let frame = whole.frame_label(bar);
    let feed = plan.output.map_or_else(
        || "no output yet".to_owned(),
        |output| {
            format!(
                "{}, output {}",
                whole.driver_name(output.driver),
                output.output
            )
        },
    );
    let slot = plan.slot.map_or_else(String::new, |slot| {
        format!("; slot {} of universe {}", slot.slot, slot.universe)
    });
    let frame = if frame.is_empty() {
        String::new()
    } else {
        format!("{frame}; ")
    };
    Some(Card {
        label: plan.label.clone(),
        what: format!(
            "{}, {}, {}, {} fed",
            cx.length(build.lit_um),
            bar.channels,
            if bar.diffused { "diffused" } else { "bare" },
            build.fed
        ),
        parts,
        ends: [("Start", end(build.start)), ("End", end(build.end))],
        solder: solder(whole, build),
        wires: wires(whole, bar, build),
        sundries: sundries(cx, whole, build),
        profiled: build.profile.is_some(),
        runs: (runs_of(cx, whole, plan).iter())
            .map(CableRun::line)
            .collect(),
        place: format!("{frame}{feed}{slot}"),
        colours: (bar.channels.list().iter())
            .map(ToString::to_string)
            .collect(),
        volts: least_volts(whole, plan.bar),
    })
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let bars = whole.plan().bars.iter();
    let cards = bars.filter_map(|plan| match &plan.serve {
        Serve::Build(build) => card(cx, whole, plan, build),
        Serve::Reuse { .. } | Serve::Short { .. } => None,
    });
    Cards {
        cards: cards.collect(),
    }
    .render()
}
