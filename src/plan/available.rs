//! What is free on which days: pure functions over what is there and who holds it.
//!
//! # Contract
//! Available(part, window) is the least over the days *d* of the window of: on hand at *d*, with
//! what is due in by *d*, less all holds that cover *d*. To that belong these rules.
//! - What is out with a set is on hand, and claimed by the set up to its strike day. When that day
//!   has passed and the set is still at work or standing, it stays claimed on every later day:
//!   things are free when they were checked in, not when they should have been.
//! - What is lent out is on hand from its due date on; an overdue loan is not.
//! - Ordered goods are due in on their expected day; late ones have no day and are not.
//! - What is used up is held on every later day: its window ends on [`FOREVER`].
//! - Where the venue allows one set to be struck and another to be built on one day, a last day
//!   that is the other's first day is no overlap.
//! - A piece is held in ranges: each point of it has at most one holder a day.
//!
//! Time is linear in the claims for each day on which a claim begins; days between are not visited.

use std::collections::{BTreeMap, BTreeSet};

use super::input::Freedom;
use crate::{
    model::{
        fixture::Condition,
        id::{DesignId, PurchaseLineId},
    },
    units::{Date, FOREVER, Window, say_day},
};

/// The day, and the venue's rule for strike and build on one date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rules {
    /// The venue's calendar day.
    pub today: Date,
    /// Whether strike and another set's build day may fall on one date.
    pub same_day_turnaround: bool,
}

/// A hold, as it stands in the way of others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Which set holds.
    pub design: DesignId,
    /// Its name.
    pub name: String,
    /// Start of the range; 0 for a count.
    pub from: i64,
    /// End of the range; the amount for a count.
    pub to: i64,
    /// Which days.
    pub window: Window,
    /// Whether the set is at work or standing: then it is over when checked in, not before.
    pub until_back: bool,
    /// The ordered goods on which it rests, if it does.
    pub due: Option<PurchaseLineId>,
}

/// A number that is out with a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Out {
    /// Which set.
    pub design: DesignId,
    /// How many.
    pub amount: i64,
    /// The set's strike day.
    pub until: Date,
}

/// A number that is lent out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lent {
    /// How many.
    pub amount: i64,
    /// When they are due back.
    pub due_on: Date,
}

/// A number that is ordered and has not come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The line of the order.
    pub line: PurchaseLineId,
    /// How many are still to come.
    pub amount: i64,
    /// The expected day.
    pub on: Date,
}

/// What there is of a part that is kept by count, and who holds it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Counted {
    /// In places.
    pub in_places: i64,
    /// Out with sets.
    pub out: Vec<Out>,
    /// Lent out.
    pub lent: Vec<Lent>,
    /// Ordered.
    pub due: Vec<Due>,
    /// Active holds.
    pub claims: Vec<Claim>,
}

/// Whether a span of days stands in the way of a window.
fn in_the_way(span: Window, late: bool, window: Window, rules: Rules) -> bool {
    if late {
        return span.from() <= window.to();
    }
    span.overlaps_turnaround(&window, rules.same_day_turnaround)
}

impl Claim {
    /// Past its last day, and not checked in.
    fn late(&self, rules: Rules) -> bool {
        self.until_back && self.window.to() < rules.today
    }

    /// Whether it stands in the way of a window.
    pub fn stands_in_the_way(&self, window: Window, rules: Rules) -> bool {
        in_the_way(self.window, self.late(rules), window, rules)
    }

    fn covers(&self, day: Date, rules: Rules) -> bool {
        self.window.contains(day) || (self.late(rules) && day >= self.window.from())
    }
}

impl Out {
    fn claimed_on(&self, day: Date, window: Window, rules: Rules) -> bool {
        let late = self.until < rules.today;
        let handed_over = rules.same_day_turnaround && self.until == window.from() && !late;
        late || (day <= self.until && !handed_over)
    }
}

impl Counted {
    /// In places and out, and what is lent and due back by the day.
    fn on_hand(&self, day: Date, rules: Rules) -> i64 {
        let out: i64 = self.out.iter().map(|out| out.amount).sum();
        let lent: i64 = self
            .lent
            .iter()
            .filter(|lent| lent.due_on >= rules.today && lent.due_on <= day)
            .map(|lent| lent.amount)
            .sum();
        self.in_places + out + lent
    }

    fn due_by(&self, day: Date, rules: Rules) -> i64 {
        self.due
            .iter()
            .filter(|due| due.on >= rules.today && due.on <= day)
            .map(|due| due.amount)
            .sum()
    }

    /// Days of the window on which the lowest point can lie: its first, and each on which a claim
    /// begins. On every other day no more is claimed than on the day before, and no less there.
    fn low_days(&self, window: Window) -> BTreeSet<Date> {
        self.claims
            .iter()
            .map(|claim| claim.window.from())
            .filter(|day| window.contains(*day))
            .chain([window.from()])
            .collect()
    }

    /// What the sets claim on a day: what each holds, or has out if that is more.
    fn claimed(&self, day: Date, window: Window, rules: Rules, firm_only: bool) -> i64 {
        let mut sets: BTreeMap<DesignId, (i64, i64)> = BTreeMap::new();
        for claim in &self.claims {
            if (firm_only && claim.due.is_some())
                || !claim.covers(day, rules)
                || !claim.stands_in_the_way(window, rules)
            {
                continue;
            }
            sets.entry(claim.design).or_default().0 += claim.to - claim.from;
        }
        for out in &self.out {
            if out.claimed_on(day, window, rules) {
                sets.entry(out.design).or_default().1 += out.amount;
            }
        }
        sets.values().map(|(held, out)| *held.max(out)).sum()
    }

    /// How many are available on every day of the window, ordered goods counted from their day on.
    /// Below zero when more is held than there is.
    pub fn available(&self, window: Window, rules: Rules) -> i64 {
        self.low_days(window)
            .into_iter()
            .map(|day| {
                self.on_hand(day, rules) + self.due_by(day, rules)
                    - self.claimed(day, window, rules, false)
            })
            .min()
            .unwrap_or(0)
    }

    /// How many are available on every day of the window without any that are only due in.
    /// Holds that rest on ordered goods count only as far as those no longer cover them.
    pub fn firm(&self, window: Window, rules: Rules) -> i64 {
        self.low_days(window)
            .into_iter()
            .map(|day| {
                let mut resting: BTreeMap<PurchaseLineId, i64> = BTreeMap::new();
                for claim in &self.claims {
                    if let Some(line) = claim.due
                        && claim.covers(day, rules)
                        && claim.stands_in_the_way(window, rules)
                    {
                        *resting.entry(line).or_default() += claim.to - claim.from;
                    }
                }
                let uncovered: i64 = resting
                    .into_iter()
                    .map(|(line, held)| (held - self.to_come(line)).max(0))
                    .sum();
                self.on_hand(day, rules) - self.claimed(day, window, rules, true) - uncovered
            })
            .min()
            .unwrap_or(0)
    }

    /// How much of a line of an order is still to come.
    pub fn to_come(&self, line: PurchaseLineId) -> i64 {
        self.due
            .iter()
            .filter(|due| due.line == line)
            .map(|due| due.amount)
            .sum()
    }

    /// What is due in by a day and not held by anybody, line by line, the earliest first.
    pub fn due_free(&self, by: Date, rules: Rules) -> Vec<(PurchaseLineId, i64)> {
        let mut due: Vec<&Due> = self
            .due
            .iter()
            .filter(|due| due.on >= rules.today && due.on <= by)
            .collect();
        due.sort_by_key(|due| (due.on, due.line));
        due.into_iter()
            .filter_map(|due| {
                let held = self.resting(due.line);
                (due.amount > held).then_some((due.line, due.amount - held))
            })
            .collect()
    }

    /// How much is held that rests on a line of an order.
    pub fn resting(&self, line: PurchaseLineId) -> i64 {
        self.claims
            .iter()
            .filter(|claim| claim.due == Some(line))
            .map(|claim| claim.to - claim.from)
            .sum()
    }

    /// Leaves out what a set holds itself.
    pub fn without(mut self, design: DesignId) -> Self {
        self.claims.retain(|claim| claim.design != design);
        for out in self.out.extract_if(.., |out| out.design == design) {
            self.in_places += out.amount;
        }
        self
    }
}

/// Where a thing is, as far as its being free goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum At {
    /// In a place.
    Place,
    /// Out with a set.
    Out {
        /// Which.
        design: DesignId,
        /// Its name.
        name: String,
        /// Its strike day.
        until: Date,
    },
    /// Lent out.
    Lent {
        /// To whom.
        borrower: String,
        /// When it is due back.
        due_on: Date,
    },
    /// In a fixture or on a frame.
    Inside {
        /// Its tag.
        tag: String,
    },
}

/// Why a thing cannot be had in the window apart from holds, if it cannot; `own` is the set that
/// asks.
fn not_there(
    condition: Condition,
    at: &At,
    own: Option<DesignId>,
    window: Window,
    rules: Rules,
) -> Option<String> {
    if condition != Condition::Good {
        return Some(format!("it is {condition}"));
    }
    match at {
        At::Place => None,
        At::Out { design, .. } if Some(*design) == own => None,
        At::Out { name, until, .. } => {
            if *until < rules.today {
                Some(format!(
                    "out with {name}, which was due back on {}",
                    say_day(*until)
                ))
            } else if *until < window.from()
                || (rules.same_day_turnaround && *until == window.from())
            {
                None
            } else {
                Some(format!("out with {name} until {}", say_day(*until)))
            }
        }
        At::Lent { borrower, due_on } => {
            if *due_on < rules.today {
                Some(format!(
                    "lent to {borrower}, due back on {} and late",
                    say_day(*due_on)
                ))
            } else if *due_on <= window.from() {
                None
            } else {
                Some(format!("lent to {borrower} until {}", say_day(*due_on)))
            }
        }
        At::Inside { tag } => Some(format!("it is part of {tag}")),
    }
}

/// Whether a thing is free on every day of the window for the set `own` (or for anybody); `claims`
/// are the active holds on it.
pub fn freedom<'a>(
    condition: Condition,
    at: &At,
    claims: impl IntoIterator<Item = &'a Claim>,
    own: Option<DesignId>,
    window: Window,
    rules: Rules,
) -> Freedom {
    if let Some(why) = not_there(condition, at, own, window, rules) {
        return Freedom::Not(why);
    }
    claims
        .into_iter()
        .filter(|claim| Some(claim.design) != own)
        .find(|claim| claim.stands_in_the_way(window, rules))
        .map_or(Freedom::Free, |claim| Freedom::Not(held_by(claim, rules)))
}

/// `held for … until …`.
pub fn held_by(claim: &Claim, rules: Rules) -> String {
    let (name, last) = (&claim.name, claim.window.to());
    if claim.late(rules) {
        format!("with {name}, which was due back on {}", say_day(last))
    } else if last == FOREVER {
        format!("held for {name}, which uses it up")
    } else {
        format!("held for {name} until {}", say_day(last))
    }
}

/// The ranges of a piece of `amount` that are free on every day of the window, in order.
pub fn free_ranges<'a>(
    amount: i64,
    condition: Condition,
    at: &At,
    claims: impl IntoIterator<Item = &'a Claim>,
    own: Option<DesignId>,
    window: Window,
    rules: Rules,
) -> Vec<(i64, i64)> {
    if amount <= 0 || not_there(condition, at, own, window, rules).is_some() {
        return Vec::new();
    }
    let mut taken: Vec<(i64, i64)> = claims
        .into_iter()
        .filter(|claim| Some(claim.design) != own && claim.stands_in_the_way(window, rules))
        .map(|claim| (claim.from, claim.to))
        .collect();
    taken.sort_unstable();
    let mut free = Vec::new();
    let mut at = 0;
    for (from, to) in taken {
        if from > at {
            free.push((at, from.min(amount)));
        }
        at = at.max(to);
        if at >= amount {
            return free;
        }
    }
    free.push((at, amount));
    free
}
