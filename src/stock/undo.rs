//! The counter-movement: every line back, or the later movement that stands in the way.

use serde::{Deserialize, Serialize};

use super::{
    Act, StockError,
    change::{Change, Done, Head, thing, write},
    count, hold_again,
};
use crate::{
    db::{
        self, WriteTx,
        movement::{Entry, EntryLine, Later},
    },
    model::{
        id::{AccountId, MovementId, ThingId},
        movement::{AccountKind, Line, Mark, Moved, MovementKind},
        text::Note,
    },
    units::say_day,
};

/// A movement that is undone. A cut becomes 'was not cut': the piece comes back from the bench and
/// its children end there. An undo, and what was undone, can't be undone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Undo {
    /// Which.
    pub movement: MovementId,
    /// Why, in the person's own words.
    pub reason: Note,
}

impl Change for Undo {
    type Answer = Done;

    async fn within(&self, tx: &mut WriteTx, act: &Act) -> Result<Done, StockError> {
        let entry = db::movement::lookup(tx, self.movement)
            .await?
            .ok_or(StockError::NotFound("movement"))?;
        if entry.kind == MovementKind::Undo {
            return Err(StockError::refused(
                "This is an undo itself. Nothing was changed. Do again what it undid.",
            ));
        }
        if let Some(by) = entry.undone_by {
            let by = db::movement::lookup(tx, by)
                .await?
                .ok_or(StockError::NotFound("movement"))?;
            return Err(StockError::refused(format!(
                "This was undone already, by {} on {}. Nothing was changed.",
                by.who,
                say_day(by.on)
            )));
        }
        // A ticked step holds and has made more than its movement says.
        if let Some((set, step)) = db::design::find_step_of(tx, entry.id).await? {
            return Err(StockError::refused(format!(
                "This is the ticked step “{step}” of {set}. Nothing was changed. While the set is \
                 built, untick it on its Build page, which also puts back what it held; once it \
                 stands or is struck, correct what lies otherwise by hand."
            )));
        }
        // What came back from a set would be out with it again.
        let from_a_set = |line: &EntryLine| line.from.kind == AccountKind::Design;
        if let Some((set, name)) = &entry.design
            && entry.lines.iter().any(from_a_set)
            && let Some(set) = db::design::lookup(tx, *set).await?
            && set.state.is_over()
        {
            return Err(StockError::refused(format!(
                "{name} is {}: nothing can be out with it again. Nothing was changed. Correct what \
                 lies otherwise by hand.",
                set.state
            )));
        }
        let lines: Vec<Line> = entry
            .lines
            .iter()
            .map(|line| {
                let line = line.line();
                Line {
                    moved: line.moved,
                    from: line.to,
                    to: line.from,
                }
            })
            .rev()
            .collect();
        for line in &lines {
            still_there(tx, &entry, line).await?;
        }
        let mark = match &entry.mark {
            Some((mark, _)) => Some(back(tx, &entry, *mark).await?),
            None => None,
        };
        let head = Head {
            undoes: Some(entry.id),
            mark,
            ..Head::new(MovementKind::Undo, &self.reason)
        }
        .design(entry.design.as_ref().map(|(id, _)| *id));
        let done = write(tx, act, head, lines.clone()).await?;
        for line in &lines {
            if let (Moved::Thing { thing, .. }, AccountId::WORLD | AccountId::BENCH) =
                (line.moved, line.to)
            {
                empty(tx, entry.id, thing).await?;
            }
        }
        if entry.kind == MovementKind::Count {
            count::tags_back(tx, &lines).await?;
        }
        if entry.kind == MovementKind::Receive {
            db::purchase::undo_receipt(tx, entry.id).await?;
        }
        hold_again::after_undo(tx, act, &entry).await?;
        Ok(done)
    }
}

/// What to do where a later movement stands in the way.
pub const LATER_FIRST: &str = "Undo that first: it is in the log.";

fn in_the_way(what: &str, later: Option<Later>) -> StockError {
    StockError::refused(match later {
        Some(later) => format!(
            "{what} was {} by {} on {}, after this. Nothing was changed. {LATER_FIRST}",
            later.kind,
            later.who,
            say_day(later.on)
        ),
        None => format!("{what} is no longer where this put it. Nothing was changed."),
    })
}

/// A thing must be where the movement put it; a child of a cut must not have been touched since;
/// of a count there must be as much.
async fn still_there(tx: &mut WriteTx, entry: &Entry, line: &Line) -> Result<(), StockError> {
    match line.moved {
        Moved::Piece { thing: id, .. } | Moved::Thing { thing: id, .. } => {
            let thing = thing(tx, id).await?;
            let tag = thing.tag.to_string();
            if thing.place.account != line.from {
                let later = db::movement::find_later_of_thing(tx, id, entry.id).await?;
                return Err(in_the_way(&tag, later));
            }
            let child = entry.kind == MovementKind::Cut && line.to == AccountId::BENCH;
            if child
                && let Some(later) = db::movement::find_standing_later(tx, id, entry.id).await?
            {
                return Err(in_the_way(&tag, Some(later)));
            }
            Ok(())
        }
        Moved::Count { part, amount } => {
            let spot = db::place::whereabouts(tx, line.from)
                .await?
                .ok_or(StockError::NotFound("place"))?;
            let there = db::balance::amount(tx, part, line.from).await?;
            // What lies outside may be owed; what was lost and found again is not lost any more.
            let owned = spot.kind.owned() || line.from == AccountId::LOST;
            if owned && there < amount {
                let later =
                    db::movement::find_later_of_count(tx, part, line.from, entry.id).await?;
                let name = db::part::lookup(tx, part)
                    .await?
                    .map_or_else(|| "It".to_owned(), |part| part.name.to_string());
                return Err(in_the_way(
                    &format!(
                        "Some of {name} ({there} of {amount} are still in {})",
                        spot.words
                    ),
                    later,
                ));
            }
            Ok(())
        }
        Moved::Loss { .. } => Ok(()),
    }
}

/// The condition before a mark, if it is still the one that the mark set.
async fn back(tx: &mut WriteTx, entry: &Entry, mark: Mark) -> Result<Mark, StockError> {
    let thing = thing(tx, mark.thing).await?;
    if thing.condition != mark.after {
        let later = db::movement::find_later_mark(tx, mark.thing, entry.id).await?;
        return Err(in_the_way(thing.tag.as_str(), later));
    }
    db::thing::set_condition(tx, mark.thing, mark.before).await?;
    Ok(Mark {
        thing: mark.thing,
        before: mark.after,
        after: mark.before,
    })
}

/// What ends must not hold anything any more.
async fn empty(tx: &mut WriteTx, undone: MovementId, id: ThingId) -> Result<(), StockError> {
    let Some(inside) = db::place::account_inside(tx, id).await? else {
        return Ok(());
    };
    let things = db::thing::list_at(tx, inside).await?;
    let counts = db::balance::list_at(tx, inside).await?;
    let Some(name) = things
        .first()
        .map(|thing| thing.tag.to_string())
        .or_else(|| counts.first().map(|count| count.name.clone()))
    else {
        return Ok(());
    };
    let later = db::movement::find_later_into(tx, inside, undone).await?;
    Err(in_the_way(&name, later))
}
