//! Every page, inspected: no sideways scrolling at 320, 360 and 1280 px, nothing that axe-core
//! finds, no console error, no request to anyone else; light and dark.

use crate::help::Stage;

/// Pages with nothing in the stock book yet. A new page is added here.
const EMPTY: &[(&str, &str)] = &[("who", "/who")];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_an_empty_book_hold_to_the_rules() {
    let stage = Stage::new().await;
    for (name, path) in EMPTY {
        stage.open(path).await;
        stage.inspect(&format!("empty-{name}")).await;
    }
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_breaks_the_rules_is_found() {
    let stage = Stage::new().await;
    stage.open("/who").await;
    stage
        .script(
            "const p = document.createElement('p');
             p.style.width = '900px'; p.style.color = '#999'; p.style.background = '#aaa';
             p.textContent = 'Too wide, too pale'; document.querySelector('main').append(p);
             console.error('said aloud');
             new Image().src = 'http://127.0.0.1:9/elsewhere.png';
             return null;",
            vec![],
        )
        .await;
    stage.look(360, false).await;
    let wide = stage.sideways(360).await.unwrap_or_default();
    assert!(wide.contains("px wide: p."), "{wide}");
    let found = stage.axe_violations().await.join("\n");
    assert!(found.contains("color-contrast"), "{found}");
    let said = stage.console().await.join("\n");
    assert!(said.contains("said aloud"), "{said}");
    // The policy stops the request itself; that it was tried is told all the same.
    assert!(said.contains("Content Security Policy"), "{said}");
    let asked = stage.strangers().await.join("\n");
    assert!(asked.contains("elsewhere.png"), "{asked}");
    stage.end().await;
}
