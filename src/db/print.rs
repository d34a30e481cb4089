//! Sheets that were printed, by their marks.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx};
use crate::model::id::DesignId;

/// A sheet as it was printed once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Print {
    /// Which sheet, by its word.
    pub sheet: String,
    /// When it was first shown so, in milliseconds since 1970 (UTC).
    pub first_ms: i64,
}

/// Prints of a set under a mark, the latest first.
pub async fn list(
    tx: &mut SqliteConnection,
    design: DesignId,
    mark: &str,
) -> Result<Vec<Print>, DbError> {
    let rows = sqlx::query!(
        "SELECT sheet, first_ms FROM print WHERE design_id = ? AND mark = ? ORDER BY first_ms DESC, id DESC",
        design.0,
        mark
    )
    .fetch_all(tx)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Print {
            sheet: row.sheet,
            first_ms: row.first_ms,
        })
        .collect())
}

/// Whether a sheet was shown under this mark before.
pub async fn known(
    tx: &mut SqliteConnection,
    design: DesignId,
    sheet: &str,
    mark: &str,
) -> Result<bool, DbError> {
    let found = sqlx::query_scalar!(
        "SELECT count(*) FROM print WHERE design_id = ? AND sheet = ? AND mark = ?",
        design.0,
        sheet,
        mark
    )
    .fetch_one(tx)
    .await?;
    Ok(found > 0)
}

/// Notes that a sheet is shown under a mark; the first time stays.
pub async fn add(
    tx: &mut WriteTx,
    design: DesignId,
    sheet: &str,
    mark: &str,
    now_ms: i64,
) -> Result<(), DbError> {
    sqlx::query!(
        "INSERT INTO print (design_id, sheet, mark, first_ms) VALUES (?, ?, ?, ?)
         ON CONFLICT DO NOTHING",
        design.0,
        sheet,
        mark,
        now_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
