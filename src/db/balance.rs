//! SQL for how much lies where. Written only by the ledger's triggers.

use sqlx::SqliteConnection;

use super::{DbError, part::stock_unit, place::Spot, refusal::read};
use crate::model::{
    id::{AccountId, PartId},
    part::{Kind, StockUnit},
    place::Whereabouts,
};

/// How much of a part lies in one account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartAt {
    /// Where.
    pub place: Whereabouts,
    /// How much, in the part's stock unit (without remainders of tape).
    pub amount: i64,
    /// How many pieces or units that is; 0 for what is kept by count.
    pub things: i64,
}

/// A count that lies in an account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountAt {
    /// Of which part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
    /// What it is counted in.
    pub unit: StockUnit,
    /// How much.
    pub amount: i64,
}

/// Where a part lies, the places first.
pub async fn list_of_part(tx: &mut SqliteConnection, part: PartId) -> Result<Vec<PartAt>, DbError> {
    sqlx::query!(
        r#"SELECT spot.account_id AS "account_id!", spot.kind AS "kind!", spot.words AS "words!: String",
             spot.place_id, spot.design_id, spot.loan_id, spot.inside_id, balance.amount, balance.things
           FROM balance JOIN whereabouts AS spot ON spot.account_id = balance.account_id
           WHERE balance.part_id = ? AND balance.amount > 0
             AND spot.kind IN ('place', 'design', 'loan', 'inside')
           ORDER BY spot.kind = 'place' DESC, spot.kind, spot.words COLLATE NOCASE"#,
        part.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(PartAt {
            amount: row.amount,
            things: row.things,
            place: Spot {
                account_id: row.account_id,
                kind: row.kind,
                words: row.words,
                place_id: row.place_id,
                design_id: row.design_id,
                loan_id: row.loan_id,
                inside_id: row.inside_id,
            }
            .whereabouts()?,
        })
    })
    .collect()
}

/// The counts that lie in an account, by kind and name.
pub async fn list_at(
    tx: &mut SqliteConnection,
    account: AccountId,
) -> Result<Vec<CountAt>, DbError> {
    sqlx::query!(
        r#"SELECT part.id AS "id!", part.name, part.kind, json_extract(part.spec, '$.measure') AS "measure?: String",
             balance.amount
           FROM balance JOIN part ON part.id = balance.part_id
           WHERE balance.account_id = ? AND balance.amount > 0 AND balance.things = 0
             AND part.stock_by = 'count'
           ORDER BY part.kind, part.name"#,
        account.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let kind: Kind = read("part.kind", row.kind.parse())?;
        Ok(CountAt {
            part: PartId(row.id),
            name: row.name,
            kind,
            unit: stock_unit(Some(kind), None, row.measure.as_deref())?,
            amount: row.amount,
        })
    })
    .collect()
}

/// Every count that one has, wherever it is: the part, where, how much.
pub async fn list_counts(
    tx: &mut SqliteConnection,
) -> Result<Vec<(PartId, Whereabouts, i64)>, DbError> {
    sqlx::query!(
        r#"SELECT part.id AS "part_id!", spot.account_id AS "account_id!", spot.kind AS "kind!",
             spot.words AS "words!: String", spot.place_id, spot.design_id, spot.loan_id,
             spot.inside_id, balance.amount
           FROM balance
           JOIN part ON part.id = balance.part_id
           JOIN whereabouts AS spot ON spot.account_id = balance.account_id
           WHERE part.stock_by = 'count' AND balance.amount > 0
             AND spot.kind IN ('place', 'design', 'loan', 'inside')
           ORDER BY part.kind, part.name, spot.words COLLATE NOCASE"#
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let place = Spot {
            account_id: row.account_id,
            kind: row.kind,
            words: row.words,
            place_id: row.place_id,
            design_id: row.design_id,
            loan_id: row.loan_id,
            inside_id: row.inside_id,
        }
        .whereabouts()?;
        Ok((PartId(row.part_id), place, row.amount))
    })
    .collect()
}

/// How much of a part lies in one account, in its stock unit (without remainders of tape).
pub async fn amount(
    tx: &mut SqliteConnection,
    part: PartId,
    account: AccountId,
) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        "SELECT amount FROM balance WHERE part_id = ? AND account_id = ?",
        part.0,
        account.0
    )
    .fetch_optional(tx)
    .await?
    .unwrap_or(0))
}
