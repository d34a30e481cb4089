//! Wiring: each kind of run drawn, and a table for each frame.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        wiring::{FrameWires, Run, by_frame, runs, shared},
    },
};

#[derive(Template)]
#[template(path = "design/sheets/wiring.html")]
struct Wiring {
    runs: Vec<Run>,
    frames: Vec<FrameWires>,
    shared: Vec<String>,
    picture: String,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    Wiring {
        runs: runs(whole),
        frames: by_frame(cx, whole),
        shared: shared(whole),
        picture: if whole.design().bars.is_empty() {
            String::new()
        } else {
            whole.elevation(cx)
        },
    }
    .render()
}
