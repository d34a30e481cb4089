//! The calculators over HTTP: the same documents as the command line, as problem details where
//! they are wrong, and worked examples in the document.

use serde_json::json;

use super::{get, pointers, post};
use crate::help::TestApp;

#[tokio::test]
async fn the_examples_of_the_document_are_answered_as_they_say() {
    let app = TestApp::new().await;
    let document = get(&app, "/openapi.json").await.value();
    let mut seen = 0;
    for (path, item) in document["paths"].as_object().unwrap() {
        let Some(kind) = path.strip_prefix("/api/v1/calc/") else {
            continue;
        };
        let content =
            |of: &serde_json::Value| of["content"]["application/json"]["examples"].clone();
        let asked = content(&item["post"]["requestBody"]);
        let said = content(&item["post"]["responses"]["200"]);
        assert_eq!(asked.as_object().unwrap().len(), 3, "{kind}");
        for (title, asked) in asked.as_object().unwrap() {
            let page = post(&app, &format!("/calc/{kind}"), asked["value"].clone()).await;
            assert_eq!(page.status, 200, "{title}: {}", page.body);
            let (mut now, mut then) = (page.value(), said[title]["value"].clone());
            for said in [&mut now, &mut then] {
                said.as_object_mut().unwrap().remove("elapsed_ms");
            }
            assert_eq!(now, then, "{title}");
            seen += 1;
        }
    }
    assert!(seen >= 3 * 6, "{seen}");
}

#[tokio::test]
async fn a_wrong_document_is_refused_by_its_field() {
    let app = TestApp::new().await;
    let page = post(
        &app,
        "/calc/cuts",
        json!({"unit_um": 1, "bars": [{"name": "A", "units": 3, "quantity": 0, "fed": "one_end"}],
            "usable_offcut_units": 1, "solder_weights": {"lead": 0, "joint": 1, "mark": 2}}),
    )
    .await;
    assert_eq!(page.status, 422, "{}", page.body);
    assert_eq!(pointers(&page), ["/bars/0/quantity"]);
    let page = post(
        &app,
        "/calc/feeds",
        json!({"loads": [{"name": "A", "voltage_v": 24, "channels_a": [0.5, -0.5]}],
            "drivers": [], "supplies": []}),
    )
    .await;
    assert_eq!(page.status, 422, "{}", page.body);
    assert_eq!(pointers(&page), ["/loads/0/channels_a/1"]);
}
