//! Two people change one thing at once: field by field, on every page that edits something.

use tapewright::sample;

use crate::help::{Page, TestApp};

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// The first link of a page that begins and ends so.
fn link(page: &Page, begins: &str, ends: &str) -> String {
    let links = page.attributes("main a", "href");
    let found = links.into_iter().find(|link| {
        let middle = link
            .strip_prefix(begins)
            .and_then(|rest| rest.strip_suffix(ends));
        middle.is_some_and(|middle| middle.parse::<u32>().is_ok())
    });
    found.unwrap_or_else(|| panic!("no link {begins}…{ends}"))
}

/// A set of the sample that can still be edited.
async fn draft(app: &TestApp) -> String {
    for link in app.get("/designs").await.attributes("main a", "href") {
        let id = link.strip_prefix("/designs/");
        if id.is_some_and(|id| id.parse::<u32>().is_ok())
            && app.get(format!("{link}/bars")).await.count("#frame-add") > 0
        {
            return link;
        }
    }
    panic!("no draft");
}

/// A page that edits something, with three of its fields: name, what the other types, what I type.
struct Edits {
    path: String,
    form: &'static str,
    fields: [(&'static str, &'static str, &'static str); 3],
}

async fn all(app: &TestApp) -> Vec<Edits> {
    let draft = draft(app).await;
    let bars = app.get(format!("{draft}/bars")).await;
    let place = link(&app.get("/places").await, "/places/", "");
    let part = link(&app.get("/cupboard?kind=lead").await, "/parts/", "");
    let drivers = app.get("/cupboard?kind=driver").await;
    let driver = app.get(link(&drivers, "/parts/", "")).await;
    let supplier = link(&app.get("/suppliers").await, "/suppliers/", "");
    let offer = link(&app.get(part.clone()).await, "/offers/", "");
    let page = |path: String, form, fields| Edits { path, form, fields };
    let framed = app.get(format!("{draft}/bars")).await;
    let added = framed
        .form("#frame-add form")
        .set("label", "Arch")
        .set("width", "3 m")
        .set("height", "2 m")
        .send(app)
        .await;
    let frame = link(&app.follow(&added).await, &format!("{draft}/frames/"), "");
    vec![
        page(
            link(&bars, &format!("{draft}/bars/"), ""),
            "form[data-draft]",
            [
                ("group", "theirs", "mine"),
                ("feed_place", "left wing", "right wing"),
                ("angle", "45", "30"),
            ],
        ),
        page(
            format!("{draft}/edit"),
            "form[data-draft]",
            [
                ("name", "Their name", "My name"),
                ("budget", "120.00 EUR", "160.00 EUR"),
                ("note", "theirs", "mine"),
            ],
        ),
        page(
            frame,
            "main form.form",
            [
                ("label", "Arch A", "Arch B"),
                ("x", "100 mm", "200 mm"),
                ("width", "3100 mm", "3200 mm"),
            ],
        ),
        page(
            format!("{part}/edit"),
            "main form.form",
            [
                ("name", "Lead of theirs", "Lead of mine"),
                ("code", "T-1", "M-1"),
                ("note", "theirs", "mine"),
            ],
        ),
        page(
            format!("{}/edit", link(&driver, "/things/", "")),
            "main form.form",
            [
                ("address", "101", "201"),
                ("serial", "T1", "M1"),
                ("note", "theirs", "mine"),
            ],
        ),
        page(
            format!("{place}/edit"),
            "main form.form",
            [
                ("name", "Their shelf", "My shelf"),
                ("position", "71", "72"),
                ("note", "theirs", "mine"),
            ],
        ),
        page(
            supplier,
            "main form.form",
            [
                ("delivery_days", "8", "9"),
                ("delivery", "7.10 EUR", "7.20 EUR"),
                ("note", "theirs", "mine"),
            ],
        ),
        page(
            offer,
            "main form.form",
            [
                ("price", "7.10 EUR", "7.20 EUR"),
                ("minimum", "2", "3"),
                ("code", "T-9", "M-9"),
            ],
        ),
        page(
            "/settings".to_owned(),
            "main form.form",
            [
                ("name", "Their hall", "My hall"),
                ("spare_percent", "11", "12"),
                ("slots_taken", "1-10", "1-20"),
            ],
        ),
    ]
}

#[tokio::test]
async fn every_page_that_edits_lets_two_people_merge_by_field() {
    let app = hall().await;
    let other = app.other_browser();
    for Edits { path, form, fields } in all(&app).await {
        let [
            (one, one_theirs, _),
            (two, two_theirs, two_mine),
            (three, _, three_mine),
        ] = fields;
        let mine = app.get(path.clone()).await.form(form);
        let theirs = other.get(path.clone()).await.form(form);
        let sent = theirs.set(one, one_theirs).set(two, two_theirs);
        assert_eq!(sent.send(&other).await.status, 303, "{path}");
        let sent = mine.set(two, two_mine).set(three, three_mine);
        let met = sent.send(&app).await;
        assert_eq!(met.status, 412, "{path}: {}", met.body);

        // Only what both changed is asked about; what only they changed is taken over.
        let asked = met.attributes(".note.stop input[name=take]", "value");
        assert_eq!(asked, [two], "{path}: {}", met.body);
        let row = met.texts(".note.stop tbody td");
        assert!(row[1].contains(two_theirs), "{path}: {row:?}");
        assert!(row[2].contains(two_mine), "{path}: {row:?}");
        let said = met.text(".note.stop li");
        assert!(said.contains(one_theirs), "{path}: {said}");
        let now = met.form(form);
        let shown = [one, two, three].map(|name| now.value(name).unwrap().to_owned());
        assert_eq!(shown, [one_theirs, two_mine, three_mine], "{path}");
        let stored = other.get(path.clone()).await.form(form);
        assert_eq!(stored.value(two), Some(two_theirs), "{path}");

        // Theirs for the one, mine for the other.
        let done = now.set("take", two).send(&app).await;
        assert_eq!(done.status, 303, "{path}: {}", done.body);
        let stored = app.get(path.clone()).await.form(form);
        let kept = [one, two, three].map(|name| stored.value(name).unwrap().to_owned());
        assert_eq!(kept, [one_theirs, two_theirs, three_mine], "{path}");
    }
}

#[tokio::test]
async fn two_bars_of_one_set_are_changed_by_two_people_without_a_clash() {
    let app = hall().await;
    let other = app.other_browser();
    let draft = draft(&app).await;
    let bars = app.get(format!("{draft}/bars")).await;
    let begins = format!("{draft}/bars/");
    let mut links = bars.attributes("table.book tbody th a", "href").into_iter();
    let (first, second) = (links.next().unwrap(), links.next().unwrap());
    assert!(first.starts_with(&begins) && second.starts_with(&begins));
    let form = "form[data-draft]";
    let mine = app.get(first.clone()).await.form(form);
    let theirs = other.get(second.clone()).await.form(form);
    let mine_set = app.get(format!("{draft}/edit")).await.form(form);
    let sent = theirs.set("group", "theirs").send(&other).await;
    assert_eq!(sent.status, 303);
    let sent = mine.set("group", "mine").send(&app).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    // The set's own fields are another thing than its bars.
    let sent = mine_set.set("note", "mine").send(&app).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    for (path, field, value) in [
        (first, "group", "mine"),
        (second, "group", "theirs"),
        (format!("{draft}/edit"), "note", "mine"),
    ] {
        let stored = app.get(path).await.form(form);
        assert_eq!(stored.value(field), Some(value));
    }
}
