//! A bar died on a show day: what plugs in instead, now, and the change of one for the other.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Act, Change, Done, StockError,
    change::{Head, moved, thing, write},
    design::name_taken,
    hold_again, holds,
};
use crate::{
    db::{self, Db, WriteTx, movement::Entry, snapshot::Ask},
    model::{
        design::{Design, State},
        fixture::{Condition, Fixture},
        id::{BarId, DesignId, ThingId},
        movement::{AccountKind, Line, Mark, MovementKind},
        reservation::{Held, Hold, HoldUse, NewHold},
        text::Note,
    },
    plan::{
        available::{At, freedom},
        input::Freedom,
        outcome::Serve,
        reuse::{NoReplacement, Replacement, replacements},
    },
    units::{Date, Length, Window},
};

/// What could stand in for a fixture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidates {
    /// The set that has it now or holds it for the days asked, if one does.
    pub design: Option<DesignId>,
    /// For which days they are free.
    pub window: Window,
    /// What fits, best first.
    pub fit: Vec<Replacement>,
    /// Everything else, with why not.
    pub not: Vec<NoReplacement>,
}

/// The set that a fixture is for on a day: on whose stage it is, or else who holds it.
async fn set_of(
    tx: &mut sqlx::SqliteConnection,
    fixture: ThingId,
    today: Date,
) -> Result<Option<(DesignId, Window)>, StockError> {
    let held = db::reservation::lookup_thing(tx, fixture)
        .await?
        .ok_or(StockError::NotFound("fixture"))?;
    let design = if let Some(At::Out { design, .. }) = held.at {
        Some(design)
    } else {
        let mut holds = db::reservation::list_on_thing(tx, fixture).await?;
        // One that was marked bad first is still the set's, until another takes its place.
        holds.extend(db::reservation::list_broken_on_thing(tx, fixture).await?);
        let current = |hold: &&Hold| hold.hold.window.to() >= today;
        holds.iter().find(current).map(|hold| hold.hold.design)
    };
    let Some(design) = design else {
        return Ok(None);
    };
    let dates = db::design::lookup(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?
        .dates;
    let first = dates.build_on().max(today);
    let window =
        Window::new(first, dates.strike_on().max(first)).unwrap_or_else(|_| dates.window());
    Ok(Some((design, window)))
}

/// What could replace a fixture: compatible and free from today to the strike of the set that has
/// it (today only, if none has it), best first, and why each other one is not.
///
/// `shorter` and `longer` are how much the lit length may differ.
pub async fn candidates(
    db: &Db,
    fixture: ThingId,
    today: Date,
    shorter: Length,
    longer: Length,
) -> Result<Candidates, StockError> {
    let mut tx = db.read().await?;
    let old = db::fixture::lookup(&mut tx, fixture)
        .await?
        .ok_or(StockError::NotFound("fixture"))?;
    let set = set_of(&mut tx, fixture, today).await?;
    let window = match set {
        Some((_, window)) => window,
        None => Window::new(today, today).map_err(|why| StockError::refused(why.to_string()))?,
    };
    let ask = Ask {
        own: None,
        window,
        rules: holds::rules(&mut tx, today).await?,
    };
    let venue = db::venue::lookup(&mut tx).await?;
    let spare = db::snapshot::list_fixtures(&mut tx, ask).await?;
    let (fit, not) = replacements(
        &old.fixture.make,
        Some(fixture),
        shorter,
        longer,
        &spare,
        venue.length_unit,
    );
    Ok(Candidates {
        design: set.map(|(design, _)| design),
        window,
        fit,
        not,
    })
}

/// Whoever swaps in a set that is only reserved has chosen: its bar takes the new fixture by hand
/// from now on, as much shorter or longer as that is, so that planning again does not let it go;
/// and the plan that is held names it.
async fn choose(
    tx: &mut WriteTx,
    design: DesignId,
    bar: BarId,
    (old, new): (ThingId, ThingId),
) -> Result<(), StockError> {
    let was = db::design::lookup(tx, design)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let fixture = db::fixture::lookup(tx, new)
        .await?
        .ok_or(StockError::NotFound("fixture"))?
        .fixture;
    let lit = fixture.make.lit_um;
    let mut chosen = was.clone();
    chosen.left_alone.retain(|it| it.thing != new);
    for other in &mut chosen.bars {
        other.fixture = other.fixture.filter(|fixture| *fixture != new);
    }
    let Some(wanted) = chosen.bars.iter_mut().find(|it| it.id == bar) else {
        return Ok(());
    };
    wanted.fixture = Some(new);
    let off_um = lit.get() - wanted.length_um.get();
    let differs = Length::new(off_um.abs()).unwrap_or_default();
    if off_um < 0 {
        wanted.shorter_um = wanted.shorter_um.max(differs);
    } else {
        wanted.longer_um = wanted.longer_um.max(differs);
    }
    if !db::design::store(tx, &was, &chosen)
        .await
        .map_err(name_taken)?
    {
        return Err(StockError::Changed);
    }
    serve_instead(tx, design, bar, old, &fixture).await
}

/// The plan that is held names the fixture that serves a bar now.
async fn serve_instead(
    tx: &mut WriteTx,
    design: DesignId,
    bar: BarId,
    old: ThingId,
    now: &Fixture,
) -> Result<(), StockError> {
    let Some(mut kept) = db::design::lookup_plan(tx, design).await? else {
        return Ok(());
    };
    for planned in kept.plan.bars.iter_mut().filter(|it| it.bar == bar) {
        if let Serve::Reuse {
            fixture,
            tag,
            lit_um,
            off_um,
            ..
        } = &mut planned.serve
        {
            *off_um += now.make.lit_um.get() - lit_um.get();
            (*fixture, *tag, *lit_um) = (now.id, now.tag.clone(), now.make.lit_um);
        }
    }
    for hold in &mut kept.plan.holds {
        if let Held::Thing { thing, .. } = &mut hold.held
            && *thing == old
        {
            *thing = now.id;
        }
    }
    db::design::change_plan(tx, design, Some(&kept)).await?;
    Ok(())
}

/// The choice that a swap made for a bar is taken back: what was chosen before is chosen again, and
/// it may differ in length as it might before.
async fn unchoose(
    tx: &mut WriteTx,
    was: &Design,
    bar: BarId,
    new: ThingId,
    old: &Fixture,
) -> Result<(), StockError> {
    let mut before = was.clone();
    let Some(wanted) = before.bars.iter_mut().find(|it| it.id == bar) else {
        return Ok(());
    };
    let choice = db::change_log::find_choice(tx, bar, new).await?;
    wanted.fixture = choice.and_then(|(before, _)| before.fixture);
    if let Some((before, by)) = choice
        && (wanted.shorter_um, wanted.longer_um) == (by.shorter_um, by.longer_um)
    {
        (wanted.shorter_um, wanted.longer_um) = (before.shorter_um, before.longer_um);
    }
    if !db::design::store(tx, was, &before)
        .await
        .map_err(name_taken)?
    {
        return Err(StockError::Changed);
    }
    serve_instead(tx, was.id, bar, new, old).await
}

/// Undoes the swaps of a fixture that a mark of it stands for, or that came after that mark: where
/// its place is still held by the one that was chosen then, it takes it back.
pub(super) async fn take_back(
    tx: &mut WriteTx,
    act: &Act,
    undone: &Entry,
    old: ThingId,
) -> Result<(), StockError> {
    let rules = holds::rules(tx, act.today).await?;
    for id in db::movement::list_swapped_in(tx, old, undone.id).await? {
        let design = db::design::lookup(tx, id)
            .await?
            .ok_or(StockError::NotFound("set"))?;
        let Some(ended) = db::reservation::find_ended(tx, id, old).await? else {
            continue;
        };
        let Some(bar) = ended.hold.bar else { continue };
        let standing = db::reservation::list(tx, id).await?;
        // What is cut for the bar is used up; the fixture comes back, and so does its cable.
        let mut serves = None;
        for it in (standing.iter())
            .filter(|it| it.hold.bar == Some(bar) && it.hold.becomes == HoldUse::Returns)
        {
            if let Held::Thing { thing, .. } = it.hold.held
                && db::fixture::lookup(tx, thing).await?.is_some()
            {
                serves = Some((it.id, thing));
                break;
            }
        }
        let Some((to_end, new)) = serves else {
            continue;
        };
        let chosen = design.bars.iter().find(|it| it.id == bar);
        let chosen = chosen.and_then(|it| it.fixture) == Some(new);
        // Somebody chose another since, or the plan did.
        if !matches!(design.state, State::Reserved if chosen) && design.state != State::Building {
            continue;
        }
        let (Some(fixture), Some(thing)) = (
            db::fixture::lookup(tx, old).await?,
            db::reservation::lookup_thing(tx, old).await?,
        ) else {
            continue;
        };
        if db::fixture::lookup(tx, new).await?.is_none() {
            continue;
        }
        let claims = db::reservation::list_claims(tx, Some(old), None, None).await?;
        let window = design.dates.window();
        let free = match &thing.at {
            Some(at) => freedom(thing.condition, at, claims.on(old), None, window, rules),
            None => Freedom::Not(thing.gone.to_owned()),
        };
        if let Freedom::Not(why) = free {
            // What the mark was of is as it was; only its place in this set is another's.
            if undone.design.is_none() {
                continue;
            }
            return Err(StockError::refused(format!(
                "{} cannot take its place in {} back: {why}. Nothing was changed. Choose another for \
                 its bar on the set’s page Reuse, or correct its condition on its own page.",
                fixture.fixture.tag, design.name
            )));
        }
        db::reservation::end(tx, to_end).await?;
        hold_again::hold(tx, act, &design, &ended, ended.hold.held).await?;
        if design.state == State::Reserved {
            unchoose(tx, &design, bar, new, &fixture.fixture).await?;
        }
    }
    Ok(())
}

/// One fixture takes the place of another in a set: the old one is dead (or suspect), the new one
/// is held and, if the old one is on stage, taken out; in a reserved set it counts as chosen by hand
/// for its bar. One transaction; the old one stays on stage
/// until it is checked in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Swap {
    /// The one that died.
    pub old: ThingId,
    /// What it is now: suspect or dead.
    pub condition: Condition,
    /// The one that takes its place.
    pub new: ThingId,
    /// What was seen.
    pub reason: Note,
}

impl Change for Swap {
    /// One movement: the mark of the old one, and the new one taken out if the set is out. Where it
    /// was marked before, the mark only says what was replaced, and its undo goes by it.
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let old = thing(tx, self.old).await?;
        let new = thing(tx, self.new).await?;
        let Some((design, window)) = set_of(tx, self.old, act.today).await? else {
            return Err(StockError::refused(format!(
                "{} is in no set. Nothing was changed. Mark it on its page instead.",
                old.tag
            )));
        };
        if self.condition == Condition::Good {
            return Err(super::change::field(
                "condition",
                "Say whether the old one is suspect or dead.",
            ));
        }
        let rules = holds::rules(tx, act.today).await?;
        let spare = db::reservation::lookup_thing(tx, self.new)
            .await?
            .ok_or(StockError::NotFound("fixture"))?;
        let claims = db::reservation::list_claims(tx, Some(self.new), None, None).await?;
        let free = match &spare.at {
            Some(at) => freedom(
                spare.condition,
                at,
                claims.on(self.new),
                None,
                window,
                rules,
            ),
            None => Freedom::Not(spare.gone.to_owned()),
        };
        if let Freedom::Not(why) = free {
            return Err(StockError::refused(format!(
                "{} is not free any more: {why}. Nothing was changed. Choose another.",
                new.tag
            )));
        }
        let mut bar = None;
        // A bar that was marked bad before has a broken hold: the new one takes its place all the same.
        for hold in db::reservation::list(tx, design).await? {
            if matches!(hold.hold.held, Held::Thing { thing, .. } if thing == self.old) {
                bar = bar.or(hold.hold.bar);
                db::reservation::end(tx, hold.id).await?;
            }
        }
        let hold = NewHold {
            design,
            bar,
            held: Held::Thing {
                thing: self.new,
                from: 0,
                to: 1,
            },
            window,
            becomes: HoldUse::Returns,
        };
        db::reservation::add(tx, &hold, act.today, &act.who).await?;
        let mark = Mark {
            thing: old.id,
            before: old.condition,
            after: self.condition,
        };
        if mark.before != mark.after {
            db::thing::set_condition(tx, old.id, mark.after).await?;
        }
        let state = db::design::lookup(tx, design)
            .await?
            .ok_or(StockError::NotFound("set"))?
            .state;
        if state == State::Reserved
            && let Some(bar) = bar
        {
            choose(tx, design, bar, (old.id, new.id)).await?;
        }
        let mut lines = Vec::new();
        let going_out = state == State::Standing || old.place.kind == AccountKind::Design;
        if going_out && new.place.kind == AccountKind::Place {
            let account = db::place::account_of_design(tx, design)
                .await?
                .ok_or(StockError::NotFound("set"))?;
            let line = Line {
                moved: moved(&new),
                from: new.place.account,
                to: account,
            };
            lines.push(line);
        }
        let kind = if lines.is_empty() {
            MovementKind::Mark
        } else {
            MovementKind::TakeOut
        };
        // One movement, so that one undo takes all of it back.
        let says = mark.before != mark.after || lines.is_empty();
        let head = Head {
            mark: says.then_some(mark),
            ..Head::new(kind, &self.reason)
        }
        .design(Some(design));
        let done = write(tx, act, head, lines).await?;
        Ok(Done {
            things: vec![self.new],
            ..done
        })
    }
}
