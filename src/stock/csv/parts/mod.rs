//! The catalogue out to CSV and in from it: parts matched by name.
//!
//! A file holds parts of one kind or of several. One kind is what a spreadsheet wants: sixteen
//! columns of tape that can be compared, sorted and filled down. All kinds in one have some sixty
//! columns, each empty for most rows; that is for a copy of the whole catalogue.
//!
//! A column that the file does not have leaves what the book says; an empty cell empties it.

use std::collections::{HashMap, HashSet};

use sqlx::SqliteConnection;

use super::{ImportError, Planned, at_row};
use crate::{
    db::{self, DbError, WriteTx, part::NewPart},
    model::{
        attribute,
        csv::{Faults, Row, Table},
        id::PartId,
        part::{Kind, Part, PartSpec},
    },
    stock::catalogue,
    units::LengthUnit,
};

mod out;
mod row;

pub use out::out;
pub(super) use row::yes;

use row::Reader;

const KIND: &str = "kind";
const NAME: &str = "name";
const CODE: &str = "code";
const TYPICAL: &str = "typical figures";
const RETIRED: &str = "retired";
const NOTE: &str = "note";

/// Columns that every kind has.
const OWN: [&str; 6] = [KIND, NAME, CODE, TYPICAL, RETIRED, NOTE];

/// What the book says of parts.
pub(super) struct Book {
    /// By name in lower case.
    parts: HashMap<String, Part>,
    names: HashMap<PartId, String>,
    /// Those whose unit can't change any more.
    moved: HashSet<PartId>,
}

impl Book {
    pub async fn load(tx: &mut SqliteConnection) -> Result<Self, DbError> {
        let parts = db::part::list(tx, None, true).await?;
        Ok(Self {
            names: parts
                .iter()
                .map(|part| (part.id, part.name.to_string()))
                .collect(),
            parts: parts
                .into_iter()
                .map(|part| (key(part.name.as_str()), part))
                .collect(),
            moved: db::part::list_moved(tx).await?.into_iter().collect(),
        })
    }
}

/// Names are one where they differ in case only, as in the database.
pub(super) fn key(name: &str) -> String {
    name.trim().to_ascii_lowercase()
}

/// How a row is carried out. Ids of profiles that the file itself adds stand below zero until then.
pub(super) enum Want {
    Nothing,
    Add(NewPart),
    Change(Part),
}

/// The id that a part has until it is added: its row, below zero.
fn id_of_row(number: usize) -> PartId {
    PartId(-1 - i64::try_from(number).unwrap_or(i64::MAX - 1))
}

/// Compares a file with the catalogue.
pub(super) fn plan(
    table: &Table,
    book: &Book,
    unit: LengthUnit,
) -> Result<Vec<Planned<Want>>, Faults> {
    check_titles(table)?;
    let mut reader = Reader {
        added: added(table, book),
        table,
        book,
        unit,
        faults: Faults::default(),
    };
    let mut seen: HashMap<String, usize> = HashMap::new();
    let mut planned = Vec::new();
    for row in &table.rows {
        let name = key(reader.cell(row, NAME).unwrap_or_default());
        if let Some(line) = seen.insert(name.clone(), row.at.line)
            && !name.is_empty()
        {
            reader.fail(row, NAME, format!("Line {line} names this part already."));
            continue;
        }
        if let Some((does, want)) = reader.part(row) {
            planned.push(Planned {
                at: row.at.clone(),
                row: does,
                want,
            });
        }
    }
    reader.faults.or(planned)
}

fn check_titles(table: &Table) -> Result<(), Faults> {
    let mut faults = Faults::default();
    for column in table.columns.iter().filter(|c| !c.name.is_empty()) {
        let at = || table.at.column(&column.title);
        if OWN.contains(&&*column.name) {
            continue;
        }
        let attribute = Kind::ALL
            .iter()
            .flat_map(|kind| attribute::of(*kind))
            .find(|attribute| attribute.column() == column.name);
        match (attribute, &column.unit) {
            (None, _) => faults.add(
                at(),
                "No kind of part has a column of this title. Take it away, or see the titles in \
                 the template.",
            ),
            (Some(attribute), Some(unit)) if !attribute.takes_unit(unit) => faults.add(
                at(),
                format!(
                    "This column is not read in “{unit}”. Its title is “{}”.",
                    attribute.title(LengthUnit::Mm)
                ),
            ),
            _ => {}
        }
    }
    if table.find(NAME).is_none() {
        faults.add(
            table.at.clone(),
            "A column with the title “name” is missing: parts are found by their names.",
        );
    }
    faults.or(())
}

fn added(table: &Table, book: &Book) -> HashMap<String, PartId> {
    let (Some(name), Some(kind)) = (table.find(NAME), table.find(KIND)) else {
        return HashMap::new();
    };
    let profile = |row: &&Row| row.cells[kind].parse() == Ok(Kind::Profile);
    table
        .rows
        .iter()
        .enumerate()
        .map(|(number, row)| (row, number))
        .filter(|(row, _)| profile(row))
        .map(|(row, number)| (key(&row.cells[name]), id_of_row(number)))
        .filter(|(name, _)| !book.parts.contains_key(name))
        .collect()
}

/// Carries out what was planned: profiles before what names them.
pub(super) async fn carry_out(
    tx: &mut WriteTx,
    planned: Vec<Planned<Want>>,
) -> Result<(), ImportError> {
    let mut ids: HashMap<PartId, PartId> = HashMap::new();
    let real = |spec: &mut PartSpec, ids: &HashMap<PartId, PartId>| {
        if let PartSpec::Sundry(sundry) = spec
            && let Some(id) = sundry.goes_with.as_mut()
            && let Some(added) = ids.get(id)
        {
            *id = *added;
        }
    };
    let mut later = Vec::new();
    for (number, one) in planned.into_iter().enumerate() {
        match one.want {
            Want::Add(new) if new.spec.kind() != Kind::Sundry => {
                let id = catalogue::add_in(tx, &new)
                    .await
                    .map_err(|why| at_row(&one.at, why))?;
                ids.insert(id_of_row(number), id);
            }
            want => later.push((one.at, want)),
        }
    }
    for (at, want) in later {
        match want {
            Want::Nothing => {}
            Want::Add(mut new) => {
                real(&mut new.spec, &ids);
                catalogue::add_in(tx, &new)
                    .await
                    .map_err(|why| at_row(&at, why))?;
            }
            Want::Change(mut part) => {
                real(&mut part.spec, &ids);
                catalogue::change_in(tx, &part)
                    .await
                    .map_err(|why| at_row(&at, why))?;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
