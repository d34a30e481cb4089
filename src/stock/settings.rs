//! The venue's settings, against the sums that stand in its book already.

use super::{Act, Begun, StockError, change::field};
use crate::{
    db::{self, WriteTx},
    model::{text::Name, venue::Venue},
};

/// The field that says that stored sums are to be read in another currency.
pub const RELABEL: &str = "relabel";

/// Saves settings that were read at `venue.version`.
///
/// Sums are stored as numbers of the currency's smallest unit. With another count of decimals they
/// would be other sums, so that is refused while there are any; another currency of as many
/// decimals leaves every number as it is, and is stored only where `relabel` says so.
pub async fn change(act: &Act, venue: &Venue, relabel: bool) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    check_money(&mut tx, venue, relabel).await?;
    if !db::venue::change(&mut tx, venue).await? {
        return Err(StockError::Changed);
    }
    act.finish(tx, ()).await
}

/// Puts a name on the list to choose from as 'who'; one that is there already stays.
pub async fn add_person(act: &Act, name: &Name) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    db::venue::add_person(&mut tx, name).await?;
    act.finish(tx, ()).await
}

/// Takes a name off that list.
pub async fn remove_person(act: &Act, name: &Name) -> Result<(), StockError> {
    let mut tx = match act.begin().await? {
        Begun::Fresh(tx) => tx,
        Begun::Repeat(()) => return Ok(()),
    };
    if !db::venue::list_people(&mut tx).await?.contains(name) {
        return Err(StockError::NotFound("name"));
    }
    db::venue::remove_person(&mut tx, name).await?;
    act.finish(tx, ()).await
}

/// Refuses another currency where that would make other sums of those that are stored.
async fn check_money(tx: &mut WriteTx, venue: &Venue, relabel: bool) -> Result<(), StockError> {
    let old = db::venue::lookup(tx).await?;
    let (was, now) = (old.currency, venue.currency);
    if old.version == venue.version && was != now && db::venue::has_money(tx).await? {
        if was.digits() != now.digits() {
            return Err(field(
                "currency",
                format!(
                    "Prices, budgets or orders are stored in {}, which has {}; {} has {}, and every \
                     sum would become another. Nothing was saved. Keep {}, or take one with as \
                     many decimals.",
                    was.code(),
                    decimals(was.digits()),
                    now.code(),
                    decimals(now.digits()),
                    was.code(),
                ),
            ));
        }
        if !relabel {
            return Err(field(
                RELABEL,
                format!(
                    "Prices, budgets or orders are stored in {0}. They are kept as numbers and not \
                     converted: 10 {0} would read 10 {1}. Nothing was saved. Tick this if that is \
                     what you want, or type {0} again.",
                    was.code(),
                    now.code(),
                ),
            ));
        }
    }
    Ok(())
}

fn decimals(digits: u8) -> String {
    match digits {
        0 => "no decimals".to_owned(),
        1 => "1 decimal".to_owned(),
        more => format!("{more} decimals"),
    }
}
