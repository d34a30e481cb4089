//! Drivers and supplies in use, in the document's names.

use super::{
    milli,
    question::Asked,
    said::{FeedsInlet, FeedsOutput, FeedsUsedDriver, FeedsUsedSupply},
};
use crate::plan::driven::{self, Answer, Origin, UsedDriver};

/// What is fed, as sentences name it.
const LOADS: &str = "loads";

/// A place in a list, counted from 1.
fn number(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX).saturating_add(1)
}

/// Limit and margin of what carries a current.
fn limit(limit: Option<i64>, ma: i64) -> (Option<f64>, Option<f64>) {
    (
        limit.map(milli::whole),
        limit.map(|most| milli::whole(most - ma)),
    )
}

/// What an output carries.
fn total(asked: &Asked<'_>, output: &driven::Output) -> i64 {
    let loads = output.loads.iter();
    loads.map(|&load| asked.question.loads[load].total_ma).sum()
}

/// A driver in use.
pub(super) fn driver(asked: &Asked<'_>, answer: &Answer, used: &UsedDriver) -> FeedsUsedDriver {
    let (kind, limits) = (&asked.question.drivers[used.kind], &asked.limits[used.kind]);
    let (mut outputs, mut inlets, mut whole) = (Vec::new(), Vec::new(), 0);
    let mut first = 0;
    for (at, feed) in used.feeds.iter().enumerate() {
        let mine = used.outputs.iter().filter(|output| output.inlet == at);
        let mut ma = 0;
        for (nth, output) in mine.enumerate() {
            let sum = total(asked, output);
            ma += sum;
            outputs.push(written(asked, used.kind, output, first + nth, sum));
        }
        first += usize::from(kind.inlets[at]);
        whole += ma;
        if let Some(supply) = *feed {
            let (limit_a, margin_a) = limit(limits.inlet_ma, ma);
            inlets.push(FeedsInlet {
                inlet: number(at),
                supply,
                current_a: milli::whole(ma),
                limit_a,
                margin_a,
            });
        }
    }
    let (place, voltage_mv) = asked.rooms[used.room];
    let (limit_a, margin_a) = limit(limits.whole_ma, whole);
    FeedsUsedDriver {
        driver: asked.body.drivers[used.kind].name.clone(),
        bought: used.origin == Origin::Bought,
        place: place.to_owned(),
        voltage_v: milli::whole(voltage_mv),
        outputs,
        inlets,
        current_a: milli::whole(whole),
        limit_a,
        margin_a,
        why: answer.driver_why(used, LOADS),
    }
}

/// An output by its place among those of its driver.
fn written(
    asked: &Asked<'_>,
    kind: usize,
    output: &driven::Output,
    place: usize,
    ma: i64,
) -> FeedsOutput {
    let limits = &asked.limits[kind];
    let mut channels: Vec<i64> = Vec::new();
    for &load in &output.loads {
        let takes = &asked.question.loads[load].channels;
        channels.resize(channels.len().max(takes.len()), 0);
        for (sum, ma) in channels.iter_mut().zip(takes) {
            *sum += ma;
        }
    }
    let (limit_a, margin_a) = limit(limits.output_ma, ma);
    FeedsOutput {
        output: number(place),
        inlet: number(output.inlet),
        loads: (output.loads.iter())
            .map(|&load| asked.body.loads[asked.line_of[load]].name.clone())
            .collect(),
        current_a: milli::whole(ma),
        limit_a,
        margin_a,
        channel_a: milli::whole(channels.into_iter().max().unwrap_or(0)),
        channel_limit_a: limits.channel_ma.map(milli::whole),
    }
}

/// A supply in use, by its place in the answer.
pub(super) fn supply(asked: &Asked<'_>, answer: &Answer, at: usize) -> FeedsUsedSupply {
    let used = &answer.supplies[at];
    let usable = asked.question.supplies[used.kind].usable_ma;
    let feeds = answer.drivers.iter().flat_map(|driver| &driver.feeds);
    let pairs = feeds.filter(|feed| **feed == Some(at)).count();
    FeedsUsedSupply {
        supply: asked.body.supplies[used.kind].name.clone(),
        bought: used.origin == Origin::Bought,
        load_a: milli::whole(used.load_ma),
        usable_a: milli::whole(usable),
        margin_a: milli::whole(usable - used.load_ma),
        pairs_used: u32::try_from(pairs).unwrap_or(u32::MAX),
        why: answer.supply_why(at, LOADS),
    }
}
