//! The way back from a set that was said to stand too soon.

use sqlx::SqliteConnection;

use crate::{
    db::{self, WriteTx, movement::Stood},
    model::{
        design::Design,
        id::{DesignId, MovementId},
        reservation::HoldUse,
        text::Note,
    },
    stock::{
        Act, Change as _, StockError, runs,
        undo::{LATER_FIRST, Undo},
    },
    units::say_day,
};

/// When it was said to stand, or why that cannot be taken back.
async fn stood(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<Result<Stood, String>, StockError> {
    let Some(stood) = db::movement::find_stood(&mut *tx, design).await? else {
        return Ok(Err(
            "The log does not say what went out when it was said to stand. Check that in instead."
                .to_owned(),
        ));
    };
    let later = db::movement::find_later_of_set(tx, design, stood.last).await?;
    Ok(match later {
        None => Ok(stood),
        Some(later) => Err(format!(
            "Since then something of it was {} by {} on {}. {LATER_FIRST}",
            later.kind,
            later.who,
            say_day(later.on)
        )),
    })
}

/// Why a standing set cannot go back to the bench, if it cannot.
pub(in crate::stock) async fn why_not_back(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<Option<String>, StockError> {
    Ok(stood(tx, design).await?.err())
}

/// Puts back what went out when a set was said to stand, by the counter-movement; what it held is held
/// as it was.
pub(in crate::stock) async fn back_to_bench(
    tx: &mut WriteTx,
    act: &Act,
    design: &Design,
) -> Result<Option<MovementId>, StockError> {
    let stood = stood(tx, design.id)
        .await?
        .map_err(|why| StockError::refused(format!("{why} Nothing was changed.")))?;
    let Some(movement) = stood.movement else {
        return Ok(None);
    };
    let entry = db::movement::lookup(tx, movement)
        .await?
        .ok_or(StockError::NotFound("movement"))?;
    // Cable that was hung then had been held for good.
    let mut hung = Vec::new();
    for thing in entry.lines.iter().filter_map(|line| line.thing) {
        let ended = db::reservation::find_ended(tx, design.id, thing).await?;
        if ended.is_some_and(|hold| hold.hold.becomes == HoldUse::Consumed) {
            hung.push(thing);
        }
    }
    let undo = Undo {
        movement,
        reason: Note::default(),
    };
    let done = undo.within(tx, act).await?;
    runs::unhang(tx, act, design, &hung).await?;
    Ok(done.movement)
}
