//! The catalogue out to CSV and in from it: parts matched by name.
//!
//! A file holds parts of one kind or of several. One kind is what a spreadsheet wants: sixteen
//! columns of tape that can be compared, sorted and filled down. All kinds in one have some sixty
//! columns, each empty for most rows; that is for a copy of the whole catalogue.
//!
//! A column that the file does not have leaves what the book says; an empty cell empties it.

use std::collections::{HashMap, HashSet};

use sqlx::SqliteConnection;

use super::{CsvDifference, CsvDoes, CsvRow, ImportError, Planned, at_row};
use crate::{
    db::{self, DbError, WriteTx, part::NewPart},
    model::{
        attribute::{self, Attribute, Typed},
        csv::{At, Faults, Row, Table, write},
        id::PartId,
        part::{Kind, Part, PartSpec},
        text::{NAME_LIMIT, Name, Note},
    },
    stock::catalogue,
    units::LengthUnit,
};

const KIND: &str = "kind";
const NAME: &str = "name";
const CODE: &str = "code";
const TYPICAL: &str = "typical figures";
const RETIRED: &str = "retired";
const NOTE: &str = "note";

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

struct Reader<'a> {
    table: &'a Table,
    book: &'a Book,
    unit: LengthUnit,
    /// Names of profiles that the file adds, with the ids that they have until then.
    added: HashMap<String, PartId>,
    faults: Faults,
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
        if [KIND, NAME, CODE, TYPICAL, RETIRED, NOTE].contains(&&*column.name) {
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

impl Reader<'_> {
    /// A cell by its column's name; `None` where the file has no such column.
    fn cell<'r>(&self, row: &'r Row, column: &str) -> Option<&'r str> {
        self.table.find(column).map(|at| row.cells[at].trim())
    }

    fn at(&self, row: &Row, column: &str) -> At {
        match self.table.find(column) {
            Some(found) => self.table.at(row, found),
            None => row.at.column(column),
        }
    }

    fn fail(&mut self, row: &Row, column: &str, message: impl Into<String>) {
        let at = self.at(row, column);
        self.faults.add(at, message);
    }

    /// Reads a cell that may be left out with its column; the outer `None` says that it is wrong.
    fn take<T, E: std::fmt::Display>(
        &mut self,
        row: &Row,
        column: &str,
        kept: impl FnOnce() -> T,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        let Some(cell) = self.cell(row, column) else {
            return Some(kept());
        };
        match parse(cell) {
            Ok(value) => Some(value),
            Err(why) => {
                self.fail(row, column, why.to_string());
                None
            }
        }
    }

    fn kind(&mut self, row: &Row, known: Option<&Part>) -> Option<Kind> {
        let known = known.map(|part| (part.name.to_string(), part.spec.kind()));
        let typed = self.cell(row, KIND).unwrap_or_default();
        match (typed.parse::<Kind>(), known) {
            (_, Some((_, kind))) if typed.is_empty() => Some(kind),
            (Ok(kind), None) => Some(kind),
            (Ok(kind), Some((_, stored))) if kind == stored => Some(kind),
            (Ok(_), Some((name, stored))) => {
                self.fail(
                    row,
                    KIND,
                    format!(
                        "{name} is a {stored} in the catalogue, and a part's kind stays. Give \
                         this one another name."
                    ),
                );
                None
            }
            (Err(_), _) if typed.is_empty() => {
                self.fail(row, KIND, "Say which kind of part this is, such as tape.");
                None
            }
            (Err(why), _) => {
                self.fail(row, KIND, why.to_string());
                None
            }
        }
    }

    fn part(&mut self, row: &Row) -> Option<(CsvRow, Want)> {
        let name = Name::parse(self.cell(row, NAME).unwrap_or_default())
            .map_err(|why| self.fail(row, NAME, why.to_string()))
            .ok();
        let book = self.book;
        let known = name
            .as_ref()
            .and_then(|name| book.parts.get(&key(name.as_str())));
        let kind = self.kind(row, known);
        let code = self.take(
            row,
            CODE,
            || known.map(|part| part.code.clone()).unwrap_or_default(),
            code,
        );
        let typical = self.take(row, TYPICAL, || known.is_some_and(|part| part.typical), yes);
        let retired = self.take(row, RETIRED, || known.is_some_and(|part| part.retired), yes);
        let note = self.take(
            row,
            NOTE,
            || known.map(|part| part.note.clone()).unwrap_or_default(),
            Note::parse,
        );
        let spec = self.spec(row, kind?, known.map(|part| &part.spec));
        let (name, code, typical) = (name?, code?, typical?);
        let (retired, note, spec) = (retired?, note?, spec?);
        let Some(known) = known else {
            let mut want = NewPart {
                name: name.clone(),
                code,
                spec,
                typical,
                ready_made: None,
                note,
            };
            if retired {
                self.fail(
                    row,
                    RETIRED,
                    "A new part is not retired. Leave this empty, or leave the row out.",
                );
                return None;
            }
            want.spec = self.check(row, want.spec, None)?;
            return Some((
                does(
                    row,
                    &name,
                    CsvDoes::New,
                    want.spec.kind().label(),
                    Vec::new(),
                ),
                Want::Add(want),
            ));
        };
        let part = Part {
            code,
            spec: self.check(row, spec, Some(known))?,
            typical,
            retired,
            note,
            ..known.clone()
        };
        let differences = self.differences(known, &part);
        Some(if differences.is_empty() {
            let does = does(row, &known.name, CsvDoes::Unchanged, "", differences);
            (does, Want::Nothing)
        } else {
            let does = does(row, &known.name, CsvDoes::Changed, "", differences);
            (does, Want::Change(part))
        })
    }

    /// Attributes: those of the file's columns, and of the part for columns that it does not have.
    fn spec(&mut self, row: &Row, kind: Kind, known: Option<&PartSpec>) -> Option<PartSpec> {
        let mut wrong = false;
        let mut texts: HashMap<&str, String> = known
            .map(|spec| attribute::show(spec, self.unit))
            .unwrap_or_default()
            .into_iter()
            .map(|shown| (shown.attribute.name, shown.text))
            .collect();
        for attribute in attribute::of(kind) {
            let column = attribute.column();
            let Some(found) = self.table.find(&column) else {
                continue;
            };
            let cell = row.cells[found].trim();
            let titled = self.table.columns[found].unit.as_deref();
            let text = match attribute.typed {
                Typed::Part(of) => match self.part_id(cell, of) {
                    Ok(id) => id,
                    Err(message) => {
                        self.fail(row, &column, message);
                        wrong = true;
                        continue;
                    }
                },
                _ => attribute.text(cell, titled, self.unit),
            };
            texts.insert(attribute.name, text);
        }
        for (number, column) in self.table.columns.iter().enumerate() {
            let own = [KIND, NAME, CODE, TYPICAL, RETIRED, NOTE].contains(&&*column.name)
                || attribute::of(kind)
                    .iter()
                    .any(|a| a.column() == column.name);
            if !own && !column.name.is_empty() && !row.cells[number].trim().is_empty() {
                let at = self.table.at(row, number);
                self.faults.add(
                    at,
                    format!("A {kind} has no such attribute. Leave the cell empty."),
                );
                wrong = true;
            }
        }
        let empty = String::new();
        match attribute::parse(kind, self.unit, |attribute| {
            texts.get(attribute.name).unwrap_or(&empty)
        }) {
            Ok(spec) => (!wrong).then_some(spec),
            Err(errors) => {
                for error in errors {
                    let column = attribute::of(kind)
                        .iter()
                        .find(|attribute| attribute.name == error.field)
                        .map_or_else(|| error.field.to_owned(), |a| self.title(a));
                    let at = match self.table.find(&column) {
                        Some(found) => self.table.at(row, found),
                        None => row.at.column(column),
                    };
                    self.faults.add(at, error.message);
                }
                None
            }
        }
    }

    /// The name of an attribute's column if the file has it, its title otherwise.
    fn title(&self, attribute: &Attribute) -> String {
        let column = attribute.column();
        if self.table.find(&column).is_some() {
            column
        } else {
            attribute.title(self.unit)
        }
    }

    /// The id of a part that a cell names, as text; empty where it is empty.
    fn part_id(&self, cell: &str, kind: Kind) -> Result<String, String> {
        if cell.is_empty() {
            return Ok(String::new());
        }
        let name = key(cell);
        let there = self
            .book
            .parts
            .get(&name)
            .filter(|part| part.spec.kind() == kind)
            .map(|part| part.id);
        match there.or_else(|| self.added.get(&name).copied()) {
            Some(id) => Ok(id.to_string()),
            None => Err(format!(
                "There is no {kind} “{cell}”. Write the name of one in the catalogue or in this \
                 file."
            )),
        }
    }

    /// What the ledger holds of a part is in its unit, which stays.
    fn check(&mut self, row: &Row, spec: PartSpec, known: Option<&Part>) -> Option<PartSpec> {
        let Some(known) = known.filter(|part| self.book.moved.contains(&part.id)) else {
            return Some(spec);
        };
        let column = match (&known.spec, &spec) {
            (PartSpec::Tape(before), PartSpec::Tape(after)) if before.pitch != after.pitch => {
                "pitch"
            }
            (PartSpec::Sundry(before), PartSpec::Sundry(after))
                if before.measure != after.measure =>
            {
                "measure"
            }
            _ => return Some(spec),
        };
        let column = attribute::of(spec.kind())
            .iter()
            .find(|attribute| attribute.name == column)
            .map_or_else(String::new, Attribute::column);
        self.fail(
            row,
            &column,
            "There is stock of this part in its present unit, so this stays. Give the part with \
             the new one another name.",
        );
        None
    }

    fn name_of(&self, id: &str) -> String {
        id.parse()
            .ok()
            .and_then(|id| {
                self.book.names.get(&id).cloned().or_else(|| {
                    let added = self.added.iter().find(|(_, added)| **added == id);
                    added.map(|(name, _)| name.clone())
                })
            })
            .unwrap_or_default()
    }

    fn differences(&self, before: &Part, after: &Part) -> Vec<CsvDifference> {
        let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
        let mut all = vec![
            (CODE.to_owned(), before.code.clone(), after.code.clone()),
            (TYPICAL.to_owned(), yes(before.typical), yes(after.typical)),
            (RETIRED.to_owned(), yes(before.retired), yes(after.retired)),
            (
                NOTE.to_owned(),
                before.note.as_str().to_owned(),
                after.note.as_str().to_owned(),
            ),
        ];
        if before.spec != after.spec {
            let text = |spec: &PartSpec, attribute: &Attribute| {
                let shown = attribute::show(spec, self.unit);
                let text = shown
                    .into_iter()
                    .find(|shown| shown.attribute.name == attribute.name)
                    .map(|shown| shown.text)
                    .unwrap_or_default();
                match attribute.typed {
                    Typed::Part(_) => self.name_of(&text),
                    _ => text,
                }
            };
            all.extend(attribute::of(before.spec.kind()).iter().map(|attribute| {
                (
                    attribute.column(),
                    text(&before.spec, attribute),
                    text(&after.spec, attribute),
                )
            }));
        }
        all.into_iter()
            .filter(|(_, before, after)| before != after)
            .map(|(column, before, after)| CsvDifference {
                column,
                before,
                after,
            })
            .collect()
    }
}

fn does(
    row: &Row,
    name: &Name,
    does: CsvDoes,
    details: &str,
    differences: Vec<CsvDifference>,
) -> CsvRow {
    CsvRow {
        line: row.at.line,
        name: name.to_string(),
        does,
        details: details.to_owned(),
        differences,
    }
}

fn code(text: &str) -> Result<String, String> {
    if text.chars().count() > NAME_LIMIT {
        Err(format!(
            "A code has at most {NAME_LIMIT} characters. Shorten it."
        ))
    } else if text.chars().any(char::is_control) {
        Err("This holds a character that cannot be printed. Remove it.".to_owned())
    } else {
        Ok(text.to_owned())
    }
}

/// Yes or no; empty is no.
pub(super) fn yes(text: &str) -> Result<bool, &'static str> {
    match text.to_ascii_lowercase().as_str() {
        "yes" | "y" | "true" | "1" | "x" => Ok(true),
        "" | "no" | "n" | "false" | "0" => Ok(false),
        _ => Err("Type yes or no."),
    }
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

/// The catalogue as CSV: of one kind or of all; only the titles where `template`.
pub async fn out(
    tx: &mut SqliteConnection,
    kind: Option<Kind>,
    unit: LengthUnit,
    template: bool,
    mark: bool,
) -> Result<String, DbError> {
    let book = Book::load(tx).await?;
    let kinds: Vec<Kind> = kind.map_or_else(|| Kind::ALL.to_vec(), |kind| vec![kind]);
    let mut attributes: Vec<(String, String)> = Vec::new();
    for attribute in kinds.iter().flat_map(|kind| attribute::of(*kind)) {
        if attributes
            .iter()
            .all(|(name, _)| *name != attribute.column())
        {
            attributes.push((attribute.column(), attribute.title(unit)));
        }
    }
    let own = [KIND, NAME, CODE, TYPICAL, RETIRED, NOTE];
    let (before, after) = own.split_at(3);
    let titles: Vec<String> = before
        .iter()
        .map(|title| (*title).to_owned())
        .chain(attributes.iter().map(|(_, title)| title.clone()))
        .chain(after.iter().map(|title| (*title).to_owned()))
        .collect();
    let mut rows = Vec::new();
    if !template {
        let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
        for kind in kinds {
            for part in db::part::list(tx, Some(kind), true).await? {
                let mut cells: HashMap<String, String> = attribute::show(&part.spec, unit)
                    .into_iter()
                    .map(|shown| {
                        let cell = match shown.attribute.typed {
                            Typed::Part(_) => shown
                                .text
                                .parse()
                                .ok()
                                .and_then(|id| book.names.get(&id).cloned())
                                .unwrap_or_default(),
                            _ => shown.attribute.cell(&shown.text, unit),
                        };
                        (shown.attribute.column(), cell)
                    })
                    .collect();
                let mut row = vec![
                    kind.label().to_owned(),
                    part.name.to_string(),
                    part.code.clone(),
                ];
                row.extend(
                    attributes
                        .iter()
                        .map(|(column, _)| cells.remove(column).unwrap_or_default()),
                );
                row.extend([
                    yes(part.typical),
                    yes(part.retired),
                    part.note.as_str().to_owned(),
                ]);
                rows.push(row);
            }
        }
    }
    Ok(write(&titles, &rows, mark))
}
