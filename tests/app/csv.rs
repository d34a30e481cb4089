//! Parts and stock out to CSV and in from it, through the pages.

use std::fmt::Write as _;

use proptest::prelude::*;
use tapewright::{
    db::{self, part::NewPart},
    model::{
        fixture::Condition,
        id::{DesignId, PlaceId},
        part::{Kind, Part},
        piece::End,
        ready_made,
        text::{Name, Note, Tag},
    },
    sample,
    stock::{
        Act, What, audit, catalogue,
        csv::{File, Subject, dry_run, parts_out, stock_out},
        lend::Lend,
        make::{About, Assemble},
        move_::TakeOut,
        receive::{Goods, Pieces, Receive},
    },
    units::{Length, LengthUnit},
};

use crate::help::{Browser, Page, TestApp};

/// Sends a file as a browser does.
async fn upload(app: &Browser, what: &str, bytes: &[u8], places: bool) -> Page {
    let mut body = Vec::new();
    let mut part = |head: &str, content: &[u8]| {
        body.extend_from_slice(b"--edge\r\nContent-Disposition: form-data; ");
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(b"\r\n\r\n");
        body.extend_from_slice(content);
        body.extend_from_slice(b"\r\n");
    };
    part("name=\"what\"", what.as_bytes());
    part("name=\"text\"", b"");
    if places {
        part("name=\"places\"", b"on");
    }
    part(
        "name=\"file\"; filename=\"a.csv\"\r\nContent-Type: text/csv",
        bytes,
    );
    body.extend_from_slice(b"--edge--\r\n");
    let origin = app.base().to_owned();
    let headers = [
        ("content-type", "multipart/form-data; boundary=edge"),
        ("origin", origin.as_str()),
    ];
    app.request("POST", "/csv", &headers, body).await
}

/// Pastes rows into the field.
async fn paste(app: &Browser, what: &str, text: &str) -> Page {
    app.post("/csv", &[("what", what), ("text", text)]).await
}

async fn paste_with_places(app: &Browser, text: &str) -> Page {
    let fields = [("what", "stock"), ("text", text), ("places", "on")];
    app.post("/csv", &fields).await
}

/// Presses “Do it” on a dry run.
async fn do_it(app: &Browser, page: &Page) -> Page {
    assert_eq!(page.status, 200, "{}", page.text("main"));
    let done = page.form("form[action='/csv/do']").send(app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    app.follow(&done).await
}

/// What a refused file is told, row by row: where and what.
fn wrong(page: &Page) -> Vec<String> {
    assert_eq!(page.status, 422, "{}", page.text("main"));
    rows(page, ".note.stop li.row")
}

/// What a dry run says, row by row.
fn changes(page: &Page) -> Vec<String> {
    rows(page, "li.row")
        .into_iter()
        .filter(|row| row.contains('→'))
        .collect()
}

/// Each row's name and what stands under it.
fn rows(page: &Page, css: &str) -> Vec<String> {
    let names = page.texts(&format!("{css} .row-name"));
    let subs = page.texts(&format!("{css} .row-sub"));
    assert_eq!(names.len(), subs.len());
    let both = names.into_iter().zip(subs);
    both.map(|(name, sub)| format!("{name} {sub}")).collect()
}

fn keys(page: &Page) -> String {
    page.texts("dl.keys div").join(", ")
}

async fn part(app: &TestApp, name: &str) -> Option<Part> {
    let mut tx = app.db().read().await.unwrap();
    db::part::find_by_name(&mut tx, name).await.unwrap()
}

async fn revision(app: &TestApp) -> i64 {
    let mut tx = app.db().read().await.unwrap();
    db::venue::revision(&mut tx).await.unwrap()
}

async fn sound(app: &TestApp) {
    let found = audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

fn act(app: &TestApp) -> Act {
    Act {
        db: app.db().clone(),
        who: Name::parse("Ada").unwrap(),
        now_ms: 0,
        today: jiff::civil::date(2026, 3, 5),
        press: None,
    }
}

const PARTS: &str = "\
kind,name,voltage (V),width (mm),colours,cut pitch (mm),roll lengths (mm),note
tape,Arch tape,24,10,\"red 4.8 W/m, green 4.8 W/m, blue\",50,\"5000, 10000\",bright
tape,Rim tape,12,8,white,3 per 50 mm,5 m,
";

/// Rooms, a tape, a profile, a cable, leads, solder, a driver.
async fn cupboard() -> TestApp {
    let app = TestApp::new().await;
    for (name, kind, parent) in [
        ("Store room", "room", ""),
        ("Shelf A", "shelf", "1"),
        ("Shelf B", "shelf", "1"),
    ] {
        let fields = [("name", name), ("kind", kind), ("parent", parent)];
        assert_eq!(app.post("/places", &fields).await.status, 303);
    }
    let text = "\
kind,name,voltage (V),width (mm),colours,cut pitch (mm),roll lengths (mm),connector at the roll's start,pre-tinned joints,inner width (mm),cover,may be cut,conductors,connector,outputs,channels per output,lowest voltage (V),highest voltage (V),inlets,DMX slots,counted
tape,Arch tape,24,10,RGB,50,5000,\"four-pin inline, female\",\"every 10, first at 5\",,,,,,,,,,,,
profile,Deep profile,,,,,,,,12,opal,yes,,,,,,,,,
cable,Grey cable,,,,,,,,,,,4,,,,,,,,
lead,Tail,,,,,,,,,,,,\"four-pin inline, male\",,,,,,,
driver,Box driver,,,,,,,,,,,,,4,3,12,24,1-4,12,
sundry,Solder,,,,,,,,,,,,,,,,,,,by length
sundry,Clips,,,,,,,,,,,,,,,,,,,each
";
    let text = text.replace("by length", "length");
    let page = paste(&app, "parts", &text).await;
    do_it(&app, &page).await;
    app
}

#[tokio::test]
async fn parts_are_added_after_a_dry_run_that_adds_nothing() {
    let app = TestApp::new().await;
    let before = revision(&app).await;
    let page = upload(&app, "parts", PARTS.as_bytes(), false).await;
    assert_eq!(keys(&page), "new2");
    assert_eq!(page.texts(".row-name"), ["Arch tape", "Rim tape"]);
    assert_eq!(revision(&app).await, before);

    let there = do_it(&app, &page).await;
    assert!(
        there.text("#flash").contains("2 new"),
        "{}",
        there.text("#flash")
    );
    let tape = part(&app, "arch tape").await.unwrap();
    assert_eq!(tape.spec.kind(), Kind::Tape);
    assert_eq!(tape.note.as_str(), "bright");
    assert!(!tape.typical);
    // The same press once more adds nothing, and is told the same.
    let again = page.form("form[action='/csv/do']").send(&app).await;
    assert_eq!(again.status, 303);

    let page = paste(&app, "parts", PARTS).await;
    assert!(page.text(".note.good").contains("Nothing would change"));
    assert_eq!(page.count("form[action='/csv/do']"), 0);
}

#[tokio::test]
async fn a_change_is_shown_from_before_to_after_and_other_columns_stay() {
    let app = TestApp::new().await;
    do_it(&app, &paste(&app, "parts", PARTS).await).await;
    let text = "name;width (mm);note;retired\nARCH TAPE;12;;yes\nRim tape;8;;no\n";
    let page = paste(&app, "parts", text).await;
    assert_eq!(keys(&page), "changed1, unchanged1");
    assert_eq!(
        changes(&page),
        [
            "Arch tape retired: no → yes · line 2",
            "Arch tape note: bright → nothing · line 2",
            "Arch tape width: 10 mm → 12 mm · line 2"
        ]
    );
    do_it(&app, &page).await;
    let tape = part(&app, "Arch tape").await.unwrap();
    assert!(tape.retired);
    assert_eq!(tape.note.as_str(), "");
    let mut tx = app.db().read().await.unwrap();
    let file = parts_out(&mut tx, Some(Kind::Tape), LengthUnit::Mm, false, false)
        .await
        .unwrap();
    assert!(
        file.contains("tape,Arch tape,,24,12,\"red 4.8 W/m, green 4.8 W/m, blue\","),
        "{file}"
    );
}

#[tokio::test]
async fn everything_that_is_wrong_with_parts_is_named_by_line_and_column() {
    let app = cupboard().await;
    let before = revision(&app).await;
    let text = "\
kind,name,voltage (V),width (mm),colours,cut pitch (mm),roll lengths (mm),conductors,only with profile,counted
tape,New tape,dear,10,red,50,5000,,,
tape,New tape,24,10,red,50,5000,,,
lead,Arch tape,24,10,RGB,50,5000,,,
cable,Thin cable,24,,,,,4,,
tape,,24,10,red,50,5000,,,
tape,Third,24,10,red,0,5000,,,
sundry,Caps,,,,,,,No such,each
rope,Rope,,,,,,,,
";
    let page = paste(&app, "parts", text).await;
    let told = wrong(&page);
    let starts = [
        "line 2, column “voltage (V)”",
        "line 3, column “name” Line 2 names this part already",
        "line 4, column “kind” Arch tape is a tape in the catalogue",
        "line 5, column “voltage (V)” A cable has no such attribute",
        "line 6, column “name”",
        "line 7, column “cut pitch (mm)”",
        "line 8, column “only with profile” There is no profile “No such”",
        "line 9, column “kind” “rope” is not one of",
    ];
    for (at, start) in starts.iter().enumerate() {
        assert!(told[at].starts_with(start), "{start}: {told:#?}");
    }
    assert_eq!(told.len(), starts.len(), "{told:#?}");
    // Nothing of it was kept, and what was typed is there to be mended.
    assert_eq!(revision(&app).await, before);
    assert_eq!(page.form("form:has(#parts-text)").value("text"), Some(text));

    for (text, said) in [
        (
            "name,colour\nx,red\n",
            "No kind of part has a column of this title",
        ),
        (
            "name,voltage (mm)\nx,1\n",
            "This column is not read in “mm”",
        ),
        ("kind,voltage (V)\ntape,1\n", "“name” is missing"),
        ("name\nNew\n", "Say which kind of part this is"),
        ("name,cut pitch (mm)\nArch tape,62.5\n", ""),
    ] {
        let page = paste(&app, "parts", text).await;
        if said.is_empty() {
            // Nothing of the tape has moved yet, so its pitch may still change.
            assert_eq!(page.status, 200);
        } else {
            assert!(wrong(&page)[0].contains(said), "{text}: {:?}", wrong(&page));
        }
    }
}

#[tokio::test]
async fn the_unit_of_what_is_in_stock_stays() {
    let app = cupboard().await;
    let stock = "what,part,length (mm),place\npiece,Arch tape,5000,Store room / Shelf A\n";
    do_it(&app, &paste(&app, "stock", stock).await).await;
    let page = paste(&app, "parts", "name,cut pitch (mm)\nArch tape,62.5\n").await;
    assert!(wrong(&page)[0].contains("There is stock of this part in its present unit"));
}

#[tokio::test]
async fn clips_may_go_with_a_profile_of_the_same_file() {
    let app = TestApp::new().await;
    let text = "\
kind,name,counted,only with profile,inner width (mm),cover,may be cut
sundry,Caps,each,Flat profile,,,
profile,Flat profile,,,12,opal,yes
";
    let page = paste(&app, "parts", text).await;
    do_it(&app, &page).await;
    let page = paste(&app, "parts", text).await;
    assert!(
        page.text(".note.good").contains("Nothing would change"),
        "{}",
        page.text("main")
    );
    let profile = part(&app, "Flat profile").await.unwrap();
    let caps = part(&app, "Caps").await.unwrap();
    let spec = serde_json::to_value(&caps.spec).unwrap();
    assert_eq!(spec["goes_with"], profile.id.0);
}

#[tokio::test]
async fn files_as_spreadsheets_write_them_are_read() {
    let app = TestApp::new().await;
    let comma = "kind,name,width (mm),voltage (V),colours,cut pitch (mm)\n\
                 tape,\"Tape, wide\",\"12,5\",24,\"red, green\",50\n";
    let semicolon = "\u{feff}kind;name;width (mm);voltage (V);colours;cut pitch (mm)\r\n\
                     tape;Tape, wide;12,5;24;red, green;50\r\n;;;;;\r\n";
    let tab = "kind\tname\twidth (mm)\tvoltage (V)\tcolours\tcut pitch (mm)\n\
               tape\tTape, wide\t12,5\t24\tred, green\t50\n";
    for text in [comma, semicolon, tab] {
        let page = upload(&app, "parts", text.as_bytes(), false).await;
        assert_eq!(keys(&page), "new1", "{text}: {}", page.text("main"));
    }
    do_it(
        &app,
        &upload(&app, "parts", semicolon.as_bytes(), false).await,
    )
    .await;
    for text in [comma, semicolon, tab] {
        let page = paste(&app, "parts", text).await;
        assert!(page.text(".note.good").contains("Nothing would"), "{text}");
    }
}

#[tokio::test]
async fn broken_files_are_told_line_by_line() {
    let app = TestApp::new().await;
    // “Gerät” in Latin-1.
    let page = upload(&app, "parts", b"kind,name\r\nsundry,Ger\xe4t\r\n", false).await;
    assert_eq!(
        wrong(&page),
        ["line 2 Byte 11 of this line (0xE4) is not UTF-8. Save the file as CSV in UTF-8."]
    );
    let page = paste(&app, "parts", "kind,name\nsundry\nsundry,\"open\n").await;
    assert!(
        wrong(&page)[0].contains("A quote opens here"),
        "{:?}",
        wrong(&page)
    );
    let page = paste(&app, "parts", "kind,name\nsundry\nsundry,a,b\n").await;
    let told = wrong(&page);
    assert!(
        told[0].starts_with("line 2 Cells in this row: 1; titles: 2"),
        "{told:?}"
    );
    assert!(
        told[1].starts_with("line 3 Cells in this row: 3; titles: 2"),
        "{told:?}"
    );

    let page = paste(&app, "parts", "").await;
    assert_eq!(page.status, 422);
    assert!(page.text("#parts-file-error").contains("Choose a file"));
    assert_eq!(app.post("/csv", &[("what", "cats")]).await.status, 404);
    let page = app
        .post("/csv/do", &[("what", "parts"), ("data", "?")])
        .await;
    assert_eq!(page.status, 422);
}

#[tokio::test]
async fn limits_are_named() {
    let app = TestApp::new().await;
    let mut text = "kind,name\n".to_owned();
    for number in 0..10_001 {
        writeln!(text, "sundry,Clip {number}").unwrap();
    }
    let page = upload(&app, "parts", text.as_bytes(), false).await;
    let told = wrong(&page);
    assert!(told[0].contains("At most 10000 rows"), "{told:?}");

    let large = vec![b'a'; 2 * 1024 * 1024 + 1];
    let page = upload(&app, "parts", &large, false).await;
    assert!(
        wrong(&page)[0].contains("larger than 2 MiB"),
        "{:?}",
        wrong(&page)
    );
    let larger = vec![b'a'; 12 * 1024 * 1024];
    let page = upload(&app, "parts", &larger, false).await;
    assert!(
        wrong(&page)[0].contains("larger than 2 MiB"),
        "{:?}",
        wrong(&page)
    );
    // More faults than are told.
    let text = format!("kind,name\n{}", "rope,x\n".repeat(80));
    let page = paste(&app, "parts", &text).await;
    assert_eq!(wrong(&page).len(), 50);
    assert!(
        page.text(".note.stop").contains("And 30 more"),
        "{}",
        page.text(".note.stop")
    );
}

const STOCK: &str = "\
what,part,tag,number,length (mm),place,condition,start,end,batch,address,serial,note
counted,Tail,,12,,Store room / Shelf A,,,,,,,
counted,Solder,,,25 m,Store room / Shelf A,,,,,,,
piece,Arch tape,R-7,,5000,Store room / Shelf A,,,,B7,,,=not a formula
piece,Arch tape,,2,1230,Store room/Shelf B,suspect,,\"four-pin inline, male\",,,,
piece,Deep profile,,,2000,Store room / Shelf B,,,,,,,
unit,Box driver,D-3,,,Store room / Shelf B,,,,,17,A-100,
fixture,Arch tape,F-9,,930,Store room / Shelf B,dead,,,B6,,,
";

#[tokio::test]
pub async fn stock_is_put_in_and_one_movement_takes_it_back() {
    let app = cupboard().await;
    let text = STOCK.replace("Store room/Shelf B", "Store room / Shelf B");
    let page = paste(&app, "stock", &text).await;
    assert_eq!(keys(&page), "new7", "{}", page.text("main"));
    let rows = page.texts("li.row");
    assert!(
        rows.contains(
            &"R-7, Arch tape5000 mm, start: four-pin inline, female; end: bare; first joint after 5, to Store room / Shelf A · line 4"
                .to_owned()
        ),
        "{rows:#?}"
    );
    assert!(
        rows.contains(
            &"Arch tape2 of 1230 mm, start: bare; end: four-pin inline, male, suspect, to Store room / Shelf B · line 5"
                .to_owned()
        ),
        "{rows:#?}"
    );
    let there = do_it(&app, &page).await;
    assert!(there.text("#flash").contains("It is one movement"));
    sound(&app).await;
    let roll = app.get("/tag/R-7").await;
    assert_eq!(app.follow(&roll).await.status, 200);

    // What is said once more is there already; what has no tag would come in again.
    let mut tagged = text.clone();
    for untagged in ["2,1230", "Deep profile"] {
        let line = text
            .split_inclusive('\n')
            .find(|line| line.contains(untagged));
        tagged = tagged.replace(line.unwrap(), "");
    }
    let page = paste(&app, "stock", &tagged).await;
    assert!(
        page.text(".note.good").contains("Nothing would change"),
        "{}",
        page.text("main")
    );

    let undone = there.form("#flash form").send(&app).await;
    assert_eq!(undone.status, 303);
    sound(&app).await;
    // Taken back, the same file can be read in again: its things come in under their own tags.
    let page = paste(&app, "stock", &tagged).await;
    assert_eq!(keys(&page), "new5", "{}", page.text("main"));
    do_it(&app, &page).await;
    sound(&app).await;
    let page = paste(&app, "stock", &tagged).await;
    assert!(
        page.text(".note.good").contains("Nothing would change"),
        "{}",
        page.text("main")
    );
}

#[tokio::test]
async fn a_count_is_corrected_and_a_known_thing_is_moved_marked_and_noted() {
    let app = cupboard().await;
    let text = STOCK.replace("Store room/Shelf B", "Store room / Shelf B");
    do_it(&app, &paste(&app, "stock", &text).await).await;
    let text = "\
part,tag,number,length (mm),place,condition,serial,note
Tail,,9,,Store room / Shelf A,,,
Solder,,,0,Store room / Shelf A,,,
Clips,,0,,Store room / Shelf A,,,
,R-7,,,Store room / Shelf B,good,,
,D-3,,,,suspect,A-101,
,F-9,,,,,,in the corner
";
    let page = paste(&app, "stock", text).await;
    assert_eq!(
        keys(&page),
        "changed3, corrected by count2, unchanged1",
        "{}",
        page.text("main")
    );
    let told = changes(&page);
    for row in [
        "R-7, Arch tape place: Store room / Shelf A → Store room / Shelf B · line 5",
        "R-7, Arch tape note: =not a formula → nothing · line 5",
        "D-3, Box driver condition: good → suspect · line 6",
        "D-3, Box driver serial: A-100 → A-101 · line 6",
        "Tail, Store room / Shelf A number: 12 → 9 · line 2",
        "Solder, Store room / Shelf A length: 25000 mm → 0 mm · line 3",
    ] {
        assert!(told.contains(&row.to_owned()), "{row}: {told:#?}");
    }
    assert_eq!(told.len(), 7, "{told:#?}");
    let there = do_it(&app, &page).await;
    let flash = there.text("#flash");
    assert!(flash.contains("undo its 3 movements below"), "{flash}");
    sound(&app).await;
    assert!(there.text("ol.log").contains("read from a file"));
    let page = paste(&app, "stock", text).await;
    assert!(
        page.text(".note.good").contains("Nothing would change"),
        "{}",
        page.text("main")
    );
    // Each of them is undone as any other movement.
    for _ in 0..3 {
        let log = app.get("/log").await;
        let undo = log
            .attributes("ol.log li form", "action")
            .into_iter()
            .find(|action| action.ends_with("/undo"))
            .unwrap();
        let form = log.form(&format!("form[action='{undo}']"));
        assert_eq!(form.send(&app).await.status, 303);
    }
    sound(&app).await;
    let page = paste(&app, "stock", text).await;
    assert_eq!(keys(&page), "changed2, corrected by count2, unchanged2");
}

#[tokio::test]
async fn everything_that_is_wrong_with_stock_is_named_by_line_and_column() {
    let app = cupboard().await;
    let first = "part,tag,length (mm),place\nArch tape,R-1,5000,Store room / Shelf A\n";
    do_it(&app, &paste(&app, "stock", first).await).await;
    let retired = "name,retired\nClips,yes\n";
    do_it(&app, &paste(&app, "parts", retired).await).await;
    let before = revision(&app).await;
    let text = "\
what,part,tag,number,length (mm),place,condition,start,address
counted,Tail,,-3,,Store room / Shelf A,,,
counted,Arch tape,,3,,Store room / Shelf A,,,
piece,Tail,,,900,Store room / Shelf A,,,
piece,Arch tape,R-1,,4000,Store room / Shelf A,,,
unit,Arch tape,R-1,,,Store room / Shelf A,,,
piece,Arch tape,R-2,3,900,Store room / Shelf A,,,
piece,Arch tape,,0,900,Store room / Shelf A,,,
piece,Arch tape,,,2 km,Store room / Shelf A,,,
piece,Arch tape,,,900,Nowhere,,,
piece,Arch tape,,,900,,,,
piece,Grey cable,,,900,Store room / Shelf A,,factory,
piece,Arch tape,,,900,Store room / Shelf A,broken,,
unit,Box driver,,,,Store room / Shelf A,,,513
counted,Nothing,,3,,Store room / Shelf A,,,
counted,Tail,,3,,Store room / Shelf B,,,
counted,tail,,4,,Store room / Shelf B,,,
counted,Tail,T-1,3,,Store room,,,
counted,Solder,,3,,Store room,,,
counted,Clips,,3,,Store room,,,
,,,3,,Store room,,,
piece,Arch tape,,,900,on stage for Nobody,,,
";
    let page = paste(&app, "stock", text).await;
    let told = wrong(&page);
    let starts = [
        "line 2, column “number” Type a whole number from 0",
        "line 3, column “part” Arch tape is kept by length",
        "line 4, column “part” Tail is kept by count, not in pieces",
        "line 5, column “length (mm)” R-1 has “5000” here in the book",
        "line 6, column “tag” Line 5 names R-1 already",
        "line 7, column “number” R-2 is one thing, not 3",
        "line 8, column “number” Type 1 to 500 like ones",
        "line 9, column “length (mm)”",
        "line 10, column “place” There is no place “Nowhere”",
        "line 11, column “place” Say where it is",
        "line 12, column “start” Grey cable comes without a lead here",
        "line 13, column “condition” “broken” is not one of",
        "line 14, column “address” A DMX start address is 1 to 512",
        "line 15, column “part” There is no part “Nothing”",
        "line 17, column “part” Line 16 names this part in this place already",
        "line 18, column “tag” This is not asked of what is counted",
        "line 19, column “number” Solder is counted by its length",
        // Line 20: what is retired is still there to be counted.
        "line 21, column “what” Say what this is",
        "line 22, column “place” “on stage for Nobody” is no place of the cupboard",
    ];
    for (at, start) in starts.iter().enumerate() {
        assert!(told[at].starts_with(start), "{start}: {told:#?}");
    }
    assert_eq!(told.len(), starts.len(), "{told:#?}");
    assert_eq!(revision(&app).await, before);

    let page = paste(&app, "stock", "what,colour\npiece,red\n").await;
    assert!(wrong(&page)[0].contains("Stock has no column of this title"));
    let page = paste(&app, "stock", "what,length (V)\npiece,1\n").await;
    assert!(wrong(&page)[0].contains("Its title is “length (mm)”"));
}

#[tokio::test]
async fn places_are_made_only_where_that_is_ticked() {
    let app = cupboard().await;
    let text = "part,number,place\nTail,3,Loft / Rack 1 / Box 2\nTail,4,loft / rack 1 / Box 3\n";
    let page = paste(&app, "stock", text).await;
    assert!(wrong(&page)[0].contains("There is no place “Loft / Rack 1 / Box 2”"));
    let page = paste_with_places(&app, text).await;
    let made = [
        "Loft",
        "Loft / Rack 1",
        "Loft / Rack 1 / Box 2",
        "Loft / Rack 1 / Box 3",
    ];
    assert_eq!(page.texts("main section > ul:not(.rows) li"), made);
    let there = do_it(&app, &page).await;
    assert!(there.text("#flash").contains("4 places made"));
    let mut tx = app.db().read().await.unwrap();
    for path in made {
        assert!(
            db::place::find_by_path(&mut tx, path)
                .await
                .unwrap()
                .is_some()
        );
    }
    drop(tx);
    sound(&app).await;
    let deep = format!("part,number,place\nTail,3,{}\n", ["x"; 30].join(" / "));
    let page = paste_with_places(&app, &deep).await;
    assert!(wrong(&page)[0].contains("at most 8 are made"));
    let retire = app.post("/places/2/retire", &[("retired", "1")]).await;
    assert_eq!(retire.status, 303);
    let page = paste(
        &app,
        "stock",
        "part,number,place\nTail,3,Store room / Shelf A\n",
    )
    .await;
    assert!(
        wrong(&page)[0].contains("is no longer in use"),
        "{:?}",
        wrong(&page)
    );
}

#[tokio::test]
async fn a_dry_run_that_is_no_longer_true_is_shown_again_and_nothing_is_done() {
    let app = cupboard().await;
    let text = "part,number,place\nTail,12,Store room / Shelf A\n";
    do_it(&app, &paste(&app, "stock", text).await).await;
    let nine = paste(&app, "stock", &text.replace("12", "9")).await;
    assert_eq!(
        changes(&nine),
        ["Tail, Store room / Shelf A number: 12 → 9 · line 2"]
    );
    // Something else changes: that does not matter.
    let other = "part,number,place\nTail,1,Store room / Shelf B\n";
    do_it(&app, &paste(&app, "stock", other).await).await;
    // Somebody else counts the same.
    do_it(&app, &paste(&app, "stock", &text.replace("12", "10")).await).await;
    let stale = nine.form("form[action='/csv/do']").send(&app).await;
    assert_eq!(stale.status, 412);
    assert!(
        stale
            .text(".note.warn")
            .contains("changed since you looked")
    );
    assert_eq!(
        changes(&stale),
        ["Tail, Store room / Shelf A number: 10 → 9 · line 2"]
    );
    // The new dry run carries the file on.
    let done = stale.form("form[action='/csv/do']").send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    sound(&app).await;
}

#[tokio::test]
async fn what_goes_out_is_named_dated_and_runs_nothing() {
    let app = cupboard().await;
    let text = "part,tag,length (mm),place,note\nArch tape,R-1,5000,Store room,=HYPERLINK(1)\n";
    do_it(&app, &paste(&app, "stock", text).await).await;
    let page = app.get("/csv").await;
    let links = page.attributes("ul.rows a", "href");
    assert!(
        links.contains(&"/csv/parts.csv?kind=tape".to_owned()),
        "{links:?}"
    );
    for link in &links {
        let file = app.get(link).await;
        assert_eq!(file.status, 200, "{link}");
        let kind = file.header("content-type").unwrap();
        assert!(kind.starts_with("text/csv; charset=utf-8"), "{kind}");
        let name = file.header("content-disposition").unwrap();
        assert!(name.starts_with("attachment; filename=\""), "{name}");
        assert!(file.body.starts_with('\u{feff}') && file.body.ends_with("\r\n"));
        if link.contains("titles") {
            assert_eq!(file.body.lines().count(), 1, "{link}");
        }
    }
    let file = app.get("/csv/stock.csv?what=piece").await;
    let name = file.header("content-disposition").unwrap();
    assert_eq!(name, "attachment; filename=\"stock-piece-2026-03-05.csv\"");
    assert!(file.body.contains(",'=HYPERLINK(1)\r\n"), "{}", file.body);
    assert_eq!(
        file.body
            .lines()
            .next()
            .unwrap()
            .trim_start_matches('\u{feff}'),
        "what,part,tag,number,length (mm),place,condition,start,end,first joint,batch,inspect on,note"
    );
    assert!(
        app.get("/settings")
            .await
            .attributes("main a", "href")
            .contains(&"/csv".into())
    );
    assert!(
        app.get("/cupboard")
            .await
            .attributes("main a", "href")
            .contains(&"/csv".into())
    );
}

async fn thing(app: &TestApp, tag: &str) -> What {
    let tag = Tag::parse(tag).unwrap();
    let mut tx = app.db().read().await.unwrap();
    let found = db::thing::find_by_tag(&mut tx, &tag).await.unwrap();
    What::Thing {
        thing: found.unwrap().id,
    }
}

/// The book of Millpond Hall with everything in it: on stage, lent, built in, mounted.
#[tokio::test]
async fn the_whole_book_goes_out_and_comes_in_and_nothing_changes() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let lend = Lend {
        what: vec![thing(&app, "F-1").await],
        borrower: Name::parse("The choir, next door").unwrap(),
        due_on: jiff::civil::date(2026, 4, 1),
        note: Note::default(),
    };
    act(&app).carry_out(&lend).await.unwrap();
    let out = TakeOut {
        what: vec![thing(&app, "F-2").await],
        design: DesignId(1),
        reason: Note::default(),
    };
    act(&app).carry_out(&out).await.unwrap();
    let mut tx = app.db().read().await.unwrap();
    let What::Thing { thing: bar } = thing(&app, "F-3").await else {
        panic!("a bar is a thing");
    };
    let like = db::fixture::lookup(&mut tx, bar).await.unwrap().unwrap();
    drop(tx);
    let made = Assemble {
        about: About::new(PlaceId(1)),
        make: like.fixture.make,
        batch: String::new(),
        inside: vec![thing(&app, "O-1").await],
        used: Vec::new(),
        design: None,
        reason: Note::default(),
    };
    act(&app).carry_out(&made).await.unwrap();
    for unit in LengthUnit::ALL {
        let mut tx = app.db().read().await.unwrap();
        let parts = parts_out(&mut tx, None, unit, false, true).await.unwrap();
        let stock = stock_out(&mut tx, None, unit, false, true).await.unwrap();
        drop(tx);
        for words in ["on stage for ", "lent to ", "in F-", "on K-"] {
            assert!(stock.contains(words), "{words}: {stock}");
        }
        for (subject, text) in [
            (Subject::Parts, parts),
            (Subject::Stock { make_places: false }, stock),
        ] {
            assert!(text.lines().count() > 30, "{text}");
            let file = File {
                subject,
                bytes: text.as_bytes(),
                unit: LengthUnit::Mm,
            };
            let preview = dry_run(app.db(), &file).await.unwrap();
            assert!(preview.is_nothing(), "{unit}: {preview:?}\n{text}");
        }
    }
}

/// A venue's whole cupboard in another's empty book: the same file goes out there.
#[tokio::test]
async fn a_book_is_carried_over_into_an_empty_one() {
    let from = TestApp::new().await;
    assert!(sample::fill(from.db(), from.clock()).await.unwrap());
    let to = TestApp::new().await;
    let parts = from.get("/csv/parts.csv").await.body;
    assert!(parts.contains(",5 A blade"), "{parts}");
    do_it(&to, &upload(&to, "parts", parts.as_bytes(), false).await).await;
    assert_eq!(to.get("/csv/parts.csv").await.body, parts);

    let stock = from.get("/csv/stock.csv").await.body;
    let elsewhere = [
        ",on stage for ",
        ",lent to ",
        ",\"lent to",
        ",in F-",
        ",on K-",
    ];
    let rows: String = stock
        .split_inclusive("\r\n")
        .filter(|line| !elsewhere.iter().any(|words| line.contains(words)))
        .collect();
    assert!(
        rows.lines().count() > 40 && rows.len() < stock.len(),
        "{rows}"
    );
    let page = upload(&to, "stock", rows.as_bytes(), true).await;
    do_it(&to, &page).await;
    sound(&to).await;
    let sorted = |text: &str| {
        let mut lines: Vec<String> = text.lines().map(ToOwned::to_owned).collect();
        lines.sort();
        lines
    };
    assert_eq!(sorted(&to.get("/csv/stock.csv").await.body), sorted(&rows));
}

async fn add_texts(app: &TestApp, texts: &[String], shelf: PlaceId) {
    let tape = ready_made::all()
        .iter()
        .find(|part| part.spec.kind() == Kind::Tape)
        .unwrap();
    for (number, text) in texts.iter().enumerate() {
        let Ok(name) = Name::parse(&format!("{text}{number}")) else {
            continue;
        };
        let short: String = text.chars().filter(|c| !c.is_control()).take(50).collect();
        let new = NewPart {
            name,
            code: short.trim().to_owned(),
            spec: tape.spec.clone(),
            typical: number % 2 == 0,
            ready_made: None,
            note: Note::parse(text).unwrap_or_default(),
        };
        let Ok(id) = catalogue::add(&act(app), &new).await else {
            // The name of an earlier one but for case.
            continue;
        };
        let mut tx = app.db().read().await.unwrap();
        let part = db::part::lookup(&mut tx, id).await.unwrap().unwrap();
        drop(tx);
        let pieces = Pieces {
            batch: short.trim().to_owned(),
            start: End::Bare,
            tags: vec![Tag::parse(&format!("Z-{number}")).unwrap()],
            ..Pieces::as_bought(&part, Length::mm(5000), 1)
        };
        let receive = Receive {
            note: Note::parse(text).unwrap_or_default(),
            condition: Condition::Suspect,
            ..Receive::new(id, shelf, Goods::Pieces(pieces))
        };
        act(app).carry_out(&receive).await.unwrap();
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    /// Names, codes, notes and batches of any text go out and come in, and nothing changes.
    #[test]
    fn any_text_goes_out_and_comes_back(
        texts in prop::collection::vec(
            prop_oneof!["[-=+@'\"\t\n,; ()a-zé]{1,12}", any::<String>()], 1..20)
    ) {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            let app = TestApp::new().await;
            let page = app.post("/places", &[("name", "Shelf"), ("kind", "shelf")]).await;
            assert_eq!(page.status, 303);
            add_texts(&app, &texts, PlaceId(1)).await;
            let mut tx = app.db().read().await.unwrap();
            let parts = parts_out(&mut tx, None, LengthUnit::Mm, false, true).await.unwrap();
            let stock = stock_out(&mut tx, None, LengthUnit::Mm, false, true).await.unwrap();
            drop(tx);
            for (subject, text) in [
                (Subject::Parts, parts),
                (Subject::Stock { make_places: false }, stock),
            ] {
                let file = File { subject, bytes: text.as_bytes(), unit: LengthUnit::Mm };
                let preview = dry_run(app.db(), &file).await.unwrap();
                assert!(preview.is_nothing(), "{preview:?}\n{text}");
            }
        });
    }
}
