//! What holds for every page: headers, assets, and refusals that come before any page.

use serde_json::json;

use crate::help::TestApp;

#[tokio::test]
async fn every_answer_carries_the_headers_that_keep_others_out() {
    let app = TestApp::new().await;
    for path in ["/who", "/no-such-page"] {
        let page = app.get(path).await;
        let policy = page.header("content-security-policy").unwrap();
        for rule in [
            "default-src 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(policy.contains(rule), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
        assert_eq!(page.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(page.header("referrer-policy"), Some("same-origin"));
        assert_eq!(page.header("cache-control"), Some("no-store"));
    }
}

#[tokio::test]
async fn assets_are_kept_for_good_under_the_name_with_their_hash_only() {
    let app = TestApp::new().await;
    let page = app.get("/who").await;
    let mut links = page.attributes("link[href]", "href");
    links.extend(page.attributes("script[src]", "src"));
    assert!(links.len() >= 3, "{links:?}");
    for link in links {
        let asset = app.get(link.clone()).await;
        assert_eq!(asset.status, 200, "{link}");
        assert_eq!(
            asset.header("cache-control"),
            Some("public, max-age=31536000, immutable"),
            "{link}"
        );
        let (_, name) = link.rsplit_once('/').unwrap();
        let stale = app.get(format!("/static/000000000000/{name}")).await;
        assert_eq!(stale.header("cache-control"), Some("no-cache"), "{link}");
    }
    assert_eq!(app.get("/static/0/none.css").await.status, 404);
}

#[tokio::test]
async fn what_is_not_there_says_so_and_leads_on() {
    let app = TestApp::new().await;
    let page = app.get("/no-such-page").await;
    assert_eq!(page.status, 404);
    assert_eq!(page.text("h1"), "Not found");
    assert_eq!(page.attributes("main a.btn", "href"), ["/"]);
}

#[tokio::test]
async fn a_wrong_method_names_the_right_ones() {
    let app = TestApp::new().await;
    let page = app.request("DELETE", "/who", &[], Vec::new()).await;
    assert_eq!(page.status, 405);
    let allow = page.header("allow").unwrap();
    assert!(allow.contains("GET") && allow.contains("POST"), "{allow}");
}

#[tokio::test]
async fn a_wrong_content_type_is_refused() {
    let app = TestApp::new().await;
    let page = app.json("POST", "/who", &[], &json!({"name": "Ada"})).await;
    assert_eq!(page.status, 415);
    assert!(page.text("main").contains("Nothing was changed"));
    let page = app
        .request(
            "POST",
            "/who",
            &[("content-type", "text/plain")],
            b"name=Ada".to_vec(),
        )
        .await;
    assert_eq!(page.status, 415);
}

#[tokio::test]
async fn broken_utf_8_is_refused() {
    let app = TestApp::new().await;
    let form = [("content-type", "application/x-www-form-urlencoded")];
    for body in [
        &b"name=%ff"[..],
        b"name=%C3%28",
        b"name=a%00b",
        b"name=\xff\xfe",
    ] {
        let page = app.request("POST", "/who", &form, body.to_vec()).await;
        assert_eq!(page.status, 400, "{body:?}");
        assert!(page.text("main").contains("Nothing was changed"));
    }
}

#[tokio::test]
async fn a_body_too_large_is_refused() {
    let app = TestApp::new().await;
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let mut body = b"name=".to_vec();
    body.resize(tapewright::web::BODY_LIMIT + 1, b'x');
    let page = app.request("POST", "/who", &form, body).await;
    assert_eq!(page.status, 413);
    // As many fields as would fit, but more than any form has.
    let many = "a=1&".repeat(6000).into_bytes();
    assert_eq!(app.request("POST", "/who", &form, many).await.status, 413);
}

#[tokio::test]
async fn a_form_from_another_site_is_refused() {
    let app = TestApp::new().await;
    let kind = ("content-type", "application/x-www-form-urlencoded");
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "http://elsewhere.test"),
        ("origin", "null"),
    ] {
        let page = app
            .request("POST", "/who", &[kind, (name, value)], b"name=Eve".to_vec())
            .await;
        assert_eq!(page.status, 403, "{name}: {value}");
    }
    assert_eq!(app.get("/who").await.count("form.buttons button"), 0);
}

#[tokio::test]
async fn a_host_that_is_not_ours_is_refused() {
    let app = TestApp::with(|config| config.hosts = vec!["hall.test".into()]).await;
    let port = app.base().rsplit_once(':').unwrap().1;
    for (host, status) in [
        ("rebound.test".to_owned(), 421),
        (format!("rebound.test:{port}"), 421),
        ("hall.test.rebound.test".to_owned(), 421),
        // Reachable from this machine only: an address of the network is not ours.
        ("192.0.2.7".to_owned(), 421),
        (format!("hall.test:{port}"), 200),
        (format!("HALL.TEST:{port}"), 200),
        (format!("localhost:{port}"), 200),
        (format!("127.0.0.1:{port}"), 200),
        (format!("[::1]:{port}"), 200),
    ] {
        let page = app
            .request("GET", "/who", &[("host", &host)], Vec::new())
            .await;
        assert_eq!(page.status, status, "{host}");
    }
}

#[tokio::test]
async fn the_database_is_a_file_of_its_own() {
    let app = TestApp::new().await;
    assert!(app.db().file().starts_with(app.folder()));
    assert!(app.db().file().is_file());
    app.clock().set(jiff::civil::date(2026, 4, 1));
    assert_eq!(app.clock().today("UTC"), jiff::civil::date(2026, 4, 1));
}
