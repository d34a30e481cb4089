//! Places to keep things: added, changed, taken out of use. Nothing moves by it.

use super::{Act, Begun, StockError};
use crate::{
    db::{
        DbError, Refusal,
        place::{self, NewPlace},
    },
    model::{id::PlaceId, place::Place},
};

/// Says which field a refusal is about.
fn at_field(error: DbError) -> StockError {
    let field = match &error {
        DbError::Refused(Refusal::Taken(_)) => "name",
        DbError::Refused(Refusal::PlaceInItself | Refusal::StillReferred) => "parent",
        _ => return error.into(),
    };
    StockError::Field {
        field: field.to_owned(),
        message: error.to_string(),
    }
}

/// Adds a place.
pub async fn add(act: &Act, new: &NewPlace) -> Result<PlaceId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(id) => return Ok(id),
    };
    let id = place::add(&mut tx, new).await.map_err(at_field)?;
    act.finish(tx, id).await
}

/// Saves a place that was read at its version.
pub async fn change(act: &Act, changed: &Place) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    if place::lookup(&mut tx, changed.id).await?.is_none() {
        return Err(StockError::NotFound("place"));
    }
    if !place::change(&mut tx, changed).await.map_err(at_field)? {
        return Err(StockError::Changed);
    }
    act.finish(tx, ()).await
}

/// Takes an empty place out of use, or into use again.
pub async fn retire(act: &Act, id: PlaceId, retired: bool) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    if !place::retire(&mut tx, id, retired).await? {
        return Err(StockError::NotFound("place"));
    }
    act.finish(tx, ()).await
}
