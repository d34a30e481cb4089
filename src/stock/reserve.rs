//! Holding what a plan shows: exactly that, in one transaction, or nothing.
//!
//! A plan is computed from one read of the database, outside of the write transaction. Inside of
//! it the revision tells whether anything was written since; if so, it is planned again. What the
//! person read is known by the plan's digest: where the plan is another now, nothing is held and
//! the new one is answered. Only a [`Checked`] plan can be held.

use std::{collections::BTreeMap, path::Path, sync::Arc};

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use super::{
    Act, Begun, StockError,
    design::{Edit, Edited, edited, name_taken},
    planned::{Planned, changed_since, plan_now, remember},
};
use crate::{
    db::{
        self, DbError, Refusal, WriteTx,
        design::{KeptPlan, LimitReason},
        snapshot::Reads,
    },
    model::{
        design::{Design, State},
        id::{BarId, DesignId, PartId, PurchaseLineId},
        reservation::{Held, HoldUse, NewHold},
    },
    plan::{
        self, Plan,
        available::Rules,
        outcome::{Check, CheckState, PlannedHold},
    },
    units::{Date, FOREVER, Window},
};

/// How often a plan is made anew because something was written meanwhile, before it is made while
/// nobody else can write.
const ATTEMPTS: usize = 3;

/// What became of an attempt to reserve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "became", rename_all = "snake_case")]
pub enum Outcome {
    /// Everything that the plan shows is held.
    Reserved {
        /// The design's version from now on.
        version: i64,
        /// How many holds.
        holds: usize,
        /// Whether something is short.
        short: bool,
    },
    /// The plan is another now; nothing was held.
    Changed {
        /// The new plan.
        plan: Box<Plan>,
        /// Its digest.
        digest: String,
        /// What differs from the plan that was read, in words.
        differences: Vec<String>,
    },
}

/// A plan in which every limit that is broken or not known has a written reason.
#[derive(Debug, Clone)]
pub struct Checked<T>(T);

/// Limits that are broken or not known, and for which no reason is written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}", sentence(.0))]
pub struct Unreasoned(pub Vec<Check>);

fn sentence(checks: &[Check]) -> String {
    let named: Vec<_> = checks
        .iter()
        .map(|check| format!("{}: {}", check.about, check.sentence))
        .collect();
    format!(
        "The plan breaks limits, or cannot show that it keeps them. Nothing was held. Mend them, \
         or write down for each why it is used all the same. {}",
        named.join(" ")
    )
}

impl Checked<Plan> {
    /// Checks that each broken or unknown limit has its reason.
    pub fn new(plan: Plan, reasons: &[LimitReason]) -> Result<Self, Unreasoned> {
        let open: Vec<Check> = unreasoned(&plan, reasons).cloned().collect();
        if open.is_empty() {
            Ok(Self(plan))
        } else {
            Err(Unreasoned(open))
        }
    }

    /// The plan.
    pub const fn plan(&self) -> &Plan {
        &self.0
    }
}

/// The limits of a plan that want a reason and have none.
pub fn unreasoned<'a>(
    plan: &'a Plan,
    reasons: &'a [LimitReason],
) -> impl Iterator<Item = &'a Check> {
    plan.checks
        .iter()
        .filter(|check| check.state <= CheckState::Unknown)
        .filter(|check| reasons.iter().all(|reason| reason.check_key != check.key))
}

/// The days for which a hold of a design stands.
pub fn window_of(design: &Design, becomes: HoldUse) -> Window {
    let window = design.dates.window();
    match becomes {
        HoldUse::Returns => window,
        HoldUse::Consumed => Window::new(window.from(), FOREVER).unwrap_or(window),
    }
}

/// Holds what the plan shows for a draft (or, for a reserved set, again and anew).
///
/// `digest` is that of the plan that the person read; see [`Outcome`] for what becomes of it.
pub async fn reserve(
    act: &Act,
    id: DesignId,
    version: i64,
    digest: &str,
) -> Result<Outcome, StockError> {
    let mut attempt = 0;
    let (mut tx, planned) = loop {
        attempt += 1;
        let planned = plan_now(&act.db, id, act.today).await?;
        let mut tx = match act.begin().await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeat(outcome) => return Ok(outcome),
        };
        let revision = db::venue::revision(&mut tx).await?;
        if revision == planned.revision() {
            break (tx, planned);
        }
        if attempt >= ATTEMPTS {
            let input = db::snapshot::input(&mut tx, id, act.today)
                .await?
                .ok_or(StockError::NotFound("set"))?;
            let planned = Planned::at_once(act.db.file(), revision, input).await;
            break (tx, Arc::new(planned));
        }
    };
    let design = &planned.input.design;
    if design.version != version {
        return Err(StockError::Changed);
    }
    if design.state != State::Reserved {
        design
            .state
            .go(State::Reserved)
            .map_err(|why| StockError::refused(format!("{why} Nothing was changed.")))?;
        if design.state == State::Building {
            return Err(StockError::refused(
                "The bench is at work on this set. Nothing was changed.",
            ));
        }
    }
    if planned.digest != digest {
        let differences = changed_since(digest, &planned);
        remember(&planned);
        return Ok(Outcome::Changed {
            plan: Box::new(Plan::clone(&planned.plan)),
            digest: planned.digest.clone(),
            differences,
        });
    }
    let reasons = db::design::list_reasons(&mut tx, id).await?;
    let checked = Checked::new(Plan::clone(&planned.plan), &reasons)
        .map_err(|why| StockError::refused(why.to_string()))?;
    hold(&mut tx, act, design, &checked, &planned.digest).await?;
    if design.state == State::Draft {
        db::design::change_state(&mut tx, id, State::Reserved).await?;
    }
    let version = version_of(&mut tx, id).await?;
    let outcome = Outcome::Reserved {
        version,
        holds: planned.plan.holds.len(),
        short: planned.plan.is_short(),
    };
    act.finish(tx, outcome).await
}

pub(super) async fn version_of(tx: &mut SqliteConnection, id: DesignId) -> Result<i64, StockError> {
    db::design::lookup_version(tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))
}

/// Makes the holds of a design exactly those of a plan, and keeps the plan.
async fn hold(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    checked: &Checked<Plan>,
    digest: &str,
) -> Result<(), StockError> {
    let plan = checked.plan();
    db::reservation::remove_all(tx, design.id).await?;
    let bars: Vec<BarId> = design.bars.iter().map(|bar| bar.id).collect();
    for planned in &plan.holds {
        let hold = NewHold {
            design: design.id,
            bar: planned.bar.filter(|bar| bars.contains(bar)),
            held: planned.held,
            window: window_of(design, planned.becomes),
            becomes: planned.becomes,
        };
        db::reservation::add(tx, &hold, act.today, &act.who)
            .await
            .map_err(not_to_be_held)?;
    }
    counts_suffice(tx, act, design, &plan.holds).await?;
    let kept = KeptPlan {
        plan: plan.clone(),
        digest: digest.to_owned(),
    };
    db::design::change_plan(tx, design.id, Some(&kept)).await?;
    Ok(())
}

fn not_to_be_held(error: DbError) -> StockError {
    match error {
        DbError::Refused(Refusal::HeldAlready | Refusal::NotThereToHold) => StockError::refused(
            "Something that the plan uses was taken or changed meanwhile. Nothing was held; \
             load the page again to see the new plan.",
        ),
        error => error.into(),
    }
}

/// Refuses when, with the new holds in place, more of a part is held on one of their days than
/// there is, or more rests on an order than is to come.
async fn counts_suffice(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    holds: &[PlannedHold],
) -> Result<(), StockError> {
    let mut asked: BTreeMap<PartId, Vec<(Window, Option<PurchaseLineId>)>> = BTreeMap::new();
    for planned in holds {
        if let Held::Count { part, due, .. } = planned.held {
            asked
                .entry(part)
                .or_default()
                .push((window_of(design, planned.becomes), due));
        }
    }
    if asked.is_empty() {
        return Ok(());
    }
    let venue = db::venue::lookup(tx).await?;
    let rules = Rules {
        today: act.today,
        same_day_turnaround: venue.same_day_turnaround,
    };
    let counted = db::reservation::list_counted(tx, None).await?;
    for (part, windows) in asked {
        let enough = counted.get(&part).is_some_and(|counted| {
            windows.iter().all(|(window, due)| {
                counted.available(*window, rules) >= 0
                    && (due.is_some() || counted.firm(*window, rules) >= 0)
                    && due.is_none_or(|line| counted.resting(line) <= counted.to_come(line))
            })
        });
        if !enough {
            return Err(not_to_be_held(DbError::Refused(Refusal::HeldAlready)));
        }
    }
    Ok(())
}

/// The edited design with its plan, made from one read.
struct Prepared {
    revision: i64,
    old: Design,
    new: Result<Design, StockError>,
    planned: Option<Planned>,
}

async fn prepare(
    file: &Path,
    tx: &mut impl Reads,
    id: DesignId,
    edits: &[Edit],
    today: Date,
) -> Result<Prepared, StockError> {
    let revision = db::venue::revision(tx).await?;
    let old = db::design::lookup(tx, id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let next = db::design::next_ids(tx).await?;
    let new = edited(&old, edits, next);
    let planned = match (&new, old.state) {
        (Ok(new), State::Reserved) => {
            let input = db::snapshot::input_of(tx, new.clone(), today).await?;
            Some(Planned::at_once(file, revision, input).await)
        }
        _ => None,
    };
    Ok(Prepared {
        revision,
        old,
        new,
        planned,
    })
}

/// Edits a design; see [`super::design::change`].
pub(super) async fn edit(
    act: &Act,
    id: DesignId,
    version: i64,
    edits: &[Edit],
) -> Result<Edited, StockError> {
    let file = act.db.file();
    let mut attempt = 0;
    let (mut tx, prepared) = loop {
        attempt += 1;
        let mut read = act.db.read().await?;
        let prepared = prepare(file, &mut read, id, edits, act.today).await?;
        drop(read);
        let mut tx = match act.begin().await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeat(edited) => return Ok(edited),
        };
        if db::venue::revision(&mut tx).await? == prepared.revision {
            break (tx, prepared);
        }
        // A draft's edit holds nothing, so that it needs no second plan: it is made here.
        if attempt >= ATTEMPTS || prepared.old.state != State::Reserved {
            let prepared = prepare(file, &mut tx, id, edits, act.today).await?;
            break (tx, prepared);
        }
    };
    let old = prepared.old;
    if old.version != version {
        return Err(StockError::Changed);
    }
    if !old.state.editable() {
        return Err(StockError::refused(format!(
            "A {} set is not edited any more. Nothing was changed. {}",
            old.state,
            match old.state {
                State::Cancelled => "Make it a draft again first.",
                State::Building =>
                    "Its days can be changed by themselves; for more, while nothing is cut, it can go \
                     back to reserved first.",
                State::Standing =>
                    "Its days can be changed by themselves. Copy it to plan another.",
                _ => "Copy it to plan another.",
            }
        )));
    }
    let new = prepared.new?;
    if !db::design::store(&mut tx, &old, &new)
        .await
        .map_err(name_taken)?
    {
        return Err(StockError::Changed);
    }
    let mut differences = Vec::new();
    if let Some(planned) = prepared.planned {
        let reasons = db::design::list_reasons(&mut tx, id).await?;
        if let Some(before) = db::design::lookup_plan(&mut tx, id).await? {
            differences = plan::differences(&before.plan, &planned.plan, &planned.input.stock);
        }
        let checked = Checked::new(Plan::clone(&planned.plan), &reasons).map_err(|why| {
            StockError::refused(format!(
                "With this edit the reserved plan would break limits. The set and its holds are \
                 as they were. {why}"
            ))
        })?;
        hold(&mut tx, act, &new, &checked, &planned.digest).await?;
    }
    let version = version_of(&mut tx, id).await?;
    let answer = Edited::between(&old, &new, version, differences);
    act.finish(tx, answer).await
}
