//! The calculators of the bench.

mod feeds;

use crate::help::TestApp;

/// Fields as an address carries them.
fn query(fields: &[(&str, &str)]) -> String {
    let encoded = fields.iter().map(|(name, value)| {
        let value = value
            .replace('%', "%25")
            .replace('&', "%26")
            .replace('+', "%2B")
            .replace(' ', "+")
            .replace('\n', "%0A");
        format!("{name}={}", value.replace(';', "%3B"))
    });
    encoded.collect::<Vec<_>>().join("&")
}

/// The fields with some changed.
fn changed<'a>(
    fields: &[(&'a str, &'a str)],
    changes: &[(&'a str, &'a str)],
) -> Vec<(&'a str, &'a str)> {
    let mut all = fields.to_vec();
    for (name, value) in changes {
        all.retain(|(field, _)| field != name);
        all.push((name, value));
    }
    all
}

#[tokio::test]
async fn the_bench_leads_to_every_calculator() {
    let app = TestApp::new().await;
    let page = app.get("/bench").await;
    for to in ["cuts", "packs", "feeds", "drop", "addresses", "wires"] {
        let link = format!("main a[href='/bench/{to}']");
        assert_eq!(page.count(&link), 1, "{to}");
        assert_eq!(app.get(format!("/bench/{to}")).await.status, 200, "{to}");
    }
    assert_eq!(app.get("/bench?address=0").await.status, 422);
}

/// DMX512 has slots 1 to 512; nine switches show 511 at most, and those of a device that shows one
/// less reach the last slot.
#[tokio::test]
async fn nine_switches_reach_512_where_they_show_one_less() {
    let app = TestApp::new().await;
    let page = app.get("/bench?address=512&less_one=on").await;
    assert_eq!(page.status, 200);
    assert_eq!(page.texts("#dip-answer td"), ["on"; 9]);
    let page = app.get("/bench?address=512").await;
    assert_eq!(page.status, 422);
    assert!(
        page.errors()[0].contains("start − 1"),
        "{:?}",
        page.errors()
    );
    for past in ["/bench?address=513&less_one=on", "/bench?address=513"] {
        assert_eq!(app.get(past).await.status, 422, "{past}");
    }
}

#[tokio::test]
async fn a_very_long_bar_is_drawn_as_a_light_picture() {
    let app = TestApp::new().await;
    let page = app.get("/bench/drop?length=500+m").await;
    assert_eq!(page.status, 200);
    assert!(page.count("#drop-answer figure svg line") > 400);
    assert!(page.body.len() < 600_000, "{}", page.body.len());
}

const CUTS: [(&str, &str); 9] = [
    ("pitch", "50 mm"),
    ("pieces", "1 x 5 m lead lead"),
    ("rolls", ""),
    ("bars", "3 x 1.2 m\n1 x 900 mm"),
    ("usable", "300 mm"),
    ("lead", "0"),
    ("joint", "1"),
    ("mark", "2"),
    ("kerf", ""),
];

#[tokio::test]
async fn a_roll_is_cut_and_the_answer_says_what_is_proven() {
    let app = TestApp::new().await;
    let page = app.get(format!("/bench/cuts?{}", query(&CUTS))).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.count("#cuts-answer figure"), 1);
    let answer = page.text("#cuts-answer");
    assert!(answer.contains("proven least"), "{answer}");
    // Four bars, two of them at the roll's leads: two joints on other marks are left.
    assert!(answer.contains("Soldering work 4"), "{answer}");
    // The document that the fields make is answered alike, typed in as well.
    let asked = serde_json::from_str(&page.text("#cuts-answer pre")).expect("a document");
    let said = tapewright::calc::cuts::answer(&asked, &|| std::time::Duration::ZERO);
    let said = said.expect("it is answered");
    assert_eq!((said.solder_work, said.purchase_minor), (4, 0));
    let (document, lines) = (
        page.text("#cuts-answer pre"),
        page.texts("#cuts-answer > ul li"),
    );
    let form = page.form("form[method=post]").set("document", &document);
    let page = form.send(&app).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.texts("#cuts-answer > ul li"), lines);
}

/// By hand. A bar of 6 m fits no roll of 5 m; four of 2.4 m take two rolls, 84.00, and with leads at
/// both ends of each nothing is soldered. Joints every 450 mm: a bar from 1.8 m to 2.7 m of a roll
/// without leads begins and ends on joints (common practice, no source).
#[tokio::test]
async fn rolls_are_bought_and_joints_are_used_and_what_soldering_saves_is_told() {
    let app = TestApp::new().await;
    let ask = |changes: &[(&'static str, &'static str)]| {
        format!("/bench/cuts?{}", query(&changed(&CUTS, changes)))
    };
    let bought = [
        ("pieces", ""),
        ("rolls", "long: 5 m lead lead, at 42.00"),
        ("bars", "4 x 2.4 m"),
        ("trade", "on"),
    ];
    let page = app.get(ask(&bought)).await;
    let answer = page.text("#cuts-answer");
    assert!(answer.contains("2 × long"), "{answer}");
    assert!(answer.contains("84.00"), "{answer}");
    assert!(answer.contains("Soldering work 0"), "{answer}");
    assert_eq!(page.texts("#cuts-answer tbody td"), ["0", "84.00 EUR"]);
    let jointed = [
        ("pieces", "R-7: 900 mm bare bare, joints 450 mm"),
        ("bars", "900 mm both"),
    ];
    let answer = app.get(ask(&jointed)).await.text("#cuts-answer");
    assert!(answer.contains("Soldering work 2"), "{answer}");
    let short = app.get(ask(&[("bars", "6 m")])).await.text("#cuts-answer");
    assert!(
        short.contains("1 × 6 m (line 1)") || short.contains("1 × 6000 mm"),
        "{short}"
    );
}

#[tokio::test]
async fn what_is_wrong_with_a_cut_comes_back_as_typed_with_the_message_at_its_field() {
    let app = TestApp::new().await;
    let many = "1 m\n".repeat(61);
    for (field, bad) in [
        ("pitch", "0"),
        ("pitch", "x"),
        ("pieces", "-1 m"),
        ("pieces", "20 mm"),
        ("pieces", "999999 x 600 mm"),
        ("pieces", "R: 1 m\nR: 2 m"),
        ("pieces", "1 m, spots 3"),
        ("pieces", "1 m, joints 0"),
        ("pieces", "2000 km"),
        ("pieces", &*many),
        ("rolls", "5 m lead lead"),
        ("rolls", "5 m, at much"),
        ("rolls", "5 m, at 42.00, most many"),
        ("rolls", "5 m, at 42.00, least 3"),
        ("bars", ""),
        ("bars", "-600 mm"),
        ("bars", "201 x 600 mm"),
        ("usable", "soon"),
        ("lead", "-1"),
        ("joint", "x"),
        ("mark", "1001"),
        // Less than a joint.
        ("mark", "0"),
        ("kerf", "wide"),
    ] {
        let fields = changed(&CUTS, &[(field, bad)]);
        let page = app.get(format!("/bench/cuts?{}", query(&fields))).await;
        assert_eq!(page.status, 422, "{field}={bad}");
        assert!(page.count(&format!("#{field}-error")) > 0, "{field}={bad}");
        assert_eq!(page.count("#cuts-answer figure"), 0, "{field}={bad}");
        let typed = page.form("form[method=get]");
        assert_eq!(
            typed.value(field).map(str::trim_end),
            Some(bad.trim_end()),
            "{field}"
        );
    }
    // A saw and leads do not go together: said at the field that asks for the trim.
    let saw = changed(&CUTS, &[("trim", "50 mm")]);
    let page = app.get(format!("/bench/cuts?{}", query(&saw))).await;
    assert_eq!(page.status, 422);
    let page = app.get("/bench/cuts").await;
    for bad in ["", "{", "{}", "[1]"] {
        let form = page.form("form[method=post]").set("document", bad);
        let answer = form.send(&app).await;
        assert_eq!(answer.status, 422, "{bad}");
        assert!(answer.count("#document-error") > 0, "{bad}");
    }
}

const PACKS: [(&str, &str); 5] = [
    ("suppliers", "Weir Street, 5.00, 20.00\nFerry Lane, 5.00"),
    ("wants", "leads, 6"),
    (
        "offers",
        "leads, Weir Street, 5, 3.00\nleads, Ferry Lane, 2, 2.50",
    ),
    ("aim", "money"),
    ("only", ""),
];

/// By hand: six leads are two packs of five, 6.00 + 5.00, or three of two, 7.50 + 5.00.
#[tokio::test]
async fn packs_are_bought_for_the_least_money_deliveries_included() {
    let app = TestApp::new().await;
    let ask = |changes: &[(&'static str, &'static str)]| {
        format!("/bench/packs?{}", query(&changed(&PACKS, changes)))
    };
    let page = app.get(ask(&[])).await;
    assert_eq!(page.status, 200);
    let answer = page.text("#packs-answer");
    assert!(answer.contains("11.00 EUR"), "{answer}");
    assert!(
        answer.contains("No other mix of packs costs less"),
        "{answer}"
    );
    assert!(answer.contains("Left over: 4 of leads"), "{answer}");
    assert!(answer.contains("Nothing from Weir Street"), "{answer}");
    assert!(answer.contains("12.50 EUR"), "{answer}");
    let (document, rows) = (
        page.text("#packs-answer pre"),
        page.texts("#packs-answer tbody td"),
    );
    let form = page.form("form[method=post]").set("document", &document);
    let page = form.send(&app).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.texts("#packs-answer tbody td"), rows);
    let only = app.get(ask(&[("only", "Ferry Lane")])).await;
    assert!(only.text("#packs-answer").contains("12.50 EUR"));
    let unsold = app.get(ask(&[("wants", "leads, 6\nclips, 3")])).await;
    assert!(unsold.text("#packs-answer").contains("3 of clips"));
    // What nobody sells is said, and what is offered beside it is no mistake.
    let unknown = app.get(ask(&[("wants", "hats, 3")])).await;
    let answer = unknown.text("#packs-answer");
    assert!(
        answer.contains("3 of hats: Nobody is known to sell it"),
        "{answer}"
    );
    assert!(answer.contains("left aside"), "{answer}");
    assert_eq!(unknown.errors(), Vec::<String>::new());
}

#[tokio::test]
async fn what_is_wrong_with_packs_comes_back_as_typed_with_the_message_at_its_field() {
    let app = TestApp::new().await;
    for (field, bad) in [
        ("suppliers", "Weir Street, much"),
        ("suppliers", "Weir Street, 5.00, -1"),
        ("suppliers", "Weir Street\nWeir Street"),
        ("suppliers", "Weir Street, 1, 2, 3"),
        ("wants", ""),
        ("wants", "leads"),
        ("wants", "leads, 0"),
        ("wants", "leads, 6\nleads, 7"),
        ("wants", "leads, 1000001"),
        ("offers", "leads, Weir Street, 0, 3.00"),
        ("offers", "leads, Weir Street, five, 3.00"),
        ("offers", "leads, Weir Street, 5, cheap"),
        ("offers", "leads, Mill Lane, 5, 3.00"),
        ("offers", "leads, Weir Street, 5, 3.00, 0"),
        ("aim", "luck"),
        ("only", "Mill Lane"),
    ] {
        let fields = changed(&PACKS, &[(field, bad)]);
        let page = app.get(format!("/bench/packs?{}", query(&fields))).await;
        assert_eq!(page.status, 422, "{field}={bad}");
        assert!(page.count(&format!("#{field}-error")) > 0, "{field}={bad}");
        assert_eq!(page.count("#packs-answer table"), 0, "{field}={bad}");
        if field != "aim" {
            assert_eq!(
                page.form("form[method=get]").value(field),
                Some(bad),
                "{field}"
            );
        }
    }
    let page = app.get("/bench/packs").await;
    for bad in ["", "{", "{}", "[1]"] {
        let form = page.form("form[method=post]").set("document", bad);
        let answer = form.send(&app).await;
        assert_eq!(answer.status, 422, "{bad}");
        assert!(answer.count("#document-error") > 0, "{bad}");
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
    query(&fields)
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

#[tokio::test]
async fn what_stands_in_the_fields_at_first_is_in_the_venues_unit() {
    let app = TestApp::new().await;
    for (unit, pitch, usable) in [
        ("cm", "5 cm", Some("30 cm")),
        ("mm", "50 mm", Some("300 mm")),
    ] {
        let settings = app.get("/settings").await.form("form.form");
        let saved = settings.set("length_unit", unit).send(&app).await;
        assert_eq!(saved.status, 303, "{}", saved.text("main"));
        let cuts = app.get("/bench/cuts").await;
        assert_eq!(cuts.status, 200);
        let form = cuts.form("main form");
        assert_eq!(form.value("pitch"), Some(pitch));
        assert_eq!(form.value("usable"), usable);
        // It can be worked out as it stands.
        let answer = form.send(&app).await;
        assert_eq!(answer.status, 200, "{}", answer.text("main"));
        assert_eq!(answer.errors(), Vec::<String>::new());
        let drop = app.get("/bench/drop").await.form("main form");
        assert_eq!(drop.value("pitch"), Some(pitch));
    }
}
