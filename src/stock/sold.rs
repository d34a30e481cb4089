//! Who sells, and for how much: suppliers and their prices, each added and changed once however often
//! the same press arrives. Nothing moves by it.

use super::{Act, Begun, StockError, change::field};
use crate::{
    db::{
        self, DbError, Refusal,
        offer::{Offer, Supplier},
    },
    model::id::{OfferId, SupplierId},
};

/// Says which field a refusal is about.
fn at_field(error: DbError) -> StockError {
    match error {
        DbError::Refused(Refusal::Taken(_)) => field(
            "name",
            "There is a supplier of that name already. Choose another name.",
        ),
        DbError::Refused(Refusal::StillReferred) => {
            field("supplier", "There is no such supplier. Add it first.")
        }
        error => error.into(),
    }
}

/// Adds a supplier.
pub async fn add_supplier(act: &Act, new: &Supplier) -> Result<SupplierId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(id) => return Ok(id),
    };
    let added = db::offer::add_supplier(&mut tx, new).await;
    let id = added.map_err(at_field)?;
    // A new one is stored as in use.
    if new.retired {
        let stored = Supplier {
            id,
            version: 1,
            ..new.clone()
        };
        db::offer::change_supplier(&mut tx, &stored).await?;
    }
    act.finish(tx, id).await
}

/// Saves a supplier that was read at its version.
pub async fn change_supplier(act: &Act, changed: &Supplier) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    let saved = db::offer::change_supplier(&mut tx, changed).await;
    if !saved.map_err(at_field)? {
        return Err(StockError::Changed);
    }
    act.finish(tx, ()).await
}

/// Adds a price of a part.
pub async fn add_offer(act: &Act, new: &Offer) -> Result<OfferId, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(id) => return Ok(id),
    };
    if db::part::lookup(&mut tx, new.part).await?.is_none() {
        return Err(StockError::NotFound("part"));
    }
    let added = db::offer::add(&mut tx, new).await;
    let id = added.map_err(at_field)?;
    // A new one is stored as sold.
    if new.retired {
        let stored = Offer {
            id,
            version: 1,
            ..new.clone()
        };
        db::offer::change(&mut tx, &stored).await?;
    }
    act.finish(tx, id).await
}

/// Saves a price that was read at its version.
pub async fn change_offer(act: &Act, changed: &Offer) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    let saved = db::offer::change(&mut tx, changed).await;
    if !saved.map_err(at_field)? {
        return Err(StockError::Changed);
    }
    act.finish(tx, ()).await
}
