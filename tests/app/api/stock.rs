//! The stock over JSON: each request once, every movement undone by another, lists page by page.

use serde_json::{Value, json};

use super::{API, add, done, get, post, post_with, read, shelf, tape};
use crate::help::TestApp;

#[tokio::test]
async fn a_repeated_request_gets_the_first_answer_and_changes_nothing_more() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = tape(&app).await;
    let key = [
        ("idempotency-key", "6f1c1a52-0001"),
        ("tapewright-who", "Ada"),
    ];
    let body = |number: u8| {
        json!({"part": part, "to": place,
               "goods": {"is": "pieces", "number": number, "length_um": 5_000_000, "as_bought": true}})
    };
    let first = post_with(&app, "/movements/receive", &key, body(2)).await;
    assert_eq!(first.status, 201, "{}", first.body);
    let second = post_with(&app, "/movements/receive", &key, body(2)).await;
    assert_eq!((second.status, &second.body), (201, &first.body));
    assert_eq!(
        read(&app, "/things").await["items"]
            .as_array()
            .unwrap()
            .len(),
        2
    );

    for (path, other) in [
        ("/movements/receive", body(3)),
        ("/places", json!({"name": "Shelf C", "kind": "shelf"})),
    ] {
        let reused = post_with(&app, path, &key, other).await;
        assert_eq!(reused.status, 422, "{}", reused.body);
        assert!(reused.body.contains("Idempotency-Key"), "{}", reused.body);
    }
    let short = post_with(
        &app,
        "/places",
        &[("idempotency-key", "short")],
        json!({"name": "C", "kind": "box"}),
    )
    .await;
    assert_eq!(short.status, 400, "{}", short.body);

    // A key on what moves no stock works the same.
    let key = [("idempotency-key", "6f1c1a52-0002")];
    let supplier = json!({"name": "First", "delivery_days": 3});
    let first = post_with(&app, "/suppliers", &key, supplier.clone()).await;
    let second = post_with(&app, "/suppliers", &key, supplier).await;
    assert_eq!((first.status, &first.body), (201, &second.body));
    assert_eq!(first.header("location"), Some("/api/v1/suppliers/1"));
}

#[tokio::test]
async fn two_at_once_under_one_key_are_one() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = tape(&app).await;
    let key = [("idempotency-key", "6f1c1a52-0003")];
    let send = || {
        let body = json!({"part": part, "to": place,
            "goods": {"is": "pieces", "number": 1, "length_um": 1_000_000}});
        post_with(&app, "/movements/receive", &key, body)
    };
    let (a, b, c) = tokio::join!(send(), send(), send());
    assert_eq!([a.status, b.status, c.status], [201; 3]);
    assert_eq!((&a.body, &a.body), (&b.body, &c.body));
    assert_eq!(
        read(&app, "/movements").await["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[tokio::test]
pub async fn the_ledger_says_who_and_a_movement_is_undone_by_another() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let other = add(
        &app,
        "/places",
        json!({"name": "Box 3", "kind": "box", "parent": place}),
    )
    .await;
    let part = tape(&app).await;
    let received = done(
        &app,
        "/movements/receive",
        json!({"part": part, "to": place, "reason": "spring order",
               "goods": {"is": "pieces", "number": 1, "length_um": 1_020_000, "tags": ["R-77"], "batch": "B1"}}),
    )
    .await;
    let thing = received["things"][0].as_i64().unwrap();
    let whole = read(&app, "/tags/r-77").await;
    // 20 cut units of 50 mm and a rest of 20 mm.
    assert_eq!(
        whole["thing"]["amount"],
        json!({"unit": "cut_units", "amount": 20, "rest_um": 20_000, "length_um": 1_020_000})
    );
    assert_eq!(whole["piece"]["batch"], "B1");

    let cut = done(
        &app,
        "/movements/cut",
        json!({"piece": thing, "segments": [{"from": 0, "to": 8}, {"from": 8, "to": 20}]}),
    )
    .await;
    let children: Vec<i64> = cut["things"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_i64)
        .collect();
    assert_eq!(children.len(), 2);
    let mut sum = 0;
    for id in &children {
        let child = read(&app, &format!("/things/{id}")).await;
        sum += child["thing"]["amount"]["length_um"].as_i64().unwrap();
        assert_eq!(child["piece"]["cut_from"][0], thing);
    }
    assert_eq!(sum, 1_020_000);

    let moved = done(
        &app,
        "/movements/move",
        json!({"what": [{"is": "thing", "thing": children[0]}], "to": other}),
    )
    .await;
    let at = read(&app, &format!("/things/{}", children[0])).await;
    assert_eq!(at["thing"]["at"]["words"], "Shelf B / Box 3");

    // The cut cannot be undone while a child was moved since.
    let cut = cut["movement"].as_i64().unwrap();
    let early = post(&app, &format!("/movements/{cut}/undo"), json!({})).await;
    assert_eq!(early.status, 409, "{}", early.body);
    for movement in [moved["movement"].as_i64().unwrap(), cut] {
        let undone = done(
            &app,
            &format!("/movements/{movement}/undo"),
            json!({"reason": "mistake"}),
        )
        .await;
        let entry = read(&app, &format!("/movements/{movement}")).await;
        assert_eq!(entry["undone_by"], undone["movement"]);
        assert_eq!(entry["who"], "Ada");
    }
    assert_eq!(
        read(&app, "/tags/R-77").await["thing"]["at"]["kind"],
        "place"
    );
    let check = read(&app, "/check").await;
    assert_eq!(check, json!({"sound": true, "faults": []}));

    let anonymous = app
        .json(
            "POST",
            format!("{API}/movements/mark"),
            &[],
            &json!({"thing": thing, "condition": "suspect"}),
        )
        .await;
    assert_eq!(anonymous.status, 201, "{}", anonymous.body);
    let newest = read(&app, &format!("/movements?thing={thing}&limit=1")).await;
    assert_eq!(newest["items"][0]["who"], "api");
    assert_eq!(newest["items"][0]["mark"]["after"], "suspect");
}

#[tokio::test]
async fn counts_are_lent_counted_lost_and_found() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = add(
        &app,
        "/parts",
        json!({"name": "Block", "spec": {"kind": "block", "ways": 12}}),
    )
    .await;
    done(
        &app,
        "/movements/receive",
        json!({"part": part, "to": place, "goods": {"is": "count", "amount": 10}}),
    )
    .await;
    let stock = |app: &TestApp| {
        let path = format!("/parts/{part}/stock");
        let app = app.other_browser();
        async move { read(&app, &path).await["items"].as_array().unwrap().clone() }
    };
    let here = stock(&app).await[0]["at"]["account"].clone();
    let some = |amount: u8, from: &Value| json!([{"is": "count", "part": part, "amount": amount, "from": from}]);
    done(
        &app,
        "/movements/lend",
        json!({"what": some(3, &here), "borrower": "Neighbours", "due_on": "2026-03-20"}),
    )
    .await;
    let loan = read(&app, "/loans").await["items"][0].clone();
    assert_eq!(
        (&loan["borrower"], &loan["due_on"]),
        (&json!("Neighbours"), &json!("2026-03-20"))
    );
    done(
        &app,
        "/movements/give-back",
        json!({"what": some(2, &loan["account"]), "to": place}),
    )
    .await;
    done(
        &app,
        "/movements/out",
        json!({"fate": "lost", "what": some(4, &here)}),
    )
    .await;
    done(
        &app,
        "/movements/find",
        json!({"what": {"is": "count", "part": part, "amount": 1}, "to": place}),
    )
    .await;
    done(
        &app,
        "/movements/count",
        json!({"part": part, "place": place, "counted": 9}),
    )
    .await;
    let now = stock(&app).await;
    // 10 − 3 + 2 − 4 + 1 = 6, of which the count made 9; one is still lent out.
    assert_eq!(now[0]["amount"]["amount"], 9);
    assert_eq!(now[1]["amount"]["amount"], 1);
    let agreed = done(
        &app,
        "/movements/count",
        json!({"part": part, "place": place, "counted": 9}),
    )
    .await;
    assert_eq!(agreed["movement"], Value::Null);
    assert_eq!(read(&app, "/check").await["sound"], true);
}

#[tokio::test]
async fn lists_come_page_by_page_and_stay_put() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = tape(&app).await;
    let receive = |number: u8| json!({"part": part, "to": place, "goods": {"is": "pieces", "number": number, "length_um": 1_000_000}});
    done(&app, "/movements/receive", receive(5)).await;
    let first = read(&app, "/things?limit=2").await;
    let ids = |page: &Value| -> Vec<i64> {
        page["items"]
            .as_array()
            .unwrap()
            .iter()
            .map(|it| it["id"].as_i64().unwrap())
            .collect()
    };
    assert_eq!(ids(&first), [1, 2]);
    // What is added meanwhile moves no page.
    done(&app, "/movements/receive", receive(1)).await;
    let second = read(&app, &format!("/things?limit=2&after={}", first["next"])).await;
    assert_eq!(ids(&second), [3, 4]);
    let third = read(&app, &format!("/things?limit=2&after={}", second["next"])).await;
    assert_eq!((ids(&third), &third["next"]), (vec![5, 6], &Value::Null));

    for name in ["a", "b", "c"] {
        add(&app, "/places", json!({"name": name, "kind": "box"})).await;
    }
    let page = read(&app, "/places?limit=3").await;
    let rest = read(&app, &format!("/places?limit=3&after={}", page["next"])).await;
    assert_eq!((ids(&page), ids(&rest)), (vec![1, 2, 3], vec![4]));
    let newest = read(&app, "/movements?limit=1").await;
    let older = read(
        &app,
        &format!("/movements?limit=1&after={}", newest["next"]),
    )
    .await;
    assert!(ids(&older)[0] < ids(&newest)[0]);
    assert_eq!(get(&app, "/things?limit=1000").await.status, 422);
}

#[tokio::test]
async fn the_cupboard_is_read_by_part_and_found_by_words() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = tape(&app).await;
    done(
        &app,
        "/movements/receive",
        json!({"part": part, "to": place, "goods": {"is": "pieces", "number": 2, "length_um": 5_000_000, "as_bought": true}}),
    )
    .await;
    let stock = read(&app, "/stock?in_stock=true").await;
    assert_eq!(stock["items"][0]["in_places"]["amount"], 200);
    assert_eq!(stock["items"][0]["in_places"]["length_um"], 10_000_000);
    assert_eq!(stock["items"][0]["only_place"], "Shelf B");
    let found = read(&app, "/search?typed=rgbw").await;
    assert_eq!(found["parts"][0]["name"], "Tape RGBW");
    assert_eq!(found["things"].as_array().unwrap().len(), 2);
    let contents = read(&app, &format!("/places/{place}/contents")).await;
    assert_eq!(contents["things"].as_array().unwrap().len(), 2);
}
