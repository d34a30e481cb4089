//! Fuses that the power of a set asks for, as parts of the catalogue.

use tapewright::model::ready_made;

use crate::{
    arrived::bring,
    help::{Page, TestApp},
    prices::set_of_one_bar,
};

const TAPE: &str = "tape-rgb-12v-10mm";
const NAME: &str = "Fuse for the orchard";

/// A set whose catalogue has all that goes with its tape but fuses.
async fn set_without_fuses(app: &TestApp) -> String {
    let keys = ready_made::system(ready_made::find(TAPE).unwrap());
    let fields: Vec<_> = keys
        .into_iter()
        .filter(|key| !key.starts_with("blade-fuse"))
        .map(|key| ("key", key))
        .collect();
    assert_eq!(app.post("/parts/ready-made", &fields).await.status, 303);
    set_of_one_bar(app, "The Tin Orchard").await
}

/// Adds a fuse by the form to which a page leads.
async fn add_fuse(app: &TestApp, from: &Page, fuse: &str) -> Page {
    let links = from.attributes("main a[href*='/parts/new']", "href");
    let page = app.get(links[0].clone()).await;
    let form = page
        .form("form.form")
        .set("name", NAME)
        .set("measure", "each");
    form.set("fuse", fuse).send(app).await
}

#[tokio::test]
async fn a_fuse_that_is_added_is_counted_bought_fetched_and_struck() {
    let app = TestApp::new().await;
    let set = set_without_fuses(&app).await;
    let short = app.get(format!("{set}/shortfall")).await;
    let asked = short.texts("#fuses li");
    assert_eq!(asked.len(), 1, "{asked:?}");
    let (many, words) = asked[0].split_once(" × ").unwrap();
    let (blade, _) = words.split_once(" blade").unwrap();
    for path in ["/shopping".to_owned(), format!("{set}/shopping")] {
        let page = app.get(&path).await;
        assert!(page.text("main").contains(words), "{path}");
    }

    // Half of what makes it a fuse is refused beside its field.
    let half = add_fuse(&app, &short, blade).await;
    assert_eq!(half.status, 422);
    assert!(half.text("#fuse-error").contains("5 A blade"));
    assert_eq!(half.form("form.form").value("fuse"), Some(blade));
    let added = add_fuse(&app, &short, &format!("{blade} blade fuse")).await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    let part = added.header("location").unwrap().to_owned();
    let facts = app.get(&part).await.text(".facts");
    assert!(facts.contains(&format!("{blade} blade")), "{facts}");

    // Now it is short as others are, and no longer told beside them.
    let row = |page: &Page| {
        let rows = page.texts("table.book tbody tr");
        rows.into_iter().find(|row| row.contains(NAME))
    };
    let page = app.get(format!("{set}/shortfall")).await;
    assert_eq!(page.count("#fuses"), 0);
    let short = row(&page).unwrap();
    assert!(
        short.contains("no price yet") && short.contains("feeds and outputs"),
        "{short}"
    );
    let page = app.get("/shopping").await;
    assert!(page.text("section[aria-labelledby=unpriced]").contains(NAME));
    assert_eq!(page.count("section[aria-labelledby=also-fuses]"), 0);

    // As many as it asks for come, and lie there for it.
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let page = app.get(format!("{part}/receive")).await;
    let form = page.form("main form.form").set("amount", many);
    let came = form.send(&app).await;
    assert_eq!(came.status, 303, "{}", came.text("main"));
    let page = app.get("/shopping").await;
    assert!(!page.text("main").contains(NAME));
    let there = row(&app.get(format!("{set}/shortfall")).await).unwrap();
    assert!(!there.contains("no price yet"), "{there}");

    let page = app.get(format!("{set}/reserve")).await;
    let held = page.form("main form.buttons").send(&app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    bring(&app, &set, "building").await;
    let page = app.get(format!("{set}/build")).await;
    let steps = page.texts("ol.steps > li");
    let fetch = steps.iter().find(|step| step.starts_with("Fetch"));
    assert!(
        fetch.is_some_and(|step| step.contains(NAME)),
        "{steps:?}"
    );
    assert_eq!(page.count(".also-fuses"), 0);
    for sheet in ["packing", "strike"] {
        let page = app.get(format!("{set}/sheets/{sheet}")).await;
        assert!(page.text("table.sheet").contains(NAME), "{sheet}");
        assert_eq!(page.count(".also-fuses"), 0, "{sheet}");
    }
}

/// A larger fuse does not protect: what lies there of it is left in the box.
#[tokio::test]
async fn a_larger_fuse_is_not_taken_for_a_smaller() {
    let app = TestApp::new().await;
    let set = set_without_fuses(&app).await;
    let short = app.get(format!("{set}/shortfall")).await;
    assert_eq!(add_fuse(&app, &short, "30 A blade").await.status, 303);
    let page = app.get(format!("{set}/shortfall")).await;
    assert_eq!(page.texts("#fuses li"), short.texts("#fuses li"));
    assert!(!page.text("table.book").contains(NAME));
}
