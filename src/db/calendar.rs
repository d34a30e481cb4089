//! SQL for the year: which sets stand when, and how many fixtures they hold.

use sqlx::SqliteConnection;

use super::{DbError, refusal::read};
use crate::{
    model::{design::State, id::DesignId},
    units::{Date, parse_date},
};

/// A set in the year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YearRow {
    /// Which.
    pub id: DesignId,
    /// Its name.
    pub name: String,
    /// Its state.
    pub state: State,
    /// Build day.
    pub build_on: Date,
    /// Get-in.
    pub get_in: Date,
    /// Strike.
    pub strike_on: Date,
    /// Bars wanted.
    pub bars: i64,
    /// Fixtures held.
    pub fixtures: i64,
    /// Broken holds.
    pub broken: i64,
}

/// Sets that touch the days from `from` to `to`, cancelled ones left out, by build day.
pub async fn list(
    tx: &mut SqliteConnection,
    from: Date,
    to: Date,
) -> Result<Vec<YearRow>, DbError> {
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT design.id, design.name, design.state, build_on, get_in, strike_on,
             (SELECT count(*) FROM bar WHERE bar.design_id = design.id) AS "bars!: i64",
             (SELECT count(*) FROM hold JOIN thing ON thing.id = hold.thing_id
              WHERE hold.design_id = design.id AND hold.state = 'active'
                AND thing.kind = 'fixture') AS "fixtures!: i64",
             (SELECT count(*) FROM hold
              WHERE hold.design_id = design.id AND hold.state = 'broken') AS "broken!: i64"
         FROM design
         WHERE design.state <> 'cancelled' AND strike_on >= ? AND build_on <= ?
         ORDER BY build_on, design.id LIMIT 200"#,
        from,
        to
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(YearRow {
                id: DesignId(row.id),
                name: row.name,
                state: read("design.state", row.state.parse::<State>())?,
                build_on: read("design.build_on", parse_date(&row.build_on))?,
                get_in: read("design.get_in", parse_date(&row.get_in))?,
                strike_on: read("design.strike_on", parse_date(&row.strike_on))?,
                bars: row.bars,
                fixtures: row.fixtures,
                broken: row.broken,
            })
        })
        .collect()
}

/// Good fixtures in the house.
pub async fn count_fixtures(tx: &mut SqliteConnection) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT count(*) AS "count!: i64" FROM thing JOIN account ON account.id = thing.account_id
         WHERE thing.kind = 'fixture' AND thing.condition = 'good'
           AND account.kind IN ('place', 'design', 'loan', 'inside')"#
    )
    .fetch_one(tx)
    .await?)
}
