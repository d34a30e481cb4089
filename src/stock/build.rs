//! The bench: steps made from the kept plan, each ticked one with its movement.
//!
//! A tick is one transaction; unticking is the counter-movement, and is refused, naming it, when
//! something later rests on it. Holds follow: a cut moves them to its children, an assembly ends
//! those on what it uses and holds the new fixture for the set.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Act, Begun, Change, Done, StockError, What,
    cut::{self, Cut},
    make::{About, Assemble},
    mark::{EditMore, EditThing},
    strike::{as_what, from_places, out_lines},
    undo::Undo,
};
use crate::{
    db::{self, WriteTx},
    model::{
        connector::Connector,
        design::{Design, State},
        fixture::Make,
        id::{AccountId, BarId, DesignId, MovementId, PartId, PlaceId, StepId, ThingId},
        movement::{Line, Moved, MovementKind},
        part::PartSpec,
        piece::{End, length_of},
        reservation::{Held, Hold, HoldState, HoldUse, NewHold},
        step::{self, Made, Segment, Step, StepKind, Task},
        text::Note,
    },
    plan::{
        Plan,
        outcome::{Becomes, BuildBar, CutSource, PieceCut, Serve},
    },
    units::Length,
};

/// What a tick did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Ticked {
    /// The movement, if one was needed.
    pub movement: Option<MovementId>,
    /// Things that it made.
    pub things: Vec<ThingId>,
}

/// Makes the steps of a set that goes to the bench; those of before are replaced.
pub(super) async fn begin(tx: &mut WriteTx, design: &Design) -> Result<(), StockError> {
    let plan = db::design::lookup_plan(tx, design.id)
        .await?
        .ok_or_else(|| StockError::refused("There is no plan to build from. Reserve it first."))?
        .plan;
    db::design::remove_steps(tx, design.id).await?;
    let mut steps = fetch_steps(tx, design.id).await?;
    steps.extend(cut_steps(tx, design, &plan).await?);
    for bar in &plan.bars {
        if let Serve::Build(built) = &bar.serve {
            let task = Task::Assemble {
                bar: bar.bar,
                lit_um: built.lit_um,
                made: None,
            };
            let title = format!("Assemble {}", bar.label);
            steps.push((StepKind::Assemble, title, Some(bar.bar), task));
        }
    }
    for (at, driver) in plan.drivers.iter().enumerate() {
        let name = match &driver.unit {
            Some((_, tag)) => tag.to_string(),
            None => format!("driver {}", at + 1),
        };
        let title = if driver.place.is_empty() {
            format!("Wire {name}")
        } else {
            format!("Wire {name} at {}", driver.place)
        };
        steps.push((StepKind::Wire, title, None, Task::Tick));
    }
    for driver in &plan.drivers {
        if let (Some((unit, tag)), Some(slot)) = (&driver.unit, driver.address) {
            let task = Task::Address {
                unit: *unit,
                address: slot.slot,
                before: None,
            };
            let title = format!("Set {tag} to {} in universe {}", slot.slot, slot.universe);
            steps.push((StepKind::Address, title, None, task));
        }
    }
    for bar in &plan.bars {
        if !matches!(bar.serve, Serve::Short { .. }) {
            let title = format!("Test {}", bar.label);
            steps.push((StepKind::Test, title, Some(bar.bar), Task::Tick));
        }
    }
    let bars: Vec<BarId> = design.bars.iter().map(|bar| bar.id).collect();
    for (position, (kind, title, bar, task)) in (0_i64..).zip(steps) {
        let step = Step {
            id: StepId(0),
            design: design.id,
            position,
            kind,
            title,
            bar: bar.filter(|bar| bars.contains(bar)),
            task,
            done: None,
        };
        db::design::add_step(tx, &step).await?;
    }
    Ok(())
}

type Draft = (StepKind, String, Option<BarId>, Task);

/// One step for each place from which something comes.
async fn fetch_steps(tx: &mut WriteTx, design: DesignId) -> Result<Vec<Draft>, StockError> {
    let (lines, _) = out_lines(tx, design).await?;
    let mut places: BTreeMap<AccountId, Vec<Line>> = BTreeMap::new();
    for line in lines {
        places.entry(line.from).or_default().push(line);
    }
    let mut steps = Vec::new();
    for (account, lines) in places {
        let spot = db::place::whereabouts(tx, account)
            .await?
            .ok_or(StockError::NotFound("place"))?;
        let (mut named, mut things, mut counts) = (Vec::new(), Vec::new(), Vec::new());
        for line in lines {
            match line.moved {
                Moved::Count { part, amount } | Moved::Loss { part, amount, .. } => {
                    let name = db::part::lookup(tx, part)
                        .await?
                        .map_or_else(String::new, |part| part.name.to_string());
                    named.push(format!("{amount} × {name}"));
                    counts.push((part, amount));
                }
                Moved::Piece { thing, .. } | Moved::Thing { thing, .. } => {
                    if let Some(thing) = db::thing::lookup(tx, thing).await? {
                        named.push(thing.tag.to_string());
                    }
                    things.push(thing);
                }
            }
        }
        let title = format!("Fetch from {}: {}", spot.words, named.join(", "));
        let task = Task::Fetch {
            from: account,
            things,
            counts,
        };
        steps.push((StepKind::Fetch, title, None, task));
    }
    Ok(steps)
}

/// One step for each piece of the house that is cut.
async fn cut_steps(
    tx: &mut WriteTx,
    design: &Design,
    plan: &Plan,
) -> Result<Vec<Draft>, StockError> {
    let mut steps = Vec::new();
    for cut in &plan.cuts {
        let CutSource::Piece { thing, tag } = &cut.source else {
            continue;
        };
        let kerf = match db::part::lookup(tx, cut.part).await?.map(|part| part.spec) {
            Some(PartSpec::Profile(profile)) => profile.kerf_um.map_or(0, Length::get),
            _ => 0,
        };
        let claims = db::reservation::list_claims(tx, Some(*thing), None, Some(design.id)).await?;
        let taken: Vec<(i64, i64)> = claims
            .on(*thing)
            .iter()
            .map(|claim| (claim.from, claim.to))
            .collect();
        let segments = tile(cut, kerf, &taken);
        if segments.len() < 2 {
            continue;
        }
        let labels: Vec<String> = segments
            .iter()
            .filter_map(|segment| segment.bar)
            .filter_map(|id| design.bars.iter().find(|bar| bar.id == id))
            .map(|bar| bar.label.to_string())
            .collect();
        let title = if labels.is_empty() {
            format!("Cut {tag}")
        } else {
            format!("Cut {tag} for {}", labels.join(", "))
        };
        let task = Task::Cut {
            piece: *thing,
            segments,
        };
        steps.push((StepKind::Cut, title, None, task));
    }
    Ok(steps)
}

/// The whole piece in segments: those of the plan, and what lies before, between and after them.
/// What is not wider than a saw cut and held by nobody is lost to the saw; the rest is kept, and
/// joined with a neighbouring offcut.
fn tile(cut: &PieceCut, kerf: i64, taken: &[(i64, i64)]) -> Vec<Segment> {
    let mut planned: Vec<Segment> = cut
        .segments
        .iter()
        .map(|segment| Segment {
            from: segment.from,
            to: segment.to,
            bar: match segment.becomes {
                Becomes::Bar { bar, .. } => Some(bar),
                _ => None,
            },
            scrap: segment.becomes == Becomes::Scrap,
            offcut: matches!(segment.becomes, Becomes::Offcut),
        })
        .collect();
    planned.sort_by_key(|segment| segment.from);
    let mut tiled: Vec<Segment> = Vec::new();
    let mut at = 0;
    let end = Segment {
        from: cut.amount,
        to: cut.amount,
        bar: None,
        scrap: false,
        offcut: false,
    };
    for segment in planned.into_iter().chain([end]) {
        let (from, to) = (at, segment.from);
        let held = taken
            .iter()
            .any(|(start, stop)| *start < to && from < *stop);
        if to > from && (to - from > kerf || held) {
            tiled.push(Segment {
                from,
                to,
                bar: None,
                scrap: false,
                offcut: true,
            });
        }
        at = segment.to;
        if segment.to > segment.from {
            tiled.push(segment);
        }
    }
    let mut joined: Vec<Segment> = Vec::new();
    for segment in tiled {
        match joined.last_mut() {
            Some(last) if last.offcut && segment.offcut && last.to == segment.from => {
                last.to = segment.to;
            }
            _ => joined.push(segment),
        }
    }
    joined
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
        } => {
            let done = fetch(tx, act, design, *from, things, counts).await?;
            Ok((done, step.task.clone()))
        }
        Task::Cut { piece, segments } => {
            let done = cut_piece(tx, act, design, *piece, segments).await?;
            Ok((done, step.task.clone()))
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
    let cut = Cut {
        piece,
        segments: segments
            .iter()
            .map(|it| cut::Segment {
                scrap: it.scrap,
                ..cut::Segment::keep(it.from, it.to)
            })
            .collect(),
        to: None,
        reason: Note::default(),
        design: Some(design.id),
    };
    cut.within(tx, act).await
}

/// Active holds of a set on what is used up.
async fn bar_holds(tx: &mut WriteTx, design: DesignId) -> Result<Vec<Hold>, StockError> {
    Ok(db::reservation::list(tx, design)
        .await?
        .into_iter()
        .filter(|hold| hold.state == HoldState::Active && hold.hold.becomes == HoldUse::Consumed)
        .collect())
}

async fn assemble(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    bar: BarId,
) -> Result<(Done, Made), StockError> {
    let plan = db::design::lookup_plan(tx, design.id)
        .await?
        .ok_or(StockError::NotFound("plan"))?
        .plan;
    let planned = plan
        .bars
        .iter()
        .find(|it| it.bar == bar)
        .ok_or(StockError::NotFound("bar"))?;
    let Serve::Build(built) = &planned.serve else {
        return Err(StockError::NotFound("bar to build"));
    };
    let holds = bar_holds(tx, design.id).await?;
    let mut pieces = Vec::new();
    let mut place: Option<PlaceId> = None;
    let (mut start, mut end, mut batch) = (End::Bare, End::Bare, String::new());
    let mut lit = built.lit_um;
    for hold in holds.iter().filter(|hold| hold.hold.bar == Some(bar)) {
        let Held::Thing { thing, from, to } = hold.hold.held else {
            continue;
        };
        let at = db::piece::lookup(tx, thing)
            .await?
            .ok_or(StockError::NotFound("piece"))?;
        let part = at.piece.part;
        let is_tape = part == built.tape;
        if !is_tape && built.profile.is_none_or(|(profile, _)| profile != part) {
            continue;
        }
        if (from, to) != (0, at.piece.amount) {
            return Err(StockError::refused(format!(
                "{} is not cut yet for {}. Nothing was changed. Tick its cut first.",
                at.piece.tag, planned.label
            )));
        }
        if is_tape {
            place = at.place.place;
            (start, end) = (at.piece.start.clone(), at.piece.end.clone());
            batch.clone_from(&at.piece.batch);
            if let Some(part) = db::part::lookup(tx, part).await? {
                lit = length_of(part.unit(), at.piece.amount, 0);
            }
        }
        pieces.push((hold.id, thing, is_tape));
    }
    if !pieces.iter().any(|(_, _, tape)| *tape) {
        return Err(StockError::refused(format!(
            "No tape is held for {}: it was to be bought, or what was held is gone. Nothing was \
             changed. Make the set reserved again while nothing is cut, or build it from the \
             cupboard.",
            planned.label
        )));
    }
    let place = place.ok_or_else(|| {
        StockError::refused(
            "The tape is out with a set. Nothing was changed. Bring it to a place first.",
        )
    })?;

    // Leads go inside; of what is counted over the whole set each new bar takes its share.
    let open = i64::try_from(
        db::design::list_steps(tx, design.id)
            .await?
            .iter()
            .filter(|step| step.kind == StepKind::Assemble && step.done.is_none())
            .count(),
    )
    .unwrap_or(1)
    .max(1);
    let mut counts: Vec<(PartId, i64)> = Vec::new();
    let (mut inside, mut used) = (Vec::new(), Vec::new());
    let mut lead_connector = None;
    if let Some((part, number)) = built.lead {
        inside.extend(take_counts(tx, part, number).await?);
        counts.push((part, number));
        if let Some(PartSpec::Lead(lead)) = db::part::lookup(tx, part).await?.map(|it| it.spec) {
            lead_connector = Some(lead.connector);
        }
    }
    let mut whole: BTreeMap<PartId, i64> = BTreeMap::new();
    for hold in &holds {
        if let Held::Count { part, amount, .. } = hold.hold.held {
            *whole.entry(part).or_default() += amount;
        }
    }
    for (part, held) in whole {
        let spec = db::part::lookup(tx, part).await?.map(|it| it.spec);
        if matches!(spec, Some(PartSpec::Sundry(_))) {
            let share = held / open;
            if share > 0 {
                used.extend(take_counts(tx, part, share).await?);
                counts.push((part, share));
            }
        }
    }

    for (hold, _, _) in &pieces {
        db::reservation::end(tx, *hold).await?;
    }
    for (part, number) in &counts {
        less_held(tx, &holds, *part, *number).await?;
    }
    inside.splice(
        0..0,
        pieces
            .iter()
            .map(|(_, thing, _)| What::Thing { thing: *thing }),
    );
    let make = make_of(
        tx,
        design,
        bar,
        built,
        lit,
        lead_connector.or_else(|| start.connector().or_else(|| end.connector()).cloned()),
    )
    .await?;
    let done = Assemble {
        about: About::new(place),
        make,
        batch,
        inside,
        used,
        design: Some(design.id),
        reason: Note::default(),
    }
    .within(tx, act)
    .await?;
    let fixture = *done
        .things
        .first()
        .ok_or(StockError::NotFound("new fixture"))?;
    let hold = NewHold {
        design: design.id,
        bar: Some(bar),
        held: Held::Thing {
            thing: fixture,
            from: 0,
            to: 1,
        },
        window: design.dates.window(),
        becomes: HoldUse::Returns,
    };
    db::reservation::add(tx, &hold, act.today, &act.who).await?;
    let parts = Made {
        fixture,
        pieces: pieces.into_iter().map(|(_, thing, _)| thing).collect(),
        counts,
    };
    Ok((done, parts))
}

/// What the new fixture is, from its parts.
async fn make_of(
    tx: &mut WriteTx,
    design: &Design,
    bar: BarId,
    built: &BuildBar,
    lit_um: Length,
    connector: Option<Connector>,
) -> Result<Make, StockError> {
    let Some(PartSpec::Tape(tape)) = db::part::lookup(tx, built.tape).await?.map(|it| it.spec)
    else {
        return Err(StockError::NotFound("tape"));
    };
    let profile = built.profile.map(|(part, _)| part);
    let diffused = match profile {
        Some(part) => matches!(
            db::part::lookup(tx, part).await?.map(|it| it.spec),
            Some(PartSpec::Profile(profile)) if profile.diffuser.diffuses()
        ),
        None => false,
    };
    let wanted = design.bars.iter().find(|it| it.id == bar);
    let channels = tape
        .colours()
        .or_else(|| wanted.map(|bar| bar.channels.clone()))
        .ok_or(StockError::NotFound("colours of the tape"))?;
    Ok(Make {
        tape: Some(built.tape),
        profile,
        channels,
        voltage_mv: tape.voltage_mv,
        lit_um,
        diffused,
        fed: built.fed,
        connector,
    })
}

/// A count from places; refused, naming the part, when there are fewer.
async fn take_counts(tx: &mut WriteTx, part: PartId, amount: i64) -> Result<Vec<What>, StockError> {
    let (lines, short) = from_places(tx, part, amount, AccountId::USED).await?;
    if short > 0 {
        let name = db::part::lookup(tx, part)
            .await?
            .map_or_else(String::new, |part| part.name.to_string());
        return Err(StockError::refused(format!(
            "{name}: {amount} are needed, {} lie in places. Nothing was changed. Receive what was \
             ordered, or count the places.",
            amount - short
        )));
    }
    Ok(as_what(&lines))
}

/// Holds less of what was used.
async fn less_held(
    tx: &mut WriteTx,
    holds: &[Hold],
    part: PartId,
    used: i64,
) -> Result<(), StockError> {
    let mut open = used;
    for hold in holds {
        if let Held::Count {
            part: held, amount, ..
        } = hold.hold.held
            && held == part
            && open > 0
        {
            let less = open.min(amount);
            db::reservation::change_amount(tx, hold.id, amount - less).await?;
            open -= less;
        }
    }
    Ok(())
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
    let mut task = step.task.clone();
    let made = match &mut task {
        Task::Assemble { made, .. } => made.take(),
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
        _ => {}
    }
    let ticked = Ticked {
        movement,
        things: Vec::new(),
    };
    act.finish(tx, ticked).await
}

/// What an assembly had used is held for its bar as before.
async fn hold_again(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    bar: BarId,
    made: &Made,
) -> Result<(), StockError> {
    let mut again = Vec::new();
    for piece in &made.pieces {
        let amount = db::reservation::lookup_thing(tx, *piece)
            .await?
            .ok_or(StockError::NotFound("piece"))?
            .amount;
        let whole = Held::Thing {
            thing: *piece,
            from: 0,
            to: amount,
        };
        again.push((Some(bar), whole));
    }
    for (part, amount) in &made.counts {
        let count = Held::Count {
            part: *part,
            amount: *amount,
            due: None,
        };
        again.push((None, count));
    }
    for (bar, what) in again {
        let hold = NewHold {
            design: design.id,
            bar,
            held: what,
            window: super::reserve::window_of(design, HoldUse::Consumed),
            becomes: HoldUse::Consumed,
        };
        db::reservation::add(tx, &hold, act.today, &act.who).await?;
    }
    Ok(())
}

/// Steps that have cut or assembled something, by title.
pub(super) async fn made_already(
    tx: &mut sqlx::SqliteConnection,
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
