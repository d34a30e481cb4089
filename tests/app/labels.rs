//! Labels: what is ticked is laid out, under the address that the venue set.

use tapewright::sample;

use crate::help::TestApp;

#[tokio::test]
async fn what_is_ticked_is_laid_out_and_says_which_address_its_codes_open() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let page = app.get("/labels?kind=units").await;
    let listed = page.count("main .row input[type=checkbox]");
    assert!(listed > 2, "{listed}");
    let page = page.form("main form.form").send(&app).await;
    assert_eq!(page.status, 200);
    assert_eq!(page.count("svg .label-code"), listed);
    assert_eq!(page.count("svg .label-tag"), listed);
    // No address is set: the page says so.
    assert!(page.text("main").contains("No address for labels is set"));

    let settings = app.get("/settings").await;
    let saved = settings
        .form("form.form")
        .set("label_base", "http://127.0.0.1:8470/")
        .send(&app)
        .await;
    assert_eq!(saved.status, 303);
    let page = app
        .get("/labels/papers?thing=3&first=4&paper=roll-62")
        .await;
    // A single label has no fourth place.
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#first-error"), 1);
    let page = app.get("/labels/papers?thing=3&place=3").await;
    assert!(page.text("main").contains("http://127.0.0.1:8470."));
    assert!(!page.text("main").contains("No address"));
    assert_eq!(page.count("svg .label-code"), 2);
}

#[tokio::test]
async fn bad_asks_are_refused_with_the_list_as_it_was() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    for path in ["/labels/papers", "/labels/papers?thing=x&place=-"] {
        let page = app.get(path).await;
        assert_eq!(page.status, 422, "{path}");
        assert!(page.text("main").contains("Tick at least one line"));
    }
    let page = app.get("/labels/papers?thing=3&paper=parchment").await;
    assert_eq!(page.status, 422);
    assert_eq!(page.count("#paper-error"), 1);
    assert!(page.text("main").contains("1 label, not laid out"));
    let many: Vec<String> = (1..=601).map(|id| format!("thing={id}")).collect();
    let many = many.join("&");
    let page = app.get(format!("/labels/papers?{many}")).await;
    assert_eq!(page.status, 422);
    assert!(page.text("main").contains("more than 600 labels"));
    for bad in ["millpond.local", "http://hall/x", "ftp://hall"] {
        let page = app.get("/settings").await;
        let form = page.form("form.form").set("label_base", bad);
        let page = form.send(&app).await;
        assert_eq!(page.status, 422, "{bad}");
        assert_eq!(page.form("form.form").value("label_base"), Some(bad));
    }
}

#[tokio::test]
async fn an_address_that_is_not_answered_here_is_said_to_be_so() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let settings = app.get("/settings").await;
    let form = settings.form("form.form");
    form.set("label_base", "http://millpond.local:8470")
        .send(&app)
        .await;
    let page = app.get("/labels/papers?thing=3").await;
    assert!(
        page.text("main")
            .contains("does not answer to this address")
    );
}
