//! The database: one writer, a few readers, and every SQL statement of the project.
//!
//! One file a subject, one function a question; the verbs are `lookup` (by id, or nothing),
//! `find` (by another key), `list`, `add`, `change`, `remove`. Functions take a
//! [`ReadTx`] or a [`WriteTx`] and never commit: that is for the use-case that opened it.

use std::{
    path::{Path, PathBuf},
    sync::Arc,
    time::Duration,
};

use sqlx::{
    SqlitePool,
    migrate::{MigrateError, Migrator},
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous},
};

pub mod archive;
pub mod audit;
pub mod backdrop;
pub mod backup;
pub mod balance;
pub mod calendar;
pub mod change_log;
pub mod design;
pub mod fixture;
pub mod level;
mod line;
pub mod loan;
mod mark;
pub mod movement;
pub mod offer;
pub mod overview;
pub mod part;
pub mod person;
pub mod piece;
mod pin;
pub mod place;
pub mod press;
pub mod print;
pub mod purchase;
mod refusal;
pub mod reservation;
pub mod restore;
pub mod search;
pub mod session;
pub mod snapshot;
pub mod sound;
pub mod stage;
pub mod test_record;
pub mod thing;
mod tx;
pub mod venue;

pub use mark::{Mark, Seen};
pub use refusal::{DbError, Refusal};
pub use tx::{By, ReadTx, WriteTx};

use crate::model::text::Name;
use line::{Company, Line};
use mark::Watch;
use press::Pressed;

static MIGRATIONS: Migrator = sqlx::migrate!();

/// How many statements each connection keeps prepared: more than this project has.
const STATEMENTS: usize = 500;
/// What the connection that writes may hold of the file in memory: 16 MB, in kibibytes as SQLite has it.
const WRITERS_CACHE: &str = "-16000";

/// As is advised for a connection that stays open for long
/// (<https://www.sqlite.org/lang_analyze.html#recommended_usage_patterns>).
const LOOK_AT_SIZES: &str = "PRAGMA analysis_limit = 400; PRAGMA optimize = 0x10002";

/// An open database.
#[derive(Debug, Clone)]
pub struct Db {
    line: Line,
    readers: SqlitePool,
    watch: Arc<Watch>,
    pieces: Arc<snapshot::Pieces>,
    file: PathBuf,
}

/// Why a database could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The folder cannot be made.
    #[error(
        "The data folder {} cannot be made ({why}). Nothing was changed. \
         Choose a folder that you may write to, with --data.", folder.display()
    )]
    Folder {
        /// Which.
        folder: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// The file was written by a newer program.
    #[error(
        "The database {} was written by a newer Tapewright (schema step {step}). Nothing was \
         changed. Start the newer program, or restore an older backup into another folder.",
        file.display()
    )]
    Newer {
        /// Which file.
        file: PathBuf,
        /// The step that this program does not have.
        step: i64,
    },
    /// The file's schema is not what the migrations made.
    #[error(
        "The database {} cannot be brought up to date ({why}). Nothing was half done: each step \
         is applied wholly or not at all. Keep the file, and restore a backup into another folder.",
        file.display()
    )]
    Migrate {
        /// Which file.
        file: PathBuf,
        /// What went wrong.
        why: MigrateError,
    },
    /// No copy could be kept before an upgrade.
    #[error(
        "The database {} must be brought up to date, and no copy of it could be kept before: {why} \
         The database was not changed.", file.display()
    )]
    NotKept {
        /// Which file.
        file: PathBuf,
        /// Why not.
        why: Box<backup::BackupError>,
    },
    /// SQLite refused.
    #[error(
        "The database {} cannot be opened ({why}). Nothing was changed. See that the file may be \
         read and written, that it is a Tapewright database and that the disk is not full.",
        file.display()
    )]
    Sqlite {
        /// Which file.
        file: PathBuf,
        /// What SQLite said.
        why: sqlx::Error,
    },
}

impl Db {
    /// The file's name in a data folder.
    pub const FILE: &str = "tapewright.sqlite";

    /// Opens (and makes, and migrates) the database of a data folder.
    pub async fn open(folder: &Path) -> Result<Self, OpenError> {
        std::fs::create_dir_all(folder).map_err(|why| OpenError::Folder {
            folder: folder.to_owned(),
            why,
        })?;
        Self::open_file(&folder.join(Self::FILE)).await
    }

    /// Opens (and makes, and migrates) a database file.
    pub async fn open_file(file: &Path) -> Result<Self, OpenError> {
        let sqlite = |why| OpenError::Sqlite {
            file: file.to_owned(),
            why,
        };
        // FULL: what was acknowledged is on the disk, the power cut included.
        let options = SqliteConnectOptions::new()
            .filename(file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(Duration::from_secs(5))
            .statement_cache_capacity(STATEMENTS)
            .optimize_on_close(true, 400);
        // What one connection wrote it need not read again, as far as it has room for it. The log is
        // folded in by the line, apart from commits.
        let writing = (options.clone())
            .pragma("cache_size", WRITERS_CACHE)
            .pragma("wal_autocheckpoint", "0");
        // No `min_connections`: the pool opens those in a task of its own that may still be at it
        // when the pool is closed, and a connection left open keeps the log from being folded in.
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .connect_with(writing)
            .await
            .map_err(sqlite)?;
        let newest = MIGRATIONS.iter().map(|step| step.version).max();
        if let Some(kept) = restore::before_upgrade(file, newest.unwrap_or(0))
            .await
            .map_err(|why| OpenError::NotKept {
                file: file.to_owned(),
                why: Box::new(why),
            })?
        {
            tracing::info!(copy = %kept.display(), "a copy was kept before the book is brought up to date");
        }
        MIGRATIONS.run(&writer).await.map_err(|why| match why {
            MigrateError::VersionMissing(step) => OpenError::Newer {
                file: file.to_owned(),
                step,
            },
            why => OpenError::Migrate {
                file: file.to_owned(),
                why,
            },
        })?;
        // Statements are planned by how much there is of everything, as it was when the book was last
        // closed: that may be a year and all of the stock ago. What has grown much is looked at anew.
        sqlx::raw_sql(LOOK_AT_SIZES)
            .execute(&writer)
            .await
            .map_err(sqlite)?;
        // What optimizes writes: a reader that fails at it is dropped before it has closed the file,
        // and may then be the last to, which leaves the log beside it.
        let reading = options
            .read_only(true)
            .create_if_missing(false)
            .optimize_on_close(false, None);
        let watch = Arc::new(Watch::begin(&reading).await.map_err(sqlite)?);
        let writer = writer.acquire().await.map_err(sqlite)?.detach();
        let readers = SqlitePoolOptions::new()
            .max_connections(4)
            .test_before_acquire(false)
            .idle_timeout(None)
            .max_lifetime(None)
            .connect_with(reading)
            .await
            .map_err(sqlite)?;
        Ok(Self {
            line: Line::begin(writer),
            readers,
            watch,
            pieces: Arc::default(),
            file: file.to_owned(),
        })
    }

    /// The file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Begins to read: one state of the database for as long as it lives.
    pub async fn read(&self) -> Result<ReadTx, DbError> {
        ReadTx::begin(&self.readers, &self.pieces).await
    }

    /// The state that the database is in now, and the settings in it; nothing where that is the
    /// state already known. What is read after this is at least as new. It is another state after
    /// each commit, be it of this process or of another.
    pub async fn changed(&self, known: Option<Mark>) -> Result<Option<Seen>, DbError> {
        self.watch.changed(known).await
    }

    /// Begins to write, alone: `BEGIN IMMEDIATE`, so that what is checked stays true until the
    /// commit.
    pub async fn write(&self) -> Result<WriteTx, DbError> {
        let begun = WriteTx::begin(&self.line, Company::Alone, None, None);
        Ok(begun.await?.0)
    }

    /// The same, where the use-case knows by whom it is carried out, and when.
    pub async fn write_as(&self, who: &Name, at_ms: i64) -> Result<WriteTx, DbError> {
        let known = Some((who.as_str(), at_ms));
        let begun = WriteTx::begin(&self.line, Company::Alone, known, None);
        Ok(begun.await?.0)
    }

    /// The same, with what was answered under a key, if it was used.
    pub async fn write_under(
        &self,
        who: &Name,
        at_ms: i64,
        key: Option<&str>,
    ) -> Result<(WriteTx, Option<Pressed>), DbError> {
        let known = Some((who.as_str(), at_ms));
        WriteTx::begin(&self.line, Company::Alone, known, key).await
    }

    /// The same, for what takes a moment only and ends with a commit, whatever it answers: those who
    /// stand in line for it may share one, so that what it finds may not be on the disk before its own
    /// commit is.
    pub async fn write_with_others(
        &self,
        who: &Name,
        at_ms: i64,
        key: Option<&str>,
    ) -> Result<(WriteTx, Option<Pressed>), DbError> {
        let known = Some((who.as_str(), at_ms));
        WriteTx::begin(&self.line, Company::Shared, known, key).await
    }

    /// Closes every connection and folds the write-ahead log into the file.
    pub async fn close(self) {
        self.watch.close().await;
        self.readers.close().await;
        self.line.close().await;
    }
}
