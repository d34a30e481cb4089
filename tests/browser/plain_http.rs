//! A hall's network without TLS: browsers send no Sec-Fetch-Site to a name there and drop Secure
//! cookies. Tests on the loopback address hide this; a mapped name shows it.

use crate::help::Stage;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_form_works_under_a_name_of_the_network_that_was_allowed() {
    let stage = Stage::with(
        |config| config.hosts = vec!["hall.test".into()],
        &["--host-resolver-rules=MAP hall.test 127.0.0.1, MAP rebound.test 127.0.0.1"],
    )
    .await;
    let port = stage.port();
    stage.open(format!("http://hall.test:{port}/who")).await;
    let secure = stage.script("return window.isSecureContext", vec![]).await;
    assert_eq!(
        secure, false,
        "the name is treated as this machine: nothing is shown by this test"
    );
    stage.fill("#name", "Ada").await;
    stage.press("That is me").await;
    stage.arrive("/").await;
    stage.open(format!("http://hall.test:{port}/who")).await;
    assert_eq!(stage.text("footer strong").await, "Ada");

    // The same machine under a name that nobody allowed: what DNS rebinding looks like.
    stage.open(format!("http://rebound.test:{port}/who")).await;
    assert!(
        stage
            .text("main")
            .await
            .contains("not one that Tapewright answers to")
    );
    stage.end().await;
}
