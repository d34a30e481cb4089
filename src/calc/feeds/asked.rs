//! The question: a document, and its checks.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::milli;
use crate::{
    calc::document::{Refused, within},
    model::part::Isolation,
};

/// Something that an output feeds, or several alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedsLoad {
    /// What it is called; no two lines alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it runs on, in whole millivolts.
    #[schema(minimum = 1, maximum = 1_000)]
    pub voltage_v: f64,
    /// Where it is fed; loads of two places share no driver and no supply.
    #[serde(default)]
    #[schema(max_length = 120, required = false)]
    pub place: String,
    /// What each of its channels takes at full. Counted in whole milliamperes, rounded up.
    #[schema(min_items = 1, max_items = 8)]
    pub channels_a: Vec<f64>,
    /// Loads of one group do the same: those of one place, voltage and number of channels may share
    /// an output.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 120, nullable = false)]
    pub group: Option<String>,
    /// How many; 1 where it is left out. All lines together at most 500.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 500, nullable = false)]
    pub quantity: Option<u32>,
}

/// A kind of driver. Limits are counted in whole milliamperes, rounded down; one that is left out is
/// not known, and limits nothing but sharing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedsDriver {
    /// What it is called; no two drivers or supplies alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Channels of each output.
    #[schema(minimum = 1, maximum = 8)]
    pub channels_per_output: u8,
    /// How many outputs each inlet feeds, such as `[2, 2, 2, 2]`; 128 outputs in all at most.
    #[schema(min_items = 1, max_items = 128)]
    pub inlets: Vec<u16>,
    /// The least voltage that it works at.
    #[schema(minimum = 1, maximum = 1_000)]
    pub voltage_min_v: f64,
    /// The highest.
    #[schema(minimum = 1, maximum = 1_000)]
    pub voltage_max_v: f64,
    /// What one channel of an output carries.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000, nullable = false)]
    pub channel_limit_a: Option<f64>,
    /// What all channels of an output carry together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000, nullable = false)]
    pub output_limit_a: Option<f64>,
    /// What an inlet carries.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000, nullable = false)]
    pub inlet_limit_a: Option<f64>,
    /// What all of it carries.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000, nullable = false)]
    pub whole_limit_a: Option<f64>,
    /// Whether its inlets are isolated from each other; if not, or if nobody knows, one supply feeds
    /// all of them.
    pub isolated: Isolation,
    /// How many there are already; none where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000, nullable = false)]
    pub on_hand: Option<u32>,
    /// What a further one costs, in minor units of the currency; left out where none can be bought.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000_000, nullable = false)]
    pub price_minor: Option<i64>,
    /// How many can be bought; as many as wanted where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000, nullable = false)]
    pub most: Option<u32>,
}

/// A kind of supply.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedsSupply {
    /// What it is called; no two drivers or supplies alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it gives, in whole millivolts; it feeds loads of the same voltage.
    #[schema(minimum = 1, maximum = 1_000)]
    pub voltage_v: f64,
    /// What it is rated at.
    #[schema(minimum = 0, maximum = 1_000)]
    pub rated_a: f64,
    /// How much of that it may be loaded with, in percent; 80 where it is left out. Counted in whole
    /// milliamperes, rounded down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100, nullable = false)]
    pub usable_percent: Option<u8>,
    /// Pairs of output terminals, each for one inlet; left out where they limit nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100, nullable = false)]
    pub terminal_pairs: Option<u32>,
    /// How many there are already; none where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000, nullable = false)]
    pub on_hand: Option<u32>,
    /// What a further one costs, in minor units of the currency; left out where none can be bought.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000_000, nullable = false)]
    pub price_minor: Option<i64>,
    /// How many can be bought; as many as wanted where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000, nullable = false)]
    pub most: Option<u32>,
}

/// What is to be fed, and what can feed it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedsBody {
    /// What is to be fed.
    #[schema(max_items = 500)]
    pub loads: Vec<FeedsLoad>,
    /// Kinds of drivers.
    #[schema(max_items = 20)]
    pub drivers: Vec<FeedsDriver>,
    /// Kinds of supplies.
    #[schema(max_items = 20)]
    pub supplies: Vec<FeedsSupply>,
    /// The length of cable from a supply to an inlet. All are taken as equally long, so that the
    /// fewest inlets in use need the least cable, whether it is given or not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.001, maximum = 1_000, nullable = false)]
    pub feed_length_m: Option<f64>,
    /// After how many steps of the search the best so far is answered, with what is proven of it;
    /// 200,000 where it is left out. The same steps give the same answer on any machine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000, nullable = false)]
    pub step_limit: Option<u64>,
}

impl FeedsBody {
    /// The most loads, whether in lines or in all.
    pub const MOST_LOADS: u32 = 500;
    /// The most kinds of drivers, and of supplies.
    pub const MOST_KINDS: usize = 20;
    /// The most channels of an output.
    pub const MOST_CHANNELS: usize = 8;
    /// The most outputs of a driver.
    pub const MOST_OUTPUTS: u16 = 128;
    /// The highest current of a channel, in amperes.
    pub const MOST_CHANNEL_A: f64 = 100.0;
    /// The highest voltage, limit and rating, in volts or amperes, and the longest feed in metres.
    pub const MOST: f64 = 1_000.0;
    /// The most pairs of terminals.
    pub const MOST_PAIRS: u32 = 100;
    /// The most units of a kind.
    pub const MOST_UNITS: u32 = 10_000;
    /// The highest price, in minor units.
    pub const MOST_PRICE: i64 = 1_000_000_000;
    /// The most steps of a search.
    pub const MOST_STEPS: u64 = 1_000_000;
    /// The longest name, in characters.
    pub const MOST_NAME: usize = 120;

    /// Refuses what is out of range or does not go together, by its field.
    pub(super) fn check(&self) -> Result<(), Refused> {
        let lines = Self::MOST_LOADS as usize;
        for (list, length, most) in [
            ("/loads", self.loads.len(), lines),
            ("/drivers", self.drivers.len(), Self::MOST_KINDS),
            ("/supplies", self.supplies.len(), Self::MOST_KINDS),
        ] {
            if length > most {
                let detail = format!("Send at most {most}; these are {length}.");
                return Err(Refused::at(list, detail));
            }
        }
        let (mut names, mut all) = (BTreeSet::new(), 0);
        for (index, load) in self.loads.iter().enumerate() {
            let at = |field: &str| format!("/loads/{index}/{field}");
            check_name(&mut names, &load.name, || at("name"))?;
            load.check(at)?;
            all += load.quantity.unwrap_or(1);
            if all > Self::MOST_LOADS {
                let detail = format!("Ask for at most {} loads in all.", Self::MOST_LOADS);
                return Err(Refused::at(at("quantity"), detail));
            }
        }
        let mut names = BTreeSet::new();
        for (index, driver) in self.drivers.iter().enumerate() {
            let at = |field: &str| format!("/drivers/{index}/{field}");
            check_name(&mut names, &driver.name, || at("name"))?;
            driver.check(at)?;
        }
        for (index, supply) in self.supplies.iter().enumerate() {
            let at = |field: &str| format!("/supplies/{index}/{field}");
            check_name(&mut names, &supply.name, || at("name"))?;
            supply.check(at)?;
        }
        if let Some(length) = self.feed_length_m {
            let at = || "/feed_length_m".to_owned();
            within(at, length, 0.001, Self::MOST)?;
        }
        if let Some(steps) = self.step_limit {
            within(|| "/step_limit".to_owned(), steps, 1, Self::MOST_STEPS)?;
        }
        Ok(())
    }
}

impl FeedsLoad {
    fn check(&self, at: impl Fn(&str) -> String) -> Result<(), Refused> {
        check_voltage(|| at("voltage_v"), self.voltage_v, 1.0)?;
        check_length(|| at("place"), &self.place, 0)?;
        let channels = self.channels_a.len();
        if !(1..=FeedsBody::MOST_CHANNELS).contains(&channels) {
            let most = FeedsBody::MOST_CHANNELS;
            let detail = format!("Send the currents of 1 to {most} channels, not of {channels}.");
            return Err(Refused::at(at("channels_a"), detail));
        }
        for (channel, current) in self.channels_a.iter().enumerate() {
            let pointer = || at(&format!("channels_a/{channel}"));
            within(pointer, *current, 0.0, FeedsBody::MOST_CHANNEL_A)?;
        }
        if let Some(group) = &self.group {
            check_length(|| at("group"), group, 1)?;
        }
        if let Some(quantity) = self.quantity {
            within(|| at("quantity"), quantity, 1, FeedsBody::MOST_LOADS)?;
        }
        Ok(())
    }
}

impl FeedsDriver {
    /// Its outputs.
    pub(super) fn outputs(&self) -> u32 {
        self.inlets.iter().map(|outputs| u32::from(*outputs)).sum()
    }

    /// Its limits by their fields.
    pub(super) fn limits(&self) -> [(&'static str, Option<f64>); 4] {
        [
            ("channel_limit_a", self.channel_limit_a),
            ("output_limit_a", self.output_limit_a),
            ("inlet_limit_a", self.inlet_limit_a),
            ("whole_limit_a", self.whole_limit_a),
        ]
    }

    fn check(&self, at: impl Fn(&str) -> String) -> Result<(), Refused> {
        let channels = usize::from(self.channels_per_output);
        let most = FeedsBody::MOST_CHANNELS;
        within(|| at("channels_per_output"), channels, 1, most)?;
        let most = FeedsBody::MOST_OUTPUTS;
        for (inlet, outputs) in self.inlets.iter().enumerate() {
            within(|| at(&format!("inlets/{inlet}")), *outputs, 1, most)?;
        }
        if !(1..=u32::from(most)).contains(&self.outputs()) {
            let detail = format!("Send 1 to {most} outputs in all, not {}.", self.outputs());
            return Err(Refused::at(at("inlets"), detail));
        }
        check_voltage(|| at("voltage_min_v"), self.voltage_min_v, 1.0)?;
        let least = self.voltage_min_v;
        check_voltage(|| at("voltage_max_v"), self.voltage_max_v, least)?;
        for (field, limit) in self.limits() {
            within(|| at(field), limit.unwrap_or(0.0), 0.0, FeedsBody::MOST)?;
        }
        check_stock(at, self.on_hand, self.price_minor, self.most)
    }
}

impl FeedsSupply {
    /// How much of its rating it may be loaded with where nothing is said (common practice, no
    /// source).
    pub const USUAL_PERCENT: u8 = 80;

    /// What it may be loaded with, in mA.
    pub(super) fn usable_ma(&self) -> i64 {
        let percent = i64::from(self.usable_percent.unwrap_or(Self::USUAL_PERCENT));
        milli::down(self.rated_a) * percent / 100
    }

    fn check(&self, at: impl Fn(&str) -> String) -> Result<(), Refused> {
        check_voltage(|| at("voltage_v"), self.voltage_v, 1.0)?;
        within(|| at("rated_a"), self.rated_a, 0.0, FeedsBody::MOST)?;
        let percent = self.usable_percent.unwrap_or(Self::USUAL_PERCENT);
        within(|| at("usable_percent"), percent, 1, 100)?;
        let pairs = self.terminal_pairs.unwrap_or(1);
        within(|| at("terminal_pairs"), pairs, 1, FeedsBody::MOST_PAIRS)?;
        check_stock(at, self.on_hand, self.price_minor, self.most)
    }
}

fn check_stock(
    at: impl Fn(&str) -> String,
    on_hand: Option<u32>,
    price: Option<i64>,
    most: Option<u32>,
) -> Result<(), Refused> {
    let units = FeedsBody::MOST_UNITS;
    within(|| at("on_hand"), on_hand.unwrap_or(0), 0, units)?;
    let price_of = price.unwrap_or(0);
    within(|| at("price_minor"), price_of, 0, FeedsBody::MOST_PRICE)?;
    within(|| at("most"), most.unwrap_or(0), 0, units)?;
    if most.is_some() && price.is_none() {
        let detail = "Send a price_minor too, or no most: without a price none is bought.";
        return Err(Refused::at(at("most"), detail));
    }
    Ok(())
}

fn check_voltage(pointer: impl Fn() -> String, volts: f64, least: f64) -> Result<(), Refused> {
    within(&pointer, volts, least, FeedsBody::MOST)?;
    if milli::thousandths(volts).1 {
        let detail = format!("Send volts with at most three decimals, not {volts}.");
        return Err(Refused::at(pointer(), detail));
    }
    Ok(())
}

fn check_length(pointer: impl FnOnce() -> String, text: &str, least: usize) -> Result<(), Refused> {
    let most = FeedsBody::MOST_NAME;
    if text.chars().count() > most || text.trim().chars().count() < least {
        let detail = format!("Send a name of {least} to {most} characters.");
        return Err(Refused::at(pointer(), detail));
    }
    Ok(())
}

/// Refuses a name that is empty, too long, or taken in its list.
fn check_name<'a>(
    names: &mut BTreeSet<&'a str>,
    name: &'a str,
    pointer: impl Fn() -> String,
) -> Result<(), Refused> {
    check_length(&pointer, name, 1)?;
    if !names.insert(name) {
        let detail = "This name is taken; send another.";
        return Err(Refused::at(pointer(), detail));
    }
    Ok(())
}
