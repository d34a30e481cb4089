//! A set that was said to stand too soon, and goes back to the bench.

use tapewright::{
    db,
    model::{
        id::DesignId,
        reservation::{Held, HoldUse},
    },
    sample,
    stock::audit::audit,
};

use crate::{
    arrived::bring,
    dates::standing,
    help::{Page, TestApp},
};

const SET: &str = "/designs/2";

/// What the set holds and how, in no order.
async fn holds(app: &TestApp) -> Vec<String> {
    let mut tx = app.db().read().await.unwrap();
    let holds = db::reservation::list(&mut tx, DesignId(2)).await.unwrap();
    let words = |held: Held, becomes: HoldUse| format!("{held:?} {}", becomes.word());
    let mut holds: Vec<String> = holds
        .into_iter()
        .map(|hold| words(hold.hold.held, hold.hold.becomes))
        .collect();
    holds.sort_unstable();
    holds
}

async fn out(app: &TestApp) -> Vec<String> {
    let page = app.get(format!("{SET}/strike")).await;
    page.texts(".strike li .row-name")
}

async fn state(app: &TestApp) -> String {
    app.get(SET).await.text(".lead .mark")
}

/// Presses the way back as the set's page offers it.
async fn not_yet(page: &Page, app: &TestApp) -> Page {
    let form = page.form("#next form:has(button[value=building])");
    form.set("to", "building").send(app).await
}

#[tokio::test]
async fn a_set_that_does_not_stand_yet_is_at_the_bench_as_before() {
    let app = standing().await;
    let (held, went) = (holds(&app).await, out(&app).await);
    assert!(!went.is_empty());
    for _ in 0..2 {
        let back = not_yet(&app.get(SET).await, &app).await;
        assert_eq!(back.status, 303, "{}", back.text("main"));
        assert_eq!(state(&app).await, "building");
        assert_eq!(out(&app).await, Vec::<String>::new());
        // Its steps can be ticked again.
        let steps = app.get(format!("{SET}/build")).await;
        assert!(steps.count("ol.steps form") > 0);
        bring(&app, SET, "standing").await;
        assert_eq!(out(&app).await, went);
        assert_eq!(holds(&app).await, held);
    }
    let found = audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn what_is_open_is_asked_about_before_a_set_is_called_standing() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    bring(&app, SET, "building").await;
    let build = app.get(format!("{SET}/build")).await;
    let steps = build.count("ol.steps > li");
    assert!(steps > 1, "{}", build.text("#steps"));
    let next = app.get(SET).await;
    assert_eq!(next.count("#next button[value=standing]"), 0);
    let asked = app.get(format!("{SET}/state?to=standing")).await;
    let said = asked.text("#ask");
    let open = format!("{steps} of {steps} steps are not ticked");
    assert!(said.contains(&open), "{said}");
    assert!(said.contains("It stands anyway"), "{said}");
    assert_eq!(asked.count(&format!("#ask a[href='{SET}']")), 1);
    assert_eq!(state(&app).await, "building");
    let done = asked.form("#ask form").set("to", "standing");
    let done = done.send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let page = app.get(SET).await;
    let said = page.text("main");
    let open = format!("called standing with {steps} steps not ticked");
    assert!(said.contains(&open), "{said}");
    assert!(page.count(&format!(".note a[href='{SET}/build']")) > 0);
    // What is out keeps it from being struck: that is said, and there is nothing to press.
    let asked = app.get(format!("{SET}/state?to=struck")).await;
    assert!(asked.text("#ask").contains("Not yet"));
    assert_eq!(asked.count("#ask form"), 0);
    // Of other changes nothing is asked.
    let other = app.get(format!("{SET}/state?to=draft")).await;
    assert_eq!(other.status, 422, "{}", other.text("main"));
}

#[tokio::test]
async fn a_set_of_which_something_came_back_is_not_put_back_over_that() {
    let app = standing().await;
    let before = app.get(SET).await;
    let page = app.get(format!("{SET}/strike")).await;
    let back = page.form(".strike li form").set("how", "good");
    let checked = back.send(&app).await;
    assert_eq!(checked.status, 303, "{}", checked.text("main"));
    let shown = app.follow(&checked).await;
    let said = app.get(SET).await;
    let next = said.text("#next");
    assert!(next.contains("brought back"), "{next}");
    assert_eq!(said.count("#next button[value=building]"), 0);
    let late = not_yet(&before, &app).await;
    assert_eq!(late.status, 409, "{}", late.text("main"));
    assert!(late.text("main").contains("Nothing was changed"));
    assert_eq!(state(&app).await, "standing");
    // Once that is undone nothing rests on it any more.
    let undone = shown.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303, "{}", undone.text("main"));
    let back = not_yet(&app.get(SET).await, &app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    assert_eq!(state(&app).await, "building");
    let found = audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn what_a_standing_set_has_and_a_count_finds_elsewhere_is_missed() {
    let app = standing().await;
    assert_eq!(app.get(SET).await.count("#away"), 0);
    let page = app.get(format!("{SET}/strike")).await;
    let tags = page.texts(".strike li .row-name .tag");
    let tag = tags.iter().find(|tag| tag.starts_with("F-")).unwrap();
    let name = app.get(SET).await.text("h1");
    let count = "/places/2/count";
    let found = [("do", "tag"), ("tag", tag.as_str())];
    let seen = app.post(count, &found).await;
    assert_eq!(seen.status, 303, "{}", seen.text("main"));
    let shown = app.follow(&seen).await;
    let said = shown.text("#flash .note.warn");
    let out = format!("{tag} was out with {name}, which stands: it is here now.");
    assert!(said.contains(&out), "{said}");
    let missing = app.get(SET).await.text("#away");
    assert!(missing.contains("Missing: 1 thing"), "{missing}");
    assert!(missing.contains(tag.as_str()), "{missing}");
    // What came after it is undone first; the way there is a link, and what is undone is said.
    let other = app.post("/places/1/count", &found).await;
    let other = app.follow(&other).await;
    let first = shown.form("#flash form").send(&app).await;
    let refused = app.follow(&first).await;
    let why = refused.text("#flash .note.stop");
    assert!(why.contains("Undo that first: it is in the log"), "{why}");
    assert_eq!(refused.count("#flash a[href='/log']"), 1);
    for page in [&other, &shown] {
        let undone = page.form("#flash form").send(&app).await;
        assert_eq!(undone.status, 303, "{}", undone.text("main"));
        let said = app.follow(&undone).await.text("#flash");
        assert!(said.contains("Undone: "), "{said}");
        assert!(said.contains(tag.as_str()), "{said}");
    }
    assert_eq!(app.get(SET).await.count("#away"), 0);
}

#[tokio::test]
async fn a_bar_that_is_put_together_again_keeps_its_label() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    bring(&app, SET, "building").await;
    let build = format!("{SET}/build");
    // Up to the first bar that is assembled.
    let mut said = String::new();
    for _ in 0..100 {
        let page = app.get(&build).await;
        let title = page.text("ol.steps .now > p");
        let form = page.form("ol.steps .now form").set("do", "tick");
        let ticked = form.send(&app).await;
        assert_eq!(ticked.status, 303, "{title}: {}", ticked.text("main"));
        said = app.follow(&ticked).await.text("#flash");
        if title.starts_with("Assemble") {
            break;
        }
    }
    let (_, tag) = said.split_once("Label: ").expect("a bar that is assembled");
    let tag = tag.split('.').next().unwrap().to_owned();
    assert!(tag.starts_with("F-"), "{said}");
    let page = app.get(&build).await;
    let step = page
        .attributes("ol.steps li.done form", "id")
        .pop()
        .unwrap();
    let back = page.form(&format!("#{step}")).set("do", "untick");
    let back = back.send(&app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    let said = app.follow(&back).await.text("#flash");
    assert!(said.contains(&format!("Keep the label {tag}")), "{said}");
    let page = app.get(&build).await;
    let again = page.form(&format!("#{step}")).set("do", "tick");
    let again = again.send(&app).await;
    assert_eq!(again.status, 303, "{}", again.text("main"));
    let said = app.follow(&again).await.text("#flash");
    assert!(said.contains(&format!("Label: {tag}.")), "{said}");
    let found = audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn pieces_that_are_cut_again_keep_their_labels() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    bring(&app, SET, "building").await;
    let build = format!("{SET}/build");
    // Up to the first cut.
    let mut said = String::new();
    for _ in 0..100 {
        let page = app.get(&build).await;
        let title = page.text("ol.steps .now > p");
        let form = page.form("ol.steps .now form").set("do", "tick");
        let ticked = form.send(&app).await;
        assert_eq!(ticked.status, 303, "{title}: {}", ticked.text("main"));
        said = app.follow(&ticked).await.text("#flash");
        if title.starts_with("Cut") {
            break;
        }
    }
    let labels = |said: &str| {
        let (_, labels) = said.split_once("Label: ").expect("pieces that were cut");
        labels.split('.').next().unwrap().to_owned()
    };
    let first = labels(&said);
    let one = first.split(' ').next().unwrap().to_owned();
    assert!(one.starts_with("O-"), "{said}");
    let done = async || {
        app.get(&build)
            .await
            .attributes("ol.steps li.done form", "id")
    };
    let step = done().await.pop().unwrap();
    // Twice over: the tag goes from one to the next.
    for _ in 0..2 {
        let page = app.get(&build).await;
        let back = page.form(&format!("#{step}")).set("do", "untick");
        let back = back.send(&app).await;
        assert_eq!(back.status, 303, "{}", back.text("main"));
        let said = app.follow(&back).await.text("#flash");
        assert!(said.contains("Keep the label"), "{said}");
        assert!(said.contains(&one), "{said}");
        let page = app.get(&build).await;
        let again = page.form(&format!("#{step}")).set("do", "tick");
        let again = again.send(&app).await;
        assert_eq!(again.status, 303, "{}", again.text("main"));
        assert_eq!(labels(&app.follow(&again).await.text("#flash")), first);
    }
    // What was fetched for it stays fetched while it is cut.
    let mut refused = 0;
    for fetch in done().await {
        let page = app.get(&build).await;
        if fetch == step {
            continue;
        }
        let back = page.form(&format!("#{fetch}")).set("do", "untick");
        let back = back.send(&app).await;
        if back.status == 409 {
            let why = back.text("#flash");
            assert!(why.contains("is worked on already"), "{why}");
            refused += 1;
        }
    }
    assert!(refused > 0, "the fetching of what was cut was taken back");
    let found = audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}
