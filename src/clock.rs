//! Time as a parameter: the system's, or a test's that stands still.

use std::{
    sync::{
        Arc,
        atomic::{AtomicI64, Ordering},
    },
    time::{Duration, Instant},
};

use jiff::{Timestamp, tz::TimeZone};

use crate::units::Date;

/// Where 'now' comes from.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's clock.
    System,
    /// A clock that stands until it is set, in milliseconds since 1970 (UTC).
    Set(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that stands at the noon (UTC) of a day.
    pub fn at(day: Date) -> Self {
        let noon = day
            .at(12, 0, 0, 0)
            .to_zoned_datetime(TimeZone::UTC)
            .map_or(0, |zoned| zoned.timestamp().as_millisecond());
        Self::Set(Arc::new(AtomicI64::new(noon)))
    }

    /// Sets a standing clock to the noon of another day; the system's is not ours to set.
    pub fn set(&self, day: Date) {
        if let (Self::Set(mine), Self::Set(other)) = (self, Self::at(day)) {
            mine.store(other.load(Ordering::Relaxed), Ordering::Relaxed);
        }
    }

    /// Milliseconds since 1970 (UTC).
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place where the time comes from"
    )]
    pub fn now_ms(&self) -> i64 {
        match self {
            Self::System => Timestamp::now().as_millisecond(),
            Self::Set(ms) => ms.load(Ordering::Relaxed),
        }
    }

    /// The calendar day in a zone; UTC where the zone is not known.
    pub fn today(&self, zone: &str) -> Date {
        let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
        Timestamp::from_millisecond(self.now_ms())
            .unwrap_or_default()
            .to_zoned_datetime(zone)
            .date()
    }

    /// Where this clock stands before an instant that is over, so that it was set back: that instant in
    /// words. A little is let pass: clocks are put right by themselves.
    pub fn behind(&self, over_ms: i64, zone: &str) -> Option<String> {
        if self.now_ms().saturating_add(SET_RIGHT_MS) >= over_ms {
            return None;
        }
        let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
        let over = Timestamp::from_millisecond(over_ms).ok()?;
        Some(
            over.to_zoned_datetime(zone)
                .strftime("%-d %b %Y, %H:%M")
                .to_string(),
        )
    }
}

/// How far a clock may be put right without a word, in milliseconds.
const SET_RIGHT_MS: i64 = 10 * 60 * 1000;

/// A stopwatch, for how long a calculation may take; no stored time comes from it.
#[derive(Debug, Clone, Copy)]
pub struct Watch(Instant);

impl Watch {
    /// Starts one.
    pub fn start() -> Self {
        Self(Instant::now())
    }

    /// How long ago it was started.
    pub fn elapsed(self) -> Duration {
        self.0.elapsed()
    }
}
