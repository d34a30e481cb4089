//! SQL for the pieces that a plan may take.

use std::collections::HashMap;

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{Ask, Spot};
use crate::{
    db::{DbError, refusal::read, reservation::Claims},
    model::{
        fixture::Condition,
        id::{PartId, PlaceId, ThingId},
        piece::{End, Piece},
        text::Tag,
    },
    plan::{
        available::free_ranges,
        input::{SparePiece, Where},
    },
};

/// One piece, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct Row {
    id: ThingId,
    tag: Tag,
    part: PartId,
    amount: i64,
    rest_um: i64,
    start: End,
    end: End,
    joint_offset_units: Option<i64>,
    batch: String,
    parent_id: Option<ThingId>,
    parent_from: Option<i64>,
    place_id: Option<i64>,
    design: Option<(i64, String, String)>,
    loan: Option<(String, String)>,
}

/// Every good piece of the parts of which some is free for the days asked, by id.
///
/// A cupboard may have tens of thousands. Row by row each value is handed from one thread to another;
/// as one text of JSON they take a quarter of the time.
pub(super) async fn list_pieces(
    tx: &mut SqliteConnection,
    ask: Ask,
    parts: &[PartId],
    claims: &Claims,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Vec<SparePiece>, DbError> {
    let parts = read("ids", serde_json::to_string(parts))?;
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(thing.id, thing.tag, thing.part_id, piece.amount, piece.rest_um,
               json(piece.start_end), json(piece.end_end), piece.joint_offset_units, piece.batch,
               piece.parent_id, piece.parent_from, account.place_id,
               CASE WHEN design.id IS NOT NULL
                 THEN json_array(design.id, design.name, design.strike_on) END,
               CASE WHEN loan.id IS NOT NULL THEN json_array(loan.borrower, loan.due_on) END))
               AS "rows!: String"
           FROM thing JOIN piece ON piece.thing_id = thing.id
           JOIN account ON account.id = thing.account_id
           LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           WHERE thing.part_id IN (SELECT value FROM json_each(?))
             AND thing.kind = 'piece' AND thing.condition = 'good'
             AND account.kind IN ('place', 'design', 'loan')"#,
        parts
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<Row> = read("piece", serde_json::from_str(&rows))?;
    rows.sort_unstable_by_key(|row| row.id);
    let mut pieces = Vec::with_capacity(rows.len());
    for row in rows {
        let spot = Spot {
            place: row.place_id,
            design: row.design,
            loan: row.loan,
            inside: None,
        };
        let free = free_ranges(
            row.amount,
            Condition::Good,
            &spot.at()?,
            claims.on(row.id),
            ask.own,
            ask.window,
            ask.rules,
        );
        if free.is_empty() {
            continue;
        }
        pieces.push(SparePiece {
            free,
            place: spot.place(walk),
            piece: Piece {
                id: row.id,
                tag: row.tag,
                part: row.part,
                amount: row.amount,
                rest_um: row.rest_um,
                start: row.start,
                end: row.end,
                joint_offset_units: row.joint_offset_units,
                batch: row.batch,
                condition: Condition::Good,
                cut_from: row.parent_id.zip(row.parent_from),
            },
        });
    }
    Ok(pieces)
}
