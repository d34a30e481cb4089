//! What a step of the bench is in detail: from where, between which marks, with which wires.

use super::Things;
use crate::{
    model::{
        channel::Channels,
        id::{BarId, PartId, ThingId},
        part::{Part, StockUnit},
        step::{Segment, Step, Task},
    },
    plan::outcome::{Becomes, CheckState, CutSource, PieceCut, Serve},
    web::{
        cx::Cx,
        design::{
            Whole,
            address::data_line,
            cuts::joint_words,
            feeds::of_driver,
            runs::{own_plug, runs_of, shared_outputs},
            sheets::cards::sundries,
        },
    },
};

/// The plan's cut list of a piece.
fn planned(whole: &Whole, piece: ThingId) -> Option<&PieceCut> {
    let of =
        |cut: &&PieceCut| matches!(&cut.source, CutSource::Piece { thing, .. } if *thing == piece);
    whole.plan().cuts.iter().find(of)
}

/// What a segment of a piece is for.
pub(super) fn purpose(whole: &Whole, piece: ThingId, segment: &Segment) -> String {
    if let Some(bar) = segment.bar {
        return format!("bar {}", whole.bar_label(bar));
    }
    if segment.scrap {
        return "scrap".to_owned();
    }
    if segment.offcut {
        return "kept".to_owned();
    }
    let extra = planned(whole, piece)
        .and_then(|cut| cut.segments.iter().find(|it| it.from == segment.from))
        .is_some_and(|it| matches!(it.becomes, Becomes::Extra { .. }));
    if extra {
        "extra line of the set".to_owned()
    } else {
        "feed from supply to driver".to_owned()
    }
}

/// What is done at the ends of a segment, where it goes into a bar.
fn joints_of(whole: &Whole, piece: ThingId, segment: &Segment) -> String {
    let cut = planned(whole, piece);
    let like = cut.and_then(|cut| cut.segments.iter().find(|it| it.from == segment.from));
    match like.map(|it| it.becomes) {
        Some(Becomes::Bar { start, end, .. }) if segment.bar.is_some() => joint_words(start, end),
        _ => String::new(),
    }
}

fn cut_detail(cx: &Cx, whole: &Whole, piece: ThingId, segments: &[Segment]) -> Vec<String> {
    let pieces = &whole.input().stock.pieces;
    let part = pieces
        .iter()
        .find(|spare| spare.piece.id == piece)
        .map(|spare| spare.piece.part)
        .or_else(|| planned(whole, piece).map(|cut| cut.part));
    let all = segments.last().map_or(0, |last| last.to);
    let named = part.map(|id| {
        let length = whole.amount(cx, part, all);
        format!("{}, {length} long", whole.part_name(id))
    });
    let by_marks = part
        .and_then(|id| whole.part(id))
        .is_some_and(|part| matches!(part.unit(), StockUnit::CutUnits(_)));
    let cuts = segments.iter().map(|segment| {
        // At the bench cut marks are counted; lengths tell whether one counted right.
        let marks = if by_marks {
            format!(", mark {} to {}", segment.from, segment.to)
        } else {
            String::new()
        };
        let joints = match joints_of(whole, piece, segment) {
            words if words.is_empty() => words,
            words => format!("; {words}"),
        };
        format!(
            "{} from {} to {}{marks}: {}{joints}",
            whole.amount(cx, part, segment.to - segment.from),
            whole.amount(cx, part, segment.from),
            whole.amount(cx, part, segment.to),
            purpose(whole, piece, segment)
        )
    });
    named.into_iter().chain(cuts).collect()
}

/// Feeds, fuses, cable runs and crossings of the driver that feeds these bars; with the last driver the
/// data chain.
fn wire_detail(cx: &Cx, whole: &Whole, bars: &[BarId]) -> Vec<String> {
    let at = bars
        .iter()
        .filter_map(|bar| whole.bar_plan(*bar)?.output)
        .map(|output| output.driver)
        .next();
    let Some(driver) = at.and_then(|at| whole.plan().drivers.get(at)) else {
        return Vec::new();
    };
    let fused = |words: &str| match words.trim_end_matches('.') {
        "" => String::new(),
        words => format!("; {words}"),
    };
    let inlets = of_driver(cx, whole, driver).into_iter();
    let inlets = inlets.map(|feed| feed.line());
    let outputs = driver.outputs.iter().map(|output| {
        let bars = whole.bar_list(&output.bars);
        let fuse = fused(&output.protection);
        format!("output {}: {} {bars}{fuse}", output.number, bars.word())
    });
    let plans = bars.iter().filter_map(|bar| whole.bar_plan(*bar));
    let runs = plans.flat_map(|plan| {
        let label = &plan.label;
        let lines = runs_of(cx, whole, plan).into_iter();
        lines.map(move |run| format!("bar {label}, {}", run.line()))
    });
    let shared = shared_outputs(whole, driver);
    let crossed = crossed_at(whole, driver.part, bars);
    // The data chain is told once, where the last driver is wired.
    let last = at.is_some_and(|at| at + 1 == whole.plan().drivers.len());
    let data = last.then(|| data_line(whole)).flatten();
    let lines = inlets.chain(outputs).chain(shared).chain(runs);
    lines.chain(crossed).chain(data).collect()
}

/// What the checks want crossed where these bars' wires meet the terminals of a driver.
fn crossed_at(whole: &Whole, driver: PartId, bars: &[BarId]) -> Vec<String> {
    let met: Vec<(String, &Channels)> = bars
        .iter()
        .filter_map(|bar| {
            let plug = own_plug(whole, whole.bar_plan(*bar)?)?;
            Some((plug.to_string(), &whole.bar(*bar)?.channels))
        })
        .collect();
    let concerns = |key: &str| {
        let mut met = met.iter();
        met.any(|(plug, colours)| is_about(key, driver, plug, colours))
    };
    let checks = whole.plan().checks.iter();
    checks
        .filter(|check| check.state != CheckState::Passed && concerns(&check.key))
        .map(|check| format!("{}: {}", check.about, check.mend.trim_end_matches('.')))
        .collect()
}

/// Whether the key of a check names this driver meeting such a plug for these colours.
fn is_about(key: &str, driver: PartId, plug: &str, colours: &Channels) -> bool {
    let start = format!("order:part-{driver}:{}:", plug.to_lowercase());
    key.starts_with(&start) && key.ends_with(&format!(":{colours}"))
}

/// So many or so much of a part.
pub(super) fn of_part(cx: &Cx, whole: &Whole, part: PartId, amount: i64) -> String {
    let much = whole.amount(cx, Some(part), amount);
    let name = whole.part_name(part);
    match whole.part(part).map(Part::unit) {
        None | Some(StockUnit::Each) => format!("{much} × {name}"),
        Some(_) => format!("{much} of {name}"),
    }
}

fn fetch_detail(cx: &Cx, whole: &Whole, fetched: &Things, task: &Task) -> Vec<String> {
    let Task::Fetch {
        things,
        counts,
        pieces,
        used,
        ..
    } = task
    else {
        return Vec::new();
    };
    let named = |id: &ThingId| {
        let thing = fetched.get(id)?;
        Some(format!("{} · {}", thing.tag, thing.name))
    };
    // A finished bar says how long it is and where it goes: several look alike.
    let finished = |id: &ThingId| {
        let serves = whole.design().bars.iter().map(|bar| bar.id);
        let mut serves =
            serves.filter(|bar| whole.served_by(*bar).is_some_and(|(by, _)| by == *id));
        let named = named(id)?;
        Some(match (serves.next(), whole.fixture(*id)) {
            (Some(bar), Some(spare)) => format!(
                "{named}, {}: for bar {}",
                cx.length(spare.fixture.make.lit_um),
                whole.bar_label(bar)
            ),
            _ => named,
        })
    };
    let piece = |id: &ThingId| {
        let length = fetched.get(id)?.amount.length();
        let length = length.map_or_else(String::new, |length| format!(", {}", cx.length(length)));
        Some(format!("{}{length}: for the bench", named(id)?))
    };
    let count = |(part, amount): &(PartId, i64)| of_part(cx, whole, *part, *amount);
    things
        .iter()
        .filter_map(finished)
        .chain(counts.iter().map(count))
        .chain(pieces.iter().filter_map(piece))
        .chain(
            used.iter()
                .map(|one| format!("{}: for the bench", count(one))),
        )
        .collect()
}

/// What goes into a new bar beside what is cut for it.
fn goes_into(cx: &Cx, whole: &Whole, bar: BarId) -> Vec<String> {
    let Some(Serve::Build(build)) = whole.bar_plan(bar).map(|plan| &plan.serve) else {
        return Vec::new();
    };
    let many = |(part, count): (PartId, i64)| format!("{count} × {}", whole.part_name(part));
    let leads = build.lead.into_iter().map(many);
    let couplers = build.couplers.iter().map(|part| many((*part, 1)));
    let joints = Some(joint_words(build.start, build.end));
    let joints = joints.filter(|words| !words.is_empty());
    leads
        .chain(joints)
        .chain(couplers)
        .chain(sundries(cx, whole, build))
        .collect()
}

/// What a step is, line by line.
pub(super) fn detail(cx: &Cx, whole: &Whole, fetched: &Things, step: &Step) -> Vec<String> {
    match &step.task {
        Task::Cut { piece, segments } => cut_detail(cx, whole, *piece, segments),
        Task::Fetch { .. } => fetch_detail(cx, whole, fetched, &step.task),
        Task::Assemble { bar, lit_um, .. } => {
            let lit = format!("{} lit", cx.length(*lit_um));
            std::iter::once(lit)
                .chain(goes_into(cx, whole, *bar))
                .collect()
        }
        Task::Address { address, .. } => vec![format!("start address {address}")],
        Task::Wire { bars, .. } => wire_detail(cx, whole, bars),
        // Once it is tried, another may have taken its place.
        Task::Tick if step.done.is_some() => Vec::new(),
        Task::Tick => {
            let served = step.bar.and_then(|bar| whole.served_by(bar));
            let tag = served.map(|(_, tag)| format!("it is {tag}"));
            tag.into_iter().collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crossing_at_another_plug_is_not_told() {
        let colours: Channels = "RGB".parse().unwrap();
        let key = "order:part-7:three-pin, male:common-red-green-blue:RGB";
        let about = |driver, plug| is_about(key, PartId(driver), plug, &colours);
        assert!(about(7, "Three-pin, male"));
        assert!(!about(7, "Three-pin, female"));
        assert!(!about(8, "Three-pin, male"));
        assert!(!is_about(
            key,
            PartId(7),
            "Three-pin, male",
            &"RGBW".parse().unwrap()
        ));
    }
}
