//! One bar becomes a fixture: of what is held for it, with its share of what the set uses up.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use crate::{
    db::{self, WriteTx},
    model::{
        connector::Connector,
        design::Design,
        fixture::{Condition, Make},
        id::{AccountId, BarId, DesignId, MovementId, PartId, PlaceId},
        movement::MovementKind,
        part::{PartSpec, Sundry},
        piece::{End, length_of},
        reservation::{Held, Hold, HoldState, HoldUse, NewHold},
        step::{Made, StepKind},
        text::Note,
        thing::{Thing, ThingKind},
    },
    plan::{
        outcome::{BuildBar, Serve},
        sundry,
    },
    stock::{
        Act, Done, StockError, What,
        make::{About, Assemble},
        strike::{as_what, from_places},
    },
    units::Length,
};

/// Active holds of a set on what is used up.
pub(super) async fn bar_holds(tx: &mut WriteTx, design: DesignId) -> Result<Vec<Hold>, StockError> {
    Ok(db::reservation::list(tx, design)
        .await?
        .into_iter()
        .filter(|hold| hold.state == HoldState::Active && hold.hold.becomes == HoldUse::Consumed)
        .collect())
}

/// Makes the fixture of one bar from what is held for it, and holds that for the set.
pub(super) async fn assemble(
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

    // Leads go inside; of sundries each new bar takes what the plan counted for it.
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
        if let Some(PartSpec::Sundry(sundry)) = spec {
            let share = share(&sundry, built, held, open);
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
    let again = taken_back(tx, design.id, bar).await?;
    let done = Assemble {
        about: About::new(place),
        make,
        batch,
        inside,
        used,
        design: Some(design.id),
        reason: Note::default(),
    }
    .put_together(tx, act, again.map(|thing| thing.id))
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

/// The fixture that a bar of a set was before its assembly was taken back: what is put together again
/// is that one, so that its printed label stays true. One that was marked or tried meanwhile is not:
/// what was seen of it is not seen of the new one.
pub(super) async fn taken_back(
    tx: &mut SqliteConnection,
    design: DesignId,
    bar: BarId,
) -> Result<Option<Thing>, StockError> {
    for ended in db::reservation::list_ended_of_bar(&mut *tx, design, bar).await? {
        let Held::Thing { thing, .. } = ended.hold.held else {
            continue;
        };
        let Some(thing) = db::thing::lookup(&mut *tx, thing).await? else {
            continue;
        };
        let ended_here =
            thing.kind == ThingKind::Fixture && thing.place.account == AccountId::BENCH;
        if !ended_here || thing.condition != Condition::Good {
            continue;
        }
        // One that was taken apart ended at the bench too.
        let last = db::movement::find_later_of_thing(&mut *tx, thing.id, MovementId(0)).await?;
        let undone = last.is_some_and(|last| last.kind == MovementKind::Undo);
        if undone
            && db::test_record::list_of_thing(&mut *tx, thing.id, 1)
                .await?
                .is_empty()
        {
            return Ok(Some(thing));
        }
    }
    Ok(None)
}

/// What a new bar takes of a sundry that is held for the set, while so many bars are still to be
/// built. What goes by no rate is shared out; the last bar takes what is left.
fn share(sundry: &Sundry, built: &BuildBar, held: i64, open: i64) -> i64 {
    if open <= 1 || sundry.use_rate.is_none() {
        return held / open.max(1);
    }
    sundry::of_bar(sundry, &built.into()).min(held)
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

/// What an assembly had used is held for its bar as before.
pub(super) async fn hold_again(
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
            window: crate::stock::reserve::window_of(design, HoldUse::Consumed),
            becomes: HoldUse::Consumed,
        };
        db::reservation::add(tx, &hold, act.today, &act.who).await?;
    }
    Ok(())
}
