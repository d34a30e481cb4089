//! A row of stock as it is typed, each cell read by itself.

use std::fmt::Display;

use super::{
    column::{Column, Sheet},
    parts::yes,
};
use crate::{
    model::{
        attribute,
        channel::Channels,
        connector::Connector,
        csv::{At, Faults, Row, Table, with_unit},
        fixture::{Condition, Fed},
        piece::End,
        text::{NAME_LIMIT, Name, Note, Tag},
    },
    units::{Date, Length, LengthUnit, Voltage, parse_date},
};

/// An end of a piece as a file says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum EndAsked {
    /// What the factory put on.
    Factory,
    /// This.
    Is(End),
}

/// A row, as far as it says something. Empty cells are `None`.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub at: At,
    pub sheet: Option<Sheet>,
    pub part: Option<String>,
    pub profile: Option<String>,
    pub name: Option<Name>,
    pub tag: Option<Tag>,
    pub number: Option<i64>,
    pub length: Option<Length>,
    pub width: Option<Length>,
    pub height: Option<Length>,
    pub place: Option<String>,
    pub condition: Option<Condition>,
    pub start: Option<EndAsked>,
    pub end: Option<EndAsked>,
    /// `Some(None)` where it says that there are none.
    #[expect(
        clippy::option_option,
        reason = "the outer one says whether the cell says anything"
    )]
    pub first_joint: Option<Option<i64>>,
    pub batch: Option<String>,
    pub address: Option<u16>,
    pub serial: Option<String>,
    pub colours: Option<Channels>,
    pub voltage: Option<Voltage>,
    pub diffused: Option<bool>,
    pub fed: Option<Fed>,
    pub connector: Option<Connector>,
    pub inspect_on: Option<Date>,
    pub note: Option<Note>,
    /// Columns with something in them.
    filled: Vec<Column>,
}

impl Asked {
    /// The first filled cell that rows of this sheet do not have.
    pub fn stranger(&self, sheet: Sheet) -> Option<Column> {
        self.filled.iter().copied().find(|column| !column.of(sheet))
    }
}

/// Where the columns of a file stand.
pub(super) struct Titles<'a> {
    table: &'a Table,
    unit: LengthUnit,
}

impl<'a> Titles<'a> {
    /// Checks that every title is one of stock, and in a unit that it is read in.
    pub fn new(table: &'a Table, unit: LengthUnit) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        for column in table.columns.iter().filter(|c| !c.name.is_empty()) {
            let known = Column::ALL.iter().find(|known| known.name() == column.name);
            match (known, &column.unit) {
                (None, _) => {
                    let titles: Vec<_> = Column::ALL.iter().map(|c| c.name()).collect();
                    faults.add(
                        table.at.column(&column.title),
                        format!(
                            "Stock has no column of this title. There are: {}.",
                            titles.join(", ")
                        ),
                    );
                }
                (Some(known), Some(in_unit)) if !known.takes_unit(in_unit) => faults.add(
                    table.at.column(&column.title),
                    format!(
                        "This column is not read in “{in_unit}”. Its title is “{}”.",
                        known.title(unit)
                    ),
                ),
                _ => {}
            }
        }
        faults.or(Self { table, unit })
    }

    /// Whether the file has a column.
    pub fn has(&self, column: Column) -> bool {
        self.table.find(column.name()).is_some()
    }

    /// Where a cell stands.
    pub fn at(&self, at: &At, column: Column) -> At {
        match self.table.find(column.name()) {
            Some(found) => at.column(&self.table.columns[found].title),
            None => at.column(column.title(self.unit)),
        }
    }

    /// The unit of a column: the title's, or the venue's.
    fn unit(&self, column: Column) -> LengthUnit {
        self.table
            .find(column.name())
            .and_then(|found| self.table.columns[found].unit.as_deref())
            .and_then(|unit| unit.parse().ok())
            .unwrap_or(self.unit)
    }

    /// The name of a row's part as typed.
    pub fn part<'r>(&self, row: &'r Row) -> &'r str {
        self.table
            .find(Column::Part.name())
            .map_or("", |found| row.cells[found].trim())
    }

    /// Reads every cell of a row; `None` where one of them is wrong.
    pub fn read(&self, row: &Row, faults: &mut Faults) -> Option<Asked> {
        let before = faults.count();
        let mut cells = Cells {
            titles: self,
            row,
            faults,
        };
        let asked = Asked {
            at: row.at.clone(),
            sheet: cells.take(Column::What, str::parse),
            part: cells.take(Column::Part, short),
            profile: cells.take(Column::Profile, short),
            name: cells.take(Column::Name, Name::parse),
            tag: cells.take(Column::Tag, Tag::parse),
            number: cells.take(Column::Number, number),
            length: cells.length(Column::Length),
            width: cells.length(Column::Width),
            height: cells.length(Column::Height),
            place: cells.take(Column::Place, |text| Ok::<_, String>(text.to_owned())),
            condition: cells.take(Column::Condition, str::parse),
            start: cells.take(Column::Start, end),
            end: cells.take(Column::End, end),
            first_joint: cells.take(Column::FirstJoint, joint),
            batch: cells.take(Column::Batch, |text| limited(text, 60)),
            address: cells.take(Column::Address, address),
            serial: cells.take(Column::Serial, |text| limited(text, NAME_LIMIT)),
            colours: cells.take(Column::Colours, str::parse),
            voltage: cells.take(Column::Voltage, voltage),
            diffused: cells.take(Column::Diffused, yes),
            fed: cells.take(Column::Fed, str::parse),
            connector: cells.take(Column::Connector, attribute::connector),
            inspect_on: cells.take(Column::InspectOn, parse_date),
            note: cells.take(Column::Note, Note::parse),
            filled: Column::ALL
                .iter()
                .copied()
                .filter(|column| !cells.cell(*column).is_empty())
                .collect(),
        };
        (faults.count() == before).then_some(asked)
    }
}

struct Cells<'a, 'f> {
    titles: &'a Titles<'a>,
    row: &'a Row,
    faults: &'f mut Faults,
}

impl Cells<'_, '_> {
    fn cell(&self, column: Column) -> &str {
        self.titles
            .table
            .find(column.name())
            .map_or("", |found| self.row.cells[found].trim())
    }

    fn take<T, E: Display>(
        &mut self,
        column: Column,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        let cell = self.cell(column);
        if cell.is_empty() {
            return None;
        }
        match parse(cell) {
            Ok(value) => Some(value),
            Err(why) => {
                let message = why.to_string();
                let at = self.titles.at(&self.row.at, column);
                self.faults.add(at, message);
                None
            }
        }
    }

    fn length(&mut self, column: Column) -> Option<Length> {
        let unit = self.titles.unit(column);
        self.take(column, |text| Length::parse(text, unit))
    }
}

fn short(text: &str) -> Result<String, String> {
    limited(text, NAME_LIMIT)
}

fn limited(text: &str, limit: usize) -> Result<String, String> {
    if text.chars().count() > limit {
        Err(format!("At most {limit} characters are kept. Shorten it."))
    } else if text.chars().any(char::is_control) {
        Err("This holds a character that cannot be printed. Remove it.".to_owned())
    } else {
        Ok(text.to_owned())
    }
}

fn number(text: &str) -> Result<i64, String> {
    use crate::stock::change::AMOUNT_LIMIT;
    text.parse::<i64>()
        .ok()
        .filter(|number| (0..=AMOUNT_LIMIT).contains(number))
        .ok_or_else(|| format!("Type a whole number from 0 to {AMOUNT_LIMIT}."))
}

fn end(text: &str) -> Result<EndAsked, String> {
    match text.to_lowercase().as_str() {
        "bare" => Ok(EndAsked::Is(End::Bare)),
        "factory" => Ok(EndAsked::Factory),
        _ => attribute::connector(text)
            .map(|connector| EndAsked::Is(End::Lead { connector }))
            .map_err(|why| format!("Type bare, factory, or what the lead there ends in. {why}")),
    }
}

/// An end as [`end`] reads it.
pub(super) fn show_end(end: &End) -> String {
    end.connector()
        .map_or_else(|| "bare".to_owned(), attribute::show_connector)
}

fn joint(text: &str) -> Result<Option<i64>, String> {
    const MOST: i64 = 1_000_000;
    if text.eq_ignore_ascii_case("none") {
        return Ok(None);
    }
    text.parse::<i64>()
        .ok()
        .filter(|units| (0..=MOST).contains(units))
        .map(Some)
        .ok_or_else(|| {
            format!(
                "Type how many cut units lie before the first pre-tinned joint, 0 to {MOST}, or \
                 none."
            )
        })
}

fn address(text: &str) -> Result<u16, String> {
    text.parse::<u16>()
        .ok()
        .filter(|address| (1..=512).contains(address))
        .ok_or_else(|| "A DMX start address is 1 to 512.".to_owned())
}

fn voltage(text: &str) -> Result<Voltage, String> {
    match Voltage::parse(&with_unit(text, "V")) {
        Ok(Voltage::ZERO) => Err("Type a voltage above zero, such as 24.".to_owned()),
        Ok(voltage) => Ok(voltage),
        Err(why) => Err(why.to_string()),
    }
}
