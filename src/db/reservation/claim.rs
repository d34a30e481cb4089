//! Holds as they stand in the way of others; and counts with all that claims them.

use std::collections::HashMap;

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{DbError, date, read, window};
use crate::{
    model::id::{DesignId, PartId, PurchaseLineId, ThingId},
    plan::available::{Claim, Counted, Due, Lent, Out},
};

/// Active holds, by what they are on.
#[derive(Debug, Clone, Default)]
pub struct Claims {
    /// On things.
    pub things: HashMap<ThingId, Vec<Claim>>,
    /// On counts of parts.
    pub counts: HashMap<PartId, Vec<Claim>>,
}

impl Claims {
    /// Those on a thing.
    pub fn on(&self, thing: ThingId) -> &[Claim] {
        self.things.get(&thing).map_or(&[], Vec::as_slice)
    }
}

/// A hold as it stands in the way, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct ClaimRow {
    id: i64,
    design: DesignId,
    name: String,
    thing: Option<ThingId>,
    part: Option<PartId>,
    from: i64,
    to: i64,
    from_on: String,
    to_on: String,
    line: Option<PurchaseLineId>,
    /// Not nought where the set is at work or standing.
    until_back: i64,
}

/// Active holds of every design but `without`, as claims; of one thing or part, or of all.
pub async fn list_claims(
    tx: &mut SqliteConnection,
    thing: Option<ThingId>,
    part: Option<PartId>,
    without: Option<DesignId>,
) -> Result<Claims, DbError> {
    let thing = thing.map(|thing| thing.0);
    let part = part.map(|part| part.0);
    let without = without.map(|design| design.0);
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(hold.id, hold.design_id, design.name, hold.thing_id,
               hold.part_id, hold.from_amount, hold.to_amount, hold.from_on, hold.to_on,
               hold.purchase_line_id, design.state IN ('building', 'standing'))) AS "rows!: String"
           FROM hold JOIN design ON design.id = hold.design_id
           WHERE hold.state = 'active'
             AND (?1 IS NULL OR hold.thing_id = ?1)
             AND (?2 IS NULL OR hold.part_id = ?2)
             AND (?3 IS NULL OR hold.design_id <> ?3)"#,
        thing,
        part,
        without
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<ClaimRow> = read("hold", serde_json::from_str(&rows))?;
    rows.sort_unstable_by(|a, b| (&a.from_on, a.id).cmp(&(&b.from_on, b.id)));
    let mut claims = Claims::default();
    for row in rows {
        let claim = Claim {
            design: row.design,
            name: row.name,
            from: row.from,
            to: row.to,
            window: window(&row.from_on, &row.to_on)?,
            until_back: row.until_back != 0,
            due: row.line,
        };
        match (row.thing, row.part) {
            (Some(thing), _) => claims.things.entry(thing).or_default().push(claim),
            (None, Some(part)) => claims.counts.entry(part).or_default().push(claim),
            (None, None) => {}
        }
    }
    Ok(claims)
}

/// What there is of every part kept by count (or of one), with all that claims it.
pub async fn list_counted(
    tx: &mut SqliteConnection,
    part: Option<PartId>,
) -> Result<HashMap<PartId, Counted>, DbError> {
    let id = part.map(|part| part.0);
    let mut counted: HashMap<PartId, Counted> = HashMap::new();
    let rows = sqlx::query!(
        r#"SELECT balance.part_id, balance.amount, account.kind, account.design_id,
               design.strike_on AS "strike_on?", loan.due_on AS "due_on?"
           FROM balance JOIN part ON part.id = balance.part_id
           JOIN account ON account.id = balance.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           WHERE part.stock_by = 'count' AND balance.amount > 0
             AND account.kind IN ('place', 'design', 'loan')
             AND (?1 IS NULL OR balance.part_id = ?1)"#,
        id
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        let entry = counted.entry(PartId(row.part_id)).or_default();
        match (row.design_id, row.strike_on, row.due_on) {
            (Some(design), Some(strike_on), _) => entry.out.push(Out {
                design: DesignId(design),
                amount: row.amount,
                until: date("design.strike_on", &strike_on)?,
            }),
            (_, _, Some(due_on)) => entry.lent.push(Lent {
                amount: row.amount,
                due_on: date("loan.due_on", &due_on)?,
            }),
            _ => entry.in_places += row.amount,
        }
    }
    let rows = sqlx::query!(
        r#"SELECT purchase_line.id, purchase_line.part_id, purchase.expected_on AS "expected_on!",
               (packs - received_packs - refused_packs) * pack_amount AS "amount!: i64"
           FROM purchase_line JOIN purchase ON purchase.id = purchase_line.purchase_id
           JOIN part ON part.id = purchase_line.part_id
           WHERE purchase.state = 'ordered' AND purchase.expected_on IS NOT NULL
             AND part.stock_by = 'count' AND packs > received_packs + refused_packs
             AND (?1 IS NULL OR purchase_line.part_id = ?1)"#,
        id
    )
    .fetch_all(&mut *tx)
    .await?;
    for row in rows {
        counted
            .entry(PartId(row.part_id))
            .or_default()
            .due
            .push(Due {
                line: PurchaseLineId(row.id),
                amount: row.amount,
                on: date("purchase.expected_on", &row.expected_on)?,
            });
    }
    for (part, claims) in list_claims(tx, None, part, None).await?.counts {
        counted.entry(part).or_default().claims = claims;
    }
    Ok(counted)
}
