//! Fuses that the power of a set asks for, as parts of the catalogue.

use tapewright::model::ready_made;

use crate::{
    arrived::bring,
    help::{Page, TestApp},
    prices::set_of_one_bar,
};

const TAPE: &str = "tape-rgb-12v-10mm";
const BLADE: &str = "Small flat fuse";
const CARTRIDGE: &str = "Small round fuse";

/// A set whose catalogue has all that goes with its tape but fuses.
async fn set_without_fuses(app: &TestApp) -> String {
    let keys = ready_made::system(ready_made::find(TAPE).unwrap());
    let fields: Vec<_> = keys
        .into_iter()
        .filter(|key| !key.starts_with("fuse-"))
        .map(|key| ("key", key))
        .collect();
    assert_eq!(app.post("/parts/ready-made", &fields).await.status, 303);
    set_of_one_bar(app, "The Tin Orchard").await
}

/// Adds a fuse by the form to which a page leads.
async fn add_fuse(app: &TestApp, from: &Page, name: &str, fuse: &str) -> Page {
    let links = from.attributes("main a[href*='/parts/new']", "href");
    let page = app.get(links[0].clone()).await;
    let form = page
        .form("form.form")
        .set("name", name)
        .set("measure", "each");
    form.set("fuse", fuse).send(app).await
}

/// The row of a part in the tables of a page.
fn row(page: &Page, name: &str) -> String {
    let rows = page.texts("table.book tbody tr");
    let found = rows.into_iter().find(|row| row.contains(name));
    found.unwrap_or_default()
}

#[tokio::test]
async fn fuses_that_are_added_are_counted_bought_fetched_and_struck() {
    let app = TestApp::new().await;
    let set = set_without_fuses(&app).await;
    let shortfall = async || app.get(format!("{set}/shortfall")).await;
    let first = shortfall().await;
    let asked = first.texts("#fuses li");
    // Those of its outputs and those of its feeds, such as 8 × 2 A blade or 1.6 A cartridge fuse.
    assert_eq!(asked.len(), 2, "{asked:?}");
    let (many, words) = asked[0].split_once(" × ").unwrap();
    let (blade, _) = words.split_once(" blade or ").unwrap();
    let (_, other) = asked[1].split_once(" blade or ").unwrap();
    let cartridge = other.trim_end_matches(" fuse");

    // Half of what makes it a fuse is refused beside its field.
    let half = add_fuse(&app, &first, BLADE, blade).await;
    assert_eq!(half.status, 422);
    assert!(half.text("#fuse-error").contains("5 A blade"));
    assert_eq!(half.form("form.form").value("fuse"), Some(blade));
    let added = add_fuse(&app, &first, BLADE, &format!("{blade} blade fuse")).await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    let part = added.header("location").unwrap().to_owned();
    let facts = app.get(&part).await.text(".facts");
    assert!(facts.contains(&format!("{blade} blade")), "{facts}");

    // It is short as other parts are, and only the other is still told beside them.
    let page = shortfall().await;
    assert_eq!(page.texts("#fuses li"), asked[1..]);
    let short = row(&page, BLADE);
    assert!(
        short.contains("no price yet") && short.contains("feeds and outputs"),
        "{short}"
    );
    let page = app.get("/shopping").await;
    assert!(
        page.text("section[aria-labelledby=unpriced]")
            .contains(BLADE)
    );
    let beside = page.text("section[aria-labelledby=also-fuses]");
    assert!(
        beside.contains(&asked[1]) && !beside.contains(&asked[0]),
        "{beside}"
    );
    let page = app.get(format!("{set}/sheets/shopping")).await;
    assert!(page.text("table.sheet").contains(BLADE));
    let beside = page.text(".also-fuses");
    assert!(
        beside.contains(&asked[1]) && !beside.contains(&asked[0]),
        "{beside}"
    );
    let added = add_fuse(&app, &page, CARTRIDGE, cartridge).await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    for path in ["/shopping", &format!("{set}/shortfall")] {
        let page = app.get(path).await;
        assert!(page.text("main").contains(CARTRIDGE), "{path}");
        assert_eq!(page.count("#fuses, #also-fuses"), 0, "{path}");
    }

    // As many of the first as are asked for come, and lie there for the set.
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let page = app.get(format!("{part}/receive")).await;
    let form = page.form("main form.form").set("amount", many);
    let came = form.send(&app).await;
    assert_eq!(came.status, 303, "{}", came.text("main"));
    let page = app.follow(&came).await;
    assert_eq!(page.status, 200);
    let to_buy = app.get("/shopping").await.text("main");
    assert!(
        to_buy.contains(CARTRIDGE) && !to_buy.contains(BLADE),
        "{to_buy}"
    );
    let there = row(&shortfall().await, BLADE);
    assert!(!there.contains("no price yet") && !there.is_empty());

    let page = app.get(format!("{set}/reserve")).await;
    let held = page.form("main form.buttons").send(&app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    bring(&app, &set, "building").await;
    let page = app.get(format!("{set}/build")).await;
    let steps = page.texts("ol.steps > li");
    let fetched = |step: &String| step.starts_with("Fetch") && step.contains(BLADE);
    assert!(steps.iter().any(fetched), "{steps:?}");
    assert_eq!(page.count(".also-fuses"), 0);
    for sheet in ["packing", "strike"] {
        let page = app.get(format!("{set}/sheets/{sheet}")).await;
        assert!(page.text("table.sheet").contains(BLADE), "{sheet}");
        assert_eq!(page.count(".also-fuses"), 0, "{sheet}");
    }
}

/// A larger fuse does not protect: what lies there of it is left in the box.
#[tokio::test]
async fn a_larger_fuse_is_not_taken_for_a_smaller() {
    let app = TestApp::new().await;
    let set = set_without_fuses(&app).await;
    let short = app.get(format!("{set}/shortfall")).await;
    assert_eq!(
        add_fuse(&app, &short, BLADE, "30 A blade").await.status,
        303
    );
    let page = app.get(format!("{set}/shortfall")).await;
    assert_eq!(page.texts("#fuses li"), short.texts("#fuses li"));
    assert!(!page.text("table.book").contains(BLADE));
}

/// What only a screen can do is not printed as half a sentence; for a set that is over nobody looks.
#[tokio::test]
async fn fuses_beside_a_list_are_a_whole_sentence_on_paper_and_end_with_their_set() {
    let app = TestApp::new().await;
    let set = set_without_fuses(&app).await;
    for sheet in ["shopping", "packing"] {
        let page = app.get(format!("{set}/sheets/{sheet}")).await;
        let said = page.text(".also-fuses");
        let printed = said.replace(&page.text(".also-fuses .no-print"), "");
        assert!(printed.trim_end().ends_with("look in the box."), "{said}");
        assert_eq!(page.count(".also-fuses > a"), 0, "{sheet}");
    }
    bring(&app, &set, "cancelled").await;
    for path in ["sheets/shopping", "sheets/packing", "shopping", "shortfall"] {
        let page = app.get(format!("{set}/{path}")).await;
        assert_eq!(page.status, 200, "{path}");
        assert_eq!(page.count(".also-fuses, #fuses"), 0, "{path}");
    }
}
