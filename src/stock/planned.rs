//! Plans as they are shown: made at the desk, each once, and kept in memory as long as what they were
//! made from is the same.

use std::{
    collections::VecDeque,
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicI64, Ordering},
    },
};

use futures_util::{
    FutureExt as _,
    future::{BoxFuture, Shared, WeakShared},
};

use super::{
    StockError,
    desk::{self, Crowded, Wanted},
};
use crate::{
    db::{self, Db, ReadTx},
    model::id::DesignId,
    plan::{self, Input, Plan, other::Other, rests::Rests},
    units::Date,
};

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
    /// The latest state of the database that it is known to be of.
    revision: AtomicI64,
    /// What it was made from.
    pub input: Input,
    /// The plan.
    pub plan: Arc<Plan>,
    /// What it rests on of where pieces lie.
    rests: Arc<Rests>,
    /// Its digest, to be sent back when it is reserved.
    pub digest: String,
    /// The same set planned another way, as far as it was asked for.
    others: Mutex<Vec<(Other, Arc<Plan>)>>,
}

static SHOWN: Mutex<VecDeque<Arc<Planned>>> = Mutex::new(VecDeque::new());

/// A plan that somebody may have read.
struct Read {
    file: PathBuf,
    design: DesignId,
    digest: String,
    plan: Arc<Plan>,
}

static READ: Mutex<VecDeque<Read>> = Mutex::new(VecDeque::new());

pub(super) fn remember(planned: &Arc<Planned>) {
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
pub(super) fn changed_since(digest: &str, now: &Planned) -> Vec<String> {
    let read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    let id = now.input.design.id;
    let found = read
        .iter()
        .find(|it| it.design == id && it.digest == digest && it.file == now.file);
    match found {
        Some(read) => {
            let mut said = plan::differences(&read.plan, &now.plan, &now.input.stock);
            if said.is_empty() {
                said.push(
                    "What the set takes is the same; what is free around it is another now."
                        .to_owned(),
                );
            }
            said
        }
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

/// A plan that is being made, for everybody who asks for it meanwhile. Once the last of them is gone
/// it is called off.
type Making = Shared<BoxFuture<'static, Result<Arc<Planned>, Crowded>>>;

#[derive(Debug, Clone, PartialEq, Eq)]
struct Of {
    file: PathBuf,
    revision: i64,
    design: DesignId,
    today: Date,
}

struct Underway {
    of: Of,
    making: WeakShared<BoxFuture<'static, Result<Arc<Planned>, Crowded>>>,
}

static UNDERWAY: Mutex<Vec<Underway>> = Mutex::new(Vec::new());

fn underway(all: &mut Vec<Underway>, of: &Of) -> Option<Making> {
    all.retain(|one| one.making.upgrade().is_some());
    let one = all.iter().find(|one| one.of == *of)?;
    one.making.upgrade()
}

fn begin(all: &mut Vec<Underway>, of: Of, input: Input) -> Making {
    let making = make(of.clone(), input).boxed().shared();
    if let Some(weak) = making.downgrade() {
        all.push(Underway { of, making: weak });
    }
    making
}

async fn make(of: Of, input: Input) -> Result<Arc<Planned>, Crowded> {
    let made = desk::work(move |wanted| {
        let Of { file, revision, .. } = of;
        Planned::make(file, revision, input, wanted)
    });
    // Called off is only what nobody waits for.
    let planned = Arc::new(made.await?.ok_or(Crowded)?);
    remember(&planned);
    Ok(planned)
}

/// The state of the database, with what is known of a set's plan in it.
async fn known(
    tx: &mut ReadTx,
    file: &Path,
    design: DesignId,
    today: Date,
) -> Result<(Of, Option<Making>), StockError> {
    let of = Of {
        file: file.to_owned(),
        revision: db::venue::revision(tx).await?,
        design,
        today,
    };
    let making = match recall(|it| it.is(&of)) {
        Some(known) => Some(async { Ok(known) }.boxed().shared()),
        None => underway(
            &mut UNDERWAY.lock().unwrap_or_else(PoisonError::into_inner),
            &of,
        ),
    };
    Ok((of, making))
}

/// Plans a design as it is stored now; kept in memory until something is written that it rests on.
pub async fn plan_now(db: &Db, id: DesignId, today: Date) -> Result<Arc<Planned>, StockError> {
    let (_, found) = known(&mut db.read().await?, db.file(), id, today).await?;
    if let Some(making) = found {
        return Ok(making.await?);
    }
    let turn = desk::turn_to_read().await?;
    let mut tx = db.read().await?;
    // While this one waited, somebody may have begun, or something been written.
    let (of, found) = known(&mut tx, db.file(), id, today).await?;
    if let Some(making) = found {
        drop((tx, turn));
        return Ok(making.await?);
    }
    let input = db::snapshot::input(&mut tx, id, today)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    drop(tx);
    if let Some(known) = recall(|it| it.input.design.id == id && it.file == of.file) {
        // Something was written, and nothing that this set is planned from.
        if known.input == input {
            known.revision.fetch_max(of.revision, Ordering::Relaxed);
            return Ok(known);
        }
        // Or nothing that its plan rests on: pieces lie elsewhere.
        if known.rests.hold(&known.input, &input) {
            let planned = Arc::new(known.again(of.revision, input));
            remember(&planned);
            return Ok(planned);
        }
    }
    let making = begin(
        &mut UNDERWAY.lock().unwrap_or_else(PoisonError::into_inner),
        of,
        input,
    );
    // Whoever reads next finds it begun.
    drop(turn);
    Ok(making.await?)
}

/// The same set planned other ways, in the order asked; `None` where one names something that is
/// not there. What was worked out is kept with the plan.
pub async fn other_ways(
    planned: &Arc<Planned>,
    asked: Vec<Other>,
) -> Result<Vec<Option<Arc<Plan>>>, StockError> {
    let planned = planned.clone();
    let plans = desk::work(move |wanted| {
        asked
            .into_iter()
            .map(|other| planned.other(&other, wanted))
            .collect()
    });
    Ok(plans.await?)
}

impl Planned {
    /// The latest state of the database that it is known to be of.
    pub fn revision(&self) -> i64 {
        self.revision.load(Ordering::Relaxed)
    }

    fn is(&self, of: &Of) -> bool {
        self.revision() == of.revision
            && self.input.design.id == of.design
            && self.input.today == of.today
            && self.file == of.file
    }

    /// `None` where it was called off.
    fn make(file: PathBuf, revision: i64, input: Input, wanted: &Wanted) -> Option<Self> {
        let made = plan::plan_resting(&input, &|| wanted.still())?;
        Some(Self::of(file, revision, input, made))
    }

    fn of(file: PathBuf, revision: i64, input: Input, (plan, rests): (Plan, Rests)) -> Self {
        let digest = plan.digest();
        Self {
            file,
            revision: AtomicI64::new(revision),
            input,
            plan: Arc::new(plan),
            rests: Arc::new(rests),
            digest,
            others: Mutex::default(),
        }
    }

    /// The same plan of another input, which differs in nothing that it rests on.
    fn again(&self, revision: i64, input: Input) -> Self {
        Self {
            file: self.file.clone(),
            revision: AtomicI64::new(revision),
            input,
            plan: self.plan.clone(),
            rests: self.rests.clone(),
            digest: self.digest.clone(),
            others: Mutex::default(),
        }
    }

    /// Plans without waiting for a turn, for who keeps everybody else from writing.
    pub(super) async fn at_once(file: &Path, revision: i64, input: Input) -> Self {
        let file = file.to_owned();
        desk::at_once(move || {
            let made = plan::plan_resting(&input, &|| true);
            let made = made.unwrap_or_else(|| unreachable!("it is wanted to its end"));
            Self::of(file, revision, input, made)
        })
        .await
    }

    fn other(&self, asked: &Other, wanted: &Wanted) -> Option<Arc<Plan>> {
        let known = || {
            let others = self.others.lock();
            others.unwrap_or_else(PoisonError::into_inner)
        };
        if let Some((_, plan)) = known().iter().find(|(other, _)| other == asked) {
            return Some(plan.clone());
        }
        let asks = asked.ask(&self.input)?;
        let plan = Arc::new(plan::plan_while(&asks, &|| wanted.still())?);
        let mut known = known();
        if known.len() < MOST_OTHERS {
            known.push((asked.clone(), plan.clone()));
        }
        Some(plan)
    }
}
