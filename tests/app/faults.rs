//! Bad days while the service runs: the disk fills, another program holds the file, the clock is set
//! back. Each says what happened and what was kept, and the service goes on.

use sqlx::{AssertSqlSafe, Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};
use tapewright::{sample, stock};

use crate::help::TestApp;

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

async fn places(app: &TestApp) -> usize {
    assert_eq!(app.get("/places").await.status, 200);
    let mut tx = app.db().read().await.unwrap();
    tapewright::db::place::list(&mut tx, true)
        .await
        .unwrap()
        .len()
}

#[tokio::test]
async fn a_full_disk_keeps_what_was_and_takes_more_once_there_is_room() {
    let app = hall().await;
    let before = places(&app).await;
    // SQLite's own limit on the file's size answers as a full disk does (SQLITE_FULL,
    // <https://www.sqlite.org/rescode.html#full>); the service has one connection that writes.
    let limit = async |most: String| {
        let mut tx = app.db().write().await.unwrap();
        let set =
            sqlx::query_scalar::<_, i64>(AssertSqlSafe(format!("PRAGMA max_page_count = {most}")))
                .fetch_one(&mut *tx)
                .await
                .unwrap();
        drop(tx);
        set
    };
    // Below what there is, it is set to what there is: no page can be added.
    limit("1".to_owned()).await;
    let note = "what was typed ".repeat(250);
    let mut refused = None;
    for number in 0..400 {
        let page = app.get("/places").await;
        let form = page.form("main form[method=post]");
        let sent = form
            .set("name", &format!("Shelf {number}"))
            .set("note", &note)
            .send(&app)
            .await;
        if sent.status != 303 {
            refused = Some((number, sent));
            break;
        }
    }
    let (stored, refused) = refused.expect("the disk is full at last");
    assert_eq!(refused.status, 507, "{}", refused.body);
    let said = refused.text("main");
    assert!(
        said.contains("full") && said.contains("Nothing was changed"),
        "{said}"
    );
    // What was there is read as before, and agrees.
    assert_eq!(places(&app).await, before + stored);
    assert_eq!(app.get("/").await.status, 200);
    let found = stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
    let asked = serde_json::json!({"name": "By program", "kind": "box", "note": note});
    let by_program = app.json("POST", "/api/v1/places", &[], &asked).await;
    assert_eq!(by_program.status, 507, "{}", by_program.body);
    // Room is made: the same goes through.
    limit(u32::MAX.to_string()).await;
    let page = app.get("/places").await;
    let form = page.form("main form[method=post]");
    let sent = form
        .set("name", "Shelf at last")
        .set("note", &note)
        .send(&app)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    assert_eq!(places(&app).await, before + stored + 1);
}

#[tokio::test]
async fn another_program_that_holds_the_file_is_waited_for_then_told_of() {
    let app = hall().await;
    let options = SqliteConnectOptions::new().filename(app.db().file());
    let mut other = SqliteConnection::connect_with(&options).await.unwrap();
    sqlx::query("BEGIN IMMEDIATE")
        .execute(&mut other)
        .await
        .unwrap();
    let before = places(&app).await;
    let page = app.get("/places").await;
    let form = page.form("main form[method=post]").set("name", "Held up");
    let refused = form.send(&app).await;
    assert_eq!(refused.status, 503, "{}", refused.body);
    assert!(refused.text("main").contains("busy. Nothing was changed"));
    // Reading goes on meanwhile.
    assert_eq!(places(&app).await, before);
    // Let go of within the time that is waited, the same form goes through, once.
    let go = tokio::spawn(async move {
        tokio::time::sleep(std::time::Duration::from_millis(700)).await;
        sqlx::query("ROLLBACK").execute(&mut other).await.unwrap();
        other.close().await.unwrap();
    });
    let sent = form.send(&app).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    go.await.unwrap();
    assert_eq!(places(&app).await, before + 1);
}

#[tokio::test]
async fn a_clock_that_was_set_back_is_told_on_every_page_and_nothing_is_lost() {
    let app = hall().await;
    let add = async |name: &str| {
        let page = app.get("/places").await;
        let form = page.form("main form[method=post]").set("name", name);
        form.send(&app).await
    };
    assert_eq!(add("Before").await.status, 303);
    assert_eq!(app.get("/cupboard").await.count(".strip[role=alert]"), 0);
    app.clock().set(jiff::civil::date(2026, 2, 1));
    for path in ["/", "/cupboard", "/designs", "/log"] {
        let said = app.get(path).await.text(".strip[role=alert]");
        assert!(said.contains("5 Mar 2026, 12:00"), "{path}: {said}");
    }
    // The book is written all the same, and agrees.
    let before = places(&app).await;
    let page = app.get("/cupboard?kind=driver").await;
    assert_eq!(page.status, 200);
    assert_eq!(add("After").await.status, 303);
    assert_eq!(places(&app).await, before + 1);
    let found = stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}
