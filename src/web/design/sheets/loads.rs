//! Drivers, supplies, fuses, and volts along the bars.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        power::{self, Loads},
        volts::{VoltsShown, shown},
    },
};

#[derive(Template)]
#[template(path = "design/sheets/loads.html")]
struct LoadSheet {
    loads: Loads,
    volts: VoltsShown,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    LoadSheet {
        loads: power::loads(cx, whole),
        volts: shown(cx, whole),
    }
    .render()
}
