//! SQL for what was tried of finished bars.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{DesignId, ThingId},
        test_record::TestRecord,
    },
    units::{Voltage, parse_date},
};

/// Adds one.
pub async fn add(tx: &mut WriteTx, record: &TestRecord) -> Result<(), DbError> {
    let dark = read("test_record.dark", serde_json::to_string(&record.dark))?;
    let on = record.on.to_string();
    let (kind, far) = (record.kind.word(), record.far_mv.map(Voltage::get));
    let design = record.design.map(|id| id.0);
    sqlx::query!(
        "INSERT INTO test_record
            (at_ms, on_date, who, kind, thing_id, design_id, dark, full_good, far_mv, note)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        record.at_ms,
        on,
        record.who,
        kind,
        record.thing.0,
        design,
        dark,
        record.full_good,
        far,
        record.note
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// What was tried of a finished bar, newest first.
pub async fn list_of_thing(
    tx: &mut SqliteConnection,
    thing: ThingId,
    limit: i64,
) -> Result<Vec<TestRecord>, DbError> {
    sqlx::query!(
        "SELECT at_ms, on_date, who, kind, design_id, dark, full_good, far_mv, note
         FROM test_record WHERE thing_id = ? ORDER BY id DESC LIMIT ?",
        thing.0,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(TestRecord {
            thing,
            design: row.design_id.map(DesignId),
            kind: read("test_record.kind", row.kind.parse())?,
            dark: read("test_record.dark", serde_json::from_str(&row.dark))?,
            full_good: row.full_good != 0,
            far_mv: row
                .far_mv
                .map(|mv| read("test_record.far_mv", Voltage::new(mv)))
                .transpose()?,
            note: row.note,
            who: row.who,
            on: read("test_record.on_date", parse_date(&row.on_date))?,
            at_ms: row.at_ms,
        })
    })
    .collect()
}
