//! What a set holds, as far as the marks of the sheets go by it.

use std::fmt::Write as _;

use crate::{model::design::State, plan::outcome::Serve, web::design::Whole};

/// What the plan holds, builds and lacks, without where any of it lies or what was done of it.
pub(super) fn counts(whole: &Whole) -> String {
    let plan = whole.plan();
    let over = matches!(whole.design().state, State::Struck | State::Cancelled);
    let mut text = format!("{over}");
    let mut held: Vec<String> = (plan.holds.iter())
        .map(|hold| format!("{:?} {}", hold.held, hold.becomes))
        .collect();
    held.sort();
    for line in held {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{line}");
    }
    for bar in &plan.bars {
        if let Serve::Build(build) = &bar.serve {
            let _ = writeln!(text, "{} {}", bar.label, build.lit_um.get());
        }
    }
    for need in plan.needs.iter().filter(|need| need.short > 0 && !over) {
        let _ = writeln!(text, "{} {}", need.name, need.short);
    }
    text
}
