//! SQL for anything with a tag: lists, tags, notes, condition.

use std::collections::HashMap;

use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{
    DbError, WriteTx,
    part::{stock_unit, typed_words},
    place::Spot,
    refusal::read,
};
use crate::{
    model::{
        describe::fixture_name,
        fixture::{Condition, Fed, Make},
        id::{AccountId, PartId, PlaceId, ThingId},
        part::{Kind, StockUnit},
        text::{Note, Tag},
        thing::{Amount, Thing, ThingKind},
    },
    units::{Date, Length, Voltage, parse_date},
};

mod frame;
mod unit;

pub use frame::{add_frame, change_frame, list_frames, lookup_frame};
pub use unit::{add_unit, change_unit, list_units, lookup_unit};

/// A thing about to be added, before its first movement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewThing {
    /// Its tag.
    pub tag: Tag,
    /// What it is.
    pub kind: ThingKind,
    /// Its part, for pieces and units.
    pub part: Option<PartId>,
    /// Condition.
    pub condition: Condition,
    /// Notes.
    pub note: Note,
    /// When it is due for inspection.
    pub inspect_on: Option<Date>,
    /// What it is in words, in lower case, for search.
    pub words: String,
}

/// Which things a list shows. Everything that is not said is let through.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ThingFilter {
    /// Of one kind.
    pub kind: Option<ThingKind>,
    /// Of one part.
    pub part: Option<PartId>,
    /// In a place, or in a place inside it.
    pub place: Option<PlaceId>,
    /// In exactly one account: a place, a stage, a loan, the inside of a thing.
    pub account: Option<AccountId>,
    /// Only suspect and dead ones.
    pub bad: bool,
    /// Those too that are used up, scrapped, lost or cut up.
    pub gone: bool,
    /// Only those that are inside nothing: not built into a fixture, nor mounted on a frame.
    pub loose: bool,
    /// Only those due for inspection by this day.
    pub inspect_by: Option<Date>,
    /// Each word typed occurs in the name, attributes, tag or place; part of a word counts.
    pub typed: String,
    /// In order of their ids, only those after this one: pages that stay put while things change.
    pub after: Option<ThingId>,
}

/// Prefixes of tags that are given where none is typed; numbers run on per prefix.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TagPrefix {
    /// Rolls, reels and bars as bought.
    Roll,
    /// Offcuts.
    Offcut,
    /// Drivers.
    Driver,
    /// Supplies.
    Supply,
    /// Fixtures.
    Fixture,
    /// Frames.
    Frame,
}

impl TagPrefix {
    const fn letter(self) -> char {
        match self {
            Self::Roll => 'R',
            Self::Offcut => 'O',
            Self::Driver => 'D',
            Self::Supply => 'S',
            Self::Fixture => 'F',
            Self::Frame => 'K',
        }
    }
}

/// One thing, its fields in the order in which the statements give them.
#[derive(Deserialize)]
struct Row {
    id: i64,
    tag: String,
    kind: String,
    part_id: Option<i64>,
    condition: String,
    note: String,
    inspect_on: Option<String>,
    version: i64,
    part_name: Option<String>,
    part_kind: Option<String>,
    pitch_units: Option<i64>,
    pitch_um: Option<i64>,
    amount: Option<i64>,
    rest_um: Option<i64>,
    frame_name: Option<String>,
    channels: Option<String>,
    voltage_mv: Option<i64>,
    lit_um: Option<i64>,
    diffused: Option<i64>,
    account_id: i64,
    account_kind: String,
    words: String,
    place_id: Option<i64>,
    design_id: Option<i64>,
    loan_id: Option<i64>,
    inside_id: Option<i64>,
}

impl Row {
    fn thing(self) -> Result<Thing, DbError> {
        let kind: ThingKind = read("thing.kind", self.kind.parse())?;
        let part_kind: Option<Kind> = self
            .part_kind
            .map(|kind| read("part.kind", kind.parse()))
            .transpose()?;
        let (name, amount) = if let (Some(channels), Some(lit_um)) = (self.channels, self.lit_um) {
            let make = Make {
                tape: None,
                profile: None,
                channels: read("fixture.channels", channels.parse())?,
                voltage_mv: read(
                    "fixture.voltage_mv",
                    Voltage::new(self.voltage_mv.unwrap_or(0)),
                )?,
                lit_um: read("fixture.lit_um", Length::new(lit_um))?,
                diffused: self.diffused == Some(1),
                fed: Fed::OneEnd,
                connector: None,
            };
            let amount = Amount {
                unit: StockUnit::Micrometres,
                amount: lit_um,
                rest_um: 0,
            };
            (fixture_name(&make), amount)
        } else {
            let amount = Amount {
                unit: stock_unit(part_kind, self.pitch_units.zip(self.pitch_um), None)?,
                amount: self.amount.unwrap_or(1),
                rest_um: self.rest_um.unwrap_or(0),
            };
            let name = self.part_name.or(self.frame_name).unwrap_or_default();
            (name, amount)
        };
        Ok(Thing {
            id: ThingId(self.id),
            tag: read("thing.tag", Tag::parse(&self.tag))?,
            kind,
            part: self.part_id.map(PartId),
            part_kind,
            name,
            amount,
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
            condition: read("thing.condition", self.condition.parse())?,
            note: read("thing.note", Note::parse(&self.note))?,
            inspect_on: self
                .inspect_on
                .map(|day| read("thing.inspect_on", parse_date(&day)))
                .transpose()?,
            version: self.version,
        })
    }
}

/// Selects [`Row`]s; what follows says which.
macro_rules! things {
    ($tail:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            r#"SELECT thing.id AS "id!", thing.tag, thing.kind, thing.part_id, thing.condition, thing.note,
                 thing.inspect_on, thing.version,
                 part.name AS "part_name?", part.kind AS "part_kind?",
                 json_extract(part.spec, '$.pitch.units') AS "pitch_units?: i64",
                 json_extract(part.spec, '$.pitch.um') AS "pitch_um?: i64",
                 piece.amount AS "amount?", piece.rest_um AS "rest_um?",
                 frame.name AS "frame_name?",
                 fixture.channels AS "channels?", fixture.voltage_mv AS "voltage_mv?",
                 fixture.lit_um AS "lit_um?", fixture.diffused AS "diffused?",
                 spot.account_id AS "account_id!", spot.kind AS "account_kind!",
                 spot.words AS "words!: String", spot.place_id, spot.design_id, spot.loan_id,
                 spot.inside_id
               FROM thing
               JOIN whereabouts AS spot ON spot.account_id = thing.account_id
               LEFT JOIN part ON part.id = thing.part_id
               LEFT JOIN piece ON piece.thing_id = thing.id
               LEFT JOIN frame ON frame.thing_id = thing.id
               LEFT JOIN fixture ON fixture.thing_id = thing.id "# + $tail
            $(, $arg)*
        )
    };
}

/// One thing.
pub async fn lookup(tx: &mut SqliteConnection, id: ThingId) -> Result<Option<Thing>, DbError> {
    things!("WHERE thing.id = ?", id.0)
        .fetch_optional(tx)
        .await?
        .map(Row::thing)
        .transpose()
}

/// The thing that somebody means by a tag as they typed it: `f2` is F-2 where nothing is called F2.
pub async fn find_by_typed_tag(
    tx: &mut SqliteConnection,
    tag: &Tag,
) -> Result<Option<Thing>, DbError> {
    if let Some(thing) = find_by_tag(tx, tag).await? {
        return Ok(Some(thing));
    }
    match tag.dashed() {
        Some(dashed) => find_by_tag(tx, &dashed).await,
        None => Ok(None),
    }
}

/// The thing of a tag.
pub async fn find_by_tag(tx: &mut SqliteConnection, tag: &Tag) -> Result<Option<Thing>, DbError> {
    let tag = tag.as_str();
    things!("WHERE thing.tag = ?", tag)
        .fetch_optional(tx)
        .await?
        .map(Row::thing)
        .transpose()
}

/// Several things at once, in no order; those that are not there are left out.
pub async fn list_by_id(tx: &mut SqliteConnection, ids: &[ThingId]) -> Result<Vec<Thing>, DbError> {
    let ids = read("ids", serde_json::to_string(ids))?;
    // As one text: row by row each value is handed from one thread to another.
    let rows = sqlx::query_scalar!(
        r#"SELECT json_group_array(json_array(thing.id, thing.tag, thing.kind, thing.part_id,
               thing.condition, thing.note, thing.inspect_on, thing.version, part.name, part.kind,
               json_extract(part.spec, '$.pitch.units'), json_extract(part.spec, '$.pitch.um'),
               piece.amount, piece.rest_um, frame.name, fixture.channels, fixture.voltage_mv,
               fixture.lit_um, fixture.diffused, spot.account_id, spot.kind, spot.words, spot.place_id,
               spot.design_id, spot.loan_id, spot.inside_id)) AS "rows!: String"
           FROM thing
           JOIN whereabouts AS spot ON spot.account_id = thing.account_id
           LEFT JOIN part ON part.id = thing.part_id
           LEFT JOIN piece ON piece.thing_id = thing.id
           LEFT JOIN frame ON frame.thing_id = thing.id
           LEFT JOIN fixture ON fixture.thing_id = thing.id
           WHERE thing.id IN (SELECT value FROM json_each(?))"#,
        ids
    )
    .fetch_one(tx)
    .await?;
    let mut rows: Vec<Row> = read("thing", serde_json::from_str(&rows))?;
    rows.sort_unstable_by_key(|row| row.id);
    rows.into_iter().map(Row::thing).collect()
}

/// Several things at once, in the order of their ids as given.
pub(super) async fn list_in_order(
    tx: &mut SqliteConnection,
    ids: &[ThingId],
) -> Result<Vec<Thing>, DbError> {
    let mut things = list_by_id(tx, ids).await?;
    let at: HashMap<ThingId, usize> = ids.iter().enumerate().map(|(at, id)| (*id, at)).collect();
    things.sort_by_key(|thing| at.get(&thing.id).copied());
    Ok(things)
}

/// Picks ids of things that a filter lets through: only what it asks for is looked at, and a thing
/// is read whole only where it is shown.
macro_rules! ids {
    ($tx:ident, $filter:ident, $start:expr, $limit:ident, $from:literal, $where:literal, $tail:literal $(,)?) => {{
        let kind = $filter.kind.map(ThingKind::word);
        let part = $filter.part.map(|id| id.0);
        let place = $filter.place.map(|id| id.0);
        let account = $filter.account.map(|id| id.0);
        let inspect = $filter.inspect_by.map(|day| day.to_string());
        let [a, b, c, d] = typed_words(&$filter.typed);
        let start = $start;
        sqlx::query_scalar!(
            r#"SELECT thing.id AS "id!: i64" FROM "# + $from + " CROSS JOIN account ON account.id = thing.account_id
             LEFT JOIN part ON part.id = thing.part_id
             LEFT JOIN piece ON piece.thing_id = thing.id
             LEFT JOIN fixture ON fixture.thing_id = thing.id
             WHERE (?1 IS NULL OR thing.kind = ?1) AND (?2 IS NULL OR thing.part_id = ?2)
               AND (?3 IS NULL OR account.place_id IN (
                    WITH RECURSIVE below (id) AS (
                        SELECT ?3 UNION SELECT place.id FROM place JOIN below ON place.parent_id = below.id
                    ) SELECT id FROM below))
               AND (?4 IS NULL OR thing.account_id = ?4)
               AND (NOT ?5 OR thing.condition <> 'good')
               AND (?6 OR account.kind IN ('place', 'design', 'loan', 'inside'))
               AND (?7 IS NULL OR thing.inspect_on <= ?7)
               AND (?8 = '' OR (SELECT instr(text, ?8) AND instr(text, ?9) AND instr(text, ?10) AND instr(text, ?11)
                    FROM (SELECT coalesce(part.words, '') || ' ' || thing.words || ' ' || lower(thing.tag)
                            || ' ' || lower(words) AS text
                          FROM whereabouts WHERE account_id = thing.account_id)))
               AND (NOT ?14 OR account.kind <> 'inside')
               AND " + $where + " ORDER BY " + $tail,
            kind,
            part,
            place,
            account,
            $filter.bad,
            $filter.gone,
            inspect,
            a,
            b,
            c,
            d,
            start,
            $limit,
            $filter.loose,
        )
        .fetch_all(&mut *$tx)
        .await
        .map(|ids| ids.into_iter().map(ThingId).collect::<Vec<_>>())
    }};
}

/// The things of several tags, in no order; tags that no thing has are left out.
pub async fn list_by_tag(tx: &mut SqliteConnection, tags: &[Tag]) -> Result<Vec<Thing>, DbError> {
    let tags = read("tags", serde_json::to_string(tags))?;
    things!(
        "WHERE thing.tag IN (SELECT value FROM json_each(?)) ORDER BY thing.id",
        tags
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::thing)
    .collect()
}

/// Things by kind and name, longest first; at most `limit` from `offset` on.
pub async fn list(
    tx: &mut SqliteConnection,
    filter: &ThingFilter,
    offset: i64,
    limit: i64,
) -> Result<Vec<Thing>, DbError> {
    let ids = if let Some(after) = filter.after {
        // In the order of their ids; the walk ends where the page is full.
        ids!(
            tx,
            filter,
            after.0,
            limit,
            "thing",
            "thing.id > ?12",
            "thing.id LIMIT ?13"
        )
    } else {
        ids!(
            tx,
            filter,
            offset,
            limit,
            "(SELECT id FROM thing WHERE account_id = ?4
              UNION ALL SELECT id FROM thing WHERE ?4 IS NULL AND part_id = ?2
              UNION ALL SELECT id FROM thing WHERE coalesce(?4, ?2) IS NULL AND account_id IN (
                WITH RECURSIVE below (id) AS (
                    SELECT ?3 UNION SELECT place.id FROM place JOIN below ON place.parent_id = below.id
                ) SELECT account.id FROM account JOIN below ON account.place_id = below.id)
              UNION ALL SELECT id FROM thing WHERE coalesce(?4, ?2, ?3) IS NULL AND kind = ?1
              UNION ALL SELECT id FROM thing WHERE coalesce(?4, ?2, ?3) IS NULL AND ?1 IS NULL) AS first
             CROSS JOIN thing ON thing.id = first.id",
            "true",
            "thing.kind, part.kind, part.name COLLATE NOCASE, piece.amount DESC, fixture.lit_um DESC,
             length(thing.tag), thing.tag LIMIT ?13 OFFSET ?12",
        )
    }?;
    list_in_order(tx, &ids).await
}

/// What lies in one account: on a shelf, on a stage, in a loan, inside a fixture, on a frame.
pub async fn list_at(tx: &mut SqliteConnection, account: AccountId) -> Result<Vec<Thing>, DbError> {
    things!(
        "WHERE thing.account_id = ?
         ORDER BY thing.kind, part.kind, part.name COLLATE NOCASE, piece.amount DESC, length(thing.tag), thing.tag",
        account.0
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::thing)
    .collect()
}

/// The next `number` free tags of a prefix.
pub async fn next_tags(
    tx: &mut SqliteConnection,
    prefix: TagPrefix,
    number: usize,
) -> Result<Vec<Tag>, DbError> {
    let letter = prefix.letter();
    let (from, to) = (format!("{letter}-"), format!("{letter}."));
    let last = sqlx::query_scalar!(
        r#"SELECT coalesce(max(CAST(substr(tag, 3) AS INTEGER)), 0) AS "last!: i64" FROM thing
           WHERE tag >= ? AND tag < ? AND length(tag) <= 14"#,
        from,
        to
    )
    .fetch_one(tx)
    .await?;
    (last + 1..)
        .take(number)
        .map(|number| read("thing.tag", Tag::parse(&format!("{letter}-{number}"))))
        .collect()
}

/// Adds a thing that is nowhere yet: its first movement must follow in the same transaction.
pub async fn add(tx: &mut WriteTx, new: &NewThing) -> Result<ThingId, DbError> {
    let (tag, kind) = (new.tag.as_str(), new.kind.word());
    let part = new.part.map(|id| id.0);
    let (condition, note) = (new.condition.word(), new.note.as_str());
    let inspect = new.inspect_on.map(|day| day.to_string());
    let id = sqlx::query_scalar!(
        "INSERT INTO thing (tag, kind, part_id, condition, note, inspect_on, words)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
        tag,
        kind,
        part,
        condition,
        note,
        inspect,
        new.words
    )
    .fetch_one(&mut **tx)
    .await?;
    Ok(ThingId(id))
}

/// Saves notes and inspection date of a thing that was read at `version`; `false` if another
/// saved meanwhile.
pub async fn change(
    tx: &mut WriteTx,
    id: ThingId,
    version: i64,
    note: &Note,
    inspect_on: Option<Date>,
) -> Result<bool, DbError> {
    let note = note.as_str();
    let inspect = inspect_on.map(|day| day.to_string());
    let done = sqlx::query!(
        "UPDATE thing SET note = ?, inspect_on = ?, version = version + 1
         WHERE id = ? AND version = ?",
        note,
        inspect,
        id.0,
        version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Gives a thing another tag.
pub async fn change_tag(tx: &mut WriteTx, id: ThingId, tag: &Tag) -> Result<(), DbError> {
    let tag = tag.as_str();
    sqlx::query!(
        "UPDATE thing SET tag = ?, version = version + 1 WHERE id = ?",
        tag,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Notes a condition; the ledger's mark goes with it.
pub async fn set_condition(
    tx: &mut WriteTx,
    id: ThingId,
    condition: Condition,
) -> Result<(), DbError> {
    let condition = condition.word();
    sqlx::query!(
        "UPDATE thing SET condition = ?, version = version + 1 WHERE id = ?",
        condition,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
