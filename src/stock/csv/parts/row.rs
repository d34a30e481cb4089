//! A row of a file of parts: read by the table of attributes, compared with the part that it names.

use std::collections::HashMap;

use super::{Book, CODE, KIND, NAME, NOTE, OWN, RETIRED, TYPICAL, Want, key};
use crate::{
    db::part::NewPart,
    model::{
        attribute::{self, Attribute, Typed},
        csv::{At, Faults, Row, Table},
        id::PartId,
        part::{Kind, Part, PartSpec},
        text::{NAME_LIMIT, Name, Note},
    },
    stock::csv::{CsvDifference, CsvDoes, CsvRow},
    units::LengthUnit,
};

/// Reading rows one after the other.
pub(super) struct Reader<'a> {
    pub table: &'a Table,
    pub book: &'a Book,
    pub unit: LengthUnit,
    /// Names of profiles that the file adds, with the ids that they have until then.
    pub added: HashMap<String, PartId>,
    pub faults: Faults,
}

impl Reader<'_> {
    /// A cell by its column's name; `None` where the file has no such column.
    pub fn cell<'r>(&self, row: &'r Row, column: &str) -> Option<&'r str> {
        self.table.find(column).map(|at| row.cells[at].trim())
    }

    fn at(&self, row: &Row, column: &str) -> At {
        match self.table.find(column) {
            Some(found) => self.table.at(row, found),
            None => row.at.column(column),
        }
    }

    pub fn fail(&mut self, row: &Row, column: &str, message: impl Into<String>) {
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

    pub fn part(&mut self, row: &Row) -> Option<(CsvRow, Want)> {
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
            let own = OWN.contains(&&*column.name)
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
pub(in crate::stock::csv) fn yes(text: &str) -> Result<bool, &'static str> {
    match text.to_ascii_lowercase().as_str() {
        "yes" | "y" | "true" | "1" | "x" => Ok(true),
        "" | "no" | "n" | "false" | "0" => Ok(false),
        _ => Err("Type yes or no."),
    }
}
