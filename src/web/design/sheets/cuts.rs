//! The cut list: roll by roll, drawn to scale.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        cuts::{CutRow, rows, solder},
    },
};

#[derive(Template)]
#[template(path = "design/sheets/cuts.html")]
struct Cuts {
    groups: Vec<(String, Vec<CutRow>)>,
    solder: Vec<String>,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    Cuts {
        groups: rows(cx, whole),
        solder: solder(whole),
    }
    .render()
}
