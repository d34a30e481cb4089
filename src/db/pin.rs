//! SQL for what a design leaves alone and from whom nothing is bought for it.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        design::{Design, LeftAlone, NotFrom},
        id::{DesignId, SupplierId, ThingId},
        text::{Name, Note, Tag},
        thing::ThingKind,
    },
    plan::input::LeftThing,
};

/// What a design leaves alone, by id.
pub(super) async fn list_left_alone(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Vec<LeftAlone>, DbError> {
    sqlx::query!(
        "SELECT thing_id, note FROM design_left_alone WHERE design_id = ? ORDER BY thing_id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(LeftAlone {
            thing: ThingId(row.thing_id),
            note: read("design_left_alone.note", Note::parse(&row.note))?,
        })
    })
    .collect()
}

/// From whom nothing is bought for a design, by id.
pub(super) async fn list_not_from(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Vec<NotFrom>, DbError> {
    sqlx::query!(
        "SELECT supplier_id, note FROM design_not_from WHERE design_id = ? ORDER BY supplier_id",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(NotFrom {
            supplier: SupplierId(row.supplier_id),
            note: read("design_not_from.note", Note::parse(&row.note))?,
        })
    })
    .collect()
}

/// Stores what differs between the design as it was and as it is to be.
pub(super) async fn store(tx: &mut WriteTx, old: &Design, new: &Design) -> Result<(), DbError> {
    let kept = |thing: ThingId| new.left_alone.iter().any(|it| it.thing == thing);
    for gone in old.left_alone.iter().filter(|it| !kept(it.thing)) {
        sqlx::query!(
            "DELETE FROM design_left_alone WHERE design_id = ? AND thing_id = ?",
            new.id.0,
            gone.thing.0
        )
        .execute(&mut **tx)
        .await?;
    }
    for left in new
        .left_alone
        .iter()
        .filter(|it| !old.left_alone.contains(it))
    {
        let note = left.note.as_str();
        sqlx::query!(
            "INSERT INTO design_left_alone (design_id, thing_id, note) VALUES (?, ?, ?)
             ON CONFLICT (design_id, thing_id) DO UPDATE SET note = excluded.note",
            new.id.0,
            left.thing.0,
            note
        )
        .execute(&mut **tx)
        .await?;
    }
    let kept = |supplier: SupplierId| new.not_from.iter().any(|it| it.supplier == supplier);
    for gone in old.not_from.iter().filter(|it| !kept(it.supplier)) {
        sqlx::query!(
            "DELETE FROM design_not_from WHERE design_id = ? AND supplier_id = ?",
            new.id.0,
            gone.supplier.0
        )
        .execute(&mut **tx)
        .await?;
    }
    for from in new.not_from.iter().filter(|it| !old.not_from.contains(it)) {
        let note = from.note.as_str();
        sqlx::query!(
            "INSERT INTO design_not_from (design_id, supplier_id, note) VALUES (?, ?, ?)
             ON CONFLICT (design_id, supplier_id) DO UPDATE SET note = excluded.note",
            new.id.0,
            from.supplier.0,
            note
        )
        .execute(&mut **tx)
        .await?;
    }
    Ok(())
}

/// What a design, stored so or not, leaves alone, as it is now.
pub(super) async fn list_left_things(
    tx: &mut SqliteConnection,
    design: &Design,
) -> Result<Vec<LeftThing>, DbError> {
    let mut things = Vec::with_capacity(design.left_alone.len());
    for left in &design.left_alone {
        let row = sqlx::query!(
            r#"SELECT thing.tag, thing.kind AS thing_kind, account.kind, holder.kind AS "holder_kind?",
                   holder.tag AS "holder_tag?"
               FROM thing JOIN account ON account.id = thing.account_id
               LEFT JOIN thing AS holder ON holder.id = account.thing_id
               WHERE thing.id = ?"#,
            left.thing.0
        )
        .fetch_optional(&mut *tx)
        .await?;
        // What was never there is refused when it is stored.
        let Some(row) = row else { continue };
        let gone = match (
            row.kind.as_str(),
            row.holder_kind.as_deref(),
            row.holder_tag,
        ) {
            ("place" | "design" | "loan", ..) | ("inside", Some("frame"), _) => None,
            ("inside", _, Some(tag)) => Some(format!("it is part of {tag} now")),
            ("used" | "bench", ..) => Some("it was cut up or used up".to_owned()),
            ("scrap", ..) => Some("it was thrown away".to_owned()),
            ("lost", ..) => Some("it was lost".to_owned()),
            _ => Some("it is no longer in the house".to_owned()),
        };
        things.push(LeftThing {
            thing: left.thing,
            tag: read("thing.tag", Tag::parse(&row.tag))?,
            kind: read("thing.kind", row.thing_kind.parse::<ThingKind>())?,
            gone,
        });
    }
    Ok(things)
}

/// The names of those from whom nothing is bought for a design, stored so or not.
pub(super) async fn list_names(
    tx: &mut SqliteConnection,
    design: &Design,
) -> Result<Vec<(SupplierId, Name)>, DbError> {
    let mut names = Vec::with_capacity(design.not_from.len());
    for from in &design.not_from {
        let name = sqlx::query_scalar!("SELECT name FROM supplier WHERE id = ?", from.supplier.0)
            .fetch_optional(&mut *tx)
            .await?;
        if let Some(name) = name {
            names.push((from.supplier, read("supplier.name", Name::parse(&name))?));
        }
    }
    Ok(names)
}
