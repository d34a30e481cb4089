//! What came after a movement and stands in the way of its undo.

use sqlx::SqliteConnection;

use crate::{
    db::{DbError, refusal::read},
    model::{
        id::{AccountId, DesignId, MovementId, PartId, ThingId},
        movement::MovementKind,
        text::Name,
    },
    units::{Date, parse_date},
};

/// The later movement that stands in the way of an undo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Later {
    /// Which.
    pub id: MovementId,
    /// What it did.
    pub kind: MovementKind,
    /// By whom.
    pub who: Name,
    /// When, by the venue's calendar.
    pub on: Date,
}

/// The last movement of a thing after `after`, its marks not counted.
pub async fn find_later_of_thing(
    tx: &mut SqliteConnection,
    thing: ThingId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT movement.id, movement.kind, who, on_date
         FROM movement_line JOIN movement ON movement.id = movement_line.movement_id
         WHERE thing_id = ? AND movement_id > ? ORDER BY movement_line.id DESC LIMIT 1",
        thing.0,
        after.0
    )
    .fetch_optional(tx)
    .await?
    .map(LaterRow::later)
    .transpose()
}

/// The last movement after `after` that took some of a part out of an account.
pub async fn find_later_of_count(
    tx: &mut SqliteConnection,
    part: PartId,
    account: AccountId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT movement.id, movement.kind, who, on_date
         FROM movement_line JOIN movement ON movement.id = movement_line.movement_id
         WHERE part_id = ? AND from_id = ? AND thing_id IS NULL AND movement_id > ?
         ORDER BY movement_id DESC, movement_line.id DESC LIMIT 1",
        part.0,
        account.0,
        after.0
    )
    .fetch_optional(tx)
    .await?
    .map(LaterRow::later)
    .transpose()
}

/// The last movement after `after` that put something into an account.
pub async fn find_later_into(
    tx: &mut SqliteConnection,
    account: AccountId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT movement.id, movement.kind, who, on_date
         FROM movement_line JOIN movement ON movement.id = movement_line.movement_id
         WHERE to_id = ? AND movement_id > ?
         ORDER BY movement_id DESC, movement_line.id DESC LIMIT 1",
        account.0,
        after.0
    )
    .fetch_optional(tx)
    .await?
    .map(LaterRow::later)
    .transpose()
}

/// The last movement after `after` that stands and touched a thing: not an undo, and not undone.
pub async fn find_standing_later(
    tx: &mut SqliteConnection,
    thing: ThingId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT movement.id, movement.kind, who, on_date
         FROM movement_line JOIN movement ON movement.id = movement_line.movement_id
         WHERE thing_id = ? AND movement_id > ? AND movement.kind <> 'undo'
           AND NOT EXISTS (SELECT 1 FROM movement AS counter WHERE counter.undoes_id = movement.id)
         ORDER BY movement_line.id DESC LIMIT 1",
        thing.0,
        after.0
    )
    .fetch_optional(tx)
    .await?
    .map(LaterRow::later)
    .transpose()
}

/// The sets in which another took the place of a thing, by a mark that still stands: that movement or
/// a later one.
pub async fn list_swapped_in(
    tx: &mut SqliteConnection,
    old: ThingId,
    from: MovementId,
) -> Result<Vec<DesignId>, DbError> {
    let found = sqlx::query_scalar!(
        r#"SELECT DISTINCT design_id AS "design!" FROM movement
           WHERE mark_thing_id = ?1 AND kind = 'mark' AND design_id IS NOT NULL
             AND (id = ?2 OR id > ?2 AND NOT EXISTS
                 (SELECT 1 FROM movement AS later WHERE later.undoes_id = movement.id))
           ORDER BY design_id"#,
        old.0,
        from.0
    )
    .fetch_all(tx)
    .await?;
    Ok(found.into_iter().map(DesignId).collect())
}

/// The last mark of a thing after `after`.
pub async fn find_later_mark(
    tx: &mut SqliteConnection,
    thing: ThingId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT id, kind, who, on_date FROM movement
         WHERE mark_thing_id = ? AND id > ? ORDER BY id DESC LIMIT 1",
        thing.0,
        after.0
    )
    .fetch_optional(tx)
    .await?
    .map(LaterRow::later)
    .transpose()
}

struct LaterRow {
    id: i64,
    kind: String,
    who: String,
    on_date: String,
}

impl LaterRow {
    fn later(self) -> Result<Later, DbError> {
        Ok(Later {
            id: MovementId(self.id),
            kind: read("movement.kind", self.kind.parse())?,
            who: read("movement.who", Name::parse(&self.who))?,
            on: read("movement.on_date", parse_date(&self.on_date))?,
        })
    }
}
