//! SQL for places, and for where any account is.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        id::{AccountId, DesignId, LoanId, PlaceId, ThingId},
        place::{Place, PlaceKind, Whereabouts},
        text::{Name, Note},
    },
    units::{parse_date, say_day},
};

/// A place about to be added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPlace {
    /// The place that it is in.
    pub parent: Option<PlaceId>,
    /// Its name.
    pub name: Name,
    /// What it is.
    pub kind: PlaceKind,
    /// Order along which one walks, among the places beside it.
    pub position: i64,
    /// Notes.
    pub note: Note,
}

/// A place in the tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlaceNode {
    /// The place.
    pub place: Place,
    /// Its account.
    pub account: AccountId,
    /// How many places it is in.
    pub depth: usize,
}

/// How much lies in a place, not counting places inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Filling {
    /// Things that lie in it.
    pub things: i64,
    /// Parts by count that lie in it.
    pub counts: i64,
}

struct Row {
    id: i64,
    parent_id: Option<i64>,
    name: String,
    path: String,
    kind: String,
    position: i64,
    note: String,
    retired: i64,
    version: i64,
}

impl Row {
    fn place(self) -> Result<Place, DbError> {
        Ok(Place {
            id: PlaceId(self.id),
            parent: self.parent_id.map(PlaceId),
            name: read("place.name", Name::parse(&self.name))?,
            path: self.path,
            kind: read("place.kind", self.kind.parse())?,
            position: self.position,
            note: read("place.note", Note::parse(&self.note))?,
            retired: self.retired != 0,
            version: self.version,
        })
    }
}

/// One place.
pub async fn lookup(tx: &mut SqliteConnection, id: PlaceId) -> Result<Option<Place>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, parent_id, name, path, kind, position, note, retired, version
         FROM place WHERE id = ?",
        id.0
    )
    .fetch_optional(tx)
    .await?
    .map(Row::place)
    .transpose()
}

/// The place of a path such as `Store room / Shelf B`, whatever its case.
pub async fn find_by_path(tx: &mut SqliteConnection, path: &str) -> Result<Option<Place>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, parent_id, name, path, kind, position, note, retired, version
         FROM place WHERE path = ? COLLATE NOCASE",
        path
    )
    .fetch_optional(tx)
    .await?
    .map(Row::place)
    .transpose()
}

/// Every place in the order in which one walks: each followed by those inside it.
pub async fn list(tx: &mut SqliteConnection, retired: bool) -> Result<Vec<PlaceNode>, DbError> {
    let rows = sqlx::query!(
        "SELECT place.id, parent_id, name, path, place.kind, position, note, retired, version,
             account.id AS account_id
         FROM place JOIN account ON account.place_id = place.id
         WHERE ? OR retired = 0 ORDER BY position, name COLLATE NOCASE",
        retired
    )
    .fetch_all(tx)
    .await?;
    let mut nodes = rows
        .into_iter()
        .map(|row| {
            Ok(PlaceNode {
                account: AccountId(row.account_id),
                depth: 0,
                place: Row {
                    id: row.id,
                    parent_id: row.parent_id,
                    name: row.name,
                    path: row.path,
                    kind: row.kind,
                    position: row.position,
                    note: row.note,
                    retired: row.retired,
                    version: row.version,
                }
                .place()?,
            })
        })
        .collect::<Result<Vec<_>, DbError>>()?;
    let mut tree = Vec::with_capacity(nodes.len());
    walk(&mut nodes, None, 0, &mut tree);
    // What hangs on a place that is not listed stands at the end.
    tree.append(&mut nodes);
    Ok(tree)
}

/// Every place as [`list`] has it, with how much lies in it.
pub async fn list_filled(
    tx: &mut SqliteConnection,
    retired: bool,
) -> Result<Vec<(PlaceNode, Filling)>, DbError> {
    let nodes = list(&mut *tx, retired).await?;
    // Pieces and units are summed from the balances; fixtures and frames are of no part.
    let mut fillings: HashMap<AccountId, Filling> = sqlx::query!(
        r#"SELECT id AS "id!",
             (SELECT coalesce(sum(things), 0) FROM balance WHERE account_id = account.id)
               + (SELECT count(*) FROM thing
                  WHERE kind IN ('fixture', 'frame') AND account_id = account.id) AS "things!: i64",
             (SELECT count(*) FROM balance
              WHERE account_id = account.id AND amount > 0 AND things = 0) AS "counts!: i64"
           FROM account WHERE place_id IS NOT NULL"#
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(|row| {
        let filling = Filling {
            things: row.things,
            counts: row.counts,
        };
        (AccountId(row.id), filling)
    })
    .collect();
    Ok(nodes
        .into_iter()
        .map(|node| {
            let filling = fillings.remove(&node.account).unwrap_or_default();
            (node, filling)
        })
        .collect())
}

fn walk(
    nodes: &mut Vec<PlaceNode>,
    parent: Option<PlaceId>,
    depth: usize,
    tree: &mut Vec<PlaceNode>,
) {
    let (mine, others) = std::mem::take(nodes)
        .into_iter()
        .partition::<Vec<_>, _>(|node| node.place.parent == parent);
    *nodes = others;
    for node in mine {
        let id = node.place.id;
        tree.push(PlaceNode { depth, ..node });
        walk(nodes, Some(id), depth + 1, tree);
    }
}

/// Adds a place; its account comes with it.
pub async fn add(tx: &mut WriteTx, new: &NewPlace) -> Result<PlaceId, DbError> {
    let parent = new.parent.map(|id| id.0);
    let (name, kind, note) = (new.name.as_str(), new.kind.word(), new.note.as_str());
    let id = sqlx::query_scalar!(
        "INSERT INTO place (parent_id, name, kind, position, note) VALUES (?, ?, ?, ?, ?)
         RETURNING id",
        parent,
        name,
        kind,
        new.position,
        note
    )
    .fetch_one(&mut **tx)
    .await?;
    Ok(PlaceId(id))
}

/// Saves a place that was read at `place.version`; `false` if another saved meanwhile.
pub async fn change(tx: &mut WriteTx, place: &Place) -> Result<bool, DbError> {
    let parent = place.parent.map(|id| id.0);
    let (name, kind, note) = (place.name.as_str(), place.kind.word(), place.note.as_str());
    let done = sqlx::query!(
        "UPDATE place SET parent_id = ?, name = ?, kind = ?, position = ?, note = ?, retired = ?,
             version = version + 1
         WHERE id = ? AND version = ?",
        parent,
        name,
        kind,
        place.position,
        note,
        place.retired,
        place.id.0,
        place.version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Retires an empty place, or takes it into use again; `false` if there is none.
pub async fn retire(tx: &mut WriteTx, id: PlaceId, retired: bool) -> Result<bool, DbError> {
    let done = sqlx::query!(
        "UPDATE place SET retired = ?, version = version + 1 WHERE id = ?",
        retired,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The account of a place.
pub async fn account(tx: &mut SqliteConnection, id: PlaceId) -> Result<Option<AccountId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT id FROM account WHERE place_id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .map(AccountId),
    )
}

/// What a movement into a place asks of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Goal {
    /// Its account.
    pub account: AccountId,
    /// Where it is, in words.
    pub path: String,
    /// Whether it is no longer in use.
    pub retired: bool,
}

/// A place that something is to move into.
pub async fn find_goal(tx: &mut SqliteConnection, id: PlaceId) -> Result<Option<Goal>, DbError> {
    // Every place has its account from the start.
    let row = sqlx::query!(
        r#"SELECT account.id AS "account_id!", place.path, place.retired
           FROM place JOIN account ON account.place_id = place.id WHERE place.id = ?"#,
        id.0
    )
    .fetch_optional(tx)
    .await?;
    Ok(row.map(|row| Goal {
        account: AccountId(row.account_id),
        path: row.path,
        retired: row.retired != 0,
    }))
}

/// The account of a design's stage.
pub async fn account_of_design(
    tx: &mut SqliteConnection,
    id: DesignId,
) -> Result<Option<AccountId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT id FROM account WHERE design_id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .map(AccountId),
    )
}

/// The account inside a fixture or on a frame.
pub async fn account_inside(
    tx: &mut SqliteConnection,
    id: ThingId,
) -> Result<Option<AccountId>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT id FROM account WHERE thing_id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .map(AccountId),
    )
}

/// Where an account is.
pub async fn whereabouts(
    tx: &mut SqliteConnection,
    id: AccountId,
) -> Result<Option<Whereabouts>, DbError> {
    sqlx::query_as!(
        Spot,
        r#"SELECT account_id AS "account_id!", kind AS "kind!", words AS "words!: String", place_id, design_id,
             loan_id, inside_id FROM whereabouts WHERE account_id = ?"#,
        id.0
    )
    .fetch_optional(tx)
    .await?
    .map(Spot::whereabouts)
    .transpose()
}

/// A row of the view `whereabouts`.
pub(super) struct Spot {
    pub account_id: i64,
    pub kind: String,
    pub words: String,
    pub place_id: Option<i64>,
    pub design_id: Option<i64>,
    pub loan_id: Option<i64>,
    pub inside_id: Option<i64>,
}

/// The words of a loan, with its day as sentences have it.
fn said(words: String, lent: bool) -> String {
    match words.rsplit_once(" until ") {
        Some((before, day)) if lent => match parse_date(day) {
            Ok(day) => format!("{before} until {}", say_day(day)),
            Err(_) => words,
        },
        _ => words,
    }
}

impl Spot {
    pub fn whereabouts(self) -> Result<Whereabouts, DbError> {
        Ok(Whereabouts {
            account: AccountId(self.account_id),
            kind: read("account.kind", self.kind.parse())?,
            words: said(self.words, self.loan_id.is_some()),
            place: self.place_id.map(PlaceId),
            design: self.design_id.map(DesignId),
            loan: self.loan_id.map(LoanId),
            inside: self.inside_id.map(ThingId),
        })
    }
}
