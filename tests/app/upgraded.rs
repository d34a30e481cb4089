//! A book kept under an older schema: opened by this program it is the same book.
//!
//! `tests/data/steps` has a small file for each step of the schema: what a program of that step could
//! have written on top of what the steps before it had left. One of them goes with each new migration.

use std::{borrow::Cow, collections::BTreeSet, fmt::Write as _, fs, path::Path};

use sqlx::{
    AssertSqlSafe, Connection as _, SqliteConnection,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode},
};
use tapewright::{
    db::{self, Db, movement::LogFilter},
    model::{
        id::{PartId, PlaceId},
        text::Name,
    },
    sample, stock,
    stock::{
        Act,
        planned::plan_now,
        receive::{Goods, Receive},
    },
};

use crate::{help::TestApp, sample::dump};

static STEPS: Migrator = sqlx::migrate!();

/// The first step whose balances hold what the ledger's lines sum to, of everything.
const FIRST: i64 = 6;

async fn said(conn: &mut SqliteConnection, sql: &str) -> Vec<String> {
    sqlx::query_scalar(AssertSqlSafe(sql))
        .fetch_all(conn)
        .await
        .unwrap()
}

async fn run(conn: &mut SqliteConnection, sql: String) {
    sqlx::raw_sql(AssertSqlSafe(sql))
        .execute(conn)
        .await
        .unwrap();
}

/// Writes a book as the program of that step would have kept it: the schema of that step, filled
/// with all that it had room for.
pub async fn write_older(book: &Path, step: i64, older: &Path) {
    let options = SqliteConnectOptions::new()
        .filename(older)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .foreign_keys(false);
    let mut conn = SqliteConnection::connect_with(&options).await.unwrap();
    let upto = STEPS.iter().filter(|one| one.version <= step).cloned();
    let migrator = Migrator {
        migrations: Cow::Owned(upto.collect()),
        ..Migrator::DEFAULT
    };
    migrator.run(&mut conn).await.unwrap();
    // What triggers would work out is copied with the rest.
    let triggers = "FROM sqlite_master WHERE type = 'trigger' ORDER BY rowid";
    let made = said(&mut conn, &format!("SELECT sql {triggers}")).await;
    for name in said(&mut conn, &format!("SELECT name {triggers}")).await {
        run(&mut conn, format!("DROP TRIGGER {name}")).await;
    }
    run(&mut conn, format!("ATTACH '{}' AS book", book.display())).await;
    let tables = "SELECT name FROM main.sqlite_master WHERE type = 'table' \
                  AND name NOT LIKE 'sqlite%' AND name != '_sqlx_migrations'";
    for table in said(&mut conn, tables).await {
        // What a later step keeps elsewhere has no way back: of the sample nothing is.
        let columns = format!(
            "SELECT name FROM pragma_table_info('{table}', 'main')
             INTERSECT SELECT name FROM pragma_table_info('{table}', 'book')"
        );
        let columns = said(&mut conn, &columns).await.join(", ");
        run(&mut conn, format!("DELETE FROM main.{table}")).await;
        let copy =
            format!("INSERT INTO main.{table} ({columns}) SELECT {columns} FROM book.{table}");
        run(&mut conn, copy).await;
    }
    for sql in made {
        run(&mut conn, sql).await;
    }
    conn.close().await.unwrap();
}

/// Every set with its holds, every part, and what is planned for every set.
async fn told(app: &TestApp, db: &Db) -> Vec<String> {
    let mut told = dump(db).await;
    let listed = {
        let mut tx = db.read().await.unwrap();
        db::design::list(&mut tx).await.unwrap()
    };
    for set in listed {
        let planned = plan_now(db, set.id, app.clock().today("UTC"))
            .await
            .unwrap();
        told.push(format!("{:?}", planned.plan));
    }
    told
}

#[tokio::test]
async fn a_book_of_each_older_step_is_brought_up_to_date_and_is_the_same_book() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let now = told(&app, app.db()).await;
    let last = STEPS.iter().map(|one| one.version).max().unwrap();
    assert!(FIRST < last);
    for step in FIRST..last {
        let folder = tempfile::tempdir().unwrap();
        write_older(app.db().file(), step, &folder.path().join(Db::FILE)).await;
        let db = Db::open(folder.path()).await.unwrap();
        // What was there before is kept, as it was.
        let kept = folder
            .path()
            .join(format!("backups/before-step-{last}-1.sqlite"));
        let mut conn = SqliteConnection::connect_with(
            &SqliteConnectOptions::new().filename(&kept).read_only(true),
        )
        .await
        .unwrap();
        let was: i64 = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
            .fetch_one(&mut conn)
            .await
            .unwrap();
        let steps = STEPS.iter().map(|one| one.version);
        assert_eq!(Some(was), steps.filter(|one| *one <= step).max());
        conn.close().await.unwrap();
        let found = stock::audit::audit(&db).await.unwrap();
        assert!(found.is_empty(), "from step {step}: {found:?}");
        let then = told(&app, &db).await;
        for (then, now) in then.iter().zip(&now) {
            assert_eq!(then, now, "from step {step}");
        }
        assert_eq!(then.len(), now.len(), "from step {step}");
        db.close().await;
    }
}

/// Writes the kept book of a step: each migration, and after each what was written under it.
async fn write_kept(step: i64, file: &Path) {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .foreign_keys(true);
    let mut conn = SqliteConnection::connect_with(&options).await.unwrap();
    for one in STEPS.iter().filter(|one| one.version <= step) {
        let upto = STEPS.iter().filter(|it| it.version <= one.version);
        let migrator = Migrator {
            migrations: Cow::Owned(upto.cloned().collect()),
            ..Migrator::DEFAULT
        };
        migrator.run(&mut conn).await.unwrap();
        let written = format!("tests/data/steps/{:04}.sql", one.version);
        let written = Path::new(env!("CARGO_MANIFEST_DIR")).join(written);
        let sql = fs::read_to_string(&written)
            .unwrap_or_else(|why| panic!("{}: {why}", written.display()));
        run(&mut conn, sql).await;
    }
    conn.close().await.unwrap();
}

/// What no later step changes: the whole ledger in words, parts, holds, orders, trials.
async fn lasting(db: &Db) -> Vec<String> {
    let mut tx = db.read().await.unwrap();
    let mut lines = Vec::new();
    let entries = db::movement::list(&mut tx, &LogFilter::default(), 1000).await;
    for entry in entries.unwrap() {
        let mut line = format!(
            "movement {} {} {} {} {}{:?}{:?}",
            entry.id,
            entry.on,
            entry.kind,
            entry.who,
            entry.reason.as_str(),
            entry.undoes,
            entry.mark
        );
        for it in entry.lines {
            let (from, to) = (it.from.words, it.to.words);
            write!(
                line,
                "; {} {:?} {:?} {from} > {to} {:?}",
                it.name, it.tag, it.amount, it.counted
            )
            .unwrap();
        }
        lines.push(line);
    }
    for part in db::part::list(&mut tx, None, true).await.unwrap() {
        lines.push(format!("{part:?}"));
    }
    for design in db::design::list(&mut tx).await.unwrap() {
        let holds = db::reservation::list(&mut tx, design.id).await.unwrap();
        lines.extend(holds.iter().map(|hold| format!("{hold:?}")));
    }
    for order in db::purchase::list(&mut tx, 100).await.unwrap() {
        lines.push(format!("{order:?}"));
    }
    lines
}

/// How many rows a file has in each table that tells something: not in what is summed or made of it.
async fn rows(file: &Path) -> Vec<(String, i64)> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut conn = SqliteConnection::connect_with(&options).await.unwrap();
    let tables = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'
                  AND name NOT IN ('_sqlx_migrations', 'account', 'balance', 'change')";
    let mut rows = Vec::new();
    for table in said(&mut conn, tables).await {
        let count = AssertSqlSafe(format!("SELECT count(*) FROM {table}"));
        let count = sqlx::query_scalar(count).fetch_one(&mut conn).await;
        rows.push((table, count.unwrap()));
    }
    conn.close().await.unwrap();
    rows
}

#[tokio::test]
async fn the_kept_book_of_every_step_comes_up_sound_and_tells_the_same() {
    let last = STEPS.iter().map(|one| one.version).max().unwrap();
    let folder = tempfile::tempdir().unwrap();
    write_kept(last, &folder.path().join(Db::FILE)).await;
    let newest = Db::open(folder.path()).await.unwrap();
    let all: BTreeSet<String> = lasting(&newest).await.into_iter().collect();
    let counted = |line: &&String| line.starts_with("movement") && line.contains(" count ");
    let counted: Vec<_> = all.iter().filter(counted).collect();
    for there in ["Some(17)", "Some(6)"] {
        assert!(
            counted.iter().any(|line| line.ends_with(there)),
            "{counted:#?}"
        );
    }
    let mut before = 0;
    for step in STEPS.iter().map(|one| one.version) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(Db::FILE);
        write_kept(step, &file).await;
        let had = rows(&file).await;
        let db = Db::open(folder.path()).await.unwrap();
        let has = rows(&file).await;
        for row in had {
            assert!(
                has.contains(&row),
                "from step {step}: {row:?} became {has:?}"
            );
        }
        let found = stock::audit::audit(&db).await.unwrap();
        assert!(found.is_empty(), "from step {step}: {found:?}");
        let told = lasting(&db).await;
        for line in &told {
            assert!(all.contains(line), "from step {step}: {line}\n{all:#?}");
        }
        assert!(
            told.len() >= before,
            "step {step} tells less than the one before"
        );
        before = told.len();
        // A shelf that is older than the ledger takes what comes.
        if step > 1 {
            let act = Act {
                db: db.clone(),
                who: Name::parse("Ines").unwrap(),
                now_ms: 1_780_000_000_000,
                today: "2026-05-29".parse().unwrap(),
                press: None,
            };
            let goods = Receive::new(PartId(3), PlaceId(2), Goods::Count(5));
            act.carry_out(&goods).await.unwrap();
            let found = stock::audit::audit(&db).await.unwrap();
            assert!(found.is_empty(), "from step {step}: {found:?}");
        }
        db.close().await;
    }
    assert_eq!(before, all.len());
}
