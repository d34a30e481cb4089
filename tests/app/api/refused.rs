//! Bad input: each row of what may come is answered as data, and nothing is half done.

use serde_json::{Value, json};

use super::{API, add, done, get, pointers, post, read, shelf, tape};
use crate::help::{Page, TestApp};

/// A refusal with its status, as problem details.
fn problem(page: &Page, status: u16) -> Value {
    assert_eq!(page.status, status, "{}: {}", page.path, page.body);
    assert_eq!(
        page.header("content-type"),
        Some("application/problem+json"),
        "{}",
        page.path
    );
    let value = page.value();
    assert_eq!(value["status"], status);
    assert_eq!(value["type"], "about:blank");
    let here = page.path.split('?').next().unwrap();
    assert_eq!(value["instance"], here);
    for field in ["title", "detail"] {
        assert!(
            value[field].as_str().is_some_and(|text| !text.is_empty()),
            "{value}"
        );
    }
    value
}

fn design(dates: &Value) -> Value {
    json!({"name": "Spring", "dates": dates})
}

#[tokio::test]
async fn values_that_are_none_are_named_by_a_pointer() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let tape = tape(&app).await;
    let dates =
        json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
    let set = add(&app, "/designs", design(&dates)).await;
    let bars = format!("/designs/{set}/bars");
    let bar = |field: &str, value: Value| {
        let mut bar = json!({"label": "Bar", "length_um": 1_000_000, "channels": ["white"], "diffused": true});
        bar[field] = value;
        json!({"bar": bar})
    };
    let pieces = |length: Value| json!({"part": tape, "to": place, "goods": {"is": "pieces", "number": 1, "length_um": length}});
    let days = |strike: &str| {
        design(&json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": strike}))
    };
    let cases = [
        // Unreadable or negative length.
        (
            bars.as_str(),
            bar("length_um", json!("long")),
            "/bar/length_um",
        ),
        (&bars, bar("length_um", json!(-1)), "/bar/length_um"),
        (&bars, bar("length_um", json!(0.5)), "/bar/length_um"),
        (&bars, bar("length_um", json!(0)), "/bar/length_um"),
        ("/movements/receive", pieces(json!(0)), "/goods/length_um"),
        // Beyond 1 km.
        (
            &bars,
            bar("length_um", json!(1_000_000_001)),
            "/bar/length_um",
        ),
        // Text beyond its limit, and a name that is none.
        (&bars, bar("label", json!("x".repeat(121))), "/bar/label"),
        (&bars, bar("label", json!("  ")), "/bar/label"),
        // A million bars.
        (
            &bars,
            json!({"bar": bar("label", json!("Bar"))["bar"], "count": 1_000_000}),
            "/count",
        ),
        // Colours that are none.
        (
            &bars,
            bar("channels", json!(["white", "white"])),
            "/bar/channels",
        ),
        (
            &bars,
            bar("channels", json!(["ultraviolet"])),
            "/bar/channels/0",
        ),
        // Zero quantity.
        (
            "/movements/receive",
            json!({"part": tape, "to": place, "goods": {"is": "pieces", "number": 0, "length_um": 50_000}}),
            "/goods/number",
        ),
        // Strike before get-in, and a date that is none.
        ("/designs", days("2026-04-02"), "/dates"),
        ("/designs", days("2026-02-30"), "/dates/strike_on"),
        ("/designs", days("soon"), "/dates/strike_on"),
        // A field that is missing, and one that is not known.
        ("/places", json!({"name": "Shelf"}), "/kind"),
        (
            "/places",
            json!({"name": "Shelf", "kind": "shelf", "colour": "red"}),
            "/colour",
        ),
        // A kind of its own says where its attribute is wrong.
        (
            "/parts",
            json!({"name": "Block", "spec": {"kind": "block", "ways": "many"}}),
            "/spec/ways",
        ),
        (
            "/parts",
            json!({"name": "Block", "spec": {"kind": "block", "ways": 0}}),
            "/spec/ways",
        ),
        (
            "/parts",
            json!({"name": "Block", "spec": {"kind": "brick"}}),
            "/spec/kind",
        ),
        // What is named and is not there.
        (
            "/movements/receive",
            json!({"part": 999, "to": place, "goods": {"is": "count", "amount": 1}}),
            "",
        ),
        (
            "/movements/receive",
            json!({"part": tape, "to": 999, "goods": {"is": "pieces", "number": 1, "length_um": 50_000}}),
            "/to",
        ),
    ];
    for (path, body, pointer) in cases {
        let page = post(&app, path, body.clone()).await;
        problem(&page, 422);
        assert_eq!(pointers(&page), [pointer], "{body}: {}", page.body);
    }
    let limit = post(&app, &bars, bar("length_um", json!(1_000_000_001))).await;
    assert!(limit.body.contains("1000 m"), "{}", limit.body);
    let limit = post(&app, &bars, bar("label", json!("x".repeat(121)))).await;
    assert!(limit.body.contains("120"), "{}", limit.body);
    let limit = post(
        &app,
        &bars,
        json!({"bar": bar("label", json!("Bar"))["bar"], "count": 1_000_000}),
    )
    .await;
    assert!(limit.body.contains("1000 bars"), "{}", limit.body);
    // Nothing of all that was kept.
    assert_eq!(read(&app, &bars).await["items"], json!([]));
    assert_eq!(read(&app, "/movements").await["items"], json!([]));
}

#[tokio::test]
async fn a_whole_number_with_a_point_is_one() {
    let app = TestApp::new().await;
    let body = r#"{"name": "Shelf", "kind": "shelf", "position": 2.0}"#;
    let kind = [("content-type", "application/json; charset=utf-8")];
    let page = app
        .request("POST", format!("{API}/places"), &kind, body.into())
        .await;
    assert_eq!(page.status, 201, "{}", page.body);
}

#[tokio::test]
async fn what_cannot_be_read_at_all_is_refused() {
    let app = TestApp::new().await;
    let send = |method: &'static str, path: &str, kind: &'static str, body: Vec<u8>| {
        let (app, path) = (&app, format!("{API}{path}"));
        async move {
            let headers = [("content-type", kind)];
            app.request(
                method,
                path,
                if kind.is_empty() { &[] } else { &headers },
                body,
            )
            .await
        }
    };
    let json = "application/json";
    problem(&get(&app, "/parts/999").await, 404);
    problem(&get(&app, "/parts/one").await, 404);
    problem(&get(&app, "/tags/%FF").await, 404);
    problem(&get(&app, "/no-such").await, 404);

    let wrong = send("POST", "/movements/1", json, b"{}".to_vec()).await;
    problem(&wrong, 405);
    assert_eq!(wrong.header("allow"), Some("GET,HEAD"));

    let body = br#"{"name": "Shelf", "kind": "shelf"}"#.to_vec();
    problem(
        &send("POST", "/places", "text/plain", body.clone()).await,
        415,
    );
    problem(
        &send(
            "POST",
            "/places",
            "application/x-www-form-urlencoded",
            b"name=a".to_vec(),
        )
        .await,
        415,
    );
    problem(&send("POST", "/places", "", body).await, 415);
    problem(
        &send("POST", "/places", json, vec![b' '; 3 * 1024 * 1024]).await,
        413,
    );
    for broken in [
        &b"{\"name\": \"\xff\"}"[..],
        b"{\"name\": ",
        b"",
        b"{} {}",
        b"[1,]",
    ] {
        problem(&send("POST", "/places", json, broken.to_vec()).await, 400);
    }
    let deep = "[".repeat(5_000);
    problem(&send("POST", "/places", json, deep.into_bytes()).await, 400);
    problem(&send("POST", "/places", json, b"[]".to_vec()).await, 422);

    for query in [
        "limit=0",
        "limit=201",
        "limit=many",
        "after=x",
        "kind=brick",
        "nonsense=1",
    ] {
        let page = get(&app, &format!("/parts?{query}")).await;
        let name = query.split('=').next().unwrap();
        let found = problem(&page, 422);
        assert_eq!(found["errors"][0]["parameter"], name, "{}", page.body);
    }
}

#[tokio::test]
async fn what_json_leaves_open_is_refused_by_its_field() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let tape = tape(&app).await;
    let kind = [("content-type", "application/json")];
    let receive = |goods: &str| format!(r#"{{"part": {tape}, "to": {place}, "goods": {goods}}}"#);
    let calc = "/calc/addresses";
    for (path, body, pointer) in [
        // A key that stands twice.
        (
            "/places",
            r#"{"name": "A", "kind": "shelf", "name": "B"}"#.to_owned(),
            "/name",
        ),
        (
            "/movements/receive",
            receive(r#"{"is": "count", "amount": 1, "amount": 2}"#),
            "/goods/amount",
        ),
        (
            calc,
            r#"{"drivers": [{"name": "D1", "slots": 4, "slots": 4}]}"#.to_owned(),
            "/drivers/0/slots",
        ),
        // A list in place of an object.
        (
            "/places",
            r#"["Shelf C", "shelf", null, 0, ""]"#.to_owned(),
            "",
        ),
        ("/movements/receive", receive(r#"["count", 5]"#), "/goods"),
        (
            "/movements/move",
            format!(r#"{{"what": [["thing", 1]], "to": {place}}}"#),
            "/what/0",
        ),
        (
            "/parts",
            r#"{"name": "Block", "spec": ["block", 4]}"#.to_owned(),
            "/spec",
        ),
        (
            "/parts",
            r#"{"name": "Tape", "spec": {"kind": "tape", "voltage_mv": 24000, "width_um": 10000,
            "channels": [["white"]], "pitch": {"units": 1, "um": 50000}}}"#
                .to_owned(),
            "/spec/channels/0",
        ),
        (
            "/designs",
            r#"{"name": "Spring", "dates": ["2026-04-01", "2026-04-03", "2026-04-20"]}"#.to_owned(),
            "/dates",
        ),
        (
            calc,
            r#"{"drivers": [["D1", 4, "switches"]]}"#.to_owned(),
            "/drivers/0",
        ),
        (
            "/movements/receive",
            receive(r#"{"is": "pieces", "number": 1, "length_um": 50000, "start": ["bare"]}"#),
            "/goods/start",
        ),
        // An object in place of a word.
        (
            "/places",
            r#"{"name": "A", "kind": {"shelf": null}}"#.to_owned(),
            "/kind",
        ),
        // Names of nothing, and what no sheet can print.
        (
            "/places",
            r#"{"name": " \t ", "kind": "shelf"}"#.to_owned(),
            "/name",
        ),
        (
            "/places",
            r#"{"name": "A\u0000", "kind": "shelf"}"#.to_owned(),
            "/name",
        ),
        (
            "/parts",
            r#"{"name": "Block", "code": "\u0007", "spec": {"kind": "block", "ways": 4}}"#
                .to_owned(),
            "/code",
        ),
        (
            calc,
            r#"{"drivers": [{"name": "  ", "slots": 4, "address_by": "menu"}]}"#.to_owned(),
            "/drivers/0/name",
        ),
    ] {
        let page = app
            .request("POST", format!("{API}{path}"), &kind, body.clone().into())
            .await;
        problem(&page, 422);
        assert_eq!(pointers(&page), [pointer], "{body}: {}", page.body);
    }
    assert_eq!(read(&app, "/movements").await["items"], json!([]));
    assert_eq!(
        read(&app, "/places").await["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

/// Whatever is sent where, the answer speaks of lists, objects and text, and not of what the program is
/// written in.
#[tokio::test]
async fn refusals_speak_as_people_do() {
    let app = TestApp::new().await;
    let document = get(&app, "/openapi.json").await.value();
    let schemas = &document["components"]["schemas"];
    let mut seen = 0;
    let mut strange = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let body = &operation["requestBody"]["content"]["application/json"]["schema"]["$ref"];
            let Some(name) = body.as_str().and_then(|to| to.rsplit('/').next()) else {
                continue;
            };
            let mut bodies = vec![
                json!([]),
                json!({}),
                json!(null),
                json!("x"),
                json!({"none": 1}),
            ];
            // Each field as what it is not.
            for field in schemas[name]["properties"].as_object().unwrap().keys() {
                for wrong in [
                    json!({}),
                    json!([[]]),
                    json!("\u{e9}"),
                    json!("2026-02-30"),
                    json!(-1.5),
                    json!(true),
                ] {
                    bodies.push(json!({field: wrong}));
                }
            }
            let segments = path
                .split('/')
                .map(|it| if it.starts_with('{') { "1" } else { it });
            let address = segments.collect::<Vec<_>>().join("/");
            for body in bodies {
                let text = body.to_string();
                let kind = [("content-type", "application/json")];
                let method = method.to_uppercase();
                let page = app
                    .request(&method, address.clone(), &kind, text.clone().into())
                    .await;
                if page.status != 422 {
                    continue;
                }
                for error in page.value()["errors"].as_array().unwrap() {
                    let detail = error["detail"].as_str().unwrap();
                    for word in [
                        "invalid",
                        "expected ",
                        "digit year",
                        "struct",
                        "variant",
                        "g field",
                        "n field",
                        "sequence",
                        " map",
                        "enum",
                        "deserialize",
                        "parse",
                        "u8",
                        "u32",
                        "i64",
                        "`",
                        "::",
                        "unit value",
                    ] {
                        if detail.to_lowercase().contains(word) {
                            strange.push(format!("{address} {text}: {detail}"));
                        }
                    }
                    seen += 1;
                }
            }
        }
    }
    assert!(strange.is_empty(), "{strange:#?}");
    assert!(seen > 500, "only {seen}");
}

#[tokio::test]
async fn another_host_and_another_site_are_refused() {
    let app = TestApp::new().await;
    let host = app
        .request(
            "GET",
            format!("{API}/parts"),
            &[("host", "evil.example")],
            Vec::new(),
        )
        .await;
    problem(&host, 421);
    let headers = [
        ("content-type", "application/json"),
        ("origin", "http://evil.example"),
        ("sec-fetch-site", "cross-site"),
    ];
    let body = br#"{"name": "Shelf", "kind": "shelf"}"#.to_vec();
    let site = app
        .request("POST", format!("{API}/places"), &headers, body)
        .await;
    problem(&site, 403);
    assert_eq!(read(&app, "/places").await["items"], json!([]));
}

#[tokio::test]
async fn a_name_that_is_taken_is_named_at_its_field() {
    let app = TestApp::new().await;
    shelf(&app).await;
    tape(&app).await;
    add(
        &app,
        "/suppliers",
        json!({"name": "First", "delivery_days": 3}),
    )
    .await;
    let block = json!({"kind": "block", "ways": 12});
    for (path, body) in [
        ("/places", json!({"name": "SHELF B", "kind": "shelf"})),
        ("/parts", json!({"name": "tape rgbw", "spec": block})),
        ("/suppliers", json!({"name": "first", "delivery_days": 3})),
    ] {
        let page = post(&app, path, body).await;
        problem(&page, 422);
        assert_eq!(pointers(&page), ["/name"], "{path}: {}", page.body);
    }
}

#[tokio::test]
async fn a_busy_database_says_that_nothing_was_changed() {
    let app = TestApp::new().await;
    let held = app.db().write().await.expect("the writer");
    let ask = post(&app, "/places", json!({"name": "Shelf", "kind": "shelf"}));
    let (page, ()) = tokio::join!(ask, async {
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
        // Reading goes on while somebody writes.
        assert_eq!(read(&app, "/places").await["items"], json!([]));
        drop(held);
    });
    // The writer was free again in time: a request waits, it is not lost.
    assert_eq!(page.status, 201, "{}", page.body);
}

/// Sets something on the one connection that writes.
async fn on_the_writer(app: &TestApp, pragma: &'static str) {
    let mut tx = app.db().write().await.expect("the writer");
    sqlx::query(pragma)
        .execute(&mut *tx)
        .await
        .expect("a setting");
}

#[tokio::test]
async fn a_database_that_cannot_be_written_keeps_what_it_had() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let path = format!("/places/{place}");
    let before = get(&app, &path).await;
    let named = |name: String| {
        let body = json!({"name": name, "kind": "box", "note": "x".repeat(4_000)});
        post(&app, "/places", body)
    };
    let more = || named("More".into());

    // No page more than there are: a disk that is full.
    on_the_writer(&app, "PRAGMA max_page_count = 1").await;
    let mut kept = 1;
    let page = loop {
        // What is left of the last pages is used up first.
        let page = named(format!("Box {kept}")).await;
        if page.status != 201 || kept > 50 {
            break page;
        }
        kept += 1;
    };
    let refused = problem(&page, 507);
    assert!(
        refused["detail"].as_str().unwrap().contains("make room"),
        "{refused}"
    );
    on_the_writer(&app, "PRAGMA max_page_count = 1000000").await;

    // Another program writes for longer than one waits.
    on_the_writer(&app, "PRAGMA busy_timeout = 50").await;
    let other = sqlx::SqlitePool::connect(&format!("sqlite://{}", app.db().file().display()))
        .await
        .expect("the file opens");
    let held = other.begin_with("BEGIN IMMEDIATE").await.expect("the lock");
    let refused = problem(&more().await, 503);
    assert!(
        refused["detail"].as_str().unwrap().contains("busy"),
        "{refused}"
    );
    drop(held);
    other.close().await;

    let after = get(&app, &path).await;
    assert_eq!((after.status, after.body), (200, before.body));
    assert_eq!(
        read(&app, "/places").await["items"]
            .as_array()
            .unwrap()
            .len(),
        kept
    );
    assert_eq!(more().await.status, 201);
    assert_eq!(read(&app, "/check").await["sound"], true);

    on_the_writer(&app, "PRAGMA query_only = 1").await;
    let refused = problem(&more().await, 503);
    let said = refused["detail"].as_str().unwrap();
    assert!(
        said.contains("read-only") && said.contains("Nothing was changed"),
        "{said}"
    );
    assert_eq!(
        read(&app, "/places").await["items"]
            .as_array()
            .unwrap()
            .len(),
        kept + 1
    );
}

#[tokio::test]
async fn of_many_sets_that_want_the_last_bar_one_holds_it() {
    const SETS: usize = 12;
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let make = json!({"channels": ["white"], "voltage_mv": 24_000, "lit_um": 1_000_000,
        "diffused": true, "fed": "one_end"});
    done(
        &app,
        "/movements/enter-fixture",
        json!({"about": {"to": place}, "make": make}),
    )
    .await;
    let mut asked = Vec::new();
    for number in 0..SETS {
        let dates =
            json!({"build_on": "2026-04-01", "get_in": "2026-04-03", "strike_on": "2026-04-20"});
        let set = add(
            &app,
            "/designs",
            json!({"name": format!("Set {number}"), "dates": dates}),
        )
        .await;
        let bar = json!({"label": "Bar", "length_um": 1_000_000, "channels": ["white"], "diffused": true});
        done(&app, &format!("/designs/{set}/bars"), json!({"bar": bar})).await;
        let plan = read(&app, &format!("/designs/{set}/plan")).await;
        for key in plan["unreasoned"].as_array().unwrap() {
            let page = post(
                &app,
                &format!("/designs/{set}/reasons"),
                json!({"check_key": key, "reason": "tried"}),
            )
            .await;
            assert_eq!(page.status, 204, "{}", page.body);
        }
        assert_eq!(plan["plan"]["bars"][0]["serve"]["by"], "reuse", "{plan}");
        asked.push((
            set,
            json!({"version": plan["version"], "digest": plan["digest"]}),
        ));
    }
    let mut waiting = tokio::task::JoinSet::new();
    for (set, body) in asked {
        let browser = app.other_browser();
        waiting.spawn(async move {
            (
                set,
                post(&browser, &format!("/designs/{set}/reserve"), body).await,
            )
        });
    }
    let answers = waiting.join_all().await;
    let won: Vec<_> = answers
        .iter()
        .filter(|(_, page)| page.status == 201)
        .collect();
    assert_eq!(won.len(), 1, "{answers:?}");
    let holder = read(&app, &format!("/designs/{}", won[0].0)).await["name"].clone();
    for (set, page) in answers.iter().filter(|(_, page)| page.status != 201) {
        let refused = problem(page, 409);
        assert!(
            refused["detail"]
                .as_str()
                .unwrap()
                .contains("nothing was held"),
            "{refused}"
        );
        let said = refused["detail"].as_str().unwrap();
        assert!(
            said.contains(holder.as_str().unwrap()),
            "nobody says that {holder} has it: {said}"
        );
        assert_eq!(
            read(&app, &format!("/designs/{set}/holds")).await["items"],
            json!([])
        );
    }
    let thing = read(&app, "/things/1").await;
    assert_eq!(thing["holds"].as_array().unwrap().len(), 1);
    assert_eq!(thing["holds"][0]["design"], won[0].0);
}

#[tokio::test]
async fn the_last_one_is_taken_once() {
    let app = TestApp::new().await;
    let place = shelf(&app).await;
    let part = add(
        &app,
        "/parts",
        json!({"name": "Block", "spec": {"kind": "block", "ways": 12}}),
    )
    .await;
    done(
        &app,
        "/movements/receive",
        json!({"part": part, "to": place, "goods": {"is": "count", "amount": 1}}),
    )
    .await;
    let from =
        read(&app, &format!("/parts/{part}/stock")).await["items"][0]["at"]["account"].clone();
    let take = || {
        let what = json!([{"is": "count", "part": part, "amount": 1, "from": from}]);
        post(
            &app,
            "/movements/out",
            json!({"fate": "used", "what": what}),
        )
    };
    let answers = tokio::join!(take(), take(), take(), take(), take());
    let mut statuses: Vec<_> = [answers.0, answers.1, answers.2, answers.3, answers.4]
        .iter()
        .map(|page| page.status)
        .collect();
    statuses.sort_unstable();
    assert_eq!(statuses, [201, 422, 422, 422, 422]);
}
