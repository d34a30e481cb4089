//! Whether the drop and the light of each bar are good enough, with the margin.
//!
//! Drop: up to 3 % is good, up to 5 % acceptable, beyond 10 % the bar wants another design (the
//! first two: NFPA 70, informational notes, and BS 7671, appendix; for tape: common practice, no
//! source). Light at the dimmest cut unit, of that at the nominal voltage: 80 % is hardly seen, below
//! 60 % it is plain (common practice, no source).

use super::{
    Chosen,
    figures::{BarVolts, OutputVolts},
};
use crate::plan::{
    check::{Checks, Finding},
    outcome::CheckState,
    power::Output,
};

/// Up to here a drop in percent is good.
pub const DROP_GOOD: f64 = 3.0;
/// Up to here it is acceptable.
pub const DROP_ACCEPTABLE: f64 = 5.0;
/// Beyond this it wants another design.
pub const DROP_MOST: f64 = 10.0;
/// From here the light in percent is good.
pub const LIGHT_GOOD: f64 = 80.0;
/// Below this it wants another design.
pub const LIGHT_LEAST: f64 = 60.0;

/// Whether a drop and a light in percent are both good enough.
pub(super) fn good(drop: f64, light: f64) -> bool {
    drop <= DROP_ACCEPTABLE && light >= LIGHT_GOOD
}

/// Whether a bar is good enough, by what is known and stated.
pub(super) fn is_good(bar: &BarVolts) -> bool {
    good(bar.worst_drop_percent, bar.worst_light_percent)
}

const MEND: &str = "What would mend it is listed with the bar’s volts, each solved.";

/// Judges an output's bars.
pub(super) fn output(
    chosen: &Chosen<'_, '_>,
    output: &Output,
    found: &OutputVolts,
    checks: &mut Checks,
) {
    if let Some(why) = &found.unsolved {
        for &at in &output.loads {
            let bar = chosen.loads[at].bar;
            let mend = "Enter what is missing in the catalogue, or choose other parts.";
            checks.bar("drop", bar, Finding::unknown(why.clone(), mend));
        }
        return;
    }
    for bar in &found.bars {
        let Some(wanted) = chosen.book.bar(bar.bar) else {
            continue;
        };
        checks.bar("drop", wanted, drop(bar, found));
        checks.bar("light", wanted, light(bar));
    }
}

/// How a figure stands: `worse` is how bad it is, against an acceptable and a last bound.
fn state(worse: f64, acceptable: f64, last: f64) -> CheckState {
    if worse <= acceptable {
        CheckState::Passed
    } else if worse <= last {
        CheckState::Warned
    } else {
        CheckState::Broken
    }
}

/// The state over the range of what is missing: never passed, broken only if it is so at its best,
/// and not known where the range decides.
fn over_range(usual: CheckState, range: Option<(CheckState, CheckState)>) -> CheckState {
    match range {
        None => usual,
        Some((CheckState::Broken, _)) => CheckState::Broken,
        Some((_, CheckState::Broken)) => CheckState::Unknown,
        Some(_) => CheckState::Warned,
    }
}

fn finding(state: CheckState, sentence: String, missing: &str) -> Finding {
    match state {
        CheckState::Passed => Finding::passed(sentence),
        CheckState::Broken => Finding::broken(sentence, MEND),
        _ if missing.is_empty() => Finding::warned(sentence, MEND),
        CheckState::Warned => Finding::warned(sentence, enter(missing)),
        CheckState::Unknown => Finding::unknown(sentence, enter(missing)),
    }
}

fn enter(missing: &str) -> String {
    format!("Enter it in the catalogue, or measure it with a meter: {missing}.")
}

/// What is missing, in words.
fn missing(bar: &BarVolts) -> String {
    let list = bar.assumed.iter().filter(|one| one.missing);
    list.map(|one| one.what.as_str())
        .collect::<Vec<_>>()
        .join(", ")
}

fn drop(bar: &BarVolts, found: &OutputVolts) -> Finding {
    let percent = bar.worst_drop_percent;
    let of = |percent| state(percent, DROP_ACCEPTABLE, DROP_MOST);
    let state = over_range(
        of(percent),
        bar.range
            .map(|range| (of(range.drop_best_percent), of(range.drop_worst_percent))),
    );
    let word = if percent <= DROP_GOOD {
        "good up to 3 %"
    } else if percent <= DROP_ACCEPTABLE {
        "acceptable up to 5 %"
    } else {
        "acceptable up to 5 %, too much beyond 10 %"
    };
    let mut sentence = format!(
        "{percent:.1} % of {} V is lost on the way to cut unit {} of {} ({}), where {:.2} V are left; {word}, so {}.",
        found.nominal_voltage_v,
        bar.lowest.cut_unit,
        bar.cut_units,
        bar.lowest.channel.label(),
        bar.lowest.value,
        margin(DROP_ACCEPTABLE - percent, "%"),
    );
    let missing = missing(bar);
    if let Some(range) = bar.range {
        let (from, to) = (range.drop_best_percent, range.drop_worst_percent);
        sentence += &maybe(&missing, &format!("{from:.1} to {to:.1} %"));
    }
    finding(state, sentence, &missing)
}

fn light(bar: &BarVolts) -> Finding {
    let percent = bar.worst_light_percent;
    let of = |percent: f64| state(-percent, -LIGHT_GOOD, -LIGHT_LEAST);
    let state = over_range(
        of(percent),
        bar.range
            .map(|range| (of(range.light_best_percent), of(range.light_worst_percent))),
    );
    let mut sentence = format!(
        "{} gives {percent:.0} % of its light at cut unit {} of {}; good from {LIGHT_GOOD:.0} %, too little below {LIGHT_LEAST:.0} %, so {}.",
        crate::plan::power::capital(bar.dimmest.channel.label()),
        bar.dimmest.cut_unit,
        bar.cut_units,
        margin(percent - LIGHT_GOOD, "%"),
    );
    let missing = missing(bar);
    if let Some(range) = bar.range {
        let (from, to) = (range.light_worst_percent, range.light_best_percent);
        sentence += &maybe(&missing, &format!("{from:.0} to {to:.0} %"));
    }
    finding(state, sentence, &missing)
}

/// What a figure may be, where something is assumed.
fn maybe(missing: &str, range: &str) -> String {
    format!(" Assumed: {missing}; it may be {range}.")
}

/// What is left up to a bound, or how far beyond it is.
fn margin(left: f64, unit: &str) -> String {
    if left >= 0.0 {
        format!("{left:.1} {unit} are in hand")
    } else {
        format!("it is {:.1} {unit} beyond", -left)
    }
}
