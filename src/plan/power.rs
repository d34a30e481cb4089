//! Bars to driver outputs, and drivers to supplies.
//!
//! Bars of one place and one voltage are given outputs in the order of their ids. Bars of one
//! control group share an output where the driver's channel and output limits are known and
//! allow it, and where the wires can still be protected. Units in stock come first (those on frames of this set before others), the smallest
//! that takes all that is left; then the cheapest new ones. An inlet is given no more than the
//! largest supply of that voltage may carry, and so is a whole driver whose inlets are not
//! isolated: once by the supplies of the catalogue, once by those in stock, and the better of the
//! two is kept ([`power`]). This keeps new units few; it is not proven least over all mixes.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    book::Book,
    check::{Checks, Finding, named},
    fit,
    load::Load,
    need::Needs,
    protect::protectable,
    supply,
};
use crate::{
    model::{
        channel::Channels,
        id::{BarId, PartId, ThingId},
        part::{Driver, Isolation, PartSpec, Polarity},
        text::Tag,
    },
    units::{Current, Voltage},
};

/// Bars in parallel on one output.
pub(super) struct Output {
    /// Places in the list of loads.
    pub(super) loads: Vec<usize>,
    pub(super) channels: Channels,
    polarity: Option<Polarity>,
    /// Current of each channel in order, if known.
    per_channel: Option<Vec<i64>>,
    pub(super) total_ma: Option<i64>,
    first: BarId,
}

impl Output {
    pub(super) fn fullest_channel(&self) -> Option<i64> {
        self.per_channel
            .as_ref()
            .map(|list| list.iter().copied().max().unwrap_or(0))
    }

    fn with(&self, other: &Self) -> Option<(Vec<i64>, i64)> {
        let (mine, theirs) = (self.per_channel.as_ref()?, other.per_channel.as_ref()?);
        let sum: Vec<i64> = mine.iter().zip(theirs).map(|(a, b)| a + b).collect();
        Some((sum, self.total_ma? + other.total_ma?))
    }
}

/// A driver in use.
pub(super) struct Used<'a> {
    pub(super) part: PartId,
    pub(super) spec: &'a Driver,
    pub(super) unit: Option<(ThingId, Tag)>,
    /// The start address that it is set to.
    pub(super) set_to: Option<u16>,
    pub(super) place: String,
    pub(super) voltage: Voltage,
    /// Output number and what is on it.
    pub(super) outputs: BTreeMap<u16, Output>,
}

impl Used<'_> {
    fn first(&self) -> Option<BarId> {
        self.outputs.values().map(|output| output.first).min()
    }

    /// Inlets in use with their currents, counted from 1.
    pub(super) fn inlets(&self) -> Vec<(u16, Option<i64>)> {
        let mut inlets = Vec::new();
        for (number, inlet) in (1_u16..).zip(&self.spec.inlets) {
            let mut used = inlet
                .outputs
                .iter()
                .filter_map(|output| self.outputs.get(output))
                .peekable();
            if used.peek().is_some() {
                let sum = used.try_fold(0, |sum: i64, output| Some(sum + output.total_ma?));
                inlets.push((number, sum));
            }
        }
        inlets
    }

    pub(super) fn total_ma(&self) -> Option<i64> {
        self.outputs
            .values()
            .try_fold(0, |sum: i64, output| Some(sum + output.total_ma?))
    }

    /// Names it in sentences.
    pub(super) fn about(&self, book: &Book<'_>) -> String {
        match &self.unit {
            Some((_, tag)) => tag.to_string(),
            None => format!("new {}", book.name(self.part)),
        }
    }

    /// Names it in keys.
    pub(super) fn key(&self, index: usize) -> String {
        match &self.unit {
            Some((thing, _)) => format!("thing-{thing}"),
            None => format!("new-driver-{index}"),
        }
    }
}

/// By which supplies the load of an inlet is limited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Largest {
    /// The largest one of the catalogue.
    InCatalogue,
    /// The largest one in stock, so that more drivers and supplies in stock serve.
    InStock,
}

/// Drivers and supplies with what they need and how they come out.
struct Powered<'a> {
    drivers: Vec<Used<'a>>,
    fed: supply::Fed<'a>,
    /// Units of the house in use.
    taken: BTreeSet<ThingId>,
    needs: Needs,
    checks: Checks,
}

impl Powered<'_> {
    /// Less is better: limits not kept, then new units, then what these cost, then all units.
    fn rank(&self, book: &Book<'_>) -> (usize, usize, i128, usize) {
        let drivers = self.drivers.iter().map(|it| (it.part, it.unit.is_none()));
        let supplies = self
            .fed
            .supplies
            .iter()
            .map(|it| (it.part, it.unit.is_none()));
        let units: Vec<(PartId, bool)> = drivers.chain(supplies).collect();
        let new = units.iter().filter(|(_, new)| *new);
        let cost = new.clone().fold(0, |sum: i128, (part, _)| {
            sum.saturating_add(book.price(*part))
        });
        (self.checks.not_kept(), new.count(), cost, units.len())
    }
}

/// Gives every load an output, and every inlet a supply.
pub(super) fn power<'a>(
    book: &Book<'a>,
    loads: &[Load<'_>],
    needs: &mut Needs,
    checks: &mut Checks,
) -> (Vec<Used<'a>>, supply::Fed<'a>, BTreeSet<ThingId>) {
    let attempt = |largest: Largest| {
        let (mut needs, mut checks) = (needs.clone(), checks.clone());
        let mut taken = BTreeSet::new();
        let drivers = drivers(book, loads, largest, &mut taken, &mut needs, &mut checks);
        let fed = supply::supplies(book, &drivers, &mut taken, &mut needs, &mut checks);
        check_drivers(book, loads, &drivers, &fed, &mut checks);
        Powered {
            drivers,
            fed,
            taken,
            needs,
            checks,
        }
    };
    let usual = attempt(Largest::InCatalogue);
    let other = attempt(Largest::InStock);
    let best = if other.rank(book) < usual.rank(book) {
        other
    } else {
        usual
    };
    *needs = best.needs;
    *checks = best.checks;
    (best.drivers, best.fed, best.taken)
}

/// Gives every load an output; drivers come back in order of place and first bar.
fn drivers<'a>(
    book: &Book<'a>,
    loads: &[Load<'_>],
    largest: Largest,
    taken: &mut BTreeSet<ThingId>,
    needs: &mut Needs,
    checks: &mut Checks,
) -> Vec<Used<'a>> {
    let mut rooms: BTreeMap<(String, Voltage), Vec<usize>> = BTreeMap::new();
    for (at, load) in loads.iter().enumerate() {
        let key = (load.bar.feed_place.clone(), load.voltage);
        rooms.entry(key).or_default().push(at);
    }
    let mut used: Vec<Used<'_>> = Vec::new();
    for ((place, voltage), members) in rooms {
        let room = Room {
            book,
            loads,
            place,
            voltage,
            most: supply::most(book, voltage, largest),
        };
        let outputs = room.outputs(&members);
        room.fill(outputs, taken, &mut used, needs, checks);
    }
    used.sort_by(|a, b| (&a.place, a.first()).cmp(&(&b.place, b.first())));
    for driver in &used {
        needs.unit(driver.part, driver.unit.is_some(), "drivers");
    }
    used
}

/// Bars of one voltage at one driver's place.
struct Room<'b, 'a> {
    book: &'b Book<'a>,
    loads: &'b [Load<'b>],
    place: String,
    voltage: Voltage,
    /// What the largest supply may carry, if there is one.
    most: Option<Current>,
}

/// How strictly a driver is judged.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rules {
    /// Everything known must fit.
    All,
    /// Currents may be beyond the limits: checks say so.
    NotCurrents,
    /// The driver was chosen by hand: checks say what does not fit.
    None,
}

impl<'a> Room<'_, 'a> {
    fn parts(&self) -> Vec<(PartId, &'a Driver)> {
        let chosen = self.book.input.design.choices.driver;
        self.book
            .of(|spec| match spec {
                PartSpec::Driver(driver) => Some(driver),
                _ => None,
            })
            .into_iter()
            .filter(|(id, _)| chosen.is_none_or(|chosen| chosen == *id))
            .collect()
    }

    fn output_of(&self, at: usize) -> Output {
        let load = &self.loads[at];
        Output {
            loads: vec![at],
            channels: load.channels.clone(),
            polarity: load.polarity(),
            per_channel: load
                .draw
                .as_ref()
                .map(|draw| draw.channels.iter().map(|(_, ma)| *ma).collect()),
            total_ma: load.total_ma(),
            first: load.bar.id,
        }
    }

    /// One output for each bar, or for several of one group where every driver that would do
    /// allows it.
    fn outputs(&self, members: &[usize]) -> Vec<Output> {
        let mut outputs: Vec<Output> = Vec::new();
        for &at in members {
            let mut next = self.output_of(at);
            let group = &self.loads[at].bar.group;
            let shared = outputs.iter_mut().find_map(|output| {
                let same = !group.is_empty()
                    && self.loads[output.loads[0]].bar.group == *group
                    && output.channels == next.channels
                    && output.polarity == next.polarity;
                let (sum, total) = same.then(|| output.with(&next)).flatten()?;
                self.parallel_allowed(&output.channels, &sum, total)
                    .then_some((output, sum, total))
            });
            if let Some((output, sum, total)) = shared {
                output.loads.append(&mut next.loads);
                output.per_channel = Some(sum);
                output.total_ma = Some(total);
            } else {
                outputs.push(next);
            }
        }
        outputs
    }

    fn parallel_allowed(&self, channels: &Channels, sum: &[i64], total: i64) -> bool {
        let fullest = sum.iter().copied().max().unwrap_or(0);
        let mut suited = self
            .parts()
            .into_iter()
            .filter(|(_, driver)| {
                usize::from(driver.channels_per_output) >= channels.count()
                    && (driver.voltage_min_mv..=driver.voltage_max_mv).contains(&self.voltage)
            })
            .peekable();
        suited.peek().is_some()
            && suited.all(|(_, driver)| {
                within(driver.channel_limit_ma, fullest) == Some(true)
                    && within(driver.output_limit_ma, total) == Some(true)
                    && within(self.most, total) != Some(false)
                    && self.protectable(driver, channels, total)
            })
    }

    /// Whether some lead that carries the colours can be protected at that load: the chosen one, if
    /// one is.
    fn protectable(&self, driver: &Driver, channels: &Channels, total: i64) -> bool {
        let chosen = self.book.input.design.choices.lead;
        let leads = self.book.of(|spec| match spec {
            PartSpec::Lead(lead) => Some(lead),
            _ => None,
        });
        let mut suited = leads
            .into_iter()
            .filter(|(id, lead)| match chosen {
                Some(chosen) => chosen == *id,
                None => lead.connector.carries(channels) == Some(true),
            })
            .peekable();
        suited.peek().is_none()
            || suited.any(|(_, lead)| protectable(driver, total, lead, self.voltage))
    }

    fn accepts(&self, driver: &Driver, output: &Output, rules: Rules) -> bool {
        if rules == Rules::None {
            return true;
        }
        let suits = usize::from(driver.channels_per_output) >= output.channels.count()
            && (driver.voltage_min_mv..=driver.voltage_max_mv).contains(&self.voltage)
            && match (driver.common, output.polarity) {
                (Some(driver), Some(tape)) => driver == tape,
                _ => true,
            };
        let carries = rules == Rules::NotCurrents
            || (output
                .fullest_channel()
                .is_none_or(|ma| within(driver.channel_limit_ma, ma) != Some(false))
                && output
                    .total_ma
                    .is_none_or(|ma| within(driver.output_limit_ma, ma) != Some(false)));
        suits && carries
    }

    /// Which of the pending outputs a driver takes, and on which of its own; the first may be
    /// taken by looser rules.
    fn takes(&self, driver: &Driver, pending: &[Output], first: Rules) -> Vec<(usize, u16)> {
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
            if !self.accepts(driver, output, rules) {
                continue;
            }
            let ma = output.total_ma.unwrap_or(0);
            let room = |number: &&u16| {
                let inlet = inlet_of.get(number).map_or(0, |&inlet| inlets[inlet]);
                let one_supply = if driver.isolation == Isolation::Isolated {
                    inlet + ma
                } else {
                    whole + ma
                };
                within(driver.inlet_limit_ma, inlet + ma) != Some(false)
                    && within(driver.whole_limit_ma, whole + ma) != Some(false)
                    && within(self.most, one_supply) != Some(false)
            };
            let number = match rules {
                Rules::All => free.iter().find(room).copied(),
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

    fn fill(
        &self,
        mut pending: Vec<Output>,
        taken: &mut BTreeSet<ThingId>,
        used: &mut Vec<Used<'a>>,
        needs: &mut Needs,
        checks: &mut Checks,
    ) {
        let parts = self.parts();
        let chosen = self.book.input.design.choices.driver.is_some();
        while !pending.is_empty() {
            let mut rules = vec![Rules::All, Rules::NotCurrents];
            if chosen {
                rules.push(Rules::None);
            }
            let found = rules
                .into_iter()
                .find_map(|rules| self.next(&parts, &pending, rules, taken));
            let Some((part, spec, unit, places)) = found else {
                let output = pending.remove(0);
                self.no_driver(&output, needs, checks);
                continue;
            };
            let mut numbers: BTreeMap<usize, u16> = places.into_iter().collect();
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
            let set_to = unit.and_then(|unit| unit.address);
            taken.extend(unit.map(|unit| unit.thing));
            used.push(Used {
                part,
                spec,
                unit: unit.map(|unit| (unit.thing, unit.tag.clone())),
                set_to,
                place: self.place.clone(),
                voltage: self.voltage,
                outputs,
            });
        }
    }

    /// The next driver: one in stock, or a new one.
    #[expect(
        clippy::type_complexity,
        reason = "taken apart at once by its one caller"
    )]
    fn next(
        &self,
        parts: &[(PartId, &'a Driver)],
        pending: &[Output],
        rules: Rules,
        taken: &BTreeSet<ThingId>,
    ) -> Option<(
        PartId,
        &'a Driver,
        Option<&'a super::input::SpareUnit>,
        Vec<(usize, u16)>,
    )> {
        let mounted = self.book.mounted_units();
        let gain = |driver: &Driver| {
            let list = self.takes(driver, pending, rules);
            // By looser rules the first must be among them, or nothing is gained.
            let gained = match rules {
                Rules::All => !list.is_empty(),
                _ => list.first().is_some_and(|(at, _)| *at == 0),
            };
            gained.then_some(list)
        };
        let by_part: BTreeMap<PartId, (&'a Driver, Vec<(usize, u16)>)> = parts
            .iter()
            .filter_map(|&(id, driver)| gain(driver).map(|list| (id, (driver, list))))
            .collect();
        let in_stock = self
            .book
            .units
            .iter()
            .copied()
            .filter(|unit| !taken.contains(&unit.thing))
            .filter_map(|unit| by_part.get(&unit.part).map(|found| (unit, found)))
            .min_by_key(|(unit, (driver, list))| {
                (
                    !mounted.contains(&unit.thing),
                    std::cmp::Reverse(list.len()),
                    driver.outputs,
                    driver.channels_per_output,
                    unit.place.position,
                    unit.thing,
                )
            });
        if let Some((unit, (driver, list))) = in_stock {
            return Some((unit.part, driver, Some(unit), list.clone()));
        }
        by_part
            .iter()
            .filter(|(id, _)| self.book.part(**id).is_some_and(|part| !part.retired))
            .min_by_key(|(id, (driver, list))| {
                let units = pending.len().div_ceil(list.len().max(1));
                let cost = self
                    .book
                    .price(**id)
                    .saturating_mul(i128::try_from(units).unwrap_or(1));
                (cost, units, driver.outputs, **id)
            })
            .map(|(id, (driver, list))| (*id, *driver, None, list.clone()))
    }

    fn no_driver(&self, output: &Output, needs: &mut Needs, checks: &mut Checks) {
        let channels = &output.channels;
        let volts = self.voltage.show();
        let what = format!(
            "driver with {} channels per output for {volts}",
            channels.count()
        );
        needs.unheard(&what, 1, "outputs that no driver has");
        checks.add(
            "driver",
            format_args!("{channels}:{}", self.voltage.get()),
            channels.to_string(),
            Finding::broken(
                format!(
                    "No driver in the catalogue has {} channels per output for {channels} at \
                     {volts} on this side of the common.",
                    channels.count()
                ),
                "Add such a driver to the catalogue, or choose another tape.",
            ),
            output.loads.iter().map(|&at| named(self.loads[at].bar)),
        );
    }
}

/// Whether a load is within a limit; `None` where the limit is not known.
fn within(limit: Option<Current>, ma: i64) -> Option<bool> {
    limit.map(|limit| ma <= limit.get())
}

/// Checks of drivers against their loads and supplies.
fn check_drivers(
    book: &Book<'_>,
    loads: &[Load<'_>],
    used: &[Used<'_>],
    fed: &supply::Fed<'_>,
    checks: &mut Checks,
) {
    for (index, driver) in used.iter().enumerate() {
        let about = driver.about(book);
        let key = driver.key(index);
        let name = book.name(driver.part);
        let spec = driver.spec;
        for load in driver.outputs.values().flat_map(|output| &output.loads) {
            let load = &loads[*load];
            let who = [named(load.bar)];
            let part = driver.part;
            checks.add(
                "channels",
                format_args!("{}:part-{part}", load.channels),
                &name,
                fit::output_channels(&name, spec, load.channels),
                who.clone(),
            );
            checks.add(
                "voltage",
                format_args!("part-{part}:{}", load.voltage.get()),
                &name,
                fit::driver_voltage(&name, spec, load.voltage),
                who.clone(),
            );
            checks.add(
                "polarity",
                format_args!("part-{part}:{}", load.tape_key()),
                &name,
                fit::polarity(&load.tape_name(book), load.polarity(), &name, spec.common),
                who,
            );
        }
        let channel = driver.outputs.values().try_fold(0, |most: i64, output| {
            Some(most.max(output.fullest_channel()?))
        });
        let output = driver
            .outputs
            .values()
            .try_fold(0, |most: i64, output| Some(most.max(output.total_ma?)));
        let inlet = driver
            .inlets()
            .into_iter()
            .try_fold(0, |most: i64, (_, ma)| Some(most.max(ma?)));
        for (rule, what, limit, ma) in [
            (
                "limit-channel",
                "the fullest channel",
                spec.channel_limit_ma,
                channel,
            ),
            (
                "limit-output",
                "the fullest output",
                spec.output_limit_ma,
                output,
            ),
            (
                "limit-inlet",
                "the fullest inlet",
                spec.inlet_limit_ma,
                inlet,
            ),
            (
                "limit-whole",
                "the whole",
                spec.whole_limit_ma,
                driver.total_ma(),
            ),
        ] {
            let what = format!("{what} of {about}");
            let mend = "Spread the bars over more outputs or drivers, or make them shorter.";
            checks.add(
                rule,
                &key,
                &about,
                fit::limit(&capital(&what), limit, ma, mend),
                [],
            );
        }
        let supplies: BTreeSet<usize> = fed
            .of_driver(index)
            .filter_map(|(_, supply)| supply)
            .collect();
        if supplies.len() > 1 {
            let finding = fit::isolation(&about, spec, supplies.len());
            checks.add("isolation", &key, &about, finding, []);
        }
    }
}

/// A sentence begins with a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
