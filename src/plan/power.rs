//! Bars to driver outputs, and drivers to supplies.
//!
//! What can be served within all limits is given to [`driven`], which finds the least cost, then
//! the fewest new units, the shortest cable, the fewest units from the shelf and the most even
//! loads, with proof. Bars of one place and one voltage share drivers and supplies; bars of one
//! control group share an output where the driver's channel and output limits are known and allow
//! it, and where the wires can still be protected. What nothing carries within its limits is put
//! beside ([`super::beyond`]), and checks say what does not fit.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    answer::{Proof, Why},
    beyond,
    book::Book,
    bought,
    check::{Checks, named},
    driven::{self, Answer, Buy, DriverKind, Level, Origin, Question, Shared, Stock, SupplyKind},
    feed, fit, linked,
    load::Load,
    need::Needs,
    outcome::PowerProof,
    protect::protected_ma,
    stay::{self, Stay},
    supply::{self, Fed, Source},
};
use crate::{
    model::{
        channel::Channels,
        id::{BarId, PartId, ThingId},
        part::{Driver, Isolation, PartSpec, Polarity, Supply},
        text::Tag,
    },
    units::{Current, Money, Voltage},
};

/// What is fed, as sentences name it.
const LOADS: &str = "bars";

/// Bars in parallel on one output.
pub(super) struct Output {
    /// Places in the list of loads.
    pub(super) loads: Vec<usize>,
    pub(super) channels: Channels,
    pub(super) polarity: Option<Polarity>,
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

    /// An output that feeds some loads; there is one at least.
    fn of(loads: &[Load<'_>], members: &[usize]) -> Option<Self> {
        let (&first, others) = members.split_first()?;
        let load = &loads[first];
        let mut output = Self {
            loads: members.to_vec(),
            channels: load.channels.clone(),
            polarity: load.polarity(),
            per_channel: per_channel(load),
            total_ma: load.total_ma(),
            first: load.bar.id,
        };
        for &at in others {
            let other = per_channel(&loads[at]);
            output.per_channel = output
                .per_channel
                .zip(other)
                .map(|(mine, theirs)| mine.iter().zip(&theirs).map(|(a, b)| a + b).collect());
            output.total_ma = output
                .total_ma
                .zip(loads[at].total_ma())
                .map(|(a, b)| a + b);
            output.first = output.first.min(loads[at].bar.id);
        }
        Some(output)
    }

    /// An output for one load.
    pub(super) fn single(loads: &[Load<'_>], at: usize) -> Option<Self> {
        Self::of(loads, &[at])
    }
}

fn per_channel(load: &Load<'_>) -> Option<Vec<i64>> {
    load.draw
        .as_ref()
        .map(|draw| draw.channels.iter().map(|(_, ma)| *ma).collect())
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
    /// Why it is this one, as a sentence.
    pub(super) why: String,
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

/// Bars of one voltage at one driver's place.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Room {
    pub(super) place: String,
    pub(super) voltage: Voltage,
}

/// Drivers and supplies in use, with what is known of their being the best.
pub(super) struct Powered<'a> {
    pub(super) used: Vec<Used<'a>>,
    pub(super) fed: Fed<'a>,
    /// Units of the house in use.
    pub(super) taken: BTreeSet<ThingId>,
    pub(super) proof: PowerProof,
}

/// The drivers of the catalogue that may be used: the chosen one, where one is.
pub(super) fn driver_parts<'a>(book: &Book<'a>) -> Vec<(PartId, &'a Driver)> {
    let chosen = book.input.design.choices.driver;
    book.of(|spec| match spec {
        PartSpec::Driver(driver) => Some(driver),
        _ => None,
    })
    .into_iter()
    .filter(|(id, _)| chosen.is_none_or(|chosen| chosen == *id))
    .collect()
}

/// Gives every load an output, and every inlet a supply.
pub(super) fn power<'a>(
    book: &Book<'a>,
    loads: &[Load<'_>],
    needs: &mut Needs,
    checks: &mut Checks,
) -> Powered<'a> {
    let asked = Asked::new(book, loads);
    let mut answer = linked::solve(book, &asked.question);
    let stay = stay::keep(&asked, &mut answer);
    let mut taken = BTreeSet::new();
    let (mut used, mut fed) = asked.write(&answer, stay.as_ref(), &mut taken);
    let unserved: Vec<usize> = answer.unserved.clone();
    let before = used.len();
    beyond::drivers(
        book,
        loads,
        &asked.rooms,
        &unserved,
        &mut taken,
        &mut used,
        needs,
        checks,
    );
    in_order(&mut used, &mut fed);
    for driver in &used {
        needs.unit(driver.part, driver.unit.is_some(), "drivers");
    }
    supply::supplies(book, &used, &mut fed, &mut taken, needs, checks);
    bought::tell(&mut used, &mut fed);
    check_drivers(book, loads, &used, &fed, checks);
    let beyond = used.len() - before;
    Powered {
        proof: Asked::proof(&answer, beyond),
        used,
        fed,
        taken,
    }
}

/// Sorts drivers by place and first bar, and supplies by the inlets that they feed.
fn in_order<'a>(used: &mut Vec<Used<'a>>, fed: &mut Fed<'a>) {
    let mut drivers: Vec<(usize, Used<'a>)> = used.drain(..).enumerate().collect();
    drivers.sort_by(|(_, a), (_, b)| (&a.place, a.first()).cmp(&(&b.place, b.first())));
    let place: BTreeMap<usize, usize> = drivers
        .iter()
        .enumerate()
        .map(|(new, (old, _))| (*old, new))
        .collect();
    used.extend(drivers.into_iter().map(|(_, driver)| driver));
    let of: BTreeMap<(usize, u16), Option<usize>> = std::mem::take(&mut fed.of)
        .into_iter()
        .map(|((driver, inlet), supply)| ((place[&driver], inlet), supply))
        .collect();
    let mut supplies: Vec<Option<Source<'a>>> = fed.supplies.drain(..).map(Some).collect();
    let mut renamed: BTreeMap<usize, usize> = BTreeMap::new();
    for (&inlet, supply) in &of {
        let Some(old) = *supply else { continue };
        let new = *renamed.entry(old).or_insert_with(|| {
            fed.supplies.extend(supplies[old].take());
            fed.supplies.len() - 1
        });
        fed.of.insert(inlet, Some(new));
        fed.supplies[new].inlets.push(inlet);
    }
}

/// The question that drivers and supplies answer, and the names of what is in it.
pub(super) struct Asked<'a, 'b> {
    pub(super) book: &'b Book<'a>,
    pub(super) loads: &'b [Load<'b>],
    rooms: Vec<Room>,
    pub(super) drivers: Vec<(PartId, &'a Driver)>,
    /// Supplies; beyond them stands one without a part for rooms that no supply suits.
    pub(super) supplies: Vec<(PartId, &'a Supply)>,
    pub(super) question: Question,
}

impl<'a, 'b> Asked<'a, 'b> {
    fn new(book: &'b Book<'a>, loads: &'b [Load<'b>]) -> Self {
        let room_of = |load: &Load<'_>| Room {
            place: load.bar.feed_place.clone(),
            voltage: load.voltage,
        };
        let rooms: Vec<Room> = loads
            .iter()
            .map(room_of)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect();
        let drivers = driver_parts(book);
        let chosen = book.input.design.choices.supply;
        let supplies: Vec<(PartId, &'a Supply)> = book
            .of(|spec| match spec {
                PartSpec::Supply(supply) => Some(supply),
                _ => None,
            })
            .into_iter()
            .filter(|(id, _)| chosen.is_none_or(|chosen| chosen == *id))
            .collect();
        let mut kinds: Vec<SupplyKind> = supplies
            .iter()
            .map(|&(id, supply)| SupplyKind {
                usable_ma: supply.usable().get(),
                pairs: supply.terminal_pairs.map(u32::from),
                rooms: rooms
                    .iter()
                    .map(|room| chosen.is_some() || supply.voltage_mv == room.voltage)
                    .collect(),
                stock: stock(book, id),
            })
            .collect();
        // Where no supply suits, drivers are planned as if one did.
        let none: Vec<bool> = (0..rooms.len())
            .map(|room| kinds.iter().all(|kind| !kind.rooms[room]))
            .collect();
        let mounted = u32::MAX;
        kinds.push(SupplyKind {
            usable_ma: i64::MAX,
            pairs: None,
            rooms: none,
            stock: Stock {
                mounted,
                ..Stock::default()
            },
        });
        // Loads of one group may share an output: by room, group, colours and side of the common.
        let mut groups = BTreeMap::new();
        let mut of_group: Vec<&Load<'_>> = Vec::new();
        let mut asked: Vec<driven::Load> = Vec::new();
        for load in loads {
            let group = (!load.bar.group.is_empty() && load.draw.is_some()).then(|| {
                let key = (
                    room_of(load),
                    &load.bar.group,
                    load.channels,
                    load.polarity().map(|side| side as u8),
                );
                *groups.entry(key).or_insert_with(|| {
                    of_group.push(load);
                    of_group.len() - 1
                })
            });
            asked.push(driven::Load {
                room: rooms.binary_search(&room_of(load)).unwrap_or(0),
                channels: per_channel(load).unwrap_or_default(),
                total_ma: load.total_ma().unwrap_or(0),
                alone: drivers
                    .iter()
                    .map(|(_, driver)| carries(driver, load))
                    .collect(),
                group,
            });
        }
        // A feed that no fuse fits would break a limit, whatever its driver may take.
        let voltage = loads.iter().map(|load| load.voltage).max();
        let fed_ma = feed::most_of_any(book, voltage.unwrap_or_default());
        let question = Question {
            loads: asked,
            drivers: drivers
                .iter()
                .map(|&(id, driver)| DriverKind {
                    inlets: (driver.inlets.iter())
                        .map(|inlet| u16::try_from(inlet.outputs.len()).unwrap_or(u16::MAX))
                        .collect(),
                    inlet_ma: [driver.inlet_limit_ma.map(Current::get), fed_ma]
                        .into_iter()
                        .flatten()
                        .min(),
                    whole_ma: driver.whole_limit_ma.map(Current::get),
                    isolated: driver.isolation == Isolation::Isolated,
                    shared: of_group
                        .iter()
                        .map(|load| shared(book, driver, load))
                        .collect(),
                    stock: stock(book, id),
                })
                .collect(),
            supplies: kinds,
            feed_um: book.input.venue.feed_um.get(),
        };
        Self {
            book,
            loads,
            rooms,
            drivers,
            supplies,
            question,
        }
    }

    /// The answer in parts and units of the house: those of what stays, or else the next free ones.
    fn write(
        &self,
        answer: &Answer,
        stay: Option<&Stay>,
        taken: &mut BTreeSet<ThingId>,
    ) -> (Vec<Used<'a>>, Fed<'a>) {
        let mut fed = Fed::default();
        let mut place = vec![None; answer.supplies.len()];
        for (at, supply) in answer.supplies.iter().enumerate() {
            let Some(&(part, spec)) = self.supplies.get(supply.kind) else {
                continue;
            };
            let unit = match stay {
                Some(stay) => stay.supplies[at].clone(),
                None => self.unit(part, supply.origin, taken),
            };
            taken.extend(unit.iter().map(|(thing, _)| *thing));
            place[at] = Some(fed.supplies.len());
            fed.supplies.push(Source {
                part,
                spec,
                unit,
                inlets: Vec::new(),
                load_ma: None,
                why: answer.supply_why(at, LOADS),
            });
        }
        let mut used = Vec::new();
        for (at, driver) in answer.drivers.iter().enumerate() {
            let (part, spec) = self.drivers[driver.kind];
            let unit = match stay {
                Some(stay) => stay.drivers[at].clone(),
                None => self.unit(part, driver.origin, taken),
            };
            taken.extend(unit.iter().map(|(thing, _)| *thing));
            let room = &self.rooms[driver.room];
            let mut outputs = BTreeMap::new();
            for (inlet, feed) in driver.feeds.iter().enumerate() {
                let mut numbers = spec.inlets[inlet].outputs.clone();
                numbers.sort_unstable();
                let mine = driver.outputs.iter().filter(|output| output.inlet == inlet);
                for (output, number) in mine.zip(numbers) {
                    outputs.extend(Output::of(self.loads, &output.loads).map(|it| (number, it)));
                }
                if let (Some(supply), Ok(inlet)) =
                    (feed.and_then(|at| place[at]), u16::try_from(inlet + 1))
                {
                    fed.of.insert((used.len(), inlet), Some(supply));
                }
            }
            used.push(Used {
                part,
                spec,
                set_to: unit.as_ref().and_then(|(thing, _)| {
                    self.book
                        .units
                        .iter()
                        .find(|unit| unit.thing == *thing)?
                        .address
                }),
                unit,
                place: room.place.clone(),
                voltage: room.voltage,
                outputs,
                why: answer.driver_why(driver, LOADS),
            });
        }
        (used, fed)
    }

    /// The next free unit of a part from where it is to come.
    fn unit(
        &self,
        part: PartId,
        origin: Origin,
        taken: &BTreeSet<ThingId>,
    ) -> Option<(ThingId, Tag)> {
        let mounted = self.book.mounted_units();
        let unit = self.book.units.iter().find(|unit| {
            let from = if mounted.contains(&unit.thing) {
                Origin::Mounted
            } else {
                Origin::Shelf
            };
            unit.part == part && from == origin && !taken.contains(&unit.thing)
        })?;
        Some((unit.thing, unit.tag.clone()))
    }

    fn proof(answer: &Answer, beyond: usize) -> PowerProof {
        let value = |level: Level| answer.values[level as usize];
        let small = |figure: i128| i64::try_from(figure).unwrap_or(i64::MAX);
        let money = |cost: i128| small(cost % driven::UNPRICED / MINOR);
        let cost = match answer.proofs[Level::Cost as usize] {
            // What costs money and what nobody sells can't be told apart in one figure.
            Proof::Within { bound }
                if bound / driven::UNPRICED != value(Level::Cost) / driven::UNPRICED =>
            {
                Proof::Open {
                    why: Why::StepBudget,
                }
            }
            proof => proof.map(money),
        };
        PowerProof {
            beyond: u32::try_from(beyond).unwrap_or(u32::MAX),
            cost_minor: Money::new(money(value(Level::Cost))).unwrap_or(Money::ZERO),
            unpriced: u32::try_from(value(Level::Cost) / driven::UNPRICED).unwrap_or(u32::MAX),
            cost,
            bought: u32::try_from(value(Level::Bought)).unwrap_or(u32::MAX),
            fewest_bought: answer.proofs[Level::Bought as usize].map(small),
            shortest_cable: answer.proofs[Level::Cable as usize].map(small),
            fewest_taken: answer.proofs[Level::Taken as usize].map(small),
            most_even: answer.proofs[Level::Uneven as usize].map(small),
        }
    }
}

/// A minor unit of money in the unit of [`Book::price`].
const MINOR: i128 = 1_000_000_000;

/// How many of a part are there and what one costs.
fn stock(book: &Book<'_>, part: PartId) -> Stock {
    let mounted = book.mounted_units();
    let (mut on_frames, mut shelf) = (0, 0);
    for unit in book.units.iter().filter(|unit| unit.part == part) {
        *(if mounted.contains(&unit.thing) {
            &mut on_frames
        } else {
            &mut shelf
        }) += 1;
    }
    let sold = book.part(part).is_some_and(|part| !part.retired);
    let price = book.price(part);
    Stock {
        mounted: on_frames,
        shelf,
        buy: sold.then_some(Buy {
            cost: if price == i128::MAX {
                driven::UNPRICED
            } else {
                price
            },
            most: None,
        }),
    }
}

/// Whether an output of a driver carries a load by itself, as far as limits are known.
fn carries(driver: &Driver, load: &Load<'_>) -> bool {
    let fullest = per_channel(load)
        .and_then(|list| list.into_iter().max())
        .unwrap_or(0);
    suits(driver, load.channels, load.voltage, load.polarity())
        && within(driver.channel_limit_ma, fullest) != Some(false)
        && within(driver.output_limit_ma, load.total_ma().unwrap_or(0)) != Some(false)
}

/// Whether a driver fits colours, voltage and side of the common, whatever the currents.
pub(super) fn suits(
    driver: &Driver,
    channels: &Channels,
    voltage: Voltage,
    polarity: Option<Polarity>,
) -> bool {
    usize::from(driver.channels_per_output) >= channels.count()
        && (driver.voltage_min_mv..=driver.voltage_max_mv).contains(&voltage)
        && match (driver.common, polarity) {
            (Some(driver), Some(tape)) => driver == tape,
            _ => true,
        }
}

/// What an output carries at most that loads like this one share: its limits must be known, and
/// some lead that carries the colours must be protected: the chosen one, if one is.
fn shared(book: &Book<'_>, driver: &Driver, load: &Load<'_>) -> Option<Shared> {
    let (channel, output) = (
        driver.channel_limit_ma?.get(),
        driver.output_limit_ma?.get(),
    );
    let chosen = book.input.design.choices.lead;
    let leads = book.of(|spec| match spec {
        PartSpec::Lead(spec) => Some(spec),
        _ => None,
    });
    let wires = leads
        .into_iter()
        .filter(|(id, spec)| match chosen {
            Some(chosen) => chosen == *id,
            None => spec.connector.carries(load.channels) == Some(true),
        })
        .map(|(_, spec)| protected_ma(driver, spec, load.voltage))
        .max();
    Some(Shared {
        channel_ma: channel,
        output_ma: output.min(wires.unwrap_or(i64::MAX)),
    })
}

/// Whether a load is within a limit; `None` where the limit is not known.
pub(super) fn within(limit: Option<Current>, ma: i64) -> Option<bool> {
    limit.map(|limit| ma <= limit.get())
}

/// Checks of drivers against their loads and supplies.
fn check_drivers(
    book: &Book<'_>,
    loads: &[Load<'_>],
    used: &[Used<'_>],
    fed: &Fed<'_>,
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
