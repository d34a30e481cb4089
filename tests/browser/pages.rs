//! Every page, inspected: no sideways scrolling at 320, 360 and 1280 px, nothing that axe-core
//! finds, no console error, no request to anyone else; light and dark.

use crate::help::Stage;

/// Pages with nothing in the stock book yet. A new page is added here and to one of the lists below.
const EMPTY: &[(&str, &str)] = &[
    ("home", "/"),
    ("cupboard", "/cupboard"),
    ("places", "/places"),
    ("fixtures", "/fixtures"),
    ("fixture-new", "/fixtures/new"),
    ("log", "/log"),
    ("calendar", "/calendar"),
    ("designs", "/designs"),
    ("design-new", "/designs/new"),
    ("suppliers", "/suppliers"),
    ("ready-made", "/parts/ready-made"),
    ("csv", "/csv"),
    ("start-units", "/start/units"),
    ("start-tape", "/start/tape"),
    ("start-have", "/take-in?start=yes"),
    ("take-in", "/take-in"),
    ("who", "/who"),
    ("labels", "/labels"),
];

/// The stock book of Millpond Hall. Its tags and ids are the same each time.
const STOCK: &[(&str, &str)] = &[
    ("home", "/"),
    ("cupboard", "/cupboard"),
    ("cupboard-tape", "/cupboard?kind=tape"),
    ("search", "/search?q=rgb"),
    ("search-nothing", "/search?q=zebra"),
    ("part-new", "/parts/new?kind=driver"),
    ("part-edit", "/parts/1/edit"),
    ("ready-made", "/parts/ready-made"),
    ("take-in", "/take-in"),
    ("roll", "/tag/R-1"),
    ("offcut", "/tag/O-1"),
    ("driver", "/tag/D-1"),
    ("supply", "/tag/S-1"),
    ("fixture", "/tag/F-1"),
    ("fixture-dead", "/tag/F-8"),
    ("frame", "/tag/K-1"),
    ("places", "/places"),
    ("place", "/places/3"),
    ("place-edit", "/places/3/edit"),
    ("place-count", "/places/3/count"),
    ("part-count", "/parts/15/count"),
    ("part-receive", "/parts/1/receive"),
    ("roll-cut", "/things/3/cut?lengths=3+x+930+mm,+450+mm"),
    ("roll-edit", "/things/3/edit"),
    ("fixtures", "/fixtures"),
    ("fixture-new", "/fixtures/new"),
    ("frame-new", "/frames/new"),
    ("log", "/log"),
    ("labels", "/labels"),
    ("labels-places", "/labels?kind=places"),
    ("labels-papers", "/labels/papers?thing=37&thing=3&place=3"),
];

/// Millpond Hall's sets, its shopping, its year and its settings.
const SETS: &[(&str, &str)] = &[
    ("designs", "/designs"),
    ("design-new", "/designs/new"),
    ("design", "/designs/3"),
    ("design-edit", "/designs/3/edit"),
    ("design-copy", "/designs/1/copy"),
    ("design-bars", "/designs/3/bars"),
    ("design-bar", "/designs/3/bars/15"),
    (
        "design-bars-done",
        "/designs/3/bars?bars=15-16&done=0123456789abcdef",
    ),
    ("design-lit", "/designs/3/lit?g0=red"),
    ("design-reuse", "/designs/3/reuse"),
    ("design-suits-tape", "/designs/3/suits?of=tape"),
    ("design-suits-driver", "/designs/3/suits?of=driver"),
    ("design-suits-supply", "/designs/3/suits?of=supply"),
    ("design-cuts", "/designs/3/cuts"),
    ("design-why-cut", "/designs/3/cuts/why/23"),
    ("design-why-bar", "/designs/2/reuse/why/7"),
    ("design-why-packs", "/designs/3/shopping/why/11"),
    ("design-wiring", "/designs/3/wiring"),
    ("design-power", "/designs/3/power"),
    ("design-addresses", "/designs/3/addresses"),
    ("design-checks", "/designs/3/checks"),
    ("design-shortfall", "/designs/3/shortfall"),
    ("design-shopping", "/designs/3/shopping"),
    ("design-reserve", "/designs/3/reserve"),
    ("design-build", "/designs/1/build"),
    ("design-strike", "/designs/2/strike"),
    ("show-day", "/designs/2/show-day"),
    ("build-skill", "/designs/1/build?skill=cut"),
    ("thing-into", "/things/37/into"),
    ("thing-apart", "/things/37/apart"),
    ("repairs", "/repairs"),
    ("design-sheets", "/designs/3/sheets"),
    ("design-sheets-all", "/designs/3/sheets/all"),
    ("design-print", "/designs/3/print/AAAAAA"),
    ("swap", "/things/37/swap"),
    ("fixture-edit", "/things/37/edit"),
    ("shopping", "/shopping"),
    ("shopping-without", "/shopping?aim=parcels&without=1"),
    ("prices", "/prices?of=all"),
    ("calendar", "/calendar"),
    ("suppliers", "/suppliers"),
    ("supplier", "/suppliers/1"),
    ("supplier-new", "/suppliers/new"),
    ("bench", "/bench"),
    ("bench-cuts", "/bench/cuts?bars=3+x+1.2+m&trade=on"),
    ("bench-packs", "/bench/packs?wants=leads,+12%0Aclips,+40"),
    ("bench-feeds", "/bench/feeds?loads=Bar:+9+x+0.6+0.6+A,+24+V"),
    ("bench-drop", "/bench/drop"),
    ("bench-drop-answered", "/bench/drop?length=5+m"),
    ("bench-addresses", "/bench/addresses?taken=1-96"),
    ("bench-wires", "/bench/wires?colours=RGB"),
    ("settings", "/settings"),
    ("people", "/settings/people"),
    ("csv", "/csv"),
];

/// Inspects them all before it tells what is wrong.
async fn inspect(stage: &Stage, of: &str, pages: &[(&str, &str)]) {
    let mut faults = Vec::new();
    for (name, path) in pages {
        stage.open(path).await;
        if stage.count("body[data-keep-drafts]").await > 0 {
            faults.push(format!("{path}: {}", stage.text("main").await));
        }
        faults.extend(stage.faults(&format!("{of}-{name}")).await);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_an_empty_book_hold_to_the_rules() {
    let stage = Stage::new().await;
    inspect(&stage, "empty", EMPTY).await;
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_the_stock_hold_to_the_rules() {
    let stage = Stage::sample().await;
    inspect(&stage, "stock", STOCK).await;
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_the_sets_hold_to_the_rules() {
    let stage = Stage::sample().await;
    inspect(&stage, "sets", SETS).await;
    stage.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tables_of_what_is_short_need_no_sliding_on_a_phone() {
    let stage = Stage::sample().await;
    for path in ["/designs/3/shortfall", "/designs/3/shopping", "/shopping"] {
        stage.open(path).await;
        stage.look(360, false).await;
        assert!(stage.count("table.fold").await > 0, "{path}");
        let wide = stage
            .script(
                "return [...document.querySelectorAll('.table-box:has(> .fold)')]
                   .map(box => box.scrollWidth - box.clientWidth)",
                vec![],
            )
            .await;
        let wide: Vec<i64> = serde_json::from_value(wide).expect("widths");
        assert!(wide.iter().all(|over| *over <= 0), "{path}: {wide:?}");
    }
    stage.end().await;
}

/// What a file would do, and what is wrong with one: pages that only a form leads to.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_a_file_that_is_read_hold_to_the_rules() {
    const DRY_RUN: &str = "part,tag,number,length (mm),place,condition,note\n\
        Profile clip,,77,,Store room / Shelf B / Small parts box,,\n\
        Profile clip,,12,,Loft / Rack 1,,\n\
        ,D-1,,,Loft / Rack 1,suspect,fell off the shelf\n\
        \"RGB tape 24 V, 10 mm\",R-900,,5000,Loft,,\n\
        ,F-1,,,,,\n";
    const REFUSED: &str = "part,number,length (mm),place\n\
        No such part,-4,,Loft\nProfile clip,3,1 furlong,Nowhere / Shelf\n";
    let stage = Stage::sample().await;
    let mut faults = Vec::new();
    for (name, text, found) in [
        ("csv-dry-run", DRY_RUN, "dl.keys"),
        ("csv-refused", REFUSED, ".note.stop li.row"),
    ] {
        stage.open("/csv").await;
        stage
            .script(
                "const form = document.querySelector('#stock-text').form;
                 form.elements.text.value = arguments[0];
                 form.elements.places.checked = true;
                 form.requestSubmit(); return null;",
                vec![text.into()],
            )
            .await;
        stage.find(found).await;
        stage.settle().await;
        faults.extend(stage.faults(name).await);
    }
    // The browser itself notes that the second file was refused, as it should be.
    faults.retain(|fault| !fault.contains("status of 422"));
    assert!(faults.is_empty(), "{}", faults.join("\n"));
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
             const thin = document.createElement('p');
             thin.style.width = '1px'; thin.textContent = 'Squeezed'; document.querySelector('main').append(thin);
             console.error('said aloud');
             new Image().src = 'http://127.0.0.1:9/elsewhere.png';
             return null;",
            vec![],
        )
        .await;
    stage.look(360, false).await;
    let wide = stage.sideways(360).await.unwrap_or_default();
    assert!(wide.contains("px wide: p."), "{wide}");
    let thin = stage.squeezed().await.unwrap_or_default();
    assert!(
        thin.contains("Squeezed") && !thin.contains("Too wide"),
        "{thin}"
    );
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
