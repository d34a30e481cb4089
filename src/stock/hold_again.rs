//! What an undo gives back to a set: the hold that a check-in or a swap had ended.

use super::{Act, StockError, swap};
use crate::{
    db::{self, WriteTx, movement::Entry},
    model::{
        design::{Design, State},
        id::{PartId, ThingId},
        movement::{Moved, MovementKind},
        reservation::{Held, Hold, HoldUse, NewHold},
    },
};

/// Holds again what the undone movement had let go, for a set that is at work or standing.
pub(super) async fn after_undo(
    tx: &mut WriteTx,
    act: &Act,
    entry: &Entry,
) -> Result<(), StockError> {
    if let (MovementKind::Mark, Some((mark, _))) = (entry.kind, &entry.mark) {
        return swap::take_back(tx, act, entry, mark.thing).await;
    }
    let Some((design, _)) = &entry.design else {
        return Ok(());
    };
    let Some(design) = db::design::lookup(tx, *design).await? else {
        return Ok(());
    };
    if !matches!(design.state, State::Building | State::Standing) {
        return Ok(());
    }
    match entry.kind {
        MovementKind::BringBack | MovementKind::Lose => {
            for line in &entry.lines {
                match line.line().moved {
                    Moved::Thing { thing, .. } | Moved::Piece { thing, .. } => {
                        if let Some(ended) =
                            db::reservation::find_ended(tx, design.id, thing).await?
                        {
                            hold(tx, act, &design, &ended, ended.hold.held).await?;
                        }
                    }
                    Moved::Count { part, amount } => {
                        count(tx, act, &design, part, amount).await?;
                    }
                    Moved::Loss { .. } => {}
                }
            }
        }
        MovementKind::TakeOut => {
            if let [only] = &entry.lines[..]
                && let Some(new) = only.line().moved.thing()
            {
                swap_back(tx, act, &design, new).await?;
            }
        }
        _ => {}
    }
    Ok(())
}

/// The fixture that `new` had replaced holds its bar again, if it is still on stage.
async fn swap_back(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    new: ThingId,
) -> Result<(), StockError> {
    // A bar's cable replaces no fixture.
    if db::fixture::lookup(tx, new).await?.is_none() {
        return Ok(());
    }
    let held = db::reservation::list_on_thing(tx, new).await?;
    let Some(held) = held.into_iter().find(|it| it.hold.design == design.id) else {
        return Ok(());
    };
    let Some(bar) = held.hold.bar else {
        return Ok(());
    };
    for ended in db::reservation::list_ended_of_bar(tx, design.id, bar).await? {
        let Held::Thing { thing: old, .. } = ended.hold.held else {
            continue;
        };
        let on_stage = db::thing::lookup(tx, old)
            .await?
            .is_some_and(|thing| thing.place.design == Some(design.id));
        if old != new && on_stage {
            db::reservation::end(tx, held.id).await?;
            return hold(tx, act, design, &ended, ended.hold.held).await;
        }
    }
    Ok(())
}

/// Of a count no more is held than is out.
async fn count(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    part: PartId,
    amount: i64,
) -> Result<(), StockError> {
    let stage = db::place::account_of_design(tx, design.id)
        .await?
        .ok_or(StockError::NotFound("set"))?;
    let out = db::balance::amount(tx, part, stage).await?;
    let held: i64 = db::reservation::list_on_part(tx, part)
        .await?
        .iter()
        .filter(|it| it.hold.design == design.id && it.hold.becomes == HoldUse::Returns)
        .map(|it| match it.hold.held {
            Held::Count { amount, .. } => amount,
            Held::Thing { .. } => 0,
        })
        .sum();
    let again = amount.min(out - held);
    if again < 1 {
        return Ok(());
    }
    let new = NewHold {
        design: design.id,
        bar: None,
        held: Held::Count {
            part,
            amount: again,
            due: None,
        },
        window: design.dates.window(),
        becomes: HoldUse::Returns,
    };
    db::reservation::add(tx, &new, act.today, &act.who).await?;
    Ok(())
}

/// Holds again what an ended hold had, for its bar and the set's days.
pub(super) async fn hold(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
    ended: &Hold,
    held: Held,
) -> Result<(), StockError> {
    let new = NewHold {
        design: design.id,
        bar: ended.hold.bar,
        held,
        window: design.dates.window(),
        becomes: HoldUse::Returns,
    };
    db::reservation::add(tx, &new, act.today, &act.who).await?;
    Ok(())
}
