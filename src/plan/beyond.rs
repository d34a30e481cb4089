//! Bars that no driver and supply carry within all limits: they are put onto what comes nearest, so
//! that the plan is whole and its checks say what does not fit.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    book::Book,
    check::{Checks, Finding, named},
    input::SpareUnit,
    load::Load,
    need::Needs,
    power::{Output, Room, Used, driver_parts, suits, within},
};
use crate::model::{
    id::{PartId, ThingId},
    part::Driver,
};

/// How strictly a driver is judged.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rules {
    /// Everything known but what supplies may carry must fit.
    All,
    /// Currents may be beyond the limits too.
    NotCurrents,
    /// The driver was chosen by hand: checks say what does not fit.
    None,
}

/// A driver with what it takes: of the pending outputs which, and on which of its own.
struct Taker<'a> {
    part: PartId,
    spec: &'a Driver,
    unit: Option<&'a SpareUnit>,
    takes: Vec<(usize, u16)>,
}

/// Puts loads that nothing serves onto drivers, room by room.
#[expect(
    clippy::too_many_arguments,
    reason = "the state of the plan so far, each part by its name"
)]
pub(super) fn drivers<'a>(
    book: &Book<'a>,
    loads: &[Load<'_>],
    rooms: &[Room],
    unserved: &[usize],
    taken: &mut BTreeSet<ThingId>,
    used: &mut Vec<Used<'a>>,
    needs: &mut Needs,
    checks: &mut Checks,
) {
    for room in rooms {
        let mut pending: Vec<Output> = unserved
            .iter()
            .filter(|&&at| {
                let load = &loads[at];
                load.bar.feed_place == room.place && load.voltage == room.voltage
            })
            .filter_map(|&at| Output::single(loads, at))
            .collect();
        while !pending.is_empty() {
            let mut rules = vec![Rules::All, Rules::NotCurrents];
            if book.input.design.choices.driver.is_some() {
                rules.push(Rules::None);
            }
            let found = rules
                .into_iter()
                .find_map(|rules| next(book, room, &pending, rules, taken));
            let Some(found) = found else {
                no_driver(loads, room, &pending.remove(0), needs, checks);
                continue;
            };
            let mut numbers: BTreeMap<usize, u16> = found.takes.into_iter().collect();
            let mut outputs = BTreeMap::new();
            let mut rest = Vec::new();
            for (at, output) in pending.into_iter().enumerate() {
                match numbers.remove(&at) {
                    Some(number) => {
                        outputs.insert(number, output);
                    }
                    None => rest.push(output),
                }
            }
            pending = rest;
            taken.extend(found.unit.map(|unit| unit.thing));
            used.push(Used {
                part: found.part,
                spec: found.spec,
                unit: found.unit.map(|unit| (unit.thing, unit.tag.clone())),
                set_to: found.unit.and_then(|unit| unit.address),
                place: room.place.clone(),
                voltage: room.voltage,
                outputs,
                why: "No driver and supply carry its bars within all limits: the checks say which."
                    .to_owned(),
            });
        }
    }
}

fn accepts(driver: &Driver, room: &Room, output: &Output, rules: Rules) -> bool {
    let carries = || {
        let kept = |ma: Option<i64>, limit| ma.is_none_or(|ma| within(limit, ma) != Some(false));
        kept(output.fullest_channel(), driver.channel_limit_ma)
            && kept(output.total_ma, driver.output_limit_ma)
    };
    match rules {
        Rules::None => true,
        Rules::NotCurrents => suits(driver, &output.channels, room.voltage, output.polarity),
        Rules::All => suits(driver, &output.channels, room.voltage, output.polarity) && carries(),
    }
}

/// Which of the pending outputs a driver takes, and on which of its own; the first may be taken by
/// looser rules.
fn takes(driver: &Driver, room: &Room, pending: &[Output], first: Rules) -> Vec<(usize, u16)> {
    let mut inlet_of: BTreeMap<u16, usize> = BTreeMap::new();
    for (inlet, spec) in driver.inlets.iter().enumerate() {
        inlet_of.extend(spec.outputs.iter().map(|output| (*output, inlet)));
    }
    let mut inlets = vec![0_i64; driver.inlets.len()];
    let mut whole = 0_i64;
    let mut free: BTreeSet<u16> = (1..=driver.outputs).collect();
    let mut taken = Vec::new();
    for (at, output) in pending.iter().enumerate() {
        let rules = if at == 0 { first } else { Rules::All };
        if !accepts(driver, room, output, rules) {
            continue;
        }
        let ma = output.total_ma.unwrap_or(0);
        let fits = |number: &&u16| {
            let inlet = inlet_of.get(number).map_or(0, |&inlet| inlets[inlet]);
            within(driver.inlet_limit_ma, inlet + ma) != Some(false)
                && within(driver.whole_limit_ma, whole + ma) != Some(false)
        };
        let number = match rules {
            Rules::All => free.iter().find(fits).copied(),
            _ => free.first().copied(),
        };
        let Some(number) = number else { continue };
        free.remove(&number);
        if let Some(&inlet) = inlet_of.get(&number) {
            inlets[inlet] += ma;
        }
        whole += ma;
        taken.push((at, number));
    }
    taken
}

/// The next driver: one in stock, or a new one.
fn next<'a>(
    book: &Book<'a>,
    room: &Room,
    pending: &[Output],
    rules: Rules,
    taken: &BTreeSet<ThingId>,
) -> Option<Taker<'a>> {
    let mut found: Vec<Taker<'a>> = Vec::new();
    for (part, spec) in driver_parts(book) {
        let list = takes(spec, room, pending, rules);
        // The first must be among them, or nothing is gained.
        if list.first().is_none_or(|(at, _)| *at != 0) {
            continue;
        }
        let free = book.units.iter().filter(|unit| unit.part == part);
        let unit = free.copied().find(|unit| !taken.contains(&unit.thing));
        let sold = book.part(part).is_some_and(|part| !part.retired);
        if unit.is_some() || sold {
            found.push(Taker {
                part,
                spec,
                unit,
                takes: list,
            });
        }
    }
    found.into_iter().min_by_key(|taker| {
        let cost = if taker.unit.is_some() {
            0
        } else {
            book.price(taker.part)
        };
        let most = std::cmp::Reverse(taker.takes.len());
        (
            taker.unit.is_none(),
            most,
            cost,
            taker.spec.outputs,
            taker.part,
        )
    })
}

fn no_driver(
    loads: &[Load<'_>],
    room: &Room,
    output: &Output,
    needs: &mut Needs,
    checks: &mut Checks,
) {
    let channels = &output.channels;
    let volts = room.voltage.show();
    let what = format!(
        "driver with {} channels per output for {volts}",
        channels.count()
    );
    needs.unheard(&what, 1, "outputs that no driver has");
    checks.add(
        "driver",
        format_args!("{channels}:{}", room.voltage.get()),
        channels.to_string(),
        Finding::broken(
            format!(
                "No driver that is there or for sale has an output left of {} channels for {channels} \
                 at {volts} on this side of the common.",
                channels.count()
            ),
            "Add such a driver to the catalogue, or choose another tape.",
        ),
        output.loads.iter().map(|&at| named(loads[at].bar)),
    );
}
