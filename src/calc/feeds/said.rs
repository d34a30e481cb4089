//! The answer: what feeds what, in the question's names.

use std::time::Duration;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    milli,
    question::{Asked, feed_um},
    short, used,
};
use crate::plan::{
    answer::Proof,
    driven::{Answer, Level, Origin},
};

/// What is proven: true where nothing can be better without giving up what stands before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each thing is proven or not by itself"
)]
pub struct FeedsProven {
    /// The fewest loads short.
    pub fewest_short: bool,
    /// The least cost.
    pub cost: bool,
    /// The fewest drivers and supplies bought.
    pub fewest_bought: bool,
    /// The fewest inlets in use, which is the shortest cable from supplies to inlets.
    pub shortest_cable: bool,
    /// The fewest drivers and supplies taken of those on hand.
    pub fewest_taken: bool,
    /// The most even loads of the supplies.
    pub most_even: bool,
}

/// An output in use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FeedsOutput {
    /// Which, counted from 1 through all inlets.
    pub output: u32,
    /// Its inlet, counted from 1.
    pub inlet: u32,
    /// What it feeds, by name; a name once for each of several alike.
    pub loads: Vec<String>,
    /// What it carries on all channels.
    pub current_a: f64,
    /// The most that it may carry; `null` where that is not known.
    pub limit_a: Option<f64>,
    /// What is left of that.
    pub margin_a: Option<f64>,
    /// What its fullest channel carries.
    pub channel_a: f64,
    /// The most that a channel may carry; `null` where that is not known.
    pub channel_limit_a: Option<f64>,
}

/// An inlet in use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FeedsInlet {
    /// Which, counted from 1.
    pub inlet: u32,
    /// The supply that feeds it, by its place in `supplies`, counted from 0.
    pub supply: usize,
    /// What it carries.
    pub current_a: f64,
    /// The most that it may carry; `null` where that is not known.
    pub limit_a: Option<f64>,
    /// What is left of that.
    pub margin_a: Option<f64>,
}

/// A driver in use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FeedsUsedDriver {
    /// What it is.
    pub driver: String,
    /// Whether it is bought; otherwise it is one of those on hand.
    pub bought: bool,
    /// Where it feeds.
    pub place: String,
    /// What its supplies give.
    pub voltage_v: f64,
    /// Its outputs in use.
    pub outputs: Vec<FeedsOutput>,
    /// Its inlets in use.
    pub inlets: Vec<FeedsInlet>,
    /// What all of it carries.
    pub current_a: f64,
    /// The most that it may carry; `null` where that is not known.
    pub limit_a: Option<f64>,
    /// What is left of that.
    pub margin_a: Option<f64>,
    /// Why it is this one, as a sentence.
    pub why: String,
}

/// A supply in use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FeedsUsedSupply {
    /// What it is.
    pub supply: String,
    /// Whether it is bought; otherwise it is one of those on hand.
    pub bought: bool,
    /// What it carries.
    pub load_a: f64,
    /// What it may be loaded with.
    pub usable_a: f64,
    /// What is left of that.
    pub margin_a: f64,
    /// Pairs of terminals in use: the inlets that it feeds.
    pub pairs_used: u32,
    /// Why it is this one, as a sentence.
    pub why: String,
}

/// What is bought.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FeedsBought {
    /// The driver or supply.
    pub name: String,
    /// How many.
    pub count: u32,
}

/// Loads that nothing feeds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FeedsShort {
    /// Which.
    pub load: String,
    /// How many of them.
    pub quantity: u32,
    /// Why, as a sentence.
    pub why: String,
}

/// Limits of a driver in use that the document does not give.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FeedsUnchecked {
    /// The driver.
    pub driver: String,
    /// The fields that are left out, such as `output_limit_a`.
    pub limits: Vec<String>,
}

/// What feeds what. Each bound says what no way can be better than, as far as the search came; it is
/// `null` where what stands before it is not proven.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FeedsAnswer {
    /// How many loads nothing feeds.
    pub loads_short: u32,
    /// The fewest that they can be.
    pub loads_short_bound: Option<u32>,
    /// What drivers and supplies cost.
    pub purchase_minor: i64,
    /// The least that they can cost.
    pub purchase_bound_minor: Option<i64>,
    /// Drivers and supplies bought.
    pub units_bought: u32,
    /// The fewest that they can be.
    pub units_bought_bound: Option<u32>,
    /// Inlets in use.
    pub inlets_used: u32,
    /// The fewest that they can be.
    pub inlets_used_bound: Option<u32>,
    /// Drivers and supplies taken of those on hand.
    pub units_taken: u32,
    /// The fewest that they can be.
    pub units_taken_bound: Option<u32>,
    /// The sum of the squared loads of the supplies, each in tenths of an ampere and rounded up: the
    /// less, the more even.
    pub unevenness: i64,
    /// The least that it can be.
    pub unevenness_bound: Option<i64>,
    /// What is proven.
    pub proven: FeedsProven,
    /// Cable from supplies to inlets; `null` where the length of a feed was not given.
    pub cable_m: Option<f64>,
    /// Drivers in use.
    pub drivers: Vec<FeedsUsedDriver>,
    /// Supplies in use.
    pub supplies: Vec<FeedsUsedSupply>,
    /// What is bought.
    pub bought: Vec<FeedsBought>,
    /// Loads that nothing feeds.
    pub short: Vec<FeedsShort>,
    /// What is not known of the drivers in use: nothing was held against it, so look it up.
    pub unchecked: Vec<FeedsUnchecked>,
    /// How long it took, in milliseconds.
    pub elapsed_ms: u64,
}

impl FeedsAnswer {
    pub(super) fn new(asked: &Asked<'_>, answer: &Answer, elapsed: Duration) -> Self {
        let value = |level: Level| answer.values[level as usize];
        let proven = |level: Level| answer.proofs[level as usize].is_proven();
        let bound = |level: Level| match answer.proofs[level as usize] {
            Proof::Proven => Some(value(level)),
            Proof::Within { bound } => Some(bound),
            Proof::Open { .. } => None,
        };
        let inlets = |um: i128| count(um / i128::from(asked.question.feed_um));
        let inlets_used = inlets(value(Level::Cable));
        Self {
            loads_short: count(value(Level::Unserved)),
            loads_short_bound: bound(Level::Unserved).map(count),
            purchase_minor: figure(value(Level::Cost)),
            purchase_bound_minor: bound(Level::Cost).map(figure),
            units_bought: count(value(Level::Bought)),
            units_bought_bound: bound(Level::Bought).map(count),
            inlets_used,
            inlets_used_bound: bound(Level::Cable).map(inlets),
            units_taken: count(value(Level::Taken)),
            units_taken_bound: bound(Level::Taken).map(count),
            unevenness: figure(value(Level::Uneven)),
            unevenness_bound: bound(Level::Uneven).map(figure),
            proven: FeedsProven {
                fewest_short: proven(Level::Unserved),
                cost: proven(Level::Cost),
                fewest_bought: proven(Level::Bought),
                shortest_cable: proven(Level::Cable),
                fewest_taken: proven(Level::Taken),
                most_even: proven(Level::Uneven),
            },
            cable_m: feed_um(asked.body)
                .map(|um| milli::whole(um / 1_000 * i64::from(inlets_used))),
            drivers: answer
                .drivers
                .iter()
                .map(|it| used::driver(asked, answer, it))
                .collect(),
            supplies: (0..answer.supplies.len())
                .map(|at| used::supply(asked, answer, at))
                .collect(),
            bought: bought(asked, answer),
            short: shorts(asked, answer, proven(Level::Unserved)),
            unchecked: unchecked(asked, answer),
            elapsed_ms: u64::try_from(elapsed.as_millis()).unwrap_or(u64::MAX),
        }
    }
}

fn count(value: i128) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}

fn figure(value: i128) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

/// What is bought, in the document's order: drivers, then supplies.
fn bought(asked: &Asked<'_>, answer: &Answer) -> Vec<FeedsBought> {
    let new = |origin: Origin| origin == Origin::Bought;
    let drivers = asked.body.drivers.iter().enumerate().map(|(kind, driver)| {
        let all = answer.drivers.iter();
        let count = all.filter(|it| it.kind == kind && new(it.origin)).count();
        (&driver.name, count)
    });
    let supplies = asked
        .body
        .supplies
        .iter()
        .enumerate()
        .map(|(kind, supply)| {
            let all = answer.supplies.iter();
            let count = all.filter(|it| it.kind == kind && new(it.origin)).count();
            (&supply.name, count)
        });
    drivers
        .chain(supplies)
        .filter(|(_, count)| *count > 0)
        .map(|(name, count)| FeedsBought {
            name: name.clone(),
            count: u32::try_from(count).unwrap_or(u32::MAX),
        })
        .collect()
}

/// Loads that nothing feeds, line by line.
fn shorts(asked: &Asked<'_>, answer: &Answer, proven: bool) -> Vec<FeedsShort> {
    (asked.body.loads.iter().zip(&asked.lines).enumerate())
        .filter_map(|(at, (load, line))| {
            let unfed = answer.unserved.iter();
            let quantity = unfed.filter(|it| asked.line_of[**it] == at).count();
            (quantity > 0).then(|| FeedsShort {
                load: load.name.clone(),
                quantity: u32::try_from(quantity).unwrap_or(u32::MAX),
                why: short::why(asked, line, proven),
            })
        })
        .collect()
}

/// What is not known of the drivers in use, in the document's order.
fn unchecked(asked: &Asked<'_>, answer: &Answer) -> Vec<FeedsUnchecked> {
    let used = |kind: usize| answer.drivers.iter().any(|it| it.kind == kind);
    let drivers = asked.body.drivers.iter().enumerate();
    drivers
        .filter(|(kind, _)| used(*kind))
        .map(|(_, driver)| FeedsUnchecked {
            driver: driver.name.clone(),
            limits: (driver.limits().into_iter())
                .filter(|(_, limit)| limit.is_none())
                .map(|(field, _)| field.to_owned())
                .collect(),
        })
        .filter(|driver| !driver.limits.is_empty())
        .collect()
}
