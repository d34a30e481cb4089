//! Signing in over the hall's network, as a phone does it: plain http under a name, no secure context.

use crate::help::{PASSWORD, Stage};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_phone_signs_in_over_the_halls_network_and_what_was_typed_is_kept() {
    let stage = Stage::with(
        |config| {
            config.sign_in = true;
            config.hosts = vec!["hall.test".into()];
        },
        &["--host-resolver-rules=MAP hall.test 127.0.0.1"],
    )
    .await;
    let port = stage.port();
    let base = format!("http://hall.test:{port}");
    stage.open(format!("{base}/suppliers/new")).await;
    stage.arrive("/sign-in").await;
    stage.inspect("sign-in").await;
    stage.fill("#sign-in-name", "Ada").await;
    stage.fill("#sign-in-password", PASSWORD).await;
    stage.press("Sign in").await;
    // Who has not agreed that it can be read on the way is not let in.
    stage.arrive("/sign-in").await;
    stage.says("main", "Tick this").await;
    stage.fill("#sign-in-password", PASSWORD).await;
    stage
        .find("#sign-in-plain")
        .await
        .click()
        .await
        .expect("a box");
    stage.press("Sign in").await;
    stage.arrive("/suppliers/new").await;
    stage.says("footer strong", "Ada").await;

    // The session ends while a form is being filled in: it comes back, and is sent on.
    stage.fill("#name", "Weir & Sons").await;
    stage.fill("#delivery_days", "3").await;
    stage.fill("#delivery", "0").await;
    stage.app().clock().set(jiff::civil::date(2026, 3, 20));
    stage
        .script(
            "document.querySelector('main form[method=post]').requestSubmit()",
            vec![],
        )
        .await;
    stage.find("#sign-in-password").await;
    // The browser says on its console that the form was refused, as it was.
    assert!(!stage.console().await.is_empty());
    stage.inspect("sign-in-again").await;
    stage.fill("#sign-in-name", "Ada").await;
    stage.fill("#sign-in-password", PASSWORD).await;
    stage.press("Sign in").await;
    stage.arrive("/suppliers").await;
    stage.says("main", "Weir & Sons").await;

    stage.console().await;
    for (name, path) in [
        ("account", "/who"),
        ("people", "/settings/people"),
        ("changes", "/changes"),
        ("backup", "/settings/backup"),
    ] {
        stage.open(format!("{base}{path}")).await;
        stage.inspect(name).await;
    }
    stage.open(format!("{base}/who")).await;
    stage.press("Leave this browser at the bench").await;
    stage.says("body", "is a device at the bench now").await;
    stage.open(format!("{base}/who/take")).await;
    stage.inspect("hand").await;
    stage.end().await;
}
