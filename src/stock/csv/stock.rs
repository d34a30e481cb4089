//! Stock out to CSV and in from it: one table of what is counted, of pieces, units, fixtures and
//! frames, or one of them by itself.
//!
//! What has a tag is found by it. A row without a tag, or with one that nothing has, adds
//! something. What is counted is found by part and place: a number that the book does not have is
//! a correction by count, in a place where there was none yet a receipt. Nothing is taken away by
//! a row that is missing.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::{
    CsvRow, Planned, Preview,
    book::{Book, Known, More},
    carry::{Plan, Want},
    column::{Column, Sheet},
    counted,
    place::{Places, Spot},
    row::{Asked, Titles, show_end},
    thing,
};
use crate::{
    db::DbError,
    model::{
        attribute::{show_connector, show_length},
        csv::{At, Faults, Table, without_unit, write},
        id::PartId,
        part::{Kind, Part, PartSpec, StockBy, StockUnit},
        text::Tag,
        thing::ThingKind,
    },
    units::{Length, LengthUnit},
};

/// A file whose rows were read one by one.
pub(super) struct Read<'a> {
    titles: Titles<'a>,
    unit: LengthUnit,
    rows: Vec<Asked>,
    /// Part names of rows that can't be read: those at least are looked up too.
    broken: Vec<(At, String)>,
    /// Of rows that can't be read.
    faults: Faults,
}

impl<'a> Read<'a> {
    pub fn new(table: &'a Table, unit: LengthUnit) -> Result<Self, Faults> {
        let titles = Titles::new(table, unit)?;
        let mut faults = Faults::default();
        let (mut rows, mut broken) = (Vec::new(), Vec::new());
        for row in &table.rows {
            match titles.read(row, &mut faults) {
                Some(asked) => rows.push(asked),
                None => broken.push((row.at.clone(), titles.part(row).to_owned())),
            }
        }
        Ok(Self {
            titles,
            unit,
            rows,
            broken,
            faults,
        })
    }

    /// The tags that the file names.
    pub fn tags(&self) -> Vec<Tag> {
        self.rows.iter().filter_map(|row| row.tag.clone()).collect()
    }
}

/// What a file may name once.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Which {
    Tag(Tag),
    Count(PartId, String),
}

/// Comparing rows with the book.
pub(super) struct Compare<'a> {
    pub titles: &'a Titles<'a>,
    pub book: &'a Book,
    pub unit: LengthUnit,
    places: Places<'a>,
    seen: HashMap<Which, usize>,
    faults: Faults,
}

impl<'a> Compare<'a> {
    pub fn fail(&mut self, asked: &Asked, column: Column, message: impl Into<String>) {
        let at = self.titles.at(&asked.at, column);
        self.faults.add(at, message);
    }

    /// The part that a cell names, unless `refuse` has something against it.
    pub fn part(
        &mut self,
        asked: &Asked,
        column: Column,
        name: Option<&str>,
        refuse: impl FnOnce(&Part) -> Option<String>,
    ) -> Option<&'a Part> {
        let Some(name) = name else {
            self.fail(
                asked,
                column,
                "Say of which part: its name in the catalogue.",
            );
            return None;
        };
        let Some(part) = self.book.part(name) else {
            self.fail(asked, column, no_part(name));
            return None;
        };
        if let Some(message) = refuse(part) {
            self.fail(asked, column, message);
            return None;
        }
        Some(part)
    }

    /// The place that a row names.
    pub fn place(&mut self, asked: &Asked, typed: &str) -> Option<Spot> {
        match self.places.find(typed) {
            Ok(spot) => Some(spot),
            Err(message) => {
                self.fail(asked, Column::Place, message);
                None
            }
        }
    }

    /// Refuses what an earlier row named.
    pub fn once(&mut self, asked: &Asked, which: Which) -> Option<()> {
        let (column, what) = match &which {
            Which::Tag(tag) => (Column::Tag, tag.to_string()),
            Which::Count(..) => (Column::Part, "this part in this place".to_owned()),
        };
        match self.seen.insert(which, asked.at.line) {
            None => Some(()),
            Some(line) => {
                self.fail(asked, column, format!("Line {line} names {what} already."));
                None
            }
        }
    }

    /// What a row is: as it says, or as its part or its tag has it.
    fn sheet(&mut self, asked: &Asked) -> Option<Sheet> {
        let by_tag = asked
            .tag
            .as_ref()
            .and_then(|tag| self.book.thing(tag))
            .map(|known| sheet_of(known.thing.kind));
        let by_part = asked
            .part
            .as_deref()
            .and_then(|name| self.book.part(name))
            .map(|part| match part.stock_by() {
                StockBy::Count => Sheet::Counted,
                StockBy::Length => Sheet::Piece,
                StockBy::Unit => Sheet::Unit,
            });
        let sheet = asked.sheet.or(by_tag).or(by_part);
        if sheet.is_none() {
            if asked.part.is_some() {
                self.part(asked, Column::Part, asked.part.as_deref(), |_| None);
            } else {
                self.fail(
                    asked,
                    Column::What,
                    "Say what this is: counted, piece, unit, fixture or frame.",
                );
            }
        }
        sheet
    }

    fn row(&mut self, asked: &Asked) -> Option<(CsvRow, Want)> {
        let sheet = self.sheet(asked)?;
        if let Some(column) = asked.stranger(sheet) {
            let message = format!("This is not asked of what is {sheet}. Leave the cell empty.");
            let message = match sheet {
                Sheet::Counted => message,
                _ => format!("This is not asked of a {sheet}. Leave the cell empty."),
            };
            self.fail(asked, column, message);
            return None;
        }
        match sheet {
            Sheet::Counted => counted::plan(self, asked),
            sheet => thing::plan(self, asked, sheet),
        }
    }
}

fn no_part(name: &str) -> String {
    format!("There is no part “{name}” in the catalogue. Mend the name, or add the part first.")
}

/// Compares a file with the book.
pub(super) fn plan(read: &Read<'_>, book: &Book, make_places: bool) -> Result<Plan, Faults> {
    let mut compare = Compare {
        titles: &read.titles,
        book,
        unit: read.unit,
        places: Places::new(book, make_places),
        seen: HashMap::new(),
        faults: read.faults.clone(),
    };
    let mut planned = Vec::new();
    for asked in &read.rows {
        if let Some((row, want)) = compare.row(asked) {
            planned.push(Planned {
                at: asked.at.clone(),
                row,
                want,
            });
        }
    }
    for (at, name) in &read.broken {
        if !name.is_empty() && book.part(name).is_none() {
            let at = read.titles.at(at, Column::Part);
            compare.faults.add(at, no_part(name));
        }
    }
    let places = compare.places.new;
    compare.faults.or(Plan { planned, places })
}

impl Plan {
    pub fn preview(&self) -> Preview {
        Preview {
            rows: super::rows(&self.planned),
            places: self.places.iter().map(|place| place.path.clone()).collect(),
        }
    }
}

const fn sheet_of(kind: ThingKind) -> Sheet {
    match kind {
        ThingKind::Piece => Sheet::Piece,
        ThingKind::Unit => Sheet::Unit,
        ThingKind::Fixture => Sheet::Fixture,
        ThingKind::Frame => Sheet::Frame,
    }
}

/// What the book says of a thing, column by column, each cell as it is read back.
pub(super) fn cells(known: &Known, book: &Book, unit: LengthUnit) -> HashMap<Column, String> {
    let Known { thing, more, .. } = known;
    let length = |length| without_unit(&show_length(length, unit), unit.as_str());
    let name = |id: Option<PartId>| {
        id.and_then(|id| book.parts.get(&id))
            .map_or_else(String::new, |part| part.name.to_string())
    };
    let mut cells = HashMap::from([
        (Column::What, sheet_of(thing.kind).word().to_owned()),
        (Column::Part, name(thing.part)),
        (Column::Tag, thing.tag.to_string()),
        (Column::Place, thing.place.words.clone()),
        (Column::Condition, thing.condition.label().to_owned()),
        (Column::Note, thing.note.as_str().to_owned()),
    ]);
    if let Some(day) = thing.inspect_on {
        cells.insert(Column::InspectOn, day.to_string());
    }
    match more {
        More::Piece(piece) => {
            cells.extend(thing.amount.length().map(|um| (Column::Length, length(um))));
            cells.insert(Column::Start, show_end(&piece.start));
            cells.insert(Column::End, show_end(&piece.end));
            cells.insert(Column::Batch, piece.batch.clone());
            if thing.part_kind == Some(Kind::Tape) {
                let joint = piece
                    .joint_offset_units
                    .map_or_else(|| "none".to_owned(), |units| units.to_string());
                cells.insert(Column::FirstJoint, joint);
            }
        }
        More::Unit(unit) => {
            let address = unit.address.map(|address| address.to_string());
            cells.insert(Column::Address, address.unwrap_or_default());
            cells.insert(Column::Serial, unit.serial.clone());
        }
        More::Fixture(at) => {
            let make = &at.fixture.make;
            cells.insert(Column::Part, name(make.tape));
            cells.insert(Column::Profile, name(make.profile));
            cells.insert(Column::Length, length(make.lit_um));
            cells.insert(Column::Colours, make.channels.to_string());
            let voltage = without_unit(&make.voltage_mv.show(), "V");
            cells.insert(Column::Voltage, voltage);
            let diffused = if make.diffused { "yes" } else { "no" };
            cells.insert(Column::Diffused, diffused.to_owned());
            cells.insert(Column::Fed, make.fed.label().to_owned());
            let connector = make.connector.as_ref().map(show_connector);
            cells.insert(Column::Connector, connector.unwrap_or_default());
            cells.insert(Column::Batch, at.batch.clone());
        }
        More::Frame(frame) => {
            cells.insert(Column::Name, frame.name.to_string());
            cells.insert(Column::Width, length(frame.width_um));
            cells.insert(Column::Height, length(frame.height_um));
        }
    }
    cells
}

/// Lengths in which a part is sold.
pub(super) fn sold(part: &Part) -> &[Length] {
    match &part.spec {
        PartSpec::Tape(tape) => &tape.rolls_um,
        PartSpec::Profile(profile) => &profile.bars_um,
        PartSpec::Cable(cable) => &cable.reels_um,
        _ => &[],
    }
}

/// Everything that one has as CSV, or only one sheet of it; only the titles where `template`.
pub async fn out(
    tx: &mut SqliteConnection,
    sheet: Option<Sheet>,
    unit: LengthUnit,
    template: bool,
    mark: bool,
) -> Result<String, DbError> {
    let columns: Vec<Column> = Column::list(sheet).collect();
    let titles: Vec<String> = columns.iter().map(|column| column.title(unit)).collect();
    let mut rows = Vec::new();
    if !template {
        let book = Book::load_all(tx).await?;
        let wanted = |of: Sheet| sheet.is_none_or(|sheet| sheet == of);
        let mut all: Vec<HashMap<Column, String>> = Vec::new();
        if wanted(Sheet::Counted) {
            for count in &book.counts {
                let Some(part) = book.parts.get(&count.part) else {
                    continue;
                };
                let shown = counted::show_amount(part, count.amount, unit);
                let (column, amount) = match part.unit() {
                    StockUnit::Each => (Column::Number, shown),
                    _ => (Column::Length, without_unit(&shown, unit.as_str())),
                };
                all.push(HashMap::from([
                    (Column::What, Sheet::Counted.word().to_owned()),
                    (Column::Part, part.name.to_string()),
                    (column, amount),
                    (Column::Place, count.spot.words.clone()),
                ]));
            }
        }
        for of in [Sheet::Piece, Sheet::Unit, Sheet::Fixture, Sheet::Frame] {
            let things = book.things.iter();
            all.extend(
                things
                    .filter(|known| wanted(of) && sheet_of(known.thing.kind) == of)
                    .map(|known| cells(known, &book, unit)),
            );
        }
        rows.extend(all.into_iter().map(|mut cells| {
            columns
                .iter()
                .map(|column| cells.remove(column).unwrap_or_default())
                .collect::<Vec<_>>()
        }));
    }
    Ok(write(&titles, &rows, mark))
}
