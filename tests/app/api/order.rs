//! Orders over JSON: what all sets are short of, ordered, arrived in parts, wrong or right.

use serde_json::{Value, json};

use super::{add, done, get, pointers, post, put, read, shelf, tape};
use crate::help::TestApp;

/// A set of six bare bars of 1.5 m, of which a roll of 5 m gives three; its shelf, tape, supplier
/// and offer.
async fn wanting(app: &TestApp) -> (i64, i64, i64, i64) {
    let place = shelf(app).await;
    let part = tape(app).await;
    let supplier = json!({"name": "First", "delivery_days": 5, "delivery_minor": 500});
    let supplier = add(app, "/suppliers", supplier).await;
    let offer = json!({"supplier": supplier, "pack_amount": 5_000_000, "price_minor": 4_200});
    let offer = add(app, &format!("/parts/{part}/offers"), offer).await;
    let dates =
        json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
    let design = json!({"name": "Spring", "dates": dates});
    let design = add(app, "/designs", design).await;
    let bar = json!({"label": "Bar 1", "length_um": 1_500_000, "diffused": false,
        "channels": ["red", "green", "blue", "white"]});
    let bars = json!({"bar": bar, "count": 6});
    done(app, &format!("/designs/{design}/bars"), bars).await;
    (place, part, supplier, offer)
}

#[tokio::test]
async fn rolls_for_several_sets_are_cut_together_and_anew_where_a_seller_is_left_out() {
    let app = TestApp::new().await;
    let (_, part, supplier, _) = wanting(&app).await;
    // Of 1.5 m a roll gives three: by themselves the sets want 2, 2 and 1 roll.
    for (name, bars) in [("Summer", 4), ("Autumn", 2)] {
        let dates =
            json!({"build_on": "2026-05-01", "get_in": "2026-05-03", "strike_on": "2026-05-20"});
        let design = add(&app, "/designs", json!({"name": name, "dates": dates})).await;
        let bar = json!({"label": "Bar 1", "length_um": 1_500_000, "diffused": false,
            "channels": ["red", "green", "blue", "white"]});
        let bars = json!({"bar": bar, "count": bars});
        done(&app, &format!("/designs/{design}/bars"), bars).await;
    }
    let list = read(&app, "/shopping").await;
    let line = &list["parcels"][0]["lines"][0];
    assert_eq!(
        (
            &line["packs"],
            &line["cost_minor"],
            line["designs"].as_array().map(Vec::len)
        ),
        (&json!(4), &json!(16_800), Some(3)),
        "{list}"
    );
    assert_eq!(list["proof"]["is"], "proven");

    // Another sells shorter rolls: one bar from each.
    let other = json!({"name": "Second", "delivery_days": 5, "delivery_minor": 0});
    let other = add(&app, "/suppliers", other).await;
    let offer = json!({"supplier": other, "pack_amount": 2_000_000, "price_minor": 2_000});
    add(&app, &format!("/parts/{part}/offers"), offer).await;
    let list = read(&app, "/shopping").await;
    assert_eq!(list["cost_minor"], 17_300, "{list}");
    let without = list["beside"].as_array().unwrap();
    assert!(without.is_empty(), "one parcel alone: {list}");
    let list = read(&app, &format!("/shopping?without={supplier}")).await;
    let line = &list["parcels"][0]["lines"][0];
    assert_eq!(
        (&line["packs"], &list["cost_minor"]),
        (&json!(12), &json!(24_000)),
        "{list}"
    );
    assert_eq!(list["unsold"], json!([]));
}

#[tokio::test]
pub async fn a_shortfall_is_ordered_and_arrives_in_parts() {
    let app = TestApp::new().await;
    let (place, part, supplier, offer) = wanting(&app).await;

    let list = read(&app, "/shopping").await;
    assert_eq!(list["sets"], 1);
    let parcel = &list["parcels"][0];
    let line = &parcel["lines"][0];
    assert_eq!(
        (&line["packs"], &line["cost_minor"]),
        (&json!(2), &json!(8_400)),
        "{list}"
    );
    assert_eq!(
        (&line["offer"], &parcel["supplier"]),
        (&json!(offer), &json!(supplier))
    );

    let order = json!({"supplier": supplier, "lines": [{"offer": offer, "packs": 2}]});
    let id = add(&app, "/purchases", order).await;
    let at = format!("/purchases/{id}");
    let page = get(&app, &at).await;
    let tag = page.header("etag").unwrap().to_owned();
    let line = page.value()["lines"][0]["id"].as_i64().unwrap();
    let receive = format!("{at}/lines/{line}/receive");

    // Not before it was sent.
    let early = post(&app, &receive, json!({"good": 1, "to": place})).await;
    assert_eq!(early.status, 409, "{}", early.body);
    let sent = put(&app, &at, &tag, json!({"state": "ordered"})).await;
    assert_eq!(sent.status, 200, "{}", sent.body);
    let order = sent.value();
    assert_eq!(
        (&order["ordered_on"], &order["expected_on"]),
        (&json!("2026-03-05"), &json!("2026-03-10"))
    );
    let stale = put(&app, &at, &tag, json!({"state": "cancelled"})).await;
    assert_eq!(stale.status, 412, "{}", stale.body);
    assert_eq!(stale.header("etag"), sent.header("etag"));
    // What is on order is not ordered again.
    assert_eq!(read(&app, "/shopping").await["parcels"], json!([]));

    let came = done(&app, &receive, json!({"good": 1, "to": place})).await;
    assert!(came["movement"].is_i64(), "{came}");
    let half = get(&app, &at).await;
    assert_ne!(half.header("etag"), sent.header("etag"));
    assert_eq!(half.value()["lines"][0]["received_packs"], 1);
    let wrong = json!({"good": 0, "bad": 1, "to": place, "note": "wrong size"});
    let came = done(&app, &receive, wrong).await;
    assert_eq!(came["movement"], Value::Null);
    let order = read(&app, &at).await;
    assert_eq!(order["state"], "closed");
    assert_eq!(order["lines"][0]["note"], "wrong size");
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"][0]["amount"]["length_um"], 5_000_000);
    // Three bars are still short, so a roll is wanted again.
    let list = read(&app, "/shopping").await;
    assert_eq!(list["parcels"][0]["lines"][0]["packs"], 1);
    assert_eq!(read(&app, "/check").await["sound"], true);
}

#[tokio::test]
async fn an_arrival_under_one_key_is_taken_in_once() {
    let app = TestApp::new().await;
    let (place, part, supplier, offer) = wanting(&app).await;
    let order = json!({"supplier": supplier, "lines": [{"offer": offer, "packs": 2}]});
    let id = add(&app, "/purchases", order).await;
    let at = format!("/purchases/{id}");
    let page = get(&app, &at).await;
    let line = page.value()["lines"][0]["id"].clone();
    put(
        &app,
        &at,
        page.header("etag").unwrap(),
        json!({"state": "ordered"}),
    )
    .await;
    let receive = format!("{at}/lines/{line}/receive");
    let key = [("idempotency-key", "arrival-0001")];
    let send = || super::post_with(&app, &receive, &key, json!({"good": 1, "to": place}));
    let (first, second) = tokio::join!(send(), send());
    assert_eq!((first.status, second.status), (201, 201));
    assert_eq!(first.body, second.body);
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"][0]["amount"]["length_um"], 5_000_000);
}

#[tokio::test]
async fn a_wrong_order_is_refused_at_its_field() {
    let app = TestApp::new().await;
    let (place, _, supplier, offer) = wanting(&app).await;
    let wish =
        |packs: i64| json!({"supplier": supplier, "lines": [{"offer": offer, "packs": packs}]});
    for (body, pointer) in [
        (wish(0), "/lines/0/packs"),
        (wish(-1), "/lines/0/packs"),
        (wish(1_000_000), "/lines/0/packs"),
        (json!({"supplier": supplier, "lines": []}), "/lines"),
        (
            json!({"supplier": 999, "lines": [{"offer": offer, "packs": 1}]}),
            "",
        ),
    ] {
        let page = post(&app, "/purchases", body).await;
        assert_eq!(
            (page.status, pointers(&page)),
            (422, vec![pointer.to_owned()]),
            "{}",
            page.body
        );
    }
    let id = add(&app, "/purchases", wish(1)).await;
    let page = get(&app, &format!("/purchases/{id}")).await;
    let tag = page.header("etag").unwrap();
    let line = page.value()["lines"][0]["id"].clone();
    put(
        &app,
        &format!("/purchases/{id}"),
        tag,
        json!({"state": "ordered"}),
    )
    .await;
    let receive = format!("/purchases/{id}/lines/{line}/receive");
    for (body, pointer) in [
        (json!({"good": 0, "to": place}), "/good"),
        (json!({"good": 2, "to": place}), "/good"),
        (json!({"good": -1, "to": place}), "/good"),
        (json!({"good": 1, "to": 999}), "/to"),
    ] {
        let page = post(&app, &receive, body).await;
        assert_eq!(
            (page.status, pointers(&page)),
            (422, vec![pointer.to_owned()]),
            "{}",
            page.body
        );
    }
    let other = post(
        &app,
        "/purchases/999/lines/1/receive",
        json!({"good": 1, "to": place}),
    )
    .await;
    assert_eq!(other.status, 404);
}

#[tokio::test]
async fn a_receipt_that_is_undone_is_to_come_again() {
    let app = TestApp::new().await;
    let (place, part, supplier, offer) = wanting(&app).await;
    let order = json!({"supplier": supplier, "lines": [{"offer": offer, "packs": 2}]});
    let id = add(&app, "/purchases", order).await;
    let at = format!("/purchases/{id}");
    let page = get(&app, &at).await;
    let line = page.value()["lines"][0]["id"].clone();
    let tag = page.header("etag").unwrap();
    put(&app, &at, tag, json!({"state": "ordered"})).await;
    let receive = format!("{at}/lines/{line}/receive");
    let came = done(&app, &receive, json!({"good": 2, "to": place})).await;
    assert_eq!(read(&app, &at).await["state"], "closed");

    let movement = &came["movement"];
    done(&app, &format!("/movements/{movement}/undo"), json!({})).await;
    let order = read(&app, &at).await;
    assert_eq!(order["state"], "ordered");
    assert_eq!(order["lines"][0]["received_packs"], 0);
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"], json!([]));
    // It can arrive again, all of it.
    done(&app, &receive, json!({"good": 2, "to": place})).await;
    assert_eq!(read(&app, &at).await["lines"][0]["received_packs"], 2);
    assert_eq!(read(&app, "/check").await["sound"], true);
}

#[tokio::test]
async fn an_order_is_written_sent_and_taken_in_on_its_pages() {
    let app = TestApp::new().await;
    let (_, part, supplier, _) = wanting(&app).await;
    let page = app.get("/shopping").await;
    assert!(page.text("table.book").contains("Spring"));
    let page = page
        .form(&format!("section[aria-labelledby=s{supplier}] form"))
        .send(&app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let order = page.header("location").unwrap().to_owned();
    // Not before it was sent, then a tap a line; a second press of it counts once.
    assert_eq!(app.get(&order).await.count("#lines form"), 0);
    let sent = app
        .get(&order)
        .await
        .form("form.form")
        .set("state", "ordered")
        .send(&app)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.text("main"));
    let arrived = app.get(&order).await.form("#lines form");
    let bad = arrived.set("good", "3").send(&app).await;
    assert_eq!(bad.status, 422);
    assert!(bad.text("main").contains("still to come"));
    let arrived = app.get(&order).await.form("#lines form");
    assert_eq!(arrived.send(&app).await.status, 303);
    assert_eq!(arrived.send(&app).await.status, 303);
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"][0]["things"], 2, "{stock}");
    assert!(app.get(&order).await.text("dl.keys").contains("closed"));
    assert_eq!(app.get("/shopping/99").await.status, 404);
}

#[tokio::test]
async fn all_that_is_still_to_come_arrives_by_one_press() {
    let app = TestApp::new().await;
    let (place, part, supplier, offer) = wanting(&app).await;
    let line = json!({"offer": offer, "packs": 1});
    let order = json!({"supplier": supplier, "lines": [line, line, line]});
    let id = add(&app, "/purchases", order.clone()).await;
    let page = get(&app, &format!("/purchases/{id}")).await;
    let tag = page.header("etag").unwrap();
    put(
        &app,
        &format!("/purchases/{id}"),
        tag,
        json!({"state": "ordered"}),
    )
    .await;
    // On its page, a second press counting once.
    let at = format!("/shopping/{id}");
    let form = app.get(&at).await.form("#all form");
    for _ in 0..2 {
        let came = form.send(&app).await;
        assert_eq!(came.status, 303, "{}", came.text("main"));
    }
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"][0]["things"], 3, "{stock}");
    let page = app.get(&at).await;
    assert!(page.text("dl.keys").contains("closed"));
    assert_eq!(page.count("#all form"), 0);

    // The same for programs: what was put somewhere goes there again.
    let id = add(&app, "/purchases", order).await;
    let receive = format!("/purchases/{id}/receive");
    let early = post(&app, &receive, json!({})).await;
    assert_eq!(early.status, 409, "{}", early.body);
    let page = get(&app, &format!("/purchases/{id}")).await;
    let tag = page.header("etag").unwrap();
    put(
        &app,
        &format!("/purchases/{id}"),
        tag,
        json!({"state": "ordered"}),
    )
    .await;
    let wrong = post(&app, &receive, json!({"to": 999})).await;
    assert_eq!(
        (wrong.status, pointers(&wrong)),
        (422, vec!["/to".to_owned()])
    );
    let came = done(&app, &receive, json!({})).await;
    assert_eq!(came["movements"].as_array().map(Vec::len), Some(3));
    let stock = read(&app, &format!("/parts/{part}/stock")).await;
    assert_eq!(stock["items"][0]["things"], 6, "{stock} {place}");
    assert_eq!(read(&app, "/check").await["sound"], true);
}

#[tokio::test]
async fn what_came_short_stays_to_come_when_all_else_has_arrived() {
    let app = TestApp::new().await;
    let (place, part, supplier, offer) = wanting(&app).await;
    let other = json!({"supplier": supplier, "pack_amount": 3_000_000, "price_minor": 9_000});
    let other = add(&app, &format!("/parts/{part}/offers"), other).await;
    let lines = json!([{"offer": offer, "packs": 2}, {"offer": other, "packs": 3}]);
    let id = add(
        &app,
        "/purchases",
        json!({"supplier": supplier, "lines": lines}),
    )
    .await;
    let at = format!("/purchases/{id}");
    let page = get(&app, &at).await;
    let tag = page.header("etag").unwrap().to_owned();
    put(&app, &at, &tag, json!({"state": "ordered"})).await;
    let shown = app.get(&format!("/shopping/{id}")).await;
    assert!(!shown.body.contains("but what came short"));
    let line = page.value()["lines"][0]["id"].as_i64().unwrap();
    let receive = format!("{at}/lines/{line}/receive");
    done(&app, &receive, json!({"good": 1, "to": place})).await;
    let shown = app.get(&format!("/shopping/{id}")).await;
    assert!(shown.body.contains("but what came short"), "{}", shown.body);

    let rest = json!({"to": place, "all_but_short": true});
    let came = done(&app, &format!("{at}/receive"), rest.clone()).await;
    assert_eq!(came["movements"].as_array().unwrap().len(), 1, "{came}");
    let order = read(&app, &at).await;
    assert_eq!(order["state"], "ordered");
    let received = |at: usize| order["lines"][at]["received_packs"].clone();
    assert_eq!((received(0), received(1)), (json!(1), json!(3)), "{order}");
    // Only what came short is left: nothing else can have arrived.
    let again = post(&app, &format!("{at}/receive"), rest).await;
    assert_eq!(again.status, 409, "{}", again.body);
    done(&app, &format!("{at}/receive"), json!({"to": place})).await;
    assert_eq!(read(&app, &at).await["state"], "closed");
}

#[tokio::test]
async fn a_line_says_for_which_sets_it_is_and_how_much_each_needs() {
    let app = TestApp::new().await;
    let (_, _, supplier, offer) = wanting(&app).await;
    let dates =
        json!({"build_on": "2026-05-01", "get_in": "2026-05-03", "strike_on": "2026-05-20"});
    let other = add(&app, "/designs", json!({"name": "Summer", "dates": dates})).await;
    let list = read(&app, "/shopping").await;
    let first = list["parcels"][0]["lines"][0]["shares"][0]["design"].clone();
    assert!(first.is_i64(), "{list}");
    let order = |line: Value| json!({"supplier": supplier, "lines": [line]});
    let lines = async |line: Value| {
        let id = add(&app, "/purchases", order(line)).await;
        read(&app, &format!("/purchases/{id}")).await["lines"][0]["shares"].clone()
    };
    let share = |design: &Value, amount: i64| json!({"design": design, "amount": amount});
    let other = json!(other);
    // Of one set that is named twice both amounts count.
    let three = [share(&other, 4), share(&first, 2), share(&other, 1)];
    assert_eq!(
        lines(json!({"offer": offer, "packs": 2, "shares": three})).await,
        json!([share(&first, 2), share(&other, 5)])
    );
    assert_eq!(
        lines(json!({"offer": offer, "packs": 2, "design": first})).await,
        json!([share(&first, 2)])
    );
    assert_eq!(lines(json!({"offer": offer, "packs": 2})).await, json!([]));
    for (line, at) in [
        (
            json!({"offer": offer, "packs": 2, "design": first, "shares": [share(&other, 1)]}),
            "/lines/0/design",
        ),
        (
            json!({"offer": offer, "packs": 2, "shares": [share(&other, 1), share(&first, 0)]}),
            "/lines/0/shares/1/amount",
        ),
    ] {
        let wrong = post(&app, "/purchases", order(line)).await;
        assert_eq!(
            (wrong.status, pointers(&wrong)),
            (422, vec![at.to_owned()]),
            "{}",
            wrong.body
        );
    }
}
