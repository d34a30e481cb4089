//! Drivers and supplies on the bench.

use super::{changed, query};
use crate::help::TestApp;

const FEEDS: [(&str, &str); 4] = [
    ("loads", "Window bar: 8 x 0.6 0.6 0.6 A, 24 V"),
    (
        "drivers",
        "Eight outputs: 2+2+2+2 of 4, 12 to 24 V, isolated, channel 5 A, output 15 A, inlet 20 A, have 1",
    ),
    (
        "supplies",
        "Supply 24 V 20 A: 24 V, 20 A, 80 %, pairs 3, have 1, at 65.00",
    ),
    ("feed", "1.5 m"),
];

/// By hand: eight outputs are four inlets of two, and three pairs of terminals feed three of them, so
/// that a second supply is bought.
#[tokio::test]
async fn drivers_and_supplies_are_chosen_for_the_least_money() {
    let app = TestApp::new().await;
    let ask = |changes: &[(&'static str, &'static str)]| {
        format!("/bench/feeds?{}", query(&changed(&FEEDS, changes)))
    };
    let page = app.get(ask(&[])).await;
    assert_eq!(page.status, 200);
    let answer = page.text("#feeds-answer");
    for words in [
        "To buy: 1 × Supply 24 V 20 A for 65.00 EUR.",
        "No other way to feed as many loads costs less.",
        "Inlets in use: 4 and 6 m of cable, proven least.",
        "what the whole of Eight outputs may carry",
        "have terminals for 6 outputs; 8 are needed",
        "Inlet 1 takes 3.6 A of 20 A from supply 1.",
    ] {
        assert!(answer.contains(words), "{words}: {answer}");
    }
    let supplies = page.texts("#feeds-answer section:nth-of-type(2) tbody td");
    assert_eq!(supplies.len(), 2 * 4, "{supplies:?}");
    // The document that the fields make is answered alike, typed in as well.
    let (document, rows) = (
        page.text("#feeds-answer pre"),
        page.texts("#feeds-answer tbody td"),
    );
    let form = page.form("form[method=post]").set("document", &document);
    let page = form.send(&app).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.texts("#feeds-answer tbody td"), rows);
    // Where nothing is known of the terminals, one supply does.
    let open = app
        .get(ask(&[("supplies", "One: 24 V, 20 A, have 1, at 65.00")]))
        .await;
    let answer = open.text("#feeds-answer");
    assert!(answer.contains("Nothing need be bought."), "{answer}");
    let short = app
        .get(ask(&[
            ("loads", "Bar: 0.6 A, 48 V, in the wings"),
            ("feed", ""),
        ]))
        .await;
    assert_eq!(short.status, 200);
    let answer = short.text("#feeds-answer");
    assert!(
        answer.contains("1 × Bar: No driver works at 48 V."),
        "{answer}"
    );
    let drivers =
        "Two: 2 of 1, 24 V, bonded, channel 2 A, output 2 A, inlet 4 A, whole 4 A, at 9.00, most 1";
    let shared = app
        .get(ask(&[
            ("loads", "A: 3 x 1 A, 24 V, group g\nB: 250 mA, 24 V"),
            ("drivers", drivers),
        ]))
        .await;
    let answer = shared.text("#feeds-answer");
    // Three of a group take two outputs, the fourth has none: of four loads it is one that is short.
    assert!(answer.contains("Loads short: 1, proven least."), "{answer}");
}

#[tokio::test]
async fn what_is_wrong_with_feeds_comes_back_as_typed_with_the_message_at_its_field() {
    let app = TestApp::new().await;
    for (field, bad) in [
        ("loads", ""),
        ("loads", "Bar"),
        ("loads", "Bar: 24 V"),
        ("loads", "Bar: 1 A"),
        ("loads", "Bar: 1 A, 0 V"),
        ("loads", "Bar: 0 x 1 A, 24 V"),
        ("loads", "Bar: many x 1 A, 24 V"),
        ("loads", "Bar: 1 A, 24 V, blue"),
        ("loads", "Bar: -1 A, 24 V"),
        ("loads", "Bar: 200 A, 24 V"),
        ("loads", "Bar: 1 A, 24 V\nBar: 2 A, 24 V"),
        ("drivers", "Driver"),
        ("drivers", "Driver: 24 V"),
        ("drivers", "Driver: 2+two of 4, 24 V"),
        ("drivers", "Driver: 2+0 of 4, 24 V"),
        ("drivers", "Driver: 2 of 9, 24 V"),
        ("drivers", "Driver: 2 of 4"),
        ("drivers", "Driver: 2 of 4, 24 to 12 V"),
        ("drivers", "Driver: 2 of 4, 24 V, output much"),
        ("drivers", "Driver: 2 of 4, 24 V, have few"),
        ("drivers", "Driver: 2 of 4, 24 V, most 2"),
        ("drivers", "Driver: 2 of 4, 24 V, at much"),
        ("drivers", "Driver: 2 of 4, 24 V, loose"),
        ("supplies", "Supply: 24 V"),
        ("supplies", "Supply: 20 A"),
        ("supplies", "Supply: 24 V, 20 A, 0 %"),
        ("supplies", "Supply: 24 V, 20 A, pairs none"),
        ("supplies", "Supply: 24 V, 20 A, big"),
        ("supplies", "Eight outputs: 24 V, 20 A"),
        ("feed", "far"),
        ("feed", "0"),
        ("feed", "2 km"),
    ] {
        let fields = changed(&FEEDS, &[(field, bad)]);
        let page = app.get(format!("/bench/feeds?{}", query(&fields))).await;
        assert_eq!(page.status, 422, "{field}={bad}");
        assert!(page.count(&format!("#{field}-error")) > 0, "{field}={bad}");
        assert_eq!(page.count("#feeds-answer table"), 0, "{field}={bad}");
        assert_eq!(
            page.form("form[method=get]").value(field),
            Some(bad),
            "{field}"
        );
    }
    let page = app.get("/bench/feeds").await;
    for (bad, named) in [
        ("", "not JSON"),
        ("{", "not JSON"),
        ("{}", "/loads"),
        (
            "{\"loads\": [], \"drivers\": [], \"supplies\": [], \"step_limit\": 0}",
            "/step_limit",
        ),
    ] {
        let form = page.form("form[method=post]").set("document", bad);
        let answer = form.send(&app).await;
        assert_eq!(answer.status, 422, "{bad}");
        let error = answer.text("#document-error");
        assert!(error.contains(named), "{bad}: {error}");
        assert_eq!(
            answer.form("form[method=post]").value("document"),
            Some(bad)
        );
    }
}
