//! Wiring: each kind of run drawn, and a table for each frame.

use std::collections::BTreeSet;

use askama::Template;

use crate::{
    model::{
        channel::{Role, RoleOrder},
        design::Bar,
        id::PartId,
    },
    plan::outcome::Serve,
    web::{
        cx::Cx,
        design::{
            Whole,
            address::data_line,
            bar::show_angle,
            feeds::{DriverFeeds, feeds},
            runs::{lead_connector, plug_kinds},
            wiring::{FrameWires, Run, by_frame, runs, shared},
        },
    },
};

/// Where a bar hangs, from the left and from the floor of the drawing.
struct Hung {
    label: String,
    x: String,
    y: String,
    length: String,
    turned: String,
}

fn hung(cx: &Cx, bar: &Bar) -> Hung {
    Hung {
        label: bar.label.to_string(),
        x: bar.x_um.say(cx.unit()),
        y: bar.y_um.say(cx.unit()),
        length: cx.length(bar.length_um),
        turned: format!("{}°", show_angle(bar.angle_mdeg)),
    }
}

#[derive(Template)]
#[template(path = "design/sheets/wiring.html")]
struct Wiring {
    /// What comes from the supplies.
    feeds: Vec<DriverFeeds>,
    /// The data chain, where there is one.
    data: Option<String>,
    runs: Vec<Run>,
    frames: Vec<FrameWires>,
    shared: Vec<String>,
    kinds: Vec<String>,
    /// Leads in use, each with its wires by pin; empty where their order is not noted.
    leads: Vec<(String, Vec<String>)>,
    /// Numbers of what the picture shows.
    hung: Vec<Hung>,
    picture: String,
}

/// The leads that are soldered on or joined to a cable, each with what its wires are.
fn leads(whole: &Whole) -> Vec<(String, Vec<String>)> {
    let bars = whole.plan().bars.iter();
    let used: BTreeSet<PartId> = bars
        .flat_map(|plan| {
            let own = match &plan.serve {
                Serve::Build(build) => build.lead.map(|(part, _)| part),
                Serve::Reuse { .. } | Serve::Short { .. } => None,
            };
            [own, plan.mate]
        })
        .flatten()
        .collect();
    let wires = |part: PartId| -> Vec<String> {
        let pins = lead_connector(whole, part).and_then(|it| it.pins.as_ref());
        let pins = (1_usize..).zip(pins.map_or(&[][..], RoleOrder::list));
        pins.filter(|(_, role)| **role != Role::Unused)
            .map(|(pin, role)| format!("pin {pin}, {role}"))
            .collect()
    };
    used.into_iter()
        .map(|part| (whole.part_name(part), wires(part)))
        .collect()
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    Wiring {
        feeds: feeds(cx, whole),
        data: data_line(whole),
        runs: runs(whole),
        frames: by_frame(cx, whole),
        shared: shared(whole),
        kinds: plug_kinds(whole),
        leads: leads(whole),
        hung: (whole.design().bars.iter())
            .map(|bar| hung(cx, bar))
            .collect(),
        picture: if whole.design().bars.is_empty() {
            String::new()
        } else {
            whole.elevation(cx)
        },
    }
    .render()
}
