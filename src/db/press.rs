//! SQL for keys of forms and requests already carried out.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx};

/// A key that was used, with what was asked and answered then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pressed {
    /// Digest of what was asked.
    pub request: String,
    /// What was answered.
    pub answer: String,
}

/// Days after which keys are forgotten.
const KEPT_DAYS: i64 = 30;

/// What was answered under a key, if it was used.
pub async fn find(tx: &mut SqliteConnection, key: &str) -> Result<Option<Pressed>, DbError> {
    Ok(sqlx::query_as!(
        Pressed,
        "SELECT request, answer FROM press WHERE key = ?",
        key
    )
    .fetch_optional(tx)
    .await?)
}

/// Keeps a key with its answer, in the transaction of its effect; forgets old ones.
pub async fn add(
    tx: &mut WriteTx,
    key: &str,
    pressed: &Pressed,
    now_ms: i64,
) -> Result<(), DbError> {
    let old = now_ms - KEPT_DAYS * 24 * 3_600_000;
    // Both in one errand to the thread that writes.
    sqlx::query!(
        "DELETE FROM press WHERE at_ms < ?;
         INSERT INTO press (key, request, answer, at_ms) VALUES (?, ?, ?, ?)",
        old,
        key,
        pressed.request,
        pressed.answer,
        now_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
