//! SQL for what was tried of finished bars.

use std::collections::HashMap;

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

struct Row {
    at_ms: i64,
    on_date: String,
    who: String,
    kind: String,
    thing_id: i64,
    design_id: Option<i64>,
    dark: String,
    full_good: i64,
    far_mv: Option<i64>,
    note: String,
}

impl Row {
    fn record(self) -> Result<TestRecord, DbError> {
        Ok(TestRecord {
            thing: ThingId(self.thing_id),
            design: self.design_id.map(DesignId),
            kind: read("test_record.kind", self.kind.parse())?,
            dark: read("test_record.dark", serde_json::from_str(&self.dark))?,
            full_good: self.full_good != 0,
            far_mv: self
                .far_mv
                .map(|mv| read("test_record.far_mv", Voltage::new(mv)))
                .transpose()?,
            note: self.note,
            who: self.who,
            on: read("test_record.on_date", parse_date(&self.on_date))?,
            at_ms: self.at_ms,
        })
    }
}

/// What was tried last of each of these finished bars, as far as any was.
pub async fn list_last(
    tx: &mut SqliteConnection,
    things: &[ThingId],
) -> Result<HashMap<ThingId, TestRecord>, DbError> {
    let ids = read("ids", serde_json::to_string(things))?;
    sqlx::query_as!(
        Row,
        "SELECT at_ms, on_date, who, kind, thing_id, design_id, dark, full_good, far_mv, note
         FROM test_record WHERE id IN
             (SELECT max(id) FROM test_record
              WHERE thing_id IN (SELECT value FROM json_each(?)) GROUP BY thing_id)",
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| Ok((ThingId(row.thing_id), row.record()?)))
    .collect()
}

/// What was tried of a finished bar, newest first.
pub async fn list_of_thing(
    tx: &mut SqliteConnection,
    thing: ThingId,
    limit: i64,
) -> Result<Vec<TestRecord>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT at_ms, on_date, who, kind, thing_id, design_id, dark, full_good, far_mv, note
         FROM test_record WHERE thing_id = ? ORDER BY id DESC LIMIT ?",
        thing.0,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::record)
    .collect()
}
