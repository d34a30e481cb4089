//! A book kept under an older schema: opened by this program it is the same book.

use std::{borrow::Cow, path::Path};

use sqlx::{
    AssertSqlSafe, Connection as _, SqliteConnection,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode},
};
use tapewright::{db::Db, sample, stock, stock::planned::plan_now};

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
        let columns = format!("SELECT name FROM pragma_table_info('{table}', 'main')");
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
        tapewright::db::design::list(&mut tx).await.unwrap()
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
