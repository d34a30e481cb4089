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

use crate::help::{Stage, WIDTHS};

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

/// Who works in a browser, where nobody signs in.
async fn works(stage: &Stage, name: &str) {
    stage.open("/who").await;
    stage.fill("main input[name=name]", name).await;
    stage
        .script(
            "document.querySelector('main input[name=name]').form.requestSubmit()",
            vec![],
        )
        .await;
    stage.settle().await;
}

async fn value(stage: &Stage, name: &str) -> String {
    let script = format!("return document.querySelector('main [name={name}]').value");
    let value = stage.script(&script, vec![]).await;
    value.as_str().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_browsers_on_one_design_and_one_last_item() {
    let ada = Stage::sample().await;
    let ben = ada.another().await;
    works(&ada, "Ada").await;
    works(&ben, "Ben").await;

    // One bar, opened by both. Ben is first; Ada meets what he did, and chooses.
    ada.open("/designs/3/bars").await;
    let bar = ada
        .script(
            "return document.querySelector('#bar-list a[href*=\"/bars/\"]').getAttribute('href')",
            vec![],
        )
        .await;
    let bar = bar.as_str().expect("a bar").to_owned();
    for stage in [&ada, &ben] {
        stage.open(&bar).await;
        stage.settle().await;
    }
    let press_save = "document.querySelector('form[data-draft]').requestSubmit()";
    ben.fill("[name=length]", "1300 mm").await;
    ben.fill("[name=angle]", "15").await;
    ben.script(press_save, vec![]).await;
    ben.arrive("/designs/3/bars").await;
    ada.fill("[name=length]", "1200 mm").await;
    ada.fill("[name=x]", "700 mm").await;
    ada.script(press_save, vec![]).await;
    ada.says(".note.stop", "Both of you changed these").await;
    let said = ada.text(".note.stop").await;
    assert!(
        said.contains("1300 mm") && said.contains("1200 mm"),
        "{said}"
    );
    assert!(said.contains("Turned"), "{said}");
    for width in WIDTHS {
        ada.look(width, false).await;
        assert_eq!(ada.sideways(width).await, None, "{width}");
    }
    let found = ada.axe_violations().await;
    assert!(found.is_empty(), "{found:?}");
    ada.script("document.querySelector('#take-length').click()", vec![])
        .await;
    ada.script(press_save, vec![]).await;
    ada.arrive("/designs/3/bars").await;
    ada.open(&bar).await;
    for (field, kept) in [("length", "1300 mm"), ("angle", "15"), ("x", "700 mm")] {
        assert_eq!(value(&ada, field).await, kept, "{field}");
    }

    // One last item, on both screens. Ben takes it out; Ada's press takes nothing a second time.
    ada.open("/fixtures").await;
    let thing = ada
        .script(
            "return document.querySelector('main a[href^=\"/things/\"]').getAttribute('href')",
            vec![],
        )
        .await;
    let thing = thing.as_str().expect("a fixture").to_owned();
    for stage in [&ada, &ben] {
        stage.open(&thing).await;
        stage.settle().await;
    }
    let out = "const form = document.querySelector('form[action$=\"/out\"]'); \
               form.closest('details')?.setAttribute('open', ''); form.requestSubmit(form.querySelector('[value=scrap]'))";
    ben.script(out, vec![]).await;
    ben.says("#flash", "scrapped").await;
    ada.script(out, vec![]).await;
    ada.says("main", "Nothing was").await;
    let mut tx = ada.app().db().read().await.expect("it reads");
    let last = db::movement::list(&mut tx, &db::movement::LogFilter::default(), 2)
        .await
        .expect("the log");
    assert_eq!(last[0].who.as_str(), "Ben");
    drop(tx);
    ben.end().await;
    ada.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ones_own_press_is_told_as_nobody_elses_change() {
    let stage = Stage::sample().await;
    stage.open("/places/3/count").await;
    stage.settle().await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    let rows = "main li.row[id^=t]";
    let before = stage.count(rows).await;
    assert!(before > 1);
    for done in 1..=2 {
        stage
            .find(&format!("{rows} .btn.danger"))
            .await
            .click()
            .await
            .expect("a press");
        for _ in 0..100 {
            if stage.count(rows).await == before - done {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        // What is noted as lost is no longer listed as lying there.
        assert_eq!(stage.count(rows).await, before - done);
    }
    assert_eq!(told(&stage, Duration::from_secs(2)).await, "");
    stage.end().await;
}
