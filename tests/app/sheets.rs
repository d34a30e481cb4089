//! The printed sheets of a set: what each says, and the marks by which an old print is told.

use tapewright::sample;

use crate::help::{Page, TestApp};

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

const SHEETS: [&str; 9] = [
    "cuts",
    "cards",
    "wiring",
    "loads",
    "addresses",
    "cost",
    "shopping",
    "packing",
    "strike",
];

fn mark(page: &Page) -> String {
    page.text(".sheet-mark strong")
}

#[tokio::test]
async fn each_sheet_says_its_part_and_all_together_say_all() {
    let app = hall().await;
    let list = app.get("/designs/3/sheets").await;
    assert_eq!(list.count("ul.rows li"), SHEETS.len());
    let all = app.get("/designs/3/sheets/all").await;
    assert_eq!(all.count("table.sheet"), SHEETS.len());
    // What goes with the wiring to the same hands follows on its page.
    let follow = all.texts("table.sheet.follows h2");
    for sheet in ["Loads and fuses", "Addresses"] {
        assert!(follow.contains(&sheet.to_owned()), "{follow:?}");
    }
    assert!(!follow.contains(&"Wiring".to_owned()), "{follow:?}");
    for (at, sheet) in SHEETS.iter().enumerate() {
        let page = app.get(format!("/designs/3/sheets/{sheet}")).await;
        assert_eq!(page.status, 200, "{sheet}");
        assert_eq!(page.count("table.sheet"), 1);
        let head = page.text(".sheet-head");
        for word in [
            "Midsummer play",
            "Millpond Hall",
            "revision",
            "printed Thu 5 Mar 2026",
        ] {
            assert!(head.contains(word), "{sheet}: {head}");
        }
        // A sheet alone and in the pack is the same, mark and all.
        assert_eq!(mark(&page), all.texts(".sheet-mark strong")[at], "{sheet}");
        let wires = ["cards", "wiring", "loads", "addresses", "strike"].contains(sheet);
        assert_eq!(
            page.text("main").contains("Fuse each feed"),
            wires,
            "{sheet}"
        );
    }
    let text = async |sheet: &str| {
        app.get(format!("/designs/3/sheets/{sheet}"))
            .await
            .text("table.sheet")
    };
    let cuts = app.get("/designs/3/sheets/cuts").await;
    assert_eq!(cuts.count(".sheet div.caution"), 1);
    for page in [cuts, app.get("/designs/3/cuts").await] {
        let caution = page.texts("div.caution").join(" ");
        for words in [
            "power off",
            "only at cut marks",
            "insulate cut ends",
            "polarity",
        ] {
            assert!(caution.contains(words), "{}: {caution}", page.path);
        }
    }
    assert!(text("cards").await.contains("from its marked end"));
    assert!(text("packing").await.contains("Store room"));
    assert!(text("cost").await.contains("Approved up to"));
    assert!(text("shopping").await.contains("Weir Street Electrical"));
    assert!(text("strike").await.contains("as planned"));
    // As many fuses on the shortfall page as the load sheet has places for them.
    let list = app.get("/designs/3/shortfall").await.texts("#fuses li");
    let many: usize = list
        .iter()
        .filter_map(|line| line.split(' ').next()?.parse::<usize>().ok())
        .sum();
    let places = text("loads").await.matches("fuse, at most").count();
    assert!(many > 0 && many == places, "{list:?}: {many}, {places}");
    // They are named wherever things are bought or fetched.
    for path in ["/shopping", "/designs/3/shopping"] {
        let page = app.get(path).await.text("main");
        assert!(
            list.iter().all(|fuse| page.contains(fuse)),
            "{path}: {page}"
        );
    }
    for sheet in ["shopping", "packing"] {
        let page = text(sheet).await;
        assert!(page.contains("Also fuses: "), "{sheet}: {page}");
        assert!(
            list.iter().all(|fuse| page.contains(fuse)),
            "{sheet}: {page}"
        );
    }
    // What is built is on a card each.
    let cards = app.get("/designs/3/sheets/cards").await.count(".card");
    let bars = app.get("/designs/3/bars").await.count(".book .mark.build");
    assert_eq!(cards, bars);
    assert_eq!(app.get("/designs/3/sheets/poster").await.status, 404);
    assert_eq!(app.get("/designs/99/sheets/cuts").await.status, 404);
}

#[tokio::test]
async fn the_wiring_tells_each_run_with_its_lead_and_its_block() {
    let app = hall().await;
    let page = app.get("/designs/3/bars/15").await;
    let done = page
        .form("main form[method=post]")
        .set("fed", "both_ends")
        .set("cable", "2 m")
        .send(&app)
        .await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let label = app.get("/designs/3/bars/15").await.text("h1");
    for page in ["/designs/3/sheets/wiring", "/designs/3/wiring"] {
        let page = app.get(page).await;
        let rows = page.texts(".book tr");
        let row = rows
            .iter()
            .find(|row| row.contains("run to its end"))
            .unwrap_or_else(|| panic!("{label}: {rows:?}"));
        for word in [
            "run to its start",
            "on it ",
            "male",
            ", ways ",
            "block 1",
            "(pins 1 ",
        ] {
            assert!(row.contains(word), "{word}: {row}");
        }
        let text = page.text("main");
        assert!(text.contains("Lead on the cable, "), "{text}");
    }
    // Nobody noted what colours a lead's wires have: the sheet leaves room for them.
    let sheet = app.get("/designs/3/sheets/wiring").await.text("main");
    let (_, leads) = sheet.split_once("Wires of the leads").expect("a table");
    assert!(leads.contains("pin 1, "), "{leads}");
    let cards = app.get("/designs/3/sheets/cards").await;
    let card = cards
        .texts(".card")
        .into_iter()
        .find(|card| card.contains("run to its end"));
    let all = cards.texts(".card").join("\n");
    assert!(card.is_some(), "{all}");
    for word in [
        "pads in the order",
        "V or more",
        "Uses up: ",
        "the colours of this lead",
        "common (pad ",
    ] {
        assert!(all.contains(word), "{word}: {all}");
    }
}

/// From supply to driver: as many feeds as the load sheet tells inlets of, each pole by pole, with its
/// cable, its fuse and room for the colours.
#[tokio::test]
async fn each_feed_is_told_pole_by_pole_with_its_cable_and_its_fuse() {
    let app = hall().await;
    let loads = app.get("/designs/3/sheets/loads").await;
    let inlets = loads.texts(".book tbody tr");
    let inlets = inlets
        .iter()
        .filter(|row| row.starts_with("Inlet "))
        .count();
    assert!(inlets > 0);
    for path in ["/designs/3/wiring", "/designs/3/sheets/wiring"] {
        let page = app.get(path).await;
        let text = page.text("main");
        assert!(text.contains("From supply to driver"), "{path}: {text}");
        let rows = page.texts(".book tbody tr");
        let feeds: Vec<_> = rows
            .iter()
            .filter(|row| row.contains("inlet ") && row.contains("+ to +"))
            .collect();
        assert_eq!(feeds.len(), inlets, "{path}: {rows:?}");
        for feed in feeds {
            for words in [
                "supply ",
                "− to −",
                "one conductor for + and one for −",
                "fuse near the supply",
            ] {
                assert!(feed.contains(words), "{path}, {words}: {feed}");
            }
            let blanks = feed.matches("________").count();
            let wanted = if path.contains("sheets") { 2 } else { 0 };
            assert_eq!(blanks, wanted, "{path}: {feed}");
        }
        for words in ["in its +", "meter", "by a qualified person", "Data: "] {
            assert!(text.contains(words), "{path}, {words}: {text}");
        }
        assert!(text.contains("terminator"), "{path}: {text}");
    }
}

/// Where supplies stand at their drivers no cable is made up; poles and fuse are told all the same.
#[tokio::test]
async fn a_feed_without_a_cable_says_so() {
    let app = hall().await;
    let settings = app.get("/settings").await.form("form.form");
    let saved = settings.set("feed", "0").send(&app).await;
    assert_eq!(saved.status, 303, "{}", saved.text("main"));
    for path in ["/designs/3/wiring", "/designs/3/sheets/wiring"] {
        let rows = app.get(path).await.texts(".book tbody tr");
        let feed = rows.iter().find(|row| row.contains("+ to +"));
        let feed = feed.unwrap_or_else(|| panic!("{path}: {rows:?}"));
        for words in ["no cable is counted", "− to −", "a fuse near the supply"] {
            assert!(feed.contains(words), "{path}, {words}: {feed}");
        }
        assert!(!feed.contains("one conductor"), "{path}: {feed}");
    }
}

#[tokio::test]
async fn limits_stand_in_full_once_in_a_pack_and_counts_are_written_at_strike() {
    let app = hall().await;
    let all = app.get("/designs/3/sheets/all").await;
    let whole = all.count(".sheet div.caution.stop");
    let short = all.count(".sheet p.caution.stop");
    assert!(
        (whole, short) == (1, 4) || (whole, short) == (0, 0),
        "{whole} in full, {short} counted"
    );
    let alone = app.get("/designs/3/sheets/loads").await;
    assert_eq!(alone.count(".sheet div.caution.stop"), whole);
    let strike = app.get("/designs/3/sheets/strike").await;
    let counted = strike.count("td.upright .blank");
    assert!(counted > 0 && counted % 4 == 0, "{counted}");
    // Cable comes back too, though it is held for good until it hangs.
    let rows = strike.texts(".sheet .book tbody tr");
    let cable = rows.iter().filter(|row| row.contains("Cable"));
    assert!(cable.count() > 0, "{rows:?}");
}

#[tokio::test]
async fn an_old_print_is_told_from_the_plan_of_now() {
    let app = hall().await;
    let before = app.get("/designs/3/sheets/cuts").await;
    let (cuts, addresses) = (
        mark(&before),
        mark(&app.get("/designs/3/sheets/addresses").await),
    );
    let still = app.get(format!("/designs/3/print/{cuts}")).await;
    assert!(
        still.text("main").contains("Cut list: still right"),
        "{}",
        still.text("main")
    );
    // Typed small and with a space, it is found too.
    let typed = format!("{}+{}", cuts[..3].to_lowercase(), &cuts[3..]);
    let asked = app.get(format!("/designs/3/print?mark={typed}")).await;
    assert_eq!(
        asked.header("location"),
        Some(&*format!("/designs/3/print/{cuts}"))
    );
    assert!(
        app.get("/designs/3/print/AAAAAA")
            .await
            .text("main")
            .contains("No print of this set")
    );
    // Nothing typed is no mark: it is asked again.
    let empty = app.get("/designs/3/print?mark=+").await;
    assert_eq!(empty.status, 422);
    assert!(empty.text("main").contains("Type all six"));
    // Of another set it is none.
    assert!(
        app.get(format!("/designs/2/print/{cuts}"))
            .await
            .text("main")
            .contains("No print")
    );

    // What no sheet says changes no mark.
    let page = app.get("/designs/3/edit").await;
    let done = page
        .form("main form[method=post]")
        .set("note", "Ask for the ladder")
        .send(&app)
        .await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    for (sheet, mark) in [("Cut list", &cuts), ("Addresses", &addresses)] {
        let same = app
            .get(format!("/designs/3/print/{mark}"))
            .await
            .text("main");
        assert!(same.contains(&format!("{sheet}: still right")), "{same}");
    }
    // A bar becomes shorter: the cut list of before is old, and says which mark counts.
    let page = app.get("/designs/3/bars/15").await;
    let done = page
        .form("main form[method=post]")
        .set("length", "1400 mm")
        .send(&app)
        .await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let old = app
        .get(format!("/designs/3/print/{cuts}"))
        .await
        .text("main");
    assert!(old.contains("this print is old"), "{old}");
    let now = mark(&app.get("/designs/3/sheets/cuts").await);
    assert!(now != cuts && old.contains(&now), "{old}");
}

#[tokio::test]
async fn an_empty_set_says_so_on_every_sheet() {
    let app = TestApp::new().await;
    let page = app.get("/designs/new").await;
    let made = page
        .form("form[action='/designs/new']")
        .set("name", "Nothing yet")
        .send(&app)
        .await;
    assert_eq!(made.status, 303);
    for (sheet, says) in [
        ("cuts", "Nothing is cut"),
        ("cards", "No fixture is built"),
        ("wiring", "Nothing is wired"),
        ("loads", "No driver"),
        ("addresses", "No driver"),
        ("cost", "Nothing has to be bought"),
        ("shopping", "Nothing is short"),
        ("packing", "Nothing is fetched"),
        ("strike", "Nothing is out"),
    ] {
        let text = app
            .get(format!("/designs/1/sheets/{sheet}"))
            .await
            .text("main");
        assert!(text.contains(says), "{sheet}: {text}");
    }
}

#[tokio::test]
async fn sheets_are_reached_from_where_the_work_is() {
    let app = hall().await;
    for page in ["", "/build", "/strike"] {
        let page = app.get(format!("/designs/3{page}")).await;
        let links = page.attributes(".actions a", "href");
        assert!(
            links.contains(&"/designs/3/sheets".to_owned()),
            "{}: {links:?}",
            page.path
        );
    }
}

#[tokio::test]
async fn a_coupler_between_lead_and_bar_is_told_where_the_wires_are_drawn() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let page = app.get("/designs/2/wiring").await;
    let between = "Between the lead on the cable and the bar: Gender changer";
    assert!(page.text("main").contains(between), "{}", page.text("main"));
    let sheet = app.get("/designs/2/sheets/wiring").await.text("main");
    assert!(
        sheet.contains("Coupler between lead and bar: Gender changer"),
        "{sheet}"
    );
}
