//! What is likely with a thing in the hand, the bars tried on a show day, and what failed.

use serde_json::json;

use crate::help::TestApp;
use tapewright::sample;

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// The tags of the rows on the show day of a set.
async fn tags(app: &TestApp, set: &str) -> Vec<String> {
    app.get(format!("{set}/show-day"))
        .await
        .texts("#try .row-name .tag")
}

#[tokio::test]
pub async fn a_scanned_bar_offers_three_likely_taps_and_a_bad_one_what_replaces_it() {
    let app = hall().await;
    // Find one that lies in a place and is good.
    let fixtures = app.get("/fixtures?state=free").await;
    let href = fixtures.attributes("#fixtures a.tag", "href").remove(0);
    let page = app.get(&href).await;
    let labels = page.texts(".likely .btn");
    assert_eq!(labels.len(), 3, "{labels:?}");
    assert_eq!(labels[0], "Put it into a set");
    assert_eq!(labels[1], "Mark it suspect");

    let into = app.get(format!("{href}/into")).await;
    assert_eq!(into.status, 200);
    assert!(into.count("main form[action$='/reuse/pick']") >= 1);
    let put = into
        .form("main form[action$='/reuse/pick']")
        .set("do", "add")
        .send(&app)
        .await;
    assert_eq!(put.status, 303, "{}", put.text("main"));

    // Each mark, and what could replace it, is offered once.
    let below = page.texts("form[aria-label=Condition] button");
    assert_eq!(below, ["dead"]);
    assert_eq!(
        page.count("main a[href$='/swap'], header a[href$='/swap']"),
        1
    );

    let marked = page.form(".likely form").send(&app).await;
    assert_eq!(marked.status, 303);
    let page = app.get(&href).await;
    let labels = page.texts(".likely .btn");
    assert_eq!(labels[0], "What replaces it");
    assert!(
        labels.contains(&"Win its parts back".to_owned()),
        "{labels:?}"
    );
    let repairs = app.get("/repairs").await;
    let tag = page.text("h1 .tag");
    assert!(repairs.texts("main .row-name .tag").contains(&tag));

    // A mark set in that list leads back to it.
    let row = format!("form[action='{href}/mark']");
    let good = repairs.form(&row).set("condition", "good").send(&app).await;
    assert_eq!(good.header("location"), Some("/repairs"));
    let back = app.follow(&good).await;
    assert!(
        back.text("#flash")
            .contains(&format!("{tag} is marked good."))
    );
    assert!(!back.texts("main .row-name .tag").contains(&tag));
    let again = [("condition", "suspect")];
    let marked = app.post(format!("{href}/mark"), &again).await;
    // With its message, which holds a form of its own.
    app.follow(&marked).await;

    let apart = app.get(format!("{href}/apart")).await;
    let done = apart.form("main form").send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let repairs = app.follow(&done).await;
    assert!(!repairs.texts("main .row-name .tag").contains(&tag));
    let undone = repairs.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303);
    assert!(app.get(&href).await.text(".states").contains("suspect"));
    assert_eq!(app.get("/things/99999/into").await.status, 404);
    assert_eq!(app.get("/things/99999/apart").await.status, 404);
    let roll = app.get("/tag/R-3").await;
    let roll = roll.header("location").unwrap().to_owned();
    assert_eq!(app.get(format!("{roll}/apart")).await.status, 409);
    assert!(
        app.get(&roll)
            .await
            .texts(".likely .btn")
            .contains(&"Cut it".to_owned())
    );
}

#[tokio::test]
async fn what_is_on_stage_comes_back_by_one_tap_to_where_it_lay() {
    let app = hall().await;
    let fixtures = app.get("/fixtures?state=free").await;
    let href = fixtures.attributes("#fixtures a.tag", "href").remove(0);
    let id: i64 = href.trim_start_matches("/things/").parse().unwrap();
    let out = json!({"what": [{"is": "thing", "thing": id}], "design": 3});
    let out = app
        .json("POST", "/api/v1/movements/take-out", &[], &out)
        .await;
    assert_eq!(out.status, 201, "{}", out.body);
    let page = app.get(&href).await;
    let first = page.texts(".likely .btn").remove(0);
    assert!(first.starts_with("Back into "), "{first}");
    let back = page.form(".likely form").send(&app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    let page = app.get(&href).await;
    let place = first.trim_start_matches("Back into ").to_owned();
    assert!(
        page.text(".keys").contains(&place),
        "{}",
        page.text(".keys")
    );
}

#[tokio::test]
pub async fn bars_are_tried_and_one_that_fails_is_suspect() {
    let app = hall().await;
    let set = "/designs/2";
    let tags = tags(&app, set).await;
    assert!(!tags.is_empty());
    let page = app.get(format!("{set}/show-day")).await;
    assert!(page.text("#try").contains("0 of"));
    // The driver by the name that every other page gives it.
    let output = page.texts("#try .row-sub").remove(0);
    let wiring = app.get(format!("{set}/wiring")).await.text("main");
    let driver = output.split(" output ").next().unwrap().trim();
    assert!(!driver.is_empty() && wiring.contains(driver), "{output}");
    let form = |page: &crate::help::Page| page.form("#try form");
    let thing = form(&page).value("thing").unwrap().to_owned();

    let good = form(&page)
        .set("how", "good")
        .set("far_mv", "23.1")
        .send(&app)
        .await;
    assert_eq!(good.status, 303, "{}", good.text("main"));
    let page = app.follow(&good).await;
    assert!(page.text("#try").contains("1 of"));
    assert!(page.text("#try .row").contains("23.1 V at the far end"));

    // What cannot be is said, and comes back as it was typed.
    for (field, value) in [("far_mv", "bright"), ("far_mv", "230 V"), ("how", "maybe")] {
        let refused = form(&page)
            .set("how", "good")
            .set(field, value)
            .set("note", "third from the left")
            .send(&app)
            .await;
        assert_eq!(refused.status, 422, "{field} {value}");
        assert!(refused.count("#try .error, #try [role=alert]") > 0);
        if field == "far_mv" {
            assert_eq!(refused.count("#try [name=far_mv][aria-invalid]"), 1);
        }
        assert_eq!(form(&refused).value("note"), Some("third from the left"));
    }
    let both = app
        .post(
            format!("{set}/show-day"),
            &[("thing", &thing), ("how", "good"), ("dark", "red")],
        )
        .await;
    assert_eq!(both.status, 422);

    let bad = form(&page)
        .set("how", "bad")
        .set("note", "flickers")
        .send(&app)
        .await;
    assert_eq!(bad.status, 303, "{}", bad.text("main"));
    let page = app.follow(&bad).await;
    assert!(page.text("#try .row").contains("suspect"));
    assert_eq!(page.count("#flash form"), 1);
    let one = app.get(format!("/things/{thing}")).await;
    assert!(one.text("main").contains("flickers"));

    // The same through the API, and what it refuses.
    let path = format!("/api/v1/things/{thing}/tests");
    let list = app.json("GET", &path, &[], &json!(null)).await.value();
    assert_eq!(list.as_array().map(Vec::len), Some(2));
    assert_eq!(list[0]["full_good"], json!(false));
    assert_eq!(list[1]["far_mv"], json!(23_100));
    for (body, pointer) in [
        (
            json!({"kind": "bench", "full_good": true, "dark": ["amber"]}),
            "/dark",
        ),
        (
            json!({"kind": "bench", "full_good": true, "far_mv": 230_000}),
            "/far_mv",
        ),
    ] {
        let refused = app.json("POST", &path, &[], &body).await;
        assert_eq!(refused.status, 422, "{}", refused.body);
        assert!(refused.body.contains(pointer), "{}", refused.body);
    }
    let added = app
        .json(
            "POST",
            &path,
            &[],
            &json!({"kind": "pre_show", "full_good": true}),
        )
        .await;
    assert_eq!(added.status, 201, "{}", added.body);
    assert_eq!(
        app.json("GET", "/api/v1/things/99999/tests", &[], &json!(null))
            .await
            .status,
        404
    );
}

#[tokio::test]
async fn the_bench_shows_one_skill_alone() {
    let app = hall().await;
    let all = app.get("/designs/1/build").await;
    let skills = all.texts("#steps .chips a");
    assert!(skills.len() > 2, "{skills:?}");
    let one = app.get("/designs/1/build?skill=cut").await;
    assert!(one.count("ol.steps li") < all.count("ol.steps li"));
    assert_eq!(one.count("#steps h2"), 1);
    let odd = app.get("/designs/1/build?skill=juggle").await;
    assert_eq!(odd.count("ol.steps li"), all.count("ol.steps li"));
}

#[tokio::test]
async fn nothing_is_tried_for_a_draft() {
    let app = hall().await;
    let made = app
        .get("/designs/2/copy")
        .await
        .form("main form")
        .set("name", "Harvest Hop")
        .set("build_on", "2026-05-04")
        .set("get_in", "2026-05-05")
        .set("strike_on", "2026-05-06")
        .send(&app)
        .await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let set = made.header("location").unwrap();
    let set = set.trim_end_matches("/bars");
    let page = app.get(format!("{set}/show-day")).await;
    let bar = page.attributes("#try .row", "id").remove(0);
    assert_eq!(page.count("#try form"), 0);
    let tried = [("thing", bar.trim_start_matches('t')), ("how", "good")];
    let refused = app.post(format!("{set}/show-day"), &tried).await;
    assert_eq!(refused.status, 409, "{}", refused.text("main"));
    let said = refused.text("main");
    assert!(said.contains("Nothing was noted"), "{said}");
}
