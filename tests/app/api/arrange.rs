//! Arranging bars over JSON: all steps or none, on the version that was read, once under a key.

use serde_json::{Value, json};

use super::{API, add, done, pointers, read};
use crate::help::{Page, TestApp};

/// A set with three level bars of 1 m, one above the other, the first two on a frame.
async fn set(app: &TestApp) -> (i64, Vec<i64>, i64) {
    let dates =
        json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
    let id = add(app, "/designs", json!({"name": "Spring", "dates": dates})).await;
    let frame = json!({"label": "Frame", "width_um": 1_200_000, "height_um": 2_000_000});
    let frame = done(app, &format!("/designs/{id}/frames"), frame).await["added_frames"][0]
        .as_i64()
        .unwrap();
    let mut bars = Vec::new();
    for at in 0..3_i64 {
        let bar = json!({
            "label": format!("Bar {}", at + 1), "length_um": 1_000_000, "channels": ["white"],
            "diffused": true, "y_um": at * 500_000, "shorter_um": 20_000,
            "frame": (at < 2).then_some(frame),
        });
        let added = done(app, &format!("/designs/{id}/bars"), json!({"bar": bar})).await;
        bars.push(added["added"][0].as_i64().unwrap());
    }
    (id, bars, frame)
}

async fn tag(app: &TestApp, id: i64) -> String {
    let page = super::get(app, &format!("/designs/{id}")).await;
    page.header("etag").unwrap().to_owned()
}

async fn send(app: &TestApp, id: i64, headers: &[(&str, &str)], body: Value) -> Page {
    let path = format!("{API}/designs/{id}/bars/arrange");
    app.json("POST", path, headers, &body).await
}

async fn arrange(app: &TestApp, id: i64, steps: Value) -> Page {
    let tag = tag(app, id).await;
    send(app, id, &[("if-match", &tag)], json!({ "steps": steps })).await
}

async fn places(app: &TestApp, id: i64) -> Vec<[i64; 4]> {
    let set = read(app, &format!("/designs/{id}")).await;
    let bars = set["bars"].as_array().unwrap();
    let of = |bar: &Value| {
        ["x_um", "y_um", "angle_mdeg", "length_um"].map(|name| bar[name].as_i64().unwrap())
    };
    bars.iter().map(of).collect()
}

#[tokio::test]
pub async fn several_steps_are_one_change() {
    let app = TestApp::new().await;
    let (id, bars, frame) = set(&app).await;
    let before = read(&app, &format!("/designs/{id}")).await["version"].as_i64();
    let page = arrange(
        &app,
        id,
        json!([
            {"do": "move", "frames": [frame], "dx_um": 100, "dy_um": 7},
            {"do": "turn", "bars": [bars[2]], "turn_mdeg": 90_000, "about": "start"},
            {"do": "copy", "bars": [bars[2]], "copies": 2, "dx_um": 300_000},
            {"do": "lengthen", "bars": [bars[2]], "by_um": -400_000, "keep": "start"},
        ]),
    )
    .await;
    assert_eq!(page.status, 200, "{}", page.body);
    let said = page.value();
    assert_eq!(said["version"].as_i64(), before.map(|version| version + 1));
    assert_eq!(said["added"].as_array().map(Vec::len), Some(2));
    assert_eq!(
        page.header("etag"),
        Some(&*format!("\"design-{id}-{}\"", said["version"]))
    );
    assert_eq!(
        places(&app, id).await,
        [
            [100, 7, 0, 1_000_000],
            [100, 500_007, 0, 1_000_000],
            [0, 1_000_000, 90_000, 600_000],
            [300_000, 1_000_000, 90_000, 1_000_000],
            [600_000, 1_000_000, 90_000, 1_000_000],
        ]
    );
    let set = read(&app, &format!("/designs/{id}")).await;
    assert_eq!(set["frames"][0]["x_um"], 100);
    assert_eq!(set["bars"][4]["label"], "Bar 5");
}

#[tokio::test]
async fn what_was_taken_out_is_answered_and_comes_back() {
    let app = TestApp::new().await;
    let (id, bars, frame) = set(&app).await;
    let whole = read(&app, &format!("/designs/{id}")).await;
    let steps = json!([{"do": "remove", "bars": [bars[0]], "frames": [frame]}]);
    let gone = arrange(&app, id, steps).await.value();
    assert_eq!(gone["removed"][0], whole["bars"][0]);
    assert_eq!(gone["removed_frames"][0], whole["frames"][0]);
    let back = json!([{"do": "restore", "bars": gone["removed"], "at": [1],
        "frames": [{"frame": gone["removed_frames"][0], "bars": [bars[1]]}]}]);
    let page = arrange(&app, id, back).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let now = read(&app, &format!("/designs/{id}")).await;
    let frame = &now["frames"][0]["id"];
    let on: Vec<_> = now["bars"]
        .as_array()
        .unwrap()
        .iter()
        .map(|bar| &bar["frame"])
        .collect();
    // Asked for as the second.
    assert_eq!(on, [frame, frame, &Value::Null]);
    assert_eq!(now["bars"][1]["label"], "Bar 1");
    assert_eq!(page.value()["added"][0], now["bars"][1]["id"]);
}

#[tokio::test]
async fn what_is_wrong_is_pointed_at_and_nothing_is_changed() {
    let app = TestApp::new().await;
    let (id, bars, _) = set(&app).await;
    let one = bars[0];
    let fine = json!({"do": "move", "bars": [one], "dx_um": 5});
    let before = read(&app, &format!("/designs/{id}")).await;
    for (step, pointer) in [
        (
            json!({"do": "move", "bars": [], "dx_um": 5}),
            "/steps/1/bars",
        ),
        (
            json!({"do": "move", "bars": [987_654], "dx_um": 5}),
            "/steps/1/bars",
        ),
        (
            json!({"do": "move", "frames": [987_654], "dx_um": 5}),
            "/steps/1/frames",
        ),
        (
            json!({"do": "move", "bars": [one], "dx_um": 1_000_000_000}),
            "/steps/1/dx_um",
        ),
        (
            json!({"do": "turn", "bars": [one], "turn_mdeg": 400_000, "about": "all"}),
            "/steps/1/turn_mdeg",
        ),
        (
            json!({"do": "resize", "bars": [one], "length_um": 20_000, "keep": "end"}),
            "/steps/1/length_um",
        ),
        (
            json!({"do": "lengthen", "bars": [one], "by_um": -1_000_000, "keep": "end"}),
            "/steps/1/by_um",
        ),
        (
            json!({"do": "copy", "bars": [one], "copies": 0}),
            "/steps/1/copies",
        ),
        (
            json!({"do": "copy", "bars": [one], "copies": 998}),
            "/steps/1/copies",
        ),
        (
            json!({"do": "align", "bars": [one], "to": "left"}),
            "/steps/1/bars",
        ),
        (
            json!({"do": "hang", "bars": [one], "frame": 987_654}),
            "/steps/1/frame",
        ),
        (
            json!({"do": "add", "like": 987_654, "x_um": 0, "y_um": 0}),
            "/steps/1/like",
        ),
        (
            json!({"do": "place", "bars": [{"bar": one, "x_um": 0, "y_um": 0, "angle_mdeg": 360_001, "length_um": 50_000}]}),
            "/steps/1/angle_mdeg",
        ),
        (
            json!({"do": "restore", "bars": [before["bars"][0]]}),
            "/steps/1/label",
        ),
    ] {
        let page = arrange(&app, id, json!([fine, step])).await;
        assert_eq!(page.status, 422, "{step}: {}", page.body);
        assert_eq!(pointers(&page), [pointer], "{step}: {}", page.body);
    }
    for steps in [json!([]), json!(vec![fine.clone(); 51])] {
        let page = arrange(&app, id, steps).await;
        assert_eq!(
            (page.status, pointers(&page)),
            (422, vec!["/steps".to_owned()])
        );
    }
    // What cannot be read at all.
    for step in [
        json!({"do": "dance", "bars": [one]}),
        json!({"do": "move", "bars": [one], "dx_um": 2_000_000_000}),
        json!({"do": "move", "bars": [one], "dz_um": 5}),
        json!({"do": "align", "bars": [one], "to": "somewhere"}),
    ] {
        let page = arrange(&app, id, json!([step])).await;
        assert_eq!(page.status, 422, "{step}: {}", page.body);
        assert!(pointers(&page)[0].starts_with("/steps"), "{}", page.body);
    }
    assert_eq!(read(&app, &format!("/designs/{id}")).await, before);
}

#[tokio::test]
async fn it_is_done_on_the_version_that_was_read_and_once_under_a_key() {
    let app = TestApp::new().await;
    let (id, bars, _) = set(&app).await;
    let body = json!({"steps": [{"do": "move", "bars": [bars[0]], "dx_um": 5}]});
    let unnamed = send(&app, id, &[], body.clone()).await;
    assert_eq!(unnamed.status, 428, "{}", unnamed.body);
    let old = tag(&app, id).await;
    assert_eq!(unnamed.header("etag"), Some(&*old));
    let headers = [("if-match", &*old), ("idempotency-key", "one-gesture-1")];
    let first = send(&app, id, &headers, body.clone()).await;
    assert_eq!(first.status, 200, "{}", first.body);
    // The answer was lost, and the gesture is sent again with what it was made from.
    let again = send(&app, id, &headers, body.clone()).await;
    assert_eq!((again.status, &again.body), (200, &first.body));
    assert_eq!(again.header("etag"), first.header("etag"));
    assert_eq!(places(&app, id).await[0][0], 5);
    // Another gesture made from the same is refused, and says what is stored.
    let other = [("if-match", &*old), ("idempotency-key", "one-gesture-2")];
    let late = send(&app, id, &other, body.clone()).await;
    assert_eq!(late.status, 412, "{}", late.body);
    assert_eq!(late.header("etag"), first.header("etag"));
    // The same key for something else is no repeat.
    let else_body = json!({"steps": [{"do": "move", "bars": [bars[1]], "dx_um": 5}]});
    assert_eq!(send(&app, id, &headers, else_body).await.status, 422);
    assert_eq!(places(&app, id).await[0][0], 5);
    let none = send(&app, 987_654, &[("if-match", "*")], body).await;
    assert_eq!(none.status, 404);
}
