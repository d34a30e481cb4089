//! SQL for the catalogue.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::{
    model::{
        describe::part_words,
        id::{PartId, PlaceId},
        part::{Kind, Part, PartSpec, StockUnit},
        text::{Name, Note},
    },
    units::{CutPitch, Date},
};

/// A part about to be added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPart {
    /// Its name.
    pub name: Name,
    /// The maker's own code; may be empty.
    pub code: String,
    /// Kind and attributes.
    pub spec: PartSpec,
    /// Whether the figures are typical ones.
    pub typical: bool,
    /// Which ready-made part it is taken from, if from one.
    pub ready_made: Option<String>,
    /// Notes.
    pub note: Note,
}

/// Which parts a list shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PartFilter {
    /// Of one kind.
    pub kind: Option<Kind>,
    /// Each word typed occurs in the name, kind, attributes or note; part of a word counts.
    pub typed: String,
    /// Retired ones too.
    pub retired: bool,
    /// Only those of which there is something.
    pub in_stock: bool,
    /// Only those of which something lies in this place or in a place inside it.
    pub place: Option<PlaceId>,
    /// Only those of which a piece or unit is suspect or dead.
    pub bad: bool,
    /// Only those of which something is held on this day.
    pub held_on: Option<Date>,
}

/// A part with what there is of it, in its stock unit (without remainders of tape).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartStock {
    /// The part.
    pub part: Part,
    /// What lies in places.
    pub in_places: i64,
    /// Pieces or units in places.
    pub things_in_places: i64,
    /// What is on stage.
    pub on_stage: i64,
    /// What is lent out.
    pub lent: i64,
    /// What is inside fixtures or on frames.
    pub inside: i64,
    /// Pieces or units that are suspect or dead, wherever they are.
    pub bad_things: i64,
    /// Where it lies, if all of it lies in one place.
    pub only_place: Option<String>,
    /// In how many places it lies.
    pub places: i64,
}

struct Row {
    id: i64,
    name: String,
    code: String,
    spec: String,
    typical: i64,
    note: String,
    retired: i64,
    version: i64,
}

impl Row {
    fn part(self) -> Result<Part, DbError> {
        Ok(Part {
            id: PartId(self.id),
            name: read("part.name", Name::parse(&self.name))?,
            code: self.code,
            spec: read("part.spec", serde_json::from_str(&self.spec))?,
            typical: self.typical != 0,
            note: read("part.note", Note::parse(&self.note))?,
            retired: self.retired != 0,
            version: self.version,
        })
    }
}

/// One part.
pub async fn lookup(tx: &mut SqliteConnection, id: PartId) -> Result<Option<Part>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, name, code, spec, typical, note, retired, version FROM part WHERE id = ?",
        id.0
    )
    .fetch_optional(tx)
    .await?
    .map(Row::part)
    .transpose()
}

/// The part of a name, whatever its case.
pub async fn find_by_name(tx: &mut SqliteConnection, name: &str) -> Result<Option<Part>, DbError> {
    sqlx::query_as!(
        Row,
        "SELECT id, name, code, spec, typical, note, retired, version FROM part WHERE name = ?",
        name
    )
    .fetch_optional(tx)
    .await?
    .map(Row::part)
    .transpose()
}

/// Every part of a kind, or of all kinds, by kind and name.
pub async fn list(
    tx: &mut SqliteConnection,
    kind: Option<Kind>,
    retired: bool,
) -> Result<Vec<Part>, DbError> {
    let kind = kind.map(Kind::word);
    sqlx::query_as!(
        Row,
        "SELECT id, name, code, spec, typical, note, retired, version FROM part
         WHERE (?1 IS NULL OR kind = ?1) AND (?2 OR retired = 0) ORDER BY kind, name",
        kind,
        retired
    )
    .fetch_all(tx)
    .await?
    .into_iter()
    .map(Row::part)
    .collect()
}

/// Parts with what there is of each, by kind and name: one page of the cupboard.
pub async fn list_stock(
    tx: &mut SqliteConnection,
    filter: &PartFilter,
    offset: i64,
    limit: i64,
) -> Result<Vec<PartStock>, DbError> {
    let kind = filter.kind.map(Kind::word);
    let place = filter.place.map(|id| id.0);
    let held_on = filter.held_on.map(|day| day.to_string());
    let [a, b, c, d] = typed_words(&filter.typed);
    let rows = sqlx::query!(
        r#"WITH page AS MATERIALIZED (
             SELECT id FROM part JOIN part_total AS total ON total.part_id = part.id
             WHERE (?1 IS NULL OR kind = ?1) AND (?2 OR retired = 0)
               AND instr(words, ?3) AND instr(words, ?4) AND instr(words, ?5) AND instr(words, ?6)
               AND (NOT ?7 OR total.in_places + total.on_stage + total.lent + total.inside > 0)
               AND (?10 IS NULL OR id IN (
                    WITH RECURSIVE below (id) AS (
                        SELECT ?10 UNION SELECT place.id FROM place JOIN below ON place.parent_id = below.id)
                    SELECT balance.part_id FROM below JOIN account ON account.place_id = below.id
                    JOIN balance ON balance.account_id = account.id WHERE balance.amount > 0))
               AND (NOT ?11 OR id IN (SELECT thing.part_id FROM thing JOIN account ON account.id = thing.account_id
                    WHERE thing.condition <> 'good' AND account.kind IN ('place', 'design', 'loan', 'inside')))
               AND (?12 IS NULL OR id IN (
                    SELECT part_id FROM hold
                    WHERE state = 'active' AND part_id IS NOT NULL AND from_on <= ?12 AND to_on >= ?12
                    UNION
                    SELECT thing.part_id FROM hold INDEXED BY hold_by_thing CROSS JOIN thing ON thing.id = hold.thing_id
                    WHERE hold.state = 'active' AND hold.thing_id IS NOT NULL
                      AND hold.from_on <= ?12 AND hold.to_on >= ?12))
             ORDER BY instr('tape profile lead coupler block cable driver supply data sundry', kind), name LIMIT ?8 OFFSET ?9)
           SELECT part.id AS "id!", part.name AS "name!", part.code AS "code!", part.spec AS "spec!",
             part.typical AS "typical!", part.note AS "note!", part.retired AS "retired!", part.version AS "version!",
             total.in_places AS "in_places!", total.things_in_places AS "things_in_places!",
             total.on_stage AS "on_stage!", total.lent AS "lent!", total.inside AS "inside!", total.places AS "places!",
             (SELECT path FROM place WHERE total.places = 1 AND place.id = total.places_sum) AS "only_place?: String",
             (SELECT count(*) FROM thing JOIN account AS spot ON spot.id = thing.account_id
              WHERE thing.part_id = part.id AND thing.condition <> 'good'
                AND spot.kind IN ('place', 'design', 'loan', 'inside')) AS "bad_things!: i64"
           FROM page JOIN part ON part.id = page.id JOIN part_total AS total ON total.part_id = page.id
           ORDER BY instr('tape profile lead coupler block cable driver supply data sundry', part.kind), part.name"#,
        kind,
        filter.retired,
        a,
        b,
        c,
        d,
        filter.in_stock,
        limit,
        offset,
        place,
        filter.bad,
        held_on,
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(PartStock {
                in_places: row.in_places,
                things_in_places: row.things_in_places,
                on_stage: row.on_stage,
                lent: row.lent,
                inside: row.inside,
                bad_things: row.bad_things,
                only_place: row.only_place,
                places: row.places,
                part: Row {
                    id: row.id,
                    name: row.name,
                    code: row.code,
                    spec: row.spec,
                    typical: row.typical,
                    note: row.note,
                    retired: row.retired,
                    version: row.version,
                }
                .part()?,
            })
        })
        .collect()
}

/// Which ready-made parts were taken already.
pub async fn list_ready_made(tx: &mut SqliteConnection) -> Result<Vec<String>, DbError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT ready_made AS "ready_made!" FROM part WHERE ready_made IS NOT NULL ORDER BY ready_made"#
    )
    .fetch_all(tx)
    .await?)
}

/// The parts that the ledger has something of, whose unit can't change any more.
pub async fn list_moved(tx: &mut SqliteConnection) -> Result<Vec<PartId>, DbError> {
    let ids = sqlx::query_scalar!(
        "SELECT id FROM part
         WHERE EXISTS (SELECT 1 FROM movement_line WHERE movement_line.part_id = part.id)"
    )
    .fetch_all(tx)
    .await?;
    Ok(ids.into_iter().map(PartId).collect())
}

/// Adds a part; its attributes must have passed [`PartSpec::check`].
pub async fn add(tx: &mut WriteTx, new: &NewPart) -> Result<PartId, DbError> {
    let part = Part {
        id: PartId(0),
        name: new.name.clone(),
        code: new.code.clone(),
        spec: new.spec.clone(),
        typical: new.typical,
        note: new.note.clone(),
        retired: false,
        version: 1,
    };
    let words = part_words(&part);
    let spec = spec_text(&new.spec)?;
    let (name, note) = (new.name.as_str(), new.note.as_str());
    let kind = new.spec.kind();
    let (stock_by, kind) = (kind.stock_by().word(), kind.word());
    let id = sqlx::query_scalar!(
        "INSERT INTO part (name, kind, stock_by, code, spec, typical, ready_made, note, words)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
        name,
        kind,
        stock_by,
        new.code,
        spec,
        new.typical,
        new.ready_made,
        note,
        words
    )
    .fetch_one(&mut **tx)
    .await?;
    Ok(PartId(id))
}

/// Saves a part that was read at `part.version`; `false` if another saved meanwhile.
pub async fn change(tx: &mut WriteTx, part: &Part) -> Result<bool, DbError> {
    let words = part_words(part);
    let spec = spec_text(&part.spec)?;
    let (name, note) = (part.name.as_str(), part.note.as_str());
    let kind = part.spec.kind();
    let (stock_by, kind) = (kind.stock_by().word(), kind.word());
    let done = sqlx::query!(
        "UPDATE part SET name = ?, kind = ?, stock_by = ?, code = ?, spec = ?, typical = ?,
             note = ?, retired = ?, words = ?, version = version + 1
         WHERE id = ? AND version = ?",
        name,
        kind,
        stock_by,
        part.code,
        spec,
        part.typical,
        note,
        part.retired,
        words,
        part.id.0,
        part.version
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Retires a part, or offers it again; `false` if there is none.
pub async fn retire(tx: &mut WriteTx, id: PartId, retired: bool) -> Result<bool, DbError> {
    let done = sqlx::query!(
        "UPDATE part SET retired = ?, version = version + 1 WHERE id = ?",
        retired,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Deletes a part that nothing uses; refused (`Refusal::PartInUse`) where something does.
pub async fn remove(tx: &mut WriteTx, id: PartId) -> Result<bool, DbError> {
    let done = sqlx::query!("DELETE FROM part WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(done.rows_affected() == 1)
}

fn spec_text(spec: &PartSpec) -> Result<String, DbError> {
    read("part.spec", serde_json::to_string(spec))
}

/// The first four words typed, in lower case; an empty one matches everything.
pub(super) fn typed_words(typed: &str) -> [String; 4] {
    let mut words = typed.split_whitespace().map(str::to_lowercase);
    std::array::from_fn(|_| words.next().unwrap_or_default())
}

/// What a part is counted in, from its kind and what its attributes say of pitch and measure.
pub(super) fn stock_unit(
    kind: Option<Kind>,
    pitch: Option<(i64, i64)>,
    measure: Option<&str>,
) -> Result<StockUnit, DbError> {
    Ok(match (kind, pitch) {
        (Some(Kind::Tape), Some((units, um))) => StockUnit::CutUnits(read(
            "part.spec.pitch",
            CutPitch::new(
                u32::try_from(units).unwrap_or(0),
                u32::try_from(um).unwrap_or(0),
            ),
        )?),
        (Some(Kind::Profile | Kind::Cable), _) => StockUnit::Micrometres,
        (Some(Kind::Sundry), _) if measure == Some("length") => StockUnit::Micrometres,
        _ => StockUnit::Each,
    })
}
