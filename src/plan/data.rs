//! The data chain: a cable to each driver, a terminator at each line's end, a splitter where one
//! line is not enough.
//!
//! One line carries at most 32 unit loads (EIA-485, to which ANSI E1.11 refers); a driver counts
//! as one. Each universe has its own line.

use std::collections::BTreeMap;

use super::{
    book::Book,
    check::{Checks, Finding},
    need::Needs,
    outcome::{DataPlan, SlotRef},
};
use crate::model::{
    id::PartId,
    part::{Data, DataUse, PartSpec},
    reservation::HoldUse,
};

/// Unit loads of one line (EIA-485).
pub const LINE_LOADS: u32 = 32;
/// Outputs of a splitter whose number is not known: the fewest that make one.
const FEWEST_OUTPUTS: u32 = 2;

/// Counts the chain for drivers with these addresses.
pub(super) fn chain(
    book: &Book<'_>,
    addresses: &[Option<SlotRef>],
    needs: &mut Needs,
    checks: &mut Checks,
) -> DataPlan {
    let mut universes: BTreeMap<u16, u32> = BTreeMap::new();
    for address in addresses {
        // A driver that has no address yet still hangs on the first line.
        let universe = address.map_or(1, |address| address.universe);
        *universes.entry(universe).or_insert(0) += 1;
    }
    let splitter = best(book, needs, DataUse::Splitter, 1);
    let outputs = splitter
        .and_then(|(_, data)| data.outputs)
        .map_or(FEWEST_OUTPUTS, u32::from)
        .max(1);
    let mut plan = DataPlan::default();
    for &drivers in universes.values() {
        let lines = drivers.div_ceil(LINE_LOADS);
        plan.terminators += lines;
        plan.cables += drivers;
        if lines > 1 {
            let splitters = lines.div_ceil(outputs);
            plan.splitters += splitters;
            plan.cables += splitters;
        }
    }
    for (what, count) in [
        (DataUse::Cable, plan.cables),
        (DataUse::Terminator, plan.terminators),
        (DataUse::Splitter, plan.splitters),
    ] {
        if count == 0 {
            continue;
        }
        let count = i64::from(count);
        match best(book, needs, what, count) {
            Some((id, _)) => needs.count(id, count, HoldUse::Returns, "data chain"),
            None => needs.unheard(format!("DMX {what}"), count, "data chain"),
        }
    }
    for (universe, drivers) in universes {
        let lines = drivers.div_ceil(LINE_LOADS);
        let finding = Finding::passed(format!(
            "{drivers} drivers of universe {universe} hang on {lines} of at most {LINE_LOADS} unit \
             loads each."
        ));
        checks.add(
            "line",
            format_args!("universe-{universe}"),
            "data chain",
            finding,
            [],
        );
    }
    plan
}

fn best<'a>(
    book: &Book<'a>,
    needs: &Needs,
    what: DataUse,
    wanted: i64,
) -> Option<(PartId, &'a Data)> {
    book.of(|spec| match spec {
        PartSpec::Data(data) if data.used_as == what => Some(data),
        _ => None,
    })
    .into_iter()
    .min_by_key(|(id, data)| {
        let missing = (wanted - (book.there(*id) - needs.asked(*id)).max(0)).max(0);
        let cost = if missing == 0 {
            0
        } else {
            book.price(*id).saturating_mul(missing.into())
        };
        (cost, std::cmp::Reverse(data.outputs), *id)
    })
}
