//! Writing an archive: from one state of the database, while others write.

use std::{
    fs::File,
    io::{self, Write as _},
    path::Path,
    time::Duration,
};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use futures_util::TryStreamExt as _;
use serde_json::{Map, Value, json};
use sqlx::{
    Column as _, Connection as _, Row as _, SqliteConnection, TypeInfo as _, ValueRef as _,
    sqlite::{SqliteConnectOptions, SqliteRow},
};
use zip::{ZipWriter, write::SimpleFileOptions};

use super::{ArchiveError, FORMAT, Manifest, Table, VERSION, Written, tables};
use crate::{
    db::backup::{begin, exists, partial_of, settle},
    model::csv::harmless,
};

const README: &str = "\
A stock book of Tapewright, as text.

archive.json      what is in here: the format's version, the schema's step, tables, columns, rows
data/TABLE.jsonl  a table, one JSON object a line, by column
csv/TABLE.csv     the same for a spreadsheet; a cell that begins like a formula has ' before it

Whole numbers everywhere: lengths in micrometres (..._um), voltages in millivolts (..._mv), currents in
milliamperes (..._ma), money in the currency's smallest unit (..._minor), instants in milliseconds since
1970, UTC (..._ms), days as 2026-03-05 (..._on). Bytes are {\"base64\": \"...\"}.
movement and movement_line are the ledger: everything that ever moved. balance, part_total and counted are its sums.

People are named without their passwords. Sessions, invitations and keys of programs are left out.

The way back, into a new folder: Settings, Backup, or tapewright import ARCHIVE.zip --data NEWFOLDER
";

/// How much text is gathered before it is compressed.
const GATHERED: usize = 256 * 1024;

type Zip = ZipWriter<File>;

/// What takes the archive's text: compressed away from what serves requests.
struct Sink {
    zip: Option<Box<Zip>>,
    text: Vec<u8>,
}

impl Sink {
    async fn with(
        &mut self,
        work: impl FnOnce(&mut Zip) -> io::Result<()> + Send + 'static,
    ) -> io::Result<()> {
        let gone = || io::Error::other("the archive is closed");
        let mut zip = self.zip.take().ok_or_else(gone)?;
        let (zip, done) = tokio::task::spawn_blocking(move || {
            let done = work(&mut zip);
            (zip, done)
        })
        .await
        .map_err(io::Error::other)?;
        self.zip = Some(zip);
        done
    }

    async fn begin(&mut self, name: String) -> io::Result<()> {
        self.flush().await?;
        let options = SimpleFileOptions::default().large_file(true);
        self.with(move |zip| Ok(zip.start_file(name, options)?))
            .await
    }

    async fn put(&mut self, text: &[u8]) -> io::Result<()> {
        self.text.extend_from_slice(text);
        if self.text.len() >= GATHERED {
            self.flush().await?;
        }
        Ok(())
    }

    async fn flush(&mut self) -> io::Result<()> {
        let text = std::mem::take(&mut self.text);
        if text.is_empty() {
            return Ok(());
        }
        self.with(move |zip| zip.write_all(&text)).await
    }

    async fn finish(mut self) -> io::Result<()> {
        self.flush().await?;
        let zip = self.zip.take();
        tokio::task::spawn_blocking(move || {
            if let Some(zip) = zip {
                zip.finish()?;
            }
            Ok(())
        })
        .await
        .map_err(io::Error::other)?
    }
}

/// One value of a row.
fn value(row: &SqliteRow, at: usize) -> Result<Value, sqlx::Error> {
    let raw = row.try_get_raw(at)?;
    if raw.is_null() {
        return Ok(Value::Null);
    }
    Ok(match raw.type_info().name() {
        "INTEGER" => Value::from(row.try_get_unchecked::<i64, _>(at)?),
        "REAL" => Value::from(row.try_get_unchecked::<f64, _>(at)?),
        "BLOB" => json!({ "base64": STANDARD.encode(row.try_get_unchecked::<Vec<u8>, _>(at)?) }),
        _ => Value::from(row.try_get_unchecked::<String, _>(at)?),
    })
}

fn line(row: &SqliteRow) -> Result<Vec<u8>, sqlx::Error> {
    let mut object = Map::new();
    for column in row.columns() {
        object.insert(column.name().to_owned(), value(row, column.ordinal())?);
    }
    let mut text = Value::Object(object).to_string().into_bytes();
    text.push(b'\n');
    Ok(text)
}

fn cells(row: &SqliteRow) -> Result<Vec<String>, sqlx::Error> {
    let cell = |at| {
        Ok(match value(row, at)? {
            Value::Null => String::new(),
            Value::String(text) => harmless(&text),
            Value::Object(bytes) => bytes
                .get("base64")
                .and_then(Value::as_str)
                .unwrap_or_default()
                .to_owned(),
            number => number.to_string(),
        })
    };
    (0..row.len()).map(cell).collect()
}

fn record(cells: &[String]) -> io::Result<Vec<u8>> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(cells)?;
    writer
        .into_inner()
        .map_err(|why| io::Error::other(why.to_string()))
}

/// Why a table could not be put in.
enum Put {
    Db(sqlx::Error),
    File(io::Error),
}

impl From<sqlx::Error> for Put {
    fn from(error: sqlx::Error) -> Self {
        Self::Db(error)
    }
}

impl From<io::Error> for Put {
    fn from(error: io::Error) -> Self {
        Self::File(error)
    }
}

async fn put(conn: &mut SqliteConnection, table: &mut Table, sink: &mut Sink) -> Result<(), Put> {
    let key: Vec<String> =
        sqlx::query_scalar("SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk")
            .bind(&table.name)
            .fetch_all(&mut *conn)
            .await?;
    let select = || {
        table.statement(|name, columns| {
            let columns = columns.join(", ");
            format!("SELECT {columns} FROM {name} ORDER BY {}", key.join(", "))
        })
    };
    sink.begin(format!("data/{}.jsonl", table.name)).await?;
    let mut count = 0;
    {
        let mut rows = sqlx::query(select()).fetch(&mut *conn);
        while let Some(row) = rows.try_next().await? {
            sink.put(&line(&row)?).await?;
            count += 1;
        }
    }
    sink.begin(format!("csv/{}.csv", table.name)).await?;
    sink.put(&record(&table.columns)?).await?;
    {
        let mut rows = sqlx::query(select()).fetch(&mut *conn);
        while let Some(row) = rows.try_next().await? {
            sink.put(&record(&cells(&row)?)?).await?;
        }
    }
    table.rows = count;
    Ok(())
}

/// Writes the book of a database file into an archive that is not there yet; `today` is noted in it. No
/// half archive carries its name.
pub async fn write(database: &Path, target: &Path, today: &str) -> Result<Written, ArchiveError> {
    if !exists(database).await {
        return Err(ArchiveError::NoDatabase(database.to_owned()));
    }
    if exists(target).await {
        return Err(ArchiveError::Exists(target.to_owned()));
    }
    let failed = |why: io::Error| match why.kind() {
        io::ErrorKind::AlreadyExists => ArchiveError::Exists(target.to_owned()),
        _ => ArchiveError::File {
            file: target.to_owned(),
            why,
        },
    };
    let partial = partial_of(target);
    begin(&partial).await.map_err(failed)?;
    let written = match fill(database, &partial, today).await {
        Ok(rows) => settle(&partial, target)
            .await
            .map(|bytes| (bytes, rows))
            .map_err(Put::File),
        Err(why) => Err(why),
    };
    match written {
        Ok((bytes, rows)) => Ok(Written {
            file: target.to_owned(),
            bytes,
            rows,
        }),
        Err(why) => {
            // The reason is worth more than why the remains stay.
            let _ = tokio::fs::remove_file(&partial).await;
            Err(match why {
                Put::Db(error) => error.into(),
                Put::File(error) => failed(error),
            })
        }
    }
}

async fn fill(database: &Path, partial: &Path, today: &str) -> Result<u64, Put> {
    let file = tokio::fs::File::create(partial).await?.into_std().await;
    let mut sink = Sink {
        zip: Some(Box::new(ZipWriter::new(file))),
        text: Vec::new(),
    };
    let options = SqliteConnectOptions::new()
        .filename(database)
        .read_only(true)
        .busy_timeout(Duration::from_secs(5));
    let mut conn = SqliteConnection::connect_with(&options).await?;
    // One state of the database for all that is read.
    sqlx::query("BEGIN").execute(&mut conn).await?;
    sink.begin("README.txt".to_owned()).await?;
    sink.put(README.as_bytes()).await?;
    let mut tables = tables(&mut conn).await?;
    for table in &mut tables {
        put(&mut conn, table, &mut sink).await?;
    }
    let schema_step = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
        .fetch_one(&mut conn)
        .await?;
    conn.close().await?;
    let rows = tables.iter().map(|table| table.rows).sum();
    let manifest = Manifest {
        format: FORMAT.to_owned(),
        version: VERSION,
        schema_step,
        made_on: today.to_owned(),
        tables,
    };
    sink.begin("archive.json".to_owned()).await?;
    let text = serde_json::to_vec_pretty(&manifest).map_err(io::Error::other)?;
    sink.put(&text).await?;
    sink.finish().await?;
    Ok(rows)
}
