//! SQL for frames: what a frame has beside what every thing has.

use sqlx::SqliteConnection;

use crate::{
    db::{DbError, WriteTx, refusal::read},
    model::{
        id::ThingId,
        text::{Name, Tag},
        thing::OwnedFrame,
    },
    units::Length,
};

/// One frame.
pub async fn lookup_frame(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Option<OwnedFrame>, DbError> {
    Ok(list_frames(tx, &[id]).await?.pop())
}

/// Several frames at once; ids of other things are left out.
pub async fn list_frames(
    tx: &mut SqliteConnection,
    ids: &[ThingId],
) -> Result<Vec<OwnedFrame>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    sqlx::query!(
        "SELECT thing.id, tag, condition, name, width_um, height_um
         FROM frame JOIN thing ON thing.id = frame.thing_id
         WHERE thing_id IN (SELECT value FROM json_each(?)) ORDER BY thing_id",
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(OwnedFrame {
            id: ThingId(row.id),
            tag: read("thing.tag", Tag::parse(&row.tag))?,
            name: read("frame.name", Name::parse(&row.name))?,
            width_um: read("frame.width_um", Length::new(row.width_um))?,
            height_um: read("frame.height_um", Length::new(row.height_um))?,
            condition: read("thing.condition", row.condition.parse())?,
        })
    })
    .collect()
}

/// Adds what makes a thing a frame.
pub async fn add_frame(
    tx: &mut WriteTx,
    id: ThingId,
    name: &Name,
    width: Length,
    height: Length,
) -> Result<(), DbError> {
    let (name, width, height) = (name.as_str(), width.get(), height.get());
    sqlx::query!(
        "INSERT INTO frame (thing_id, name, width_um, height_um) VALUES (?, ?, ?, ?)",
        id.0,
        name,
        width,
        height
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Saves a frame's name and size.
pub async fn change_frame(
    tx: &mut WriteTx,
    id: ThingId,
    name: &Name,
    width: Length,
    height: Length,
) -> Result<(), DbError> {
    let (name, width, height) = (name.as_str(), width.get(), height.get());
    let words = format!("frame {}", name.to_lowercase());
    sqlx::query!(
        "UPDATE frame SET name = ?, width_um = ?, height_um = ? WHERE thing_id = ?",
        name,
        width,
        height,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!("UPDATE thing SET words = ? WHERE id = ?", words, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
