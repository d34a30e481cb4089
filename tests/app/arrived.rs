//! Goods that arrive for a set, some of them wrong, before and after the plan that it is built by.

use tapewright::sample;

use crate::{
    help::{Page, TestApp},
    prices::{order_all, price_all, short_set},
};

/// Presses the button that brings a set into a state, on the question before it if there is one.
pub async fn press(app: &TestApp, set: &str, to: &str) -> Page {
    let mut page = app.get(set).await;
    let asked = format!("{set}/state?to={to}");
    if page.count(&format!("#next a[href='{asked}']")) > 0 {
        page = app.get(&asked).await;
    }
    let form = page.form(&format!("main form:has(button[value={to}])"));
    form.set("to", to).send(app).await
}

/// Brings a set into a state and reads the page that follows.
pub async fn bring(app: &TestApp, set: &str, to: &str) -> Page {
    let done = press(app, set, to).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    app.follow(&done).await
}

/// Plans a reserved set again by an edit of its notes.
async fn plan_again(app: &TestApp, set: &str, note: &str) -> Page {
    let edit = app.get(format!("{set}/edit")).await;
    let edit = edit
        .form("main form.form")
        .set("note", note)
        .send(app)
        .await;
    assert_eq!(edit.status, 303, "{}", edit.text("main"));
    app.follow(&edit).await
}

/// A reserved set of one bar of which everything is ordered, one of two end caps came wrong and all
/// the rest came right.
async fn one_came_wrong(app: &TestApp) -> String {
    let set = short_set(app).await;
    assert_eq!(price_all(app).await.status, 303);
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let ask = app.get(format!("{set}/reserve")).await;
    let held = ask.form("main form.buttons").send(app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    let order = order_all(app).await;
    let page = app.get(&order).await;
    let lines = page.attributes("form[action*='/receive/']", "id");
    let caps = page.texts("form[action*='/receive/']");
    let caps = caps
        .iter()
        .position(|line| line.contains("Profile end cap"));
    let caps = &lines[caps.expect("a line of end caps")];
    let form = page
        .form(&format!("#{caps}"))
        .set("good", "1")
        .set("bad", "1");
    assert_eq!(form.send(app).await.status, 303);
    // Another line is in; the wrong cap is still to come.
    let whole = lines.iter().find(|line| *line != caps);
    let page = app.get(&order).await;
    let form = page.form(&format!("#{}", whole.expect("another line")));
    assert_eq!(form.send(app).await.status, 303);
    let page = app.get(&order).await;
    // What is in is said while the rest is to come, in the order's head and where orders are listed.
    let in_words = format!("1 of {} in", lines.len());
    let sums = page.text("#sums");
    assert!(sums.contains(&format!("ordered, {in_words}")), "{sums}");
    let orders = app.get("/shopping").await.text("[aria-labelledby=orders]");
    assert!(orders.contains(&in_words), "{orders}");
    let rest = page.form("#all form").send(app).await;
    assert_eq!(rest.status, 303, "{}", rest.text("main"));
    set
}

#[tokio::test]
async fn what_leads_on_stands_before_the_way_back() {
    let app = TestApp::new().await;
    let set = one_came_wrong(&app).await;
    let first = async |states: &[&str]| {
        let page = app.get(&set).await;
        assert_eq!(page.texts("#next h3 .mark"), states);
    };
    first(&["building", "draft", "cancelled"]).await;
    bring(&app, &set, "building").await;
    first(&["standing", "reserved", "cancelled"]).await;
    // Pages that are none of the set's own mark none of them, and are folded on a phone.
    let sheets = app.get(format!("{set}/sheets")).await;
    assert_eq!(sheets.count(".tabs [aria-current]"), 0);
    assert_eq!(sheets.count(".tabs details[open]"), 0);
    assert!(
        sheets
            .text(".tabs summary")
            .starts_with("Pages of this set")
    );
}

#[tokio::test]
async fn a_set_that_was_given_up_is_short_of_nothing() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    let said = async || {
        let page = app.get(&set).await;
        let tabs = page.text(".tabs");
        (tabs, page.text("main"), page.texts("dl.keys dt"))
    };
    let (tabs, page, keys) = said().await;
    assert!(tabs.contains(" short"), "{tabs}");
    assert!(page.contains("things are short"), "{page}");
    assert!(keys.contains(&"short".to_owned()), "{keys:?}");
    bring(&app, &set, "cancelled").await;
    let (tabs, page, keys) = said().await;
    assert!(!tabs.contains(" short"), "{tabs}");
    assert!(!page.contains("things are short"), "{page}");
    assert!(!keys.iter().any(|key| key.contains("short")), "{keys:?}");
    // What its plan lacked is still to be read, and said to be asked for no more.
    for tab in ["shortfall", "shopping"] {
        let page = app.get(format!("{set}/{tab}")).await.text("main");
        assert!(page.contains("nothing is bought for it any more"), "{page}");
    }
    // Taken up again, it is short as before.
    bring(&app, &set, "draft").await;
    assert!(said().await.1.contains("things are short"));
}

#[tokio::test]
async fn like_bars_on_unlike_leads_are_told_apart() {
    let app = TestApp::new().await;
    let set = one_came_wrong(&app).await;
    for page in ["wiring", "sheets/wiring"] {
        let page = app.get(format!("{set}/{page}")).await.text("main");
        // Each roll has a female lead at its start and a male one at its end.
        for words in [
            "kinds of lead",
            "on four-pin inline, male",
            "on four-pin inline, female",
            // So the cables fit into each other.
            "Never plug a cable into a cable",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
    }
    // It is said before the set is held, and at the bench before anything is lit.
    let ask = app.get(format!("{set}/reserve")).await.text("main");
    assert!(ask.contains("Never plug a cable into a cable"), "{ask}");
    // Bars that are cut at the same marks are drawn once.
    let cuts = app.get(format!("{set}/cuts")).await;
    assert!(
        cuts.text("main").contains("Cut like R-"),
        "{}",
        cuts.text("main")
    );
    bring(&app, &set, "building").await;
    let bench = app.get(format!("{set}/build")).await.text("main");
    assert!(bench.contains("Never plug a cable into a cable"), "{bench}");
}

#[tokio::test]
async fn what_came_before_the_plan_was_made_is_not_counted_a_second_time() {
    let app = TestApp::new().await;
    let set = one_came_wrong(&app).await;
    plan_again(&app, &set, "ladder").await;
    bring(&app, &set, "building").await;
    // At the bench marks are counted, and it is said which end is soldered.
    let bench = app.get(format!("{set}/build")).await.text("main");
    for words in [
        ", mark 0 to 18: bar 1; start: factory lead",
        "solder on a pre-tinned joint",
    ] {
        assert!(bench.contains(words), "{words}: {bench}");
    }
    // One end cap lies in the cupboard and is planned in; the other one is still to be bought.
    let short = app.get(format!("{set}/shortfall")).await;
    let rows = short.texts("section:has(h2) tbody th");
    assert!(rows[0].starts_with("Profile end cap"), "{rows:?}");
    assert!(!short.text("main").contains("all of it is on order"));
    let list = app.get(format!("{set}/shopping")).await;
    let rows = list.texts("table.book tbody tr");
    assert!(
        rows[0].contains("Profile end cap") && rows[0].contains("1 × single"),
        "{rows:?}"
    );
}

#[tokio::test]
async fn what_comes_after_the_plan_was_made_is_not_asked_for_again() {
    let app = TestApp::new().await;
    let set = one_came_wrong(&app).await;
    // By the plan of before the goods came.
    bring(&app, &set, "building").await;
    let list = app.get(format!("{set}/shopping")).await;
    let rows = list.texts("table.book tbody tr");
    let asked = |of: &str| rows.iter().any(|row| row.contains(of));
    assert!(asked("Profile end cap"), "{rows:?}");
    assert!(!asked("RGB tape") && !asked("Screw"), "{rows:?}");
}

#[tokio::test]
async fn what_followed_from_an_edit_is_a_list_that_says_each_thing_once() {
    let app = TestApp::new().await;
    let set = one_came_wrong(&app).await;
    let page = plan_again(&app, &set, "ladder").await;
    assert!(
        page.text(".flash > p")
            .ends_with("so plan and holds followed.")
    );
    let lines = page.texts(".flash details li");
    assert!(
        lines.iter().any(|line| line
            .starts_with("Bars 1, 2, 3, 4 were cut from a roll to buy; they are now cut from R-")),
        "{lines:?}"
    );
    let no_longer: Vec<_> = lines
        .iter()
        .filter(|line| line.contains("o longer short"))
        .collect();
    assert_eq!(no_longer.len(), 1, "{lines:?}");
    assert!(no_longer[0].contains("Screw 3.5 × 16 mm;"), "{lines:?}");
}

#[tokio::test]
async fn the_bench_says_what_has_not_come_and_which_steps_need_it() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let ask = app.get(format!("{set}/reserve")).await;
    let held = ask.form("main form.buttons").send(&app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    let order = order_all(&app).await;
    // All but the end caps come in.
    let page = app.get(&order).await;
    let labels = page.texts("#all label.tick");
    let lines = page.attributes("#all label.tick input", "value");
    let caps = labels.iter().position(|it| it.contains("Profile end cap"));
    let caps = &lines[caps.expect("a line of end caps")];
    let form = page.form("#all form").untick("line", caps);
    assert_eq!(form.send(&app).await.status, 303);
    plan_again(&app, &set, "ladder").await;
    // What giving it up sets free is told by what it is, not by how it is kept in the book.
    let next = app.get(&set).await.text("#next");
    assert!(next.contains("Free for others again: "), "{next}");
    assert!(
        next.contains(" × Screw") || next.contains("more kind"),
        "{next}"
    );
    assert!(!next.contains("released"), "{next}");
    bring(&app, &set, "building").await;

    let bench = app.get(format!("{set}/build")).await;
    let note = bench.text("#not-yet");
    assert!(note.contains("Profile end cap"), "{note}");
    assert!(!note.contains("Screw"), "{note}");
    assert!(note.contains("Lock Lane"), "{note}");
    let receive = format!("#not-yet a[href='{order}#lines']");
    assert_eq!(bench.count(&receive), 1);
    let waits = bench.texts("ol.steps .note.warn");
    let said = |line: &String| line.contains("Profile end cap has not come yet");
    assert!(!waits.is_empty() && waits.iter().all(said), "{waits:?}");

    // Once it is entered as received nothing is said any more.
    let page = app.get(&order).await;
    let form = page.form("form[action*='/receive/']");
    assert_eq!(form.send(&app).await.status, 303);
    let bench = app.get(format!("{set}/build")).await;
    assert_eq!(bench.count("#not-yet"), 0);
    assert_eq!(bench.count("ol.steps .note.warn"), 0);
}

#[tokio::test]
async fn what_is_short_is_said_before_the_bench_begins_and_at_the_bench() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    let ask = app.get(format!("{set}/reserve")).await;
    let held = ask.form("main form.buttons").send(&app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    // Nothing is ordered: one may begin, but it is not what the page leads to.
    let next = app.get(&set).await;
    let button = next.text("#next button[value=building]");
    assert_eq!(button, "Begin although something is short");
    assert_eq!(next.count("#next button.main[value=building]"), 0);
    let said = next.text("#next");
    assert!(said.contains("cannot be put together without it"), "{said}");
    bring(&app, &set, "building").await;
    let bench = app.get(format!("{set}/build")).await;
    let note = bench.text("#not-yet");
    assert!(note.contains("short, and on no order"), "{note}");
    assert!(
        note.contains("cannot be put together by the plan"),
        "{note}"
    );
    let step = bench.text("#steps li:has(a[href='#not-yet'])");
    assert!(
        step.contains("for it is not held: it was still to buy."),
        "{step}"
    );
}

#[tokio::test]
async fn drafts_that_count_on_the_same_are_named_part_by_part() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let warned = async || {
        app.get("/shopping")
            .await
            .texts("main .note.warn")
            .join(" ")
    };
    assert!(!warned().await.contains("Drafts hold nothing"));
    let copy = app.get("/designs/3/copy").await;
    let made = copy.form("main form").send(&app).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let said = warned().await;
    let both = "RGB tape 24 V, 10 mm: Midsummer play and Midsummer play (2)";
    assert!(said.contains(both), "{said}");
    // Of screws there are enough for both.
    assert!(!said.contains("Screw"), "{said}");
}
