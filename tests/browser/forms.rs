//! Forms with scripting on say and count what they do without it.

use serde_json::json;

use crate::help::Stage;

/// The value of a field.
async fn value(stage: &Stage, css: &str) -> String {
    let value = stage
        .script(
            "return document.querySelector(arguments[0]).value",
            vec![json!(css)],
        )
        .await;
    value.as_str().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_emptied_field_of_the_bench_is_empty_in_the_question() {
    let stage = Stage::new().await;
    for (page, field, answer, gone) in [
        ("cuts", "#pieces", "#cuts-answer", "R-7"),
        ("cuts", "#rolls", "#cuts-answer", "To buy"),
        ("feeds", "#supplies", "#feeds-answer", "Supply 24 V 20 A"),
        ("packs", "#suppliers", "#packs-answer", "Weir Street"),
        ("addresses", "#taken", "#addresses-answer", "109"),
        ("wires", "#lead", "#wires-answer", "Lead"),
    ] {
        stage.open(format!("/bench/{page}")).await;
        // As a person does: emptied, and the button pressed.
        stage
            .script(
                "const field = document.querySelector(arguments[0]);
                 field.value = '';
                 field.form.requestSubmit(field.form.querySelector('button')); return null;",
                vec![json!(field)],
            )
            .await;
        for _ in 0..100 {
            let search = stage.script("return location.search", vec![]).await;
            if search != json!("") {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        stage.settle().await;
        let search = stage.script("return location.search", vec![]).await;
        let search = search.as_str().unwrap_or_default().to_owned();
        let name = field.trim_start_matches('#');
        assert!(
            search.contains(&format!("{name}=&")) || search.ends_with(&format!("{name}=")),
            "{page} {name}: {search}"
        );
        assert_eq!(value(&stage, field).await, "", "{page}");
        let said = stage.text(answer).await;
        assert!(!said.contains(gone), "{page} without {name}: {said}");
        // The same address says the same again.
        stage.open(format!("/bench/{page}{search}")).await;
        assert_eq!(value(&stage, field).await, "", "{page} anew");
        assert_eq!(stage.text(answer).await, said, "{page} anew");
    }
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn bars_added_one_after_another_hang_beside_one_another() {
    let stage = Stage::sample().await;
    stage.open("/designs/3/bars").await;
    let bars = stage.count("#bar-list tbody tr").await;
    let mut at = Vec::new();
    for round in 1..=4 {
        stage.settle().await;
        at.push(value(&stage, "#x").await);
        stage.fill("#length", "1 m").await;
        // Typed and sent at once, before what is typed is put aside, and with a while between.
        if round % 2 == 0 {
            tokio::time::sleep(std::time::Duration::from_millis(600)).await;
        }
        stage.press("Add these bars").await;
        for _ in 0..100 {
            if stage.count("#bar-list tbody tr").await == bars + round {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        assert_eq!(stage.count("#bar-list tbody tr").await, bars + round);
    }
    let mut apart = at.clone();
    apart.sort();
    apart.dedup();
    assert_eq!(apart.len(), at.len(), "{at:?}");
    // What the drawing adds moves the form on too.
    let before = value(&stage, "#x").await;
    stage.find("svg.editing .bar").await;
    stage.press("Add a bar").await;
    for _ in 0..100 {
        if value(&stage, "#x").await != before {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert_ne!(value(&stage, "#x").await, before);
    // What was typed and not sent is kept, beside a place that has moved on.
    stage.fill("#length", "1234 mm").await;
    tokio::time::sleep(std::time::Duration::from_millis(600)).await;
    let moved = value(&stage, "#x").await;
    stage.open("/designs/3/bars").await;
    assert_eq!(value(&stage, "#length").await, "1234 mm");
    assert_eq!(value(&stage, "#x").await, moved);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tick_counts_by_whichever_button_the_set_is_made() {
    let stage = Stage::sample().await;
    for button in ["Make the set", "Make the set with these"] {
        stage.open("/designs/new").await;
        let count = stage
            .script(
                "const box = document.querySelector('input[name=all]'); box.click();
                 return box.value.split('-').length",
                vec![],
            )
            .await;
        stage.press(button).await;
        for _ in 0..100 {
            if stage.path().await != "/designs/new" {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        let set = stage.path().await;
        stage.open(format!("{set}/bars")).await;
        let bars = stage.count("#bar-list tbody tr").await;
        assert_eq!(json!(bars), count, "{button}");
    }
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_wrong_on_a_show_day_is_gone_to_and_marked() {
    let stage = Stage::sample().await;
    stage.look(360, false).await;
    stage.open("/designs/2/show-day").await;
    stage
        .script(
            "const form = document.querySelector('#try form');
             form.querySelector('details').open = true;
             form.elements.far_mv.value = 'abc';
             form.requestSubmit(form.querySelector('.danger')); return null;",
            vec![],
        )
        .await;
    stage.find("#try [name=far_mv][aria-invalid=true]").await;
    stage.settle().await;
    let seen = stage
        .script(
            "const field = document.activeElement, error = document.getElementById(field.id + '-error');
             const at = (it) => it.getBoundingClientRect();
             return [field.name, at(field).top >= 0, at(error).bottom <= innerHeight, field.value]",
            vec![],
        )
        .await;
    assert_eq!(seen, json!(["far_mv", true, true, "abc"]));
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_wider_than_the_screen_says_so() {
    let stage = Stage::sample().await;
    let said = async |width: u32, path: &str, css: &str| {
        stage.look(width, false).await;
        stage.open(path).await;
        let high = stage
            .script(
                "const box = document.querySelector(arguments[0]);
                 return [box.scrollWidth > box.clientWidth, parseFloat(getComputedStyle(box, '::before').height) > 10]",
                vec![json!(css)],
            )
            .await;
        assert_eq!(high[0], high[1], "{path} at {width}");
        high[0] == json!(true)
    };
    for (path, css) in [
        ("/designs/3/wiring", ".draw-box"),
        ("/designs/3/lit", ".draw-box"),
        ("/calendar", ".draw-box"),
        ("/designs/3/bars", "#bar-list"),
    ] {
        assert!(said(360, path, css).await, "{path}");
    }
    // Tables of what is short and of what is cut fold instead.
    assert!(!said(360, "/designs/3/shortfall", ".table-box").await);
    assert!(!said(360, "/designs/3/cuts", ".table-box").await);
    assert!(!said(1280, "/designs/3/cuts", ".table-box").await);
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_message_that_came_along_can_be_closed() {
    let stage = Stage::sample().await;
    stage.look(360, false).await;
    stage.open("/designs/2/show-day").await;
    stage
        .script(
            "document.querySelector('#try form').requestSubmit(document.querySelector('#try .main')); return null;",
            vec![],
        )
        .await;
    stage.find("#flash.near").await;
    stage.press("Close").await;
    assert_eq!(stage.count("#flash.near").await, 0);
    stage.end().await;
}

/// Names and fields of lists that are too narrow to be read or typed in, all details opened.
async fn squeezed(stage: &Stage) -> String {
    let found = stage
        .script(
            "document.querySelectorAll('.row-act details').forEach((it) => { it.open = true; });
             const least = (it) => it.matches('input, select') ? 100 : 120;
             return [...document.querySelectorAll(
                 '.row > .row-name, .row input:not([type=hidden], [type=checkbox]), .row select')]
               .map((it) => [it, it.getBoundingClientRect()])
               .filter(([it, box]) => box.width > 0 && box.width < least(it)
                 && !(it.matches('.row-name') && box.height < 60))
               .map(([it, box]) => `${it.id || it.textContent.trim().slice(0, 20)}: ${box.width}`)
               .join('; ');",
            vec![],
        )
        .await;
    found.as_str().unwrap_or_default().to_owned()
}

/// Writes an order down and sends it; it is the first.
async fn sent_order(stage: &Stage) {
    stage.open("/shopping").await;
    stage.press("Write down this order").await;
    stage.arrive("/shopping/1").await;
    stage.press("I have sent it").await;
    stage.says("#sums", "ordered").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn names_and_fields_of_lists_are_wide_enough_at_every_width() {
    let stage = Stage::sample().await;
    sent_order(&stage).await;
    for page in [
        "/take-in",
        "/take-in?start=yes",
        "/shopping/1",
        "/designs/2/show-day",
        "/designs",
        "/shopping",
        "/repairs",
    ] {
        for width in [320, 360, 768, 1024, 1280, 1600] {
            stage.look(width, false).await;
            stage.open(page).await;
            assert_eq!(squeezed(&stage).await, "", "{page} at {width}");
            assert_eq!(stage.sideways(width).await, None, "{page} at {width}");
        }
    }
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_refused_arrival_says_why_beside_what_was_typed() {
    let stage = Stage::sample().await;
    sent_order(&stage).await;
    stage
        .find("#lines details summary")
        .await
        .click()
        .await
        .unwrap();
    stage
        .fill("#lines details[open] input[name=good]", "9")
        .await;
    stage
        .fill("#lines details[open] input[name=note]", "bent")
        .await;
    let arrived = stage.find("#lines details[open] ~ button").await;
    arrived.click().await.unwrap();
    stage.says("#lines", "still to come").await;
    assert_eq!(
        value(&stage, "#lines details[open] input[name=good]").await,
        "9"
    );
    assert_eq!(
        value(&stage, "#lines details[open] input[name=note]").await,
        "bent"
    );
    assert_eq!(value(&stage, "#noted textarea[name=note]").await, "");
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_new_book_stands_where_its_device_is_unless_somebody_says_otherwise() {
    let stage = Stage::new().await;
    stage.zone("Pacific/Chatham").await;
    stage.open("/start/units").await;
    assert_eq!(value(&stage, "#zone").await, "Pacific/Chatham");
    // What was typed stays, also where the page comes again before it is sent.
    stage.fill("#zone", "Europe/London").await;
    stage.fill("#name", "Weir Lane Hall").await;
    tokio::time::sleep(std::time::Duration::from_millis(700)).await;
    stage.open("/start/units").await;
    assert_eq!(value(&stage, "#zone").await, "Europe/London");
    stage.press("On to your tape").await;
    stage.arrive("/start/tape").await;
    stage.open("/start/units").await;
    assert_eq!(value(&stage, "#zone").await, "Europe/London");
    stage.end().await;

    // Without scripting it is asked for plainly.
    let stage = Stage::new().await;
    stage.scripting(false).await;
    stage.open("/start/units").await;
    assert!(stage.text("main").await.contains("Time zone"));
    assert_eq!(stage.count("#zone[value=UTC]").await, 1);
    stage.end().await;
}
