//! Reading an archive: into a folder of its own, never over a book that is there.

use std::{
    borrow::Cow,
    fs::File,
    io::{self, BufRead as _, BufReader, Read as _},
    path::{Path, PathBuf},
};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use serde_json::{Map, Value};
use sqlx::{
    AssertSqlSafe, Connection as _, SqliteConnection,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode},
};
use tokio::sync::mpsc;
use zip::ZipArchive;

use super::{ArchiveError, FORMAT, Manifest, Table, VERSION, tables};
use crate::db::{
    Db, MIGRATIONS,
    backup::{begin, partial_of, settle},
    restore::{RestoreError, Restored, sound},
};

/// The longest line, in bytes: a picture under a set is by far the longest.
const LONGEST_LINE: u64 = 16 * 1024 * 1024;
/// The longest `archive.json`, in bytes.
const LONGEST_MANIFEST: u64 = 1024 * 1024;
/// The most text of all tables, in bytes: far more than a book has, and less than fills a disk.
const MOST_TEXT: u64 = 4 * 1024 * 1024 * 1024;
/// How many rows wait at most between reading and storing.
const ROWS_WAITING: usize = 64;

/// A row by column.
type Row = Map<String, Value>;

fn manifest(file: &Path) -> Result<Manifest, String> {
    let mut zip = open(file)?;
    let entry = zip
        .by_name("archive.json")
        .map_err(|_| "it holds no archive.json.".to_owned())?;
    let mut text = Vec::new();
    entry
        .take(LONGEST_MANIFEST + 1)
        .read_to_end(&mut text)
        .map_err(|why| format!("its archive.json is damaged ({why})."))?;
    if text.len() as u64 > LONGEST_MANIFEST {
        return Err("its archive.json is far too long.".to_owned());
    }
    let manifest: Manifest = serde_json::from_slice(&text)
        .map_err(|why| format!("its archive.json is not what it should be ({why})."))?;
    if manifest.format != FORMAT {
        return Err("it says that it is something else.".to_owned());
    }
    if manifest.version > VERSION {
        return Err(format!(
            "its format is version {}, and this program knows {VERSION}.",
            manifest.version
        ));
    }
    Ok(manifest)
}

fn open(file: &Path) -> Result<ZipArchive<BufReader<File>>, String> {
    let read = |why: io::Error| format!("it cannot be opened ({why}).");
    let file = File::open(file).map_err(read)?;
    ZipArchive::new(BufReader::new(file)).map_err(|why| format!("it is no whole zip file ({why})."))
}

/// Reads the rows of a table one by one and hands them on, as long as somebody takes them: what is left
/// of the text that may be read.
fn rows(
    file: &Path,
    table: &str,
    mut left: u64,
    to: &mpsc::Sender<Result<Row, String>>,
) -> Result<u64, String> {
    let mut zip = open(file)?;
    let name = format!("data/{table}.jsonl");
    let entry = zip
        .by_name(&name)
        .map_err(|_| format!("it holds no {name}."))?;
    let mut lines = BufReader::new(entry);
    let mut line = Vec::new();
    for at in 1_u64.. {
        line.clear();
        let read = lines
            .by_ref()
            .take(LONGEST_LINE)
            .read_until(b'\n', &mut line)
            .map_err(|why| format!("{name} is damaged at line {at} ({why})."))?;
        if read == 0 {
            break;
        }
        if line.last() != Some(&b'\n') && read as u64 == LONGEST_LINE {
            return Err(format!("line {at} of {name} is far too long."));
        }
        left = left
            .checked_sub(read as u64)
            .ok_or_else(|| format!("it holds far too much text, up to line {at} of {name}."))?;
        let row = serde_json::from_slice(&line)
            .map_err(|why| format!("line {at} of {name} is not an object of JSON ({why})."))?;
        if to.blocking_send(Ok(row)).is_err() {
            break;
        }
    }
    Ok(left)
}

/// A value to be stored.
enum Cell {
    Null,
    Whole(i64),
    Real(f64),
    Text(String),
    Bytes(Vec<u8>),
}

impl Cell {
    fn read(value: Value) -> Option<Self> {
        Some(match value {
            Value::Null => Self::Null,
            Value::Number(number) => match number.as_i64() {
                Some(whole) => Self::Whole(whole),
                None => Self::Real(number.as_f64()?),
            },
            Value::String(text) => Self::Text(text),
            Value::Object(bytes) if bytes.len() == 1 => {
                let text = bytes.get("base64")?.as_str()?;
                Self::Bytes(STANDARD.decode(text).ok()?)
            }
            Value::Bool(_) | Value::Array(_) | Value::Object(_) => return None,
        })
    }
}

/// Brings the book of an archive into a folder, as a database, and checks it there.
pub async fn read(file: &Path, folder: &Path) -> Result<Restored, ArchiveError> {
    let target = folder.join(Db::FILE);
    if tokio::fs::try_exists(&target).await.unwrap_or(true) {
        return Err(RestoreError::Occupied(folder.to_owned()).into());
    }
    let archive = file.to_owned();
    let manifest = tokio::task::spawn_blocking(move || manifest(&archive))
        .await
        .map_err(|why| unreadable(file, why.to_string()))?
        .map_err(|why| unreadable(file, why))?;
    let newest = MIGRATIONS.iter().map(|step| step.version).max();
    if newest.is_none_or(|newest| manifest.schema_step > newest) {
        return Err(ArchiveError::Newer {
            file: file.to_owned(),
            step: manifest.schema_step,
        });
    }
    tokio::fs::create_dir_all(folder)
        .await
        .map_err(|why| RestoreError::Folder {
            folder: folder.to_owned(),
            why,
        })?;
    let partial = partial_of(&target);
    begin(&partial).await.map_err(|why| ArchiveError::File {
        file: partial.clone(),
        why,
    })?;
    match fill_and_settle(file, &manifest, &partial, &target).await {
        Ok(movements) => Ok(Restored {
            folder: folder.to_owned(),
            movements,
        }),
        Err(why) => {
            // The reason is worth more than why the remains stay.
            for end in ["", "-wal", "-shm"] {
                let mut remains = partial.clone().into_os_string();
                remains.push(end);
                let _ = tokio::fs::remove_file(PathBuf::from(remains)).await;
            }
            Err(why)
        }
    }
}

async fn fill_and_settle(
    file: &Path,
    manifest: &Manifest,
    partial: &Path,
    target: &Path,
) -> Result<i64, ArchiveError> {
    let movements = into(file, manifest, partial).await?;
    sound(partial).await?;
    settle(partial, target)
        .await
        .map_err(|why| ArchiveError::File {
            file: target.to_owned(),
            why,
        })?;
    Ok(movements)
}

fn unreadable(file: &Path, why: String) -> ArchiveError {
    ArchiveError::Unreadable {
        file: file.to_owned(),
        why,
    }
}

/// Makes a database of the archive's step and fills it: how many movements it holds.
async fn into(file: &Path, manifest: &Manifest, partial: &Path) -> Result<i64, ArchiveError> {
    let options = SqliteConnectOptions::new()
        .filename(partial)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .foreign_keys(true);
    let mut conn = SqliteConnection::connect_with(&options).await?;
    let steps = MIGRATIONS
        .iter()
        .filter(|step| step.version <= manifest.schema_step);
    let migrator = Migrator {
        migrations: Cow::Owned(steps.cloned().collect()),
        ..Migrator::DEFAULT
    };
    migrator
        .run(&mut conn)
        .await
        .map_err(|why| crate::db::OpenError::Migrate {
            file: partial.to_owned(),
            why,
        })?;
    let filled = fill(file, manifest, &mut conn).await;
    conn.close().await?;
    filled
}

async fn fill(
    file: &Path,
    manifest: &Manifest,
    conn: &mut SqliteConnection,
) -> Result<i64, ArchiveError> {
    let known = tables(conn).await?;
    let names = |tables: &[Table]| -> Vec<String> {
        let mut names: Vec<String> = tables.iter().map(|table| table.name.clone()).collect();
        names.sort();
        names
    };
    if names(&known) != names(&manifest.tables) {
        let why = format!(
            "its tables are not those of schema step {}.",
            manifest.schema_step
        );
        return Err(unreadable(file, why));
    }
    let mut tx = conn.begin().await?;
    // Rows come table by table; what refers to what is looked at when all are there.
    sqlx::query("PRAGMA defer_foreign_keys = ON")
        .execute(&mut *tx)
        .await?;
    // What triggers work out or write down is in the archive itself.
    let triggers: Vec<(String, String)> =
        sqlx::query_as("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY rowid")
            .fetch_all(&mut *tx)
            .await?;
    for (name, _) in &triggers {
        sqlx::query(AssertSqlSafe(format!("DROP TRIGGER \"{name}\"")))
            .execute(&mut *tx)
            .await?;
    }
    for table in &known {
        sqlx::query(table.statement(|name, _| format!("DELETE FROM {name}")))
            .execute(&mut *tx)
            .await?;
    }
    let mut left = MOST_TEXT;
    for table in &known {
        let told = manifest.tables.iter().find(|told| told.name == table.name);
        let told = told.map_or(0, |told| told.rows);
        let stored = take(file, table, &mut left, &mut tx).await?;
        if stored != told {
            let why = format!(
                "its table {} has {stored} rows, and archive.json says {told}.",
                table.name
            );
            return Err(unreadable(file, why));
        }
    }
    for (_, sql) in triggers {
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *tx).await?;
    }
    let fault = crate::db::sound::list_faults(&mut tx)
        .await?
        .into_iter()
        .next();
    if let Some(fault) = fault {
        return Err(unreadable(file, fault));
    }
    let movements = sqlx::query_scalar!("SELECT count(*) FROM movement")
        .fetch_one(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(movements)
}

/// Stores the rows of a table: how many.
async fn take(
    file: &Path,
    table: &Table,
    left: &mut u64,
    conn: &mut SqliteConnection,
) -> Result<u64, ArchiveError> {
    let before = *left;
    let (to, mut from) = mpsc::channel(ROWS_WAITING);
    let (archive, name) = (file.to_owned(), table.name.clone());
    let reading = tokio::task::spawn_blocking(move || {
        rows(&archive, &name, before, &to).unwrap_or_else(|why| {
            // Nobody to tell where nobody takes rows any more.
            let _ = to.blocking_send(Err(why));
            0
        })
    });
    let mut count = 0;
    while let Some(row) = from.recv().await {
        let mut row = row.map_err(|why| unreadable(file, why))?;
        count += 1;
        let wrong = |why: String| {
            let name = &table.name;
            unreadable(file, format!("row {count} of {name} {why}"))
        };
        let insert = table.statement(|name, columns| {
            let marks = vec!["?"; columns.len()].join(", ");
            format!(
                "INSERT INTO {name} ({}) VALUES ({marks})",
                columns.join(", ")
            )
        });
        let mut insert = sqlx::query(insert);
        for column in &table.columns {
            let cell = row.remove(column).and_then(Cell::read);
            let cell = cell.ok_or_else(|| wrong(format!("has no {column} that can be read.")))?;
            insert = match cell {
                Cell::Null => insert.bind(None::<i64>),
                Cell::Whole(whole) => insert.bind(whole),
                Cell::Real(real) => insert.bind(real),
                Cell::Text(text) => insert.bind(text),
                Cell::Bytes(bytes) => insert.bind(bytes),
            };
        }
        if let Some((strange, _)) = row.iter().next() {
            return Err(wrong(format!("has a {strange}, which is not known.")));
        }
        insert.execute(&mut *conn).await.map_err(|why| {
            // A rule of the schema: the row is at fault, not the database.
            if why.as_database_error().is_some() {
                wrong(format!("breaks a rule of the book ({why})."))
            } else {
                why.into()
            }
        })?;
    }
    *left = reading
        .await
        .map_err(|why| unreadable(file, why.to_string()))?;
    Ok(count)
}
