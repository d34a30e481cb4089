//! A card for each fixture that is built: what goes into it, and what is done with it.

use askama::Template;

use super::listed;
use crate::{
    model::part::StockUnit,
    plan::outcome::{BarPlan, BuildBar, CutSource, From, Joint, Serve},
    web::{cx::Cx, design::Whole},
};

struct Card {
    label: String,
    /// What it becomes.
    what: String,
    /// Materials and where they come from.
    parts: Vec<(&'static str, String)>,
    /// What is done at each end.
    ends: [(&'static str, String); 2],
    /// What it hangs on and what feeds it.
    place: String,
    /// Colours to try.
    colours: String,
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
        place: format!("{frame}{feed}{slot}"),
        colours: listed(bar.channels.list().iter().map(ToString::to_string)),
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
