//! Which tape, which driver, which supply: each planned throughout, chosen and left again.

use serde_json::Value;
use tapewright::sample;

use crate::help::{Page, TestApp};

async fn hall() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app
}

/// The sample's draft for which something is cut and bought.
const SET: &str = "/designs/3";

/// The row of a part, by its name.
fn row(page: &Page, name: &str) -> String {
    page.texts("main ul.rows > li.row")
        .into_iter()
        .find(|row| row.starts_with(name))
        .unwrap_or_else(|| panic!("no row of {name}: {}", page.text("main")))
}

#[tokio::test]
pub async fn every_supply_is_planned_and_one_is_chosen_and_left_again() {
    let app = hall().await;
    let page = app.get(format!("{SET}/suits?of=supply")).await;
    assert_eq!(page.status, 200);
    let names = page.texts("main ul.rows .row-name");
    assert!(names.len() > 1, "{names:?}");
    // Nothing that one could choose costs less than what the plan chose.
    for of in ["supply", "driver"] {
        let page = app.get(format!("{SET}/suits?of={of}")).await;
        for row in page.texts("main ul.rows > li.row") {
            assert!(
                !row.contains("less to buy") || row.contains("without a price"),
                "{row}"
            );
        }
    }
    // What the plan takes is said to be in it.
    let power = app.get(format!("{SET}/power")).await;
    let planned = power.texts("main h2 a").join("; ");
    let taken = names
        .iter()
        .find(|name| planned.contains(*name))
        .unwrap_or_else(|| panic!("{planned} has none of {names:?}"))
        .clone();
    assert!(
        row(&page, &taken).contains("in the plan"),
        "{}",
        row(&page, &taken)
    );

    // Another one is chosen: the plan takes that one, and no other supply.
    let other = names.iter().find(|name| **name != taken).unwrap().clone();
    let at = names.iter().position(|name| *name == other).unwrap();
    let form = page.form(&format!("main ul.rows > li.row:nth-child({}) form", at + 1));
    let part = page
        .attributes("main ul.rows .row-act button", "value")
        .into_iter()
        .nth(at)
        .unwrap();
    let done = form.set("part", &part).send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let after = app.follow(&done).await;
    assert!(
        !row(&after, &taken).contains("in the plan"),
        "{}",
        row(&after, &taken)
    );
    let power = app.get(format!("{SET}/power")).await;
    assert!(
        !power.texts("main h2 a").contains(&taken),
        "{:?}",
        power.texts("main h2 a")
    );

    // Left to the plan again, it is as before.
    let free = after.form("main section > form");
    let done = free.set("part", "").send(&app).await;
    assert_eq!(done.status, 303);
    let power = app.get(format!("{SET}/power")).await;
    assert_eq!(power.texts("main h2 a").join("; "), planned);
}

#[tokio::test]
async fn a_tape_of_other_colours_is_not_offered_and_one_can_be_chosen() {
    let app = hall().await;
    let page = app.get(format!("{SET}/suits")).await;
    let names = page.texts("main ul.rows .row-name");
    assert!(!names.is_empty());
    assert!(
        page.text("main").contains("other colours"),
        "{}",
        page.text("main")
    );
    let part = page.attributes("main ul.rows .row-act button", "value")[0].clone();
    let form = page.form("main ul.rows > li.row form");
    let bars = form.value("bars").unwrap().to_owned();
    let done = form.set("part", &part).send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let path = format!("/api/v1{SET}");
    let design = app.json("GET", &path, &[], &Value::Null).await.value();
    let chosen: Vec<String> = design["bars"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|bar| bar["tape"].as_i64().map(|id| id.to_string()) == Some(part.clone()))
        .map(|bar| bar["id"].to_string())
        .collect();
    assert_eq!(chosen.join(" "), bars);
}

#[tokio::test]
async fn what_is_not_a_part_changes_nothing() {
    let app = hall().await;
    let page = app.get(format!("{SET}/suits?of=driver")).await;
    let form = page.form("main ul.rows > li.row form");
    let wrong = form.clone().set("part", "a driver").send(&app).await;
    assert_eq!(wrong.status, 422);
    let unknown = form.set("part", "9999").send(&app).await;
    assert!(
        unknown.status == 422 || unknown.status == 404,
        "{} {}",
        unknown.status,
        unknown.text("main")
    );
    // A set that stands keeps its plan.
    let standing = app.get("/designs/1/suits").await;
    assert_eq!(standing.status, 409);
}
