//! Who works in this browser, with and without the pages' own scripts.

use crate::help::Stage;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_name_is_said_with_scripting_on_and_off() {
    let stage = Stage::new().await;
    for (on, name) in [(true, "Ada"), (false, "Bo")] {
        stage.scripting(on).await;
        stage.open("/who").await;
        stage.fill("#name", name).await;
        stage.press("That is me").await;
        stage.arrive("/").await;
        stage.open("/who").await;
        assert_eq!(stage.text("footer strong").await, name);
        stage.says("form.buttons", name).await;
    }
    assert_eq!(stage.count("form.buttons button").await, 2);
    // What inspects is a script itself.
    stage.scripting(true).await;
    stage.open("/who").await;
    stage.inspect("who-two-people").await;
    stage.end().await;
}
