//! SQL for orders, their lines and what was received from them.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{
            DesignId, MovementId, OfferId, PartId, PlaceId, PurchaseId, PurchaseLineId, SupplierId,
        },
        purchase::{Purchase, PurchaseLine, PurchaseState, Share},
        text::Note,
    },
    units::{Money, parse_date},
};

macro_rules! line {
    ($row:expr, $shares:expr) => {
        PurchaseLine {
            id: PurchaseLineId($row.id),
            part: PartId($row.part_id),
            part_name: $row.part_name,
            offer: $row.offer_id.map(OfferId),
            shares: $shares.remove(&$row.id).unwrap_or_default(),
            packs: $row.packs,
            pack_amount: $row.pack_amount,
            price_minor: read("purchase_line.price_minor", Money::new($row.price_minor))?,
            received_packs: $row.received_packs,
            refused_packs: $row.refused_packs,
            note: read("purchase_line.note", Note::parse(&$row.note))?,
        }
    };
}

macro_rules! purchase {
    ($row:expr, $lines:expr) => {
        Purchase {
            id: PurchaseId($row.id),
            supplier: SupplierId($row.supplier_id),
            supplier_name: $row.supplier_name,
            state: read("purchase.state", $row.state.parse::<PurchaseState>())?,
            ordered_on: day($row.ordered_on.as_deref())?,
            expected_on: day($row.expected_on.as_deref())?,
            delivery_minor: read("purchase.delivery_minor", Money::new($row.delivery_minor))?,
            paid_minor: read("purchase.paid_minor", Money::new($row.paid_minor))?,
            note: read("purchase.note", Note::parse(&$row.note))?,
            lines: $lines,
            version: $row.version,
        }
    };
}

fn day(text: Option<&str>) -> Result<Option<crate::units::Date>, DbError> {
    text.map(|text| read("purchase day", parse_date(text)))
        .transpose()
}

/// The sets of each line of the orders from one to another, by the line's id.
async fn list_shares(
    tx: &mut SqliteConnection,
    from: i64,
    to: i64,
) -> Result<BTreeMap<i64, Vec<Share>>, DbError> {
    let rows = sqlx::query!(
        r#"SELECT purchase_share.line_id AS "line_id!: i64",
             purchase_share.design_id AS "design_id!: i64", purchase_share.amount AS "amount!: i64"
           FROM purchase_share JOIN purchase_line ON purchase_line.id = purchase_share.line_id
           WHERE purchase_line.purchase_id BETWEEN ? AND ?
           ORDER BY purchase_share.line_id, purchase_share.design_id"#,
        from,
        to
    )
    .fetch_all(tx)
    .await?;
    let mut shares: BTreeMap<i64, Vec<Share>> = BTreeMap::new();
    for row in rows {
        shares.entry(row.line_id).or_default().push(Share {
            design: DesignId(row.design_id),
            amount: row.amount,
        });
    }
    Ok(shares)
}

/// One order with its lines.
pub async fn lookup(
    tx: &mut SqliteConnection,
    id: PurchaseId,
) -> Result<Option<Purchase>, DbError> {
    let mut shares = list_shares(&mut *tx, id.0, id.0).await?;
    let lines = sqlx::query!(
        "SELECT purchase_line.*, part.name AS part_name FROM purchase_line
         JOIN part ON part.id = purchase_line.part_id
         WHERE purchase_id = ? ORDER BY purchase_line.id",
        id.0
    )
    .fetch_all(&mut *tx)
    .await?;
    let lines = lines
        .into_iter()
        .map(|row| Ok(line!(row, shares)))
        .collect::<Result<_, DbError>>()?;
    let row = sqlx::query!(
        "SELECT purchase.*, supplier.name AS supplier_name FROM purchase
         JOIN supplier ON supplier.id = purchase.supplier_id WHERE purchase.id = ?",
        id.0
    )
    .fetch_optional(tx)
    .await?;
    Ok(match row {
        Some(row) => Some(purchase!(row, lines)),
        None => None,
    })
}

/// Orders with their lines, open ones first, newest first; at most `most`.
pub async fn list(tx: &mut SqliteConnection, most: i64) -> Result<Vec<Purchase>, DbError> {
    let rows = sqlx::query!(
        "SELECT purchase.*, supplier.name AS supplier_name FROM purchase
         JOIN supplier ON supplier.id = purchase.supplier_id
         ORDER BY purchase.state IN ('closed', 'cancelled'), purchase.id DESC LIMIT ?",
        most
    )
    .fetch_all(&mut *tx)
    .await?;
    let least = rows.iter().map(|row| row.id).min().unwrap_or(0);
    let mut shares = list_shares(&mut *tx, least, i64::MAX).await?;
    let lines = sqlx::query!(
        "SELECT purchase_line.*, part.name AS part_name FROM purchase_line
         JOIN part ON part.id = purchase_line.part_id
         WHERE purchase_id >= ? ORDER BY purchase_line.id",
        least
    )
    .fetch_all(tx)
    .await?;
    let mut by_purchase: BTreeMap<i64, Vec<PurchaseLine>> = BTreeMap::new();
    for row in lines {
        by_purchase
            .entry(row.purchase_id)
            .or_default()
            .push(line!(row, shares));
    }
    rows.into_iter()
        .map(|row| {
            Ok(purchase!(
                row,
                by_purchase.remove(&row.id).unwrap_or_default()
            ))
        })
        .collect()
}

/// The order that a line is on.
pub async fn find_of_line(
    tx: &mut SqliteConnection,
    line: PurchaseLineId,
) -> Result<Option<PurchaseId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT purchase_id FROM purchase_line WHERE id = ?", line.0)
            .fetch_optional(tx)
            .await?
            .map(PurchaseId),
    )
}

/// Packs on open orders, by part and pack: what need not be ordered again. For one set, what was
/// ordered for it, alone or with others, or for no set by name.
pub async fn list_open(
    tx: &mut SqliteConnection,
    only: Option<DesignId>,
) -> Result<BTreeMap<(PartId, i64), i64>, DbError> {
    let only = only.map(|id| id.0);
    let rows = sqlx::query!(
        r#"SELECT part_id, pack_amount,
             sum(packs - received_packs - refused_packs) AS "packs!: i64"
         FROM purchase_line JOIN purchase ON purchase.id = purchase_line.purchase_id
         WHERE purchase.state IN ('list', 'ordered')
           AND (?1 IS NULL
             OR NOT EXISTS (SELECT 1 FROM purchase_share WHERE line_id = purchase_line.id)
             OR EXISTS (SELECT 1 FROM purchase_share
                        WHERE line_id = purchase_line.id AND design_id = ?1))
         GROUP BY part_id, pack_amount"#,
        only
    )
    .fetch_all(tx)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| ((PartId(row.part_id), row.pack_amount), row.packs))
        .collect())
}

/// Adds an order without lines.
pub async fn add(
    tx: &mut WriteTx,
    supplier: SupplierId,
    delivery: Money,
) -> Result<PurchaseId, DbError> {
    let delivery = delivery.get();
    let done = sqlx::query!(
        "INSERT INTO purchase (supplier_id, delivery_minor) VALUES (?, ?)",
        supplier.0,
        delivery
    )
    .execute(&mut **tx)
    .await?;
    Ok(PurchaseId(done.last_insert_rowid()))
}

/// A line about to be ordered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewLine {
    /// What.
    pub part: PartId,
    /// From which offer.
    pub offer: Option<OfferId>,
    /// For which sets, none of them twice.
    pub shares: Vec<Share>,
    /// Packs.
    pub packs: i64,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// Price of one.
    pub price_minor: Money,
}

/// Adds a line.
pub async fn add_line(
    tx: &mut WriteTx,
    purchase: PurchaseId,
    line: &NewLine,
) -> Result<PurchaseLineId, DbError> {
    let offer = line.offer.map(|id| id.0);
    let price = line.price_minor.get();
    let done = sqlx::query!(
        "INSERT INTO purchase_line
             (purchase_id, part_id, offer_id, packs, pack_amount, price_minor)
         VALUES (?, ?, ?, ?, ?, ?)",
        purchase.0,
        line.part.0,
        offer,
        line.packs,
        line.pack_amount,
        price
    )
    .execute(&mut **tx)
    .await?;
    let id = done.last_insert_rowid();
    for share in &line.shares {
        sqlx::query!(
            "INSERT INTO purchase_share (line_id, design_id, amount) VALUES (?, ?, ?)",
            id,
            share.design.0,
            share.amount
        )
        .execute(&mut **tx)
        .await?;
    }
    Ok(PurchaseLineId(id))
}

/// Saves state, days, money and note of an order read at its version; `false` if another saved
/// meanwhile.
pub async fn change(tx: &mut WriteTx, purchase: &Purchase) -> Result<bool, DbError> {
    let state = purchase.state.word();
    let ordered = purchase.ordered_on.map(|day| day.to_string());
    let expected = purchase.expected_on.map(|day| day.to_string());
    let (delivery, paid) = (purchase.delivery_minor.get(), purchase.paid_minor.get());
    let note = purchase.note.as_str();
    let done = sqlx::query!(
        "UPDATE purchase SET state = ?, ordered_on = ?, expected_on = ?, delivery_minor = ?,
             paid_minor = ?, note = ?, version = version + 1
         WHERE id = ? AND version = ?",
        state,
        ordered,
        expected,
        delivery,
        paid,
        note,
        purchase.id.0,
        purchase.version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Notes what came of a line, with the movement that took it into stock.
pub async fn add_receipt(
    tx: &mut WriteTx,
    line: PurchaseLineId,
    movement: MovementId,
    packs: i64,
) -> Result<(), DbError> {
    sqlx::query!(
        "INSERT INTO purchase_receipt (movement_id, line_id, packs) VALUES (?, ?, ?)",
        movement.0,
        line.0,
        packs
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!(
        "UPDATE purchase_line SET received_packs = received_packs + ? WHERE id = ?",
        packs,
        line.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Notes packs that were wrong or faulty, or will not come.
pub async fn refuse_packs(
    tx: &mut WriteTx,
    line: PurchaseLineId,
    packs: i64,
    note: &Note,
) -> Result<(), DbError> {
    let note = note.as_str();
    sqlx::query!(
        "UPDATE purchase_line SET refused_packs = refused_packs + ?1,
             note = CASE WHEN ?2 = '' THEN note WHEN note = '' THEN ?2 ELSE note || '; ' || ?2 END
         WHERE id = ?3",
        packs,
        note,
        line.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Takes the packs of an undone receipt off their line again; opens its order again.
pub async fn undo_receipt(tx: &mut WriteTx, movement: MovementId) -> Result<(), DbError> {
    sqlx::query!(
        "UPDATE purchase SET state = 'ordered', version = version + 1
         WHERE state = 'closed' AND id IN (
             SELECT purchase_id FROM purchase_line JOIN purchase_receipt
                 ON purchase_receipt.line_id = purchase_line.id
             WHERE movement_id = ? AND undone = 0)",
        movement.0
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!(
        "UPDATE purchase_line SET received_packs = received_packs
             - (SELECT packs FROM purchase_receipt
                WHERE line_id = purchase_line.id AND movement_id = ?1)
         WHERE id IN (SELECT line_id FROM purchase_receipt WHERE movement_id = ?1 AND undone = 0)",
        movement.0
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!(
        "UPDATE purchase_receipt SET undone = 1 WHERE movement_id = ?",
        movement.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Orders with lines for a design, and those under way with lines for none in particular; neither
/// those that were cancelled. The oldest first.
pub async fn list_for(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<Vec<Purchase>, DbError> {
    let ids = sqlx::query_scalar!(
        r#"SELECT DISTINCT purchase.id AS "id!: i64" FROM purchase
           JOIN purchase_line ON purchase_line.purchase_id = purchase.id
           LEFT JOIN purchase_share ON purchase_share.line_id = purchase_line.id
           WHERE (purchase_share.design_id = ?1 AND purchase.state <> 'cancelled')
              OR (purchase_share.line_id IS NULL AND purchase.state IN ('list', 'ordered'))
           ORDER BY purchase.id"#,
        design.0
    )
    .fetch_all(&mut *tx)
    .await?;
    let mut orders = Vec::with_capacity(ids.len());
    for id in ids {
        orders.extend(lookup(tx, PurchaseId(id)).await?);
    }
    Ok(orders)
}

/// Packs of a set's lines that came after the plan was made that it is built by.
pub async fn list_come_since(
    tx: &mut SqliteConnection,
    design: DesignId,
) -> Result<BTreeMap<PurchaseLineId, i64>, DbError> {
    let rows = sqlx::query!(
        r#"SELECT purchase_receipt.line_id AS "line_id!: i64",
             sum(purchase_receipt.packs) AS "packs!: i64" FROM purchase_receipt
           JOIN purchase_share ON purchase_share.line_id = purchase_receipt.line_id
           JOIN design ON design.id = purchase_share.design_id
           WHERE design.id = ? AND undone = 0
             AND movement_id > coalesce(json_extract(design.plan, '$.known_to'), 0)
           GROUP BY purchase_receipt.line_id"#,
        design.0
    )
    .fetch_all(tx)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (PurchaseLineId(row.line_id), row.packs))
        .collect())
}

/// The place that the part was last put into, for a suggestion.
pub async fn find_usual_place(
    tx: &mut SqliteConnection,
    part: PartId,
) -> Result<Option<PlaceId>, DbError> {
    let place = sqlx::query_scalar!(
        "SELECT account.place_id FROM movement_line
         CROSS JOIN account ON account.id = movement_line.to_id
         CROSS JOIN place ON place.id = account.place_id
         WHERE movement_line.part_id = ? AND place.retired = 0
         ORDER BY movement_line.movement_id DESC, movement_line.id DESC LIMIT 1",
        part.0
    )
    .fetch_optional(tx)
    .await?;
    Ok(place.flatten().map(PlaceId))
}
