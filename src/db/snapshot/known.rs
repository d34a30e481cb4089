//! The pieces as they were last read, kept in memory: of a later state only what was touched since is
//! read.
//!
//! A piece is somewhere else only with a line of the ledger that names it, and whatever else of it is
//! changed notes its id in `touched` (`migrations/0021_touched.sql`), whoever writes. Lines and notes are
//! numbered, the later the higher, and none is ever taken away: what came after a number is all that is
//! different. Only committed states are kept, since the numbers of what is taken back are given again.

use std::{
    collections::{BTreeSet, HashMap},
    ops::DerefMut,
    sync::{Arc, Mutex, PoisonError},
};

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::Spot;
use crate::{
    db::{DbError, ReadTx, WriteTx, refusal::read},
    model::{
        fixture::Condition,
        id::{PartId, PlaceId, ThingId},
        piece::{End, Piece},
        text::Tag,
    },
    plan::{
        available::At,
        input::{SparePiece, Where},
    },
};

/// The most pieces that are kept.
const MOST: usize = 100_000;
/// The most lines and notes after which it is looked what they touched; beyond them all is read.
const MOST_SINCE: i64 = 2_000;

/// What the snapshot is read in: one state of the database.
pub trait Reads: DerefMut<Target = SqliteConnection> + Send {
    /// Where committed pieces are kept, if this state is committed.
    fn pieces(&self) -> Option<&Arc<Pieces>>;
}

impl Reads for ReadTx {
    fn pieces(&self) -> Option<&Arc<Pieces>> {
        Some(self.kept())
    }
}

impl Reads for WriteTx {
    fn pieces(&self) -> Option<&Arc<Pieces>> {
        None
    }
}

/// The pieces of one open database.
#[derive(Debug, Default)]
pub struct Pieces(Mutex<Option<Arc<Known>>>);

impl Pieces {
    fn latest(&self) -> Option<Arc<Known>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.clone()
    }

    /// Keeps what was read, unless something later is kept.
    fn keep(&self, known: &Arc<Known>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let later = |kept: &Arc<Known>| !kept.state.is_before(known.state);
        if known.all.len() <= MOST && !kept.as_ref().is_some_and(later) {
            *kept = Some(known.clone());
        }
    }
}

/// How far the ledger and the notes had come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct State {
    line: i64,
    note: i64,
}

impl State {
    /// Both only grow.
    fn is_before(self, other: Self) -> bool {
        self.line <= other.line && self.note <= other.note
    }
}

/// All good pieces in places, with sets and lent, by id.
#[derive(Debug)]
pub(super) struct Known {
    state: State,
    /// Where the accounts are that any lies in.
    spots: HashMap<i64, (At, Where)>,
    pub(super) all: Vec<Stored>,
}

/// A piece, in memory.
#[derive(Debug, Clone)]
pub(super) struct Stored {
    pub(super) id: ThingId,
    pub(super) part: PartId,
    account: i64,
    /// Whether it lies in a place: then all of it is free that nobody holds.
    pub(super) lies: bool,
    /// The piece as it is where nobody holds it; shared by all who ask.
    pub(super) whole: Arc<SparePiece>,
}

impl Known {
    /// Where a piece is.
    pub(super) fn at(&self, stored: &Stored) -> Option<&At> {
        self.spots.get(&stored.account).map(|(at, _)| at)
    }
}

/// One piece, its fields in the order in which the statements give them.
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
    account: i64,
}

impl Row {
    fn stored(self, spots: &HashMap<i64, (At, Where)>) -> Option<Stored> {
        let (at, place) = spots.get(&self.account)?;
        let (id, part) = (self.id, self.part);
        Some(Stored {
            id,
            part,
            account: self.account,
            lies: *at == At::Place,
            whole: Arc::new(SparePiece {
                free: (self.amount > 0)
                    .then_some((0, self.amount))
                    .into_iter()
                    .collect(),
                place: place.clone(),
                piece: Piece {
                    id,
                    tag: self.tag,
                    part,
                    amount: self.amount,
                    rest_um: self.rest_um,
                    start: self.start,
                    end: self.end,
                    joint_offset_units: self.joint_offset_units,
                    batch: self.batch,
                    condition: Condition::Good,
                    cut_from: self.parent_id.zip(self.parent_from),
                },
            }),
        })
    }
}

/// All pieces as they are now. A cupboard may have tens of thousands. Row by row each value is handed
/// from one thread to another; as one text of JSON they take a quarter of the time.
pub(super) async fn pieces(
    tx: &mut impl Reads,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Arc<Known>, DbError> {
    let now = state(tx).await?;
    let latest = tx.pieces().and_then(|pieces| pieces.latest());
    let before = latest.filter(|known| {
        let since = (now.line - known.state.line).saturating_add(now.note - known.state.note);
        known.state.is_before(now) && since <= MOST_SINCE
    });
    let known = match before {
        Some(before) => since(tx, &before, now, walk).await?,
        None => anew(tx, now, walk).await?,
    };
    if let Some(pieces) = tx.pieces() {
        pieces.keep(&known);
    }
    Ok(known)
}

/// One part's pieces as they are now, and nothing kept.
pub(super) async fn of_part(
    tx: &mut SqliteConnection,
    part: PartId,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Known, DbError> {
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(thing.id, thing.tag, thing.part_id, piece.amount, piece.rest_um,
               json(piece.start_end), json(piece.end_end), piece.joint_offset_units, piece.batch,
               piece.parent_id, piece.parent_from, thing.account_id)) AS "rows!: String"
           FROM thing JOIN piece ON piece.thing_id = thing.id
           WHERE thing.part_id = ? AND thing.kind = 'piece' AND thing.condition = 'good'
             AND thing.account_id IN (SELECT id FROM account WHERE kind IN ('place', 'design', 'loan'))"#,
        part.0
    )
    .fetch_one(&mut *tx)
    .await?;
    let none = State { line: 0, note: 0 };
    of_rows(tx, none, &rows, walk).await
}

async fn state(tx: &mut SqliteConnection) -> Result<State, DbError> {
    let row = sqlx::query!(
        r#"SELECT coalesce((SELECT max(id) FROM movement_line), 0) AS "line!: i64",
               coalesce((SELECT max(number) FROM touched), 0) AS "note!: i64""#
    )
    .fetch_one(tx)
    .await?;
    Ok(State {
        line: row.line,
        note: row.note,
    })
}

async fn anew(
    tx: &mut SqliteConnection,
    now: State,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Arc<Known>, DbError> {
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(thing.id, thing.tag, thing.part_id, piece.amount, piece.rest_um,
               json(piece.start_end), json(piece.end_end), piece.joint_offset_units, piece.batch,
               piece.parent_id, piece.parent_from, thing.account_id)) AS "rows!: String"
           FROM thing JOIN piece ON piece.thing_id = thing.id
           WHERE thing.kind = 'piece' AND thing.condition = 'good'
             AND thing.account_id IN (SELECT id FROM account WHERE kind IN ('place', 'design', 'loan'))"#
    )
    .fetch_one(&mut *tx)
    .await?;
    Ok(Arc::new(of_rows(tx, now, &rows, walk).await?))
}

async fn of_rows(
    tx: &mut SqliteConnection,
    state: State,
    rows: &str,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Known, DbError> {
    let rows: Vec<Row> = read("piece", serde_json::from_str(rows))?;
    let accounts = rows.iter().map(|row| row.account).collect();
    let spots = list_spots(tx, &accounts, walk).await?;
    let mut all: Vec<Stored> = rows
        .into_iter()
        .filter_map(|row| row.stored(&spots))
        .collect();
    all.sort_unstable_by_key(|it| it.id);
    Ok(Known { state, spots, all })
}

/// The pieces as they are now, from how they were.
async fn since(
    tx: &mut SqliteConnection,
    before: &Arc<Known>,
    now: State,
    walk: &HashMap<PlaceId, Where>,
) -> Result<Arc<Known>, DbError> {
    // CROSS JOIN: few were touched, which the planner of statements cannot know; it would look through
    // all pieces for them.
    let touched = sqlx::query!(
        r#"WITH it (id) AS MATERIALIZED (
               SELECT thing_id FROM movement_line WHERE id > ?1 AND thing_id IS NOT NULL
               UNION SELECT thing_id FROM touched WHERE number > ?2)
           SELECT (SELECT json_group_array(id) FROM it) AS "ids!: String",
               (SELECT json_group_array(json_array(thing.id, thing.tag, thing.part_id, piece.amount,
                   piece.rest_um, json(piece.start_end), json(piece.end_end), piece.joint_offset_units,
                   piece.batch, piece.parent_id, piece.parent_from, thing.account_id))
                FROM it CROSS JOIN thing ON thing.id = it.id CROSS JOIN piece ON piece.thing_id = thing.id
                WHERE thing.kind = 'piece' AND thing.condition = 'good'
                  AND (SELECT kind FROM account WHERE account.id = thing.account_id)
                    IN ('place', 'design', 'loan')
               ) AS "rows!: String""#,
        before.state.line,
        before.state.note
    )
    .fetch_one(&mut *tx)
    .await?;
    let ids: BTreeSet<ThingId> = read("ids", serde_json::from_str(&touched.ids))?;
    let rows: Vec<Row> = read("piece", serde_json::from_str(&touched.rows))?;
    let accounts = before.spots.keys().copied();
    let accounts = accounts.chain(rows.iter().map(|row| row.account)).collect();
    let spots = list_spots(tx, &accounts, walk).await?;
    let same = spots == before.spots;
    if same && ids.is_empty() && before.state == now {
        return Ok(before.clone());
    }
    let mut all = before.all.clone();
    if !same {
        for stored in &mut all {
            let (was, is) = (
                before.spots.get(&stored.account),
                spots.get(&stored.account),
            );
            if was != is
                && let Some((at, place)) = is
            {
                stored.lies = *at == At::Place;
                stored.whole = Arc::new(SparePiece {
                    place: place.clone(),
                    ..SparePiece::clone(&stored.whole)
                });
            }
        }
    }
    if !ids.is_empty() {
        all.retain(|stored| !ids.contains(&stored.id));
        all.extend(rows.into_iter().filter_map(|row| row.stored(&spots)));
        // Two runs in order: the stable sort only joins them.
        all.sort_by_key(|stored| stored.id);
    }
    Ok(Arc::new(Known {
        state: now,
        spots,
        all,
    }))
}

/// Where accounts are, those left out that are no place, set or loan.
async fn list_spots(
    tx: &mut SqliteConnection,
    accounts: &BTreeSet<i64>,
    walk: &HashMap<PlaceId, Where>,
) -> Result<HashMap<i64, (At, Where)>, DbError> {
    let accounts = read("ids", serde_json::to_string(accounts))?;
    sqlx::query!(
        r#"SELECT account.id AS "id!", account.place_id, account.design_id, design.name AS "design_name?",
               design.strike_on AS "strike_on?", loan.borrower AS "borrower?", loan.due_on AS "due_on?"
           FROM account LEFT JOIN design ON design.id = account.design_id
           LEFT JOIN loan ON loan.id = account.loan_id
           WHERE account.id IN (SELECT value FROM json_each(?))
             AND account.kind IN ('place', 'design', 'loan')"#,
        accounts
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let spot = Spot {
            place: row.place_id,
            design: row
                .design_id
                .zip(row.design_name)
                .zip(row.strike_on)
                .map(|((id, name), strike)| (id, name, strike)),
            loan: row.borrower.zip(row.due_on),
            inside: None,
        };
        Ok((row.id, (spot.at()?, spot.place(walk))))
    })
    .collect()
}
