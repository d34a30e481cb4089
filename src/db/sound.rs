//! Whether a database file is sound in itself: its pages and indexes, and what refers to what.

use sqlx::{Row as _, SqliteConnection};

use super::DbError;

/// The most faults that one check lists.
const FAULT_LIMIT: usize = 100;

/// SQLite's own integrity check and its foreign keys: one sentence per fault, none if all is well.
pub async fn list_faults(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    let mut faults = Vec::new();
    let said = sqlx::query_scalar::<_, String>("PRAGMA integrity_check(100)")
        .fetch_all(&mut *tx)
        .await?;
    faults.extend(
        said.into_iter()
            .filter(|line| line != "ok")
            .map(|line| format!("The file is damaged: {line}.")),
    );
    // Of each: table, row, the table that it should find its match in, which foreign key.
    for row in sqlx::query("PRAGMA foreign_key_check")
        .fetch_all(&mut *tx)
        .await?
        .iter()
        .take(FAULT_LIMIT)
    {
        let table: String = row.try_get(0)?;
        let id: Option<i64> = row.try_get(1)?;
        let parent: String = row.try_get(2)?;
        let id = id.map_or_else(|| "without a number".to_owned(), |id| id.to_string());
        faults.push(format!(
            "Row {id} of {table} refers to a {parent} that is not there."
        ));
    }
    Ok(faults)
}
