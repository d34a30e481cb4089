//! The venue's own settings.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::Name;
use crate::units::{Currency, Current, Length, LengthUnit, Voltage};

/// Settings of the venue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Venue {
    /// Its name, as printed on sheets.
    pub name: Name,
    /// The unit that lengths are shown in, and that a bare number takes.
    pub length_unit: LengthUnit,
    /// Currency.
    pub currency: Currency,
    /// Whether prices are typed with tax.
    pub prices_include_tax: bool,
    /// IANA name of its time zone.
    pub zone: String,
    /// DMX slots that other lights use, as typed: `1-96, 200`.
    pub slots_taken: String,
    /// Offcuts shorter than this are scrap.
    pub usable_offcut_um: Length,
    /// Spares to buy, in percent of what is short.
    pub spare_percent: u8,
    /// Whether strike and another set's build day may fall on one date.
    pub same_day_turnaround: bool,
    /// Days before the build day by which orders should arrive.
    pub order_slack_days: u16,
    /// Cable from a supply to a driver's inlet, one way; 0 where supplies stand at their drivers.
    #[serde(default = "Venue::usual_feed")]
    pub feed_um: Length,
    /// The mains circuit that the supplies of a set hang on, where one is named.
    #[serde(default)]
    pub mains: Option<Mains>,
    /// What the codes on labels begin with: the address under which phones reach this service, such
    /// as `http://millpond.local:8470`; empty if none is set.
    #[serde(default)]
    pub label_base: String,
    /// Raised by each change.
    pub version: i64,
}

impl Venue {
    /// Longest cable from a supply to a driver that the settings take.
    pub const MOST_FEED: Length = Length::mm(100_000);

    /// A metre: what is planned with until somebody types another length.
    pub const fn usual_feed() -> Length {
        Length::mm(1_000)
    }
}

/// A mains circuit. Only its load is planned: the mains side is for a qualified person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Mains {
    /// Its voltage, 100 to 250 V.
    pub voltage_mv: Voltage,
    /// Rating of its breaker, 1 to 125 A.
    pub breaker_ma: Current,
    /// How far it may be loaded for three hours and more, in percent of the breaker.
    #[schema(minimum = 1, maximum = 100)]
    pub continuous_percent: u8,
}

impl Mains {
    /// Least and most voltage in mV.
    pub const VOLTAGE: [i64; 2] = [100_000, 250_000];
    /// Least and most rating of a breaker in mA.
    pub const BREAKER: [i64; 2] = [1_000, 125_000];
    /// A load of three hours or more: at most 80 % of the breaker (NFPA 70 210.20).
    pub const USUAL_PERCENT: u8 = 80;

    /// The first field that is out of range, by its name in JSON, with what to type instead.
    pub fn wrong(self) -> Option<(&'static str, &'static str)> {
        let outside = |[least, most]: [i64; 2], value: i64| !(least..=most).contains(&value);
        if outside(Self::VOLTAGE, self.voltage_mv.get()) {
            Some((
                "voltage_mv",
                "Type the mains voltage, 100 to 250 V, such as 230 V.",
            ))
        } else if outside(Self::BREAKER, self.breaker_ma.get()) {
            Some((
                "breaker_ma",
                "Type the rating of its breaker, 1 to 125 A, such as 16 A.",
            ))
        } else if !(1..=100).contains(&self.continuous_percent) {
            Some((
                "continuous_percent",
                "Type a percentage from 1 to 100, such as 80.",
            ))
        } else {
            None
        }
    }
}
