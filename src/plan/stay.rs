//! What a reserved set holds stays as it is: its bars keep their outputs, and its drivers their
//! supplies, wherever that is within all limits and no other way costs less or needs fewer units.

use std::collections::BTreeMap;

use super::{
    driven::{Answer, Origin, Output, UsedDriver, UsedSupply},
    outcome::{DriverPlan, Plan},
    power::Asked,
};
use crate::model::{
    id::{BarId, PartId, ThingId},
    text::Tag,
};

/// Which unit of the house one is; `None` if it is bought.
type Unit = Option<(ThingId, Tag)>;

/// The units of an arrangement that stays, by their places in the answer.
pub(super) struct Stay {
    pub(super) drivers: Vec<Unit>,
    pub(super) supplies: Vec<Unit>,
}

/// Puts what is held in place of what was found, where it serves as well.
pub(super) fn keep(asked: &Asked<'_, '_>, answer: &mut Answer) -> Option<Stay> {
    let held = asked.book.input.held.as_ref()?;
    if !answer.unserved.is_empty() {
        return None;
    }
    let drivers = drivers(asked, held)?;
    let supplies = supplies(asked, held)?;
    let units = Stay {
        drivers: held.drivers.iter().map(|it| it.unit.clone()).collect(),
        supplies: held.supplies.iter().map(|it| it.unit.clone()).collect(),
    };
    answer
        .keep(&asked.question, drivers, supplies)
        .then_some(units)
}

/// Where a unit comes from; `None` where it is not free any more.
fn origin(asked: &Asked<'_, '_>, part: PartId, unit: &Unit) -> Option<Origin> {
    let Some((thing, _)) = unit else {
        return Some(Origin::Bought);
    };
    let mut free = asked.book.units.iter();
    free.find(|free| free.thing == *thing && free.part == part)?;
    Some(if asked.book.mounted_units().contains(thing) {
        Origin::Mounted
    } else {
        Origin::Shelf
    })
}

fn supplies(asked: &Asked<'_, '_>, held: &Plan) -> Option<Vec<UsedSupply>> {
    let of = held.supplies.iter().map(|supply| {
        Some(UsedSupply {
            kind: (asked.supplies.iter()).position(|(part, _)| *part == supply.part)?,
            origin: origin(asked, supply.part, &supply.unit)?,
            load_ma: 0,
        })
    });
    of.collect()
}

fn drivers(asked: &Asked<'_, '_>, held: &Plan) -> Option<Vec<UsedDriver>> {
    let bars = asked.loads.iter().map(|load| load.bar.id);
    let places: BTreeMap<BarId, usize> = bars.zip(0..).collect();
    let of = held.drivers.iter();
    of.map(|driver| used(asked, driver, &places)).collect()
}

/// A driver in the words of the question; `None` where that has no words for it.
fn used(
    asked: &Asked<'_, '_>,
    driver: &DriverPlan,
    places: &BTreeMap<BarId, usize>,
) -> Option<UsedDriver> {
    let kind = (asked.drivers.iter()).position(|(part, _)| *part == driver.part)?;
    let spec = asked.drivers[kind].1;
    let mut outputs = Vec::new();
    for (inlet, fed) in spec.inlets.iter().enumerate() {
        let mut numbers = fed.outputs.clone();
        numbers.sort_unstable();
        let mut mine: Vec<_> = (driver.outputs.iter())
            .filter(|output| numbers.contains(&output.number))
            .collect();
        mine.sort_by_key(|output| output.number);
        // Outputs are written from the first on: one left free before them would be taken.
        if mine
            .iter()
            .zip(&numbers)
            .any(|(it, number)| it.number != *number)
        {
            return None;
        }
        for output in mine {
            let loads = output.bars.iter().map(|bar| places.get(bar).copied());
            outputs.push(Output {
                inlet,
                loads: loads.collect::<Option<_>>()?,
            });
        }
    }
    let first = *outputs.first()?.loads.first()?;
    let mut feeds = vec![None; spec.inlets.len()];
    for inlet in &driver.inlets {
        let at = usize::from(inlet.number).checked_sub(1)?;
        *feeds.get_mut(at)? = Some(inlet.supply?);
    }
    Some(UsedDriver {
        kind,
        origin: origin(asked, driver.part, &driver.unit)?,
        room: asked.question.loads[first].room,
        outputs,
        feeds,
    })
}
