//! Prices of one supplier for many parts at once.

use super::{Act, Begun, StockError, change::field};
use crate::{
    db::{
        self, DbError, Refusal,
        offer::{Offer, Supplier},
    },
    model::{
        id::{OfferId, PartId, SupplierId},
        text::{Name, Note},
    },
    units::Money,
};

/// Who sells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seller {
    /// Somebody known.
    Known(SupplierId),
    /// Somebody new, and how they deliver: the last day to order and what a parcel costs rest on it.
    New {
        /// Their name.
        name: Name,
        /// Days from order to delivery.
        delivery_days: u32,
        /// Charge for a delivery.
        delivery_minor: Money,
    },
}

/// A price of one pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Price {
    /// Of which part.
    pub part: PartId,
    /// Count in a pack, or micrometres of one roll, reel or bar.
    pub pack_amount: i64,
    /// What it costs.
    pub price_minor: Money,
}

/// Notes all prices, or none; returns how many.
pub async fn note(act: &Act, seller: &Seller, prices: &[Price]) -> Result<usize, StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(noted) => return Ok(noted),
    };
    let supplier = match seller {
        Seller::Known(id) => {
            db::offer::lookup_supplier(&mut tx, *id)
                .await?
                .ok_or(StockError::NotFound("supplier"))?
                .id
        }
        Seller::New {
            name,
            delivery_days,
            delivery_minor,
        } => {
            let new = Supplier {
                id: SupplierId(0),
                name: name.clone(),
                delivery_days: *delivery_days,
                delivery_minor: *delivery_minor,
                free_above_minor: None,
                note: Note::default(),
                retired: false,
                version: 0,
            };
            let added = db::offer::add_supplier(&mut tx, &new).await;
            added.map_err(|why| match &why {
                DbError::Refused(Refusal::Taken(_)) => field(
                    "new_supplier",
                    "There is a supplier of this name. Choose it in the list.",
                ),
                _ => why.into(),
            })?
        }
    };
    for price in prices {
        let offer = Offer {
            id: OfferId(0),
            part: price.part,
            supplier,
            pack_amount: price.pack_amount,
            price_minor: price.price_minor,
            minimum_packs: 1,
            code: String::new(),
            retired: false,
            version: 0,
        };
        db::offer::add(&mut tx, &offer).await?;
    }
    act.finish(tx, prices.len()).await
}
