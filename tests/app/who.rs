//! Who works in this browser.

use crate::help::TestApp;

#[tokio::test]
async fn a_name_is_taken_for_this_browser_and_no_other() {
    let app = TestApp::new().await;
    let page = app.get("/who").await;
    assert_eq!(page.status, 200);
    assert_eq!(page.text("h1"), "Who are you?");
    let page = page
        .form("form.form")
        .set("name", "Ada Marsh")
        .send(&app)
        .await;
    assert_eq!(page.status, 303);
    assert_eq!(app.follow(&page).await.path, "/");

    let page = app.get("/who").await;
    assert_eq!(page.texts("form.buttons button"), ["Ada Marsh"]);
    assert_eq!(page.text("footer strong"), "Ada Marsh");
    let other = app.other_browser().get("/who").await;
    assert_eq!(other.count("footer strong"), 0);
}

#[tokio::test]
async fn the_cookie_is_out_of_reach_of_scripts_and_of_other_sites() {
    let app = TestApp::new().await;
    let page = app.post("/who", &[("name", "Ada")]).await;
    let set: Vec<_> = page
        .headers
        .get_all("set-cookie")
        .iter()
        .map(|value| value.to_str().unwrap())
        .filter(|cookie| cookie.starts_with("who="))
        .collect();
    assert_eq!(set.len(), 1);
    assert!(
        set[0].contains("HttpOnly") && set[0].contains("SameSite=Lax"),
        "{set:?}"
    );
}

#[tokio::test]
async fn a_message_is_shown_once() {
    let app = TestApp::new().await;
    app.post("/who", &[("name", "Ada")]).await;
    let first = app.get("/who").await.body;
    let second = app.get("/who").await.body;
    assert!(first.contains("The log now says Ada"), "{first}");
    assert!(!second.contains("The log now says Ada"), "{second}");
}

#[tokio::test]
async fn a_name_that_is_none_comes_back_as_typed() {
    let app = TestApp::new().await;
    let long = "x".repeat(121);
    for (typed, says) in [("   ", "Type a name"), (long.as_str(), "120")] {
        let page = app.post("/who", &[("name", typed)]).await;
        assert_eq!(page.status, 422);
        assert_eq!(page.form("form.form").value("name"), Some(typed));
        assert!(
            page.errors().join(" ").contains(says),
            "{:?}",
            page.errors()
        );
    }
}
