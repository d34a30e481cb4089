//! The stock book: what there is, one thing and what is done with it, places, stocktake, log.

use serde_json::json;

use crate::help::{Page, TestApp};

fn led_to(page: &Page) -> String {
    assert_eq!(page.status, 303, "{}", page.text("main"));
    page.header("location").unwrap().to_owned()
}

/// A shelf in a room, a tape with a roll of 5 m, a count of leads.
struct Book {
    app: TestApp,
    shelf: String,
    tape: String,
    lead: String,
}

impl Book {
    async fn new() -> Self {
        let app = TestApp::new().await;
        for (name, kind, parent) in [
            ("Store room", "room", ""),
            ("Shelf A", "shelf", "1"),
            ("Shelf B", "shelf", "1"),
        ] {
            let fields = [("name", name), ("kind", kind), ("parent", parent)];
            led_to(&app.post("/places", &fields).await);
        }
        let tape = [
            ("name", "Arch tape"),
            ("voltage_mv", "24 V"),
            ("width_um", "10"),
            ("channels", "red, green, blue"),
            ("pitch", "50 mm"),
            ("rolls_um", "5 m"),
        ];
        let mut form = app.get("/parts/new?kind=tape").await.form("form.form");
        for (name, value) in tape {
            form = form.set(name, value);
        }
        let tape = led_to(&form.send(&app).await);
        let form = app.get("/parts/new?kind=lead").await.form("form.form");
        let lead = led_to(
            &form
                .set("name", "Tail")
                .set("family", "four-pin inline")
                .set("gender", "male")
                .set("connector", "four-pin inline, male")
                .send(&app)
                .await,
        );
        Self {
            app,
            shelf: "2".into(),
            tape,
            lead,
        }
    }

    async fn receive(&self, part: &str, fields: &[(&str, &str)]) -> Page {
        let path = format!("{part}/receive");
        let mut form = self.app.get(&path).await.form("form.form");
        form = form.set("to", &self.shelf);
        for (name, value) in fields {
            form = form.set(name, value);
        }
        form.send(&self.app).await
    }

    async fn roll(&self) -> String {
        led_to(
            &self
                .receive(&self.tape, &[("number", "1"), ("length", "5 m")])
                .await,
        );
        led_to(&self.app.get("/tag/r-1").await)
    }
}

#[tokio::test]
async fn an_empty_cupboard_says_what_belongs_there() {
    let app = TestApp::new().await;
    let page = app.get("/").await;
    assert_eq!(page.status, 200);
    assert_eq!(page.text("h1"), "What have I got?");
    assert_eq!(page.attributes(".empty a.btn", "href"), ["/start"]);
    for path in ["/fixtures", "/places", "/log", "/search"] {
        let page = app.get(path).await;
        assert_eq!(page.status, 200, "{path}");
        assert!(page.count(".empty, .note, section p.muted") > 0, "{path}");
    }
}

#[tokio::test]
async fn what_is_received_is_found_by_part_of_a_word() {
    let book = Book::new().await;
    book.roll().await;
    let leads = book.receive(&book.lead, &[("amount", "12")]).await;
    led_to(&leads);
    let page = book.app.get("/?q=arc").await;
    assert_eq!(
        page.texts("#stock .row-name a").last().unwrap(),
        "Arch tape"
    );
    assert!(
        page.texts("#stock .qty").contains(&"5 m".to_owned()),
        "{:?}",
        page.texts("#stock .qty")
    );
    let page = book.app.get("/cupboard?place=2").await;
    assert_eq!(page.count("#stock .row"), 2);
    let page = book.app.get("/cupboard?place=3").await;
    assert_eq!(page.count("#stock .row"), 0);
    let page = book.app.get("/search?q=shelf%20a").await;
    assert!(page.texts(".tag").contains(&"R-1".to_owned()));
    assert_eq!(led_to(&book.app.get("/search?q=R-1").await), "/things/1");
}

#[tokio::test]
async fn bad_goods_come_back_with_what_was_typed() {
    let book = Book::new().await;
    for (fields, field) in [
        ([("number", "0"), ("length", "5 m")], "number"),
        ([("number", "1000000"), ("length", "5 m")], "number"),
        ([("number", "1"), ("length", "-5 m")], "length"),
        ([("number", "1"), ("length", "2 km")], "length"),
        ([("number", "1"), ("length", "0")], "length"),
        ([("number", "1"), ("length", "far")], "length"),
    ] {
        let page = book.receive(&book.tape, &fields).await;
        assert_eq!(page.status, 422, "{fields:?}");
        assert_eq!(page.count(&format!("#{field}-error")), 1, "{fields:?}");
        assert_eq!(
            page.form("form.form").value(field),
            Some(fields.iter().find(|f| f.0 == field).unwrap().1)
        );
    }
    let page = book
        .receive(
            &book.tape,
            &[("number", "1"), ("length", "5 m"), ("start", "lead")],
        )
        .await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#family-error"), 1);
    assert_eq!(book.app.get("/parts/999/receive").await.status, 404);
    assert_eq!(book.app.get("/things/999").await.status, 404);
    assert_eq!(book.app.get("/things/x").await.status, 404);
    assert_eq!(book.app.get("/tag/nothing").await.status, 404);
    assert_eq!(book.app.get("/places/999").await.status, 404);
    assert_eq!(book.app.get("/places/999/count").await.status, 404);
}

#[tokio::test]
pub async fn a_roll_is_moved_marked_lent_lost_and_found_and_each_is_undone() {
    let book = Book::new().await;
    let roll = book.roll().await;
    let app = &book.app;
    for (action, fields, state) in [
        ("move", vec![("to", "3")], "free"),
        ("mark", vec![("condition", "suspect")], "suspect"),
        ("mark", vec![("condition", "good")], "free"),
        (
            "lend",
            vec![("borrower", "The school"), ("due_on", "2026-03-20")],
            "lent out",
        ),
        ("give-back", vec![("to", "2")], "free"),
        ("out", vec![("how", "lose")], "lost"),
        ("move", vec![("to", "2")], "free"),
    ] {
        let page = app.post(format!("{roll}/{action}"), &fields).await;
        let page = app.follow(&page).await;
        assert_eq!(page.status, 200, "{action}");
        assert_eq!(page.count("#flash form"), 1, "{action} offers its undo");
        assert!(
            page.texts(".states .mark")
                .iter()
                .any(|word| word.contains(state)),
            "{action}: {:?}",
            page.texts(".states .mark")
        );
    }
    // The last one undone: it is lost again, and the one before is now the last.
    let page = app.get(&roll).await;
    let undo = page.form(".log form");
    let page = undo.send(app).await;
    assert_eq!(page.status, 303);
    assert!(
        app.get(&roll)
            .await
            .texts(".states .mark")
            .contains(&"lost".to_owned())
    );
    // An older one is refused and names what stands in the way.
    let log = app.get("/log?kind=lend").await;
    let page = log.form(".log form").send(app).await;
    let page = app.follow(&page).await;
    assert!(
        page.text("#flash").contains("after this"),
        "{}",
        page.text("#flash")
    );

    for (action, fields, field) in [
        ("move", vec![("to", "")], "to"),
        ("move", vec![("to", "77")], "to"),
        ("mark", vec![("condition", "shiny")], "condition"),
        (
            "lend",
            vec![("borrower", " "), ("due_on", "soon")],
            "borrower",
        ),
        ("out", vec![("how", "eaten")], "how"),
    ] {
        let page = app.post(format!("{roll}/{action}"), &fields).await;
        assert!(
            [422, 409].contains(&page.status),
            "{action} {field}: {}",
            page.status
        );
    }
}

#[tokio::test]
pub async fn a_cut_shows_its_marks_first_and_is_undone_as_was_not_cut() {
    let book = Book::new().await;
    let roll = book.roll().await;
    let app = &book.app;
    let page = app
        .get(format!("{roll}/cut?lengths=3+x+930+mm,+1+x+450+mm"))
        .await;
    assert_eq!(page.status, 200);
    let rows = page.texts("#preview tbody td");
    assert_eq!(rows[1], "900 mm, 18 cut units");
    assert_eq!(page.count("#preview .draw-box > svg"), 1);
    assert!(
        page.text("#preview").contains("1850 mm is kept"),
        "{}",
        page.text("#preview")
    );
    let page = page.form("#preview form").send(app).await;
    assert_eq!(led_to(&page), roll);
    let page = app.follow(&page).await;
    assert_eq!(page.text("#flash p"), "R-1 was cut into 5 pieces.");
    assert_eq!(
        page.texts("section .row .tag")
            .iter()
            .filter(|tag| tag.starts_with("O-"))
            .count(),
        5
    );
    for (lengths, status) in [
        ("", 422),
        ("3 x 2 m", 422),
        ("0 x 1 m", 422),
        ("20 mm", 422),
        ("9 lightyears", 422),
    ] {
        let page = app
            .post(format!("{roll}/cut"), &[("lengths", lengths)])
            .await;
        assert_eq!(page.status, status, "{lengths}");
    }
    let page = app.get(&roll).await;
    let undo = page.form(".log form").send(app).await;
    assert_eq!(undo.status, 303);
    let page = app.get(&roll).await;
    assert!(
        page.texts(".states .mark").contains(&"free".to_owned()),
        "{:?}",
        page.texts(".states .mark")
    );
}

#[tokio::test]
pub async fn two_who_change_the_same_notes_see_both_versions() {
    let book = Book::new().await;
    let roll = book.roll().await;
    let app = &book.app;
    let mine = app.get(format!("{roll}/edit")).await.form("form.form");
    let theirs = app.get(format!("{roll}/edit")).await.form("form.form");
    led_to(
        &theirs
            .set("note", "Theirs")
            .send(&app.other_browser())
            .await,
    );
    let page = mine.set("note", "Mine").send(app).await;
    assert_eq!(page.status, 412);
    let both = page.texts("table td");
    assert_eq!(both[..3], ["nothing", "Theirs", "Mine"]);
    assert!(app.get(&roll).await.text("main").contains("Theirs"));
    // Sent again from the page that shows both, it is saved.
    led_to(&page.form("form.form").send(app).await);
    assert!(app.get(&roll).await.text("main").contains("Mine"));
    let page = app.get(format!("{roll}/edit")).await.form("form.form");
    let page = page.set("inspect_on", "2026-02-30").send(app).await;
    assert_eq!(page.status, 422);

    let mine = app.get("/places/2/edit").await.form("form.form");
    let theirs = app.get("/places/2/edit").await.form("form.form");
    led_to(&theirs.set("name", "Shelf One").send(app).await);
    let page = mine.set("name", "Shelf First").send(app).await;
    assert_eq!(page.status, 412);
    let text = page.text("main");
    assert!(
        text.contains("Shelf One") && text.contains("Shelf First"),
        "{text}"
    );
}

#[tokio::test]
pub async fn a_shelf_is_counted_line_by_line_without_scripting() {
    let book = Book::new().await;
    let roll = book.roll().await;
    led_to(&book.receive(&book.lead, &[("amount", "12")]).await);
    let app = &book.app;
    let lead = book.lead.rsplit('/').next().unwrap();
    let page = app.get("/places/2/count").await;
    let form = page.form(&format!("#f{lead}"));
    assert_eq!(form.value("amount"), Some("12"));
    // A press of − sends the number with its step.
    let page = form.set("step", "-1").send(app).await;
    let page = app.follow(&page).await;
    assert_eq!(page.form(&format!("#f{lead}")).value("amount"), Some("11"));
    assert_eq!(page.count("#differences .log li"), 1);
    let page = page
        .form(&format!("#f{lead}"))
        .set("amount", "-4")
        .send(app)
        .await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count(&format!("#f{lead} [aria-invalid]")), 1);
    // The roll is not there, and then it is.
    let page = app.get("/places/2/count").await;
    let page = page.form("#g1").send(app).await;
    let page = app.follow(&page).await;
    assert_eq!(page.count("#g1"), 0);
    assert!(
        app.get(&roll)
            .await
            .texts(".states .mark")
            .contains(&"lost".to_owned())
    );
    let fields = [("do", "tag"), ("tag", "r-1")];
    led_to(&app.post("/places/2/count", &fields).await);
    assert!(
        app.get(&roll)
            .await
            .texts(".states .mark")
            .contains(&"free".to_owned())
    );
    let page = app
        .post("/places/2/count", &[("do", "tag"), ("tag", "Z-9")])
        .await;
    assert_eq!(page.status, 422);
    assert!(page.text("#tag-error").contains("Z-9"));
    // The same press twice counts once.
    let form = [
        ("do", "count"),
        ("part", lead),
        ("amount", "20"),
        ("press", "0123456789abcdef0123456789abcdef"),
    ];
    led_to(&app.post("/places/2/count", &form).await);
    led_to(&app.post("/places/2/count", &form).await);
    let page = app.get("/places/2/count").await;
    assert_eq!(page.form(&format!("#f{lead}")).value("amount"), Some("20"));
    // The part's own count page.
    let page = app.get(format!("/parts/{lead}/count")).await;
    let page = page.form("#f2").set("amount", "7").send(app).await;
    led_to(&page);
    // The log says which way each correction went, and to what number.
    let log = app.get("/log").await.text("ol.log");
    for said in [
        "minus 13: now 7 in",
        "plus 9: now 20 in",
        "minus 1: now 11 in",
    ] {
        assert!(log.contains(said), "{said}: {log}");
    }
    let page = app.get(format!("/parts/{lead}/count")).await;
    assert_eq!(page.form("#f2").value("amount"), Some("7"));
}

#[tokio::test]
async fn a_length_counted_anew_is_told_in_the_venues_unit() {
    let book = Book::new().await;
    let app = &book.app;
    let settings = app.get("/settings").await.form("form.form");
    let saved = settings.set("length_unit", "cm").send(app).await;
    assert_eq!(saved.status, 303, "{}", saved.text("main"));
    let form = app.get("/parts/new?kind=sundry").await.form("form.form");
    let form = form.set("name", "Sleeve").set("measure", "length");
    let sleeve = led_to(&form.send(app).await);
    led_to(&book.receive(&sleeve, &[("amount", "2 m")]).await);
    let id = sleeve.rsplit('/').next().unwrap();
    let page = app.get("/places/2/count").await;
    let form = page.form(&format!("#f{id}")).set("amount", "208 cm");
    led_to(&form.send(app).await);
    let log = app.get("/log").await.text("ol.log");
    assert!(log.contains("plus 8 cm: now 208 cm in"), "{log}");
}

#[tokio::test]
async fn a_finished_bar_that_ends_between_cut_marks_is_remarked_upon() {
    let book = Book::new().await;
    book.roll().await;
    let app = &book.app;
    // The roll's tape has a mark every 50 mm.
    let page = app.get("/fixtures/new").await;
    let tape = page.attributes("select[name=tape] option", "value");
    let tape = tape.iter().find(|id| !id.is_empty()).expect("a tape");
    for (length, remark) in [
        ("1.17 m", Some("1150 mm or 1200 mm would be")),
        ("30 mm", Some("the least would be 50 mm")),
        ("1.2 m", None),
        ("1199.5 mm", None),
    ] {
        let form = app.get("/fixtures/new").await.form("form.form");
        let form = form.set("lit_um", length).set("tape", tape).set("to", "2");
        let entered = form.send(app).await;
        assert_eq!(entered.status, 303, "{length}: {}", entered.text("main"));
        let said = app.follow(&entered).await.text("#flash");
        assert!(said.contains("1 fixture entered."), "{said}");
        assert_eq!(said.contains("cut units"), remark.is_some(), "{said}");
        assert!(said.contains(remark.unwrap_or_default()), "{said}");
    }
}

#[tokio::test]
async fn a_finished_bar_that_was_noted_wrongly_is_corrected() {
    let book = Book::new().await;
    let app = &book.app;
    let form = app.get("/fixtures/new").await.form("form.form");
    let entered = form
        .set("lit_um", "2.4 m")
        .set("to", "2")
        .set("channels", "RGB")
        .set("voltage", "24 V")
        .set("family", "four-pn")
        .send(app)
        .await;
    let fixture = led_to(&entered);
    let page = app.get(format!("{fixture}/edit")).await;
    let form = page.form("form.form");
    assert_eq!(form.value("channels"), Some("RGB"));
    // Its own plug is in the list, so that it stays as it is if nothing is touched.
    assert!(form.value("plug").unwrap().contains("four-pn"));

    let stale = app.get(format!("{fixture}/edit")).await.form("form.form");
    let both = form.clone().set("family", "four-pin").send(app).await;
    assert_eq!(both.status, 422);
    assert!(both.text("#family-error").contains("not both"));
    let corrected = form
        .set("lit_um", "2.5 m")
        .set("plug", "")
        .set("family", "four-pin inline")
        .set("gender", "female")
        .send(app)
        .await;
    assert_eq!(led_to(&corrected), fixture);
    let page = app.get(&fixture).await;
    assert!(page.text("main").contains("four-pin inline, female"));
    assert!(page.text("main").contains("2500 mm"));
    assert!(app.get("/search?q=2.5+m").await.status == 200);
    // Somebody else's page was read before that.
    let late = stale.send(app).await;
    assert_eq!(late.status, 412);
    assert!(late.text("main").contains("Nothing was overwritten"));
    assert!(app.get(&fixture).await.text("main").contains("2500 mm"));
    // Nonsense for a plug is no plug.
    let form = app.get(format!("{fixture}/edit")).await.form("form.form");
    let odd = form.set("plug", "{}").set("family", "").send(app).await;
    assert_eq!(odd.status, 422);
    assert_eq!(odd.count("#plug-error"), 1);

    let id = fixture.trim_start_matches("/things/");
    let path = format!("/api/v1/things/{id}/notes");
    let tag = app.get(&path).await.header("etag").unwrap().to_owned();
    let make = json!({
        "channels": ["red", "green", "blue"], "voltage_mv": 0, "lit_um": 2_000_000,
        "diffused": true, "fed": "both_ends"
    });
    let mut body = json!({"note": "", "fixture": {"make": make}});
    let refused = app.json("PUT", &path, &[("if-match", &tag)], &body).await;
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("/fixture/make/voltage_mv"));
    body["fixture"]["make"]["voltage_mv"] = json!(24_000);
    let saved = app.json("PUT", &path, &[("if-match", &tag)], &body).await;
    assert_eq!(saved.status, 200, "{}", saved.body);
    let whole = app.get(format!("/api/v1/things/{id}")).await.value();
    assert_eq!(whole["fixture"]["make"]["fed"], "both_ends");
}

#[tokio::test]
async fn a_corrected_lit_length_between_two_marks_is_remarked_upon() {
    let book = Book::new().await;
    let app = &book.app;
    let tape = book.tape.trim_start_matches("/parts/");
    let form = app.get("/fixtures/new").await.form("form.form");
    let form = form.set("lit_um", "1.2 m").set("to", "2").set("tape", tape);
    let fixture = led_to(&form.send(app).await);
    let edit = async || app.get(format!("{fixture}/edit")).await.form("form.form");
    for (length, remarked) in [("1.17 m", true), ("1.15 m", false)] {
        let saved = edit().await.set("lit_um", length).send(app).await;
        let said = app.follow(&saved).await.text("#flash");
        assert!(said.contains("The notes were saved."), "{said}");
        let remark =
            "1170 mm is no whole number of this tape’s cut units: 1150 mm or 1200 mm would be";
        assert_eq!(said.contains(remark), remarked, "{said}");
    }
    // What was not touched is not remarked upon again.
    led_to(&edit().await.set("lit_um", "1.17 m").send(app).await);
    let saved = edit().await.set("note", "a dent").send(app).await;
    let said = app.follow(&saved).await.text("#flash");
    assert!(!said.contains("cut units"), "{said}");
}

#[tokio::test]
async fn a_venue_in_feet_has_feet_in_its_fields_and_changes_nothing_untyped() {
    let book = Book::new().await;
    let roll = book.roll().await;
    let app = &book.app;
    let form = app.get("/fixtures/new").await.form("form.form");
    let form = form
        .set("lit_um", "2.4 m")
        .set("to", "2")
        .set("channels", "RGB")
        .set("voltage", "24 V");
    let fixture = led_to(&form.send(app).await);
    let settings = app.get("/settings").await.form("form.form");
    led_to(&settings.set("length_unit", "ft").send(app).await);
    let id = fixture.trim_start_matches("/things/");
    // Examples are in feet too.
    let cut = app.get(format!("{roll}/cut")).await;
    let hint = cut.text("#lengths-hint");
    assert!(hint.contains("3 x 3 ft, 18 in"), "{hint}");
    let refused = app.post(format!("{roll}/cut"), &[("lengths", "")]).await;
    let said = refused.text("main");
    assert!(said.contains("such as 3 x 3 ft, 18 in"), "{said}");
    // 2.4 m are 94.4882 in.
    let like = app.get(format!("/fixtures/new?like={id}")).await;
    let form = like.form("form.form");
    assert_eq!(form.value("lit_um"), Some("7' 10.4882\""));
    let edit = app.get(format!("{fixture}/edit")).await.form("form.form");
    assert_eq!(edit.value("lit_um"), Some("7' 10.4882\""));
    led_to(&edit.set("note", "a dent").send(app).await);
    let whole = app.get(format!("/api/v1/things/{id}")).await.value();
    assert_eq!(whole["fixture"]["make"]["lit_um"], 2_400_000);
}

#[tokio::test]
async fn a_bar_like_one_that_is_not_there_is_entered_by_itself() {
    let book = Book::new().await;
    let app = &book.app;
    let enter = async |path: &str| {
        let form = app.get(path).await.form("form.form");
        form.set("lit_um", "2.4 m")
            .set("to", "2")
            .set("channels", "RGB")
            .set("voltage", "24 V")
            .set("family", "four-pin inline")
            .send(app)
            .await
    };
    // A changed address names nothing, or no fixture: the new bar's own page follows.
    for like in ["987654", "bar"] {
        let entered = led_to(&enter(&format!("/fixtures/new?like={like}")).await);
        assert!(!entered.contains("/swap"), "{like}: {entered}");
        assert_eq!(app.get(&entered).await.status, 200, "{like}: {entered}");
    }
    // One that there is leads to its swap.
    let fixture = app
        .get("/fixtures")
        .await
        .attributes("#fixtures .tag", "href");
    let id = fixture[0].trim_start_matches("/things/").to_owned();
    let form = app
        .get(format!("/fixtures/new?like={id}"))
        .await
        .form("form.form");
    let swapped = led_to(&form.set("to", "2").send(app).await);
    assert_eq!(swapped, format!("/things/{id}/swap"));
}

#[tokio::test]
pub async fn fixtures_and_frames_are_entered_and_listed_by_their_days() {
    let book = Book::new().await;
    let app = &book.app;
    let form = app.get("/fixtures/new").await.form("form.form");
    let page = form
        .set("lit_um", "2.4 m")
        .set("number", "3")
        .set("to", "2")
        .set("channels", "RGB")
        .set("voltage", "24 V")
        .set("family", "four-pin inline")
        .set("gender", "male")
        .send(app)
        .await;
    assert_eq!(led_to(&page), "/fixtures");
    let page = app.get("/fixtures").await;
    assert_eq!(page.texts("#fixtures .tag"), ["F-1", "F-2", "F-3"]);
    assert_eq!(page.count("#fixtures .mark.free"), 3);
    let page = app.get("/fixtures?longest=2+m").await;
    assert_eq!(page.count("#fixtures .tag"), 0);
    let page = app.get("/fixtures?from=2026-04-01&to=2026-03-01").await;
    assert_eq!(page.status, 422);
    for (name, value) in [
        ("lit_um", ""),
        ("lit_um", "0"),
        ("number", "0"),
        ("channels", ""),
        ("voltage", "0 V"),
        ("pins", "red, red"),
        ("tag", "not a tag"),
    ] {
        let form = app.get("/fixtures/new").await.form("form.form");
        let page = form
            .set("lit_um", "1 m")
            .set("to", "2")
            .set("channels", "RGB")
            .set("voltage", "24 V")
            .set("family", "four-pin inline")
            .set(name, value)
            .send(app)
            .await;
        assert_eq!(page.status, 422, "{name}={value}");
        assert!(page.count(&format!("#{name}-error")) == 1, "{name}={value}");
    }
    let form = app.get("/frames/new").await.form("form.form");
    let page = form
        .set("name", "Arch")
        .set("width_um", "2 m")
        .set("to", "2")
        .send(app)
        .await;
    let frame = led_to(&page);
    // A bar goes on the frame and comes off again.
    let fields = [("do", "thing"), ("thing", "1")];
    led_to(&app.post(format!("{frame}/mount"), &fields).await);
    let page = app.get(&frame).await;
    assert!(page.texts(".row .tag").contains(&"F-1".to_owned()));
    let fields = [("do", "off"), ("thing", "1")];
    led_to(&app.post(format!("{frame}/mount"), &fields).await);
    assert!(app.get("/things/1").await.text(".keys").contains("Shelf A"));
}

#[tokio::test]
pub async fn places_are_changed_and_taken_out_of_use_when_empty() {
    let book = Book::new().await;
    book.roll().await;
    let app = &book.app;
    let page = app
        .post(
            "/places",
            &[("name", "shelf a"), ("kind", "shelf"), ("parent", "1")],
        )
        .await;
    assert!([409, 422].contains(&page.status), "{}", page.status);
    assert_eq!(page.count("#name-error"), 1);
    assert_eq!(
        app.post("/places", &[("name", ""), ("kind", "hole")])
            .await
            .status,
        422
    );
    let page = app.post("/places/2/retire", &[("retired", "yes")]).await;
    let page = app.follow(&page).await;
    assert!(
        page.text("#flash").contains("not empty"),
        "{}",
        page.text("#flash")
    );
    let page = app.post("/places/3/retire", &[("retired", "yes")]).await;
    led_to(&page);
    assert!(
        app.get("/places/3")
            .await
            .text("main")
            .contains("no longer in use")
    );
    // A room cannot go into its own shelf.
    let form = app.get("/places/1/edit").await.form("form.form");
    let page = form.set("parent", "2").send(app).await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#parent-error"), 1);
}

#[tokio::test]
async fn what_was_moved_or_changed_last_stands_where_nothing_is_typed() {
    let app = TestApp::new().await;
    assert!(
        tapewright::sample::fill(app.db(), app.clock())
            .await
            .unwrap()
    );
    let page = app.get("/search").await;
    assert_eq!(page.texts("#found h2"), ["Moved last", "Sets changed last"]);
    assert_eq!(page.count("#found section:first-of-type li"), 10);
    // A move brings its thing to the top, an edit its set.
    let thing = app.get("/tag/F-2").await;
    let thing = match thing.header("location") {
        Some(to) => app.get(to.to_owned()).await,
        None => thing,
    };
    let moved = thing
        .form("form[action$='/move']")
        .set("to", "3")
        .send(&app)
        .await;
    assert_eq!(moved.status, 303, "{}", moved.text("main"));
    let edit = app
        .get("/designs/2/edit")
        .await
        .form("form[action$='/edit']");
    assert_eq!(
        edit.set("note", "Keep the ladder").send(&app).await.status,
        303
    );
    let page = app.get("/search").await;
    let things = page.texts("#found section:first-of-type li");
    assert!(things[0].starts_with("F-2 "), "{things:?}");
    let sets = page.texts("#found section:last-of-type li");
    assert_eq!(sets[0], "Tea dance", "{sets:?}");
    assert_eq!(app.get("/search?q=zebra").await.count("#found section"), 0);
}

#[tokio::test]
async fn who_would_lose_a_thing_is_named_before_and_after() {
    let app = TestApp::new().await;
    assert!(
        tapewright::sample::fill(app.db(), app.clock())
            .await
            .unwrap()
    );
    let mut tx = app.db().read().await.unwrap();
    let sets = tapewright::db::design::list(&mut tx).await.unwrap();
    let set = sets
        .iter()
        .find(|set| set.state == tapewright::model::design::State::Reserved)
        .unwrap();
    let holds = tapewright::db::reservation::list(&mut tx, set.id).await;
    let thing = holds.unwrap().iter().find_map(|hold| match hold.hold.held {
        tapewright::model::reservation::Held::Thing { thing, .. } => Some(thing),
        tapewright::model::reservation::Held::Count { .. } => None,
    });
    drop(tx);
    let page = app.get(format!("/things/{}", thing.unwrap())).await;
    let name = set.name.as_str();
    for form in ["#lend", "#out"] {
        let said = page.text(form);
        assert!(said.contains("Held for") && said.contains(name), "{said}");
    }
    let gone = page.form("#out form").set("how", "scrap").send(&app).await;
    assert_eq!(gone.status, 303, "{}", gone.text("main"));
    let said = app.follow(&gone).await.text("#flash");
    assert!(said.contains(&format!("Held for {name}, ")), "{said}");
}

#[tokio::test]
async fn suppliers_notes_of_sets_and_people_are_found() {
    let app = TestApp::new().await;
    assert!(
        tapewright::sample::fill(app.db(), app.clock())
            .await
            .unwrap()
    );
    let edit = app
        .get("/designs/2/edit")
        .await
        .form("form[action$='/edit']");
    let edit = edit.set("note", "Keep the ladder").send(&app).await;
    assert_eq!(edit.status, 303);
    let page = app.get("/search?q=ladder").await;
    assert_eq!(page.attributes("#found a", "href"), ["/designs/2"]);
    let supplier = app.get("/suppliers/1").await.form("form.form");
    let word = supplier.value("name").unwrap().replace(' ', "+");
    let page = app.get(format!("/search?q={word}")).await;
    let found = page.attributes("#found a", "href");
    assert!(found.contains(&"/suppliers/1".to_owned()), "{found:?}");
    let added = app.post("/settings/people", &[("name", "Zebedee")]).await;
    assert_eq!(added.status, 303);
    let page = app.get("/search?q=zebe").await;
    assert_eq!(page.attributes("#found a", "href"), ["/settings/people"]);
}

#[tokio::test]
async fn what_the_program_wrote_itself_has_a_name_and_no_false_moment() {
    let app = TestApp::new().await;
    assert!(
        tapewright::sample::fill(app.db(), app.clock())
            .await
            .unwrap()
    );
    let rows = app.get("/changes?of=offer").await.texts("#changes li.row");
    assert!(!rows.is_empty());
    for row in rows {
        assert!(!row.contains("1970"), "{row}");
        assert!(row.contains("a price ("), "{row}");
    }
    let log = app.get("/log?kind=cut").await.texts(".log li").join("\n");
    assert!(log.contains("of saw cuts and scrap"), "{log}");
    assert!(!log.contains("lost"), "{log}");
}

#[tokio::test]
async fn a_search_says_what_became_of_things_and_that_there_are_more() {
    let book = Book::new().await;
    let app = &book.app;
    let scrap = book.roll().await;
    let form = app.get(&scrap).await.form("#out form").set("how", "scrap");
    led_to(&form.send(app).await);
    // What is few is shown whole, and says in the cupboard too that it is gone.
    let page = app.get("/cupboard?q=arch").await;
    assert_eq!(page.texts("#stock .row:has(.tag) .mark"), ["thrown away"]);
    assert_eq!(page.count("#stock .more"), 0);
    let rolls = [("number", "55"), ("length", "5 m")];
    led_to(&book.receive(&book.tape, &rolls).await);
    let tags = |page: &Page, css: &str| page.texts(&format!("{css} .tag"));

    let page = app.get("/cupboard?q=arch").await;
    let first = tags(&page, "#stock");
    assert_eq!(first.len(), 8, "{first:?}");
    assert!(!first.contains(&"R-1".to_owned()), "{first:?}");
    assert!(page.text("#stock .more").contains("the first 8"));
    let all = page.attributes("#stock .more a", "href").remove(0);

    let page = app.get("/search?q=arch").await;
    assert_eq!(tags(&page, "#found").len(), 30);
    assert_eq!(page.attributes("#found .more a", "href"), [all.as_str()]);
    assert!(page.texts("#found h2").contains(&"Parts".to_owned()));

    // All of them, page by page, what is gone at the end.
    let page = app.get(&all).await;
    assert_eq!(page.texts("#found h2"), ["Things"]);
    assert_eq!(tags(&page, "#found").len(), 50);
    let on = page.attributes(".pager a[rel=next]", "href").remove(0);
    let page = app.get(&on).await;
    let last = tags(&page, "#found");
    assert_eq!(last.len(), 6, "{last:?}");
    assert_eq!(last.last().unwrap(), "R-1");
    let row = page.texts("#found li.row").pop().unwrap();
    assert!(row.ends_with("thrown away"), "{row}");
    assert_eq!(page.texts("#found .mark"), ["thrown away"]);
    assert_eq!(page.count(".pager a[rel=next]"), 0);
    let parts = app.get("/search?q=arch&of=parts").await;
    assert_eq!(parts.texts("#found h2"), ["Parts"]);
    assert_eq!(parts.count("#found li.row"), 1);
    assert_eq!(parts.count("#found .more, #found .pager"), 0);
}

#[tokio::test]
async fn a_length_found_to_be_another_is_corrected_under_its_tag() {
    let book = Book::new().await;
    book.roll().await;
    let app = &book.app;
    let seen = async || app.get("/places/2/count").await.form("#dR-1 form");
    let (late, form) = (seen().await, seen().await);
    // What is said already needs no correction.
    assert_eq!(form.value("length"), Some(""), "what is measured is typed");
    let same = form.set("length", "5 m").send(app).await;
    let said = app.follow(&same).await.text("#flash");
    assert!(said.contains("nothing had to be corrected"), "{said}");
    // What can't be read comes back as typed, and nothing is changed.
    for wrong in ["far", "0", "-2 m"] {
        let page = seen().await.set("length", wrong).send(app).await;
        assert_eq!(page.status, 422, "{wrong}");
        assert_eq!(page.form("#dR-1 form").value("length"), Some(wrong));
        assert_eq!(page.count("#dR-1[open] .error"), 1, "{wrong}");
    }
    // 60 marks of 50 mm and 20 mm more; the same press twice is one correction.
    let shorter = seen().await.set("length", "3.02 m");
    led_to(&shorter.send(app).await);
    led_to(&shorter.send(app).await);
    let page = app.get("/places/2/count").await;
    assert_eq!(page.text("#tR-1 .row-sub"), "3020 mm");
    assert_eq!(page.texts("#tR-1 .mark"), ["corrected today"]);
    let log = page.texts("#differences .log li");
    assert_eq!(log.len(), 1, "{log:?}");
    let said = "corrected by count, from 5000 mm to 3020 mm";
    assert!(log[0].contains(said), "{log:?}");
    assert!(!log[0].contains("OLD1 in"), "{log:?}");
    let before = "the figure before stands under R-1-OLD1";
    assert!(log[0].contains(before), "{log:?}");
    let roll = led_to(&app.get("/tag/r-1").await);
    let facts = app.get(&roll).await.text(".facts");
    assert!(facts.contains("60 of 50 mm"), "{facts}");
    assert!(
        facts.contains("counted as 3020 mm instead of 5000 mm on"),
        "{facts}"
    );
    assert!(facts.contains(before), "{facts}");
    let old = led_to(&app.get("/tag/r-1-old1").await);
    let marks = app.get(&old).await.texts(".states .mark");
    // It is gone: whether it works is not said.
    assert_eq!(marks, ["length corrected"]);
    let page = app.get(&old).await;
    let facts = page.text(".facts");
    assert!(
        facts.contains("what R-1 was before its length was corrected on"),
        "{facts}"
    );
    assert!(
        facts.contains("counted as 3020 mm instead of 5000 mm"),
        "{facts}"
    );
    assert_eq!(page.count(&format!(".facts a[href='{roll}']")), 1);
    // A page of before corrects nothing: that piece is no more.
    let late = late.set("length", "4 m").send(app).await;
    assert_eq!(late.status, 409, "{}", late.text("main"));
    // Longer than the book has it, too.
    let longer = seen().await.set("length", "6 m");
    led_to(&longer.send(app).await);
    let page = app.get("/places/2/count").await;
    assert_eq!(page.text("#tR-1 .row-sub"), "6000 mm");
    // Undone one after the other, the roll is as it was, under its tag.
    for length in ["3020 mm", "5000 mm"] {
        let page = app.get("/places/2/count").await;
        led_to(&page.form("#differences .log form").send(app).await);
        let page = app.get("/places/2/count").await;
        assert_eq!(page.text("#tR-1 .row-sub"), length);
    }
    assert_eq!(led_to(&app.get("/tag/r-1").await), old);
    let facts = app.get(&old).await.text(".facts");
    assert!(!facts.contains("instead of"), "{facts}");
    let page = app.get("/cupboard?kind=tape").await;
    assert!(page.texts("#stock .qty").contains(&"5 m".to_owned()));
    let found = tapewright::stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn an_offcut_longer_than_what_it_was_cut_from_is_asked_about() {
    let book = Book::new().await;
    let roll = book.roll().await;
    let app = &book.app;
    led_to(
        &app.post(
            format!("{roll}/cut"),
            &[("lengths", "1 m"), ("rest", "keep")],
        )
        .await,
    );
    let seen = async || app.get("/places/2/count").await;
    let length = async || seen().await.text("#tO-1 .row-sub");
    assert_eq!(length().await, "1000 mm");
    let form = seen().await.form("#dO-1 form");
    let page = form.set("length", "5.5 m").send(app).await;
    assert_eq!(page.status, 422);
    let asked = page.text("#dO-1[open]");
    assert!(asked.contains("O-1 was cut from R-1"), "{asked}");
    assert_eq!(page.count("#dO-1 input[name=really]"), 1);
    assert_eq!(length().await, "1000 mm", "nothing was changed");
    // Not ticked, it is asked again; what was typed stays.
    let form = page.form("#dO-1 form");
    assert_eq!(form.value("length"), Some("5.5 m"));
    let page = form.send(app).await;
    assert_eq!(page.status, 422);
    // Ticked, it is taken: the cut may have been noted wrongly.
    let form = page.form("#dO-1 form").set("really", "on");
    led_to(&form.send(app).await);
    assert_eq!(length().await, "5500 mm");
    // The other offcut was never in question. It was what the roll had from there on.
    let form = seen().await.form("#dO-2 form");
    assert_eq!(form.value("really"), None);
    let page = form.set("length", "4.2 m").send(app).await;
    assert_eq!(page.status, 422);
    let asked = page.text("#dO-2[open]");
    assert!(asked.contains("which had 4000 mm from there on"), "{asked}");
    let form = seen().await.form("#dO-2 form");
    led_to(&form.set("length", "3.9 m").send(app).await);
    assert_eq!(seen().await.text("#tO-2 .row-sub"), "3900 mm");
    // A slip of the unit is asked about too.
    let form = seen().await.form("#dO-2 form");
    let page = form.set("length", "33").send(app).await;
    assert_eq!(page.status, 422);
    let asked = page.text("#dO-2[open]");
    assert!(
        asked.contains("That is 33 mm, and by the book O-2 is 3900 mm."),
        "{asked}"
    );
    // What it was cut from is not known of a piece that was corrected: nothing is asked of it.
    let form = seen().await.form("#dO-1 form");
    led_to(&form.set("length", "6 m").send(app).await);
    assert_eq!(length().await, "6000 mm");
}

#[tokio::test]
async fn a_length_next_to_nothing_is_asked_about() {
    let book = Book::new().await;
    book.roll().await;
    let app = &book.app;
    let seen = async || app.get("/places/2/count").await;
    let length = async || seen().await.text("#tR-1 .row-sub");
    assert_eq!(length().await, "5000 mm");
    // A figure alone is in the venue's unit: hardly what was meant.
    let form = seen().await.form("#dR-1 form");
    let page = form.set("length", "33").send(app).await;
    assert_eq!(page.status, 422);
    let asked = page.text("#dR-1[open]");
    let why = "That is 33 mm, and by the book R-1 is 5000 mm. Nothing was changed.";
    assert!(asked.contains(why), "{asked}");
    assert!(asked.contains("It is really so"), "{asked}");
    assert_eq!(length().await, "5000 mm", "nothing was changed");
    // Not ticked, it is asked again; what was typed stays.
    let form = page.form("#dR-1 form");
    assert_eq!(form.value("length"), Some("33"));
    let page = form.send(app).await;
    assert_eq!(page.status, 422);
    // Ticked, it is taken.
    let form = page.form("#dR-1 form").set("really", "on");
    led_to(&form.send(app).await);
    assert_eq!(length().await, "33 mm");
    // Longer is not asked about, nor is a tenth and more.
    for (typed, said) in [("5 m", "5000 mm"), ("500 mm", "500 mm")] {
        let form = seen().await.form("#dR-1 form").set("length", typed);
        led_to(&form.send(app).await);
        assert_eq!(length().await, said);
    }
}

#[tokio::test]
async fn finished_bars_stand_in_the_list_of_all() {
    let book = Book::new().await;
    let app = &book.app;
    let names = async |path: &str| app.get(path).await.texts("#stock .row-name");
    assert!(!names("/").await.contains(&"Finished bars".to_owned()));
    let form = app.get("/fixtures/new").await.form("form.form");
    let entered = form
        .set("lit_um", "2.4 m")
        .set("to", "2")
        .set("channels", "RGB")
        .set("voltage", "24 V")
        .set("family", "four-pn")
        .send(app)
        .await;
    led_to(&entered);
    for path in ["/", "/cupboard"] {
        let page = app.get(path).await;
        assert_eq!(page.texts("#stock .row-name")[0], "Finished bars", "{path}");
        assert_eq!(page.texts("#stock .row-qty")[0], "1", "{path}");
        let links = page.attributes("#stock .row-name a", "href");
        assert_eq!(links[0], "/fixtures", "{path}");
    }
    // A list that is narrowed to parts has none.
    for path in ["/?kind=tape", "/?q=arch", "/cupboard?place=2"] {
        let shown = names(path).await;
        assert!(!shown.contains(&"Finished bars".to_owned()), "{path}");
    }
}
