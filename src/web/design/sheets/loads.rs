//! Drivers, supplies, fuses, and volts along the bars.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        power::{self, Loads},
        short,
        volts::{VoltsShown, shown},
    },
};

#[derive(Template)]
#[template(path = "design/sheets/loads.html")]
struct LoadSheet {
    loads: Loads,
    /// The fuses to have at hand.
    fuses: Vec<String>,
    volts: VoltsShown,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    LoadSheet {
        loads: power::loads(cx, whole),
        fuses: short::fuses(whole.plan()),
        volts: shown(cx, whole),
    }
    .render()
}
