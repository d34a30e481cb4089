//! Pages that are kept in memory: none is ever older than what was committed.

use std::{
    collections::BTreeSet,
    sync::atomic::{AtomicBool, AtomicU64, Ordering},
    time::Duration,
};

use futures_util::future::join_all;
use tapewright::{db, db::Db, model::text::Name, sample};

use crate::help::{Page, TestApp};

/// Pages of the sample, one of each sort that is kept.
const PAGES: [&str; 22] = [
    "/",
    "/cupboard?kind=tape",
    "/search?q=tape",
    "/parts/1",
    "/parts/1/receive",
    "/parts/14/count",
    "/things/1",
    "/things/1/edit",
    "/things/3/cut",
    "/places",
    "/places/1",
    "/places/2/count",
    "/fixtures",
    "/calendar",
    "/shopping",
    "/suppliers",
    "/log",
    "/designs",
    "/designs/1",
    "/designs/1/bars",
    "/designs/2/cuts",
    "/designs/2/sheets/all",
];

/// Everything but the keys, which are each reader's own.
fn without_keys(page: &Page) -> String {
    let mut text = page.body.clone();
    for key in keys(page) {
        text = text.replace(&key, "key");
    }
    text
}

fn keys(page: &Page) -> Vec<String> {
    page.attributes("input[name=press]", "value")
}

#[tokio::test]
async fn a_page_asked_for_again_is_the_same_and_its_keys_are_fresh() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let other = app.other_browser();
    let mut seen = BTreeSet::new();
    for path in PAGES {
        let first = app.get(path).await;
        assert_eq!(first.status, 200, "{path}");
        let mut here: BTreeSet<String> = keys(&first).into_iter().collect();
        for again in [
            app.get(path).await,
            other.get(path).await,
            app.get(path).await,
        ] {
            assert_eq!(without_keys(&again), without_keys(&first), "{path}");
            assert_eq!(again.headers.len(), first.headers.len(), "{path}");
            assert_eq!(again.header("cache-control"), Some("no-store"), "{path}");
            let fresh: BTreeSet<String> = keys(&again).into_iter().collect();
            assert!(fresh.iter().all(|key| key.len() == 32), "{path}: {fresh:?}");
            assert!(fresh.is_disjoint(&here), "{path} hands a key out twice");
            here.extend(fresh);
        }
        assert!(here.is_disjoint(&seen), "{path} has another page's key");
        seen.extend(here);
    }
    assert!(seen.len() > 50, "only {} keys were seen", seen.len());
}

#[tokio::test]
async fn two_who_read_the_same_page_both_press() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let other = app.other_browser();
    let (mine, theirs) = (app.get("/places").await, other.get("/places").await);
    for (page, browser, name) in [(mine, &*app, "Loft"), (theirs, &other, "Cellar")] {
        let page = page
            .form("form.form")
            .set("name", name)
            .set("kind", "room")
            .send(browser)
            .await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
    }
    let places = app.get("/places").await.text("main");
    assert!(
        places.contains("Loft") && places.contains("Cellar"),
        "{places}"
    );
}

#[tokio::test]
async fn each_commit_shows_at_once() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    for path in PAGES {
        app.get(path).await;
    }
    for number in 1..=3 {
        let name = format!("Loft {number}");
        let fields = [("name", name.as_str()), ("kind", "room"), ("parent", "")];
        assert_eq!(app.post("/places", &fields).await.status, 303);
        // The message belongs to the first page after the change, and to no later one.
        let told = app.get("/places").await;
        assert_eq!(told.count("#flash .note"), 1);
        let page = app.get("/places").await;
        assert_eq!(page.count("#flash .note"), 0);
        assert!(page.text("main").contains(&name), "{}", page.text("main"));
        let page = app.get("/cupboard").await;
        assert!(page.text("select[name=place]").contains(&name));
    }
}

#[tokio::test]
async fn what_another_process_commits_shows_at_once() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    for path in PAGES {
        app.get(path).await;
    }
    let other = Db::open_file(app.db().file()).await.unwrap();
    for name in ["Mill Barn", "Weir House"] {
        let mut tx = other.write().await.unwrap();
        let mut venue = db::venue::lookup(&mut tx).await.unwrap();
        venue.name = Name::parse(name).unwrap();
        // East of the date line it is the next day already.
        venue.zone = "Pacific/Kiritimati".to_owned();
        assert!(db::venue::change(&mut tx, &venue).await.unwrap());
        tx.commit().await.unwrap();
        for path in PAGES {
            let page = app.get(path).await;
            assert_eq!(page.text("a.mast small"), name, "{path}");
        }
    }
    let page = app.json("GET", "/api/v1/venue", &[], &serde_json::Value::Null);
    assert_eq!(page.await.value()["name"], "Weir House");
}

#[tokio::test]
async fn a_new_day_shows_at_once() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let fields = [("borrower", "The school"), ("due_on", "2026-03-08")];
    assert_eq!(app.post("/things/1/lend", &fields).await.status, 303);
    let marks = async || app.get("/").await.text(".attention");
    // The first has the message of the loan.
    app.get("/").await;
    for _ in 0..2 {
        assert!(marks().await.contains("due back"), "{}", marks().await);
    }
    app.clock().set(jiff::civil::date(2026, 3, 9));
    assert!(marks().await.contains("overdue"), "{}", marks().await);
    app.clock().set(jiff::civil::date(2026, 3, 5));
    assert!(marks().await.contains("due back"), "{}", marks().await);
}

#[tokio::test]
async fn each_reader_sees_their_own_name() {
    let app = TestApp::new().await;
    let other = app.other_browser();
    app.post("/who", &[("name", "Ada")]).await;
    other.post("/who", &[("name", "Bo")]).await;
    let third = app.other_browser();
    for _ in 0..3 {
        for (browser, name) in [(&*app, "Ada"), (&other, "Bo"), (&third, "")] {
            assert_eq!(browser.get("/cupboard").await.text("footer strong"), name);
        }
    }
}

#[tokio::test]
async fn many_who_ask_at_once_see_what_was_acknowledged_before_and_no_name_but_their_own() {
    let app = TestApp::new().await;
    let fields = [("name", "Loft 0"), ("kind", "room"), ("parent", "")];
    assert_eq!(app.post("/places", &fields).await.status, 303);
    app.get("/places").await;
    let (acknowledged, done) = (AtomicU64::new(0), AtomicBool::new(false));
    let mut readers = Vec::new();
    for number in 0..16 {
        let browser = app.other_browser();
        let name = ["Ada", "Bo", "Cy"][number % 3];
        browser.post("/who", &[("name", name)]).await;
        readers.push((browser, name));
    }
    let asks = readers.iter().map(|(browser, name)| {
        let acknowledged = &acknowledged;
        async move {
            // The first page has the message of the name that was given.
            browser.get("/places").await;
            for _ in 0..20 {
                let before = acknowledged.load(Ordering::SeqCst);
                let page = browser.get("/places").await;
                let text = page.text("main");
                let (_, shown) = text.split_once("Loft ").expect("the loft");
                let digits: String = shown.chars().take_while(char::is_ascii_digit).collect();
                let shown: u64 = digits.parse().expect("its number");
                assert!(shown >= before, "{shown} is shown, {before} was stored");
                assert_eq!(page.text("footer strong"), *name);
            }
        }
    });
    let writes = async {
        while !done.load(Ordering::SeqCst) {
            let next = acknowledged.load(Ordering::SeqCst) + 1;
            let mut tx = app.db().write().await.unwrap();
            sqlx::query("UPDATE place SET name = 'Loft ' || ? WHERE name LIKE 'Loft %'")
                .bind(i64::try_from(next).unwrap())
                .execute(&mut *tx)
                .await
                .unwrap();
            tx.commit().await.unwrap();
            acknowledged.store(next, Ordering::SeqCst);
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    let reads = async {
        join_all(asks).await;
        done.store(true, Ordering::SeqCst);
    };
    tokio::join!(reads, writes);
    let stored = acknowledged.load(Ordering::SeqCst);
    assert!(stored > 4, "only {stored} were stored meanwhile");
}
