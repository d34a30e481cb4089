//! The calculators of the bench.

use crate::help::TestApp;

#[tokio::test]
async fn a_roll_is_cut_and_the_answer_says_what_is_proven() {
    let app = TestApp::new().await;
    let page = app
        .get("/bench?pitch=50+mm&pieces=1+x+5+m+lead+lead&bars=3+x+1.2+m%0A1+x+900+mm")
        .await;
    assert_eq!(page.status, 200);
    assert_eq!(page.count("#cut-answer figure"), 1);
    let answer = page.text("#cut-answer");
    assert!(answer.contains("proven least"), "{answer}");
    // Four bars, two of them at the roll's leads: two joints on other marks are left.
    assert!(answer.contains("Soldering work 4"), "{answer}");
}

#[tokio::test]
async fn what_cannot_be_cut_is_said() {
    let app = TestApp::new().await;
    let page = app
        .get("/bench?pitch=50+mm&pieces=1+m&bars=2+x+600+mm")
        .await;
    assert!(
        page.text("#cut-answer")
            .contains("1 × 600 mm cannot be cut")
    );
    for query in [
        "pitch=0&pieces=1+m&bars=600+mm",
        "pitch=50+mm&pieces=1+m&bars=-600+mm",
        "pitch=50+mm&pieces=&bars=600+mm",
        "pitch=50+mm&pieces=1+m&bars=999999+x+600+mm",
        "pitch=50+mm&pieces=1+m&bars=200+x+1+m%0A200+x+1+m%0A200+x+1+m",
    ] {
        let page = app.get(format!("/bench?{query}")).await;
        assert_eq!(page.status, 200, "{query}");
        assert_eq!(page.count("#cut-answer figure"), 0, "{query}");
        assert!(page.count(".error") > 0, "{query}");
    }
}

#[tokio::test]
async fn nine_switches_hold_the_start_address_as_a_binary_number() {
    // Common practice: switch k is worth 2^(k−1); 257 is switches 1 and 9.
    let app = TestApp::new().await;
    let on = |page: &crate::help::Page| {
        page.texts("#dip-answer tbody td")
            .iter()
            .enumerate()
            .filter(|(_, word)| word.as_str() == "on")
            .map(|(i, _)| i + 1)
            .collect::<Vec<_>>()
    };
    assert_eq!(on(&app.get("/bench?address=1").await), [1]);
    assert_eq!(on(&app.get("/bench?address=257").await), [1, 9]);
    assert_eq!(
        on(&app.get("/bench?address=511").await),
        [1, 2, 3, 4, 5, 6, 7, 8, 9]
    );
    assert_eq!(
        on(&app.get("/bench?address=1&less_one=on").await),
        Vec::<usize>::new()
    );
    assert_eq!(
        app.get("/bench?address=512").await.count("#address-error"),
        1
    );
}

/// The fields of the drop page, encoded.
fn drop_query(changes: &[(&str, &str)]) -> String {
    let mut fields = vec![
        ("voltage", "24 V"),
        ("colours", "RGB"),
        ("length", "5 m"),
        ("pitch", "50 mm"),
        ("power", "4.8 W/m"),
        ("series", "6"),
        ("trace", "0.14 ohm/m"),
        ("trace_common", "0.1 ohm/m"),
        ("model", "resistor_string"),
        ("fed", "start"),
        ("cable", "4 m"),
        ("size", "18 AWG"),
        ("feed", "1 m"),
        ("feed_size", ""),
        ("supply", ""),
    ];
    for (name, value) in changes {
        fields.retain(|(field, _)| field != name);
        fields.push((name, value));
    }
    let encoded = fields.iter().map(|(name, value)| {
        let value = value
            .replace('%', "%25")
            .replace('+', "%2B")
            .replace(' ', "+");
        format!("{name}={}", value.replace(';', "%3B"))
    });
    encoded.collect::<Vec<_>>().join("&")
}

#[tokio::test]
async fn volts_along_a_bar_are_those_of_the_document_that_the_fields_make() {
    let app = TestApp::new().await;
    for fed in ["start", "both", "middle"] {
        let page = app
            .get(format!("/bench/drop?{}", drop_query(&[("fed", fed)])))
            .await;
        assert_eq!(page.status, 200);
        let bars = if fed == "middle" { 2 } else { 1 };
        assert_eq!(page.count("#drop-answer figure"), bars);
        let asked = serde_json::from_str(&page.text("#drop-answer pre")).expect("a document");
        let said = tapewright::calc::drop::answer(&asked).expect("it is answered");
        let cells = page.texts("#drop-answer tbody td");
        for (row, colour) in ["red", "green", "blue"].iter().enumerate() {
            let drop = said.bars[0].drop_percent[*colour];
            assert_eq!(cells[row * 8 + 4], format!("{drop:.1} %"), "{fed} {colour}");
        }
    }
    // The same document typed in gives the same answer.
    let page = app.get(format!("/bench/drop?{}", drop_query(&[]))).await;
    let (document, cells) = (
        page.text("#drop-answer pre"),
        page.texts("#drop-answer tbody td"),
    );
    let page = page.form("form[method=post]").set("document", &document);
    let page = page.send(&app).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.texts("#drop-answer tbody td"), cells);
}

#[tokio::test]
async fn what_is_wrong_with_a_drop_is_said_at_its_field() {
    let app = TestApp::new().await;
    for (field, bad) in [
        ("voltage", "0"),
        ("voltage", "-24 V"),
        ("voltage", "nothing"),
        ("colours", "ultraviolet"),
        ("length", "0"),
        ("length", "20 mm"),
        ("length", "9 km"),
        ("pitch", "0"),
        ("power", "0"),
        ("power", "4.8; 4.8"),
        ("series", "0"),
        // Nine LEDs of 2.8 V ask for more than 24 V: nothing would light.
        ("series", "9"),
        ("trace", "-1"),
        ("trace_common", "x"),
        ("cable", "-4 m"),
        ("size", "77 kg"),
        ("feed", "3 weeks"),
        ("feed_size", "0"),
        ("supply", "-1 V"),
    ] {
        let query = drop_query(&[(field, bad)]);
        let page = app.get(format!("/bench/drop?{query}")).await;
        assert_eq!(page.status, 422, "{field} {bad}");
        assert!(page.count(&format!("#{field}-error")) > 0, "{field} {bad}");
        assert_eq!(page.count("#drop-answer table"), 0, "{field} {bad}");
        assert!(!page.text("main").contains("NaN"));
    }
    let page = app.get("/bench/drop").await;
    for bad in ["", "{", "{}", "[1]"] {
        let form = page.form("form[method=post]").set("document", bad);
        let answer = form.send(&app).await;
        assert_eq!(answer.status, 422, "{bad}");
        assert!(answer.count("#document-error") > 0, "{bad}");
    }
}

#[tokio::test]
async fn addresses_are_given_out_round_what_is_taken() {
    // ANSI E1.11: slots are consecutive and stay below 513. By hand: 1 to 96 are taken, D1 keeps 97
    // to 108, so 109 is next; switches that show start − 1 hold 112 for 113.
    let app = TestApp::new().await;
    let drivers = "D1%2C+12%2C+switches%2C+97%0AD2%2C+4%2C+menu%0AD3%2C+12%2C+switches_less_one";
    let page = app
        .get(format!("/bench/addresses?taken=1-96&drivers={drivers}"))
        .await;
    assert_eq!(page.status, 200);
    let starts = page.texts("#addresses-answer tbody td strong");
    let starts: Vec<&str> = starts
        .iter()
        .map(String::as_str)
        .filter(|it| *it != "on")
        .collect();
    assert_eq!(starts, ["97", "109", "113"]);
    // 97 is 1 + 32 + 64, and 112 is 16 + 32 + 64.
    let on = |row: u32| -> Vec<usize> {
        let cells = page.texts(&format!("#addresses-answer tbody tr:nth-child({row}) td"));
        let switches = (1..).zip(cells.iter().skip(3));
        switches
            .filter(|(_, word)| *word == "on")
            .map(|(nth, _)| nth)
            .collect()
    };
    assert_eq!(on(1), [1, 6, 7]);
    assert_eq!(on(3), [5, 6, 7]);
    for query in [
        "taken=600",
        "taken=9-3",
        "drivers=",
        "drivers=D1",
        "drivers=D1%2C+0",
        "drivers=D1%2C+600",
        "drivers=D1%2C+12%2C+guessing",
        "drivers=D1%2C+12%2C+menu%2C+0",
        "drivers=D1%2C+12%0AD1%2C+12",
        "taken=1-512&drivers=D1%2C+12%2C+menu%2C+1%2C+2",
    ] {
        let page = app.get(format!("/bench/addresses?{query}")).await;
        assert_eq!(page.status, 422, "{query}");
        assert!(page.count(".error") > 0, "{query}");
        assert_eq!(page.count("#addresses-answer table"), 0, "{query}");
    }
}

#[tokio::test]
async fn red_and_green_cross_once_where_the_venue_prefers() {
    // Common practice, no source: terminals in the order common, red, green, blue, white and pads in
    // the order common, green, red, blue, white need one crossing of red and green.
    let app = TestApp::new().await;
    let query = |prefer: &str, cable: &str| {
        format!(
            "/bench/wires?colours=RGBW&terminals=common,red,green,blue,white&cable={cable}\
             &lead=common,green,red,blue,white&pads=common,green,red,blue,white&prefer={prefer}"
        )
    };
    let cable = "black,green,red,blue,white";
    for (prefer, before) in [("driver_plug", "cable"), ("block", "lead")] {
        let page = app.get(query(prefer, cable)).await;
        assert_eq!(page.status, 200);
        let text = page.text("#wires-answer");
        let wanted = format!("one crossing before the {before}: red crosses green");
        assert!(text.contains(&wanted), "{text}");
        assert_eq!(page.count("#wires-answer svg"), 1);
        assert_eq!(page.count("#wires-answer tbody tr"), 5);
    }
    // A conductor too few: said why, and no table of wires.
    let page = app.get(query("block", "black,green,red,blue")).await;
    assert_eq!(page.count("#wires-answer .mark.broken"), 1);
    assert_eq!(page.count("#wires-answer table"), 0);
    for wrong in ["", "black"] {
        let page = app.get(query("block", wrong)).await;
        assert_eq!(page.status, 422);
        assert!(page.count("#cable-error") > 0);
    }
    let page = app.get("/bench/wires?colours=mauve").await;
    assert_eq!(page.status, 422);
    assert!(page.count("#colours-error") > 0);
}
