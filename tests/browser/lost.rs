//! A connection that is lost in the middle: what was ticked waits in the page, and arrives once.

use std::time::Duration;

use serde_json::json;
use tapewright::{
    db,
    model::{
        design::State,
        id::{DesignId, PurchaseId},
        part::StockUnit,
        text::Name,
    },
    stock::{Act, build, state, strike},
};

use crate::help::Stage;

/// Puts the sample's reserved set on stage, and gives its id.
pub(crate) async fn on_stage(stage: &Stage) -> DesignId {
    let app = stage.app();
    let act = Act {
        db: app.db().clone(),
        who: Name::parse("Ada").expect("a name"),
        now_ms: app.clock().now_ms(),
        today: app.clock().today("UTC"),
        press: None,
    };
    let mut tx = app.db().read().await.expect("the database reads");
    let sets = db::design::list(&mut tx).await.expect("the sets");
    let id = sets
        .iter()
        .find(|set| set.state == State::Reserved)
        .expect("the sample has a reserved set")
        .id;
    drop(tx);
    let version = async || {
        let mut tx = app.db().read().await.expect("the database reads");
        let design = db::design::lookup(&mut tx, id).await.expect("it reads");
        design.expect("the set").version
    };
    state::go(&act, id, version().await, State::Building)
        .await
        .expect("it can");
    let steps = {
        let mut tx = app.db().read().await.expect("the database reads");
        db::design::list_steps(&mut tx, id)
            .await
            .expect("its steps")
    };
    for step in steps {
        build::tick(&act, step.id).await.expect("it is done");
    }
    state::go(&act, id, version().await, State::Standing)
        .await
        .expect("it can");
    id
}

/// How many lines are out with a set.
pub(crate) async fn out(stage: &Stage, id: DesignId) -> usize {
    let mut tx = stage.app().db().read().await.expect("the database reads");
    strike::list(&mut tx, id).await.expect("what is out").len()
}

/// Presses the `number`-th button that brings a thing back.
async fn bring_back(stage: &Stage, number: usize) {
    stage
        .script(
            "document.querySelectorAll('form[id^=back-] button[value=good]')[arguments[0]].click()",
            vec![json!(number)],
        )
        .await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    stage.settle().await;
}

async fn waiting(stage: &Stage) -> String {
    let text = stage
        .script(
            "return document.getElementById('waiting').textContent",
            vec![],
        )
        .await;
    text.as_str().unwrap_or_default().to_owned()
}

/// Waits until nothing waits for the connection any more.
async fn sent(stage: &Stage) {
    for _ in 0..100 {
        if waiting(stage).await.is_empty() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("still: {}", waiting(stage).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_ticked_at_strike_without_a_connection_arrives_once() {
    let stage = Stage::sample().await;
    let id = on_stage(&stage).await;
    let all = out(&stage, id).await;
    stage.open(format!("/designs/{id}/strike")).await;
    bring_back(&stage, 0).await;
    assert_eq!(out(&stage, id).await, all - 1);

    stage.offline(true).await;
    bring_back(&stage, 0).await;
    bring_back(&stage, 1).await;
    bring_back(&stage, 2).await;
    assert!(waiting(&stage).await.starts_with("3 changes are waiting"));
    assert_eq!(out(&stage, id).await, all - 1);
    // What was pressed is said beside it.
    assert_eq!(stage.count(".strike form.waits .queued").await, 3);
    let said = stage.text(".strike .queued").await;
    assert_eq!(said, "waiting: back, good");

    // The page is left and loaded again before anything was sent.
    stage.offline(false).await;
    stage.open(format!("/designs/{id}/strike")).await;
    sent(&stage).await;
    assert_eq!(out(&stage, id).await, all - 4);
    stage.open(format!("/designs/{id}/strike")).await;
    sent(&stage).await;
    assert_eq!(out(&stage, id).await, all - 4);
    let queue = stage
        .script("return localStorage.getItem('tapewright.queue')", vec![])
        .await;
    assert_eq!(queue, json!("[]"));
    stage.end().await;
}

/// Lines of the first order that are in stock.
async fn arrived(stage: &Stage) -> usize {
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let order = db::purchase::lookup(&mut tx, PurchaseId(1)).await;
    let order = order.expect("it reads").expect("the order");
    let lines = order.lines.iter();
    lines.filter(|line| line.received_packs > 0).count()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn goods_that_arrive_without_a_connection_are_in_stock_once() {
    let stage = Stage::sample().await;
    // The order with the most lines is written down and sent.
    stage.open("/shopping").await;
    let orders = "[...document.querySelectorAll('main form')].filter(it => it.querySelector('button')?.textContent.includes('Write down'))";
    stage
        .script(
            &format!("{orders}.sort((a, b) => b.querySelectorAll('tbody tr').length - a.querySelectorAll('tbody tr').length)[0].querySelector('button').click()"),
            vec![],
        )
        .await;
    stage.find("#noted button[value=ordered]").await;
    stage.press("I have sent it").await;
    stage.find("#lines form[id^=line-]").await;
    let lines = stage.count("#lines form[id^=line-]").await;
    assert!(lines >= 2, "{lines} lines");
    stage.offline(true).await;
    for at in 0..2 {
        stage
            .script(
                "document.querySelectorAll('#lines form[id^=line-] button.main')[arguments[0]].click()",
                vec![json!(at)],
            )
            .await;
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
    assert!(waiting(&stage).await.starts_with("2 changes are waiting"));
    assert_eq!(arrived(&stage).await, 0);

    stage.offline(false).await;
    let path = stage.path().await;
    for _ in 0..2 {
        stage.open(&path).await;
        sent(&stage).await;
        assert_eq!(arrived(&stage).await, 2);
    }
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let order = db::purchase::lookup(&mut tx, PurchaseId(1)).await;
    for line in order.expect("it reads").expect("the order").lines {
        assert!(line.received_packs <= line.packs, "{}", line.part_name);
    }
    drop(tx);
    // With the connection back, a line arrives without a new page.
    if stage.count("#lines form[id^=line-]").await > 0 {
        stage
            .script("document.body.dataset.here = 'yes'", vec![])
            .await;
        stage
            .script(
                "document.querySelector('#lines form[id^=line-] button.main').click()",
                vec![],
            )
            .await;
        for _ in 0..50 {
            if arrived(&stage).await == 3 {
                break;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        assert_eq!(arrived(&stage).await, 3);
        let here = stage
            .script("return document.body.dataset.here", vec![])
            .await;
        assert_eq!(here, json!("yes"));
    }
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_count_without_a_connection_counts_once() {
    let stage = Stage::sample().await;
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let (mut place, mut count) = (None, None);
    for node in db::place::list(&mut tx, false).await.expect("places") {
        let account = db::place::account(&mut tx, node.place.id)
            .await
            .expect("it reads");
        let counts = db::balance::list_at(&mut tx, account.expect("a place has one"))
            .await
            .expect("it can");
        if counts.len() > 1
            && counts[..2]
                .iter()
                .all(|count| count.unit == StockUnit::Each)
        {
            (place, count) = (
                Some((node.place.id, account.expect("a place has one"))),
                Some(counts),
            );
            break;
        }
    }
    drop(tx);
    let ((place, account), before) = (
        place.expect("a place with counts"),
        count.expect("its counts"),
    );
    stage.open(format!("/places/{place}/count")).await;
    stage.offline(true).await;
    for at in 0..2 {
        stage
            .script(
                "const form = document.querySelectorAll('form[data-auto]')[arguments[0]];
                 const field = form.querySelector('input[name=amount]');
                 field.value = '7'; field.dispatchEvent(new Event('input', { bubbles: true }));
                 form.requestSubmit();",
                vec![json!(at)],
            )
            .await;
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
    // Each form also sends itself a moment after the last change; what is the same is no change.
    tokio::time::sleep(Duration::from_millis(1200)).await;
    assert!(waiting(&stage).await.contains("waiting for the connection"));
    stage.offline(false).await;
    stage.open(format!("/places/{place}/count")).await;
    sent(&stage).await;
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let after = db::balance::list_at(&mut tx, account)
        .await
        .expect("it reads");
    drop(tx);
    assert_eq!(after.len(), before.len());
    for (at, (was, is)) in before.iter().zip(&after).enumerate() {
        assert_eq!(is.part, was.part);
        if at < 2 {
            assert_eq!(is.amount, 7, "{}", is.name);
        } else {
            assert_eq!(is.amount, was.amount);
        }
    }
    stage.end().await;
}
