//! Parts and stock out to CSV and in from it.
//!
//! Reading in has two halves. The first compares the file with the book and says what each row
//! would do; it writes nothing and is the dry run. The second does the same inside the write
//! transaction, compares it with the dry run that the person saw, and carries it out, all or
//! nothing: if the book has changed so that something else would happen, nothing is done and the
//! new dry run is shown.
//!
//! What goes out comes back in and changes nothing.

mod book;
mod carry;
mod column;
mod counted;
mod parts;
mod place;
mod row;
mod stock;
mod thing;

use std::hash::{DefaultHasher, Hash, Hasher as _};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Act, Begun, StockError, holds::Touched};
use crate::{
    db::{Db, DbError},
    model::{
        csv::{At, Faults, Table},
        id::MovementId,
        text::words,
    },
    units::LengthUnit,
};

pub use column::{Column, Sheet};
pub use parts::out as parts_out;
pub use stock::out as stock_out;

words! {
    /// What a row does.
    CsvDoes {
        /// It is added.
        New = "new", "new";
        /// Something of it changes.
        Changed = "changed", "changed";
        /// Its number in a place is corrected by count.
        Counted = "counted", "corrected by count";
        /// Nothing: the book says the same.
        Unchanged = "unchanged", "unchanged";
    }
}

/// What a row changes: before and after.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
pub struct CsvDifference {
    /// The column.
    pub column: String,
    /// What the book says; empty where it says nothing.
    pub before: String,
    /// What the file says; empty where it says nothing.
    pub after: String,
}

/// What one row of a file does.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
pub struct CsvRow {
    /// Its line, from 1.
    pub line: usize,
    /// What it is about.
    pub name: String,
    /// What it does.
    pub does: CsvDoes,
    /// More about what is new.
    pub details: String,
    /// What it changes.
    pub differences: Vec<CsvDifference>,
}

/// What a file would do: nothing of it is done yet.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash)]
pub struct Preview {
    /// What each row would do.
    pub rows: Vec<CsvRow>,
    /// Paths of places that would be made.
    pub places: Vec<String>,
}

impl Preview {
    /// How many rows do this.
    pub fn count(&self, does: CsvDoes) -> usize {
        self.rows.iter().filter(|row| row.does == does).count()
    }

    /// Whether nothing would change.
    pub fn is_nothing(&self) -> bool {
        self.places.is_empty() && self.count(CsvDoes::Unchanged) == self.rows.len()
    }

    /// A short name of everything that it says, to tell it from another dry run.
    pub fn digest(&self) -> String {
        let mut hasher = DefaultHasher::new();
        self.hash(&mut hasher);
        format!("{:016x}", hasher.finish())
    }

    fn outcome(&self) -> CsvOutcome {
        CsvOutcome {
            dry_run: false,
            new: self.count(CsvDoes::New),
            changed: self.count(CsvDoes::Changed),
            counted: self.count(CsvDoes::Counted),
            unchanged: self.count(CsvDoes::Unchanged),
            places: self.places.clone(),
            ..CsvOutcome::default()
        }
    }
}

/// What reading a file did, or would do.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CsvOutcome {
    /// Whether nothing was done yet.
    pub dry_run: bool,
    /// Rows that add something.
    pub new: usize,
    /// Rows that change something.
    pub changed: usize,
    /// Rows that correct a number by count.
    pub counted: usize,
    /// Rows that say what the book says.
    pub unchanged: usize,
    /// Paths of places that were made for it.
    pub places: Vec<String>,
    /// What each row would do; only of a dry run.
    pub rows: Vec<CsvRow>,
    /// The movements, in their order: each is undone by itself, the last one first.
    pub movements: Vec<MovementId>,
    /// Holds of sets that moved to a like thing, or broke, because of it.
    pub touched: Vec<Touched>,
}

impl From<&Preview> for CsvOutcome {
    fn from(preview: &Preview) -> Self {
        Self {
            dry_run: true,
            rows: preview.rows.clone(),
            ..preview.outcome()
        }
    }
}

/// What a file is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// The catalogue.
    Parts,
    /// What there is.
    Stock {
        /// Whether places that are not there are made.
        make_places: bool,
    },
}

/// A file to be read in.
#[derive(Debug, Clone, Copy)]
pub struct File<'a> {
    /// What it is about.
    pub subject: Subject,
    /// Its bytes as they came.
    pub bytes: &'a [u8],
    /// The venue's unit, for lengths where neither title nor cell names one.
    pub unit: LengthUnit,
}

/// Why a file was not read in. Nothing of it was kept.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// Rows that can't be read, or that the book does not allow.
    #[error(
        "Nothing of the file was read in: {} of its cells or rows cannot be. Mend them and send \
         it again.", .0.count()
    )]
    Faults(Faults),
    /// The book has changed since the dry run, so that something else would happen.
    #[error(
        "The book was changed since the dry run, and the file would now do something else. \
         Nothing was done."
    )]
    Stale(Preview),
    /// Another refusal.
    #[error(transparent)]
    Stock(#[from] StockError),
}

impl From<Faults> for ImportError {
    fn from(faults: Faults) -> Self {
        Self::Faults(faults)
    }
}

impl From<DbError> for ImportError {
    fn from(error: DbError) -> Self {
        Self::Stock(error.into())
    }
}

/// A row that was compared with the book: what it says it does, and how it is carried out.
struct Planned<W> {
    at: At,
    row: CsvRow,
    want: W,
}

fn rows<W>(planned: &[Planned<W>]) -> Vec<CsvRow> {
    planned.iter().map(|one| one.row.clone()).collect()
}

/// A refusal while carrying out, at the row that it is about.
fn at_row(at: &At, why: StockError) -> ImportError {
    match why {
        StockError::Field { field, message } => Faults::one(at.column(field), message).into(),
        StockError::Refused(message) => Faults::one(at.clone(), message).into(),
        StockError::NotFound(_) | StockError::Changed => {
            Faults::one(at.clone(), why.to_string()).into()
        }
        why if why.refusal().is_some() => Faults::one(at.clone(), why.to_string()).into(),
        why => why.into(),
    }
}

/// What a file would do.
pub async fn dry_run(db: &Db, file: &File<'_>) -> Result<Preview, ImportError> {
    let table = Table::read(file.bytes)?;
    let mut tx = db.read().await?;
    Ok(match file.subject {
        Subject::Parts => {
            let book = parts::Book::load(&mut tx).await?;
            let planned = parts::plan(&table, &book, file.unit)?;
            Preview {
                rows: rows(&planned),
                places: Vec::new(),
            }
        }
        Subject::Stock { make_places } => {
            let read = stock::Read::new(&table, file.unit)?;
            let book = book::Book::load(&mut tx, &read.tags()).await?;
            stock::plan(&read, &book, make_places)?.preview()
        }
    })
}

/// Reads a file in, all or nothing. `seen` names the dry run that was looked at: if the file would
/// now do something else, nothing is done.
pub async fn read_in(
    act: &Act,
    file: &File<'_>,
    seen: Option<&str>,
) -> Result<CsvOutcome, ImportError> {
    let table = Table::read(file.bytes)?;
    let mut tx = match act.begin().await? {
        Begun::Repeat(outcome) => return Ok(outcome),
        Begun::Fresh(tx) => tx,
    };
    let check = |preview: Preview| match seen {
        Some(seen) if seen != preview.digest() => Err(ImportError::Stale(preview)),
        _ => Ok(preview.outcome()),
    };
    let outcome = match file.subject {
        Subject::Parts => {
            let book = parts::Book::load(&mut tx).await?;
            let planned = parts::plan(&table, &book, file.unit)?;
            let outcome = check(Preview {
                rows: rows(&planned),
                places: Vec::new(),
            })?;
            parts::carry_out(&mut tx, planned).await?;
            outcome
        }
        Subject::Stock { make_places } => {
            let read = stock::Read::new(&table, file.unit)?;
            let book = book::Book::load(&mut tx, &read.tags()).await?;
            let planned = stock::plan(&read, &book, make_places)?;
            let mut outcome = check(planned.preview())?;
            let done = carry::carry_out(&mut tx, act, planned).await?;
            outcome.movements = done.movements;
            outcome.touched = done.touched;
            outcome
        }
    };
    Ok(act.finish(tx, outcome).await?)
}
