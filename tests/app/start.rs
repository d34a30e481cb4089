//! The first hour by its three questions, and the worked sample beside one's own book.

use serde_json::Value;
use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::TcpStream,
};

use crate::help::TestApp;

#[tokio::test]
pub async fn three_questions_lead_from_an_empty_book_to_the_first_set() {
    let app = TestApp::new().await;
    let home = app.get("/").await;
    assert_eq!(home.count("a[href='/start']"), 1);
    let first = app.get("/start").await;
    assert_eq!(first.header("location"), Some("/start/units"));

    let page = app.follow(&first).await;
    assert_eq!(page.text(".hour [aria-current=step]"), "Units and money");
    // Nobody has said where the venue stands: scripting takes the zone of the device.
    assert_eq!(page.count("form[data-zone] input[name=zone]"), 1);
    let refused = page
        .form("main form")
        .set("currency", "pounds")
        .set("name", "Weir Lane Hall")
        .send(&app)
        .await;
    assert_eq!(refused.status, 422);
    assert!(!refused.text("#currency-error").is_empty());
    assert_eq!(refused.count("form[data-zone]"), 0);
    let form = refused.form("main form");
    assert_eq!(form.value("name"), Some("Weir Lane Hall"));
    let saved = refused
        .form("main form")
        .set("currency", "gbp")
        .set("length_unit", "ft")
        .send(&app)
        .await;
    assert_eq!(saved.header("location"), Some("/start/tape"));
    assert!(app.get("/").await.text(".mast").contains("Weir Lane Hall"));

    assert_eq!(
        app.get("/start/units").await.count("form[data-zone]"),
        0,
        "what was saved stays"
    );
    // Left here and taken up again.
    assert_eq!(
        app.get("/start").await.header("location"),
        Some("/start/tape")
    );
    let page = app.get("/start/tape").await;
    let nothing = page.form("main form").send(&app).await;
    assert_eq!(nothing.status, 422);
    assert!(!nothing.text("#tape-error").is_empty());
    let taken = app
        .post("/start/tape", &[("tape", "tape-rgbw-24v-12mm")])
        .await;
    assert_eq!(taken.status, 303, "{}", taken.text("main"));
    let page = app.follow(&taken).await;
    assert_eq!(page.text(".hour [aria-current=step]"), "What you have");
    assert!(page.count("form.take-in .row") > 10);
    assert!(app.get("/").await.count("a[href='/start']") >= 1);

    let field = page
        .attributes("form.take-in .row-act input", "name")
        .remove(0);
    let put = page
        .form("form.take-in")
        .set("room", "Loft")
        .set(&field, "2 x 5 m")
        .send(&app)
        .await;
    assert_eq!(
        put.header("location"),
        Some("/designs/new"),
        "{}",
        put.text("main")
    );
    assert_eq!(
        app.get("/start").await.header("location"),
        Some("/designs/new")
    );
    let set = app
        .follow(&put)
        .await
        .form("form[action='/designs/new']")
        .send(&app)
        .await;
    assert_eq!(set.status, 303, "{}", set.text("main"));
    // There is a set: the first hour is over.
    assert_eq!(app.get("/start").await.header("location"), Some("/"));
    assert_eq!(app.get("/").await.count("a[href='/start']"), 0);
}

#[tokio::test]
async fn settings_that_another_saved_meanwhile_are_not_overwritten() {
    let app = TestApp::new().await;
    let page = app.get("/start/units").await;
    let other = app.get("/start/units").await;
    let first = page.form("main form").set("name", "One").send(&app).await;
    assert_eq!(first.status, 303);
    let second = other.form("main form").set("name", "Two").send(&app).await;
    assert_eq!(second.status, 412);
    assert_eq!(second.form("main form").value("name"), Some("Two"));
    assert!(app.get("/").await.text(".mast").contains("One"));
    let again = second.form("main form").send(&app).await;
    assert_eq!(again.status, 303);
}

#[tokio::test]
async fn the_sample_is_a_book_of_its_own() {
    let app = TestApp::new().await;
    let closed = app.get("/sample/").await;
    assert_eq!(closed.status, 404);
    let opened = app.post("/sample-book", &[("do", "open")]).await;
    assert_eq!(
        opened.header("location"),
        Some("/sample/"),
        "{}",
        opened.body
    );
    let page = app.follow(&opened).await;
    assert!(page.text(".mast").contains("Millpond Hall"));
    assert!(page.text(".strip").contains("Nothing here touches"));
    for link in page.attributes("main a", "href") {
        assert!(
            link.starts_with("/sample/") || link.starts_with('#'),
            "{link} leads out of the sample"
        );
    }

    // What is done there stays there.
    let place = app
        .get("/sample/places")
        .await
        .form("main form[method=post]")
        .set("name", "Belfry")
        .send(&app)
        .await;
    assert_eq!(place.status, 303, "{}", place.text("main"));
    assert!(place.header("location").unwrap().starts_with("/sample/"));
    assert!(
        app.get("/sample/places")
            .await
            .text("main")
            .contains("Belfry")
    );
    assert!(!app.get("/places").await.text("main").contains("Belfry"));
    let sets = |path: &'static str| app.json("GET", path, &[], &Value::Null);
    let own = sets("/api/v1/designs").await.value();
    assert_eq!(own["items"].as_array().map(Vec::len), Some(0), "{own}");
    let sample = sets("/sample/api/v1/designs").await.value();
    // Pages of one thing are there as well as lists.
    for path in ["designs/1", "things/1", "parts/1", "api/v1/designs/1"] {
        let page = app.get(format!("/sample/{path}")).await;
        assert_eq!(page.status, 200, "{path}");
    }
    assert_eq!(
        sample["items"].as_array().map(Vec::len),
        Some(3),
        "{sample}"
    );
    assert_eq!(app.get("/").await.count(".strip.apart"), 0);
    // There is no third book.
    assert_eq!(
        app.post("/sample/sample-book", &[("do", "open")])
            .await
            .status,
        404
    );

    let odd = app.post("/sample-book", &[("do", "burn")]).await;
    assert_eq!(odd.status, 422);
    let cleared = app.post("/sample-book", &[("do", "clear")]).await;
    assert_eq!(cleared.header("location"), Some("/"));
    assert_eq!(app.get("/sample/").await.status, 404);
    assert!(!app.folder().join("sample").exists());
    // Opened anew it is as at first.
    app.post("/sample-book", &[("do", "open")]).await;
    assert!(
        !app.get("/sample/places")
            .await
            .text("main")
            .contains("Belfry")
    );
}

#[tokio::test]
async fn pages_are_compressed_for_whoever_asks() {
    let app = TestApp::new().await;
    let plain = app.get("/parts/ready-made").await;
    assert_eq!(plain.header("content-encoding"), None);
    let address = app.base().trim_start_matches("http://");
    let mut stream = TcpStream::connect(address).await.unwrap();
    let asked = format!(
        "GET /parts/ready-made HTTP/1.1\r\nHost: {address}\r\nAccept-Encoding: gzip\r\nConnection: close\r\n\r\n"
    );
    stream.write_all(asked.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    let head = String::from_utf8_lossy(&answer[..600]).to_lowercase();
    assert!(head.contains("content-encoding: gzip"), "{head}");
    assert!(
        answer.len() * 3 < plain.body.len(),
        "{} bytes",
        answer.len()
    );
}
