//! What a set is planned around by choice, over JSON.

use serde_json::{Value, json};

use super::{API, add, done, get, post, read, shelf, tape};
use crate::help::TestApp;

#[tokio::test]
pub async fn a_pin_says_what_it_costs_and_is_taken_out_again() {
    let app = TestApp::new().await;
    let (place, part) = (shelf(&app).await, tape(&app).await);
    let supplier = add(
        &app,
        "/suppliers",
        json!({"name": "Weir Street Electrical", "delivery_days": 3}),
    )
    .await;
    let offer = json!({"supplier": supplier, "pack_amount": 5_000_000, "price_minor": 3_000});
    add(&app, &format!("/parts/{part}/offers"), offer).await;
    let goods = json!({"is": "pieces", "number": 1, "length_um": 2_000_000});
    let received = json!({"part": part, "to": place, "goods": goods});
    let thing = done(&app, "/movements/receive", received).await["things"][0].clone();
    let dates =
        json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
    let set = add(&app, "/designs", json!({"name": "Spring", "dates": dates})).await;
    let at = format!("/designs/{set}");
    let bar = json!({"label": "1", "length_um": 1_000_000, "diffused": false,
                     "channels": ["red", "green", "blue", "white"]});
    done(&app, &format!("{at}/bars"), json!({"bar": bar})).await;
    let pins = format!("{at}/pins");
    assert_eq!(read(&app, &pins).await["items"], json!([]));

    let left = json!({"thing": thing, "note": "for the spring"});
    done(&app, &format!("{at}/left-alone"), left.clone()).await;
    let stored = read(&app, &at).await;
    assert_eq!(stored["left_alone"], json!([left]));
    let listed = read(&app, &pins).await;
    let pin = &listed["items"][0];
    assert_eq!(pin["pin"], json!({"is": "left_alone", "thing": thing}));
    assert_eq!(pin["not_kept"], Value::Null);
    // One roll of 30.00 is bought in its stead.
    assert_eq!(pin["costs"]["money_minor"], 3_000, "{pin}");
    assert_eq!(pin["costs"]["short_bars"], 0, "{pin}");

    done(
        &app,
        &format!("{at}/not-from"),
        json!({"supplier": supplier}),
    )
    .await;
    let listed = read(&app, &pins).await;
    let pin = &listed["items"][1];
    assert_eq!(pin["pin"], json!({"is": "not_from", "supplier": supplier}));
    assert_eq!(pin["costs"]["unpriced_parts"], 1, "{pin}");

    for path in [
        format!("{at}/left-alone/{thing}"),
        format!("{at}/not-from/{supplier}"),
    ] {
        let address = format!("{API}{path}");
        let bare = app.json("DELETE", &address, &[], &Value::Null).await;
        assert_eq!(bare.status, 428, "{path}");
        let tag = get(&app, &at).await.header("etag").unwrap().to_owned();
        let tag = [("if-match", &*tag)];
        let gone = app.json("DELETE", &address, &tag, &Value::Null).await;
        assert_eq!(gone.status, 200, "{path}: {}", gone.body);
        let again = app.json("DELETE", &address, &tag, &Value::Null).await;
        assert_eq!(again.status, 404, "{path}");
    }
    assert_eq!(read(&app, &pins).await["items"], json!([]));
}

#[tokio::test]
async fn what_can_not_be_pinned_is_refused_at_its_field() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let dates =
        json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
    let set = add(&app, "/designs", json!({"name": "Spring", "dates": dates})).await;
    let spec = json!({"kind": "supply", "voltage_mv": 24_000, "rated_ma": 5_000});
    let part = add(&app, "/parts", json!({"name": "Supply", "spec": spec})).await;
    let received = json!({"part": part, "to": place, "goods": {"is": "units", "number": 1}});
    let unit = done(&app, "/movements/receive", received).await["things"][0].clone();
    let left = format!("/designs/{set}/left-alone");
    for (path, body, pointer) in [
        (&*left, json!({"thing": unit}), "/thing"),
        (&left, json!({"thing": "R-1"}), "/thing"),
        (&left, json!({"thing": 1, "why": "x"}), "/why"),
        (
            &left,
            json!({"thing": unit, "note": "x".repeat(4_001)}),
            "/note",
        ),
    ] {
        let page = post(&app, path, body.clone()).await;
        assert_eq!(page.status, 422, "{body}: {}", page.body);
        assert_eq!(super::pointers(&page), [pointer], "{body}");
    }
    let missing = post(&app, &left, json!({"thing": 99_999})).await;
    assert_eq!(missing.status, 409, "{}", missing.body);
    let none = post(
        &app,
        &format!("/designs/{set}/not-from"),
        json!({"supplier": 99}),
    )
    .await;
    assert_eq!(none.status, 409, "{}", none.body);
    let stored = read(&app, &format!("/designs/{set}")).await;
    assert_eq!(stored["left_alone"], json!([]));
}
