//! Sets through their pages: describing one, reading its plan, reserving, building, strike, swap.

use tapewright::sample;

use crate::{
    arrived::press,
    help::{Page, TestApp},
};

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// Makes an empty set by the form as it stands and gives its address.
async fn new_set(app: &TestApp, name: &str) -> String {
    let page = app.get("/designs/new").await;
    let page = page
        .form("form[data-draft]")
        .set("name", name)
        .send(app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    page.header("location")
        .unwrap()
        .trim_end_matches("/bars")
        .to_owned()
}

/// Adds bars by the form as it stands, with some fields typed over.
async fn add_bars(app: &TestApp, set: &str, typed: &[(&str, &str)]) -> Page {
    let page = app.get(format!("{set}/bars")).await;
    let mut form = page.form("#add form");
    for (name, value) in typed {
        form = form.set(name, value);
    }
    form.send(app).await
}

#[tokio::test]
async fn an_empty_book_says_what_belongs_here_and_offers_the_first_step() {
    let app = TestApp::new().await;
    let page = app.get("/designs").await;
    assert_eq!(page.status, 200);
    assert!(page.text(".empty h2").contains("No set yet"));
    assert_eq!(page.attributes(".empty a.btn", "href"), ["/designs/new"]);
    let set = new_set(&app, "First").await;
    for tab in [
        "",
        "/bars",
        "/reuse",
        "/cuts",
        "/wiring",
        "/power",
        "/addresses",
        "/checks",
        "/shortfall",
        "/shopping",
        "/build",
        "/strike",
        "/reserve",
        "/edit",
        "/copy",
        "/sheets/all",
    ] {
        let page = app.get(format!("{set}{tab}")).await;
        assert_eq!(page.status, 200, "{tab}: {}", page.text("main"));
        assert_eq!(page.count("h1"), 1, "{tab}");
    }
}

#[tokio::test]
async fn eight_like_bars_are_one_action_and_show_in_picture_and_table() {
    let app = hall().await;
    let set = new_set(&app, "Eight").await;
    let page = add_bars(&app, &set, &[("length", "1.1 m"), ("pattern", "Bar #")]).await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let page = app.get(format!("{set}/bars")).await;
    assert_eq!(page.count("table.book tbody tr"), 8);
    // Each bar is drawn and leads to its own page, and the text twin says the same.
    assert_eq!(page.count("figure.draw svg a[href*='/bars/']"), 8);
    assert_eq!(page.count("figure.draw .twin li"), 8);
    assert_eq!(page.texts("table.book tbody th")[7], "Bar 8");
    // The next ones run on where the last left off.
    let form = page.form("#add form");
    assert_eq!(form.value("pattern"), Some("Bar #"));
    assert_eq!(form.set("count", "2").send(&app).await.status, 303);
    let page = app.get(format!("{set}/bars")).await;
    assert_eq!(page.texts("table.book tbody th")[9], "Bar 10");
    // Another pattern begins at its own first free number.
    let form = page.form("#add form").set("pattern", "Beam #");
    assert_eq!(form.send(&app).await.status, 303);
    let page = app.get(format!("{set}/bars")).await;
    assert_eq!(page.texts("table.book tbody th")[10], "Beam 1");
}

#[tokio::test]
async fn a_bar_form_with_bad_input_comes_back_as_typed_with_the_limit_named() {
    let app = hall().await;
    let set = new_set(&app, "Bad input").await;
    for (field, typed, said) in [
        ("length", "1001 m", "1 km"),
        ("length", "-3 m", ""),
        ("length", "0", "above zero"),
        ("length", "long", "long"),
        ("count", "1000000", "1000"),
        ("count", "0", "1000"),
        ("count", "many", "many"),
        ("channels", "purple", "purple"),
        ("angle", "400", "360"),
        ("shorter", "5 m", "less than its length"),
        ("group", &"x".repeat(121), "120"),
        ("frame", "999", "frame"),
        ("x", "1001 m", ""),
    ] {
        let page = add_bars(&app, &set, &[("length", "1 m"), (field, typed)]).await;
        assert_eq!(page.status, 422, "{field}={typed}");
        let errors = page.errors().join(" ");
        assert!(errors.contains(said), "{field}={typed}: {errors}");
        // A list can only show what it offers.
        if !["channels", "frame"].contains(&field) {
            assert_eq!(page.form("#add form").value(field), Some(typed), "{field}");
        }
    }
    assert_eq!(
        app.get(format!("{set}/bars"))
            .await
            .count("table.book tbody tr"),
        0
    );
}

#[tokio::test]
async fn no_set_holds_more_bars_than_the_limit() {
    let app = TestApp::new().await;
    let set = new_set(&app, "Many").await;
    let page = add_bars(&app, &set, &[("length", "1 m"), ("count", "999")]).await;
    assert_eq!(page.status, 303);
    let page = add_bars(&app, &set, &[("length", "1 m"), ("count", "2")]).await;
    assert_eq!(page.status, 422);
    assert!(page.errors().join(" ").contains("1000"));
}

#[tokio::test]
async fn dates_out_of_order_or_that_are_none_are_said_at_their_field() {
    let app = TestApp::new().await;
    for (field, typed) in [
        ("strike_on", "2026-03-01"),
        ("strike_on", "2026-02-30"),
        ("get_in", "soon"),
        ("build_on", ""),
        ("name", ""),
        ("name", &"n".repeat(121)),
    ] {
        let page = app.get("/designs/new").await;
        let page = page
            .form("form[data-draft]")
            .set(field, typed)
            .send(&app)
            .await;
        assert_eq!(page.status, 422, "{field}={typed}");
        assert_eq!(page.count(&format!("#{field}-error")), 1, "{field}={typed}");
        assert_eq!(page.form("form[data-draft]").value(field), Some(typed));
    }
    // Two that are out of order are said each at its own.
    let both = app
        .get("/designs/new")
        .await
        .form("form[data-draft]")
        .set("build_on", "2027-05-09")
        .set("get_in", "2027-05-04")
        .set("strike_on", "2027-05-03")
        .send(&app)
        .await;
    assert_eq!(both.status, 422);
    assert!(both.text("#get_in-error").contains("before the build day"));
    let strike = both.text("#strike_on-error");
    assert!(strike.contains("before the get-in"), "{strike}");
    assert!(!strike.contains("build day"), "{strike}");
    assert_eq!(app.get("/designs").await.count("ul.rows li"), 0);
    // A name that is taken is said beside it.
    new_set(&app, "Twice").await;
    let page = app.get("/designs/new").await;
    let page = page
        .form("form[data-draft]")
        .set("name", "twice")
        .send(&app)
        .await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#name-error"), 1);
}

#[tokio::test]
async fn what_was_ticked_and_is_not_free_any_more_is_told_and_not_left_out() {
    let app = hall().await;
    let page = app.get("/designs/new").await;
    let keys = page.attributes("input[name=all]", "value");
    let key = keys.iter().find(|key| key.contains('-')).unwrap();
    let ids: Vec<&str> = key.split('-').collect();
    let gone = app.get(format!("/things/{}", ids[0])).await;
    let bad = gone.form(".likely form").send(&app).await;
    assert_eq!(bad.status, 303);
    let form = page.form("form[data-draft]").set("all", key);
    let refused = form.send(&app).await;
    assert_eq!(refused.status, 422);
    let said = refused.text("main .note.stop");
    assert!(
        said.contains("1 fixture that you ticked is not free"),
        "{said}"
    );
    let ticked = refused.count("input[name=fixture][checked]");
    assert_eq!(ticked, ids.len() - 1);
    // Pressed again, the others count.
    let made = refused.form("form[data-draft]").send(&app).await;
    assert_eq!(made.status, 303);
    let set = made.header("location").unwrap().to_owned();
    let bars = app.get(format!("{set}/bars")).await;
    assert_eq!(bars.count("#bar-list tbody tr"), ids.len() - 1);
}

#[tokio::test]
async fn three_taps_lead_from_the_first_page_to_a_set_of_free_fixtures() {
    let app = hall().await;
    // Tap one: start the next set.
    let home = app.get("/").await;
    assert!(
        home.attributes("a.btn", "href")
            .contains(&"/designs/new".to_owned())
    );
    let page = app.get("/designs/new").await;
    // Tap two: all of one kind. Tap three: make it.
    let key = page.attributes("input[name=all]", "value").remove(0);
    let taken = key.split('-').count();
    let page = page
        .form("form[data-draft]")
        .set("all", &key)
        .send(&app)
        .await;
    assert_eq!(page.status, 303);
    let page = app.follow(&page).await;
    assert_eq!(page.texts("dl.keys dd")[0], taken.to_string());
    assert_eq!(page.texts("dl.keys dd")[1], taken.to_string());
}

#[tokio::test]
pub async fn what_another_changed_meanwhile_is_not_overwritten_and_both_versions_show() {
    let app = hall().await;
    let set = new_set(&app, "Two people").await;
    let page = add_bars(&app, &set, &[("length", "1.1 m"), ("count", "1")]).await;
    assert_eq!(page.status, 303);
    let bar = app
        .get(format!("{set}/bars"))
        .await
        .attributes("table.book tbody th a", "href")[0]
        .clone();
    let mine = app.get(bar.clone()).await.form("form[data-draft]");
    let other = app.other_browser();
    let theirs = other.get(bar.clone()).await.form("form[data-draft]");
    let page = theirs.set("length", "1200 mm").send(&other).await;
    assert_eq!(page.status, 303);
    let page = mine.clone().set("length", "900 mm").send(&app).await;
    assert_eq!(page.status, 412);
    assert!(page.text(".note.stop").contains("1200 mm"));
    assert_eq!(
        page.form("form[data-draft]").value("length"),
        Some("900 mm")
    );
    // Nothing was overwritten; sent once more on purpose, it is.
    assert!(
        app.get(format!("{set}/bars"))
            .await
            .text("table.book")
            .contains("1200 mm")
    );
    let page = page.form("form[data-draft]").send(&app).await;
    assert_eq!(page.status, 303);
    assert!(
        app.get(format!("{set}/bars"))
            .await
            .text("table.book")
            .contains("900 mm")
    );
    // The same for the set's own fields.
    let mine = app
        .get(format!("{set}/edit"))
        .await
        .form("form[data-draft]");
    let theirs = other
        .get(format!("{set}/edit"))
        .await
        .form("form[data-draft]");
    assert_eq!(theirs.set("note", "theirs").send(&other).await.status, 303);
    let page = mine.set("note", "mine").send(&app).await;
    assert_eq!(page.status, 412);
    assert!(page.text(".note.stop").contains("theirs"));
    assert_eq!(page.form("form[data-draft]").value("note"), Some("mine"));
}

#[tokio::test]
async fn a_second_press_of_the_same_button_adds_nothing_more() {
    let app = hall().await;
    let set = new_set(&app, "Pressed twice").await;
    let page = app.get(format!("{set}/bars")).await;
    let form = page
        .form("#add form")
        .set("length", "1 m")
        .set("count", "3");
    assert_eq!(form.send(&app).await.status, 303);
    assert_eq!(form.send(&app).await.status, 303);
    assert_eq!(
        app.get(format!("{set}/bars"))
            .await
            .count("table.book tbody tr"),
        3
    );
    let page = app.get("/designs/new").await;
    let form = page.form("form[data-draft]").set("name", "Once");
    let (one, two) = (form.send(&app).await, form.send(&app).await);
    assert_eq!(one.header("location"), two.header("location"));
}

#[tokio::test]
pub async fn frames_and_extra_lines_come_and_go() {
    let app = hall().await;
    let set = new_set(&app, "Frames").await;
    let page = app.get(format!("{set}/bars")).await;
    let form = page.form("#frame-add form");
    let refused = form
        .clone()
        .set("label", "")
        .set("width", "3 m")
        .send(&app)
        .await;
    assert_eq!(refused.status, 422);
    let done = form
        .set("label", "Left")
        .set("width", "2 m")
        .set("height", "3 m")
        .send(&app)
        .await;
    assert_eq!(done.status, 303);
    let page = app.get(format!("{set}/bars")).await;
    assert!(page.text("#frames").contains("2000 mm × 3000 mm"));
    let part = page.attributes("#extra-part option", "value")[1].clone();
    let form = page.form("#extra-add form").set("part", &part);
    for wrong in ["0", "-1", "x", ""] {
        assert_eq!(
            form.clone().set("amount", wrong).send(&app).await.status,
            422,
            "{wrong}"
        );
    }
    let frame = page
        .form("#frames form[action$='/remove']")
        .send(&app)
        .await;
    assert_eq!(frame.status, 303);
    assert!(
        !app.get(format!("{set}/bars"))
            .await
            .text("#frames")
            .contains("2000 mm")
    );
}

#[tokio::test]
async fn what_is_not_there_is_a_page_that_leads_on() {
    let app = hall().await;
    for path in [
        "/designs/999999",
        "/designs/none",
        "/designs/999999/bars",
        "/designs/1/bars/999999",
        "/designs/1/frames/999999",
        "/designs/1/sheets/none",
        "/things/999999/swap",
        "/designs/999999/strike",
        "/designs/999999/reserve",
        "/designs/9223372036854775808",
    ] {
        let page = app.get(path).await;
        assert_eq!(page.status, 404, "{path}");
        assert!(page.count("main a.btn") >= 1, "{path}");
    }
    let page = app.post("/designs/1/state", &[("to", "flying")]).await;
    assert_eq!(page.status, 422);
}

#[tokio::test]
pub async fn a_plan_that_changed_since_it_was_read_holds_nothing_and_shows_the_new_one() {
    let app = hall().await;
    let page = app.get("/designs/new").await;
    let key = page.attributes("input[name=all]", "value").remove(0);
    let form = page.form("form[data-draft]").set("all", &key);
    let mut sets = Vec::new();
    for name in ["One", "Other"] {
        let fresh = app.get("/designs/new").await.form("form[data-draft]");
        let page = form
            .clone()
            .set("name", name)
            .set("press", fresh.value("press").unwrap())
            .send(&app)
            .await;
        assert_eq!(page.status, 303);
        sets.push(page.header("location").unwrap().to_owned());
    }
    let mut forms = Vec::new();
    for set in &sets {
        // A reason for whatever the plan cannot show to be kept.
        loop {
            let page = app.get(format!("{set}/checks")).await;
            let open = page.count(".checks form");
            let mended = page.count(".checks .row-marks span + span");
            if open == 0 || mended == open {
                break;
            }
            let at = page
                .texts(".checks .row")
                .iter()
                .position(|row| !row.contains("Used all the same"))
                .unwrap();
            let form = page.form(&format!(".checks .row:nth-child({}) form", at + 1));
            let page = form.set("reason", "Bench test only").send(&app).await;
            assert_eq!(page.status, 303);
        }
        let page = app.get(format!("{set}/reserve")).await;
        forms.push(page.form("main form.buttons"));
    }
    let first = forms[0].send(&app).await;
    assert_eq!(first.status, 303, "{}", first.text("main"));
    let second = forms[1].send(&app).await;
    assert_eq!(second.status, 409);
    assert!(second.text(".note.stop").contains("Nothing was held"));
    assert!(second.count(".note.stop li") >= 1);
    let state = app.get(sets[1].clone()).await.text(".lead .mark");
    assert_eq!(state, "draft");
    assert_eq!(
        app.get(sets[0].clone()).await.text(".lead .mark"),
        "reserved"
    );
}

#[tokio::test]
async fn a_near_miss_is_made_to_fit_by_its_button_and_a_free_fixture_goes_in_by_a_tap() {
    let app = hall().await;
    let set = new_set(&app, "Nearly").await;
    let page = app.get(format!("{set}/reuse")).await;
    let form = page.form("form[action$='/reuse/pick']").set("do", "add");
    assert_eq!(form.send(&app).await.status, 303);
    let page = app.get(format!("{set}/bars")).await;
    assert_eq!(page.count("table.book tbody tr"), 1);
    assert_eq!(page.text("table.book .mark"), "reused");
    let wrong = app
        .get(format!("{set}/reuse"))
        .await
        .form("form[action$='/reuse/pick']")
        .set("do", "fly")
        .send(&app)
        .await;
    assert_eq!(wrong.status, 422);
}

#[tokio::test]
pub async fn a_copy_takes_the_bars_over_and_holds_nothing() {
    let app = hall().await;
    let bars = app
        .get("/designs/1/bars")
        .await
        .count("table.book tbody tr");
    let page = app
        .get("/designs/1/copy")
        .await
        .form("main form")
        .send(&app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let page = app.follow(&page).await;
    assert_eq!(page.text(".lead .mark"), "draft");
    assert_eq!(page.texts("dl.keys dd")[0], bars.to_string());
}

/// Tries the first bar of a set that is being built.
async fn tried_at_the_bench(app: &TestApp, set: &str) -> String {
    let page = app.get(format!("{set}/show-day")).await;
    let form = page.form("#try form").set("how", "good");
    let thing = form.value("thing").unwrap().to_owned();
    assert_eq!(form.send(app).await.status, 303);
    let page = app.get(format!("{set}/show-day")).await;
    assert!(page.text("#try").contains("1 of"));
    thing
}

/// A bench test of the same day is no check before the show; volts that are low are said at once.
async fn tried_before_the_show(app: &TestApp, set: &str, thing: &str) {
    let page = app.get(format!("{set}/show-day")).await;
    assert!(page.text("#try h2").contains("Before the show"));
    assert!(page.text("#try").contains("0 of"));
    let row = page.text(&format!("#t{thing}"));
    assert!(
        row.contains("bench test on") && row.contains("not tried here yet"),
        "{row}"
    );
    let form = page.form("#try form").set("how", "good");
    let low = form.set("far_mv", "0").send(app).await;
    let page = app.follow(&low).await;
    assert!(page.text("#try").contains("1 of"));
    let said = page.text("#flash");
    assert!(said.contains("low") && said.contains("bad joint"), "{said}");
    assert!(!said.contains("all right"), "{said}");
}

#[tokio::test]
pub async fn a_reserved_set_is_built_stands_loses_a_bar_and_is_struck() {
    let app = hall().await;
    let list = app.get("/designs").await;
    let at = list
        .texts("ul.rows li")
        .iter()
        .position(|row| row.contains("reserved"))
        .unwrap();
    let set = list.attributes("ul.rows .row-name a", "href")[at].clone();
    // Before it is done each change says what it does.
    let page = app.get(set.clone()).await;
    assert!(page.count("#next li") >= 3, "{}", page.text("#next"));
    let marks = async || {
        let all = app.get(format!("{set}/sheets/all")).await;
        all.texts(".sheet-mark strong")
    };
    let planned = marks().await;
    assert_eq!(press(&app, &set, "building").await.status, 303);

    let build = format!("{set}/build");
    let page = app.get(build.clone()).await;
    let steps = page.count("ol.steps > li");
    assert!(steps > 0);
    // What the bench needs is fetched too, a cut says of what, and wiring what feeds it.
    let said = page.texts("ol.steps > li");
    let of = |start: &str| {
        let steps = said.iter().filter(|step| step.starts_with(start));
        steps.cloned().collect::<Vec<_>>().join("\n")
    };
    assert!(of("Fetch").contains("for the bench"), "{}", of("Fetch"));
    let fuses = page.text(".also-fuses");
    assert!(fuses.contains("look in the box"), "{fuses}");
    assert!(of("Cut").contains(" long"), "{}", of("Cut"));
    assert!(of("Cut").contains(" for bar"), "{}", of("Cut"));
    assert!(of("Assemble bar").contains(" × "), "{}", of("Assemble"));
    assert!(!of("Test bar").is_empty());
    assert!(of("Wire").contains("inlet 1: from "), "{}", of("Wire"));
    for words in ["+ to + and − to −", "one conductor for +", "in the +: "] {
        assert!(of("Wire").contains(words), "{words}: {}", of("Wire"));
    }
    // The data chain is told once, with the last driver.
    assert_eq!(of("Wire").matches("Data: ").count(), 1, "{}", of("Wire"));
    // A tick can be taken back.
    let ticked = page
        .form("ol.steps form")
        .set("do", "tick")
        .send(&app)
        .await;
    assert_eq!(ticked.status, 303, "{}", ticked.text("main"));
    let page = app.get(build.clone()).await;
    assert_eq!(page.count("ol.steps > li.done"), 1);
    let back = page
        .form("ol.steps .done form")
        .set("do", "untick")
        .send(&app)
        .await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    assert_eq!(app.get(build.clone()).await.count("ol.steps > li.done"), 0);
    for done in 0..steps {
        let page = app.get(build.clone()).await;
        assert_eq!(page.count("ol.steps > li.done"), done);
        let page = page
            .form("ol.steps .now form")
            .set("do", "tick")
            .send(&app)
            .await;
        assert_eq!(page.status, 303, "{done}: {}", page.text("main"));
        let said = app.follow(&page).await;
        let stands = said.count(&format!("#flash a[href^='{set}']"));
        assert_eq!(stands, usize::from(done + 1 == steps), "{done}");
    }
    // What was moved at the bench makes no print old.
    assert_eq!(marks().await, planned);
    let thing = tried_at_the_bench(&app, &set).await;
    // All cable went out as it was wired, that of no bar too.
    let cable = async || {
        let mut rows = app.get(format!("{set}/strike")).await.texts(".strike li");
        rows.retain(|row| row.contains("Cable"));
        rows
    };
    let wired = cable().await;
    let page = press(&app, &set, "standing").await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    assert!(!wired.is_empty());
    assert_eq!(cable().await, wired);
    tried_before_the_show(&app, &set, &thing).await;

    let strike = format!("{set}/strike");
    let page = app.get(strike.clone()).await;
    let fixture = page
        .texts(".strike li")
        .iter()
        .position(|row| row.starts_with("F-"))
        .map(|at| page.attributes(".strike .row-name a", "href")[at].clone())
        .unwrap();
    let swap = app.get(format!("{fixture}/swap?differ=5+m")).await;
    assert_eq!(swap.status, 200);
    assert!(swap.count("#fit, #not") >= 1);
    assert!(swap.count("#fit li form") > 0, "{}", swap.text("main"));
    let page = swap
        .form("#fit li form")
        .set("condition", "dead")
        .send(&app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let old = app.get(fixture).await;
    assert!(old.text("main").contains("dead"));

    // It cannot be called struck while something is out.
    let page = app.get(set.clone()).await;
    assert!(
        page.text("#next").contains("Not yet"),
        "{}",
        page.text("#next")
    );
    let wrong = app
        .get(strike.clone())
        .await
        .form("#by-tag")
        .set("tag", "F-9999")
        .set("how", "good");
    let wrong = wrong.send(&app).await;
    assert_eq!(wrong.status, 422);
    assert_eq!(wrong.form("#by-tag").value("tag"), Some("F-9999"));
    let page = app.get(strike.clone()).await;
    // A typed tag goes where the thing came from, as its own row offers, unless a place is chosen.
    let row = page.form(".strike li form");
    let from = row.value("to").unwrap();
    let from = page
        .texts(&format!(".strike li:first-child option[value='{from}']"))
        .remove(0);
    let form = page.form("#by-tag");
    assert_eq!(form.value("to"), Some(""));
    let tag = page.texts(".strike li .row-name .tag").remove(0);
    let answer = form.set("tag", &tag).set("how", "good").send(&app).await;
    assert_eq!(answer.status, 303, "{}", answer.text("main"));
    // The label scanned a second time: refused beside the list, which stays.
    let second = app.get(strike.clone()).await.form("#by-tag");
    let second = second.set("tag", &tag).set("how", "good").send(&app).await;
    assert_eq!(second.status, 409, "{}", second.text("main"));
    let out = second.text("#out");
    assert!(out.contains("is not out with this set any more"), "{out}");
    assert!(second.count(".strike li") > 0, "{out}");
    let thing = page.attributes(".strike .row-name a", "href").remove(0);
    let lies = app.get(thing).await.text(".keys");
    assert!(!from.is_empty() && lies.contains(&from), "{lies}: {from}");
    // The rest at once, undone at once, and at once again: the dead one stays dead.
    let before = app.get(strike.clone()).await;
    assert!(before.count(".strike li") > 2, "{}", before.text("#out"));
    let all = app.get(strike.clone()).await.form("#rest").send(&app).await;
    assert_eq!(all.status, 303, "{}", all.text("main"));
    let empty = app.follow(&all).await;
    assert_eq!(empty.count(".strike li"), 0, "{}", empty.text("#out"));
    let undone = empty.form(".flash form").send(&app).await;
    assert_eq!(undone.status, 303, "{}", undone.text("main"));
    let again = app.get(strike.clone()).await;
    assert_eq!(again.texts(".strike li"), before.texts(".strike li"));
    let all = again.form("#rest").send(&app).await;
    assert_eq!(all.status, 303, "{}", all.text("main"));
    let returned = app.follow(&all).await;
    // A second tap from another page finds nothing left, and says so.
    let late = before
        .form("#rest")
        .set("press", "another")
        .send(&app)
        .await;
    assert_eq!(late.status, 409, "{}", late.text("main"));
    let page = app.get(strike).await;
    assert_eq!(page.count(".strike li"), 0, "{}", page.text("#out"));
    let asked = app.get(format!("{set}/state?to=struck")).await.text("#ask");
    assert!(asked.contains("cannot be taken back"), "{asked}");
    // With nothing open one press does it, here and on the set's own page.
    let own = app.get(set.clone()).await;
    assert_eq!(own.count("#next form button[value=struck]"), 1);
    let now = returned.form("#strike-now").set("to", "struck");
    assert_eq!(now.send(&app).await.status, 303);
    assert_eq!(app.get(set).await.text(".lead .mark"), "struck");
    // Nothing can be out with it again, not even by an undo.
    let late = returned.form(".flash form").send(&app).await;
    let said = app.follow(&late).await.text("#flash");
    assert!(said.contains("can be out with it again"), "{said}");
    let found = tapewright::stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn addresses_are_drawn_as_switches_and_go_out_as_a_spreadsheet() {
    let app = hall().await;
    let page = app.get("/designs/3/addresses").await;
    // Every driver of the sample has switches: nine numbers and nine levers each.
    let drivers = page.count("section:has(dl.facts)");
    assert!(drivers > 0);
    assert_eq!(page.count("svg .svg-fill"), 9 * drivers);
    let file = app.get("/designs/3/addresses.csv").await;
    assert_eq!(file.status, 200);
    let kind = file.header("content-type");
    assert!(kind.is_some_and(|kind| kind.starts_with("text/csv")));
    let mut lines = file.body.lines();
    let titles = lines.next().unwrap().trim_start_matches('\u{feff}').trim();
    assert_eq!(titles, "driver,universe,start,output,bar,colour,slot,set");
    // 6 bars of three colours and 6 of two.
    assert_eq!(lines.count(), 6 * 3 + 6 * 2);
}

#[tokio::test]
async fn the_cuts_say_what_each_further_soldered_end_saves() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let mut tables = 0;
    for set in 1..=3 {
        let page = app.get(format!("/designs/{set}/cuts")).await;
        assert_eq!(page.status, 200);
        if page.count("#soldering tbody") != 1 {
            continue;
        }
        tables += 1;
        let ends: Vec<u32> = page
            .texts("#soldering tbody td:first-child")
            .iter()
            .map(|ends| ends.parse().expect("a number"))
            .collect();
        assert!(
            ends.len() > 1 && ends.is_sorted_by(|a, b| a < b),
            "{ends:?}"
        );
        let saves = page.texts("#soldering tbody td:nth-child(3)");
        assert_eq!(saves[0], "");
        for (pair, saved) in ends.windows(2).zip(&saves[1..]) {
            let more = pair[1] - pair[0];
            assert!(saved.contains(&format!("by {more} more end")), "{saved}");
        }
        let first = &page.texts("#soldering tbody td:nth-child(2)")[0];
        assert!(page.text("#soldering p").contains(first.as_str()));
    }
    assert!(tables > 0, "the sample has a set that buys tape");
}

#[tokio::test]
async fn a_budget_below_zero_or_a_year_of_two_figures_comes_back_as_it_was_typed() {
    let app = hall().await;
    let edit = app.get("/designs/3/edit").await.form("main form.form");
    let wrong = edit
        .clone()
        .set("budget", "-5")
        .set("note", "ask the treasurer")
        .send(&app)
        .await;
    assert_eq!(wrong.status, 422, "{}", wrong.text("main"));
    assert!(wrong.text("#budget-error").contains("zero or more"));
    let form = wrong.form("main form.form");
    assert_eq!(form.value("budget"), Some("-5"));
    assert_eq!(form.value("note"), Some("ask the treasurer"));
    let slip = edit.set("strike_on", "0026-12-20").send(&app).await;
    assert_eq!(slip.status, 422);
    assert!(slip.text("#strike_on-error").contains("the year 26"));
}

#[tokio::test]
async fn a_standing_set_misses_what_went_bad_only_until_it_is_back() {
    let app = hall().await;
    let set = "/designs/2";
    for to in ["building", "standing"] {
        let page = press(&app, set, to).await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
    }
    // At the bench each finished bar is told with its length and where it goes.
    let steps = app.get(format!("{set}/build")).await.text("#steps");
    assert!(
        steps.contains("F-2 · RGB 24 V, diffused, 1200 mm: for bar 2"),
        "{steps}"
    );
    assert!(steps.contains("it is F-2"), "{steps}");
    let strike = format!("{set}/strike");
    let page = app.get(&strike).await;
    let thing = page.attributes(".strike .row-name a", "href")[0].clone();
    let marked = app
        .post(format!("{thing}/mark"), &[("condition", "suspect")])
        .await;
    assert_eq!(marked.status, 303, "{}", marked.text("main"));
    let said = app.follow(&marked).await.text("#flash");
    assert!(said.contains("that hold is broken now"), "{said}");
    let page = app.get(set).await;
    assert!(page.text("main").contains("is gone"));
    assert_eq!(page.count(&format!("#set-head a[href='{set}/reserve']")), 0);
    let back = app.get(&strike).await.form(".strike li form");
    let back = back.set("how", "suspect").send(&app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    assert!(!app.get(set).await.text("main").contains("is gone"));
    assert!(!app.get("/").await.text("main").contains("broken hold"));
}

#[tokio::test]
async fn after_a_bar_is_changed_one_is_back_at_its_row() {
    let app = hall().await;
    let page = app.get("/designs/3/bars").await;
    let bar = page.attributes("#bar-list th a", "href")[5].clone();
    let id = bar.rsplit('/').next().unwrap();
    let done = app
        .get(&bar)
        .await
        .form("form[data-draft]")
        .send(&app)
        .await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let row = format!("/designs/3/bars#bar-{id}");
    assert_eq!(done.header("location"), Some(row.as_str()));
    assert_eq!(page.count(&format!("tr#bar-{id}")), 1);
}

#[tokio::test]
async fn what_was_ticked_outlives_days_that_are_out_of_order() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let days = "build_on=2027-05-03&get_in=2027-05-04&strike_on=2027-05-09";
    let page = app.get(format!("/designs/new?{days}")).await;
    let all = page.attributes("input[name=all]", "value");
    let one = page
        .attributes("input[name=fixture]", "value")
        .pop()
        .unwrap();
    let first = all.iter().find(|key| key.contains('-')).unwrap();
    let refused = app
        .post(
            "/designs/new",
            &[
                ("name", "Next"),
                ("build_on", "2027-05-08"),
                ("get_in", "2027-05-04"),
                ("strike_on", "2027-05-09"),
                ("all", first),
                ("fixture", &one),
                ("press", "0123456789abcdef"),
            ],
        )
        .await;
    assert_eq!(refused.status, 422);
    assert!(refused.text("#free").contains("What you ticked is kept"));
    let made = refused
        .form("main form.stack")
        .set("build_on", "2027-05-03")
        .send(&app)
        .await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let bars = app
        .get(format!("{}/bars", made.header("location").unwrap()))
        .await;
    let ticked = first.split('-').filter(|id| *id != one).count() + 1;
    assert_eq!(bars.count("tr[id^=bar-]"), ticked);
}
