//! One finished bar in place of another, in a set that is only reserved, and back again.

use serde_json::{Value, json};

use crate::help::{Page, TestApp};
use tapewright::sample;

/// The sample's reserved set, the fixture F-1 that it holds, and what the set's page says of a plan
/// that is not the one that is held.
const SET: &str = "/designs/2";
const OLD: &str = "/things/37";
const NEWER: &str = "newer than what is held";

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let page = app.get(SET).await;
    assert!(page.text("main").contains("reserved"));
    assert!(!page.text("main").contains(NEWER));
    app
}

/// Swaps F-1 for F-12; the page that follows.
async fn swap(app: &TestApp) -> Page {
    let swap = app.get(format!("{OLD}/swap")).await;
    let fit = swap.texts("#fit .row-name");
    let at = fit.iter().position(|tag| tag.contains("F-12"));
    let at = at.unwrap_or_else(|| panic!("{}", swap.text("main")));
    let new = swap.attributes("#fit li form input[name=new]", "value")[at].clone();
    let form = swap.form("#fit li form").set("new", &new);
    let done = form.set("condition", "dead").send(app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    app.follow(&done).await
}

/// What feeds each bar, at which address, and which units those are.
async fn wired(app: &TestApp) -> Value {
    let plan = app
        .json("GET", "/api/v1/designs/2/plan", &[], &json!(null))
        .await
        .value();
    let plan = plan.get("plan").unwrap_or(&plan);
    let bars = plan["bars"].as_array().expect("bars");
    let bars: Vec<Value> = (bars.iter())
        .map(|bar| json!([bar["label"], bar["output"], bar["slot"]]))
        .collect();
    assert!(bars.iter().any(|bar| bar[1].is_object()), "{bars:?}");
    let units = |of: &str| -> Vec<Value> {
        let list = plan[of].as_array().expect("units").iter();
        list.map(|it| json!([it["part"], it["unit"]])).collect()
    };
    let drivers = plan["drivers"].as_array().expect("drivers").iter();
    let feeds: Vec<Value> = drivers
        .flat_map(|it| it["inlets"].as_array().cloned().unwrap_or_default())
        .map(|inlet| json!([inlet["number"], inlet["supply"]]))
        .collect();
    json!([bars, units("drivers"), units("supplies"), feeds])
}

/// The pins of the set, and how much its first bar may differ in length.
async fn chosen(app: &TestApp) -> (String, Value) {
    let pins = app.get(format!("{SET}/reuse")).await.text("#pins");
    let set = app
        .json("GET", "/api/v1/designs/2", &[], &json!(null))
        .await
        .value();
    let set = set.get("design").unwrap_or(&set);
    let bars = set["bars"].as_array().expect("bars");
    let bars = bars.iter();
    let bars = bars.map(|bar| {
        json!([
            bar["label"],
            bar["fixture"],
            bar["shorter_um"],
            bar["longer_um"]
        ])
    });
    (pins, bars.collect())
}

async fn all_quiet(app: &TestApp, served: &str) {
    for tab in ["", "/reuse", "/reserve"] {
        let page = app.get(format!("{SET}{tab}")).await;
        let text = page.text("main");
        assert!(text.contains(served), "{tab}: {text}");
        for not in [NEWER, "is gone", "was served by", "is no longer free"] {
            assert!(!text.contains(not), "{tab}, {not}: {text}");
        }
    }
}

#[tokio::test]
async fn a_swap_in_a_reserved_set_is_a_choice_that_keeps_every_output_and_address() {
    let app = hall().await;
    let before = wired(&app).await;
    let said = swap(&app).await.text("#flash");
    assert!(said.contains("F-12 takes the place of F-1"), "{said}");
    assert!(said.contains("a new plan keeps it"), "{said}");
    all_quiet(&app, "F-12").await;
    assert_eq!(wired(&app).await, before);
    let (pins, _) = chosen(&app).await;
    assert!(pins.contains("F-12 serves bar"), "{pins}");
}

#[tokio::test]
async fn an_undone_swap_takes_its_choice_back() {
    let app = hall().await;
    let (before, was) = (chosen(&app).await, wired(&app).await);
    let page = swap(&app).await;
    assert_ne!(chosen(&app).await, before);
    let undone = page.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303, "{}", undone.text("main"));
    assert_eq!(chosen(&app).await, before);
    assert_eq!(wired(&app).await, was);
    all_quiet(&app, "F-1").await;
    assert!(app.get(OLD).await.text(".states").contains("good"));
}

#[tokio::test]
async fn a_bar_marked_bad_and_then_replaced_takes_its_place_back_with_its_mark() {
    let app = hall().await;
    let before = chosen(&app).await;
    // Nothing just like it is free, so that its hold breaks.
    let marked = app
        .post(format!("{OLD}/mark"), &[("condition", "dead")])
        .await;
    assert_eq!(marked.status, 303, "{}", marked.text("main"));
    let mark = app.follow(&marked).await;
    let held = app.get(SET).await.text("main");
    assert!(held.contains("is gone"), "{held}");
    let swapped = swap(&app).await;
    let log = app.get("/log").await.text("main");
    assert!(log.contains("another takes the place of F-1"), "{log}");
    // The swap alone cannot be taken back: the old one is dead still.
    let refused = swapped.form("#flash form").send(&app).await;
    let refused = app.follow(&refused).await.text("#flash");
    assert!(refused.contains("cannot take its place"), "{refused}");
    let (pins, _) = chosen(&app).await;
    assert!(pins.contains("F-12 serves bar"), "{pins}");
    let undone = mark.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303, "{}", undone.text("main"));
    assert_eq!(chosen(&app).await, before);
    all_quiet(&app, "F-1").await;
}

#[tokio::test]
async fn where_nothing_plugs_in_one_like_it_is_entered_and_swapped_in() {
    let app = hall().await;
    let page = app.get(format!("{OLD}/swap?differ=0")).await;
    assert_eq!(page.count("#fit .row-act"), 0, "{}", page.text("#fit"));
    let enter = page.attributes("#fit a.btn", "href");
    let form = app.get(enter[0].clone()).await.form("form.form");
    assert_eq!(form.value("lit_um"), Some("1200 mm"));
    let entered = form.send(&app).await;
    assert_eq!(entered.status, 303, "{}", entered.text("main"));
    assert_eq!(entered.header("location"), Some("/things/37/swap"));
    // It is just as long: the first that plugs in.
    let swap = app.get(format!("{OLD}/swap?differ=0")).await;
    assert_eq!(swap.count("#fit li form"), 1, "{}", swap.text("#fit"));
    let swapped = swap.form("#fit li form").set("condition", "dead");
    let done = swapped.send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let said = app.follow(&done).await.text("#flash");
    assert!(said.contains("takes the place of F-1"), "{said}");
}
