//! Other days for a set that is at work or stands: a run is extended, or ends sooner.
//!
//! What it holds until its strike is held until the new one, in the same transaction. It holds on to
//! things that it has: so nothing is planned again, and where another set holds one of them on one of
//! the days that are added, all of it is refused and says whose it is. Sets that are only planned or
//! reserved get other days by an edit, which plans them anew.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sqlx::SqliteConnection;

use super::{
    Act, Begun, StockError, change::field, design::name_taken, holds::rules, reserve::version_of,
};
use crate::{
    db,
    model::{
        design::{Design, State},
        id::{DesignId, PartId},
        reservation::{Held, Hold, HoldState, HoldUse},
    },
    plan::available::{Claim, Counted, Rules},
    units::{Date, ShowDates, ShowDatesError, Window, say_day},
};

/// Things of one set that a sentence names one by one.
const NAMED: usize = 12;

/// Whether a set can be given other days while what it holds stays the same.
pub const fn may_change(state: State) -> bool {
    matches!(state, State::Building | State::Standing)
}

/// Whether its get-in is still ahead, so that another day can be said for it.
pub fn get_in_ahead(design: &Design, today: Date) -> bool {
    design.dates.get_in() >= today
}

/// What became of a wish for other days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Redated {
    /// The set has them; its version from now on.
    Done(i64),
    /// Other sets hold what it would keep longer: nothing was changed.
    InTheWay {
        /// Those sets.
        sets: Vec<DesignId>,
        /// Who holds what from when, and what to do.
        said: String,
    },
}

/// Gives a set that is at work or stands, as it was at `version`, another get-in and strike.
///
/// Refused with [`StockError::Changed`] when another stored meanwhile.
pub async fn change(
    act: &Act,
    id: DesignId,
    version: i64,
    get_in: Date,
    strike_on: Date,
) -> Result<Redated, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(version) => return Ok(Redated::Done(version)),
    };
    let old = db::design::lookup(&mut tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    if old.version != version {
        return Err(StockError::Changed);
    }
    let dates = checked(&old, get_in, strike_on, act.today)?;
    let new = Design {
        dates,
        ..old.clone()
    };
    let held: Vec<Hold> = db::reservation::list(&mut tx, id)
        .await?
        .into_iter()
        .filter(|hold| hold.state == HoldState::Active && hold.hold.becomes == HoldUse::Returns)
        .collect();
    let before = db::reservation::list_counted(&mut tx, None).await?;
    if !db::design::store(&mut tx, &old, &new)
        .await
        .map_err(name_taken)?
    {
        return Err(StockError::Changed);
    }
    db::reservation::change_last_day(&mut tx, id, strike_on).await?;
    if strike_on > old.dates.strike_on() {
        let rules = rules(&mut tx, act.today).await?;
        let longer = Longer {
            own: id,
            was: old.dates.window(),
            will_be: dates.window(),
            rules,
        };
        let (sets, wanted) = longer.wanted(&mut tx, &held, &before).await?;
        if !wanted.is_empty() {
            return Ok(Redated::InTheWay {
                sets,
                said: format!(
                    "Until {} this set cannot keep all that it holds. {} Nothing was changed. \
                     Choose an earlier strike, or plan the other set again without them first.",
                    say_day(strike_on),
                    wanted.join(" ")
                ),
            });
        }
    }
    let version = version_of(&mut tx, id).await?;
    act.finish(tx, version).await.map(Redated::Done)
}

/// The new days of a set, if they can be had as far as the calendar goes.
fn checked(
    old: &Design,
    get_in: Date,
    strike_on: Date,
    today: Date,
) -> Result<ShowDates, StockError> {
    if !may_change(old.state) {
        return Err(StockError::refused(match old.state {
            State::Draft | State::Reserved => format!(
                "A {} set gets other days where it is described. Nothing was changed.",
                old.state
            ),
            _ => format!(
                "A {} set has no days to come. Nothing was changed.",
                old.state
            ),
        }));
    }
    let dates = ShowDates::new(old.dates.build_on(), get_in, strike_on).map_err(|why| {
        let name = match why {
            ShowDatesError::GetInBeforeBuild { .. } => "get_in",
            ShowDatesError::StrikeBeforeGetIn { .. } => "strike_on",
        };
        field(name, why.to_string())
    })?;
    if get_in != old.dates.get_in() && !get_in_ahead(old, today) {
        return Err(field(
            "get_in",
            format!(
                "The get-in was on {}: that day is over. Nothing was changed.",
                say_day(old.dates.get_in())
            ),
        ));
    }
    if strike_on != old.dates.strike_on() && strike_on < today {
        return Err(field(
            "strike_on",
            format!(
                "{} is over, and the set is still {}. Nothing was changed. Choose today or a later \
                 day.",
                say_day(strike_on),
                old.state
            ),
        ));
    }
    Ok(dates)
}

/// What other sets hold, or would, of things that a set keeps longer.
struct Wanted {
    /// Which set.
    name: String,
    /// Its first day.
    from: Date,
    /// What, in words.
    what: Vec<String>,
}

impl Wanted {
    fn sentence(&self) -> String {
        let (named, more) = self.what.split_at(self.what.len().min(NAMED));
        let more = match more.len() {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        format!(
            "{} holds {}{more} from {}.",
            self.name,
            named.join(", "),
            say_day(self.from)
        )
    }
}

/// A set that keeps longer what it has.
struct Longer {
    own: DesignId,
    was: Window,
    will_be: Window,
    rules: Rules,
}

impl Longer {
    /// Who holds what of it on the days that are added: the sets, and a sentence of each; the database
    /// has the new days already. `before` is what there was of counts with the old ones.
    async fn wanted(
        &self,
        tx: &mut SqliteConnection,
        held: &[Hold],
        before: &HashMap<PartId, Counted>,
    ) -> Result<(Vec<DesignId>, Vec<String>), StockError> {
        let claims = db::reservation::list_claims(&mut *tx, None, None, Some(self.own)).await?;
        let mut wanted: BTreeMap<DesignId, Wanted> = BTreeMap::new();
        let mut parts: BTreeSet<PartId> = BTreeSet::new();
        for hold in held {
            let (thing, from, to) = match hold.hold.held {
                Held::Thing { thing, from, to } => (thing, from, to),
                Held::Count { part, .. } => {
                    parts.insert(part);
                    continue;
                }
            };
            let others: Vec<&Claim> = claims
                .on(thing)
                .iter()
                .filter(|claim| claim.from < to && from < claim.to)
                .filter(|claim| claim.stands_in_the_way(self.will_be, self.rules))
                .collect();
            if others.is_empty() {
                continue;
            }
            let tag = db::reservation::lookup_thing(&mut *tx, thing)
                .await?
                .ok_or(StockError::NotFound("thing"))?
                .tag;
            for claim in others {
                note(&mut wanted, claim, tag.clone());
            }
        }
        let after = db::reservation::list_counted(&mut *tx, None).await?;
        let mut short = Vec::new();
        for part in parts {
            let left = self.left(&after, part, self.will_be);
            // Where there were too few before, that is not for want of these days.
            if left >= 0 || left >= self.left(before, part, self.was) {
                continue;
            }
            let name = db::part::lookup(&mut *tx, part)
                .await?
                .ok_or(StockError::NotFound("part"))?
                .name;
            let others: Vec<&Claim> = after
                .get(&part)
                .map_or(&[][..], |counted| counted.claims.as_slice())
                .iter()
                .filter(|claim| claim.design != self.own)
                .filter(|claim| claim.stands_in_the_way(self.will_be, self.rules))
                .filter(|claim| !claim.stands_in_the_way(self.was, self.rules))
                .collect();
            if others.is_empty() {
                short.push(format!("Of {name} there are too few on one of these days."));
            }
            for claim in others {
                let many = claim.to - claim.from;
                note(&mut wanted, claim, format!("{many} × {name}"));
            }
        }
        let mut sentences: Vec<String> = wanted.values().map(Wanted::sentence).collect();
        sentences.append(&mut short);
        Ok((wanted.into_keys().collect(), sentences))
    }

    /// How much of a part is left on the days of a window, what is only due in counted as it may be.
    fn left(&self, counted: &HashMap<PartId, Counted>, part: PartId, window: Window) -> i64 {
        counted.get(&part).map_or(0, |counted| {
            counted
                .available(window, self.rules)
                .min(counted.firm(window, self.rules))
        })
    }
}

/// Adds to what a set wants, from the earliest day on.
fn note(wanted: &mut BTreeMap<DesignId, Wanted>, claim: &Claim, what: String) {
    let from = claim.window.from();
    let one = wanted.entry(claim.design).or_insert_with(|| Wanted {
        name: claim.name.clone(),
        from,
        what: Vec::new(),
    });
    one.from = one.from.min(from);
    if !one.what.contains(&what) {
        one.what.push(what);
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    #[test]
    fn a_set_that_wants_much_is_told_by_the_first_dozen() {
        let mut wanted = Wanted {
            name: "Harvest Hop".to_owned(),
            from: date(2026, 12, 9),
            what: vec!["F-1".to_owned(), "2 × Terminator".to_owned()],
        };
        assert_eq!(
            wanted.sentence(),
            "Harvest Hop holds F-1, 2 × Terminator from 9 Dec 2026."
        );
        wanted.what = (1..=15).map(|number| format!("F-{number}")).collect();
        assert!(
            wanted
                .sentence()
                .ends_with("F-12 and 3 more from 9 Dec 2026.")
        );
    }
}
