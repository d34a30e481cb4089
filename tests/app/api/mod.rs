//! The API: its document, its preconditions, its refusals, and the whole job over JSON.

#![expect(
    clippy::unwrap_used,
    reason = "what a test reads is as it says, or the test fails"
)]

use serde_json::{Value, json};

use crate::help::{Browser, Page};

pub mod arrange;
mod calc;
pub mod csv;
mod document;
pub mod edit;
pub mod job;
pub mod order;
pub mod pins;
mod refused;
pub mod stock;

/// Where the API begins.
const API: &str = "/api/v1";

pub async fn get(app: &Browser, path: &str) -> Page {
    app.json("GET", format!("{API}{path}"), &[], &Value::Null)
        .await
}

pub async fn post(app: &Browser, path: &str, body: Value) -> Page {
    post_with(app, path, &[("tapewright-who", "Ada")], body).await
}

async fn post_with(app: &Browser, path: &str, headers: &[(&str, &str)], body: Value) -> Page {
    app.json("POST", format!("{API}{path}"), headers, &body)
        .await
}

pub async fn put(app: &Browser, path: &str, etag: &str, body: Value) -> Page {
    app.json("PUT", format!("{API}{path}"), &[("if-match", etag)], &body)
        .await
}

/// What was read: 200 and its JSON.
pub async fn read(app: &Browser, path: &str) -> Value {
    let page = get(app, path).await;
    assert_eq!(page.status, 200, "{path}: {}", page.body);
    page.value()
}

/// What was done: 201 and its JSON.
pub async fn done(app: &Browser, path: &str, body: Value) -> Value {
    let page = post(app, path, body).await;
    assert_eq!(page.status, 201, "{path}: {}", page.body);
    page.value()
}

/// The id of what was added.
pub async fn add(app: &Browser, path: &str, body: Value) -> i64 {
    done(app, path, body).await["id"].as_i64().expect("an id")
}

/// The pointers of a refusal.
fn pointers(page: &Page) -> Vec<String> {
    page.value()["errors"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|error| error["pointer"].as_str())
        .map(ToOwned::to_owned)
        .collect()
}

pub async fn shelf(app: &Browser) -> i64 {
    add(app, "/places", json!({"name": "Shelf B", "kind": "shelf"})).await
}

/// A tape of 24 V in RGBW, cut every 50 mm, as bought in rolls of 5 m.
pub async fn tape(app: &Browser) -> i64 {
    let spec = json!({
        "kind": "tape", "voltage_mv": 24_000, "width_um": 12_000,
        "channels": [
            {"channel": "red", "power_mw_per_m": 4_000}, {"channel": "green", "power_mw_per_m": 4_000},
            {"channel": "blue", "power_mw_per_m": 4_000}, {"channel": "white", "power_mw_per_m": 5_000},
        ],
        "pitch": {"units": 1, "um": 50_000}, "rolls_um": [5_000_000],
    });
    add(app, "/parts", json!({"name": "Tape RGBW", "spec": spec})).await
}
