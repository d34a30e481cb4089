//! Supplies in use with their checks; and supplies for inlets that none feeds within all limits yet:
//! each takes a pair of terminals of a supply of the right voltage that comes nearest. Units in
//! stock come first, the smallest that takes all that is left; then the cheapest new ones.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    book::Book,
    check::{Checks, Finding},
    fit,
    input::SpareUnit,
    need::Needs,
    power::{Used, capital},
};
use crate::{
    model::{
        id::{PartId, ThingId},
        part::{Isolation, PartSpec, Supply},
        text::Tag,
    },
    units::Voltage,
};

/// A supply in use.
pub(super) struct Source<'a> {
    pub(super) part: PartId,
    pub(super) spec: &'a Supply,
    pub(super) unit: Option<(ThingId, Tag)>,
    /// Inlets that it feeds: driver and inlet.
    pub(super) inlets: Vec<(usize, u16)>,
    /// Its load, if known.
    pub(super) load_ma: Option<i64>,
    /// Why it is this one, as a sentence.
    pub(super) why: String,
}

/// Which supply feeds which inlet.
#[derive(Default)]
pub(super) struct Fed<'a> {
    pub(super) supplies: Vec<Source<'a>>,
    /// Driver and inlet to the place of the supply; `None` where none could be given.
    pub(super) of: BTreeMap<(usize, u16), Option<usize>>,
}

impl Fed<'_> {
    /// The inlets of a driver with their supplies.
    pub(super) fn of_driver(&self, driver: usize) -> impl Iterator<Item = (u16, Option<usize>)> {
        self.of
            .range((driver, 0)..=(driver, u16::MAX))
            .map(|((_, inlet), supply)| (*inlet, *supply))
    }
}

/// Inlets that must be fed by one supply.
#[derive(Clone)]
struct Item {
    driver: usize,
    inlets: Vec<u16>,
    /// Sum of the known currents.
    ma: i64,
}

/// Gives every inlet in use that has none yet a supply.
pub(super) fn supplies<'a>(
    book: &Book<'a>,
    drivers: &[Used<'_>],
    fed: &mut Fed<'a>,
    taken: &mut BTreeSet<ThingId>,
    needs: &mut Needs,
    checks: &mut Checks,
) {
    let mut rooms: BTreeMap<(&str, Voltage), Vec<usize>> = BTreeMap::new();
    for (index, driver) in drivers.iter().enumerate() {
        if fed.of_driver(index).next().is_none() {
            let key = (driver.place.as_str(), driver.voltage);
            rooms.entry(key).or_default().push(index);
        }
    }
    for ((_, voltage), members) in rooms {
        let room = Room {
            book,
            drivers,
            voltage,
            parts: parts(book, voltage),
        };
        let given = room.fill(&members, taken, needs, checks);
        for (source, items) in given {
            let at = fed.supplies.len();
            let mut inlets = Vec::new();
            for item in items {
                for inlet in item.inlets {
                    fed.of.insert((item.driver, inlet), Some(at));
                    inlets.push((item.driver, inlet));
                }
            }
            inlets.sort_unstable();
            fed.supplies.push(Source { inlets, ..source });
        }
        for driver in members {
            for (inlet, _) in drivers[driver].inlets() {
                fed.of.entry((driver, inlet)).or_insert(None);
            }
        }
    }
    for source in &mut fed.supplies {
        source.load_ma = load(drivers, &source.inlets);
        needs.unit(source.part, source.unit.is_some(), "supplies");
    }
    check(book, drivers, fed, checks);
}

fn load(drivers: &[Used<'_>], inlets: &[(usize, u16)]) -> Option<i64> {
    inlets.iter().try_fold(0, |sum: i64, (driver, inlet)| {
        let list = drivers[*driver].inlets();
        let (_, ma) = list.into_iter().find(|(number, _)| number == inlet)?;
        Some(sum + ma?)
    })
}

/// Supplies of the right voltage; the chosen one whatever its voltage.
fn parts<'a>(book: &Book<'a>, voltage: Voltage) -> Vec<(PartId, &'a Supply)> {
    let chosen = book.input.design.choices.supply;
    book.of(|spec| match spec {
        PartSpec::Supply(supply) => Some(supply),
        _ => None,
    })
    .into_iter()
    .filter(|(id, supply)| match chosen {
        Some(chosen) => chosen == *id,
        None => supply.voltage_mv == voltage,
    })
    .collect()
}

struct Room<'b, 'a> {
    book: &'b Book<'a>,
    drivers: &'b [Used<'b>],
    voltage: Voltage,
    parts: Vec<(PartId, &'a Supply)>,
}

type Given<'a> = Vec<(Source<'a>, Vec<Item>)>;

impl<'a> Room<'_, 'a> {
    fn items(&self, members: &[usize]) -> Vec<Item> {
        let mut items = Vec::new();
        for &driver in members {
            let inlets = self.drivers[driver].inlets();
            let single = |(inlet, ma): (u16, Option<i64>)| Item {
                driver,
                inlets: vec![inlet],
                ma: ma.unwrap_or(0),
            };
            if self.drivers[driver].spec.isolation == Isolation::Isolated {
                items.extend(inlets.into_iter().map(single));
            } else {
                items.push(Item {
                    driver,
                    ma: inlets.iter().map(|(_, ma)| ma.unwrap_or(0)).sum(),
                    inlets: inlets.into_iter().map(|(inlet, _)| inlet).collect(),
                });
            }
        }
        items
    }

    fn fill(
        &self,
        members: &[usize],
        taken: &mut BTreeSet<ThingId>,
        needs: &mut Needs,
        checks: &mut Checks,
    ) -> Given<'a> {
        let mut pending = self.items(members);
        let mut given: Given<'a> = Vec::new();
        while let Some(first) = pending.first().cloned() {
            if let Some((part, spec, unit, places)) = self.next(&pending, taken) {
                taken.extend(unit.map(|unit| unit.thing));
                let mut items = Vec::new();
                for at in places.into_iter().rev() {
                    items.push(pending.remove(at));
                }
                items.reverse();
                given.push((source(part, spec, unit), items));
            } else if first.inlets.len() > 1 {
                // No supply is large enough for all of them: several, which checks refuse.
                pending.remove(0);
                let of = self.drivers[first.driver].inlets();
                let split = of.into_iter().map(|(inlet, ma)| Item {
                    driver: first.driver,
                    inlets: vec![inlet],
                    ma: ma.unwrap_or(0),
                });
                pending.splice(0..0, split);
            } else if let Some((part, spec, unit)) = self.largest(taken) {
                // Beyond what any supply may be loaded with: checks say so.
                taken.extend(unit.map(|unit| unit.thing));
                given.push((source(part, spec, unit), vec![pending.remove(0)]));
            } else {
                let item = pending.remove(0);
                self.no_supply(&item, needs, checks);
            }
        }
        given
    }

    /// The next supply that takes at least one item, with the places of those that it takes.
    fn next(
        &self,
        pending: &[Item],
        taken: &BTreeSet<ThingId>,
    ) -> Option<(PartId, &'a Supply, Option<&'a SpareUnit>, Vec<usize>)> {
        let mounted = self.book.mounted_units();
        let by_part: BTreeMap<PartId, (&'a Supply, Vec<usize>)> = self
            .parts
            .iter()
            .map(|&(id, supply)| (id, (supply, takes(supply, pending))))
            .filter(|(_, (_, list))| !list.is_empty())
            .collect();
        let in_stock = self
            .units(taken)
            .filter_map(|unit| by_part.get(&unit.part).map(|found| (unit, found)))
            .min_by_key(|(unit, (supply, list))| {
                (
                    !mounted.contains(&unit.thing),
                    std::cmp::Reverse(list.len()),
                    supply.usable(),
                    unit.place.position,
                    unit.thing,
                )
            });
        if let Some((unit, (supply, list))) = in_stock {
            return Some((unit.part, supply, Some(unit), list.clone()));
        }
        by_part
            .iter()
            .filter(|(id, _)| self.book.part(**id).is_some_and(|part| !part.retired))
            .min_by_key(|(id, (supply, list))| {
                let units = pending.len().div_ceil(list.len().max(1));
                let cost = self
                    .book
                    .price(**id)
                    .saturating_mul(i128::try_from(units).unwrap_or(1));
                (cost, units, supply.usable(), **id)
            })
            .map(|(id, (supply, list))| (*id, *supply, None, list.clone()))
    }

    fn units(&self, taken: &BTreeSet<ThingId>) -> impl Iterator<Item = &'a SpareUnit> {
        self.book
            .units
            .iter()
            .copied()
            .filter(|unit| !taken.contains(&unit.thing))
    }

    /// The largest supply, one in stock before a new one of the same size.
    fn largest(
        &self,
        taken: &BTreeSet<ThingId>,
    ) -> Option<(PartId, &'a Supply, Option<&'a SpareUnit>)> {
        let (id, supply) = self
            .parts
            .iter()
            .copied()
            .max_by_key(|(id, supply)| (supply.usable(), std::cmp::Reverse(*id)))?;
        let unit = self.units(taken).find(|unit| unit.part == id);
        Some((id, supply, unit))
    }

    fn no_supply(&self, item: &Item, needs: &mut Needs, checks: &mut Checks) {
        let volts = self.voltage.show();
        let driver = self.drivers[item.driver].about(self.book);
        needs.unheard(
            format!("supply of {volts}"),
            1,
            "inlets that no supply feeds",
        );
        checks.add(
            "supply",
            self.voltage.get(),
            &volts,
            Finding::broken(
                format!("No supply in the catalogue gives {volts} for {driver}."),
                format!("Add a supply of {volts} to the catalogue."),
            ),
            [],
        );
    }
}

fn source<'a>(part: PartId, spec: &'a Supply, unit: Option<&SpareUnit>) -> Source<'a> {
    Source {
        part,
        spec,
        unit: unit.map(|unit| (unit.thing, unit.tag.clone())),
        inlets: Vec::new(),
        load_ma: None,
        why: "No driver and supply carry its bars within all limits: the checks say which."
            .to_owned(),
    }
}

/// Which items a supply takes, in order, within its terminals and its usable load. Terminals that
/// are not known do not limit; the check says that they are not known.
fn takes(supply: &Supply, items: &[Item]) -> Vec<usize> {
    let mut pairs = supply.terminal_pairs.map_or(usize::MAX, usize::from);
    let mut ma = supply.usable().get();
    let mut list = Vec::new();
    for (at, item) in items.iter().enumerate() {
        if item.inlets.len() <= pairs && item.ma <= ma {
            pairs -= item.inlets.len();
            ma -= item.ma;
            list.push(at);
        }
    }
    list
}

fn check(book: &Book<'_>, drivers: &[Used<'_>], fed: &Fed<'_>, checks: &mut Checks) {
    for (index, source) in fed.supplies.iter().enumerate() {
        let (about, key) = match &source.unit {
            Some((thing, tag)) => (tag.to_string(), format!("thing-{thing}")),
            None => (
                format!("new {}", book.name(source.part)),
                format!("new-supply-{index}"),
            ),
        };
        let name = book.name(source.part);
        if let Some((driver, _)) = source.inlets.first() {
            let voltage = drivers[*driver].voltage;
            checks.add(
                "supply-voltage",
                format_args!("part-{}:{}", source.part, voltage.get()),
                &name,
                fit::supply_voltage(&name, source.spec, voltage),
                [],
            );
        }
        let percent = source
            .spec
            .load_percent
            .unwrap_or(Supply::USUAL_LOAD_PERCENT);
        let usable = source.spec.usable();
        let rule = format!(
            "{percent} % of its {} is {}",
            source.spec.rated_ma.show(),
            usable.show()
        );
        let carries = |ma| {
            format!(
                "{} carries {}; {rule}: {}.",
                capital(&about),
                fit::amps(ma),
                fit::margin(usable.get(), ma)
            )
        };
        let finding = match source.load_ma {
            Some(ma) if ma <= usable.get() => Finding::passed(carries(ma)),
            Some(ma) => Finding::broken(
                carries(ma),
                "Use a larger supply, or spread the bars over more inlets and supplies.",
            ),
            None => Finding::unknown(
                format!("What {about} carries is not known; {rule}."),
                "Enter the watts per metre of each colour of the tape.",
            ),
        };
        checks.add("limit-supply", &key, &about, finding, []);
        let used = source.inlets.len();
        let finding = match source.spec.terminal_pairs {
            Some(pairs) if used <= usize::from(pairs) => Finding::passed(format!(
                "{used} of the {pairs} terminal pairs of {about} are in use."
            )),
            Some(pairs) => Finding::broken(
                format!("{about} has {pairs} terminal pairs; {used} inlets are to be fed."),
                "Use another supply for some of the inlets.",
            ),
            None => Finding::unknown(
                format!("How many terminal pairs {name} has is not known; {used} are to be used."),
                "Enter the number of terminal pairs.",
            ),
        };
        checks.add("terminals", &key, &about, finding, []);
    }
}
