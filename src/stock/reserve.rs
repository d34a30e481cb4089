//! Holding what a plan shows: exactly that, in one transaction, or nothing.
//!
//! A plan is computed from one read of the database, outside of the write transaction. Inside of
//! it the revision tells whether anything was written since; if so, it is planned again. What the
//! person read is known by the plan's digest: where the plan is another now, nothing is held and
//! the new one is answered. Only a [`Checked`] plan can be held.

use std::{
    collections::{BTreeMap, VecDeque},
    path::PathBuf,
    sync::{Arc, Mutex, PoisonError},
};

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use super::{
    Act, Begun, StockError,
    design::{Edit, Edited, edited, name_taken},
};
use crate::{
    db::{
        self, Db, DbError, Refusal, WriteTx,
        design::{KeptPlan, LimitReason},
    },
    model::{
        design::{Design, State},
        id::{BarId, DesignId, PartId, PurchaseLineId},
        reservation::{Held, HoldUse, NewHold},
    },
    plan::{
        self, Input, Plan,
        available::Rules,
        other::Other,
        outcome::{Check, CheckState, PlannedHold},
    },
    units::{Date, FOREVER, Window},
};

/// How often a plan is made anew because something was written meanwhile, before it is made while
/// nobody else can write.
const ATTEMPTS: usize = 3;

/// Sets whose latest plan is kept in memory with what it was made from, for the tabs of its pages.
const REMEMBERED: usize = 32;

/// Plans kept to tell what changed since one was read: of one set, and in all.
const READ_OF_ONE: usize = 8;
const READ_IN_ALL: usize = 256;

/// Other ways that are kept with one plan.
const MOST_OTHERS: usize = 16;

/// A plan with what it was made from.
#[derive(Debug)]
pub struct Planned {
    file: PathBuf,
    /// The state of the database that it was made from.
    pub revision: i64,
    /// What it was made from.
    pub input: Input,
    /// The plan.
    pub plan: Plan,
    /// Its digest, to be sent back when it is reserved.
    pub digest: String,
    /// The same set planned another way, as far as it was asked for.
    others: Mutex<Vec<(Other, Arc<Plan>)>>,
}

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

static SHOWN: Mutex<VecDeque<Arc<Planned>>> = Mutex::new(VecDeque::new());

/// A plan that somebody may have read.
struct Read {
    file: PathBuf,
    design: DesignId,
    digest: String,
    plan: Plan,
}

static READ: Mutex<VecDeque<Read>> = Mutex::new(VecDeque::new());

fn remember(planned: &Arc<Planned>) {
    let (file, id) = (&planned.file, planned.input.design.id);
    {
        let mut shown = SHOWN.lock().unwrap_or_else(PoisonError::into_inner);
        shown.retain(|it| it.input.design.id != id || it.file != *file);
        if shown.len() >= REMEMBERED {
            shown.pop_front();
        }
        shown.push_back(planned.clone());
    }
    // One busy set does not push out what was read of the others.
    let mut read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    read.retain(|it| it.design != id || it.digest != planned.digest || it.file != *file);
    let mine = |it: &Read| it.design == id && it.file == *file;
    if read.iter().filter(|it| mine(it)).count() >= READ_OF_ONE {
        let oldest = read.iter().position(mine);
        oldest.and_then(|at| read.remove(at));
    } else if read.len() >= READ_IN_ALL {
        read.pop_front();
    }
    read.push_back(Read {
        file: file.clone(),
        design: id,
        digest: planned.digest.clone(),
        plan: planned.plan.clone(),
    });
}

/// What differs from the plan that was read, in words.
fn changed_since(digest: &str, now: &Planned) -> Vec<String> {
    let read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    let id = now.input.design.id;
    let found = read
        .iter()
        .find(|it| it.design == id && it.digest == digest && it.file == now.file);
    match found {
        Some(read) => plan::differences(&read.plan, &now.plan, &now.input.stock),
        None => vec!["The stock or the set has changed since this plan was read.".to_owned()],
    }
}

fn recall(wanted: impl Fn(&Planned) -> bool) -> Option<Arc<Planned>> {
    SHOWN
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .iter()
        .rev()
        .find(|planned| wanted(planned))
        .cloned()
}

async fn made(file: PathBuf, revision: i64, input: Input) -> Planned {
    let work = tokio::task::spawn_blocking(move || {
        let plan = plan::plan(&input);
        let digest = plan.digest();
        Planned {
            file,
            revision,
            input,
            plan,
            digest,
            others: Mutex::default(),
        }
    });
    match work.await {
        Ok(planned) => planned,
        Err(error) => std::panic::resume_unwind(error.into_panic()),
    }
}

/// Plans a design as it is stored now; kept in memory until something is written.
pub async fn plan_now(db: &Db, id: DesignId, today: Date) -> Result<Arc<Planned>, StockError> {
    let mut tx = db.read().await?;
    let revision = db::venue::revision(&mut tx).await?;
    if let Some(known) = recall(|it| {
        it.revision == revision
            && it.input.design.id == id
            && it.input.today == today
            && it.file == db.file()
    }) {
        return Ok(known);
    }
    let input = db::snapshot::input(&mut tx, id, today)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    drop(tx);
    let planned = Arc::new(made(db.file().to_owned(), revision, input).await);
    remember(&planned);
    Ok(planned)
}

/// The same set planned other ways, in the order asked; `None` where one names something that is
/// not there. What was worked out is kept with the plan.
pub async fn other_ways(planned: &Arc<Planned>, asked: Vec<Other>) -> Vec<Option<Arc<Plan>>> {
    let planned = planned.clone();
    let work = tokio::task::spawn_blocking(move || {
        asked
            .into_iter()
            .map(|other| planned.other(&other))
            .collect()
    });
    match work.await {
        Ok(plans) => plans,
        Err(error) => std::panic::resume_unwind(error.into_panic()),
    }
}

impl Planned {
    fn other(&self, asked: &Other) -> Option<Arc<Plan>> {
        let known = || {
            let others = self.others.lock();
            others.unwrap_or_else(PoisonError::into_inner)
        };
        if let Some((_, plan)) = known().iter().find(|(other, _)| other == asked) {
            return Some(plan.clone());
        }
        let plan = Arc::new(plan::plan(&asked.ask(&self.input)?));
        let mut known = known();
        if known.len() < MOST_OTHERS {
            known.push((asked.clone(), plan.clone()));
        }
        Some(plan)
    }
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
        if revision == planned.revision {
            break (tx, planned);
        }
        if attempt >= ATTEMPTS {
            let input = db::snapshot::input(&mut tx, id, act.today)
                .await?
                .ok_or(StockError::NotFound("set"))?;
            let planned = made(act.db.file().to_owned(), revision, input).await;
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
            plan: Box::new(planned.plan.clone()),
            digest: planned.digest.clone(),
            differences,
        });
    }
    let reasons = db::design::list_reasons(&mut tx, id).await?;
    let checked = Checked::new(planned.plan.clone(), &reasons)
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
    file: PathBuf,
    tx: &mut SqliteConnection,
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
            Some(made(file, revision, input).await)
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
    let file = act.db.file().to_owned();
    let mut attempt = 0;
    let (mut tx, prepared) = loop {
        attempt += 1;
        let mut read = act.db.read().await?;
        let prepared = prepare(file.clone(), &mut read, id, edits, act.today).await?;
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
            let prepared = prepare(file.clone(), &mut tx, id, edits, act.today).await?;
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
                State::Building => "While nothing is cut it can go back to reserved first.",
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
        let checked = Checked::new(planned.plan, &reasons).map_err(|why| {
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
