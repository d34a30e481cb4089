//! The whole job over JSON: cupboard, set, plan, shortfall, reservation, bench, stage, strike.

use serde_json::{Value, json};

use super::{add, done, get, post, read, shelf};
use crate::help::TestApp;

/// Takes what a plan is short of into stock, as it comes from the shop.
async fn receive_what_is_short(app: &TestApp, place: i64, plan: &Value) -> usize {
    let mut received = 0;
    for need in plan["plan"]["needs"].as_array().unwrap() {
        let short = need["short"].as_i64().unwrap();
        if short == 0 {
            continue;
        }
        let id = need["part"]
            .as_i64()
            .unwrap_or_else(|| panic!("nothing fits: {need}"));
        let spec = read(app, &format!("/parts/{id}")).await["spec"].clone();
        let length = ["rolls_um", "bars_um", "reels_um"]
            .iter()
            .find_map(|field| spec[*field][0].as_i64());
        let goods = match (spec["kind"].as_str().unwrap(), length) {
            ("tape" | "profile" | "cable", Some(length)) => {
                json!({"is": "pieces", "number": 2, "length_um": length, "as_bought": true})
            }
            ("driver" | "supply", _) => json!({"is": "units", "number": short}),
            _ => json!({"is": "count", "amount": short}),
        };
        done(
            app,
            "/movements/receive",
            json!({"part": id, "to": place, "goods": goods}),
        )
        .await;
        received += 1;
    }
    received
}

async fn state(app: &TestApp, design: i64, to: &str) -> Value {
    done(app, &format!("/designs/{design}/state"), json!({"to": to})).await
}

/// Writes a reason for each limit that the plan breaks or cannot show to keep.
async fn reason_each(app: &TestApp, design: i64, plan: &Value) {
    for key in plan["unreasoned"].as_array().unwrap() {
        let body = json!({"check_key": key, "reason": "tried on the bench"});
        let page = post(app, &format!("/designs/{design}/reasons"), body).await;
        assert_eq!(page.status, 204, "{}", page.body);
    }
}

#[tokio::test]
pub async fn from_an_empty_cupboard_to_the_stage_and_back() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let ready = read(&app, "/ready-made").await;
    let keys: Vec<&str> = ready["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|part| part["key"].as_str().unwrap())
        .collect();
    let taken = done(&app, "/ready-made", json!({"keys": keys})).await;
    assert_eq!(taken["added"], keys.len());
    assert_eq!(
        done(&app, "/ready-made", json!({"keys": keys})).await["added"],
        0
    );

    let design = add(
        &app,
        "/designs",
        json!({"name": "Spring set", "budget_minor": 50_000, "dates":
            {"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"}}),
    )
    .await;
    let at = format!("/designs/{design}");
    let tape =
        read(&app, "/parts?kind=tape&typed=rgbw%2024&limit=1").await["items"][0]["id"].clone();
    let edited = done(
        &app,
        &format!("{at}/bars"),
        json!({"count": 3, "bar": {"label": "Bar 1", "length_um": 1_000_000, "shorter_um": 50_000,
            "channels": ["red", "green", "blue", "white"], "diffused": true,
            "cable_um": 2_000_000, "tape": tape}}),
    )
    .await;
    assert_eq!(edited["added"].as_array().unwrap().len(), 3);
    let labels: Vec<_> = read(&app, &format!("{at}/bars")).await["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|bar| bar["label"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(labels, ["Bar 1", "Bar 2", "Bar 3"]);

    // Short of everything at first; then what is short is bought.
    let plan = read(&app, &format!("{at}/plan")).await;
    assert!(
        receive_what_is_short(&app, place, &plan).await > 0,
        "{plan}"
    );
    let old = plan["digest"].clone();
    // What a bar needs is known only when its tape is there: so it takes a few rounds.
    let mut rounds = 0;
    let plan = loop {
        let plan = read(&app, &format!("{at}/plan")).await;
        if receive_what_is_short(&app, place, &plan).await == 0 {
            break plan;
        }
        rounds += 1;
        assert!(rounds < 6, "still short: {plan}");
    };

    // A plan that was read before the stock changed holds nothing.
    let stale = json!({"version": plan["version"], "digest": old});
    let page = post(&app, &format!("{at}/reserve"), stale).await;
    assert_eq!(page.status, 409, "{}", page.body);
    assert_eq!(read(&app, &format!("{at}/holds")).await["items"], json!([]));

    let asked = json!({"version": plan["version"], "digest": plan["digest"]});
    if !plan["unreasoned"].as_array().unwrap().is_empty() {
        let page = post(&app, &format!("{at}/reserve"), asked.clone()).await;
        assert_eq!(page.status, 409, "a limit wants a reason: {}", page.body);
        reason_each(&app, design, &plan).await;
    }
    let reserved = done(&app, &format!("{at}/reserve"), asked).await;
    assert_eq!(reserved["short"], false);
    let holds = read(&app, &format!("{at}/holds")).await;
    assert_eq!(holds["items"].as_array().unwrap().len(), reserved["holds"]);

    state(&app, design, "building").await;
    let steps = read(&app, &format!("{at}/steps")).await;
    let steps = steps["items"].as_array().unwrap();
    assert!(steps.iter().any(|step| step["kind"] == "cut"), "{steps:?}");
    for step in steps {
        let tick = format!("{at}/steps/{}/tick", step["id"]);
        done(&app, &tick, json!({"done": true})).await;
    }
    let built = read(&app, "/fixtures").await;
    assert_eq!(built["items"].as_array().unwrap().len(), 3, "{built}");

    state(&app, design, "standing").await;
    let out = read(&app, &format!("{at}/out")).await;
    let out = out["items"].as_array().unwrap();
    assert!(out.len() >= 3, "{out:?}");
    let early = post(&app, &format!("{at}/state"), json!({"to": "struck"})).await;
    assert_eq!(early.status, 409, "{}", early.body);
    let mut bad = 0;
    for line in out {
        let what = if line["thing"].is_null() {
            json!({"is": "count", "part": line["count"]["part"], "back": line["count"]["amount"]["amount"]})
        } else {
            let how = if line["thing"]["kind"] == "fixture" && bad == 0 {
                "dead"
            } else {
                "good"
            };
            bad += i32::from(how == "dead");
            json!({"is": "thing", "thing": line["thing"]["id"], "how": how})
        };
        done(
            &app,
            &format!("{at}/check-in"),
            json!({"what": what, "to": place}),
        )
        .await;
    }
    state(&app, design, "struck").await;
    assert_eq!(read(&app, &format!("{at}/holds")).await["items"], json!([]));
    let dead = read(&app, "/fixtures?condition=dead").await;
    assert_eq!(dead["items"].as_array().unwrap().len(), 1);
    let good = read(&app, "/fixtures?condition=good").await;
    for fixture in good["items"].as_array().unwrap() {
        assert_eq!(fixture["at"]["kind"], "place", "{fixture}");
    }
    assert_eq!(
        read(&app, "/check").await,
        json!({"sound": true, "faults": []})
    );

    // The next set of the same kind is served by what came back.
    let next = add(
        &app,
        &format!("{at}/copy"),
        json!({"name": "Summer set", "dates":
            {"build_on": "2026-06-01", "get_in": "2026-06-03", "strike_on": "2026-06-20"}}),
    )
    .await;
    let plan = read(&app, &format!("/designs/{next}/plan")).await;
    let reused = plan["plan"]["bars"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|bar| bar["serve"]["by"] == "reuse")
        .count();
    assert_eq!(reused, 2, "{plan}");
    let year = read(&app, "/calendar?from=2026-01-01&to=2026-12-31").await;
    assert_eq!(year["sets"].as_array().unwrap().len(), 2);
    assert_eq!(
        get(&app, "/calendar?from=2026-12-31&to=2026-01-01")
            .await
            .status,
        422
    );
}
