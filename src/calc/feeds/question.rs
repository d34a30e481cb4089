//! The document in the planner's words: names become places in lists, amperes whole milliamperes.

use std::collections::{BTreeMap, BTreeSet};

use super::{asked::FeedsBody, milli};
use crate::{
    model::part::Isolation,
    plan::driven::{Buy, DriverKind, Load, Question, Shared, Stock, SupplyKind},
};

/// The length of a feed where none is given, in micrometres: any does, since all are alike.
const SOME_FEED_UM: i64 = 1_000_000;

/// A line of loads, in whole thousandths.
pub(super) struct Line<'a> {
    pub(super) place: &'a str,
    pub(super) voltage_mv: i64,
    /// What each channel takes.
    pub(super) channels: Vec<i64>,
    group: Option<&'a str>,
}

impl Line<'_> {
    /// What all channels take.
    pub(super) fn total_ma(&self) -> i64 {
        self.channels.iter().sum()
    }

    /// What the fullest channel takes.
    pub(super) fn fullest_ma(&self) -> i64 {
        self.channels.iter().copied().max().unwrap_or(0)
    }
}

/// A kind of driver, in whole thousandths.
pub(super) struct Limits {
    pub(super) voltage_mv: [i64; 2],
    pub(super) channels: usize,
    pub(super) channel_ma: Option<i64>,
    pub(super) output_ma: Option<i64>,
    pub(super) inlet_ma: Option<i64>,
    pub(super) whole_ma: Option<i64>,
}

impl Limits {
    /// Whether it works at a line's voltage.
    pub(super) fn works_at(&self, line: &Line<'_>) -> bool {
        let [least, most] = self.voltage_mv;
        (least..=most).contains(&line.voltage_mv)
    }

    /// Whether an output carries one load of a line by itself, as far as its limits are known.
    fn carries(&self, line: &Line<'_>) -> bool {
        self.works_at(line)
            && self.channels >= line.channels.len()
            && self.channel_ma.is_none_or(|most| line.fullest_ma() <= most)
            && self.output_ma.is_none_or(|most| line.total_ma() <= most)
    }
}

/// The question, and the places of its loads in the document.
pub(super) struct Asked<'a> {
    pub(super) body: &'a FeedsBody,
    /// The document's lines of loads.
    pub(super) lines: Vec<Line<'a>>,
    /// Its kinds of drivers.
    pub(super) limits: Vec<Limits>,
    /// By load of the question: its line.
    pub(super) line_of: Vec<usize>,
    /// Place and voltage of each room.
    pub(super) rooms: Vec<(&'a str, i64)>,
    pub(super) question: Question,
}

/// What makes a group: lines that differ in one of these share no output.
type Group<'a> = (usize, &'a str, usize);

impl<'a> Asked<'a> {
    /// Reads a document that was checked.
    pub(super) fn new(body: &'a FeedsBody) -> Self {
        let lines: Vec<Line<'a>> = (body.loads.iter())
            .map(|load| Line {
                place: load.place.trim(),
                voltage_mv: milli::down(load.voltage_v),
                channels: load
                    .channels_a
                    .iter()
                    .map(|amps| milli::up(*amps))
                    .collect(),
                group: load.group.as_deref().map(str::trim),
            })
            .collect();
        let limits: Vec<Limits> = (body.drivers.iter())
            .map(|driver| Limits {
                voltage_mv: [driver.voltage_min_v, driver.voltage_max_v].map(milli::down),
                channels: driver.channels_per_output.into(),
                channel_ma: driver.channel_limit_a.map(milli::down),
                output_ma: driver.output_limit_a.map(milli::down),
                inlet_ma: driver.inlet_limit_a.map(milli::down),
                whole_ma: driver.whole_limit_a.map(milli::down),
            })
            .collect();
        let rooms: BTreeSet<(&str, i64)> = lines
            .iter()
            .map(|line| (line.place, line.voltage_mv))
            .collect();
        let rooms: Vec<(&str, i64)> = rooms.into_iter().collect();
        let mut groups: BTreeMap<Group<'a>, usize> = BTreeMap::new();
        let (mut loads, mut line_of) = (Vec::new(), Vec::new());
        for (at, (line, load)) in lines.iter().zip(&body.loads).enumerate() {
            let room = rooms.binary_search(&(line.place, line.voltage_mv));
            let room = room.unwrap_or(0);
            let group = line.group.map(|group| {
                let next = groups.len();
                let key = (room, group, line.channels.len());
                *groups.entry(key).or_insert(next)
            });
            for _ in 0..load.quantity.unwrap_or(1) {
                line_of.push(at);
                loads.push(Load {
                    room,
                    channels: line.channels.clone(),
                    total_ma: line.total_ma(),
                    alone: limits.iter().map(|it| it.carries(line)).collect(),
                    group,
                });
            }
        }
        let drivers = (body.drivers.iter().zip(&limits))
            .map(|(driver, limits)| DriverKind {
                inlets: driver.inlets.clone(),
                inlet_ma: limits.inlet_ma,
                whole_ma: limits.whole_ma,
                isolated: driver.isolated == Isolation::Isolated,
                shared: vec![
                    limits.channel_ma.zip(limits.output_ma).map(
                        |(channel_ma, output_ma)| Shared {
                            channel_ma,
                            output_ma,
                        }
                    );
                    groups.len()
                ],
                stock: stock(driver.on_hand, driver.price_minor, driver.most),
            })
            .collect();
        let supplies = (body.supplies.iter())
            .map(|supply| SupplyKind {
                usable_ma: supply.usable_ma(),
                pairs: supply.terminal_pairs,
                rooms: (rooms.iter())
                    .map(|(_, voltage_mv)| *voltage_mv == milli::down(supply.voltage_v))
                    .collect(),
                stock: stock(supply.on_hand, supply.price_minor, supply.most),
            })
            .collect();
        Self {
            body,
            question: Question {
                loads,
                drivers,
                supplies,
                feed_um: feed_um(body).unwrap_or(SOME_FEED_UM),
            },
            lines,
            limits,
            line_of,
            rooms,
        }
    }
}

/// The length of a feed, in whole micrometres.
pub(super) fn feed_um(body: &FeedsBody) -> Option<i64> {
    body.feed_length_m.map(|length| milli::up(length) * 1_000)
}

fn stock(on_hand: Option<u32>, price: Option<i64>, most: Option<u32>) -> Stock {
    Stock {
        mounted: 0,
        shelf: on_hand.unwrap_or(0),
        buy: price.map(|price| Buy {
            cost: price.into(),
            most,
        }),
    }
}
