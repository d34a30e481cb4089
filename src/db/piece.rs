//! SQL for rolls, reels, bars and offcuts, their ends and where they were cut from.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, place::Spot, refusal::read};
use crate::model::{
    id::{PartId, ThingId},
    piece::{End, Piece},
    place::Whereabouts,
    text::Tag,
};

/// What makes a thing a piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPiece {
    /// Cut units or micrometres.
    pub amount: i64,
    /// What is left beyond the last whole cut unit.
    pub rest_um: i64,
    /// The marked end.
    pub start: End,
    /// The other end.
    pub end: End,
    /// Cut units from the start to the first pre-tinned joint, if it has any.
    pub joint_offset_units: Option<i64>,
    /// Batch, empty if not known.
    pub batch: String,
    /// The piece that it was cut from, and where in it its start lay.
    pub cut_from: Option<(ThingId, i64)>,
}

/// A piece and where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PieceAt {
    /// The piece.
    pub piece: Piece,
    /// Where.
    pub place: Whereabouts,
}

struct Row {
    id: i64,
    tag: String,
    part_id: i64,
    condition: String,
    amount: i64,
    rest_um: i64,
    start_end: String,
    end_end: String,
    joint_offset_units: Option<i64>,
    batch: String,
    parent_id: Option<i64>,
    parent_from: Option<i64>,
    account_id: i64,
    account_kind: String,
    words: String,
    place_id: Option<i64>,
    design_id: Option<i64>,
    loan_id: Option<i64>,
    inside_id: Option<i64>,
}

impl Row {
    fn piece(self) -> Result<PieceAt, DbError> {
        Ok(PieceAt {
            piece: Piece {
                id: ThingId(self.id),
                tag: read("thing.tag", Tag::parse(&self.tag))?,
                part: PartId(self.part_id),
                amount: self.amount,
                rest_um: self.rest_um,
                start: read("piece.start_end", serde_json::from_str(&self.start_end))?,
                end: read("piece.end_end", serde_json::from_str(&self.end_end))?,
                joint_offset_units: self.joint_offset_units,
                batch: self.batch,
                condition: read("thing.condition", self.condition.parse())?,
                cut_from: self.parent_id.map(ThingId).zip(self.parent_from),
            },
            place: Spot {
                account_id: self.account_id,
                kind: self.account_kind,
                words: self.words,
                place_id: self.place_id,
                design_id: self.design_id,
                loan_id: self.loan_id,
                inside_id: self.inside_id,
            }
            .whereabouts()?,
        })
    }
}

/// Selects [`Row`]s; what follows says which.
macro_rules! pieces {
    ($tail:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            r#"SELECT thing.id AS "id!", thing.tag, thing.part_id AS "part_id!", thing.condition,
                 piece.amount, piece.rest_um, piece.start_end, piece.end_end,
                 piece.joint_offset_units, piece.batch, piece.parent_id, piece.parent_from,
                 spot.account_id AS "account_id!", spot.kind AS "account_kind!",
                 spot.words AS "words!: String", spot.place_id, spot.design_id, spot.loan_id,
                 spot.inside_id
               FROM piece
               JOIN thing ON thing.id = piece.thing_id
               JOIN whereabouts AS spot ON spot.account_id = thing.account_id "# + $tail
            $(, $arg)*
        )
    };
}

/// One piece.
pub async fn lookup(tx: &mut SqliteConnection, id: ThingId) -> Result<Option<PieceAt>, DbError> {
    pieces!("WHERE piece.thing_id = ?", id.0)
        .fetch_optional(tx)
        .await?
        .map(Row::piece)
        .transpose()
}

/// Several pieces at once; ids of other things are left out.
pub async fn list_by_id(
    tx: &mut SqliteConnection,
    ids: &[ThingId],
) -> Result<Vec<PieceAt>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    pieces!(
        "WHERE piece.thing_id IN (SELECT value FROM json_each(?)) ORDER BY piece.thing_id",
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::piece)
    .collect()
}

/// The pieces of a part that one still owns, longest first.
pub async fn list_of_part(
    tx: &mut SqliteConnection,
    part: PartId,
) -> Result<Vec<PieceAt>, DbError> {
    pieces!(
        "WHERE thing.part_id = ? AND spot.kind IN ('place', 'design', 'loan', 'inside')
         ORDER BY piece.amount DESC, thing.id",
        part.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::piece)
    .collect()
}

/// Every piece that one still owns, by part, longest first: for the planner's snapshot.
pub async fn list_owned(tx: &mut SqliteConnection) -> Result<Vec<PieceAt>, DbError> {
    pieces!(
        "WHERE spot.kind IN ('place', 'design', 'loan', 'inside')
         ORDER BY thing.part_id, piece.amount DESC, thing.id"
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::piece)
    .collect()
}

/// What was cut from a piece, from its start on; those of a cut that was undone lie at the bench.
pub async fn list_children(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Vec<PieceAt>, DbError> {
    list_children_of(tx, &[id]).await
}

/// The same of several pieces, one after the other.
pub async fn list_children_of(
    tx: &mut SqliteConnection,
    ids: &[ThingId],
) -> Result<Vec<PieceAt>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    pieces!(
        "WHERE piece.parent_id IN (SELECT value FROM json_each(?))
         ORDER BY piece.parent_id, piece.parent_from, thing.id",
        ids
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::piece)
    .collect()
}

/// The pieces that a piece was cut from, the nearest first.
pub async fn list_ancestors(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Vec<PieceAt>, DbError> {
    pieces!(
        "JOIN (
            WITH RECURSIVE up (id, step) AS (
                SELECT parent_id, 1 FROM piece WHERE thing_id = ? AND parent_id IS NOT NULL
                UNION ALL
                SELECT piece.parent_id, up.step + 1 FROM piece JOIN up ON piece.thing_id = up.id
                WHERE piece.parent_id IS NOT NULL
            ) SELECT id, step FROM up) AS above ON above.id = piece.thing_id
         ORDER BY above.step",
        id.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::piece)
    .collect()
}

/// Adds what makes a thing a piece; it can't change once the thing has moved.
pub async fn add(tx: &mut WriteTx, id: ThingId, new: &NewPiece) -> Result<(), DbError> {
    let start = read("piece.start_end", serde_json::to_string(&new.start))?;
    let end = read("piece.end_end", serde_json::to_string(&new.end))?;
    let (parent, from) = (
        new.cut_from.map(|(parent, _)| parent.0),
        new.cut_from.map(|(_, from)| from),
    );
    sqlx::query!(
        "INSERT INTO piece (thing_id, amount, rest_um, start_end, end_end, joint_offset_units,
             batch, parent_id, parent_from)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id.0,
        new.amount,
        new.rest_um,
        start,
        end,
        new.joint_offset_units,
        new.batch,
        parent,
        from
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Saves the ends of a piece: a lead was soldered on or taken off.
pub async fn change_ends(
    tx: &mut WriteTx,
    id: ThingId,
    start: &End,
    end: &End,
) -> Result<(), DbError> {
    let start = read("piece.start_end", serde_json::to_string(start))?;
    let end = read("piece.end_end", serde_json::to_string(end))?;
    sqlx::query!(
        "UPDATE piece SET start_end = ?, end_end = ? WHERE thing_id = ?",
        start,
        end,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
