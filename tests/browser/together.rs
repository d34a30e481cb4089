//! Somebody else changes what an open page shows: the page says so, and is not changed under one's
//! hands; what it does not show is not told.

use std::time::Duration;

use tapewright::{
    db,
    model::{id::DesignId, text::Name},
    stock::{
        Act,
        design::{Edit, change},
    },
};

use crate::help::Stage;

/// Ben makes the first bar of a set longer.
async fn ben(stage: &Stage, id: DesignId, by_um: i64) {
    let app = stage.app();
    let act = Act {
        db: app.db().clone(),
        who: Name::parse("Ben").expect("a name"),
        now_ms: app.clock().now_ms(),
        today: app.clock().today("UTC"),
        press: None,
    };
    let mut tx = app.db().read().await.expect("the database reads");
    let design = db::design::lookup(&mut tx, id).await.expect("it reads");
    let design = design.expect("the set");
    drop(tx);
    let mut bar = design.bars[0].clone();
    let length = bar.length_um.get() + by_um;
    bar.length_um = tapewright::units::Length::new(length).expect("a length");
    change(&act, id, design.version, &[Edit::ChangeBars(vec![bar])])
        .await
        .expect("it is changed");
}

/// What the line says, once it says something or so much time is over.
async fn told(stage: &Stage, wait: Duration) -> String {
    let until = std::time::Instant::now() + wait;
    loop {
        let said = stage
            .script(
                "const it = document.getElementById('changed'); return it.hidden ? '' : it.textContent",
                vec![],
            )
            .await;
        let said = said.as_str().unwrap_or_default().to_owned();
        if !said.is_empty() || std::time::Instant::now() > until {
            return said;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn another_persons_change_is_told_where_it_shows() {
    let stage = Stage::sample().await;
    stage.open("/designs/3/bars").await;
    stage.settle().await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    stage.fill("[name=pattern]", "Mine #").await;
    ben(&stage, DesignId(3), -100_000).await;
    let said = told(&stage, Duration::from_secs(10)).await;
    assert!(said.contains("Changed by Ben"), "{said:?}");
    // What was typed is still there, and saving it does not overwrite Ben's change.
    let typed = stage
        .script(
            "return document.querySelector('[name=pattern]').value",
            vec![],
        )
        .await;
    assert_eq!(typed, "Mine #");
    stage.press("Show").await;
    stage.says("#bar-list", "1400 mm").await;

    // A page that shows nothing of it says nothing.
    stage.open("/bench").await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    ben(&stage, DesignId(3), 100_000).await;
    assert_eq!(told(&stage, Duration::from_secs(3)).await, "");
    // Nor does one's own change.
    stage.open("/places").await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    stage
        .fill("main form[method=post] [name=name]", "Belfry")
        .await;
    stage
        .script(
            "document.querySelector('main form[method=post]').requestSubmit()",
            vec![],
        )
        .await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert_eq!(told(&stage, Duration::from_secs(3)).await, "");
    stage.end().await;
}
