//! The journeys that must be short, taps counted: on a phone with scripting, on a desk without.

use std::time::Duration;

use tapewright::model::id::DesignId;

use crate::{
    help::Stage,
    lost::{on_stage, out},
};

/// A visitor who counts what is pressed.
struct Visitor<'a> {
    stage: &'a Stage,
    taps: usize,
}

impl<'a> Visitor<'a> {
    /// Somebody with a phone, or at a desk with scripting off.
    async fn new(stage: &'a Stage, phone: bool) -> Self {
        stage.look(if phone { 360 } else { 1280 }, !phone).await;
        stage.scripting(phone).await;
        Self { stage, taps: 0 }
    }

    async fn tap(&mut self, css: &str) {
        // A part that is being replaced has its old elements for a moment.
        for _ in 0..20 {
            if self.stage.find(css).await.click().await.is_ok() {
                self.stage.settle().await;
                self.taps += 1;
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{css} cannot be pressed");
    }

    async fn press(&mut self, words: &str) {
        self.stage.press(words).await;
        self.taps += 1;
    }
}

/// From nothing to what is short and the list to buy it by.
async fn first_list(phone: bool) {
    let stage = Stage::new().await;
    let mut it = Visitor::new(&stage, phone).await;
    stage.open("/").await;
    it.tap("main a[href='/start']").await;
    stage.fill("[name=name]", "Weir Lane Hall").await;
    it.press("On to your tape").await;
    it.tap("[name=tape][value='tape-rgbw-24v-12mm']").await;
    it.press("On to what you have").await;
    stage.fill("[name=room]", "Loft").await;
    stage
        .fill("form.take-in .row input:not([type=hidden])", "2 x 5 m")
        .await;
    it.press("Put it all into stock").await;
    stage.fill("[name=name]", "First evening").await;
    it.press("Make the set").await;
    stage.arrive("/designs/1/bars").await;
    stage.fill("[name=count]", "8").await;
    stage.fill("[name=length]", "1200 mm").await;
    it.press("Add these bars").await;
    it.tap("#answer a[href='/designs/1/shopping']").await;
    stage
        .says("main", "parts to buy, and no price known yet")
        .await;
    // Six pages, a press for each, and the tape's tick.
    assert!(it.taps <= 8, "{} taps", it.taps);
    assert_eq!(stage.text("h1").await, "First evening");
    stage.end().await;
}

/// What there is, found by part of a word.
async fn found(stage: &Stage, phone: bool) {
    let mut it = Visitor::new(stage, phone).await;
    stage.open("/").await;
    stage.fill("main [name=q]", "frost").await;
    if !phone {
        it.tap("main form:has([name=q]) button").await;
    }
    for _ in 0..50 {
        if stage.count("#stock .row-name").await == 2 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let names = stage
        .script(
            "return [...document.querySelectorAll('#stock .row-name')].map(it => it.textContent.trim())",
            vec![],
        )
        .await;
    let names: Vec<&str> = names
        .as_array()
        .map(|list| list.iter().filter_map(|name| name.as_str()).collect())
        .unwrap_or_default();
    assert!(!names.is_empty(), "nothing found");
    for name in names {
        assert!(name.contains("frost"), "{name}");
    }
    assert!(it.taps <= 1);
}

/// The next set from what is free in its dates.
async fn next_set(stage: &Stage, phone: bool) {
    let mut it = Visitor::new(stage, phone).await;
    stage.open("/").await;
    it.press("Start the next set").await;
    let name = if phone { "By phone" } else { "By desk" };
    stage.fill("[name=name]", name).await;
    it.tap("#free .row-act label.tick").await;
    it.press("Make the set with these").await;
    assert_eq!(it.taps, 3);
    stage.says("h1", name).await;
    stage.says("main", "reused").await;
}

/// A bar died on stage: its label is scanned, another that is free goes in.
async fn swapped(stage: &Stage, phone: bool) {
    stage.open("/").await;
    // Of the bars that are out, the first one comes back: it is free for one like it.
    let out = stage
        .script(
            "const out = await fetch('/api/v1/designs/2/out').then(it => it.json()); \
             return out.items.map(it => it.thing).filter(it => it?.kind === 'fixture').map(it => it.id)",
            vec![],
        )
        .await;
    let ids = out.as_array().expect("bars that are out").iter();
    let ids: Vec<i64> = ids.filter_map(serde_json::Value::as_i64).collect();
    let mut it = Visitor::new(stage, phone).await;
    stage.open(format!("/things/{}", ids[0])).await;
    it.tap("main .likely form button").await;
    let free = format!("#fit form:has([value='{}']) button[value=dead]", ids[0]);
    for dead in &ids[1..] {
        stage.open(format!("/things/{dead}")).await;
        it.taps = 0;
        it.tap(&format!("main a[href='/things/{dead}/swap']")).await;
        if stage.count(&free).await > 0 {
            it.tap(&free).await;
            assert_eq!(it.taps, 2);
            stage.says("main", "dead").await;
            return;
        }
    }
    panic!("{} replaces none of {:?}", ids[0], &ids[1..]);
}

/// Everything comes back by a tap each.
async fn struck(stage: &Stage, phone: bool) {
    let mut it = Visitor::new(stage, phone).await;
    stage.open("/designs/2/strike").await;
    let before = out(stage, DesignId(2)).await;
    for _ in 0..2 {
        it.tap("form[id^=back-] button[value=good]").await;
        for _ in 0..50 {
            if out(stage, DesignId(2)).await == before - it.taps {
                break;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }
    assert_eq!(out(stage, DesignId(2)).await, before - 2);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn from_an_empty_start_to_the_first_list_on_a_phone() {
    first_list(true).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn from_an_empty_start_to_the_first_list_without_scripting() {
    first_list(false).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_journeys_of_a_season_are_short() {
    let stage = Stage::sample().await;
    let id = on_stage(&stage).await;
    assert_eq!(id.0, 2);
    swapped(&stage, true).await;
    for phone in [true, false] {
        found(&stage, phone).await;
        next_set(&stage, phone).await;
        struck(&stage, phone).await;
    }
    stage.end().await;
}
