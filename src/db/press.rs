//! SQL for keys of forms and requests already carried out.

use sqlx::SqliteConnection;

use super::DbError;

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

/// A key with its answer, kept in the transaction of its effect.
#[derive(Debug)]
pub struct NewPress<'a> {
    pub(super) key: &'a str,
    pub(super) pressed: &'a Pressed,
    pub(super) now_ms: i64,
    /// Keys of before are forgotten.
    pub(super) old_ms: i64,
}

impl<'a> NewPress<'a> {
    /// A key that is used now.
    pub const fn new(key: &'a str, pressed: &'a Pressed, now_ms: i64) -> Self {
        Self {
            key,
            pressed,
            now_ms,
            old_ms: now_ms - KEPT_DAYS * 24 * 3_600_000,
        }
    }
}
