//! The catalogue: ready-made parts, parts typed in, changed, copied, retired, deleted.

use tapewright::{
    db,
    model::{
        part::{Kind, PartSpec},
        ready_made,
    },
};

use crate::help::{Page, TestApp};

const TAPE: [(&str, &str); 6] = [
    ("name", "RGBW tape for the arch"),
    ("voltage_mv", "24 V"),
    ("width_um", "12"),
    (
        "channels",
        "red 4.8 W/m, green 4.8 W/m, blue 4.8 W/m, white 4000 K 4.8 W/m",
    ),
    ("pitch", "3 per 150 mm"),
    ("rolls_um", "5 m; 10 m"),
];

async fn part_named(app: &TestApp, name: &str) -> Option<tapewright::model::part::Part> {
    let mut tx = app.db().read().await.unwrap();
    db::part::find_by_name(&mut tx, name).await.unwrap()
}

fn led_to(page: &Page) -> String {
    assert_eq!(page.status, 303, "{}", page.text("main"));
    page.header("location").unwrap().to_owned()
}

async fn add_tape(app: &TestApp) -> String {
    let page = app.get("/parts/new?kind=tape").await;
    let mut form = page.form("form.form");
    for (name, value) in TAPE {
        form = form.set(name, value);
    }
    led_to(&form.send(app).await)
}

#[tokio::test]
pub async fn ticking_ready_made_parts_adds_them_once() {
    let app = TestApp::new().await;
    let page = app.get("/parts/ready-made").await;
    assert_eq!(page.count("input[name=key]"), ready_made::all().len());
    let keys: Vec<_> = page.attributes("input[name=key]", "value");
    let fields: Vec<_> = keys.iter().map(|key| ("key", key.as_str())).collect();
    let answer = app.post("/parts/ready-made", &fields).await;
    assert_eq!(led_to(&answer), "/take-in");

    let page = app.get("/parts/ready-made").await;
    assert_eq!(page.count("input[name=key]"), 0);
    assert_eq!(page.count(".mark.passed"), ready_made::all().len());
    // Ticked again from a page loaded before: nothing twice, and no error.
    assert_eq!(app.post("/parts/ready-made", &fields).await.status, 303);
    let mut tx = app.db().read().await.unwrap();
    let parts = db::part::list(&mut tx, None, true).await.unwrap();
    assert_eq!(parts.len(), ready_made::all().len());
    assert!(parts.iter().all(|part| part.typical));
}

#[tokio::test]
async fn a_ready_made_part_does_not_take_the_name_of_ones_own() {
    let app = TestApp::new().await;
    let own = [("name", "dmx terminator"), ("use", "terminator")];
    led_to(&app.post("/parts/new?kind=data", &own).await);
    app.post("/parts/ready-made", &[("key", "dmx-terminator")])
        .await;
    assert!(part_named(&app, "DMX terminator (2)").await.is_some());
}

#[tokio::test]
async fn the_search_keeps_what_was_ticked() {
    let app = TestApp::new().await;
    let page = app.get("/parts/ready-made?q=rgbw+24v+12&key=solder").await;
    let names = page.texts("label.row-name");
    assert_eq!(names, Vec::<String>::new());
    let page = app.get("/parts/ready-made?q=RGBW+tape+24&key=solder").await;
    let names = page.texts("label.row-name");
    assert!(
        names.len() >= 2 && names.iter().all(|name| name.contains("RGBW")),
        "{names:?}"
    );
    assert_eq!(
        page.attributes("input[type=hidden][name=key]", "value"),
        ["solder"]
    );
    assert_eq!(app.post("/parts/ready-made", &[]).await.status, 422);
    let forged = app
        .post("/parts/ready-made", &[("key", "solder"), ("key", "gold")])
        .await;
    assert_eq!(forged.status, 422);
    assert!(part_named(&app, "Solder, 1 mm").await.is_none());
}

#[tokio::test]
async fn a_part_typed_in_is_read_into_its_figures() {
    let app = TestApp::new().await;
    add_tape(&app).await;
    let part = part_named(&app, "rgbw TAPE for the arch").await.unwrap();
    assert_eq!(part.spec.kind(), Kind::Tape);
    let PartSpec::Tape(tape) = part.spec else {
        panic!("no tape")
    };
    assert_eq!(tape.width_um.get(), 12_000);
    assert_eq!((tape.pitch.units(), tape.pitch.um()), (3, 150_000));
    assert_eq!(tape.power_per_m().unwrap().get(), 19_200);
    assert_eq!(tape.rolls_um.len(), 2);
    assert_eq!(tape.leds_in_series, None);
}

#[tokio::test]
async fn the_page_of_a_part_says_what_is_unknown_and_what_waits_for_it() {
    let app = TestApp::new().await;
    let page = app.get(add_tape(&app).await).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.text("h1"), TAPE[0].1);
    let unknown = page.text(".note.warn");
    assert!(
        unknown.contains("trace resistance of the common – needed for the voltage along a bar"),
        "{unknown}"
    );
    assert!(!unknown.contains("watts per metre"), "{unknown}");
    assert!(page.text(".facts").contains("3 per 150 mm"));
    assert!(page.text("#main").contains("Nothing has moved yet"));
    assert_eq!(app.get("/parts/99").await.status, 404);
    assert_eq!(app.get("/parts/first").await.status, 404);
}

#[tokio::test]
async fn every_kind_asks_and_refuses_by_field() {
    let app = TestApp::new().await;
    assert_eq!(
        app.get("/parts/new").await.count("ul.rows li"),
        Kind::ALL.len()
    );
    for kind in Kind::ALL {
        let path = format!("/parts/new?kind={}", kind.word());
        assert_eq!(app.get(&path).await.status, 200);
        let page = app.post(&path, &[("name", "")]).await;
        assert_eq!(page.status, 422, "{kind}");
        assert!(page.errors().len() >= 2, "{kind}: {:?}", page.errors());
    }
    assert_eq!(app.post("/parts/new?kind=lamp", &[]).await.status, 404);
    let page = app
        .post(
            "/parts/new?kind=tape",
            &[
                ("name", "x"),
                ("voltage_mv", "-5 V"),
                ("width_um", "wide"),
                ("channels", "mauve"),
            ],
        )
        .await;
    assert_eq!(page.status, 422);
    assert_eq!(page.form("form.form").value("width_um"), Some("wide"));
    for field in ["voltage_mv", "width_um", "channels", "pitch"] {
        assert_eq!(page.count(&format!("#{field}-error")), 1, "{field}");
    }
}

#[tokio::test]
async fn a_taken_name_is_refused_at_its_field() {
    let app = TestApp::new().await;
    add_tape(&app).await;
    let page = app.post("/parts/new?kind=tape", &TAPE).await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#name-error"), 1);
}

#[tokio::test]
async fn the_form_of_every_ready_made_part_saves_what_it_shows() {
    let app = TestApp::new().await;
    let keys: Vec<_> = ready_made::all()
        .iter()
        .map(|part| ("key", part.key))
        .collect();
    app.post("/parts/ready-made", &keys).await;
    for unit in ["mm", "ft"] {
        let settings = app.get("/settings").await.form("form.form");
        let answer = settings.set("length_unit", unit).send(&app).await;
        assert_eq!(answer.status, 303, "{}", answer.text("main"));
        for ready in ready_made::all() {
            let before = part_named(&app, ready.name.as_str()).await.unwrap();
            let page = app.get(format!("/parts/{}/edit", before.id)).await;
            led_to(&page.form("form.form").send(&app).await);
            let after = part_named(&app, ready.name.as_str()).await.unwrap();
            assert_eq!(after.spec, before.spec, "{} in {unit}", ready.key);
            assert_eq!(after.version, before.version + 1);
        }
    }
}

#[tokio::test]
async fn a_change_under_ones_hands_shows_both_and_overwrites_nothing() {
    let app = TestApp::new().await;
    let path = format!("{}/edit", add_tape(&app).await);
    let mine = app.get(&path).await.form("form.form");
    let theirs = app.get(&path).await.form("form.form");
    led_to(&theirs.set("width_um", "10 mm").send(&app).await);

    let page = mine.set("leds_in_series", "7").send(&app).await;
    assert_eq!(page.status, 412);
    // What only the other changed is taken over, what only I changed stays: nothing is to be chosen.
    let taken = page.texts(".note.stop li");
    assert_eq!(taken, ["Width: 12 mm became 10 mm"]);
    assert_eq!(page.count(".note.stop tbody tr"), 0);
    let width = |spec: &PartSpec| match spec {
        PartSpec::Tape(tape) => (tape.width_um.get(), tape.leds_in_series),
        _ => panic!("no tape"),
    };
    let part = part_named(&app, TAPE[0].1).await.unwrap();
    assert_eq!(width(&part.spec), (10_000, None));
    // Saved a second time, knowingly: what both did.
    led_to(&page.form("form.form").send(&app).await);
    let part = part_named(&app, TAPE[0].1).await.unwrap();
    assert_eq!(width(&part.spec), (10_000, Some(7)));
}

#[tokio::test]
async fn a_copy_begins_with_the_same_figures() {
    let app = TestApp::new().await;
    let part = add_tape(&app).await;
    let page = app.get(format!("{part}/copy")).await;
    let form = page.form("form.form").set("width_um", "10 mm");
    assert_eq!(form.value("name"), Some("RGBW tape for the arch (copy)"));
    led_to(&form.send(&app).await);
    assert!(
        part_named(&app, "RGBW tape for the arch (copy)")
            .await
            .is_some()
    );
    assert_eq!(app.get("/parts/99/copy").await.status, 404);
}

#[tokio::test]
pub async fn a_part_is_retired_offered_again_and_deleted_while_nothing_uses_it() {
    let app = TestApp::new().await;
    let part = add_tape(&app).await;
    for retired in ["1", "0"] {
        let page = app
            .post(format!("{part}/retire"), &[("retired", retired)])
            .await;
        assert_eq!(led_to(&page), part);
        let stored = part_named(&app, TAPE[0].1).await.unwrap();
        assert_eq!(stored.retired, retired == "1");
    }
    let page = app.post(format!("{part}/delete"), &[]).await;
    assert_eq!(led_to(&page), "/cupboard?kind=tape");
    assert!(part_named(&app, TAPE[0].1).await.is_none());
    assert_eq!(app.post(format!("{part}/delete"), &[]).await.status, 404);
    assert_eq!(app.post(format!("{part}/retire"), &[]).await.status, 404);
}
