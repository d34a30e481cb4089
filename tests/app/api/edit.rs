//! What is edited: entity tags, and nothing overwritten unseen.

use serde_json::{Value, json};

use super::{API, add, get, put, read, shelf, tape};
use crate::help::TestApp;

fn dates() -> Value {
    json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"})
}

/// Everything that is edited: its address, and two bodies that change it.
async fn edited(app: &TestApp) -> Vec<(String, Value, Value)> {
    let place = shelf(app).await;
    let part = tape(app).await;
    let spec = read(app, &format!("/parts/{part}")).await["spec"].clone();
    let supplier = add(
        app,
        "/suppliers",
        json!({"name": "First", "delivery_days": 3}),
    )
    .await;
    let offer = add(
        app,
        &format!("/parts/{part}/offers"),
        json!({"supplier": supplier, "pack_amount": 5_000_000, "price_minor": 4_200}),
    )
    .await;
    let design = add(app, "/designs", json!({"name": "Spring", "dates": dates()})).await;
    let at = format!("/designs/{design}");
    let bar =
        json!({"label": "Bar 1", "length_um": 1_000_000, "channels": ["white"], "diffused": true});
    let added = super::done(app, &format!("{at}/bars"), json!({"bar": bar})).await;
    let bar_id = added["added"][0].as_i64().unwrap();
    super::done(
        app,
        &format!("{at}/frames"),
        json!({"label": "Frame", "width_um": 1, "height_um": 1}),
    )
    .await;
    super::done(
        app,
        &format!("{at}/extras"),
        json!({"part": part, "amount": 5}),
    )
    .await;
    let whole = read(app, &at).await;
    let (frame, extra) = (&whole["frames"][0]["id"], &whole["extras"][0]["id"]);
    let thing = super::done(
        app,
        "/movements/receive",
        json!({"part": part, "to": place,
               "goods": {"is": "pieces", "number": 1, "length_um": 5_000_000, "as_bought": true}}),
    )
    .await["things"][0]
        .as_i64()
        .unwrap();
    let venue = |name: &str| {
        json!({"name": name, "length_unit": "mm", "currency": {"code": "EUR", "digits": 2},
               "prices_include_tax": true, "zone": "UTC", "usable_offcut_um": 100_000,
               "spare_percent": 5, "same_day_turnaround": false, "order_slack_days": 2})
    };
    let with = |value: &Value, field: &str, new: Value| {
        let mut value = value.clone();
        value[field] = new;
        value
    };
    let supplier_body = json!({"name": "Second", "delivery_days": 4});
    let offer_body = json!({"supplier": supplier, "pack_amount": 5_000_000, "price_minor": 4_300});
    let frame_body = json!({"label": "Left", "width_um": 2, "height_um": 2});
    let extra_body = json!({"part": part, "amount": 6});
    vec![
        (
            "/venue".into(),
            venue("Millpond Hall"),
            venue("Another hall"),
        ),
        (
            format!("/places/{place}"),
            json!({"parent": null, "name": "Shelf C", "kind": "shelf", "position": 1}),
            json!({"parent": null, "name": "Shelf D", "kind": "shelf", "position": 1}),
        ),
        (
            format!("/parts/{part}"),
            json!({"name": "Tape one", "spec": spec}),
            json!({"name": "Tape two", "spec": spec}),
        ),
        (
            format!("/suppliers/{supplier}"),
            supplier_body.clone(),
            with(&supplier_body, "delivery_days", json!(5)),
        ),
        (
            format!("/offers/{offer}"),
            offer_body.clone(),
            with(&offer_body, "price_minor", json!(4_400)),
        ),
        (
            at.clone(),
            json!({"name": "Summer", "dates": dates()}),
            json!({"name": "Autumn", "dates": dates()}),
        ),
        (
            format!("{at}/bars/{bar_id}"),
            with(&bar, "length_um", json!(1_100_000)),
            with(&bar, "length_um", json!(1_200_000)),
        ),
        (
            format!("{at}/frames/{frame}"),
            frame_body.clone(),
            with(&frame_body, "label", json!("Right")),
        ),
        (
            format!("{at}/extras/{extra}"),
            extra_body.clone(),
            with(&extra_body, "amount", json!(7)),
        ),
        (
            format!("/things/{thing}/notes"),
            json!({"note": "one"}),
            json!({"note": "two"}),
        ),
    ]
}

#[tokio::test]
pub async fn nothing_is_overwritten_unseen() {
    let app = TestApp::new().await;
    for (path, mine, theirs) in edited(&app).await {
        let before = get(&app, &path).await;
        let tag = before
            .header("etag")
            .unwrap_or_else(|| panic!("{path} has no tag"))
            .to_owned();
        assert!(tag.starts_with('"'), "{path}: {tag} is not strong");

        let bare = app.json("PUT", format!("{API}{path}"), &[], &mine).await;
        assert_eq!(bare.status, 428, "{path}: {}", bare.body);
        assert_eq!(bare.header("etag"), Some(&*tag), "{path}");
        let weak = put(&app, &path, &format!("W/{tag}"), mine.clone()).await;
        assert_eq!(weak.status, 412, "{path}: a weak tag is no match");

        let first = put(&app, &path, &tag, theirs.clone()).await;
        assert_eq!(first.status, 200, "{path}: {}", first.body);
        let now = first.header("etag").expect("a tag").to_owned();
        assert_ne!(now, tag, "{path}");

        let second = put(&app, &path, &tag, mine.clone()).await;
        assert_eq!(second.status, 412, "{path}: {}", second.body);
        assert_eq!(second.header("etag"), Some(&*now), "{path}");
        assert_eq!(
            second.header("content-type"),
            Some("application/problem+json")
        );
        let stored = get(&app, &path).await;
        assert_eq!(stored.header("etag"), Some(&*now), "{path}");
        let (stored, was) = (stored.value(), before.value());
        for (field, sent) in theirs.as_object().unwrap() {
            if stored[field] != was[field] {
                assert_eq!(&stored[field], sent, "{path} {field}");
            }
        }
        assert_ne!(stored, was, "{path}");

        let again = put(&app, &path, &now, mine).await;
        assert_eq!(again.status, 200, "{path}: {}", again.body);
    }
}

#[tokio::test]
async fn what_the_client_has_is_not_sent_again() {
    let app = TestApp::new().await;
    for (path, mine, _) in edited(&app).await {
        let tag = get(&app, &path).await.header("etag").unwrap().to_owned();
        let ask = |given: String| {
            let path = format!("{API}{path}");
            let app = &app;
            async move {
                app.json("GET", path, &[("if-none-match", &given)], &Value::Null)
                    .await
            }
        };
        let same = ask(format!("\"other\", W/{tag}")).await;
        assert_eq!((same.status, same.body.as_str()), (304, ""), "{path}");
        assert_eq!(same.header("etag"), Some(&*tag), "{path}");
        put(&app, &path, &tag, mine).await;
        assert_eq!(ask(tag.clone()).await.status, 200, "{path}");
    }
}

#[tokio::test]
async fn what_has_no_version_is_not_sent_again_either() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    for path in [
        "/places",
        "/parts",
        "/movements",
        "/openapi.json",
        "/csv/parts",
        "/people",
    ] {
        let page = get(&app, path).await;
        let tag = page.header("etag").unwrap().to_owned();
        assert!(tag.starts_with("W/"), "{path}: {tag}");
        for (given, status) in [
            (tag.clone(), 304),
            (format!("\"x\", {tag}"), 304),
            ("\"x\"".into(), 200),
        ] {
            let headers = [("if-none-match", &*given)];
            let again = app
                .json("GET", format!("{API}{path}"), &headers, &Value::Null)
                .await;
            assert_eq!(again.status, status, "{path}: {given}");
            assert_eq!(again.header("etag"), Some(&*tag), "{path}");
            assert_eq!(again.body.is_empty(), status == 304, "{path}");
        }
    }
    let before = get(&app, "/places").await;
    let edited = json!({"parent": null, "name": "Shelf C", "kind": "shelf", "position": 1});
    let tag = get(&app, &format!("/places/{place}")).await;
    put(
        &app,
        &format!("/places/{place}"),
        tag.header("etag").unwrap(),
        edited,
    )
    .await;
    assert_ne!(
        get(&app, "/places").await.header("etag"),
        before.header("etag")
    );
    // What is refused has none.
    assert_eq!(get(&app, "/parts?limit=0").await.header("etag"), None);
}

#[tokio::test]
pub async fn a_delete_needs_the_version_too() {
    let app = TestApp::new().await;
    let part = tape(&app).await;
    let path = format!("{API}/parts/{part}");
    let delete = |tag: Option<String>| {
        let (app, path) = (&app, path.clone());
        async move {
            let header = tag.as_deref().map(|tag| ("if-match", tag));
            app.json("DELETE", path, header.as_slice(), &Value::Null)
                .await
        }
    };
    assert_eq!(delete(None).await.status, 428);
    assert_eq!(delete(Some("\"part-0-0\"".into())).await.status, 412);
    let tag = get(&app, &format!("/parts/{part}"))
        .await
        .header("etag")
        .unwrap()
        .to_owned();
    assert_eq!(delete(Some(tag.clone())).await.status, 204);
    assert_eq!(delete(Some(tag)).await.status, 404);

    let used = tape(&app).await;
    let place = shelf(&app).await;
    super::done(
        &app,
        "/movements/receive",
        json!({"part": used, "to": place, "goods": {"is": "pieces", "number": 1, "length_um": 50_000}}),
    )
    .await;
    let tag = get(&app, &format!("/parts/{used}"))
        .await
        .header("etag")
        .unwrap()
        .to_owned();
    let kept = app
        .json(
            "DELETE",
            format!("{API}/parts/{used}"),
            &[("if-match", &tag)],
            &Value::Null,
        )
        .await;
    assert_eq!(kept.status, 409);
    assert!(kept.body.contains("Retire it instead"), "{}", kept.body);
}
