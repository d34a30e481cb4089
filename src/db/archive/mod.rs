//! The open archive: the whole book as text in one zip file, for whoever wants to read it without this
//! program, and the way back.
//!
//! - `README.txt` says what is here described, for people.
//! - `archive.json` is the [`Manifest`].
//! - `data/TABLE.jsonl` holds a table: one JSON object a line, by column. Numbers are whole numbers,
//!   lengths in micrometres, money in the currency's smallest unit, instants in milliseconds since 1970
//!   (UTC), days as `2026-03-05`; bytes are an object `{"base64": "…"}`.
//! - `csv/TABLE.csv` holds the same for a spreadsheet (RFC 4180), with cells that would run as a formula
//!   made harmless; it is not read on the way back.
//!
//! What only this program at this place needs is left out: sessions, keys, invitations, passwords.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use sqlx::{AssertSqlSafe, SqliteConnection};

use super::{DbError, OpenError, backup::BackupError, restore::RestoreError};

mod read;
mod write;

pub use read::read;
pub use write::write;

/// What `archive.json` calls this kind of file.
const FORMAT: &str = "tapewright archive";
/// The version of the format that is written, and the newest that is read.
const VERSION: u32 = 1;

/// Tables that stay behind.
const LEFT_OUT: &[&str] = &[
    "_sqlx_migrations",
    "acting",
    "api_token",
    "invitation",
    "press",
    "revision",
    "session",
    "session_hand",
    "touched",
];
/// Columns that stay behind, as table and column: nothing stands in them after the way back.
const BLANKED: &[(&str, &str)] = &[("person", "password"), ("person", "pin")];

/// What an archive holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Always `tapewright archive`.
    pub format: String,
    /// Of the format.
    pub version: u32,
    /// The step of the schema that tables and columns are of.
    pub schema_step: i64,
    /// The day it was made, as `2026-03-05`.
    pub made_on: String,
    /// Its tables.
    pub tables: Vec<Table>,
}

/// A table of an archive.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Table {
    /// Its name.
    pub name: String,
    /// Its columns.
    pub columns: Vec<String>,
    /// How many rows.
    pub rows: u64,
}

/// An archive that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The file.
    pub file: PathBuf,
    /// Its size in bytes.
    pub bytes: u64,
    /// Rows in all.
    pub rows: u64,
}

/// Why no archive was written, or nothing read from one. What was there before is as it was.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// There is a file of that name.
    #[error("{} is there already. It was left as it is and nothing was exported. Choose another name.", .0.display())]
    Exists(PathBuf),
    /// There is no database to begin with.
    #[error("There is no database {}. Nothing was exported. Say which data folder, with --data.", .0.display())]
    NoDatabase(PathBuf),
    /// A file cannot be read or written.
    #[error("{} cannot be read or written ({why}). Nothing was kept of it.", file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// It is no archive, or not a whole one.
    #[error("{} is not an archive that can be read: {why} Nothing was imported.", file.display())]
    Unreadable {
        /// Which.
        file: PathBuf,
        /// What is wrong with it, as a sentence.
        why: String,
    },
    /// A newer program wrote it.
    #[error(
        "{} was written by a newer Tapewright (schema step {step}). Nothing was imported. Import it \
         with that one.", .file.display()
    )]
    Newer {
        /// Which.
        file: PathBuf,
        /// Its step.
        step: i64,
    },
    /// The book of it cannot be opened, or does not agree with itself.
    #[error(transparent)]
    Restore(#[from] RestoreError),
    /// The database.
    #[error("{0} Nothing was kept of it.")]
    Db(#[from] DbError),
}

impl From<sqlx::Error> for ArchiveError {
    fn from(error: sqlx::Error) -> Self {
        Self::Db(error.into())
    }
}

impl From<OpenError> for ArchiveError {
    fn from(error: OpenError) -> Self {
        Self::Restore(error.into())
    }
}

impl From<BackupError> for ArchiveError {
    fn from(error: BackupError) -> Self {
        Self::Restore(error.into())
    }
}

/// The tables of an open database that an archive holds, with their columns, by name.
async fn tables(conn: &mut SqliteConnection) -> Result<Vec<Table>, sqlx::Error> {
    let names: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY name",
    )
    .fetch_all(&mut *conn)
    .await?;
    let mut tables = Vec::new();
    for name in names {
        if LEFT_OUT.contains(&name.as_str()) {
            continue;
        }
        let columns: Vec<String> =
            sqlx::query_scalar("SELECT name FROM pragma_table_info(?) ORDER BY cid")
                .bind(&name)
                .fetch_all(&mut *conn)
                .await?;
        let blanked = |column: &str| BLANKED.contains(&(name.as_str(), column));
        let columns = columns.into_iter().filter(|column| !blanked(column));
        tables.push(Table {
            columns: columns.collect(),
            name,
            rows: 0,
        });
    }
    Ok(tables)
}

impl Table {
    /// A statement over this table. Its words come from the schema of a database of ours, never from
    /// an archive, and no value stands in it.
    fn statement(&self, build: impl FnOnce(&str, &[String]) -> String) -> AssertSqlSafe<String> {
        let quote = |name: &String| format!("\"{name}\"");
        let columns: Vec<String> = self.columns.iter().map(quote).collect();
        AssertSqlSafe(build(&quote(&self.name), &columns))
    }
}
