//! Parts and stock as CSV over the API.

use serde_json::{Value, json};

use super::{API, get, read, shelf, tape};
use crate::help::{Page, TestApp};

async fn send(app: &TestApp, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Page {
    let mut all = vec![("content-type", "text/csv"), ("tapewright-who", "Ada")];
    all.extend_from_slice(headers);
    app.request("POST", format!("{API}/csv/{path}"), &all, body.to_vec())
        .await
}

#[tokio::test]
pub async fn a_file_goes_out_and_in_and_its_movements_are_named() {
    let app = TestApp::new().await;
    shelf(&app).await;
    tape(&app).await;
    let file = get(&app, "/csv/parts?kind=tape").await;
    assert_eq!(file.status, 200);
    assert!(file.header("content-type").unwrap().starts_with("text/csv"));
    assert!(
        file.body
            .starts_with("kind,name,code,voltage (V),width (mm),"),
        "{}",
        file.body
    );
    let same = send(&app, "parts?dry_run=true", &[], file.body.as_bytes()).await;
    assert_eq!(same.status, 200, "{}", same.body);
    assert_eq!(same.value()["unchanged"], 1);

    let text = b"part,tag,length (m),place\nTape RGBW,R-4,5,Shelf B\nTape RGBW,,1.2,Shelf B\n";
    let said = send(&app, "stock?dry_run=true", &[], text).await.value();
    assert_eq!(
        (&said["dry_run"], &said["new"], &said["movements"]),
        (&json!(true), &json!(2), &json!([]))
    );
    assert_eq!(said["rows"][0]["name"], "R-4, Tape RGBW");
    assert_eq!(read(&app, "/things").await["items"], json!([]));

    let key = [("idempotency-key", "one-and-the-same")];
    let done = send(&app, "stock", &key, text).await;
    assert_eq!(done.status, 200, "{}", done.body);
    let done = done.value();
    assert_eq!((&done["dry_run"], &done["new"]), (&json!(false), &json!(2)));
    // The same request under the same key is carried out once.
    let again = send(&app, "stock", &key, text).await;
    assert_eq!(again.value(), done);
    assert_eq!(
        read(&app, "/things").await["items"]
            .as_array()
            .unwrap()
            .len(),
        2
    );
    let other = send(&app, "stock?make_places=true", &key, text).await;
    assert_eq!(other.status, 422, "{}", other.body);

    let movement = &done["movements"][0];
    let entry = read(&app, &format!("/movements/{movement}")).await;
    assert_eq!(entry["lines"].as_array().unwrap().len(), 2);
    assert_eq!(entry["reason"], "read from a file");
    let file = get(&app, "/csv/stock?what=piece&titles=true").await;
    assert_eq!(file.body.lines().count(), 1);
}

#[tokio::test]
async fn what_is_wrong_is_a_problem_with_line_and_column() {
    let app = TestApp::new().await;
    shelf(&app).await;
    tape(&app).await;
    let text = b"part,length (mm),place\nTape RGBW,-5,Shelf B\nRope,-5,Shelf C\n";
    let page = send(&app, "stock", &[], text).await;
    assert_eq!(page.status, 422);
    assert_eq!(
        page.header("content-type"),
        Some("application/problem+json")
    );
    let errors = page.value()["errors"].clone();
    assert_eq!(errors[0]["line"], 2);
    assert_eq!(errors[0]["column"], "length (mm)");
    assert!(errors[0]["pointer"].is_null());
    // A row that can't be read is still looked up by its part.
    for (at, column) in [(1, "length (mm)"), (2, "part")] {
        assert_eq!(errors[at]["line"], 3, "{errors}");
        assert_eq!(errors[at]["column"], column, "{errors}");
    }
    let page = send(&app, "parts", &[], b"").await;
    assert_eq!(page.status, 422);
    assert!(page.value()["errors"][0]["line"].is_null(), "{}", page.body);
    let page = send(&app, "stock", &[], b"part,note\nx,Ger\xe4t\n").await;
    assert_eq!(page.value()["errors"][0]["line"], 2);

    let json = app
        .json("POST", format!("{API}/csv/stock"), &[], &json!({"part": 1}))
        .await;
    assert_eq!(json.status, 415);
    let large = vec![b'a'; 2 * 1024 * 1024 + 1];
    assert_eq!(send(&app, "stock", &[], &large).await.status, 413);
    let larger = vec![b'a'; 12 * 1024 * 1024];
    assert_eq!(send(&app, "stock", &[], &larger).await.status, 413);
    for path in [
        "/csv/parts?kind=rope",
        "/csv/stock?what=all",
        "/csv/stock?dry_run=maybe",
    ] {
        let page = app
            .json("GET", format!("{API}{path}"), &[], &Value::Null)
            .await;
        assert_eq!(page.status, 422, "{path}: {}", page.body);
    }
}
