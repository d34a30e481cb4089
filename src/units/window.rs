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
#[error(
    "The window ends on {}, before it begins on {}. Change one of the dates.",
    say_day(*.to),
    say_day(*.from)
)]
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

    /// Its days in a sentence; one that never ends only begins.
    pub fn say(&self) -> String {
        if self.to == FOREVER {
            format!("from {}", say_day(self.from))
        } else {
            format!("{} to {}", say_day(self.from), say_day(self.to))
        }
    }

    /// Every day of the window, in order.
    pub fn days(&self) -> impl Iterator<Item = Date> + use<> {
        let to = self.to;
        std::iter::successors(Some(self.from), move |day| {
            (*day < to).then(|| day.checked_add(1.day()).ok()).flatten()
        })
    }
}

/// A day in a sentence, such as `5 Dec 2026`.
pub fn say_day(day: Date) -> String {
    day.strftime("%-d %b %Y").to_string()
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
        "The get-in on {} is before the build day on {}. Change one of the dates.",
        say_day(*.get_in),
        say_day(*.build_on)
    )]
    GetInBeforeBuild {
        /// Build day given.
        build_on: Date,
        /// Get-in given.
        get_in: Date,
    },
    /// It would come down before it goes up.
    #[error(
        "The strike on {} is before the get-in on {}. Change one of the dates.",
        say_day(*.strike_on),
        say_day(*.get_in)
    )]
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

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    fn window(from: Date, to: Date) -> Window {
        match Window::new(from, to) {
            Ok(window) => window,
            Err(error) => panic!("{error}"),
        }
    }

    #[test]
    fn dates_are_read_in_one_form_only() {
        assert_eq!(parse_date(" 2026-12-05 "), Ok(date(2026, 12, 5)));
        assert_eq!(parse_date("2028-02-29"), Ok(date(2028, 2, 29)));
        assert_eq!(parse_date(""), Err(DateError::Empty));
        assert_eq!(
            parse_date("2026-02-29").map_err(|error| error.to_string()),
            Err("There is no 2026-02-29 in the calendar. Check the month and the day.".to_owned())
        );
        for text in [
            "5.12.2026",
            "12/05/2026",
            "20261205",
            "2026-12-5",
            "2026-12-05T10:00",
            "-026-12-05",
            "tomorrow",
        ] {
            assert_eq!(
                parse_date(text),
                Err(DateError::Unreadable {
                    text: text.to_owned()
                }),
                "{text}"
            );
        }
    }

    #[test]
    fn a_window_ends_no_earlier_than_it_begins() {
        let (early, late) = (date(2026, 12, 5), date(2026, 12, 6));
        assert!(Window::new(early, early).is_ok());
        assert_eq!(
            Window::new(late, early).map_err(|error| error.to_string()),
            Err("The window ends on 5 Dec 2026, before it begins on 6 Dec 2026. Change one of the dates.".to_owned())
        );
        let json = r#"{"from":"2026-12-06","to":"2026-12-05"}"#;
        assert!(serde_json::from_str::<Window>(json).is_err());
    }

    #[test]
    fn a_strike_and_anothers_build_day_overlap_unless_the_venue_allows_it() {
        let day = |day| date(2026, 12, day);
        let first = window(day(1), day(5));
        let second = window(day(5), day(9));
        assert!(first.overlaps(&second));
        assert!(first.overlaps_turnaround(&second, false));
        assert!(!first.overlaps_turnaround(&second, true));
        assert!(!second.overlaps_turnaround(&first, true));
        // A single day inside a longer window is not at its edge.
        let inside = window(day(3), day(3));
        assert!(first.overlaps_turnaround(&inside, true));
        assert!(inside.overlaps_turnaround(&first, true));
        // A single day at the edge is a turnaround; the same single day is not.
        let edge = window(day(5), day(5));
        assert!(!first.overlaps_turnaround(&edge, true));
        assert!(edge.overlaps_turnaround(&edge, true));
        assert!(first.overlaps_turnaround(&first, true));
    }

    #[test]
    fn show_dates_in_the_wrong_order_name_the_two() {
        let day = |day| date(2026, 12, day);
        let dates = ShowDates::new(day(1), day(3), day(5));
        assert_eq!(
            dates.map(|dates| dates.window()),
            Ok(window(day(1), day(5)))
        );
        assert!(ShowDates::new(day(1), day(1), day(1)).is_ok());
        assert_eq!(
            ShowDates::new(day(3), day(1), day(5)).map_err(|error| error.to_string()),
            Err("The get-in on 1 Dec 2026 is before the build day on 3 Dec 2026. Change one of the dates.".to_owned())
        );
        assert_eq!(
            ShowDates::new(day(1), day(5), day(3)).map_err(|error| error.to_string()),
            Err("The strike on 3 Dec 2026 is before the get-in on 5 Dec 2026. Change one of the dates.".to_owned())
        );
        let json = r#"{"build_on":"2026-12-01","get_in":"2026-12-05","strike_on":"2026-12-03"}"#;
        assert!(serde_json::from_str::<ShowDates>(json).is_err());
    }

    #[test]
    fn a_window_for_ever_can_be_walked_to_its_end() {
        let end = window(date(9999, 12, 30), FOREVER);
        assert_eq!(end.days().count(), 2);
    }

    fn near_window() -> impl Strategy<Value = Window> {
        (0_i64..40, 0_i64..10).prop_map(|(start, length)| {
            let from = date(2028, 2, 20).saturating_add(start.days());
            window(from, from.saturating_add(length.days()))
        })
    }

    proptest! {
        #[test]
        fn days_are_those_that_the_window_contains(window in near_window()) {
            let days: Vec<Date> = window.days().collect();
            let around = date(2028, 2, 1).series(1.day()).take(100);
            let contained: Vec<Date> = around.filter(|day| window.contains(*day)).collect();
            prop_assert_eq!(days, contained);
        }

        #[test]
        fn overlapping_is_having_a_day_in_common(a in near_window(), b in near_window()) {
            let common = a.days().filter(|day| b.contains(*day)).count();
            prop_assert_eq!(a.overlaps(&b), common > 0);
            prop_assert_eq!(a.overlaps(&b), b.overlaps(&a));
            prop_assert_eq!(a.overlaps_turnaround(&b, false), a.overlaps(&b));
            prop_assert_eq!(a.overlaps_turnaround(&b, true), b.overlaps_turnaround(&a, true));
            // Two days in common are never a turnaround.
            prop_assert!(common < 2 || a.overlaps_turnaround(&b, true));
        }

        #[test]
        fn a_date_comes_back_from_its_text(window in near_window()) {
            prop_assert_eq!(parse_date(&window.from().to_string()), Ok(window.from()));
            let json = serde_json::to_string(&window).unwrap_or_default();
            prop_assert_eq!(serde_json::from_str(&json).ok(), Some(window));
        }
    }
}
