//! Calendar dates and windows of them, both ends included.

use jiff::ToSpan as _;
pub use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::number::quoted;

/// The end of a window that is not known to end.
pub const FOREVER: Date = jiff::civil::date(9999, 12, 31);

/// Why a text is not a date.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DateError {
    /// Nothing was typed.
    #[error("No date was typed. Type one as year-month-day, such as 2026-12-05.")]
    Empty,
    /// The text does not have the form of a date.
    #[error("“{text}” can't be read as a date. Type it as year-month-day, such as 2026-12-05.")]
    Unreadable {
        /// What was typed.
        text: String,
    },
    /// The calendar has no such day.
    #[error("There is no {text} in the calendar. Check the month and the day.")]
    NoSuchDay {
        /// What was typed.
        text: String,
    },
}

/// Reads a date as `2026-12-05` (ISO 8601), and in no other form.
pub fn parse_date(text: &str) -> Result<Date, DateError> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(DateError::Empty);
    }
    let unreadable = || DateError::Unreadable { text: quoted(text) };
    let formed = trimmed.len() == 10
        && trimmed.bytes().enumerate().all(|(at, c)| match at {
            4 | 7 => c == b'-',
            _ => c.is_ascii_digit(),
        });
    if !formed {
        return Err(unreadable());
    }
    trimmed.parse().map_err(|_| DateError::NoSuchDay {
        text: trimmed.to_owned(),
    })
}

/// A span of days, both its first and its last included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "RawWindow")]
pub struct Window {
    /// First day.
    #[schema(value_type = String, format = Date)]
    from: Date,
    /// Last day.
    #[schema(value_type = String, format = Date)]
    to: Date,
}

/// A window as it is sent, before it is checked.
#[derive(Deserialize)]
struct RawWindow {
    from: Date,
    to: Date,
}

impl TryFrom<RawWindow> for Window {
    type Error = WindowError;

    fn try_from(raw: RawWindow) -> Result<Self, Self::Error> {
        Self::new(raw.from, raw.to)
    }
}

/// A window whose days are in the wrong order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("The window ends on {to}, before it begins on {from}. Change one of the dates.")]
pub struct WindowError {
    /// First day given.
    pub from: Date,
    /// Last day given.
    pub to: Date,
}

impl Window {
    /// From one day to another, both included; refused in the wrong order.
    pub fn new(from: Date, to: Date) -> Result<Self, WindowError> {
        if from <= to {
            Ok(Self { from, to })
        } else {
            Err(WindowError { from, to })
        }
    }

    /// First day.
    pub const fn from(&self) -> Date {
        self.from
    }

    /// Last day.
    pub const fn to(&self) -> Date {
        self.to
    }

    /// Whether the day lies in the window.
    pub fn contains(&self, day: Date) -> bool {
        self.from <= day && day <= self.to
    }

    /// Whether the two have a day in common.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.from <= other.to && other.from <= self.to
    }

    /// Whether the two get in each other's way. Where the venue allows one set
    /// to be struck and another built on one day (`same_day_ok`), a last day
    /// that is the other's first day is no overlap. Two windows of the same
    /// single day stay one: neither comes before the other.
    pub fn overlaps_turnaround(&self, other: &Self, same_day_ok: bool) -> bool {
        let turnaround = (self.to == other.from) != (other.to == self.from);
        self.overlaps(other) && !(same_day_ok && turnaround)
    }

    /// Every day of the window, in order.
    pub fn days(&self) -> impl Iterator<Item = Date> + use<> {
        let to = self.to;
        std::iter::successors(Some(self.from), move |day| {
            (*day < to).then(|| day.checked_add(1.day()).ok()).flatten()
        })
    }
}

/// The dates of a set: the day it is built, its get-in, and its strike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "RawShowDates")]
pub struct ShowDates {
    /// The day that building begins and things are held from.
    #[schema(value_type = String, format = Date)]
    build_on: Date,
    /// The day it goes up.
    #[schema(value_type = String, format = Date)]
    get_in: Date,
    /// The day it comes down, the last that things are held.
    #[schema(value_type = String, format = Date)]
    strike_on: Date,
}

/// A set's dates as they are sent, before they are checked.
#[derive(Deserialize)]
struct RawShowDates {
    build_on: Date,
    get_in: Date,
    strike_on: Date,
}

impl TryFrom<RawShowDates> for ShowDates {
    type Error = ShowDatesError;

    fn try_from(raw: RawShowDates) -> Result<Self, Self::Error> {
        Self::new(raw.build_on, raw.get_in, raw.strike_on)
    }
}

/// A set's dates in the wrong order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ShowDatesError {
    /// It would go up before it is built.
    #[error(
        "The get-in on {get_in} is before the build day on {build_on}. Change one of the dates."
    )]
    GetInBeforeBuild {
        /// Build day given.
        build_on: Date,
        /// Get-in given.
        get_in: Date,
    },
    /// It would come down before it goes up.
    #[error("The strike on {strike_on} is before the get-in on {get_in}. Change one of the dates.")]
    StrikeBeforeGetIn {
        /// Get-in given.
        get_in: Date,
        /// Strike given.
        strike_on: Date,
    },
}

impl ShowDates {
    /// The three dates; refused unless build day ≤ get-in ≤ strike.
    pub fn new(build_on: Date, get_in: Date, strike_on: Date) -> Result<Self, ShowDatesError> {
        if get_in < build_on {
            return Err(ShowDatesError::GetInBeforeBuild { build_on, get_in });
        }
        if strike_on < get_in {
            return Err(ShowDatesError::StrikeBeforeGetIn { get_in, strike_on });
        }
        Ok(Self {
            build_on,
            get_in,
            strike_on,
        })
    }

    /// The day that building begins and things are held from.
    pub const fn build_on(&self) -> Date {
        self.build_on
    }

    /// The day it goes up.
    pub const fn get_in(&self) -> Date {
        self.get_in
    }

    /// The day it comes down, the last that things are held.
    pub const fn strike_on(&self) -> Date {
        self.strike_on
    }

    /// From build day to strike: the days that things are held.
    pub const fn window(&self) -> Window {
        Window {
            from: self.build_on,
            to: self.strike_on,
        }
    }
}
