//! Who comes in, what they may do, and that it is written down.

use serde_json::{Value, json};
use tapewright::{model::person::Role, sample};

use crate::help::{KEEPER, PASSWORD, TestApp};

#[tokio::test]
async fn nobody_sees_anything_before_they_are_in() {
    let app = TestApp::guarded().await;
    for path in [
        "/",
        "/designs/new",
        "/log",
        "/changes",
        "/csv/stock.csv",
        "/sample/",
    ] {
        let page = app.get(path).await;
        assert_eq!(page.status, 303, "{path}");
        let to = page.header("location").unwrap();
        assert!(to.starts_with("/sign-in?to="), "{path}: {to}");
    }
    let refused = app.json("GET", "/api/v1/things", &[], &Value::Null).await;
    assert_eq!(refused.status, 401);
    assert!(
        refused
            .header("www-authenticate")
            .unwrap()
            .starts_with("Bearer")
    );
    assert_eq!(refused.value()["status"], 401);
    let page = app.get("/sign-in?to=https://elsewhere.example/").await;
    assert_eq!(page.form("main form").value("sign-in-to"), Some("/"));
    assert_eq!(page.count("nav.index"), 0);

    app.sign_in(KEEPER).await;
    let home = app.get("/").await;
    assert_eq!(home.status, 200);
    assert_eq!(home.text("footer strong"), KEEPER);
    // Two browsers of one person are told apart by nothing but their secret.
    let other = app.other_browser();
    assert_eq!(other.get("/").await.status, 303);
}

#[tokio::test]
async fn guessing_is_slow_and_says_nothing_of_who_is_known() {
    let app = TestApp::guarded().await;
    let wrong = app.try_sign_in(KEEPER, "lamp over the moon").await;
    let unknown = app.try_sign_in("Zebedee", "lamp over the moon").await;
    assert_eq!((wrong.status, unknown.status), (401, 401));
    assert_eq!(wrong.errors(), unknown.errors());
    assert_eq!(wrong.form("main form").value("sign-in-name"), Some(KEEPER));
    assert_eq!(wrong.form("main form").value("sign-in-password"), Some(""));
    for _ in 0..5 {
        app.try_sign_in(KEEPER, "lamp over the sun").await;
    }
    let slow = app.try_sign_in(KEEPER, PASSWORD).await;
    assert_eq!(slow.status, 429, "{}", slow.text("main"));
    assert!(slow.text("main").contains("nothing is locked for good"));
    // A day later it counts no more; what failed is in the log.
    app.clock().set(jiff::civil::date(2026, 3, 6));
    app.sign_in(KEEPER).await;
    let changes = app.get("/changes").await.text("#changes");
    assert!(changes.contains("failed to sign in"), "{changes}");
    assert!(!changes.contains("lamp"), "{changes}");
}

#[tokio::test]
async fn a_form_that_was_typed_survives_the_end_of_a_session() {
    let app = TestApp::guarded().await;
    app.sign_in(KEEPER).await;
    let page = app.get("/suppliers/new").await;
    let form = page
        .form("main form[method=post]")
        .set("name", "Weir & Sons")
        .set("delivery_days", "3")
        .set("delivery", "0");
    // Two weeks without use end it.
    app.clock().set(jiff::civil::date(2026, 3, 20));
    let asked = form.send(&app).await;
    assert_eq!(asked.status, 401);
    let again = asked.form("main form");
    assert_eq!(again.value("name"), Some("Weir & Sons"));
    let wrong = again.clone().set("sign-in-name", KEEPER).send(&app).await;
    assert_eq!(wrong.form("main form").value("name"), Some("Weir & Sons"));
    let full = again
        .set("sign-in-name", KEEPER)
        .set("sign-in-password", PASSWORD);
    let inside = full.send(&app).await;
    assert_eq!(inside.status, 307, "{}", inside.text("main"));
    let to = inside.header("location").unwrap().to_owned();
    let done = full.send_to(&app, &to).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    assert!(
        app.get("/suppliers")
            .await
            .text("main")
            .contains("Weir & Sons")
    );
}

#[tokio::test]
async fn each_role_may_what_it_may() {
    let app = TestApp::guarded().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app.add_person("Lou", Role::Look).await;
    app.add_person("Wim", Role::Work).await;
    let (look, work) = (app.other_browser(), app.other_browser());
    look.sign_in("Lou").await;
    work.sign_in("Wim").await;
    app.sign_in(KEEPER).await;

    let thing = app
        .get("/tag/F-1")
        .await
        .header("location")
        .map(str::to_owned);
    let thing = thing.unwrap_or_else(|| "/tag/F-1".to_owned());
    let count = app
        .get("/places/3/count")
        .await
        .form("main form[method=post]");
    let place = app
        .get("/places")
        .await
        .form("main form[method=post]")
        .set("name", "Belfry");
    for (browser, counts, keeps) in [
        (&look, false, false),
        (&work, true, false),
        (&*app, true, true),
    ] {
        assert_eq!(browser.get(&thing).await.status, 200);
        assert_eq!(count.send(browser).await.status < 400, counts);
        let added = place.send(browser).await;
        assert_eq!(
            added.status == 303,
            keeps,
            "{} {}",
            added.status,
            added.text("main")
        );
        if !keeps {
            assert_eq!(added.status, 403);
            assert!(added.text("main").contains("Ask a keeper"));
        }
        assert_eq!(browser.get("/settings/people").await.status == 200, keeps);
        assert_eq!(browser.get("/changes").await.status == 200, keeps);
    }
    assert!(
        look.get("/")
            .await
            .text(".strip")
            .contains("change nothing")
    );
    // The movement has the right name.
    assert!(app.get("/log").await.text("#movements").contains("Wim"));
}

#[tokio::test]
async fn an_invitation_lets_one_person_in_once() {
    let app = TestApp::guarded().await;
    app.sign_in(KEEPER).await;
    let invite = |days: &'static str| [("do", "invite"), ("role", "work"), ("days", days)];
    assert_eq!(
        app.post("/settings/people", &invite("300")).await.status,
        422
    );
    let made = app.post("/settings/people", &invite("7")).await;
    assert_eq!(made.status, 200);
    let link = made.text("code.secret");
    let path = link
        .split_once("/join/")
        .map(|(_, key)| format!("/join/{key}"))
        .unwrap();
    assert!(
        !app.get("/settings/people").await.body.contains(&path),
        "told once"
    );

    let new = app.other_browser();
    let page = new.get(&path).await;
    assert!(page.text("main").contains("Ada invites you"));
    let form = page
        .form("main form")
        .set("name", "Bea")
        .set("password", "short");
    let short = form.clone().set("again", "short").send(&new).await;
    assert_eq!(short.status, 422);
    assert_eq!(short.form("main form").value("name"), Some("Bea"));
    let taken = form
        .clone()
        .set("name", KEEPER)
        .set("password", PASSWORD)
        .set("again", PASSWORD)
        .send(&new)
        .await;
    assert_eq!(taken.status, 422, "{}", taken.text("main"));
    let form = form.set("password", PASSWORD).set("again", PASSWORD);
    let inside = form.send(&new).await;
    assert_eq!(inside.status, 303, "{}", inside.text("main"));
    assert_eq!(new.get("/").await.text("footer strong"), "Bea");
    assert_eq!(new.get("/settings/people").await.status, 403);
    // The link is used up, and an old one ends.
    assert_eq!(app.other_browser().get(&path).await.status, 410);
    let late = app
        .post("/settings/people", &invite("1"))
        .await
        .text("code.secret");
    app.clock().set(jiff::civil::date(2026, 3, 7));
    let late = late
        .split_once("/join/")
        .map(|(_, key)| format!("/join/{key}"))
        .unwrap();
    assert_eq!(app.other_browser().get(&late).await.status, 410);
}

#[tokio::test]
async fn an_invitation_over_plain_http_says_that_passwords_can_be_read() {
    let app = TestApp::with(|config| {
        config.sign_in = true;
        config.hosts = vec!["hall.test".into()];
    })
    .await;
    app.sign_in(KEEPER).await;
    let fields = [("do", "invite"), ("role", "work"), ("days", "7")];
    let link = app
        .post("/settings/people", &fields)
        .await
        .text("code.secret");
    let path = link
        .split_once("/join/")
        .map(|(_, key)| format!("/join/{key}"))
        .unwrap();
    let new = app.other_browser();
    // On this machine nobody can listen.
    let here = new.get(&path).await;
    assert!(!here.text("main").contains("can be read on the way"));
    let host = format!("hall.test:{}", app.base().rsplit_once(':').unwrap().1);
    let asked = new
        .request("GET", &path, &[("host", &host)], Vec::new())
        .await;
    assert!(asked.text("main").contains("can be read on the way"));
    let origin = format!("http://{host}");
    let headers = [
        ("host", &*host),
        ("origin", &*origin),
        ("content-type", "application/x-www-form-urlencoded"),
    ];
    let typed = format!("name=Bea&password={PASSWORD}&again={PASSWORD}").replace(' ', "+");
    let refused = new
        .request("POST", &path, &headers, typed.clone().into_bytes())
        .await;
    assert_eq!(refused.status, 422, "{}", refused.text("main"));
    assert!(refused.text("main").contains("Tick this"));
    assert_eq!(refused.form("main form").value("name"), Some("Bea"));
    let agreed = format!("{typed}&sign-in-plain=on").into_bytes();
    let inside = new.request("POST", &path, &headers, agreed).await;
    assert_eq!(inside.status, 303, "{}", inside.text("main"));
}

#[tokio::test]
async fn the_last_keeper_stays_one() {
    let app = TestApp::guarded().await;
    app.sign_in(KEEPER).await;
    let people = app.get("/settings/people").await;
    let ada = people
        .form("main li.row form")
        .value("id")
        .unwrap()
        .to_owned();
    for fields in [
        vec![("do", "role"), ("id", &*ada), ("role", "look")],
        vec![("do", "remove"), ("id", &*ada)],
    ] {
        let refused = app.post("/settings/people", &fields).await;
        assert_eq!(refused.status, 409, "{}", refused.text("main"));
        assert!(refused.text("main").contains("last keeper"));
    }
    app.add_person("Kim", Role::Keep).await;
    let done = app
        .post(
            "/settings/people",
            &[("do", "role"), ("id", &ada), ("role", "look")],
        )
        .await;
    assert_eq!(done.status, 303);
    // It counts at once, for a browser that is in already.
    assert_eq!(app.get("/settings/people").await.status, 403);
}

#[tokio::test]
async fn a_key_lets_a_program_in_for_its_role_and_its_time() {
    let app = TestApp::guarded().await;
    app.sign_in(KEEPER).await;
    let made = app
        .post(
            "/settings/people",
            &[
                ("do", "token"),
                ("token", "stock board"),
                ("role", "look"),
                ("token_days", "30"),
            ],
        )
        .await;
    assert_eq!(made.status, 200, "{}", made.text("main"));
    let key = format!("Bearer {}", made.text("code.secret"));
    let program = app.other_browser();
    let auth = [("authorization", key.as_str()), ("tapewright-who", "Ada")];
    assert_eq!(
        program
            .json("GET", "/api/v1/things", &auth, &Value::Null)
            .await
            .status,
        200
    );
    let body = json!({ "name": "Belfry", "kind": "room" });
    let refused = program.json("POST", "/api/v1/places", &auth, &body).await;
    assert_eq!(refused.status, 403, "{}", refused.body);
    assert!(
        refused.value()["detail"]
            .as_str()
            .unwrap()
            .contains("stock board may read")
    );
    // Calendars send the key in the address of the feed, and of nothing else.
    let text = made.text("code.secret");
    let feed = program.get(format!("/calendar.ics?key={text}")).await;
    assert_eq!(feed.status, 200);
    assert!(feed.body.starts_with("BEGIN:VCALENDAR"));
    assert_eq!(program.get("/calendar.ics?key=wrong").await.status, 303);
    assert_eq!(program.get(format!("/log?key={text}")).await.status, 303);
    let wrong = [("authorization", "Bearer tapewright_nothing")];
    assert_eq!(
        program
            .json("GET", "/api/v1/things", &wrong, &Value::Null)
            .await
            .status,
        401
    );
    app.clock().set(jiff::civil::date(2026, 4, 10));
    assert_eq!(
        program
            .json("GET", "/api/v1/things", &auth, &Value::Null)
            .await
            .status,
        401
    );
}

#[tokio::test]
async fn a_device_at_the_bench_asks_who_at_the_first_change() {
    let app = TestApp::guarded().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    app.add_person("Wim", Role::Work).await;
    let own = app.other_browser();
    own.sign_in("Wim").await;
    assert_eq!(own.post("/who/pin", &[("pin", "12")]).await.status, 422);
    assert_eq!(own.post("/who/pin", &[("pin", "4711")]).await.status, 303);

    app.sign_in(KEEPER).await;
    assert_eq!(app.post("/who/bench", &[("do", "bench")]).await.status, 303);
    // It looks without being asked, and keeps nothing.
    let count = app.get("/places/3/count").await;
    assert_eq!(count.status, 200);
    let keeps = app.post("/settings", &[("name", "Elsewhere")]).await;
    assert_eq!(keeps.status, 403);
    let why = keeps.text("main");
    assert!(why.contains("at the bench: use one"), "{why}");
    assert!(!why.contains("Ask a keeper"), "a keeper is told: {why}");
    let form = count.form("main form[method=post]");
    let asked = form.send(&app).await;
    assert_eq!(asked.status, 401);
    let hand = asked.form("main form").set("sign-in-name", "Wim");
    let wrong = hand.clone().set("sign-in-pin", "0000").send(&app).await;
    assert_eq!(wrong.status, 422, "{}", wrong.text("main"));
    let right = hand.set("sign-in-pin", "4711");
    let on = right.send(&app).await;
    assert_eq!(on.status, 307, "{}", on.text("main"));
    let to = on.header("location").unwrap().to_owned();
    assert!(right.send_to(&app, &to).await.status < 400);
    assert_eq!(app.get("/").await.text("footer strong"), "Wim");
    assert!(app.get("/log").await.text("#movements").contains("Wim"));
    // The next day somebody else may be there: it asks again. Nobody makes it their own.
    app.clock().set(jiff::civil::date(2026, 3, 6));
    assert_eq!(form.send(&app).await.status, 401);
    assert_eq!(app.post("/who/bench", &[("do", "own")]).await.status, 409);
}

#[tokio::test]
async fn signing_out_everywhere_ends_every_other_session() {
    let app = TestApp::guarded().await;
    let other = app.other_browser();
    app.sign_in(KEEPER).await;
    other.sign_in(KEEPER).await;
    let mine = app.get("/who").await;
    assert_eq!(mine.count("main section:first-of-type li.row"), 2);
    let out = app.post("/sign-out", &[("do", "others")]).await;
    assert_eq!(out.status, 303);
    assert_eq!(other.get("/").await.status, 303);
    assert_eq!(app.get("/").await.status, 200);
    // Another password does it too.
    other.sign_in(KEEPER).await;
    let fields = |old| {
        [
            ("old", old),
            ("password", "pond over the lamp"),
            ("again", "pond over the lamp"),
        ]
    };
    assert_eq!(
        app.post("/who/password", &fields("wrong one, this"))
            .await
            .status,
        422
    );
    assert_eq!(
        app.post("/who/password", &fields(PASSWORD)).await.status,
        303
    );
    assert_eq!(other.get("/").await.status, 303);
    assert_eq!(other.try_sign_in(KEEPER, PASSWORD).await.status, 401);
    let gone = app.post("/sign-out", &[]).await;
    assert_eq!(gone.status, 303);
    assert_eq!(app.get("/").await.status, 303);
}

#[tokio::test]
async fn every_change_is_written_down_with_who_and_from_where() {
    let app = TestApp::guarded().await;
    app.sign_in(KEEPER).await;
    let page = app.get("/suppliers/new").await;
    let form = page
        .form("main form[method=post]")
        .set("delivery_days", "3")
        .set("delivery", "0");
    assert_eq!(form.set("name", "Weir & Sons").send(&app).await.status, 303);
    let page = app.get("/suppliers/1").await;
    let form = page
        .form("main form[method=post]")
        .set("name", "Weir & Daughters");
    assert_eq!(form.send(&app).await.status, 303);
    let rows = app
        .get("/changes?of=supplier")
        .await
        .texts("#changes li.row");
    assert_eq!(rows.len(), 2, "{rows:?}");
    for word in [
        "Ada changed a supplier",
        "from 127.0.0.1",
        "Weir & Sons",
        "Weir & Daughters",
    ] {
        assert!(rows[0].contains(word), "{word}: {}", rows[0]);
    }
    assert!(rows[1].contains("Ada added a supplier"), "{}", rows[1]);
    assert!(rows[1].contains("delivery charge"), "{}", rows[1]);
    // It is only ever added to.
    let mut tx = app.db().write().await.unwrap();
    for sql in ["DELETE FROM change", "UPDATE change SET who = 'Ben'"] {
        let refused = tapewright_sql(&mut tx, sql).await;
        assert!(refused.contains("change_is_append_only"), "{refused}");
    }
}

async fn tapewright_sql(tx: &mut tapewright::db::WriteTx, sql: &'static str) -> String {
    match sqlx::query(sql).execute(&mut **tx).await {
        Ok(_) => String::new(),
        Err(why) => why.to_string(),
    }
}
