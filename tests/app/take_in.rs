//! The first hour: a whole system ticked at once, what lies there typed on one page, and a set
//! planned before any price is known.

use tapewright::{db, model::ready_made};

use crate::help::TestApp;

/// Ticks what goes with one tape, as the page offers it.
async fn tick_system(app: &TestApp, tape: &str) {
    let page = app
        .get(format!("/parts/ready-made?with={tape}&tick=system"))
        .await;
    assert!(page.count("input[name=key][checked]") > 10);
    let page = page.form("main form").send(app).await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    assert_eq!(page.header("location"), Some("/take-in"));
}

async fn field_of(app: &TestApp, name: &str) -> String {
    let mut tx = app.db().read().await.unwrap();
    let part = db::part::find_by_name(&mut tx, name)
        .await
        .unwrap()
        .unwrap();
    format!("part-{}", part.id)
}

/// Whether pieces of tape begin with a lead.
async fn leads(app: &TestApp, tags: &[&str]) -> Vec<bool> {
    let mut tx = app.db().read().await.unwrap();
    let mut leads = Vec::new();
    for tag in tags {
        let tag = tapewright::model::text::Tag::parse(tag).unwrap();
        let thing = db::thing::find_by_tag(&mut tx, &tag).await.unwrap();
        let thing = thing.unwrap_or_else(|| panic!("no {tag}"));
        let piece = db::piece::lookup(&mut tx, thing.id).await.unwrap().unwrap();
        leads.push(piece.piece.start.connector().is_some());
    }
    leads
}

const TAPE: &str = "tape-rgbw-24v-12mm";

#[tokio::test]
pub async fn what_is_there_is_typed_on_one_page_and_undone_as_one() {
    let app = TestApp::new().await;
    tick_system(&app, TAPE).await;
    let tape = field_of(&app, ready_made::find(TAPE).unwrap().name.as_str()).await;
    let lead = field_of(&app, "Lead five-pin, female").await;
    let driver = field_of(&app, "DMX driver 8 × 4 channels").await;
    let page = app.get("/take-in").await;
    let page = page
        .form("form.take-in")
        .set("room", "Loft")
        .set(&tape, "2 x 5 m, 1.3 m")
        .set(&lead, "12")
        .set(&driver, "1")
        .send(&app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let page = app.follow(&page).await;
    assert!(page.text("#flash").contains("3 parts put into stock"));
    assert!(page.text("#stock").contains("Loft"));

    // A length that is sold came with its leads; the offcut is bare.
    assert_eq!(
        leads(&app, &["R-1", "R-2", "O-1"]).await,
        [true, true, false]
    );

    let undone = page.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303);
    let page = app.get("/cupboard").await;
    assert!(!page.text("#stock").contains("Loft"));
}

#[tokio::test]
async fn a_roll_typed_in_inches_as_the_page_shows_it_is_a_roll() {
    let app = TestApp::new().await;
    tick_system(&app, TAPE).await;
    let settings = app.get("/settings").await;
    let form = settings.form("main form").set("length_unit", "in");
    assert_eq!(form.send(&app).await.status, 303);
    let tape = field_of(&app, ready_made::find(TAPE).unwrap().name.as_str()).await;
    let page = app.get("/take-in").await;
    let hint = page.text(&format!("#{tape}-hint"));
    let shown = hint.split("sold in ").nth(1).unwrap();
    let shown = shown.split(", ").next().unwrap();
    let form = page.form("form.take-in").set("room", "Loft");
    let form = form.set(&tape, &format!("{shown}, 10 ft"));
    assert_eq!(form.send(&app).await.status, 303);
    assert_eq!(leads(&app, &["R-1", "O-1"]).await, [true, false], "{shown}");
}

#[tokio::test]
async fn a_refused_page_comes_back_as_typed_and_keeps_nothing() {
    let app = TestApp::new().await;
    tick_system(&app, TAPE).await;
    let tape = field_of(&app, ready_made::find(TAPE).unwrap().name.as_str()).await;
    let lead = field_of(&app, "Lead five-pin, female").await;
    for (pieces, count) in [
        ("5 parsecs", "12"),
        ("5 m", "-3"),
        ("600 x 5 m", "12"),
        ("", ""),
    ] {
        let page = app.get("/take-in").await;
        let page = page
            .form("form.take-in")
            .set("room", "Loft")
            .set(&tape, pieces)
            .set(&lead, count)
            .send(&app)
            .await;
        assert_eq!(page.status, 422, "{pieces} {count}");
        assert!(page.count(".error, .note.stop") > 0);
        assert_eq!(page.form("form.take-in").value(&tape), Some(pieces));
    }
    let mut tx = app.db().read().await.unwrap();
    assert!(db::place::list(&mut tx, true).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_first_set_without_prices_counts_everything_that_its_bars_need() {
    let app = TestApp::new().await;
    tick_system(&app, TAPE).await;
    let page = app.get("/designs/new").await;
    let page = page
        .form("form[data-draft]")
        .set("name", "The Clockmaker")
        .send(&app)
        .await;
    let bars = page.header("location").unwrap().to_owned();
    let page = app.get(&bars).await;
    // Half a cut unit, 100 mm, off: a mark is near enough for any length.
    let form = page.form("#add form");
    assert_eq!(form.value("shorter"), Some("50 mm"));
    let form = form.set("length", "1.2 m").set("count", "8");
    assert_eq!(form.set("channels", "RGBW").send(&app).await.status, 303);
    let set = bars.trim_end_matches("/bars");
    let page = app.get(format!("{set}/shortfall")).await;
    let text = page.text("main");
    assert!(!text.contains("Bars that nothing serves"), "{text}");
    // Eight bars of 1.2 m come from two rolls of 5 m as from one of 10 m; two have more leads.
    assert!(text.contains("2 × 5000 mm"), "{text}");
    assert!(text.contains("no price yet"), "{text}");
    // Whoever is to sign reads the same, not that it costs nothing.
    let cost = app.get(format!("{set}/sheets/cost")).await.text("main");
    assert!(cost.contains("so the sum is not known"), "{cost}");
    assert!(!cost.contains("Nothing has to be bought") && !cost.contains("free"));
    for what in [
        "Cable 5 × 18 AWG",
        "DMX driver 8 × 4 channels",
        "Supply 24 V, 150 W",
    ] {
        assert!(text.contains(what), "{what}: {text}");
    }
}
