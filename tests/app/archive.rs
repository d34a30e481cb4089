//! The open archive: out, back, the same book; and what is no archive leaves nothing behind.

use std::{
    collections::BTreeMap,
    fs::File,
    io::{Read as _, Write as _},
    path::Path,
};

use sqlx::{AssertSqlSafe, Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};
use tapewright::{
    db::{Db, archive},
    model::person::Role,
    sample, stock,
};
use zip::{ZipArchive, ZipWriter, write::SimpleFileOptions};

use crate::{help::TestApp, upgraded::write_older};

/// What only the program needs at one place, which an archive leaves out.
const LEFT_OUT: [&str; 9] = [
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

/// Every row of every table as SQL would write it, but what an archive leaves out.
pub async fn rows(file: &Path) -> BTreeMap<String, Vec<String>> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut conn = SqliteConnection::connect_with(&options).await.unwrap();
    let names: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'",
    )
    .fetch_all(&mut conn)
    .await
    .unwrap();
    let mut all = BTreeMap::new();
    for name in names {
        if LEFT_OUT.contains(&name.as_str()) {
            continue;
        }
        let columns: Vec<String> = sqlx::query_scalar("SELECT name FROM pragma_table_info(?)")
            .bind(&name)
            .fetch_all(&mut conn)
            .await
            .unwrap();
        let secret = |column: &&String| ["password", "pin"].contains(&column.as_str());
        let columns: Vec<String> = (columns.iter().filter(|column| !secret(column)))
            .map(|column| format!("quote(\"{column}\")"))
            .collect();
        let sql = format!(
            "SELECT concat_ws(',', {}) FROM \"{name}\" ORDER BY 1",
            columns.join(", ")
        );
        let found: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql))
            .fetch_all(&mut conn)
            .await
            .unwrap();
        all.insert(name, found);
    }
    conn.close().await.unwrap();
    all
}

pub fn entries(file: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut zip = ZipArchive::new(File::open(file).unwrap()).unwrap();
    (0..zip.len())
        .map(|at| {
            let mut entry = zip.by_index(at).unwrap();
            let mut bytes = Vec::new();
            entry.read_to_end(&mut bytes).unwrap();
            (entry.name().unwrap().into_owned(), bytes)
        })
        .collect()
}

pub fn zipped(file: &Path, entries: &BTreeMap<String, Vec<u8>>) {
    let mut zip = ZipWriter::new(File::create(file).unwrap());
    for (name, bytes) in entries {
        zip.start_file(name.as_str(), SimpleFileOptions::default())
            .unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap();
}

#[tokio::test]
async fn a_book_goes_out_and_comes_back_as_the_same_book_without_its_secrets() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app.add_person("Ada", Role::Keep).await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.zip");
    let written = archive::write(app.db().file(), &file, "2026-03-05")
        .await
        .unwrap();
    assert_eq!(written.bytes, std::fs::metadata(&file).unwrap().len());

    let inside = entries(&file);
    let all: Vec<u8> = inside.values().flatten().copied().collect();
    let all = String::from_utf8(all).unwrap();
    assert!(!all.contains("argon2"), "a password went out");
    // Each table is there twice, and says what it holds.
    let parts = String::from_utf8(inside["data/part.jsonl"].clone()).unwrap();
    let first: serde_json::Value = serde_json::from_str(parts.lines().next().unwrap()).unwrap();
    assert!(first["name"].is_string() && first["id"].is_i64());
    let mut sheet = csv::Reader::from_reader(inside["csv/part.csv"].as_slice());
    assert_eq!(sheet.records().count(), parts.lines().count());

    let again = folder.path().join("again");
    let back = archive::read(&file, &again).await.unwrap();
    let target = again.join(Db::FILE);
    assert!(back.movements > 50);
    let (was, is) = (rows(app.db().file()).await, rows(&target).await);
    assert!(was["movement"].len() > 50 && was["change"].len() > 50);
    for (table, rows) in &was {
        assert_eq!(rows, &is[table], "{table}");
    }
    assert_eq!(was.len(), is.len());
    let count: u64 = was.values().map(|rows| rows.len() as u64).sum();
    assert_eq!(written.rows, count);

    // It is a book like any other: whole, with all its rules, open to the next change.
    let db = Db::open(&again).await.unwrap();
    let found = stock::audit::audit(&db).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
    let mut tx = db.write().await.unwrap();
    let refused = sqlx::query("DELETE FROM movement").execute(&mut *tx).await;
    assert!(refused.is_err(), "the ledger is append-only again");
    drop(tx);
    db.close().await;

    // Never over what is there.
    let refused = archive::read(&file, &again).await.unwrap_err();
    assert!(refused.to_string().contains("already"), "{refused}");
    let refused = archive::write(app.db().file(), &file, "2026-03-05").await;
    assert!(refused.unwrap_err().to_string().contains("already"));
}

#[tokio::test]
async fn an_archive_of_an_older_step_comes_back_brought_up_to_date() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let folder = tempfile::tempdir().unwrap();
    for step in [6, 12] {
        let older = folder.path().join(format!("older-{step}.sqlite"));
        write_older(app.db().file(), step, &older).await;
        let file = folder.path().join(format!("{step}.zip"));
        archive::write(&older, &file, "2026-03-05").await.unwrap();
        let again = folder.path().join(format!("again-{step}"));
        archive::read(&file, &again).await.unwrap();
        let (was, is) = (
            rows(app.db().file()).await,
            rows(&again.join(Db::FILE)).await,
        );
        for table in ["movement_line", "hold", "bar", "piece", "balance", "part"] {
            assert_eq!(was[table], is[table], "step {step}: {table}");
        }
    }
}

#[tokio::test]
async fn what_is_no_whole_archive_says_why_and_leaves_nothing() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let folder = tempfile::tempdir().unwrap();
    let good = folder.path().join("good.zip");
    archive::write(app.db().file(), &good, "2026-03-05")
        .await
        .unwrap();
    let bytes = std::fs::read(&good).unwrap();
    let whole = entries(&good);
    let text = |name: &str| String::from_utf8(whole[name].clone()).unwrap();
    let manifest = text("archive.json");
    let changed = |name: &str, to: String| {
        let mut inside = whole.clone();
        inside.insert(name.to_owned(), to.into_bytes());
        let file = folder.path().join("changed.zip");
        zipped(&file, &inside);
        std::fs::read(file).unwrap()
    };
    let without = |name: &str| {
        let mut inside = whole.clone();
        inside.remove(name);
        let file = folder.path().join("changed.zip");
        zipped(&file, &inside);
        std::fs::read(file).unwrap()
    };
    let lines = |name: &str, change: &dyn Fn(&mut Vec<String>)| {
        let mut lines: Vec<String> = text(name).lines().map(ToOwned::to_owned).collect();
        change(&mut lines);
        changed(name, lines.join("\n") + "\n")
    };
    let step = format!("\"schema_step\": {}", {
        let value: serde_json::Value = serde_json::from_str(&manifest).unwrap();
        value["schema_step"].clone()
    });
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("text", b"not a zip at all".to_vec(), "no whole zip file"),
        (
            "half",
            bytes[..bytes.len() / 2].to_vec(),
            "no whole zip file",
        ),
        ("no manifest", without("archive.json"), "no archive.json"),
        (
            "another kind",
            changed(
                "archive.json",
                manifest.replace("tapewright archive", "pictures"),
            ),
            "something else",
        ),
        (
            "newer",
            changed(
                "archive.json",
                manifest.replace(&step, "\"schema_step\": 900"),
            ),
            "newer",
        ),
        (
            "a format to come",
            changed(
                "archive.json",
                manifest.replacen("\"version\": 1", "\"version\": 2", 1),
            ),
            "version 2",
        ),
        (
            "older tables",
            changed(
                "archive.json",
                manifest.replace(&step, "\"schema_step\": 5"),
            ),
            "tables are not those",
        ),
        (
            "a table missing",
            without("data/bar.jsonl"),
            "no data/bar.jsonl",
        ),
        (
            "a row missing",
            lines("data/movement_line.jsonl", &|lines| {
                lines.pop();
            }),
            "rows, and archive.json says",
        ),
        (
            "no JSON",
            lines("data/bar.jsonl", &|lines| lines[3] = "{".to_owned()),
            "line 4 of data/bar.jsonl",
        ),
        (
            "a strange column",
            lines("data/bar.jsonl", &|lines| {
                lines[0] = lines[0].replacen('{', "{\"id) DROP\":1,", 1);
            }),
            "is not known",
        ),
        (
            "a column missing",
            lines("data/bar.jsonl", &|lines| {
                lines[0] = lines[0].replace("\"label\":", "\"lable\":");
            }),
            "no label",
        ),
        (
            "twice the same",
            lines("data/bar.jsonl", &|lines| lines[1] = lines[0].clone()),
            "breaks a rule",
        ),
        (
            "refers to nothing",
            lines("data/bar.jsonl", &|lines| {
                let at = lines[0].find("\"design_id\":").unwrap();
                lines[0].insert_str(at + 12, "99");
            }),
            "refers to a design",
        ),
        (
            "sums that are none",
            lines("data/balance.jsonl", &|lines| {
                let at = lines
                    .iter()
                    .position(|line| line.contains("\"amount\":"))
                    .unwrap();
                let digit = lines[at].find("\"amount\":").unwrap() + 9;
                let sign = usize::from(lines[at].as_bytes()[digit] == b'-');
                lines[at].insert(digit + sign, '1');
            }),
            "does not agree with itself",
        ),
    ];
    for (name, bytes, why) in cases {
        let file = folder.path().join("bad.zip");
        std::fs::write(&file, bytes).unwrap();
        let target = folder.path().join(format!("into {name}"));
        let refused = archive::read(&file, &target).await.unwrap_err().to_string();
        assert!(refused.contains(why), "{name}: {refused}");
        let left = std::fs::read_dir(&target).map_or(0, Iterator::count);
        assert_eq!(left, 0, "{name} left something behind");
    }
    let missing = archive::read(&folder.path().join("none.zip"), &folder.path().join("x")).await;
    assert!(
        missing
            .unwrap_err()
            .to_string()
            .contains("cannot be opened")
    );
}
