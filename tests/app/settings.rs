//! Settings, people and suppliers.

use crate::help::TestApp;

#[tokio::test]
pub async fn settings_are_saved_and_a_bare_number_takes_the_new_unit() {
    let app = TestApp::new().await;
    let page = app.get("/settings").await;
    let page = page
        .form("form.form")
        .set("name", "Millpond Hall")
        .set("length_unit", "ft")
        .set("currency", "jpy")
        .set("slots_taken", "1-96, 200")
        .send(&app)
        .await;
    assert_eq!(page.status, 303);
    let page = app.follow(&page).await;
    assert!(page.text("#flash").contains("saved"));
    assert!(page.text("header").contains("Millpond Hall"));
    let form = page.form("form.form");
    assert_eq!(form.value("currency"), Some("JPY"));
    assert_eq!(form.value("slots_taken"), Some("1-96, 200"));
}

#[tokio::test]
async fn a_number_alone_is_not_read_in_a_unit_that_changes_in_the_same_form() {
    let app = TestApp::new().await;
    let page = app.get("/settings").await;
    let form = page.form("form.form").set("length_unit", "cm");
    let form = form.set("usable_offcut", "15 cm").set("feed", "2 m");
    assert_eq!(form.send(&app).await.status, 303);
    let refused = app.get("/settings").await.form("form.form");
    let refused = refused.set("length_unit", "ft").set("usable_offcut", "15");
    let refused = refused.send(&app).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused
            .text("#usable_offcut-error")
            .contains("Say the unit: 15 cm or 15 ft."),
        "{}",
        refused.text("main")
    );
    assert_eq!(refused.count("#feed-error"), 0);
    assert_eq!(refused.form("form.form").value("usable_offcut"), Some("15"));
    let said = refused.form("form.form").set("usable_offcut", "15 cm");
    assert_eq!(said.send(&app).await.status, 303);
    // What was left alone and what was said with its unit are as they were.
    let form = app.get("/settings").await.form("form.form");
    let back = form.set("length_unit", "cm").send(&app).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    let form = app.get("/settings").await.form("form.form");
    assert_eq!(form.value("usable_offcut"), Some("15 cm"));
    assert_eq!(form.value("feed"), Some("200 cm"));
    // In the unit that stays, a number alone is read as ever.
    assert_eq!(form.set("usable_offcut", "20").send(&app).await.status, 303);
    let form = app.get("/settings").await.form("form.form");
    assert_eq!(form.value("usable_offcut"), Some("20 cm"));
}

#[tokio::test]
async fn bad_settings_come_back_as_typed_with_a_message_at_the_field() {
    let app = TestApp::new().await;
    for (field, bad) in [
        ("name", ""),
        ("zone", "Middle/Earth"),
        ("currency", "Euros"),
        ("slots_taken", "9-4"),
        ("slots_taken", "500-600"),
        ("usable_offcut", "-3 m"),
        ("usable_offcut", "2 km"),
        ("spare_percent", "101"),
        ("order_slack_days", "x"),
    ] {
        let page = app.get("/settings").await;
        let page = page.form("form.form").set(field, bad).send(&app).await;
        assert_eq!(page.status, 422, "{field} {bad}");
        assert_eq!(page.form("form.form").value(field), Some(bad));
        assert_eq!(page.count(&format!("#{field}-error")), 1, "{field} {bad}");
    }
    // Nothing of it was kept.
    assert_eq!(
        app.get("/settings")
            .await
            .form("form.form")
            .value("version"),
        Some("1")
    );
}

#[tokio::test]
async fn two_who_save_the_settings_see_both_versions_and_nothing_is_overwritten() {
    let app = TestApp::new().await;
    let mine = app.get("/settings").await;
    let other = app.other_browser();
    let theirs = other.get("/settings").await;
    let saved = theirs
        .form("form.form")
        .set("name", "The other's")
        .send(&other)
        .await;
    assert_eq!(saved.status, 303);
    let page = mine.form("form.form").set("name", "Mine").send(&app).await;
    assert_eq!(page.status, 412);
    assert_eq!(page.form("form.form").value("name"), Some("Mine"));
    assert!(page.text(".note.stop").contains("The other's"));
    assert_eq!(
        app.get("/settings").await.form("form.form").value("name"),
        Some("The other's")
    );
    // Saving again, with the new version that the page now carries, puts mine in place.
    assert_eq!(page.form("form.form").send(&app).await.status, 303);
}

#[tokio::test]
pub async fn suppliers_are_added_changed_and_named_once() {
    let app = TestApp::new().await;
    let page = app.get("/suppliers/new").await;
    let page = page
        .form("form.form")
        .set("name", "Harbour Wire Co")
        .set("delivery_days", "3")
        .set("delivery", "4.90")
        .set("free_above", "50")
        .send(&app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let list = app.follow(&page).await;
    assert!(
        list.text("ul.rows")
            .contains("4.90 EUR a delivery, free from 50.00 EUR")
    );

    let again = app.get("/suppliers/new").await;
    let again = again
        .form("form.form")
        .set("name", "harbour wire co")
        .set("delivery_days", "3")
        .set("delivery", "0")
        .send(&app)
        .await;
    assert_eq!(again.status, 422);
    assert!(again.text("#name-error").contains("already"));

    let one = app.get("/suppliers/1").await;
    assert_eq!(one.form("form.form").value("delivery"), Some("4.90 EUR"));
    let bad = one
        .form("form.form")
        .set("delivery_days", "400")
        .set("delivery", "-1")
        .send(&app)
        .await;
    assert_eq!(bad.status, 422);
    assert_eq!(
        bad.count("#delivery-error") + bad.count("#delivery_days-error"),
        2
    );
    // What nobody typed is not taken for granted.
    let empty = app.get("/suppliers/new").await;
    let empty = empty.form("form.form").set("name", "Lock Lane");
    let empty = empty.send(&app).await;
    assert_eq!(empty.count("#delivery-error, #delivery_days-error"), 2);
    assert_eq!(app.get("/suppliers/99").await.status, 404);
    assert_eq!(app.get("/suppliers/first").await.status, 404);
}

#[tokio::test]
async fn names_are_put_on_the_list_and_taken_off() {
    let app = TestApp::new().await;
    let page = app.post("/settings/people", &[("name", "Ada Marsh")]).await;
    assert_eq!(page.status, 303);
    assert!(app.get("/who").await.text("main").contains("Ada Marsh"));
    assert_eq!(
        app.post("/settings/people", &[("name", " ")]).await.status,
        422
    );
    let people = app.get("/settings/people").await;
    let form = people.form("main li.row form").set("do", "remove");
    let page = form.send(&app).await;
    assert_eq!(page.status, 303);
    // The message of the change names it once more; the page after that does not.
    app.follow(&page).await;
    assert!(!app.get("/who").await.text("main").contains("Ada Marsh"));
}

#[tokio::test]
async fn a_backup_is_made_from_the_page_and_listed() {
    let app = TestApp::new().await;
    assert!(
        app.get("/settings/backup")
            .await
            .text("main")
            .contains("No backup yet")
    );
    let page = app.post("/settings/backup", &[]).await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let page = app.follow(&page).await;
    assert!(page.text("#flash").contains("made and checked"));
    assert_eq!(page.count("ul.rows li"), 1);
    // It is brought back into a folder of its own, once.
    let name = page.attributes("ul.rows button", "value")[0].clone();
    let back = app.post("/settings/backup", &[("restore", &name)]).await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    let folder = app
        .folder()
        .join("data/restored")
        .join(name.trim_end_matches(".sqlite"));
    let restored = tapewright::db::Db::open(&folder).await.unwrap();
    assert!(
        tapewright::stock::audit::audit(&restored)
            .await
            .unwrap()
            .is_empty()
    );
    restored.close().await;
    let again = app.post("/settings/backup", &[("restore", &name)]).await;
    assert_eq!(again.status, 409, "{}", again.text("main"));
    assert!(again.text("main").contains("holds a stock book already"));
    for strange in [
        "../data/tapewright.sqlite",
        "",
        "x/../../y.sqlite",
        "tapewright",
        "none.sqlite",
    ] {
        let refused = app.post("/settings/backup", &[("restore", strange)]).await;
        assert!(
            refused.status == 404 || refused.status == 409,
            "{strange}: {}",
            refused.status
        );
    }
    // It can be fetched, and so can an export; nothing else of the machine can.
    let whole = app.get(format!("/settings/backup/{name}")).await;
    assert_eq!(
        whole.header("content-type"),
        Some("application/vnd.sqlite3")
    );
    assert!(whole.body.starts_with("SQLite format 3"));
    let made = app.post("/settings/backup", &[("export", "1")]).await;
    let page = app.follow(&made).await;
    assert!(page.text("#flash").contains("exported"), "{}", page.body);
    let links = page.attributes("ul.rows a", "href");
    assert_eq!(links.len(), 2);
    let export = links.iter().find(|link| link.contains("/export-")).unwrap();
    let sent = app.get(export).await;
    assert_eq!(sent.status, 200);
    let said = sent.header("content-disposition").unwrap();
    assert!(
        said.starts_with("attachment; filename=\"tapewright-export-"),
        "{said}"
    );
    for strange in [
        "..%2Ftapewright.sqlite",
        "tapewright",
        "none.zip",
        "%2e%2e.sqlite",
    ] {
        let refused = app.get(format!("/settings/backup/{strange}")).await;
        assert_eq!(refused.status, 404, "{strange}");
    }
}

#[tokio::test]
async fn backups_are_made_by_themselves_when_something_changed_and_the_oldest_go() {
    let app = TestApp::with(|config| {
        config.backups = tapewright::config::Backups {
            every_hours: 24,
            kept: 2,
        };
    })
    .await;
    let folder = app.folder().join("data/backups");
    let names = || {
        let mut names: Vec<String> = std::fs::read_dir(&folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    };
    app.post("/settings/backup", &[]).await;
    let by_hand = names();
    let mut last = tapewright::backups::once(app.app(), None).await.unwrap();
    assert_eq!(names().len(), 2);
    // Nothing changed: none is made.
    app.clock().set(jiff::civil::date(2026, 3, 6));
    let same = tapewright::backups::once(app.app(), Some(last))
        .await
        .unwrap();
    assert_eq!((same, names().len()), (last, 2));
    for day in 7..10 {
        app.clock().set(jiff::civil::date(2026, 3, day));
        let name = format!("Person {day}");
        app.post("/settings/people", &[("name", &name)]).await;
        last = tapewright::backups::once(app.app(), Some(last))
            .await
            .unwrap();
    }
    let kept = names();
    assert_eq!(kept.len(), 3, "{kept:?}");
    assert!(
        kept.contains(&by_hand[0]),
        "one made by hand went: {kept:?}"
    );
    assert!(
        kept[1].starts_with("auto-2026-03-08") && kept[2].starts_with("auto-2026-03-09"),
        "{kept:?}"
    );
}

#[tokio::test]
async fn another_currency_never_changes_what_is_stored_unasked() {
    let app = TestApp::new().await;
    let supplier = app.get("/suppliers/new").await;
    let supplier = supplier
        .form("form.form")
        .set("name", "Harbour Wire Co")
        .set("delivery_days", "3")
        .set("delivery", "4.90");
    assert_eq!(supplier.send(&app).await.status, 303);

    let page = app.get("/settings").await;
    let form = page.form("form.form");
    assert_eq!(page.count("#relabel"), 0);
    let yen = form.clone().set("currency", "JPY").send(&app).await;
    assert_eq!(yen.status, 422);
    assert!(yen.text("#currency-error").contains("no decimals"));
    let pounds = form.set("currency", "GBP").send(&app).await;
    assert_eq!(pounds.status, 422);
    assert!(pounds.text("#relabel-error").contains("not converted"));
    let sums = app.get("/suppliers").await.text("ul.rows");
    assert!(sums.contains("4.90 EUR"), "{sums}");

    let agreed = pounds.form("form.form").set("relabel", "on");
    assert_eq!(agreed.send(&app).await.status, 303);
    let sums = app.get("/suppliers").await.text("ul.rows");
    assert!(sums.contains("4.90 GBP"), "{sums}");
    // The first hour asks the same.
    let start = app.get("/start/units").await;
    let back = start.form("form.form").set("currency", "EUR");
    let back = back.send(&app).await;
    assert_eq!(back.status, 422);
    assert_eq!(back.count("#relabel-error"), 1);
}
