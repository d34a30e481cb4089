//! SQL for what is out with a set, and where it came from.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::DbError;
use crate::model::{
    id::{AccountId, PartId, PlaceId, ThingId},
    place::Place,
};

/// Where things and counts of an account were before they came there.
#[derive(Debug, Clone, Default)]
pub struct Origins {
    /// Of things.
    pub things: HashMap<ThingId, PlaceId>,
    /// Of counts: the place that the last of it came from.
    pub counts: HashMap<PartId, PlaceId>,
}

/// Where what lies in an account came from, as far as it came from a place that is in use.
pub async fn list_origins(
    tx: &mut SqliteConnection,
    account: AccountId,
) -> Result<Origins, DbError> {
    let mut origins = Origins::default();
    for row in sqlx::query!(
        r#"SELECT line.thing_id, line.part_id, account.place_id AS "place_id!"
           FROM movement_line AS line JOIN account ON account.id = line.from_id
           JOIN place ON place.id = account.place_id
           WHERE line.to_id = ? AND place.retired = 0 ORDER BY line.id"#,
        account.0
    )
    .fetch_all(tx)
    .await?
    {
        let place = PlaceId(row.place_id);
        match (row.thing_id, row.part_id) {
            (Some(thing), _) => {
                origins.things.insert(ThingId(thing), place);
            }
            (None, Some(part)) => {
                origins.counts.insert(PartId(part), place);
            }
            (None, None) => {}
        }
    }
    Ok(origins)
}

/// The place that a thing lay in last, if it is in use: where it is now, or where it was before it
/// went out.
pub async fn last_place(
    tx: &mut SqliteConnection,
    thing: ThingId,
) -> Result<Option<Place>, DbError> {
    let found = sqlx::query_scalar!(
        r#"SELECT place.id AS "id!" FROM movement_line AS line
           JOIN account ON account.id IN (line.from_id, line.to_id)
           JOIN place ON place.id = account.place_id
           WHERE line.thing_id = ? AND place.retired = 0
           ORDER BY line.id DESC, account.id = line.to_id DESC LIMIT 1"#,
        thing.0
    )
    .fetch_optional(&mut *tx)
    .await?;
    match found {
        Some(id) => super::place::lookup(tx, PlaceId(id)).await,
        None => Ok(None),
    }
}
