//! SQL for how much there was, day by day: added up from the ledger.

use sqlx::SqliteConnection;

use super::{DbError, refusal::read};
use crate::{
    model::id::{PartId, ThingId},
    units::{Date, parse_date},
};

/// By how much what one owns of a part changed on each day, in its stock unit; days without a
/// change are left out.
pub async fn list_of_part(
    tx: &mut SqliteConnection,
    part: PartId,
) -> Result<Vec<(Date, i64)>, DbError> {
    // Accounts 1 to 6 are those outside the house; in these words an index knows what crosses.
    sqlx::query!(
        r#"SELECT movement.on_date AS "day!: String",
               sum(line.amount * ((line.to_id > 6) - (line.from_id > 6))) AS "change!: i64"
           FROM movement_line AS line JOIN movement ON movement.id = line.movement_id
           WHERE line.part_id = ? AND (line.from_id > 6) <> (line.to_id > 6)
           GROUP BY movement.on_date
           HAVING sum(line.amount * ((line.to_id > 6) - (line.from_id > 6))) <> 0
           ORDER BY movement.on_date"#,
        part.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| Ok((read("movement.on_date", parse_date(&row.day))?, row.change)))
    .collect()
}

/// By how much what is left of a piece changed on each day: of itself and of all that was cut from
/// it, what is neither built in nor gone.
pub async fn list_of_piece(
    tx: &mut SqliteConnection,
    piece: ThingId,
) -> Result<Vec<(Date, i64)>, DbError> {
    sqlx::query!(
        r#"WITH RECURSIVE family (id) AS (
               SELECT ?1 UNION SELECT piece.thing_id FROM piece JOIN family ON piece.parent_id = family.id)
           SELECT movement.on_date AS "day!: String",
               sum(line.amount * ((t.kind IN ('place', 'design', 'loan'))
                   - (f.kind IN ('place', 'design', 'loan')))) AS "change!: i64"
           FROM family JOIN movement_line AS line ON line.thing_id = family.id
           JOIN movement ON movement.id = line.movement_id
           JOIN account AS t ON t.id = line.to_id JOIN account AS f ON f.id = line.from_id
           GROUP BY movement.on_date
           ORDER BY movement.on_date"#,
        piece.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .filter(|row| row.change != 0)
    .map(|row| Ok((read("movement.on_date", parse_date(&row.day))?, row.change)))
    .collect()
}
