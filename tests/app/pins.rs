//! What people choose by hand, on the pages Reuse, Cuts and Shopping, and why the plan chose so.

use serde_json::{Value, json};
use tapewright::sample;

use crate::help::{Page, TestApp};

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// The sample's draft for which something is cut and bought.
const SET: &str = "/designs/3";

/// The tags of the pieces that the set cuts.
fn cut(page: &Page) -> Vec<String> {
    page.texts("div.stack h3 a.tag")
}

#[tokio::test]
pub async fn a_piece_is_left_alone_with_a_reason_and_taken_again() {
    let app = hall().await;
    let before = app.get(format!("{SET}/cuts")).await;
    let tag = cut(&before)[0].clone();
    let form = before.form("#pin form").set("do", "leave");
    let thing = before
        .attributes("div.stack h3 a.tag", "href")
        .first()
        .and_then(|href| href.rsplit('/').next().map(str::to_owned))
        .unwrap();
    // What cannot be read comes back as it was typed, with the message at its field.
    let long = "x".repeat(4_001);
    let wrong = form
        .clone()
        .set("thing", &thing)
        .set("note", &long)
        .send(&app)
        .await;
    assert_eq!(wrong.status, 422);
    let again = wrong.form("#pin form");
    assert_eq!(again.value("note"), Some(&*long));
    assert_eq!(again.value("thing"), Some(&*thing));
    assert_eq!(wrong.count("#note-error"), 1);
    let none = form.clone().set("note", "kept for spring").send(&app).await;
    assert_eq!(none.status, 422);
    assert_eq!(none.count("#thing-error"), 1);
    assert_eq!(
        none.form("#pin form").value("note"),
        Some("kept for spring")
    );

    let done = form
        .set("thing", &thing)
        .set("note", "kept for spring")
        .send(&app)
        .await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let pinned = app.follow(&done).await;
    assert!(!cut(&pinned).contains(&tag), "{:?}", cut(&pinned));
    let row = pinned.text("#pins .row");
    assert!(
        row.contains(&tag) && row.contains("kept for spring"),
        "{row}"
    );
    // It says what that costs, or that it costs nothing, from two plans.
    assert!(
        row.contains("Because of this choice:") || row.contains("It costs nothing"),
        "{row}"
    );
    let taken = pinned
        .form("#pins .row form")
        .set("do", "take")
        .send(&app)
        .await;
    assert_eq!(taken.status, 303);
    let after = app.follow(&taken).await;
    assert_eq!(cut(&after), cut(&before));
    assert_eq!(after.count("#pins .row"), 0);
}

#[tokio::test]
async fn only_a_fixture_is_picked_for_a_bar_and_all_choices_are_taken_back_at_once() {
    let app = hall().await;
    let first = |page: &Page| {
        page.attributes("#pin select[name=thing] option", "value")
            .into_iter()
            .find(|value| !value.is_empty())
            .unwrap()
    };
    let reuse = app.get(format!("{SET}/reuse")).await;
    let form = reuse.form("#pin form").set("do", "leave");
    let done = form.set("thing", &first(&reuse)).send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let cuts = app.get(format!("{SET}/cuts")).await;
    let roll = first(&cuts);

    let design = format!("/api/v1{SET}");
    let whole = app.json("GET", &design, &[], &Value::Null).await.value();
    let bar = &whole["bars"][0]["id"];
    let pick = json!({ "fixture": roll.parse::<i64>().unwrap() });
    let refused = app
        .json(
            "POST",
            format!("{design}/bars/{bar}/pick"),
            &[("tapewright-who", "Ada")],
            &pick,
        )
        .await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(
        refused.body.contains("Only a finished fixture"),
        "{}",
        refused.body
    );

    let form = cuts.form("#pin form").set("do", "leave");
    let done = form.set("thing", &roll).send(&app).await;
    assert_eq!(done.status, 303);
    let pinned = app.follow(&done).await;
    assert!(
        pinned
            .text("#pins")
            .contains("All choices of this set together")
    );
    let out = pinned
        .form("#pins > form")
        .set("do", "all")
        .send(&app)
        .await;
    assert_eq!(out.status, 303, "{}", out.text("main"));
    for page in ["reuse", "cuts"] {
        let after = app.get(format!("{SET}/{page}")).await;
        assert_eq!(after.count("#pins .row"), 0);
    }
}

#[tokio::test]
async fn nothing_is_bought_from_a_supplier_left_out_neither_here_nor_for_all_sets() {
    let app = hall().await;
    let before = app.get(format!("{SET}/shopping")).await;
    let names = before.texts("main section h2 a");
    let name = names[0].clone();
    let form = before.form("#pin form").set("do", "not-from");
    let value = before
        .attributes("main section h2 a", "href")
        .first()
        .and_then(|href| href.rsplit('/').next().map(str::to_owned))
        .unwrap();
    let done = form.set("supplier", &value).send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let pinned = app.follow(&done).await;
    assert!(!pinned.texts("main section h2 a").contains(&name));
    assert!(pinned.text("#pins .row").contains(&name));
    let all = app.get("/shopping").await;
    assert!(
        all.text("main").contains("as chosen there"),
        "{}",
        all.text("main")
    );
    let copy = app
        .get(format!("{SET}/copy"))
        .await
        .form("main form")
        .send(&app)
        .await;
    let set = copy.header("location").unwrap().to_owned();
    let copied = app.get(format!("{set}/shopping")).await;
    assert!(copied.text("#pins .row").contains(&name), "a copy keeps it");
    let taken = pinned
        .form("#pins .row form")
        .set("do", "from")
        .send(&app)
        .await;
    let after = app.follow(&taken).await;
    assert_eq!(after.texts("main section h2 a"), names);
}

#[tokio::test]
async fn a_fixture_that_is_out_can_not_be_kept_to_and_says_so_until_taken_out() {
    let app = hall().await;
    let before = app.get("/designs/2/reuse").await;
    let tag = before.texts(".row-name a.tag")[0].clone();
    let href = before.attributes(".row-name a.tag", "href")[0].clone();
    let keep = before.form("form[action$='/reuse/pick']").set("do", "pin");
    assert_eq!(keep.send(&app).await.status, 303);
    let kept = app.get("/designs/2/reuse").await;
    let row = kept.text("#pins .row");
    assert!(
        row.contains(&tag) && !row.contains("can’t be kept"),
        "{row}"
    );
    // It dies.
    let page = app.get(&href).await;
    let mark = page.form("form[action$='/mark']").set("condition", "dead");
    let dead = mark.send(&app).await;
    assert_eq!(dead.status, 303, "{}", dead.text("main"));
    let broken = app.get("/designs/2/reuse").await;
    let row = broken.text("#pins .row");
    assert!(
        row.contains("can’t be kept") && row.contains("dead"),
        "{row}"
    );
    let free = broken
        .form("#pins .row form")
        .set("do", "unpin")
        .send(&app)
        .await;
    assert_eq!(free.status, 303, "{}", free.text("main"));
    let after = app.get("/designs/2/reuse").await;
    assert_eq!(after.count("#pins .row"), 0);
}

#[tokio::test]
async fn buttons_that_say_nothing_and_stale_versions_change_nothing() {
    let app = hall().await;
    let page = app.get(format!("{SET}/cuts")).await;
    let form = page.form("#pin form").set("do", "leave");
    for (field, value, said) in [
        ("do", "fly", "says nothing"),
        ("thing", "99999", "no longer there"),
        ("thing", "rope", "list"),
    ] {
        let page = form
            .clone()
            .set("thing", "1")
            .set(field, value)
            .send(&app)
            .await;
        assert_eq!(page.status, 422, "{field}={value}");
        let told = page.text("main");
        assert!(told.contains(said), "{field}={value}: {told}");
    }
    let stale = form
        .clone()
        .set("thing", "1")
        .set("version", "999")
        .send(&app)
        .await;
    assert_eq!(stale.status, 412);
    let now = app.get(format!("{SET}/cuts")).await;
    assert_eq!(now.count("#pins .row"), 0);
}

#[tokio::test]
async fn why_is_answered_from_the_set_planned_again() {
    let app = hall().await;
    let cuts = app.get(format!("{SET}/cuts")).await;
    let asks = cuts.attributes("a[href*='/cuts/why/']", "href");
    let why = app.get(&asks[0]).await;
    assert_eq!(why.status, 200);
    let text = why.text("main");
    assert!(text.contains("The other way"), "{text}");
    assert!(text.contains("proven"), "{text}");
    // Its button leaves the piece alone.
    let done = why.form("main form.press").send(&app).await;
    assert_eq!(done.status, 303);
    assert_eq!(app.follow(&done).await.count("#pins .row"), 1);

    let shopping = app.get(format!("{SET}/shopping")).await;
    let asks = shopping.attributes("a[href*='/shopping/why/']", "href");
    let why = app.get(&asks[0]).await;
    assert_eq!(why.status, 200);
    assert!(
        why.text("main").contains("The whole list costs"),
        "{}",
        why.text("main")
    );
    assert_eq!(why.count("main section h2"), 3);

    let reuse = app.get("/designs/2/reuse").await;
    let asks = reuse.attributes("a[href*='/reuse/why/']", "href");
    let why = app.get(&asks[0]).await;
    assert_eq!(why.status, 200);
    assert!(
        why.text("main").contains("is served by"),
        "{}",
        why.text("main")
    );
    assert!(why.count("main section h2") >= 2, "{}", why.text("main"));

    for gone in [
        format!("{SET}/cuts/why/99999"),
        format!("{SET}/reuse/why/99999"),
        format!("{SET}/shopping/why/99999"),
        "/designs/99/cuts/why/1".to_owned(),
    ] {
        assert_eq!(app.get(&gone).await.status, 404, "{gone}");
    }
    // A set that is over keeps its plan: nothing is worked out for it.
    let bar = app
        .get("/designs/1/bars")
        .await
        .attributes("a[href*='/bars/']", "href");
    let number = bar[0].rsplit('/').next().unwrap().to_owned();
    let over = app.get(format!("/designs/1/reuse/why/{number}")).await;
    assert_eq!(over.status, 409);
}

#[tokio::test]
async fn what_a_near_miss_would_save_is_worked_out_when_asked() {
    let app = hall().await;
    let page = app.get("/designs/2/reuse").await;
    let bar = page.attributes("a[href*='/reuse/why/']", "href")[0].clone();
    let bar = bar.rsplit('/').next().unwrap().to_owned();
    // The first bar becomes so long that its fixture nearly fits.
    let form = app
        .get(format!("/designs/2/bars/{bar}"))
        .await
        .form("main form.stack");
    let long = form
        .set("length", "1.3 m")
        .set("shorter", "10 mm")
        .send(&app)
        .await;
    assert_eq!(long.status, 303, "{}", long.text("main"));
    let page = app.get("/designs/2/reuse").await;
    let ask = page.attributes("#nearly ~ p a", "href");
    assert_eq!(ask.len(), 1, "{}", page.text("main"));
    let told = app.get(&ask[0]).await;
    let rows = told.text("main");
    assert!(
        rows.contains("Then:") || rows.contains("It would save nothing"),
        "{rows}"
    );
    assert_eq!(told.count("#nearly ~ p a"), 0);
    let fit = told.form("#nearly ~ ul form");
    assert_eq!(fit.set("do", "fit").send(&app).await.status, 303);
}
