//! Failed attempts to sign in, counted so that guessing is slow. Nobody is ever locked out: each
//! further attempt waits, at most a minute, and the command line needs none.

use std::{
    collections::HashMap,
    sync::{Mutex, PoisonError},
};

/// What is counted, with how many failures are free and how long the longest wait is, in seconds.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Of {
    /// One name from one address.
    Both(String, String),
    /// Any name from one address.
    Address(String),
    /// One name from any address. Its wait is short, so that strangers can't keep its owner out.
    Name(String),
}

impl Of {
    const fn limits(&self) -> (u32, u64) {
        match self {
            Self::Both(..) => (5, 60),
            Self::Address(_) => (20, 60),
            Self::Name(_) => (50, 5),
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Failures {
    count: u32,
    last_ms: i64,
}

/// After so long without a failure, all is forgotten.
const FORGET_MS: i64 = 3_600_000;
/// The most that is counted at once.
const MOST: usize = 10_000;

/// Failed attempts.
#[derive(Debug, Default)]
pub struct Attempts(Mutex<HashMap<Of, Failures>>);

fn counted(address: &str, name: &str) -> [Of; 3] {
    let name = name.trim().to_lowercase();
    [
        Of::Both(address.to_owned(), name.clone()),
        Of::Address(address.to_owned()),
        Of::Name(name),
    ]
}

impl Attempts {
    fn all(&self) -> std::sync::MutexGuard<'_, HashMap<Of, Failures>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Seconds that the next attempt must wait; nought where it may be made.
    pub fn wait(&self, address: &str, name: &str, now_ms: i64) -> u64 {
        let all = self.all();
        let waits = counted(address, name).into_iter().map(|of| {
            let Some(failures) = all.get(&of) else {
                return 0;
            };
            let (free, longest) = of.limits();
            let beyond = failures.count.saturating_sub(free);
            if beyond == 0 {
                return 0;
            }
            let wait = 2_u64.saturating_pow(beyond.min(16)).min(longest);
            let since = now_ms
                .saturating_sub(failures.last_ms)
                .max(0)
                .unsigned_abs();
            (wait * 1_000).saturating_sub(since).div_ceil(1_000)
        });
        waits.max().unwrap_or(0)
    }

    /// One more failed.
    pub fn failed(&self, address: &str, name: &str, now_ms: i64) {
        let mut all = self.all();
        if all.len() + 3 > MOST {
            all.retain(|_, failures| now_ms - failures.last_ms < FORGET_MS);
            if all.len() + 3 > MOST {
                all.clear();
            }
        }
        for of in counted(address, name) {
            let failures = all.entry(of).or_insert(Failures {
                count: 0,
                last_ms: now_ms,
            });
            if now_ms - failures.last_ms >= FORGET_MS {
                failures.count = 0;
            }
            failures.count = failures.count.saturating_add(1);
            failures.last_ms = now_ms;
        }
    }

    /// One passed: what failed before from there under that name is forgotten.
    pub fn passed(&self, address: &str, name: &str) {
        let [both, _, _] = counted(address, name);
        self.all().remove(&both);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn guessing_gets_slow_and_nobody_is_locked_out() {
        let attempts = Attempts::default();
        let mut now = 0;
        for _ in 0..5 {
            assert_eq!(attempts.wait("10.0.0.9", "Ada", now), 0);
            attempts.failed("10.0.0.9", "ada ", now);
        }
        attempts.failed("10.0.0.9", "ADA", now);
        assert_eq!(attempts.wait("10.0.0.9", "Ada", now), 2);
        now += 2_000;
        assert_eq!(attempts.wait("10.0.0.9", "Ada", now), 0);
        for _ in 0..40 {
            attempts.failed("10.0.0.9", "Ada", now);
        }
        assert_eq!(attempts.wait("10.0.0.9", "Ada", now), 60);
        // From the same address any name waits by now; from another one Ada does not.
        assert_eq!(attempts.wait("10.0.0.9", "Ben", now), 60);
        assert_eq!(attempts.wait("10.0.0.8", "Ada", now), 0);
        for other in 0..30 {
            attempts.failed(&format!("10.0.1.{other}"), "Ada", now);
        }
        // Guessed from everywhere, its owner waits seconds, not for good.
        assert_eq!(attempts.wait("10.0.0.8", "Ada", now), 5);
        attempts.passed("10.0.0.9", "Ada");
        now += 60_000;
        assert_eq!(attempts.wait("10.0.0.9", "Ada", now), 0);
    }

    #[test]
    fn what_is_counted_is_bounded() {
        let attempts = Attempts::default();
        for number in 0..20_000 {
            attempts.failed(&number.to_string(), "Ada", 0);
        }
        assert!(attempts.all().len() <= MOST);
    }
}
