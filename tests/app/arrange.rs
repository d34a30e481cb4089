//! The ticked bars of a set moved, copied, turned, mirrored, aligned by the form, without scripting.

use tapewright::{
    db,
    model::{
        design::{Bar, Design, Frame},
        id::{BarId, DesignId},
    },
    sample,
};

use crate::help::{Page, TestApp};

/// Millpond Hall's draft, which has frames and bars.
const SET: &str = "/designs/3";

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

async fn stored(app: &TestApp) -> Design {
    stored_of(app, 3).await
}

async fn stored_of(app: &TestApp, id: i64) -> Design {
    let mut tx = app.db().read().await.unwrap();
    let design = db::design::lookup(&mut tx, DesignId(id)).await;
    design.unwrap().unwrap()
}

/// Sends the form with some bars ticked.
async fn press(app: &TestApp, bars: &[i64], typed: &[(&str, &str)]) -> Page {
    let form = app.get(format!("{SET}/bars")).await.form("#arrange-form");
    let mut fields: Vec<(String, String)> = [
        "press", "version", "dx", "dy", "copies", "turn", "about", "keep", "mirror", "to",
    ]
    .iter()
    .filter(|name| typed.iter().all(|(typed, _)| typed != *name))
    .map(|name| {
        (
            (*name).to_owned(),
            form.value(name).unwrap_or_default().to_owned(),
        )
    })
    .collect();
    fields.extend(bars.iter().map(|id| ("bars".to_owned(), id.to_string())));
    fields.extend(
        typed
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned())),
    );
    let fields: Vec<_> = fields
        .iter()
        .map(|(name, value)| (&**name, &**value))
        .collect();
    app.post(form.action, &fields).await
}

#[tokio::test]
async fn ticked_bars_are_moved_and_stay_ticked() {
    let app = hall().await;
    let before = stored(&app).await;
    let ids: Vec<i64> = before.bars.iter().take(2).map(|bar| bar.id.0).collect();
    let page = press(
        &app,
        &ids,
        &[("do", "move"), ("dx", "25 mm"), ("dy", "-1 in")],
    )
    .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let page = app.follow(&page).await;
    assert!(
        page.text(".flash").contains("2 bars were moved"),
        "{}",
        page.text(".flash")
    );
    let ticked = page.attributes("input[name=bars][checked]", "value");
    assert_eq!(ticked, ids.iter().map(i64::to_string).collect::<Vec<_>>());
    assert_eq!(page.count("#arrange-box[open]"), 1);
    let after = stored(&app).await;
    for (at, (was, is)) in before.bars.iter().zip(&after.bars).enumerate() {
        let by = if at < 2 { (25_000, -25_400) } else { (0, 0) };
        assert_eq!(is.x_um.get() - was.x_um.get(), by.0);
        assert_eq!(is.y_um.get() - was.y_um.get(), by.1);
    }
}

#[tokio::test]
async fn each_button_of_the_form_does_what_it_says() {
    let app = hall().await;
    let bars = stored(&app).await.bars;
    let one = bars[0].id.0;
    let first = async |app: &TestApp| stored(app).await.bars[0].clone();
    let done = async |ids: &[i64], typed: &[(&str, &str)]| {
        let page = press(&app, ids, typed).await;
        assert_eq!(page.status, 303, "{typed:?}: {}", page.text("main"));
    };
    done(
        &[one],
        &[("do", "turn"), ("turn", "30"), ("about", "start")],
    )
    .await;
    let turned = first(&app).await;
    assert_eq!((turned.x_um, turned.y_um), (bars[0].x_um, bars[0].y_um));
    assert_eq!(
        (turned.angle_mdeg - bars[0].angle_mdeg).rem_euclid(360_000),
        30_000
    );
    done(
        &[one],
        &[("do", "resize"), ("length", "1.5 m"), ("keep", "start")],
    )
    .await;
    assert_eq!(first(&app).await.length_um.get(), 1_500_000);
    done(
        &[one],
        &[("do", "lengthen"), ("by", "-100 mm"), ("keep", "start")],
    )
    .await;
    assert_eq!(first(&app).await.length_um.get(), 1_400_000);
    done(
        &[one],
        &[("do", "copy"), ("copies", "2"), ("dx", "1 m"), ("dy", "0")],
    )
    .await;
    let copies = stored(&app).await.bars;
    assert_eq!(copies.len(), bars.len() + 2);
    let last = copies.last().unwrap();
    assert_eq!(last.x_um.get(), turned.x_um.get() + 2_000_000);
    let (last, last_x) = (last.id.0, last.x_um.get());
    done(&[one, last], &[("do", "align"), ("to", "bottom")]).await;
    done(
        &[last],
        &[
            ("do", "mirror"),
            ("mirror", "across"),
            ("at", "0"),
            ("copy", "on"),
        ],
    )
    .await;
    let image = stored(&app).await.bars.last().unwrap().clone();
    assert!(image.x_um.get() < 0 && image.x_um.get() >= -last_x - 1_400_000);
    done(&[last, image.id.0], &[("do", "hang"), ("frame", "")]).await;
    assert_eq!(stored(&app).await.bars.last().unwrap().frame, None);
    done(&[last, image.id.0], &[("do", "remove")]).await;
    assert_eq!(stored(&app).await.bars.len(), bars.len() + 1);
    // Every bar and frame without a single tick.
    let before = stored(&app).await;
    done(
        &[],
        &[("do", "move"), ("of", "all"), ("dx", "1 mm"), ("dy", "0")],
    )
    .await;
    let after = stored(&app).await;
    for (was, is) in before.bars.iter().zip(&after.bars) {
        assert_eq!(is.x_um.get(), was.x_um.get() + 1000);
    }
    for (was, is) in before.frames.iter().zip(&after.frames) {
        assert_eq!(is.x_um.get(), was.x_um.get() + 1000);
    }
}

#[tokio::test]
pub async fn what_the_form_did_is_undone_and_done_again_by_a_button() {
    let app = hall().await;
    let whole = |design: &Design| (design.bars.clone(), design.frames.clone());
    let bars = stored(&app).await.bars;
    let some = [bars[1].id.0, bars[2].id.0];
    for typed in [
        &[("do", "move"), ("dx", "25 mm")][..],
        &[("do", "turn"), ("turn", "33")],
        &[("do", "lengthen"), ("by", "7 mm")],
        &[("do", "mirror"), ("mirror", "across")],
        &[("do", "align"), ("to", "top")],
        &[("do", "copy"), ("copies", "3")],
        &[("do", "hang"), ("frame", "")],
        &[("do", "remove")],
    ] {
        let before = whole(&stored(&app).await);
        let page = press(&app, &some, typed).await;
        let page = app.follow(&page).await;
        let done = whole(&stored(&app).await);
        let undo = page.form("#undo-form");
        let page = undo.send(&app).await;
        assert_eq!(page.status, 303, "{typed:?}: {}", page.text("main"));
        let equal = |one: &(Vec<Bar>, Vec<Frame>), two: &(Vec<Bar>, Vec<Frame>)| {
            // What comes back has an id of its own.
            let without_ids = |bars: &[Bar]| -> Vec<Bar> {
                let bars = bars.iter().cloned();
                bars.map(|bar| Bar {
                    id: BarId(0),
                    ..bar
                })
                .collect()
            };
            assert_eq!(without_ids(&one.0), without_ids(&two.0), "{typed:?}");
            assert_eq!(one.1, two.1, "{typed:?}");
        };
        equal(&whole(&stored(&app).await), &before);
        // A second press is a repeat; the same from another page comes too late.
        assert_eq!(undo.send(&app).await.status, 303);
        let late = undo.clone().set("press", "another-key-of-it");
        assert_eq!(late.send(&app).await.status, 412, "{typed:?}");
        let page = app.follow(&page).await;
        assert!(page.text("#undo-form").contains("Do it again"));
        let again = page.form("#undo-form").send(&app).await;
        assert_eq!(again.status, 303);
        equal(&whole(&stored(&app).await), &done);
        let page = app.follow(&again).await;
        assert_eq!(page.form("#undo-form").send(&app).await.status, 303);
        equal(&whole(&stored(&app).await), &before);
    }
    // What nobody did, or what was done to another set, is not taken back.
    let version = stored(&app).await.version.to_string();
    let fields = [("done", "no-such-key-at-all"), ("version", &*version)];
    let page = app.post(format!("{SET}/bars/undo"), &fields).await;
    assert_eq!(page.status, 404, "{}", page.text("main"));
    // Something else was stored meanwhile.
    let some = [stored(&app).await.bars[1].id.0];
    let first = app
        .follow(&press(&app, &some, &[("do", "move")]).await)
        .await;
    let undo = first.form("#undo-form");
    assert_eq!(press(&app, &some, &[("do", "move")]).await.status, 303);
    let now = stored(&app).await;
    let late = undo
        .set("version", &now.version.to_string())
        .send(&app)
        .await;
    assert_eq!(late.status, 409, "{}", late.text("main"));
    assert_eq!(stored(&app).await, now);
}

#[tokio::test]
async fn bars_that_a_form_added_are_taken_back_by_a_button() {
    let app = hall().await;
    let before = stored(&app).await;
    let page = app.get(format!("{SET}/bars")).await;
    assert_eq!(page.count("#undo-form"), 0);
    let added = page
        .form("#add form")
        .set("count", "2")
        .set("pattern", "Extra #")
        .send(&app)
        .await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    assert_eq!(stored(&app).await.bars.len(), before.bars.len() + 2);
    let page = app.follow(&added).await;
    let back = page.form("#undo-form").send(&app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    assert_eq!(stored(&app).await.bars, before.bars);
    let again = app.follow(&back).await.form("#undo-form").send(&app).await;
    assert_eq!(again.status, 303, "{}", again.text("main"));
    assert_eq!(stored(&app).await.bars.len(), before.bars.len() + 2);
}

#[tokio::test]
async fn a_set_that_stands_is_not_arranged_any_more() {
    let app = hall().await;
    let mut standing = 0;
    for id in [1, 2, 3] {
        let page = app.get(format!("/designs/{id}/bars")).await;
        let editable = page.count("#arrange-form") == 1;
        // The drawing's tools and scripts come with the forms, or not at all.
        assert_eq!(page.count("#editor") == 1, editable);
        assert_eq!(page.count("script[src*=elevation]") == 3, editable);
        assert_eq!(page.count("#answer dd") > 0, page.count("table.book") > 0);
        if editable {
            continue;
        }
        standing += 1;
        let before = stored_of(&app, id).await;
        let version = before.version.to_string();
        let fields = [
            ("do", "move"),
            ("of", "bars"),
            ("dx", "5 mm"),
            ("version", &*version),
        ];
        let refused = app
            .post(format!("/designs/{id}/bars/arrange"), &fields)
            .await;
        assert_eq!(refused.status, 422, "{}", refused.text("main"));
        assert_eq!(stored_of(&app, id).await, before);
    }
    assert!(standing > 0);
}

#[tokio::test]
async fn a_refused_form_comes_back_as_it_was_with_its_ticks() {
    let app = hall().await;
    let before = stored(&app).await;
    let one = before.bars[0].id.0;
    for (typed, said) in [
        (&[("do", "move"), ("dx", "far")][..], "far"),
        (&[("do", "move"), ("dx", "1001 m")], "1 km"),
        (&[("do", "move"), ("dx", "1000 m"), ("of", "bars")], "1 km"),
        (&[("do", "turn"), ("turn", "500")], "360"),
        (&[("do", "turn"), ("turn", "5"), ("about", "me")], "me"),
        (&[("do", "resize"), ("length", "0")], "above zero"),
        (&[("do", "lengthen"), ("by", "")], "No length"),
        (
            &[("do", "lengthen"), ("by", "-900 m")],
            "Nothing would be left",
        ),
        (&[("do", "copy"), ("copies", "many")], "many"),
        (&[("do", "copy"), ("copies", "1000")], "at most 1000 bars"),
        (&[("do", "mirror"), ("at", "x")], "x"),
        (&[("do", "align"), ("to", "left")], "at least 2"),
        (&[("do", "align"), ("to", "off")], "off"),
        (&[("do", "hang"), ("frame", "999")], "no frame"),
        (&[("do", "fly")], "Press one of the buttons"),
        (&[("do", "move"), ("of", "frame-999")], "no frame"),
    ] {
        let page = press(&app, &[one], typed).await;
        assert_eq!(page.status, 422, "{typed:?}");
        let errors = page.text("#arrange .error, #arrange .note.stop");
        assert!(errors.contains(said), "{typed:?}: {errors}");
        assert_eq!(
            page.attributes("input[name=bars][checked]", "value"),
            [one.to_string()],
            "{typed:?}"
        );
        assert_eq!(page.count("#arrange-box[open]"), 1, "{typed:?}");
    }
    let page = press(&app, &[], &[("do", "move")]).await;
    assert_eq!(page.status, 422);
    assert!(page.text("#arrange .error").contains("Nothing is ticked"));
    let gone = press(&app, &[987_654], &[("do", "move")]).await;
    assert_eq!(gone.status, 422);
    assert!(gone.text("#arrange .error").contains("987654"));
    assert_eq!(stored(&app).await, before);
}

#[tokio::test]
async fn what_another_changed_meanwhile_is_said_and_a_second_press_moves_nothing_more() {
    let app = hall().await;
    let one = stored(&app).await.bars[0].id.0.to_string();
    let form = app.get(format!("{SET}/bars")).await.form("#arrange-form");
    let form = form.set("bars", &one).set("do", "move").set("dx", "10 mm");
    let was = stored(&app).await.bars[0].x_um.get();
    assert_eq!(form.send(&app).await.status, 303);
    assert_eq!(form.send(&app).await.status, 303);
    assert_eq!(stored(&app).await.bars[0].x_um.get(), was + 10_000);
    // Another form of the same page, from before.
    let late = form.set("press", "another-press-key").send(&app).await;
    assert_eq!(late.status, 412, "{}", late.text("main"));
    assert!(late.text("#arrange .note.stop").contains("Somebody else"));
    assert_eq!(late.form("#arrange-form").value("dx"), Some("10 mm"));
    assert_eq!(stored(&app).await.bars[0].x_um.get(), was + 10_000);
    // What comes back may be pressed again.
    let again = late
        .form("#arrange-form")
        .set("bars", &one)
        .set("do", "move");
    assert_eq!(again.send(&app).await.status, 303);
    assert_eq!(stored(&app).await.bars[0].x_um.get(), was + 20_000);
}

#[tokio::test]
async fn bars_between_two_cut_marks_are_made_as_long_as_one_by_a_press() {
    let app = TestApp::new().await;
    let set = crate::prices::short_set(&app).await;
    let bars = format!("{set}/bars");
    // What lies on a mark is not told.
    assert_eq!(app.get(&bars).await.count("#off-marks form"), 0);
    for mark in ["900 mm", "950 mm"] {
        let page = app.get(&bars).await;
        let form = page
            .form("#add form")
            .set("length", "930 mm")
            .set("count", "2");
        assert_eq!(form.send(&app).await.status, 303);
        let page = app.get(&bars).await;
        let words = page.text("#off-marks form p");
        assert!(
            words.contains("930 mm wanted") && words.contains("each becomes 950 mm"),
            "{words}"
        );
        let form = page.form("#off-marks form");
        let done = form.set("length", mark).send(&app).await;
        assert_eq!(done.status, 303, "{}", done.text("main"));
        let page = app.get(&bars).await;
        assert_eq!(page.count("#off-marks form"), 0);
        let long = page.texts("#bar-list tbody tr");
        assert_eq!(long.iter().filter(|row| row.contains("930 mm")).count(), 0);
    }
    let page = app.get(&bars).await;
    let rows = page.texts("#bar-list tbody tr");
    assert_eq!(rows.iter().filter(|row| row.contains("950 mm")).count(), 2);
}
