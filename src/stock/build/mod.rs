//! The bench: steps made from the kept plan, each ticked one with its movement.
//!
//! A tick is one transaction; unticking is the counter-movement, and is refused, naming it, when
//! something later rests on it. Holds follow: a cut moves them to its children, an assembly ends
//! those on what it uses and holds the new fixture for the set.

mod assemble;
mod begin;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

pub(super) use begin::begin;

use super::{
    Act, Begun, Change, Done, StockError, What,
    count::tag_of_before,
    cut::{self, Cut},
    mark::{EditMore, EditThing},
    runs,
    undo::Undo,
};
use crate::{
    db::{self, Db, WriteTx, piece::PieceAt},
    model::{
        design::{Design, State},
        id::{AccountId, BarId, DesignId, MovementId, PartId, StepId, ThingId},
        movement::MovementKind,
        piece::Piece,
        reservation::Held,
        step::{self, Segment, Step, StepKind, Task},
        text::{Note, Tag},
    },
};
use assemble::{assemble, bar_holds, hold_again, taken_back};

/// What a tick did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Ticked {
    /// The movement, if one was needed.
    pub movement: Option<MovementId>,
    /// Things that it made.
    pub things: Vec<ThingId>,
}

async fn step_of(tx: &mut WriteTx, id: StepId) -> Result<(Step, Design), StockError> {
    let design = db::design::find_of_step(tx, id)
        .await?
        .ok_or(StockError::NotFound("step"))?;
    let step = db::design::list_steps(tx, design)
        .await?
        .into_iter()
        .find(|step| step.id == id)
        .ok_or(StockError::NotFound("step"))?;
    let design = db::design::lookup(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    if !matches!(design.state, State::Building | State::Standing) {
        return Err(StockError::refused(format!(
            "The set is {}: its steps are ticked while it is at the bench. Nothing was changed.",
            design.state
        )));
    }
    Ok((step, design))
}

/// Ticks a step: its movement, if it has one, in one transaction.
pub async fn tick(act: &Act, id: StepId) -> Result<Ticked, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(ticked) => return Ok(ticked),
    };
    let (step, design) = step_of(&mut tx, id).await?;
    if let Some(done) = &step.done {
        return Err(StockError::refused(format!(
            "{} has ticked this already. Nothing was changed.",
            done.who
        )));
    }
    let (done, task) = work(&mut tx, act, &design, &step).await?;
    let mark = step::Done {
        who: act.who.to_string(),
        at_ms: act.now_ms,
        movement: done.movement,
    };
    db::design::change_step(&mut tx, id, &task, Some(&mark)).await?;
    let ticked = Ticked {
        movement: done.movement,
        things: done.things,
    };
    act.finish(tx, ticked).await
}

async fn work(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    step: &Step,
) -> Result<(Done, Task), StockError> {
    match &step.task {
        Task::Tick => Ok((Done::default(), step.task.clone())),
        Task::Fetch {
            from,
            things,
            counts,
            ..
        } => {
            let done = fetch(tx, act, design, *from, things, counts).await?;
            Ok((done, step.task.clone()))
        }
        Task::Cut { piece, segments } => {
            let done = cut_piece(tx, act, design, *piece, segments).await?;
            Ok((done, step.task.clone()))
        }
        Task::Wire { bars, .. } => {
            // Feeds and extra lines are of no bar: they are hung with the last driver.
            let last = is_last_wiring(tx, step).await?;
            let of = (!last).then_some(bars.as_slice());
            let (done, out) = wire(tx, act, design, of).await?;
            let task = Task::Wire {
                bars: bars.clone(),
                out,
            };
            Ok((done, task))
        }
        Task::Assemble { bar, lit_um, .. } => {
            let (done, made) = assemble(tx, act, design, *bar).await?;
            let task = Task::Assemble {
                bar: *bar,
                lit_um: *lit_um,
                made: Some(made),
            };
            Ok((done, task))
        }
        Task::Address { unit, address, .. } => {
            let before = set_address(tx, act, *unit, Some(*address)).await?;
            let task = Task::Address {
                unit: *unit,
                address: *address,
                before,
            };
            Ok((Done::default(), task))
        }
    }
}

async fn set_address(
    tx: &mut WriteTx,
    act: &Act,
    unit: ThingId,
    address: Option<u16>,
) -> Result<Option<u16>, StockError> {
    let thing = super::change::thing(tx, unit).await?;
    let before = db::thing::lookup_unit(tx, unit)
        .await?
        .ok_or(StockError::NotFound("driver"))?;
    let edit = EditThing {
        thing: unit,
        version: thing.version,
        note: thing.note,
        inspect_on: thing.inspect_on,
        more: EditMore::Unit {
            address,
            serial: before.serial,
        },
    };
    edit.within(tx, act).await?;
    Ok(before.address)
}

async fn fetch(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    from: AccountId,
    things: &[ThingId],
    counts: &[(PartId, i64)],
) -> Result<Done, StockError> {
    let stage = db::place::account_of_design(tx, design.id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let mut what = Vec::new();
    for id in things {
        let thing = super::change::thing(tx, *id).await?;
        if thing.place.account != stage {
            what.push(What::Thing { thing: *id });
        }
    }
    what.extend(counts.iter().map(|(part, amount)| What::Count {
        part: *part,
        amount: *amount,
        from,
    }));
    if what.is_empty() {
        return Ok(Done::default());
    }
    let reason = Note::default();
    let head = super::change::Head::new(MovementKind::TakeOut, &reason).design(Some(design.id));
    super::change::transfer(tx, act, head, &what, stage).await
}

async fn is_last_wiring(tx: &mut WriteTx, step: &Step) -> Result<bool, StockError> {
    let steps = db::design::list_steps(tx, step.design).await?;
    let mut open = steps.iter().filter(|other| other.done.is_none());
    Ok(open.all(|other| other.kind != StepKind::Wire || other.id == step.id))
}

/// Takes the runs of some bars, or all that is left, out to the set; refused while one of them is still on its reel.
async fn wire(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    bars: Option<&[BarId]>,
) -> Result<(Done, Vec<ThingId>), StockError> {
    let runs = runs::list(tx, design.id, bars).await?;
    if !runs.uncut.is_empty() {
        return Err(StockError::refused(format!(
            "Cable for it is still to be cut from {}. Nothing was changed. Tick that cut first.",
            runs.uncut.join(", ")
        )));
    }
    let lines = runs::hang(tx, act, design, runs.ready).await?;
    let out = lines.iter().filter_map(|line| line.moved.thing()).collect();
    if lines.is_empty() {
        return Ok((Done::default(), out));
    }
    let reason = Note::default();
    let head = super::change::Head::new(MovementKind::TakeOut, &reason).design(Some(design.id));
    let done = super::change::write(tx, act, head, lines).await?;
    Ok((done, out))
}

async fn cut_piece(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    piece: ThingId,
    segments: &[Segment],
) -> Result<Done, StockError> {
    let held = db::reservation::lookup_thing(tx, piece)
        .await?
        .ok_or(StockError::NotFound("piece"))?;
    if held.at.is_none() {
        // Somebody cut it from its own page: fine, if every bar has its length.
        let bars: Vec<BarId> = segments.iter().filter_map(|it| it.bar).collect();
        for hold in bar_holds(tx, design.id).await? {
            let Held::Thing { thing, from, to } = hold.hold.held else {
                continue;
            };
            let mine = hold.hold.bar.is_some_and(|bar| bars.contains(&bar));
            let found = db::reservation::lookup_thing(tx, thing).await?;
            if let Some(found) = found.filter(|it| mine && it.part == held.part)
                && (from, to) != (0, found.amount)
            {
                return Err(StockError::refused(format!(
                    "{}: {}. Its bars hold {} now, which is longer than they need. Nothing was \
                     changed. Cut {} on its own page, from {from} to {to}, and tick this then.",
                    held.tag, held.gone, found.tag, found.tag
                )));
            }
        }
        return Ok(Done::default());
    }
    let mut again = BTreeMap::new();
    for child in children_again(tx, piece, segments).await? {
        // A tag is on one thing at any moment.
        let old = tag_of_before(tx, &child.tag).await?;
        db::thing::change_tag(tx, child.id, &old).await?;
        if let Some((_, from)) = child.cut_from {
            again.insert(from, child.tag);
        }
    }
    let cut = Cut {
        piece,
        segments: segments
            .iter()
            .map(|it| cut::Segment {
                scrap: it.scrap,
                tag: again.remove(&it.from),
                ..cut::Segment::keep(it.from, it.to)
            })
            .collect(),
        to: None,
        reason: Note::default(),
        design: Some(design.id),
    };
    cut.within(tx, act).await
}

/// The pieces that a cut made before it was taken back, of the same parts: what is cut again gets
/// their tags again, so that printed labels stay true. One that was marked meanwhile keeps its own.
async fn children_again(
    tx: &mut SqliteConnection,
    piece: ThingId,
    segments: &[Segment],
) -> Result<Vec<Piece>, StockError> {
    let Some(parent) = db::piece::lookup(&mut *tx, piece).await? else {
        return Ok(Vec::new());
    };
    let mut ended = db::piece::list_children_of(&mut *tx, &[piece]).await?;
    // The newest first: of those that were one part of the piece, one after the other, it has the tag.
    ended.sort_by_key(|child| std::cmp::Reverse(child.piece.id));
    let mut again = Vec::new();
    for segment in segments.iter().filter(|segment| !segment.scrap) {
        let alike = |child: &&PieceAt| {
            child.piece.cut_from == Some((piece, segment.from))
                && child.piece.amount == segment.to - segment.from
        };
        let Some(child) = ended.iter().find(alike) else {
            continue;
        };
        if child.place.account != AccountId::BENCH
            || child.piece.condition != parent.piece.condition
        {
            continue;
        }
        let last =
            db::movement::find_later_of_thing(&mut *tx, child.piece.id, MovementId(0)).await?;
        if last.is_some_and(|last| last.kind == MovementKind::Undo) {
            again.push(child.piece.clone());
        }
    }
    Ok(again)
}

/// The tags that the pieces of a cut get again when it is ticked again after that was taken back.
pub async fn cut_tags_again(
    db: &Db,
    piece: ThingId,
    segments: &[Segment],
) -> Result<Vec<Tag>, StockError> {
    let mut tx = db.read().await?;
    let again = children_again(&mut tx, piece, segments).await?;
    Ok(again.into_iter().map(|child| child.tag).collect())
}

/// Takes a tick back by the counter-movement.
pub async fn untick(act: &Act, id: StepId) -> Result<Ticked, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(ticked) => return Ok(ticked),
    };
    let (step, design) = step_of(&mut tx, id).await?;
    let Some(done) = &step.done else {
        return Err(StockError::refused(
            "This step is not ticked. Nothing was changed.",
        ));
    };
    if let Task::Fetch { pieces, .. } = &step.task
        && let Some(by) = worked_on(&mut tx, design.id, pieces).await?
    {
        return Err(StockError::refused(format!(
            "What it fetched is worked on already: “{by}” is ticked. Nothing was changed. Untick \
             that first."
        )));
    }
    let mut task = step.task.clone();
    let made = match &mut task {
        Task::Assemble { made, .. } => made.take(),
        Task::Wire { out, .. } => {
            out.clear();
            None
        }
        Task::Fetch { .. } | Task::Cut { .. } | Task::Address { .. } | Task::Tick => None,
    };
    if let Some(made) = &made {
        for hold in db::reservation::list_on_thing(&mut tx, made.fixture).await? {
            if hold.hold.design == design.id {
                db::reservation::end(&mut tx, hold.id).await?;
            }
        }
    }
    // First: the undo refuses what a ticked step stands on.
    db::design::change_step(&mut tx, id, &task, None).await?;
    let mut movement = None;
    if let Some(id) = done.movement {
        let undo = Undo {
            movement: id,
            reason: Note::default(),
        };
        movement = undo.within(&mut tx, act).await?.movement;
    }
    match (&step.task, &made) {
        (Task::Assemble { bar, .. }, Some(made)) => {
            hold_again(&mut tx, act, &design, *bar, made).await?;
        }
        (Task::Address { unit, before, .. }, _) => {
            set_address(&mut tx, act, *unit, *before).await?;
        }
        (Task::Wire { out, .. }, _) => runs::unhang(&mut tx, act, &design, out).await?,
        _ => {}
    }
    let ticked = Ticked {
        movement,
        things: Vec::new(),
    };
    act.finish(tx, ticked).await
}

/// The title of a ticked step that cut one of these pieces or built it in.
async fn worked_on(
    tx: &mut WriteTx,
    design: DesignId,
    pieces: &[ThingId],
) -> Result<Option<String>, StockError> {
    let steps = db::design::list_steps(tx, design).await?;
    let by = steps
        .into_iter()
        .filter(|step| step.done.is_some())
        .find(|step| match &step.task {
            Task::Cut { piece, .. } => pieces.contains(piece),
            Task::Assemble {
                made: Some(made), ..
            } => made.pieces.iter().any(|piece| pieces.contains(piece)),
            _ => false,
        });
    Ok(by.map(|step| step.title))
}

/// The tag that a bar of a set gets again when it is assembled again after that was taken back.
pub async fn tag_again(db: &Db, design: DesignId, bar: BarId) -> Result<Option<Tag>, StockError> {
    let mut tx = db.read().await?;
    Ok(taken_back(&mut tx, design, bar)
        .await?
        .map(|thing| thing.tag))
}

/// Steps that have cut or assembled something, by title.
pub(super) async fn made_already(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<Vec<String>, StockError> {
    Ok(db::design::list_steps(tx, design)
        .await?
        .into_iter()
        .filter(|step| step.done.is_some())
        .filter(|step| matches!(step.kind, StepKind::Cut | StepKind::Assemble))
        .map(|step| step.title)
        .collect())
}
