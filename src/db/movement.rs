//! SQL for the ledger: movements are added and read, never changed.

use std::collections::HashMap;

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{DbError, WriteTx, part::stock_unit, place::Spot, refusal::read};
use crate::{
    model::{
        id::{AccountId, DesignId, MovementId, PartId, ThingId},
        movement::{Line, Mark, Moved, MovementKind, NewMovement},
        part::Kind,
        place::Whereabouts,
        text::{Name, Note, Tag},
        thing::Amount,
    },
    units::{Date, parse_date},
};

mod later;

pub use later::{
    Later, Stood, find_later_into, find_later_mark, find_later_of_count, find_later_of_set,
    find_later_of_thing, find_standing_later, find_stood, list_swapped_in,
};

/// A movement as the log shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its id.
    pub id: MovementId,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
    /// The venue's calendar day.
    pub on: Date,
    /// Why.
    pub kind: MovementKind,
    /// Who.
    pub who: Name,
    /// In the person's own words; may be empty.
    pub reason: Note,
    /// For which design, with its name.
    pub design: Option<(DesignId, String)>,
    /// The movement that it undoes.
    pub undoes: Option<MovementId>,
    /// The movement that undid it.
    pub undone_by: Option<MovementId>,
    /// The condition that it noted, with the thing's tag.
    pub mark: Option<(Mark, Tag)>,
    /// What moved.
    pub lines: Vec<EntryLine>,
}

impl Entry {
    /// Whether it may be undone from here: an undo, or what was undone, may not.
    pub fn may_undo(&self) -> bool {
        self.kind != MovementKind::Undo && self.undone_by.is_none()
    }
}

/// A line of a movement, with the names that it is read by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryLine {
    /// Of which part.
    pub part: Option<PartId>,
    /// Its kind.
    pub part_kind: Option<Kind>,
    /// Which thing, if one.
    pub thing: Option<ThingId>,
    /// Its tag.
    pub tag: Option<Tag>,
    /// The part's name, a frame's name, or `fixture`.
    pub name: String,
    /// How much.
    pub amount: Amount,
    /// From where.
    pub from: Whereabouts,
    /// To where.
    pub to: Whereabouts,
    /// How many lay in the place after it, where it corrects a count.
    pub counted: Option<i64>,
}

impl EntryLine {
    /// The line as the ledger holds it.
    pub fn line(&self) -> Line {
        let Amount {
            amount, rest_um, ..
        } = self.amount;
        let moved = match (self.thing, self.part) {
            (None, part) => {
                let part = part.unwrap_or(PartId(0));
                if self.part_kind.is_some_and(Kind::by_length) {
                    Moved::Loss {
                        part,
                        amount,
                        rest_um,
                    }
                } else {
                    Moved::Count { part, amount }
                }
            }
            (Some(thing), Some(part)) if self.part_kind.is_some_and(Kind::by_length) => {
                Moved::Piece {
                    thing,
                    part,
                    amount,
                    rest_um,
                }
            }
            (Some(thing), part) => Moved::Thing { thing, part },
        };
        Line {
            moved,
            from: self.from.account,
            to: self.to.account,
        }
    }
}

/// What a log is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum About {
    /// Everything.
    #[default]
    All,
    /// One part.
    Part(PartId),
    /// One thing, its marks included.
    Thing(ThingId),
    /// One place, stage, loan or inside.
    Account(AccountId),
    /// One design.
    Design(DesignId),
}

/// Which movements a log shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LogFilter {
    /// About what.
    pub about: About,
    /// By whom.
    pub who: Option<Name>,
    /// Of one kind.
    pub kind: Option<MovementKind>,
    /// Only those before this one: the last of the page before.
    pub before: Option<MovementId>,
}

/// One line, its fields in the order in which the statement gives them.
#[derive(Deserialize)]
struct LineRow {
    id: i64,
    movement_id: i64,
    part_id: Option<i64>,
    thing_id: Option<i64>,
    amount: i64,
    rest_um: i64,
    tag: Option<String>,
    thing_kind: Option<String>,
    part_name: Option<String>,
    part_kind: Option<String>,
    frame_name: Option<String>,
    pitch_units: Option<i64>,
    pitch_um: Option<i64>,
    measure: Option<String>,
    from_account: i64,
    from_kind: String,
    from_words: String,
    from_place: Option<i64>,
    from_design: Option<i64>,
    from_loan: Option<i64>,
    from_inside: Option<i64>,
    to_account: i64,
    to_kind: String,
    to_words: String,
    to_place: Option<i64>,
    to_design: Option<i64>,
    to_loan: Option<i64>,
    to_inside: Option<i64>,
    counted: Option<i64>,
}

struct Head {
    id: i64,
    at_ms: i64,
    on_date: String,
    kind: String,
    who: String,
    reason: String,
    design_id: Option<i64>,
    design_name: Option<String>,
    undoes_id: Option<i64>,
    undone_by: Option<i64>,
    mark_thing_id: Option<i64>,
    mark_before: Option<String>,
    mark_after: Option<String>,
    mark_tag: Option<String>,
}

impl Head {
    fn entry(self) -> Result<Entry, DbError> {
        let mark = match (
            self.mark_thing_id,
            self.mark_before,
            self.mark_after,
            self.mark_tag,
        ) {
            (Some(thing), Some(before), Some(after), Some(tag)) => Some((
                Mark {
                    thing: ThingId(thing),
                    before: read("movement.mark_before", before.parse())?,
                    after: read("movement.mark_after", after.parse())?,
                },
                read("thing.tag", Tag::parse(&tag))?,
            )),
            _ => None,
        };
        Ok(Entry {
            id: MovementId(self.id),
            at_ms: self.at_ms,
            on: read("movement.on_date", parse_date(&self.on_date))?,
            kind: read("movement.kind", self.kind.parse())?,
            who: read("movement.who", Name::parse(&self.who))?,
            reason: read("movement.reason", Note::parse(&self.reason))?,
            design: self.design_id.map(DesignId).zip(self.design_name),
            undoes: self.undoes_id.map(MovementId),
            undone_by: self.undone_by.map(MovementId),
            mark,
            lines: Vec::new(),
        })
    }
}

/// One movement with its lines.
pub async fn lookup(tx: &mut SqliteConnection, id: MovementId) -> Result<Option<Entry>, DbError> {
    Ok(list_by_id(tx, &[id.0]).await?.pop())
}

/// Movements with their lines, newest first.
pub async fn list(
    tx: &mut SqliteConnection,
    filter: &LogFilter,
    limit: i64,
) -> Result<Vec<Entry>, DbError> {
    let ids = list_ids(&mut *tx, filter, limit).await?;
    list_by_id(tx, &ids).await
}

/// Picks ids of movements, newest first: `$of` says of what, `$order` how. Each finds them by an
/// index in that order, so that a page costs the same however long the ledger is.
macro_rules! ids {
    ($tx:ident, $filter:ident, $limit:ident, $subject:expr, $of:literal, $order:literal) => {{
        let subject = $subject;
        let before = $filter.before.map_or(i64::MAX, |id| id.0);
        let kind = $filter.kind.map(MovementKind::word);
        let who = $filter.who.as_ref().map(Name::as_str);
        sqlx::query_scalar!(
            r#"SELECT movement.id AS "id!: i64" FROM "#
                + $of
                + " AND movement.id < ?2
               AND (?3 IS NULL OR movement.kind = ?3) AND (?4 IS NULL OR movement.who = ?4) "
                + $order
                + " LIMIT ?5",
            subject,
            before,
            kind,
            who,
            $limit
        )
        .fetch_all($tx)
        .await
    }};
    ($tx:ident, $filter:ident, $limit:ident, $subject:expr, $of:literal) => {
        ids!(
            $tx,
            $filter,
            $limit,
            $subject,
            $of,
            "ORDER BY movement.id DESC"
        )
    };
}

async fn list_ids(
    tx: &mut SqliteConnection,
    filter: &LogFilter,
    limit: i64,
) -> Result<Vec<i64>, DbError> {
    Ok(match filter.about {
        About::All => match (&filter.who, filter.kind) {
            (Some(who), _) => {
                ids!(tx, filter, limit, who.as_str(), "movement WHERE movement.who = ?1")
            }
            (None, Some(kind)) => {
                ids!(tx, filter, limit, kind.word(), "movement WHERE movement.kind = ?1")
            }
            (None, None) => {
                ids!(tx, filter, limit, None::<i64>, "movement WHERE ?1 IS NULL")
            }
        },
        About::Thing(thing) => ids!(
            tx,
            filter,
            limit,
            thing.0,
            "movement WHERE movement.id IN (
                SELECT movement_id FROM movement_line WHERE thing_id = ?1
                UNION SELECT id FROM movement WHERE mark_thing_id = ?1)"
        ),
        About::Design(design) => {
            ids!(tx, filter, limit, design.0, "movement WHERE movement.design_id = ?1")
        }
        // A part and a place have as many lines as the ledger is long: they are walked one
        // movement at a time, from the newest on, only as far as the page needs. The walk itself
        // gives the order; asked to sort, SQLite would walk to the end.
        About::Part(part) => ids!(
            tx,
            filter,
            limit,
            part.0,
            "(WITH RECURSIVE walk (id) AS (
                SELECT max(movement_id) FROM movement_line WHERE part_id = ?1 AND movement_id < ?2
                UNION ALL
                SELECT (SELECT max(movement_id) FROM movement_line
                        WHERE part_id = ?1 AND movement_id < walk.id)
                FROM walk WHERE walk.id IS NOT NULL)
              SELECT id FROM walk) AS walk CROSS JOIN movement ON movement.id = walk.id WHERE true",
            ""
        ),
        About::Account(account) => ids!(
            tx,
            filter,
            limit,
            account.0,
            "(WITH RECURSIVE walk (id) AS (
                SELECT max(
                    (SELECT coalesce(max(movement_id), 0) FROM movement_line WHERE to_id = ?1 AND movement_id < ?2),
                    (SELECT coalesce(max(movement_id), 0) FROM movement_line WHERE from_id = ?1 AND movement_id < ?2))
                UNION ALL
                SELECT max(
                    (SELECT coalesce(max(movement_id), 0) FROM movement_line WHERE to_id = ?1 AND movement_id < walk.id),
                    (SELECT coalesce(max(movement_id), 0) FROM movement_line WHERE from_id = ?1 AND movement_id < walk.id))
                FROM walk WHERE walk.id > 0)
              SELECT id FROM walk) AS walk CROSS JOIN movement ON movement.id = walk.id WHERE true",
            ""
        ),
    }?)
}

async fn list_by_id(tx: &mut SqliteConnection, ids: &[i64]) -> Result<Vec<Entry>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    let heads = sqlx::query_as!(
        Head,
        r#"SELECT movement.id AS "id!", movement.at_ms, movement.on_date, movement.kind, movement.who,
             movement.reason, movement.design_id, design.name AS "design_name?",
             movement.undoes_id, counter.id AS "undone_by?", movement.mark_thing_id,
             movement.mark_before, movement.mark_after, marked.tag AS "mark_tag?"
           FROM movement
           LEFT JOIN design ON design.id = movement.design_id
           LEFT JOIN movement AS counter ON counter.undoes_id = movement.id
           LEFT JOIN thing AS marked ON marked.id = movement.mark_thing_id
           WHERE movement.id IN (SELECT value FROM json_each(?)) ORDER BY movement.id DESC"#,
        ids
    )
    .fetch_all(&mut *tx)
    .await?;
    let mut lines = list_lines(tx, &ids).await?;
    heads
        .into_iter()
        .map(|head| {
            let lines = lines.remove(&head.id).unwrap_or_default();
            Ok(Entry {
                lines,
                ..head.entry()?
            })
        })
        .collect()
}

/// The lines of movements, by movement; `ids` is a list in JSON.
async fn list_lines(
    tx: &mut SqliteConnection,
    ids: &str,
) -> Result<HashMap<i64, Vec<EntryLine>>, DbError> {
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(line.id, line.movement_id, line.part_id, line.thing_id,
               line.amount, line.rest_um, thing.tag, thing.kind, part.name, part.kind, frame.name,
               json_extract(part.spec, '$.pitch.units'), json_extract(part.spec, '$.pitch.um'),
               json_extract(part.spec, '$.measure'),
               source.account_id, source.kind, source.words, source.place_id, source.design_id,
               source.loan_id, source.inside_id,
               goal.account_id, goal.kind, goal.words, goal.place_id, goal.design_id, goal.loan_id,
               goal.inside_id, counted.amount)) AS "rows!: String"
           FROM movement_line AS line
           LEFT JOIN counted ON counted.line_id = line.id
           JOIN whereabouts AS source ON source.account_id = line.from_id
           JOIN whereabouts AS goal ON goal.account_id = line.to_id
           LEFT JOIN thing ON thing.id = line.thing_id
           LEFT JOIN part ON part.id = line.part_id
           LEFT JOIN frame ON frame.thing_id = line.thing_id
           WHERE line.movement_id IN (SELECT value FROM json_each(?))"#,
        ids
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<LineRow> = read("movement_line", serde_json::from_str(&rows))?;
    rows.sort_unstable_by_key(|row| row.id);
    let mut lines: HashMap<i64, Vec<EntryLine>> = HashMap::new();
    for row in rows {
        let part_kind: Option<Kind> = row
            .part_kind
            .map(|kind| read("part.kind", kind.parse()))
            .transpose()?;
        lines.entry(row.movement_id).or_default().push(EntryLine {
            part: row.part_id.map(PartId),
            part_kind,
            thing: row.thing_id.map(ThingId),
            tag: row
                .tag
                .map(|tag| read("thing.tag", Tag::parse(&tag)))
                .transpose()?,
            name: row
                .part_name
                .or(row.frame_name)
                .or(row.thing_kind)
                .unwrap_or_default(),
            amount: Amount {
                unit: stock_unit(
                    part_kind,
                    row.pitch_units.zip(row.pitch_um),
                    row.measure.as_deref(),
                )?,
                amount: row.amount,
                rest_um: row.rest_um,
            },
            from: Spot {
                account_id: row.from_account,
                kind: row.from_kind,
                words: row.from_words,
                place_id: row.from_place,
                design_id: row.from_design,
                loan_id: row.from_loan,
                inside_id: row.from_inside,
            }
            .whereabouts()?,
            to: Spot {
                account_id: row.to_account,
                kind: row.to_kind,
                words: row.to_words,
                place_id: row.to_place,
                design_id: row.to_design,
                loan_id: row.to_loan,
                inside_id: row.to_inside,
            }
            .whereabouts()?,
            counted: row.counted,
        });
    }
    Ok(lines)
}

/// A movement that was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Added {
    /// Which.
    pub id: MovementId,
    /// Whether anybody holds one of its things.
    pub held: bool,
}

/// Writes a movement with its lines; the triggers keep whereabouts and balances, and refuse what
/// must not be.
pub async fn add(
    tx: &mut WriteTx,
    new: &NewMovement,
    at_ms: i64,
    on: Date,
) -> Result<Added, DbError> {
    let on = on.to_string();
    let (kind, who, reason) = (new.kind.word(), new.who.as_str(), new.reason.as_str());
    let (design, undoes) = (new.design.map(|id| id.0), new.undoes.map(|id| id.0));
    let (thing, before, after) = (
        new.mark.map(|mark| mark.thing.0),
        new.mark.map(|mark| mark.before.word()),
        new.mark.map(|mark| mark.after.word()),
    );
    // [part, thing, amount, rest, from, to] of each line.
    let lines: Vec<_> = (new.lines.iter())
        .map(|line| {
            let (part, thing, amount, rest) = match line.moved {
                Moved::Count { part, amount } => (Some(part), None, amount, 0),
                Moved::Piece {
                    thing,
                    part,
                    amount,
                    rest_um,
                } => (Some(part), Some(thing), amount, rest_um),
                Moved::Thing { thing, part } => (part, Some(thing), 1, 0),
                Moved::Loss {
                    part,
                    amount,
                    rest_um,
                } => (Some(part), None, amount, rest_um),
            };
            (part, thing, amount, rest, line.from, line.to)
        })
        .collect();
    let things: Vec<ThingId> = (lines.iter().filter_map(|(_, thing, ..)| *thing))
        .chain(new.mark.map(|mark| mark.thing))
        .collect();
    let lines = read("movement_line", serde_json::to_string(&lines))?;
    let things = read("ids", serde_json::to_string(&things))?;
    // All in one errand to the thread that writes. Nothing is ever removed from the ledger, so the
    // greatest id is of this one.
    let added = sqlx::query!(
        r#"INSERT INTO movement (at_ms, on_date, kind, who, reason, design_id, undoes_id,
             mark_thing_id, mark_before, mark_after)
           VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?);
           INSERT INTO movement_line (movement_id, part_id, thing_id, amount, rest_um, from_id, to_id)
           SELECT (SELECT max(id) FROM movement), value ->> 0, value ->> 1, value ->> 2, value ->> 3,
             value ->> 4, value ->> 5 FROM json_each(?) ORDER BY key;
           SELECT max(id) AS "id!: i64", EXISTS (SELECT 1 FROM hold
             WHERE thing_id IN (SELECT value FROM json_each(?)) AND state = 'active') AS "held!: bool"
           FROM movement"#,
        at_ms,
        on,
        kind,
        who,
        reason,
        design,
        undoes,
        thing,
        before,
        after,
        lines,
        things
    )
    .fetch_one(&mut **tx)
    .await?;
    Ok(Added {
        id: MovementId(added.id),
        held: added.held,
    })
}
