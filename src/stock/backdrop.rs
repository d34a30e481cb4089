//! The picture under an elevation: laid there, moved, scaled, taken away. It moves no stock and
//! changes no plan, so the design keeps its version.

use super::{Act, Begun, StockError};
use crate::{
    db::{self, backdrop::Backdrop},
    model::id::DesignId,
};

/// Stores a picture in place of the one that was there.
pub async fn lay(act: &Act, id: DesignId, new: &Backdrop, bytes: &[u8]) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    if db::design::lookup(&mut tx, id).await?.is_none() {
        return Err(StockError::NotFound("set"));
    }
    db::backdrop::add(&mut tx, id, new, bytes).await?;
    act.finish(tx, ()).await
}

/// Changes where it lies and how it shows.
pub async fn change(
    act: &Act,
    id: DesignId,
    make: impl FnOnce(Backdrop) -> Result<Backdrop, StockError>,
) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    let old = db::backdrop::lookup(&mut tx, id).await?;
    let new = make(old.ok_or(StockError::NotFound("picture under this set"))?)?;
    db::backdrop::change(&mut tx, id, &new).await?;
    act.finish(tx, ()).await
}

/// Takes it away.
pub async fn remove(act: &Act, id: DesignId) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    db::backdrop::remove(&mut tx, id).await?;
    act.finish(tx, ()).await
}
