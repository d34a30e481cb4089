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

/// When a set was last said to stand, as the ledger has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stood {
    /// What took out all that it held, if that stands; where nothing had to go out there is none.
    pub movement: Option<MovementId>,
    /// The last movement before anything that came after it.
    pub last: MovementId,
}

/// When a set was last said to stand; `None` where the log does not know.
pub async fn find_stood(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<Option<Stood>, DbError> {
    let at_ms = sqlx::query_scalar!(
        r#"SELECT at_ms AS "at_ms!: i64" FROM change
           WHERE of = 'design' AND row_id = ? AND before ->> 'state' = 'building'
             AND after ->> 'state' = 'standing'
           ORDER BY id DESC LIMIT 1"#,
        design.0
    )
    .fetch_optional(&mut *tx)
    .await?;
    let Some(at_ms) = at_ms else { return Ok(None) };
    // Of one moment with it: ticked steps take out too, and so does a swap, which came later.
    let movement = sqlx::query_scalar!(
        r#"SELECT id AS "id!: i64" FROM movement
           WHERE design_id = ?1 AND at_ms = ?2 AND kind = 'take_out' AND mark_thing_id IS NULL
             AND NOT EXISTS (SELECT 1 FROM step WHERE step.movement_id = movement.id)
             AND NOT EXISTS (SELECT 1 FROM movement AS counter WHERE counter.undoes_id = movement.id)
           ORDER BY id LIMIT 1"#,
        design.0,
        at_ms
    )
    .fetch_optional(&mut *tx)
    .await?;
    let last = match movement {
        Some(id) => id,
        None => {
            sqlx::query_scalar!(
                r#"SELECT coalesce(max(id), 0) AS "id!: i64" FROM movement WHERE at_ms <= ?"#,
                at_ms
            )
            .fetch_one(tx)
            .await?
        }
    };
    Ok(Some(Stood {
        movement: movement.map(MovementId),
        last: MovementId(last),
    }))
}

/// The last movement after `after` by which something went out with a set, came back from it or was
/// replaced in it, and which stands; what steps did that are ticked is not meant.
pub async fn find_later_of_set(
    tx: &mut SqliteConnection,
    design: DesignId,
    after: MovementId,
) -> Result<Option<Later>, DbError> {
    sqlx::query_as!(
        LaterRow,
        "SELECT id, kind, who, on_date FROM movement
         WHERE design_id = ? AND id > ? AND kind IN ('take_out', 'bring_back', 'lose', 'mark')
           AND NOT EXISTS (SELECT 1 FROM step WHERE step.movement_id = movement.id)
           AND NOT EXISTS (SELECT 1 FROM movement AS counter WHERE counter.undoes_id = movement.id)
         ORDER BY id DESC LIMIT 1",
        design.0,
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
