//! How stock is written on pages: amounts as big numbers, counts in words, dates as people say them.

use jiff::{Timestamp, tz::TimeZone};

use super::page::Flash;
use crate::{
    model::{
        movement::AccountKind,
        part::StockUnit,
        thing::{Thing, ThingKind},
    },
    stock::Done,
    units::{Date, LengthUnit},
};

/// An amount as a big number with its unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// The number.
    pub value: String,
    /// What it counts; empty for single things.
    pub unit: &'static str,
}

impl std::fmt::Display for Shown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.unit.is_empty() {
            f.write_str(&self.value)
        } else {
            write!(f, "{} {}", self.value, self.unit)
        }
    }
}

/// A total in the part's stock unit: a count, or metres or feet and inches rounded to what one reads
/// at a glance. A single piece shows its own length instead ([`crate::units::Length::show`]).
pub fn total(show: LengthUnit, unit: StockUnit, amount: i64) -> Shown {
    let um = match unit {
        StockUnit::Each => {
            return Shown {
                value: amount.to_string(),
                unit: "",
            };
        }
        StockUnit::Micrometres => i128::from(amount),
        StockUnit::CutUnits(pitch) => {
            i128::from(amount) * i128::from(pitch.um()) / i128::from(pitch.units())
        }
    };
    if !show.metric() {
        let inches = rounded(um, 25_400);
        let (feet, inches) = (inches / 12, inches % 12);
        let value = match (feet, inches) {
            (0, inches) => format!("{inches}\""),
            (feet, 0) => format!("{feet}'"),
            (feet, inches) => format!("{feet}'\u{a0}{}\"", inches.abs()),
        };
        return Shown { value, unit: "" };
    }
    let hundredths = rounded(um, 10_000);
    let (whole, part) = (hundredths / 100, hundredths.abs() % 100);
    let value = match part {
        0 => whole.to_string(),
        part if part % 10 == 0 => format!("{whole}.{}", part / 10),
        part => format!("{whole}.{part:02}"),
    };
    Shown { value, unit: "m" }
}

const fn rounded(value: i128, by: i128) -> i128 {
    (value + by / 2) / by
}

/// `1 piece`, `3 pieces`.
pub fn counted(number: impl TryInto<i64>, one: &str, many: &str) -> String {
    let number: i64 = number.try_into().unwrap_or(i64::MAX);
    format!("{number} {}", if number == 1 { one } else { many })
}

/// A day as one reads it: `5 Mar`, with the year where it is not this one.
pub fn day(date: Date, today: Date) -> String {
    const MONTHS: [&str; 12] = [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ];
    let month = usize::try_from(date.month() - 1)
        .ok()
        .and_then(|month| MONTHS.get(month))
        .unwrap_or(&"?");
    if date.year() == today.year() {
        format!("{} {month}", date.day())
    } else {
        format!("{} {month} {}", date.day(), date.year())
    }
}

/// A moment in the venue's zone: `5 Mar, 14:20`.
pub fn moment(at_ms: i64, zone: &str, today: Date) -> String {
    let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    let at = Timestamp::from_millisecond(at_ms)
        .unwrap_or_default()
        .to_zoned_datetime(zone);
    format!(
        "{}, {:02}:{:02}",
        day(at.date(), today),
        at.hour(),
        at.minute()
    )
}

/// The message after a change of stock: what was done, its undo, and what became of holds by it.
pub fn told(said: &str, done: &Done) -> Flash {
    let mut flash = if done.touched.is_empty() {
        Flash::good(said)
    } else {
        let words: Vec<_> = done
            .touched
            .iter()
            .map(|touched| touched.words.as_str())
            .collect();
        Flash::warn(format!("{said} {}", words.join(" ")))
    };
    if let Some(movement) = done.movement {
        flash = flash.undo(movement);
    }
    flash
}

/// What became of a thing that is no longer there: how to show it, and in a word.
pub const fn gone_mark(thing: &Thing) -> Option<(&'static str, &'static str)> {
    Some(match thing.place.kind {
        AccountKind::Place | AccountKind::Design | AccountKind::Loan | AccountKind::Inside => {
            return None;
        }
        AccountKind::Bench => match thing.kind {
            ThingKind::Piece => ("struck", "cut up"),
            ThingKind::Unit | ThingKind::Fixture | ThingKind::Frame => ("struck", "taken apart"),
        },
        AccountKind::Used => ("struck", "used up"),
        AccountKind::Scrap => ("cancelled", "thrown away"),
        AccountKind::Lost => ("broken", "lost"),
        AccountKind::Adjust => ("struck", "length corrected"),
        AccountKind::World => ("cancelled", "no longer there"),
    })
}

/// How many rows a page of a list shows.
pub const PAGE: i64 = 50;

/// Where one is in a long list: what is shown, and the pages before and after.
#[derive(Debug, Clone)]
pub struct Pager {
    /// `51 to 100`.
    pub text: String,
    /// The page before.
    pub back: Option<super::link::Link>,
    /// The page after.
    pub on: Option<super::link::Link>,
}

impl Pager {
    /// The page asked for, from 1; and its offset.
    pub fn asked(form: &super::form::Form) -> (i64, i64) {
        let page = form
            .value("page")
            .parse::<i64>()
            .unwrap_or(1)
            .clamp(1, 100_000);
        (page, (page - 1) * PAGE)
    }

    /// The pager of a page that shows `shown` rows, with one more known to exist or not; nothing
    /// where there is but one page.
    pub fn new(
        page: i64,
        shown: usize,
        more: bool,
        link: impl Fn(String) -> super::link::Link,
    ) -> Option<Self> {
        let shown = i64::try_from(shown).unwrap_or(PAGE);
        (page > 1 || more).then(|| {
            let first = (page - 1) * PAGE;
            Self {
                text: if shown == 0 {
                    "nothing more".to_owned()
                } else {
                    format!("{} to {}", first + 1, first + shown)
                },
                back: (page > 1).then(|| {
                    link(if page == 2 {
                        String::new()
                    } else {
                        (page - 1).to_string()
                    })
                }),
                on: more.then(|| link((page + 1).to_string())),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CutPitch;

    #[test]
    fn totals_are_read_at_a_glance() {
        let tape = StockUnit::CutUnits(CutPitch::new(3, 50_000).unwrap());
        assert_eq!(total(LengthUnit::Mm, StockUnit::Each, 12).to_string(), "12");
        assert_eq!(total(LengthUnit::Mm, tape, 300).to_string(), "5 m");
        assert_eq!(
            total(LengthUnit::M, StockUnit::Micrometres, 2_450_000).to_string(),
            "2.45 m"
        );
        // More than the longest single length: a total is not one.
        assert_eq!(
            total(LengthUnit::M, StockUnit::Micrometres, 20_000 * 5_000_000).to_string(),
            "100000 m"
        );
        assert_eq!(
            total(LengthUnit::Ft, StockUnit::Micrometres, 3_048_000).to_string(),
            "10'"
        );
        assert_eq!(
            total(LengthUnit::In, StockUnit::Micrometres, 5_000_000).to_string(),
            "16'\u{a0}5\""
        );
        assert_eq!(
            total(LengthUnit::Ft, StockUnit::Micrometres, 76_200).to_string(),
            "3\""
        );
    }

    #[test]
    fn days_name_their_year_where_it_is_another() {
        let today = jiff::civil::date(2026, 3, 5);
        assert_eq!(day(jiff::civil::date(2026, 12, 24), today), "24 Dec");
        assert_eq!(day(jiff::civil::date(2027, 1, 2), today), "2 Jan 2027");
    }
}
