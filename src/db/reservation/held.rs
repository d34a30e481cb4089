//! Things, as far as holds on them go.

use sqlx::SqliteConnection;

use super::{DbError, date, read};
use crate::{
    model::{
        fixture::Condition,
        id::{DesignId, PartId, ThingId},
        thing::ThingKind,
    },
    plan::available::At,
};

/// A thing as far as holds on it go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldThing {
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub kind: ThingKind,
    /// Its part, for pieces and units.
    pub part: Option<PartId>,
    /// Its condition.
    pub condition: Condition,
    /// Where it is; `None` when it is no longer one's own.
    pub at: Option<At>,
    /// Where it is, in words, when it is no longer one's own.
    pub gone: &'static str,
    /// Whether it is mounted on a frame (and not built into something).
    pub mounted: bool,
    /// A piece's whole amount; 1 for everything else.
    pub amount: i64,
    /// The piece that it was cut from, and where in it its start lay.
    pub cut_from: Option<(ThingId, i64)>,
}

/// A thing as far as holds on it go.
pub async fn lookup_thing(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Option<HeldThing>, DbError> {
    let Some(row) = sqlx::query!(
        r#"SELECT thing.tag, thing.kind, thing.part_id, thing.condition,
               account.kind AS "account_kind?", account.design_id,
               design.name AS "design_name?", design.strike_on AS "strike_on?",
               loan.borrower AS "borrower?", loan.due_on AS "due_on?",
               holder.tag AS "inside_tag?", holder.kind AS "inside_kind?",
               piece.amount AS "amount?", piece.parent_id, piece.parent_from
           FROM thing LEFT JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           LEFT JOIN thing AS holder ON holder.id = account.thing_id
           LEFT JOIN piece ON piece.thing_id = thing.id
           WHERE thing.id = ?"#,
        id.0
    )
    .fetch_optional(tx)
    .await?
    else {
        return Ok(None);
    };
    let at = match row.account_kind.as_deref() {
        Some("place") => Some(At::Place),
        Some("design") => row
            .design_id
            .zip(row.design_name)
            .zip(row.strike_on)
            .map(|((design, name), strike_on)| {
                Ok::<_, DbError>(At::Out {
                    design: DesignId(design),
                    name,
                    until: date("design.strike_on", &strike_on)?,
                })
            })
            .transpose()?,
        Some("loan") => row
            .borrower
            .zip(row.due_on)
            .map(|(borrower, due_on)| {
                Ok::<_, DbError>(At::Lent {
                    borrower,
                    due_on: date("loan.due_on", &due_on)?,
                })
            })
            .transpose()?,
        Some("inside") => row.inside_tag.map(|tag| At::Inside { tag }),
        _ => None,
    };
    let gone = match row.account_kind.as_deref() {
        Some("lost") => "it is lost",
        Some("scrap") => "it was thrown away",
        Some("used") => "it was used up",
        Some("bench") => "it was cut up",
        Some("adjust") => "it was found to have another length",
        _ => "it is no longer in the house",
    };
    Ok(Some(HeldThing {
        tag: row.tag,
        kind: read("thing.kind", row.kind.parse::<ThingKind>())?,
        part: row.part_id.map(PartId),
        condition: read("thing.condition", row.condition.parse::<Condition>())?,
        at,
        gone,
        mounted: row.inside_kind.as_deref() == Some("frame"),
        amount: row.amount.unwrap_or(1),
        cut_from: row.parent_id.map(ThingId).zip(row.parent_from),
    }))
}

/// What was cut from a piece, with where in it each lay and how much it is.
pub async fn list_cut_from(
    tx: &mut SqliteConnection,
    piece: ThingId,
) -> Result<Vec<(ThingId, i64, i64)>, DbError> {
    Ok(sqlx::query!(
        r#"SELECT thing_id AS "thing_id!", parent_from AS "parent_from!", amount
           FROM piece WHERE parent_id = ? ORDER BY parent_from, thing_id"#,
        piece.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| (ThingId(row.thing_id), row.parent_from, row.amount))
    .collect())
}
