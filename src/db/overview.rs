//! SQL for the first page: what needs somebody's attention, and what of the listed parts is held
//! today.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::{DbError, refusal::read};
use crate::{
    model::{
        design::State,
        id::{AccountId, DesignId, MovementId, PartId, PurchaseId, ThingId},
        part::Kind,
    },
    units::{Date, parse_date},
};

/// A set that is on its way, up, or overdue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ComingSet {
    /// Which.
    pub id: DesignId,
    /// Its name.
    pub name: String,
    /// Its state.
    pub state: State,
    /// Its days.
    pub build_on: Date,
    /// When it goes in.
    pub get_in: Date,
    /// When it comes down.
    pub strike_on: Date,
    /// Holds of it that are broken.
    pub broken: i64,
}

/// A thing that is due on a day: back from a loan, or for inspection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueThing {
    /// Which.
    pub id: ThingId,
    /// Its tag.
    pub tag: String,
    /// Who has it, for a loan.
    pub with: String,
    /// The day.
    pub on: Date,
}

/// An order that has not wholly arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenDelivery {
    /// Which.
    pub id: PurchaseId,
    /// From whom.
    pub supplier: String,
    /// When it should arrive, if that was said.
    pub expected_on: Option<Date>,
    /// Packs still to come.
    pub packs: i64,
}

/// Sets that are reserved, being built or standing, the earliest first.
pub async fn list_coming_sets(
    tx: &mut SqliteConnection,
    limit: i64,
) -> Result<Vec<ComingSet>, DbError> {
    sqlx::query!(
        r#"SELECT id, name, state, build_on, get_in, strike_on,
             (SELECT count(*) FROM hold WHERE hold.design_id = design.id AND hold.state = 'broken'
                AND (design.state <> 'standing' OR hold.thing_id IS NULL
                  OR EXISTS (SELECT 1 FROM thing JOIN account ON account.id = thing.account_id
                      WHERE thing.id = hold.thing_id AND account.design_id = design.id))) AS "broken!: i64"
           FROM design WHERE state IN ('reserved', 'building', 'standing')
           ORDER BY CASE state WHEN 'standing' THEN strike_on ELSE build_on END, id LIMIT ?"#,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(ComingSet {
            id: DesignId(row.id),
            name: row.name,
            state: read("design.state", row.state.parse())?,
            build_on: read("design.build_on", parse_date(&row.build_on))?,
            get_in: read("design.get_in", parse_date(&row.get_in))?,
            strike_on: read("design.strike_on", parse_date(&row.strike_on))?,
            broken: row.broken,
        })
    })
    .collect()
}

/// Things lent out that are due back by a day, the most overdue first.
pub async fn list_loans_due(
    tx: &mut SqliteConnection,
    by: Date,
    limit: i64,
) -> Result<Vec<DueThing>, DbError> {
    let by = by.to_string();
    sqlx::query!(
        "SELECT thing.id, thing.tag, loan.borrower, loan.due_on
         FROM loan CROSS JOIN account ON account.loan_id = loan.id
         CROSS JOIN thing ON thing.account_id = account.id
         WHERE loan.due_on <= ? ORDER BY loan.due_on, thing.id LIMIT ?",
        by,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(DueThing {
            id: ThingId(row.id),
            tag: row.tag,
            with: row.borrower,
            on: read("loan.due_on", parse_date(&row.due_on))?,
        })
    })
    .collect()
}

/// Things due for inspection by a day, the most overdue first.
pub async fn list_inspections_due(
    tx: &mut SqliteConnection,
    by: Date,
    limit: i64,
) -> Result<Vec<DueThing>, DbError> {
    let by = by.to_string();
    sqlx::query!(
        r#"SELECT thing.id, thing.tag, thing.inspect_on AS "inspect_on!"
           FROM thing JOIN account ON account.id = thing.account_id
           WHERE thing.inspect_on <= ? AND account.kind IN ('place', 'design', 'loan', 'inside')
           ORDER BY thing.inspect_on, thing.id LIMIT ?"#,
        by,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(DueThing {
            id: ThingId(row.id),
            tag: row.tag,
            with: String::new(),
            on: read("thing.inspect_on", parse_date(&row.inspect_on))?,
        })
    })
    .collect()
}

/// Orders of which something is still to come, the earliest first.
pub async fn list_open_deliveries(
    tx: &mut SqliteConnection,
    limit: i64,
) -> Result<Vec<OpenDelivery>, DbError> {
    sqlx::query!(
        r#"SELECT purchase.id, supplier.name, purchase.expected_on,
             sum(line.packs - line.received_packs - line.refused_packs) AS "packs!: i64"
           FROM purchase JOIN supplier ON supplier.id = purchase.supplier_id
           JOIN purchase_line AS line ON line.purchase_id = purchase.id
           WHERE purchase.state = 'ordered'
           GROUP BY purchase.id HAVING sum(line.packs - line.received_packs - line.refused_packs) > 0
           ORDER BY purchase.expected_on, purchase.id LIMIT ?"#,
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(OpenDelivery {
            id: PurchaseId(row.id),
            supplier: row.name,
            expected_on: row
                .expected_on
                .map(|day| read("purchase.expected_on", parse_date(&day)))
                .transpose()?,
            packs: row.packs,
        })
    })
    .collect()
}

/// How much of each of these parts is held on a day, in its stock unit; parts without a hold are
/// left out.
pub async fn held_on(
    tx: &mut SqliteConnection,
    parts: &[PartId],
    day: Date,
) -> Result<HashMap<PartId, i64>, DbError> {
    let parts = read("ids", serde_json::to_string(parts))?;
    let day = day.to_string();
    let rows = sqlx::query!(
        r#"SELECT part_id AS "part_id!: i64", sum(amount) AS "amount!: i64" FROM (
             SELECT hold.part_id AS part_id, hold.to_amount - hold.from_amount AS amount
             FROM hold WHERE hold.state = 'active' AND hold.part_id IN (SELECT value FROM json_each(?1))
               AND hold.from_on <= ?2 AND hold.to_on >= ?2
             UNION ALL
             SELECT thing.part_id, hold.to_amount - hold.from_amount
             FROM hold INDEXED BY hold_by_thing CROSS JOIN thing ON thing.id = hold.thing_id
             WHERE hold.state = 'active' AND hold.thing_id IS NOT NULL
               AND thing.part_id IN (SELECT value FROM json_each(?1))
               AND hold.from_on <= ?2 AND hold.to_on >= ?2)
           GROUP BY part_id"#,
        parts,
        day
    )
    .fetch_all(tx)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (PartId(row.part_id), row.amount))
        .collect())
}

/// A hold on a thing, as its page shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ThingHold {
    /// For which set.
    pub design: DesignId,
    /// The set's name.
    pub name: String,
    /// The label of the bar that it is held for, if it is for one.
    pub bar: Option<String>,
    /// From where in a piece.
    pub from: i64,
    /// To where in a piece.
    pub to: i64,
    /// From which day.
    pub from_on: Date,
    /// To which day.
    pub to_on: Date,
}

/// What a thing is held for, the earliest first.
pub async fn list_holds_of_thing(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Vec<ThingHold>, DbError> {
    sqlx::query!(
        r#"SELECT design.id, design.name, bar.label AS "bar?", hold.from_amount, hold.to_amount,
             hold.from_on, hold.to_on
         FROM hold JOIN design ON design.id = hold.design_id LEFT JOIN bar ON bar.id = hold.bar_id
         WHERE hold.thing_id = ? AND hold.state = 'active' ORDER BY hold.from_on, hold.from_amount"#,
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        Ok(ThingHold {
            design: DesignId(row.id),
            name: row.name,
            bar: row.bar,
            from: row.from_amount,
            to: row.to_amount,
            from_on: read("hold.from_on", parse_date(&row.from_on))?,
            to_on: read("hold.to_on", parse_date(&row.to_on))?,
        })
    })
    .collect()
}

/// The name of a set.
pub async fn find_design_name(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Option<String>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT name FROM design WHERE id = ?", id.0)
            .fetch_optional(tx)
            .await?,
    )
}

/// A count in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountInPlace {
    /// Of which part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// In which account.
    pub account: AccountId,
    /// The place in words.
    pub path: String,
    /// How many.
    pub amount: i64,
}

/// What is kept by count and lies in a place, by part.
pub async fn list_counts_in_places(
    tx: &mut SqliteConnection,
    limit: i64,
) -> Result<Vec<CountInPlace>, DbError> {
    Ok(sqlx::query!(
        "SELECT part.id, part.name, account.id AS account_id, place.path, balance.amount
         FROM balance JOIN part ON part.id = balance.part_id
         JOIN account ON account.id = balance.account_id
         JOIN place ON place.id = account.place_id
         WHERE balance.amount > 0 AND part.stock_by = 'count'
         ORDER BY part.kind, part.name, place.path LIMIT ?",
        limit
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| CountInPlace {
        part: PartId(row.id),
        name: row.name,
        account: AccountId(row.account_id),
        path: row.path,
        amount: row.amount,
    })
    .collect())
}

/// What there is of each sort.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sorts {
    /// How many parts of each kind are not retired; kinds without one are left out.
    pub parts: Vec<(Kind, i64)>,
    /// How many fixtures one owns.
    pub fixtures: i64,
    /// How many frames one owns.
    pub frames: i64,
}

/// Counts what there is of each sort.
pub async fn count_sorts(tx: &mut SqliteConnection) -> Result<Sorts, DbError> {
    // Accounts 1 to 6 are those outside the house.
    let rows = sqlx::query!(
        r#"SELECT kind AS "kind!: String", count(*) AS "many!: i64" FROM part WHERE retired = 0 GROUP BY kind
           UNION ALL
           SELECT kind, count(*) FROM thing
           WHERE kind IN ('fixture', 'frame') AND account_id > 6 GROUP BY kind"#
    )
    .fetch_all(tx)
    .await?;
    let mut sorts = Sorts::default();
    for row in rows {
        match row.kind.as_str() {
            "fixture" => sorts.fixtures = row.many,
            "frame" => sorts.frames = row.many,
            kind => sorts
                .parts
                .push((read("part.kind", kind.parse())?, row.many)),
        }
    }
    sorts.parts.sort();
    Ok(sorts)
}

/// What a book has at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Begun {
    /// A part that is not retired.
    pub parts: bool,
    /// Anything that was ever put into stock.
    pub stock: bool,
    /// A set.
    pub sets: bool,
}

/// What this book has at all.
pub async fn begun(tx: &mut SqliteConnection) -> Result<Begun, DbError> {
    Ok(sqlx::query_as!(
        Begun,
        r#"SELECT EXISTS (SELECT 1 FROM part WHERE retired = 0) AS "parts!: bool",
               EXISTS (SELECT 1 FROM movement) AS "stock!: bool",
               EXISTS (SELECT 1 FROM design) AS "sets!: bool""#
    )
    .fetch_one(tx)
    .await?)
}

/// What a stocktake found different on a day, newest first: in one account, or of one part.
pub async fn list_differences(
    tx: &mut SqliteConnection,
    account: Option<AccountId>,
    part: Option<PartId>,
    day: Date,
) -> Result<Vec<MovementId>, DbError> {
    let (account, part) = (account.map(|id| id.0), part.map(|id| id.0));
    let day = day.to_string();
    Ok(sqlx::query_scalar!(
        r#"SELECT movement.id AS "id!: i64" FROM movement INDEXED BY movement_by_date
           WHERE on_date = ?3 AND kind IN ('count', 'lose', 'find', 'move')
             AND EXISTS (SELECT 1 FROM movement_line
               WHERE movement_id = movement.id AND (to_id = ?1 OR from_id = ?1 OR part_id = ?2))
           ORDER BY movement.id DESC LIMIT 100"#,
        account,
        part,
        day
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(MovementId)
    .collect())
}

/// Who marked something last, on which day, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Marked {
    /// Who.
    pub who: String,
    /// On which day.
    pub on: Date,
    /// In the person's own words; may be empty.
    pub reason: String,
}

/// Who marked each of these things last, as far as anybody did.
pub async fn list_last_marks(
    tx: &mut SqliteConnection,
    things: &[ThingId],
) -> Result<HashMap<ThingId, Marked>, DbError> {
    let ids = read("ids", serde_json::to_string(things))?;
    sqlx::query!(
        r#"SELECT mark_thing_id AS "thing!: i64", who, on_date, reason
           FROM movement WHERE id IN
               (SELECT max(id) FROM movement
                WHERE mark_thing_id IN (SELECT value FROM json_each(?)) GROUP BY mark_thing_id)"#,
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let marked = Marked {
            who: row.who,
            on: read("movement.on_date", parse_date(&row.on_date))?,
            reason: row.reason,
        };
        Ok((ThingId(row.thing), marked))
    })
    .collect()
}
