//! SQL for drivers and supplies: what a unit has beside what every thing has.

use sqlx::SqliteConnection;

use crate::{
    db::{DbError, WriteTx, refusal::read},
    model::{
        id::{PartId, ThingId},
        text::Tag,
        thing::Unit,
    },
};

/// One driver or supply.
pub async fn lookup_unit(tx: &mut SqliteConnection, id: ThingId) -> Result<Option<Unit>, DbError> {
    Ok(list_units(tx, &[id]).await?.pop())
}

/// Several drivers and supplies at once; ids of other things are left out.
pub async fn list_units(tx: &mut SqliteConnection, ids: &[ThingId]) -> Result<Vec<Unit>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    sqlx::query!(
        r#"SELECT thing.id, tag, part_id AS "part_id!", condition, address, serial
           FROM unit JOIN thing ON thing.id = unit.thing_id
           WHERE thing_id IN (SELECT value FROM json_each(?)) ORDER BY thing_id"#,
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Unit {
            id: ThingId(row.id),
            tag: read("thing.tag", Tag::parse(&row.tag))?,
            part: PartId(row.part_id),
            address: row.address.and_then(|address| u16::try_from(address).ok()),
            serial: row.serial,
            condition: read("thing.condition", row.condition.parse())?,
        })
    })
    .collect()
}

/// Adds what makes a thing a unit.
pub async fn add_unit(
    tx: &mut WriteTx,
    id: ThingId,
    address: Option<u16>,
    serial: &str,
) -> Result<(), DbError> {
    sqlx::query!(
        "INSERT INTO unit (thing_id, address, serial) VALUES (?, ?, ?)",
        id.0,
        address,
        serial
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Saves a unit's address and number.
pub async fn change_unit(
    tx: &mut WriteTx,
    id: ThingId,
    address: Option<u16>,
    serial: &str,
) -> Result<(), DbError> {
    let words = serial.to_lowercase();
    sqlx::query!(
        "UPDATE unit SET address = ?, serial = ? WHERE thing_id = ?",
        address,
        serial,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!("UPDATE thing SET words = ? WHERE id = ?", words, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
