//! Wiring: each kind of run drawn, and a table for each frame.

use askama::Template;

use crate::{
    model::design::Bar,
    web::{
        cx::Cx,
        design::{
            Whole,
            bar::show_angle,
            runs::plug_kinds,
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
    runs: Vec<Run>,
    frames: Vec<FrameWires>,
    shared: Vec<String>,
    kinds: Vec<String>,
    /// Numbers of what the picture shows.
    hung: Vec<Hung>,
    picture: String,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    Wiring {
        runs: runs(whole),
        frames: by_frame(cx, whole),
        shared: shared(whole),
        kinds: plug_kinds(whole),
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
