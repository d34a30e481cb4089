//! The log of every change that is no movement. Triggers write what changes in the tables; signing
//! in and out is written here.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::id::{BarId, ChangeId, ThingId},
    units::Length,
};

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Its id; later ones are greater.
    pub id: ChangeId,
    /// When, in milliseconds since 1970 (UTC).
    pub at_ms: i64,
    /// Who, as far as it is known.
    pub who: String,
    /// From where; empty where it was this program itself.
    pub address: String,
    /// The table, or what somebody did.
    pub of: String,
    /// The row's id.
    pub row: i64,
    /// The row before.
    pub before: Option<serde_json::Value>,
    /// The row after.
    pub after: Option<serde_json::Value>,
}

/// Which entries.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Of this table only.
    pub of: Option<String>,
    /// By this person only.
    pub who: Option<String>,
    /// Older than this one.
    pub before: Option<ChangeId>,
}

/// Entries, newest first.
pub async fn list(
    tx: &mut SqliteConnection,
    filter: &Filter,
    limit: u32,
) -> Result<Vec<Change>, DbError> {
    let before = filter.before.map_or(i64::MAX, |id| id.0);
    let rows = sqlx::query!(
        r#"SELECT id AS "id!", at_ms, who, address, of, row_id, before, after FROM change
           WHERE id < ?1 AND (?2 IS NULL OR of = ?2) AND (?3 IS NULL OR who = ?3)
           ORDER BY id DESC LIMIT ?4"#,
        before,
        filter.of,
        filter.who,
        limit
    )
    .fetch_all(tx)
    .await?;
    let json = |text: Option<String>| {
        text.map(|text| read("change", serde_json::from_str(&text)))
            .transpose()
    };
    rows.into_iter()
        .map(|row| {
            Ok(Change {
                id: ChangeId(row.id),
                at_ms: row.at_ms,
                who: row.who,
                address: row.address,
                of: row.of,
                row: row.row_id,
                before: json(row.before)?,
                after: json(row.after)?,
            })
        })
        .collect()
}

/// Which fixture was chosen for a bar by hand, and how much shorter and longer it might be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chosen {
    /// The fixture.
    pub fixture: Option<ThingId>,
    /// How much shorter.
    pub shorter_um: Length,
    /// How much longer.
    pub longer_um: Length,
}

/// What was chosen for a bar before a fixture was chosen for it, and by that choice; `None` where
/// it was never chosen.
pub async fn find_choice(
    tx: &mut SqliteConnection,
    bar: BarId,
    fixture: ThingId,
) -> Result<Option<(Chosen, Chosen)>, DbError> {
    let row = sqlx::query!(
        r#"SELECT before ->> 'fixture_id' AS "fixture: i64",
               before ->> 'shorter_um' AS "shorter!: i64", before ->> 'longer_um' AS "longer!: i64",
               after ->> 'shorter_um' AS "by_shorter!: i64", after ->> 'longer_um' AS "by_longer!: i64"
           FROM change
           WHERE of = 'bar' AND row_id = ?1 AND before IS NOT NULL
             AND after ->> 'fixture_id' = ?2 AND before ->> 'fixture_id' IS NOT ?2
           ORDER BY id DESC LIMIT 1"#,
        bar.0,
        fixture.0
    )
    .fetch_optional(tx)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let length = |um: i64| read("change.bar", Length::new(um));
    let before = Chosen {
        fixture: row.fixture.map(ThingId),
        shorter_um: length(row.shorter)?,
        longer_um: length(row.longer)?,
    };
    let by = Chosen {
        fixture: Some(fixture),
        shorter_um: length(row.by_shorter)?,
        longer_um: length(row.by_longer)?,
    };
    Ok(Some((before, by)))
}

/// What an entry refers to by an id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Referred {
    /// A part.
    Part,
    /// A set.
    Set,
    /// A frame of a set.
    Frame,
    /// A thing with a tag.
    Thing,
    /// A place.
    Place,
    /// A supplier.
    Supplier,
    /// An order, which is called after its supplier.
    Order,
}

/// What a row is called that entries refer to; `None` where it is no longer there.
pub async fn lookup_name(
    tx: &mut SqliteConnection,
    of: Referred,
    id: i64,
) -> Result<Option<String>, DbError> {
    let found = match of {
        Referred::Part => {
            sqlx::query_scalar!("SELECT name FROM part WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Set => {
            sqlx::query_scalar!("SELECT name FROM design WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Frame => {
            sqlx::query_scalar!("SELECT label FROM design_frame WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Thing => {
            sqlx::query_scalar!("SELECT tag FROM thing WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Place => {
            sqlx::query_scalar!("SELECT path FROM place WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Supplier => {
            sqlx::query_scalar!("SELECT name FROM supplier WHERE id = ?", id)
                .fetch_optional(tx)
                .await?
        }
        Referred::Order => {
            sqlx::query_scalar!(
                "SELECT 'from ' || supplier.name FROM purchase
                 JOIN supplier ON supplier.id = purchase.supplier_id WHERE purchase.id = ?",
                id
            )
            .fetch_optional(tx)
            .await?
        }
    };
    Ok(found)
}

/// Who wrote last, as far as it is known.
pub async fn last_writer(tx: &mut SqliteConnection) -> Result<String, DbError> {
    Ok(sqlx::query_scalar!("SELECT who FROM acting")
        .fetch_one(tx)
        .await?)
}

/// Writes down what somebody did that is in no table, such as signing in.
pub async fn add(tx: &mut WriteTx, of: &str, row: i64) -> Result<(), DbError> {
    sqlx::query!(
        "INSERT INTO change (at_ms, who, address, of, row_id)
         SELECT at_ms, who, address, ?, ? FROM acting",
        of,
        row
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
