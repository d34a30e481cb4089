//! Bars that are built of a length between two cut marks: what they become, and a press that asks for
//! that, or for the mark above.

use super::{BarList, Whole};
use crate::{
    model::{
        design::Bar,
        id::{BarId, PartId},
        part::{PartSpec, StockUnit},
        piece::length_of,
    },
    plan::outcome::Serve,
    units::Length,
    web::cx::Cx,
};

/// Bars that are wanted between two marks, alike.
pub struct OffMarks {
    /// Their labels.
    pub bars: BarList,
    /// Which they are.
    pub ids: Vec<BarId>,
    /// How long they are wanted.
    pub wanted: String,
    /// How long they will be.
    pub becomes: String,
    /// The lengths of the marks around it: as a form sends it, and as it is said.
    pub marks: Vec<(String, String)>,
}

/// What bars that are told together have alike: wanted length, tape, its cut units and their length.
type Like = (Length, PartId, i64, Length);

/// The length of so many cut units of a tape.
fn marked(whole: &Whole, tape: PartId, units: i64) -> Option<Length> {
    match &whole.part(tape)?.spec {
        PartSpec::Tape(tape) => Some(length_of(StockUnit::CutUnits(tape.pitch), units, 0)),
        _ => None,
    }
}

/// What is built of another length than it is wanted, alike bars together.
pub fn off_marks(cx: &Cx, whole: &Whole) -> Vec<OffMarks> {
    let built = |bar: &Bar| match whole.bar_plan(bar.id).map(|plan| &plan.serve) {
        Some(Serve::Build(build)) if build.lit_um != bar.length_um => {
            Some((build.tape, build.units, build.lit_um))
        }
        _ => None,
    };
    let mut groups: Vec<(Like, Vec<BarId>)> = Vec::new();
    for bar in &whole.design().bars {
        let Some((tape, units, lit)) = built(bar) else {
            continue;
        };
        let like = (bar.length_um, tape, units, lit);
        match groups.iter_mut().find(|(known, _)| *known == like) {
            Some((_, bars)) => bars.push(bar.id),
            None => groups.push((like, vec![bar.id])),
        }
    }
    groups
        .into_iter()
        .map(|((wanted, tape, units, lit), ids)| {
            let other = if lit < wanted { units + 1 } else { units - 1 };
            let other = marked(whole, tape, other).filter(|length| *length > Length::ZERO);
            let marks = std::iter::once(lit).chain(other);
            OffMarks {
                bars: whole.bar_list(&ids),
                ids,
                wanted: cx.length(wanted),
                becomes: cx.length(lit),
                marks: marks
                    .map(|length| (cx.exact(length), cx.length(length)))
                    .collect(),
            }
        })
        .collect()
}
