//! The elevation as an editor: keys, mouse, undo, a lost connection, somebody else, and that it
//! stores what the form beside it stores.

use std::time::Duration;

use serde_json::{Value, json};
use tapewright::{
    db,
    model::{
        arrange::Step,
        design::{Bar, Design, Frame},
        id::{BarId, DesignId, FrameId},
        text::Name,
    },
    stock::{
        Act,
        design::{self, Edit},
    },
    units::{Length, SignedLength},
};

use crate::help::Stage;

const CTRL: u32 = 2;
const SHIFT: u32 = 8;
/// The step of the grid that the editor begins with.
const GRID: i64 = 50_000;
/// Millpond Hall's draft.
const SET: DesignId = DesignId(3);

fn act(stage: &Stage) -> Act {
    let app = stage.app();
    Act {
        db: app.db().clone(),
        who: Name::parse("Ada").expect("a name"),
        now_ms: app.clock().now_ms(),
        today: app.clock().today("UTC"),
        press: None,
    }
}

async fn stored(stage: &Stage, id: DesignId) -> Design {
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let design = db::design::lookup(&mut tx, id).await.expect("it reads");
    design.expect("the set")
}

fn places(design: &Design) -> Vec<(i64, i64, i32, i64)> {
    let of = |bar: &Bar| {
        (
            bar.x_um.get(),
            bar.y_um.get(),
            bar.angle_mdeg,
            bar.length_um.get(),
        )
    };
    design.bars.iter().map(of).collect()
}

/// Opens the editor.
async fn edit(stage: &Stage) {
    stage.look(1280, false).await;
    stage.open(format!("/designs/{SET}/bars")).await;
    stage.find("svg.editing .bar").await;
}

/// Puts the focus on a bar of the drawing, and selects nothing else.
async fn focus(stage: &Stage, bar: i64) {
    stage
        .script(
            "document.querySelector(`.bar[data-key=b${arguments[0]}]`).focus()",
            vec![json!(bar)],
        )
        .await;
}

/// Waits until everything is saved and the figures are those of what is drawn.
async fn saved(stage: &Stage) {
    for _ in 0..200 {
        let open = stage
            .script(
                "return document.getElementById('answer').classList.contains('stale') ||
                   document.getElementById('edit-state').textContent !== ''",
                vec![],
            )
            .await;
        if open == json!(false) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("not saved: {}", state(stage).await);
}

/// Ends a run of keys, which else waits for the next.
async fn pause() {
    tokio::time::sleep(Duration::from_millis(700)).await;
}

async fn state(stage: &Stage) -> String {
    let text = stage
        .script(
            "return document.getElementById('edit-state').textContent",
            vec![],
        )
        .await;
    text.as_str().unwrap_or_default().to_owned()
}

/// What is drawn and what is stored are the same.
async fn agree(stage: &Stage) {
    let drawn = stage
        .script(
            "return [...document.querySelectorAll('svg.editing .bar')].map(it => it.getAttribute('aria-label'))",
            vec![],
        )
        .await;
    let design = stored(stage, SET).await;
    let words: Vec<Value> = design
        .bars
        .iter()
        .map(|bar| {
            let show = |um: i64| {
                let text = format!("{:.4}", json!(um).as_f64().unwrap_or_default() / 1000.0);
                text.trim_end_matches('0').trim_end_matches('.').to_owned()
            };
            let angle = json!(f64::from(bar.angle_mdeg) / 1000.0).to_string();
            let name = format!(
                "Bar {}, {} mm, {} mm along, {} mm up, turned {}°",
                bar.label,
                show(bar.length_um.get()),
                show(bar.x_um.get()),
                show(bar.y_um.get()),
                angle.trim_end_matches(".0"),
            );
            json!(name)
        })
        .collect();
    let drawn: Vec<Value> = drawn
        .as_array()
        .into_iter()
        .flatten()
        .map(|name| {
            let name = name.as_str().unwrap_or_default();
            json!(name.rsplit_once(", ").map_or(name, |(head, _)| head))
        })
        .collect();
    assert_eq!(drawn, words);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn keys_move_turn_lengthen_copy_take_out_and_undo() {
    let stage = Stage::sample().await;
    let before = places(&stored(&stage, SET).await);
    let first = stored(&stage, SET).await.bars[0].id.0;
    edit(&stage).await;
    focus(&stage, first).await;
    for _ in 0..3 {
        stage.key("ArrowRight", 0).await;
    }
    stage.key("ArrowUp", SHIFT).await;
    pause().await;
    saved(&stage).await;
    agree(&stage).await;
    let (x, y, angle, length) = before[0];
    assert_eq!(
        places(&stored(&stage, SET).await)[0],
        (x + 3 * GRID, y + GRID / 10, angle, length)
    );
    // A run of one key is one change, which is undone at once.
    stage.key("z", CTRL).await;
    saved(&stage).await;
    assert_eq!(places(&stored(&stage, SET).await), before);
    stage.key("z", CTRL | SHIFT).await;
    saved(&stage).await;
    assert_eq!(places(&stored(&stage, SET).await)[0].0, x + 3 * GRID);
    stage.key("z", CTRL).await;
    saved(&stage).await;

    stage.key("ArrowLeft", CTRL).await;
    pause().await;
    stage.key("ArrowUp", CTRL).await;
    pause().await;
    saved(&stage).await;
    agree(&stage).await;
    let now = places(&stored(&stage, SET).await)[0];
    assert_eq!((now.2 - angle).rem_euclid(360_000), 15_000);
    assert_eq!(now.3, length + GRID);

    stage.key("d", CTRL).await;
    saved(&stage).await;
    agree(&stage).await;
    assert_eq!(stored(&stage, SET).await.bars.len(), before.len() + 1);
    // The copy is what is selected, and goes away again; undoing brings it back.
    stage.key("Delete", 0).await;
    saved(&stage).await;
    assert_eq!(stored(&stage, SET).await.bars.len(), before.len());
    stage
        .script("document.querySelector('svg.editing .bar').focus()", vec![])
        .await;
    stage.key("z", CTRL).await;
    saved(&stage).await;
    agree(&stage).await;
    assert_eq!(stored(&stage, SET).await.bars.len(), before.len() + 1);
    for _ in 0..3 {
        stage.key("z", CTRL).await;
        saved(&stage).await;
    }
    assert_eq!(places(&stored(&stage, SET).await), before);
    assert_eq!(stage.console().await, Vec::<String>::new());
    stage.end().await;
}

/// The middle of a bar on the screen.
async fn middle(stage: &Stage, bar: i64) -> (f64, f64) {
    let at = stage
        .script(
            "const it = document.querySelector(`.bar[data-key=b${arguments[0]}]`);
             it.scrollIntoView({ block: 'center' });
             const r = it.querySelector('rect').getBoundingClientRect();
             return [r.x + r.width / 2, r.y + r.height / 2];",
            vec![json!(bar)],
        )
        .await;
    (
        at[0].as_f64().expect("a place"),
        at[1].as_f64().expect("a place"),
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_mouse_moves_bars_to_the_grid_and_draws_a_frame_over_several() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let before = places(&design);
    let (first, second) = (design.bars[0].id.0, design.bars[1].id.0);
    edit(&stage).await;
    let (x, y) = middle(&stage, first).await;
    stage
        .drag(&[(x, y), (x + 20.0, y - 10.0), (x + 41.0, y - 33.0)], 0)
        .await;
    saved(&stage).await;
    agree(&stage).await;
    let after = places(&stored(&stage, SET).await);
    assert_eq!(after[1..], before[1..]);
    assert!(
        after[0].0 > before[0].0 && after[0].1 > before[0].1,
        "{after:?}"
    );
    assert_eq!((after[0].0 % GRID, after[0].1 % GRID), (0, 0));
    // A click with Shift selects a second one; both then move as one.
    let (x, y) = middle(&stage, second).await;
    stage.drag(&[(x, y), (x, y)], SHIFT).await;
    assert_eq!(stage.text("#edit-count").await, "2 selected");
    stage.drag(&[(x, y), (x - 30.0, y), (x - 60.0, y)], 0).await;
    saved(&stage).await;
    let both = places(&stored(&stage, SET).await);
    let moved = both[1].0 - before[1].0;
    assert!(moved < 0);
    assert_eq!(both[0].0 - after[0].0, moved);
    assert_eq!(both[2..], before[2..]);
    // A frame drawn over everything, and the ticks in the table follow.
    let corners = stage
        .script(
            "const box = document.querySelector('svg.editing');
             box.scrollIntoView({ block: 'center' });
             const r = box.getBoundingClientRect();
             return [r.left + 1, r.top + 1, r.right - 1, r.bottom - 1];",
            vec![],
        )
        .await;
    let at = |n: usize| corners[n].as_f64().expect("an edge");
    stage
        .drag(
            &[(at(0), at(1)), (at(2) / 2.0, at(3) / 2.0), (at(2), at(3))],
            0,
        )
        .await;
    let all = design.bars.len();
    assert_eq!(stage.text("#edit-count").await, format!("{all} selected"));
    assert_eq!(stage.count("input[name=bars]:checked").await, all);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_finger_moves_a_bar_and_scrolls_the_page_from_anywhere_else() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    edit(&stage).await;
    stage.look(360, false).await;
    let scrolled = async || {
        let at = stage.script("return window.scrollY", vec![]).await;
        at.as_f64().expect("a place")
    };
    let line = |(x, y): (f64, f64), dx: f64, dy: f64| -> Vec<(f64, f64)> {
        (0..20)
            .map(|n| (x + dx * f64::from(n) / 19.0, y + dy * f64::from(n) / 19.0))
            .collect()
    };
    let at = middle(&stage, design.bars[1].id.0).await;
    let before = scrolled().await;
    stage.touch(&line(at, 30.0, -40.0)).await;
    saved(&stage).await;
    agree(&stage).await;
    let now = places(&stored(&stage, SET).await);
    let was = places(&design);
    assert!(now[1].0 > was[1].0 && now[1].1 > was[1].1, "{now:?}");
    assert_eq!(now[2..], was[2..]);
    assert!((scrolled().await - before).abs() < 1.0);
    // Beside the bars, in the drawing itself, the same finger scrolls.
    let empty = stage
        .script(
            "const r = document.querySelector('svg.editing').getBoundingClientRect();
             return [r.left + 4, r.bottom - 6];",
            vec![],
        )
        .await;
    let empty = (
        empty[0].as_f64().expect("a place"),
        empty[1].as_f64().expect("a place"),
    );
    stage.touch(&line(empty, 0.0, -120.0)).await;
    for _ in 0..40 {
        if scrolled().await > before + 20.0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(scrolled().await > before + 20.0);
    assert_eq!(places(&stored(&stage, SET).await), now);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_group_goes_dark_as_soon_as_it_is_chosen() {
    let stage = Stage::sample().await;
    stage.open(format!("/designs/{SET}/lit")).await;
    let all = stage.count("#lit svg .lit").await;
    assert!(all > 0);
    stage
        .script(
            "const field = document.querySelector('form[data-live] select[name=g0]');
             field.value = 'off';
             field.dispatchEvent(new Event('input', { bubbles: true }));",
            vec![],
        )
        .await;
    for _ in 0..100 {
        if stage.count("#lit svg .lit").await < all {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let rest = stage.count("#lit svg .lit").await;
    assert!(rest > 0 && rest < all, "{rest} of {all}");
    assert!(stage.count("#lit svg .lit-off").await > 0);
    stage.end().await;
}

/// Copies the set, for what the form does to it.
async fn copy(stage: &Stage) -> DesignId {
    let set = stored(stage, SET).await;
    let name = Name::parse("By the form").expect("a name");
    design::copy(&act(stage), SET, &name, set.dates)
        .await
        .expect("it is copied")
}

/// Sends the form of the copy without scripting.
async fn by_form(
    stage: &Stage,
    id: DesignId,
    bars: &[usize],
    typed: &[(&str, &str)],
    button: &str,
) {
    let ids: Vec<BarId> = stored(stage, id)
        .await
        .bars
        .iter()
        .map(|bar| bar.id)
        .collect();
    stage.scripting(false).await;
    stage.open(format!("/designs/{id}/bars")).await;
    for at in bars {
        let tick = stage.find(&format!("#tick-{}", ids[*at])).await;
        tick.click().await.expect("a box to tick");
    }
    let summary = stage.find("#arrange-box > summary").await;
    summary.click().await.expect("it opens");
    for (name, value) in typed {
        let field = stage.find(&format!("#arrange-{name}")).await;
        if field.tag_name().await.expect("a field") == "select" {
            field.select_by_value(value).await.expect("it is offered");
        } else {
            stage.fill(&format!("#arrange-{name}"), value).await;
        }
    }
    let button = stage
        .find(&format!("#arrange-form button[value={button}]"))
        .await;
    button.click().await.expect("it is pressed");
    stage.find("#flash .good").await;
    stage.scripting(true).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_editor_and_the_form_store_the_same() {
    let stage = Stage::sample().await;
    let twin = copy(&stage).await;
    let ids: Vec<i64> = stored(&stage, SET)
        .await
        .bars
        .iter()
        .map(|bar| bar.id.0)
        .collect();
    edit(&stage).await;
    let select = async |some: &[usize]| {
        focus(&stage, ids[0]).await;
        stage.key("Escape", 0).await;
        for at in some {
            focus(&stage, ids[*at]).await;
            stage.key(" ", 0).await;
        }
    };
    let press = async |name: &str| {
        stage
            .script(
                "document.querySelector(`[data-act=${arguments[0]}]`).click()",
                vec![json!(name)],
            )
            .await;
        saved(&stage).await;
    };
    let choose = async |id: &str, value: &str| {
        stage
            .script(
                "document.getElementById(arguments[0]).value = arguments[1]",
                vec![json!(id), json!(value)],
            )
            .await;
    };
    select(&[0, 1]).await;
    stage.key("ArrowRight", 0).await;
    stage.key("ArrowUp", 0).await;
    pause().await;
    saved(&stage).await;
    select(&[0]).await;
    press("turn-left").await;
    stage.key("ArrowDown", CTRL).await;
    pause().await;
    saved(&stage).await;
    select(&[0, 2]).await;
    press("mirror-across").await;
    press("mirror-up").await;
    select(&[0, 1, 2]).await;
    choose("edit-align", "spread_across").await;
    press("align").await;
    choose("edit-align", "centre_up").await;
    press("align").await;
    select(&[1]).await;
    choose("array-copies", "2").await;
    choose("array-dx", "123.456").await;
    choose("array-dy", "-7").await;
    press("array").await;
    select(&[2]).await;
    stage.key("Delete", 0).await;
    saved(&stage).await;
    agree(&stage).await;

    by_form(
        &stage,
        twin,
        &[0, 1],
        &[("dx", "50 mm"), ("dy", "50 mm")],
        "move",
    )
    .await;
    by_form(
        &stage,
        twin,
        &[0],
        &[("turn", "15"), ("about", "middle")],
        "turn",
    )
    .await;
    by_form(
        &stage,
        twin,
        &[0],
        &[("by", "-50 mm"), ("keep", "start")],
        "lengthen",
    )
    .await;
    by_form(&stage, twin, &[0, 2], &[("mirror", "across")], "mirror").await;
    by_form(&stage, twin, &[0, 2], &[("mirror", "up")], "mirror").await;
    by_form(
        &stage,
        twin,
        &[0, 1, 2],
        &[("to", "spread_across")],
        "align",
    )
    .await;
    by_form(&stage, twin, &[0, 1, 2], &[("to", "centre_up")], "align").await;
    let typed = [("copies", "2"), ("dx", "123.456 mm"), ("dy", "-7 mm")];
    by_form(&stage, twin, &[1], &typed, "copy").await;
    by_form(&stage, twin, &[2], &[], "remove").await;

    let bare = |design: Design| -> Vec<Bar> {
        let nowhere = |bar: Bar| Bar {
            id: BarId(0),
            frame: None,
            fixture: None,
            ..bar
        };
        design.bars.into_iter().map(nowhere).collect()
    };
    let (mine, twins) = (
        bare(stored(&stage, SET).await),
        bare(stored(&stage, twin).await),
    );
    assert_eq!(mine, twins);
    assert_eq!(mine.len(), ids.len() + 1);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_done_without_a_connection_waits_and_arrives_once() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let before = places(&design);
    let (first, second) = (design.bars[0].id.0, design.bars[1].id.0);
    edit(&stage).await;
    stage.offline(true).await;
    focus(&stage, first).await;
    stage.key("ArrowRight", 0).await;
    pause().await;
    stage.key("d", CTRL).await;
    // The copy has no id yet, and is moved all the same.
    stage.key("Tab", SHIFT).await;
    stage
        .script(
            "document.querySelector('.bar[data-key^=nb]').focus()",
            vec![],
        )
        .await;
    stage.key("ArrowUp", 0).await;
    pause().await;
    focus(&stage, second).await;
    stage.key("ArrowLeft", 0).await;
    pause().await;
    assert!(
        state(&stage).await.starts_with("4 changes wait"),
        "{}",
        state(&stage).await
    );
    // One that never left is undone without a trace.
    stage.key("z", CTRL).await;
    assert!(state(&stage).await.starts_with("3 changes wait"));
    stage.key("z", CTRL | SHIFT).await;
    assert_eq!(places(&stored(&stage, SET).await), before);
    // Kept for the page that comes next, under an address of its own.
    let kept = stage
        .script(
            "return Object.keys(localStorage).filter(it => it.startsWith('tapewright.elevation.3.')).length",
            vec![],
        )
        .await;
    assert_eq!(kept, json!(1));

    // The page is left and loaded again before anything was sent.
    stage.offline(false).await;
    edit(&stage).await;
    saved(&stage).await;
    agree(&stage).await;
    let after = places(&stored(&stage, SET).await);
    let mut wanted = before.clone();
    wanted[0].0 += GRID;
    wanted[1].0 -= GRID;
    let (x, y, angle, length) = wanted[0];
    wanted.push((x + 100_000, y + GRID, angle, length));
    assert_eq!(after, wanted);
    edit(&stage).await;
    saved(&stage).await;
    assert_eq!(places(&stored(&stage, SET).await), wanted);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lost_answer_does_not_make_a_change_count_twice() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let before = places(&design);
    edit(&stage).await;
    // The request arrives, its answer does not.
    stage
        .script(
            "const real = window.fetch;
             window.fetch = async (...asked) => {
               const answer = await real(...asked);
               if (String(asked[0]).endsWith('/arrange')) throw new TypeError('lost');
               return answer;
             };",
            vec![],
        )
        .await;
    focus(&stage, design.bars[0].id.0).await;
    stage.key("ArrowRight", 0).await;
    pause().await;
    for _ in 0..100 {
        if places(&stored(&stage, SET).await) != before {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let mut wanted = before.clone();
    wanted[0].0 += GRID;
    assert_eq!(places(&stored(&stage, SET).await), wanted);
    assert!(state(&stage).await.contains("waits for the connection"));
    // It may have arrived: so it is not forgotten, but taken back by a change of its own.
    stage.key("z", CTRL).await;
    assert!(state(&stage).await.starts_with("2 changes wait"));
    edit(&stage).await;
    saved(&stage).await;
    assert_eq!(places(&stored(&stage, SET).await), before);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_somebody_else_changed_is_shown_and_ones_own_goes_on_top_or_is_dropped() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let before = places(&design);
    let (first, second) = (design.bars[0].id, design.bars[1].id);
    edit(&stage).await;
    let other = async |by: i64| {
        let step = Step::Move {
            bars: vec![second],
            frames: vec![],
            dx_um: SignedLength::new(by).expect("a step"),
            dy_um: SignedLength::ZERO,
        };
        let version = stored(&stage, SET).await.version;
        design::change(&act(&stage), SET, version, &[Edit::Arrange(vec![step])])
            .await
            .expect("it is moved");
    };
    for (button, mine) in [("mine", GRID), ("theirs", 0)] {
        let was = places(&stored(&stage, SET).await);
        other(7_000).await;
        focus(&stage, first.0).await;
        stage.key("ArrowRight", 0).await;
        pause().await;
        let clash = stage.text("#clash:not([hidden])").await;
        assert!(
            clash.contains(&format!("Bar {} was changed", design.bars[1].label)),
            "{clash}"
        );
        assert!(clash.contains("Moved bar"), "{clash}");
        stage
            .script(
                "document.querySelector(`[data-act=${arguments[0]}]`).click()",
                vec![json!(button)],
            )
            .await;
        saved(&stage).await;
        agree(&stage).await;
        let now = places(&stored(&stage, SET).await);
        assert_eq!(now[0].0, was[0].0 + mine, "{button}");
        assert_eq!(now[1].0, was[1].0 + 7_000, "{button}");
    }
    assert_eq!(places(&stored(&stage, SET).await)[2..], before[2..]);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_frame_takes_its_bars_along_and_comes_back_with_them() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let hung: Vec<BarId> = design.bars.iter().take(2).map(|bar| bar.id).collect();
    let frame = Frame {
        id: FrameId(0),
        label: Name::parse("Gate").expect("a name"),
        x_um: SignedLength::ZERO,
        y_um: SignedLength::ZERO,
        width_um: Length::mm(2000),
        height_um: Length::mm(2000),
        thing: None,
    };
    let added = design::change(&act(&stage), SET, design.version, &[Edit::AddFrame(frame)])
        .await
        .expect("it is added");
    let step = Step::Hang {
        bars: hung.clone(),
        frame: added.added_frames.first().copied(),
    };
    design::change(
        &act(&stage),
        SET,
        added.version,
        &[Edit::Arrange(vec![step])],
    )
    .await
    .expect("they hang");
    let before = places(&design);
    edit(&stage).await;
    stage
        .script("document.querySelector('.editing .frame').focus()", vec![])
        .await;
    stage.key("ArrowRight", 0).await;
    pause().await;
    saved(&stage).await;
    agree(&stage).await;
    let now = stored(&stage, SET).await;
    assert_eq!(now.frames[0].x_um.get(), GRID);
    for (at, (was, is)) in before.iter().zip(places(&now)).enumerate() {
        assert_eq!(is.0 - was.0, if at < 2 { GRID } else { 0 });
    }
    // Taken out, it leaves its bars; undone, they hang on it again.
    stage.key("Delete", 0).await;
    saved(&stage).await;
    let without = stored(&stage, SET).await;
    assert!(without.frames.is_empty() && without.bars.len() == before.len());
    stage
        .script("document.querySelector('.editing .bar').focus()", vec![])
        .await;
    stage.key("z", CTRL).await;
    saved(&stage).await;
    let back = stored(&stage, SET).await;
    let frame = back.frames.first().expect("the frame").id;
    let on: Vec<BarId> = (back.bars.iter().filter(|bar| bar.frame == Some(frame)))
        .map(|bar| bar.id)
        .collect();
    assert_eq!(on, hung);
    stage.key("z", CTRL).await;
    saved(&stage).await;
    assert_eq!(places(&stored(&stage, SET).await), before);
    stage.inspect("editor-frame").await;
    stage.end().await;
}

/// Presses a tool of the drawing.
async fn tool(stage: &Stage, name: &str) {
    stage
        .script(
            "document.querySelector(`[data-act=\"${arguments[0]}\"]`).click()",
            vec![json!(name)],
        )
        .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tools_say_what_they_need_and_copies_read_lengths() {
    let stage = Stage::sample().await;
    let design = stored(&stage, SET).await;
    let (first, bars) = (design.bars[0].id.0, design.bars.len());
    edit(&stage).await;
    assert_eq!(
        stage
            .count("#editor [aria-disabled=true][data-act=copy]")
            .await,
        1
    );
    tool(&stage, "copy").await;
    stage
        .says("#edit-count", "Select a bar or a frame first")
        .await;
    let top = async || {
        let top = stage
            .script(
                "return document.querySelector('svg.editing').getBoundingClientRect().top + scrollY",
                vec![],
            )
            .await;
        top.as_f64().expect("a place")
    };
    for width in [1280, 360] {
        stage.look(width, false).await;
        focus(&stage, first).await;
        stage.key("Escape", 0).await;
        let before = top().await;
        stage.key(" ", 0).await;
        assert_eq!(stage.text("#edit-count").await, "1 selected");
        assert!((top().await - before).abs() < 1.0, "{width}");
    }
    stage.look(1280, false).await;
    assert_eq!(
        stage
            .count("#editor [aria-disabled=true][data-act=copy]")
            .await,
        0
    );
    stage
        .script("document.getElementById('tools-box').open = true", vec![])
        .await;
    stage.fill("#array-dx", "abc").await;
    tool(&stage, "array").await;
    assert!(
        stage
            .text("#array-dx-error")
            .await
            .contains("Type a length")
    );
    assert_eq!(stored(&stage, SET).await.bars.len(), bars);
    stage.fill("#array-dx", "1 m").await;
    stage.fill("#array-copies", "2").await;
    tool(&stage, "array").await;
    saved(&stage).await;
    agree(&stage).await;
    assert_eq!(stage.count("#editor [aria-invalid=true]").await, 0);
    let now = places(&stored(&stage, SET).await);
    assert_eq!(now[bars].0 - now[0].0, 1_000_000);
    assert_eq!(now[bars + 1].0 - now[0].0, 2_000_000);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_comes_back_has_the_focus_and_is_not_told_as_somebody_elses_work() {
    let stage = Stage::sample().await;
    let third = stored(&stage, SET).await.bars[2].clone();
    edit(&stage).await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    focus(&stage, third.id.0).await;
    stage.key("Delete", 0).await;
    saved(&stage).await;
    stage.key("z", CTRL).await;
    saved(&stage).await;
    let name = stage
        .script(
            "return document.activeElement.getAttribute('aria-label')",
            vec![],
        )
        .await;
    let name = name.as_str().unwrap_or_default();
    assert!(name.starts_with(&format!("Bar {},", third.label)), "{name}");
    for act in ["redo", "undo"] {
        tool(&stage, act).await;
        saved(&stage).await;
        tokio::time::sleep(Duration::from_secs(3)).await;
        let told = stage
            .script("return document.getElementById('changed').hidden", vec![])
            .await;
        assert_eq!(told, json!(true), "{act}");
    }
    stage.open("/changes").await;
    let said = stage.text("main").await;
    assert!(said.contains("somebody") && !said.contains("api"), "{said}");
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_phone_begins_with_the_whole_set_in_view() {
    let stage = Stage::sample().await;
    stage.look(360, false).await;
    stage.open(format!("/designs/{SET}/bars")).await;
    stage.find("svg.editing .bar").await;
    let seen = stage
        .script(
            "const box = document.querySelector('#elevation .draw-box'), all = [...box.querySelectorAll('.bar')];
             const r = box.getBoundingClientRect();
             const inside = (it) => { const e = it.querySelector('rect').getBoundingClientRect(); return e.left >= r.left && e.right <= r.right; };
             return [box.scrollWidth <= box.clientWidth, all.every(inside)]",
            vec![],
        )
        .await;
    assert_eq!(seen, json!([true, true]));
    tool(&stage, "larger").await;
    assert!(stage.sideways(360).await.is_none());
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_editor_at_work_holds_to_the_rules() {
    let stage = Stage::sample().await;
    let first = stored(&stage, SET).await.bars[0].id.0;
    edit(&stage).await;
    focus(&stage, first).await;
    stage.key(" ", 0).await;
    stage
        .script(
            "document.querySelectorAll('#editor details, #arrange-box').forEach(it => { it.open = true; })",
            vec![],
        )
        .await;
    stage.inspect("editor").await;
    stage.end().await;
}

/// A PNG of 64 × 32 pixels.
const PICTURE: &str = "iVBORw0KGgoAAAANSUhEUgAAAEAAAAAgCAAAAACH9iFYAAAAVUlEQVR42mM4AQQKGgYWIDoho6ACRC9YsWEHiH7w4sMPQvIMw8AABg4BCRDHwSMgAkQ3dEyYAaIPnLhwA0QTlB8GBoymg9F0MJoORtPBaDoYTQdI8gAV+BBMTAO4BAAAAABJRU5ErkJggg==";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_points_pressed_in_the_picture_scale_it() {
    let stage = Stage::sample().await;
    edit(&stage).await;
    stage
        .script(
            "const bytes = Uint8Array.from(atob(arguments[0]), c => c.charCodeAt(0));
             const form = document.querySelector('form[enctype]'), sent = new DataTransfer();
             sent.items.add(new File([bytes], 'stage.png', { type: 'image/png' }));
             form.elements.picture.files = sent.files;
             form.requestSubmit(); return null;",
            vec![json!(PICTURE)],
        )
        .await;
    stage.find("#flash .good").await;
    edit(&stage).await;
    let picture = stage
        .script(
            "document.getElementById('backdrop-box').open = true;
             document.querySelector('[data-act=points]').click();
             const r = document.querySelector('svg.editing image').getBoundingClientRect();
             return [r.left, r.bottom, r.right, r.top];",
            vec![],
        )
        .await;
    let at = |n: usize| picture[n].as_f64().expect("an edge");
    // From the lower left corner to the middle of the right edge.
    for point in [(at(0), at(1)), (at(2), f64::midpoint(at(1), at(3)))] {
        stage.drag(&[point, point], 0).await;
    }
    let typed = stage
        .script(
            "return ['ax', 'ay', 'bx', 'by'].map(it => Number(document.getElementById('backdrop-' + it).value))",
            vec![],
        )
        .await;
    for (n, wanted) in [0.0, 32.0, 64.0, 16.0].into_iter().enumerate() {
        let found = typed[n].as_f64().expect("a number");
        assert!((found - wanted).abs() < 0.5, "{typed}");
    }
    // 64 across and 16 up: what is 6.8 m apart makes the picture 6.6 m wide.
    stage.fill("#backdrop-apart", "6.8 m").await;
    stage.press("Scale the picture").await;
    stage.find("#flash .good").await;
    let mut tx = stage.app().db().read().await.expect("the database reads");
    let stored = db::backdrop::lookup(&mut tx, SET).await.expect("it reads");
    drop(tx);
    let width = stored.expect("a picture").lie.width_um.metres();
    assert!((width - 6.6).abs() < 0.06, "{width}");
    let answer = stage
        .script(
            "return fetch(document.querySelector('svg.editing image').getAttribute('href'))
               .then(it => [it.status, it.headers.get('content-type'), it.headers.get('cache-control')])",
            vec![],
        )
        .await;
    assert_eq!(answer[0], 200);
    assert_eq!(answer[1], "image/png");
    assert!(
        answer[2]
            .as_str()
            .is_some_and(|it| it.contains("immutable"))
    );
    stage.inspect("editor-picture").await;
    stage.end().await;
}
