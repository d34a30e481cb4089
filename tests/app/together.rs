//! What several sets need of one line of an order: the order says all of them, each pays its share, and
//! what has not come of it is unticked.

use jiff::civil::date;
use tapewright::db::{self, Db, archive};

use crate::{
    archive::rows,
    help::{Page, TestApp},
    prices::{TAPE, order_all, price_all, short_set},
};

const FIRST: &str = "The Tin Orchard";
const SECOND: &str = "Paper Lanterns";

/// A set of bars of 900 mm on days of its own.
async fn set_on(app: &TestApp, name: &str, [build_on, get_in, strike_on]: [&str; 3]) -> String {
    let page = app.get("/designs/new").await;
    let page = page
        .form("form[data-draft]")
        .set("name", name)
        .set("build_on", build_on)
        .set("get_in", get_in)
        .set("strike_on", strike_on)
        .send(app)
        .await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let bars = page.header("location").unwrap().to_owned();
    add_bars(app, &bars, None).await;
    bars.trim_end_matches("/bars").to_owned()
}

/// Adds bars, as many as the form begins with or so many.
async fn add_bars(app: &TestApp, bars: &str, count: Option<&str>) {
    let page = app.get(bars).await;
    let mut form = page.form("#add form").set("length", "900 mm");
    if let Some(count) = count {
        form = form.set("count", count);
    }
    assert_eq!(form.send(app).await.status, 303);
}

/// Two sets that want the same parts, built on 20 March and 10 April, with a price of each part; the
/// second has a bar more.
async fn two_sets(app: &TestApp) -> [String; 2] {
    let page = app
        .get(format!("/parts/ready-made?with={TAPE}&tick=system"))
        .await;
    assert_eq!(page.form("main form").send(app).await.status, 303);
    let first = set_on(app, FIRST, ["2026-03-20", "2026-03-21", "2026-03-30"]).await;
    let second = set_on(app, SECOND, ["2026-04-10", "2026-04-11", "2026-04-20"]).await;
    add_bars(app, &format!("{second}/bars"), Some("1")).await;
    assert_eq!(price_all(app).await.status, 303);
    [first, second]
}

/// Writes down an order of those lines only that both sets need; gives its address.
async fn order_shared(app: &TestApp) -> String {
    let list = app.get("/shopping").await;
    let offers = list.attributes("input[name=offer]", "value");
    let rows = list.texts("form[action='/shopping/order'] tbody tr:not(.sum)");
    assert_eq!(offers.len(), rows.len());
    let supplier = list.attributes("input[name=supplier]", "value")[0].clone();
    let form = list.form("form[action='/shopping/order']");
    let press = form.value("press").unwrap().to_owned();
    let mut fields = vec![
        ("supplier".to_owned(), supplier),
        ("press".to_owned(), press),
    ];
    for (offer, row) in offers.iter().zip(&rows) {
        if !(row.contains(FIRST) && row.contains(SECOND)) {
            continue;
        }
        let packs = format!("packs-{offer}");
        let typed = form.value(&packs).unwrap().to_owned();
        fields.extend([("offer".to_owned(), offer.clone()), (packs, typed)]);
        let sets = list.attributes(&format!("input[name=for-{offer}]"), "value");
        assert_eq!(sets.len(), 2, "{row}");
        fields.extend(sets.into_iter().map(|set| (format!("for-{offer}"), set)));
    }
    assert!(fields.len() > 5, "nothing is needed by both: {rows:?}");
    let fields: Vec<(&str, &str)> = (fields.iter())
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let made = app.post("/shopping/order", &fields).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    made.header("location").unwrap().to_owned()
}

async fn send_it(app: &TestApp, order: &str) {
    let page = app.get(order).await;
    let sent = page
        .form("form[action$='/state']")
        .set("state", "ordered")
        .send(app)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.text("main"));
}

/// A sum of money in cents.
fn cents(words: &str) -> i64 {
    let digits: String = words.chars().filter(char::is_ascii_digit).collect();
    digits.parse().unwrap()
}

/// What a row of the cost sheet's money says, in cents.
fn cost(sheet: &Page, row: &str) -> i64 {
    let rows = sheet.texts("table.book tbody tr");
    let found = rows.iter().find(|words| words.starts_with(row));
    cents(&found.unwrap_or_else(|| panic!("no {row}: {rows:?}"))[row.len()..])
}

#[tokio::test]
async fn an_order_of_what_two_sets_need_names_both_and_each_pays_its_share() {
    let app = TestApp::new().await;
    let sets = two_sets(&app).await;
    let order = order_shared(&app).await;
    let page = app.get(&order).await;
    for set in &sets {
        let link = format!("#sums a[href='{set}/shopping']");
        assert_eq!(page.count(&link), 1, "{set}: {}", page.text("#sums"));
    }
    // By the day of the set that is built first.
    let text = page.text("#letter");
    assert!(text.contains("Needed by 17 Mar 2026"), "{text}");

    // The shares of both sum to the order, first written down and then sent.
    let goods = cents(&page.texts("#sums dd")[2]);
    let sheets = async || {
        let mut sheets = Vec::new();
        for set in &sets {
            sheets.push(app.get(format!("{set}/sheets/cost")).await);
        }
        sheets
    };
    let sum = |sheets: &[Page], row: &str| -> Vec<i64> {
        sheets.iter().map(|sheet| cost(sheet, row)).collect()
    };
    let listed = sum(&sheets().await, "In orders that are not sent yet");
    assert_eq!(listed.iter().sum::<i64>(), goods, "{listed:?}");
    send_it(&app, &order).await;
    let sent = sheets().await;
    let shares = sum(&sent, "Ordered for this set so far");
    assert_eq!(shares, listed);
    // The second has one bar more.
    assert!(0 < shares[0] && shares[0] < shares[1], "{shares:?}");
    for sheet in &sent {
        assert!(sheet.text("#shares").contains("a share is counted here"));
        // Each table of it says the same.
        let lane = sheet.texts("table.book tbody tr");
        assert!(lane.iter().any(|row| row.starts_with("Lock Lane")));
    }
    // What is for one set alone is no share.
    let alone = app.get("/shopping").await;
    if alone.count("form[action='/shopping/order']") > 0 {
        order_all(&app).await;
    }

    // It goes out into an archive and comes back.
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.zip");
    archive::write(app.db().file(), &file, "2026-03-05")
        .await
        .unwrap();
    let again = folder.path().join("again");
    archive::read(&file, &again).await.unwrap();
    let (was, is) = (
        rows(app.db().file()).await,
        rows(&again.join(Db::FILE)).await,
    );
    assert!(
        was["purchase_share"].len() >= 2,
        "{:?}",
        was["purchase_share"]
    );
    assert_eq!(was["purchase_share"], is["purchase_share"]);
    let back = Db::open(&again).await.unwrap();
    let of = async |db: &Db| {
        let mut tx = db.read().await.unwrap();
        db::purchase::list(&mut tx, 10).await.unwrap()
    };
    assert_eq!(of(&back).await, of(app.db()).await);
    back.close().await;
}

#[tokio::test]
async fn an_order_that_one_set_needs_is_no_share() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let order = order_all(&app).await;
    let goods = cents(&app.get(&order).await.texts("#sums dd")[3]);
    let sheet = app.get(format!("{set}/sheets/cost")).await;
    assert_eq!(cost(&sheet, "Ordered for this set so far"), goods);
    assert_eq!(sheet.count("#shares"), 0);
}

#[tokio::test]
async fn sets_of_a_line_that_cannot_be_read_order_nothing() {
    let app = TestApp::new().await;
    short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let list = app.get("/shopping").await;
    let offer = list.attributes("input[name=offer]", "value")[0].clone();
    let form = list.form("form[action='/shopping/order']");
    for wrong in ["1", "1:0", "1:-3", "one:2"] {
        let form = form.clone().set(&format!("for-{offer}"), wrong);
        let page = form.send(&app).await;
        assert_eq!(page.status, 422, "{wrong}");
        let said = page.text("main > .note.stop");
        assert!(said.contains("Nothing was ordered"), "{wrong}: {said}");
    }
    let text = app.get("/shopping").await.text("main");
    assert!(text.contains("No order yet"), "{text}");
}

#[tokio::test]
async fn the_text_to_send_asks_for_no_day_that_is_past() {
    let app = TestApp::new().await;
    two_sets(&app).await;
    let order = order_shared(&app).await;
    let page = app.get(&order).await;
    assert!(page.text("#letter").contains("Needed by "));
    let letter = "section[aria-labelledby=letter-h] .note.warn";
    assert_eq!(page.count(letter), 0);
    app.clock().set(date(2026, 3, 20));
    let page = app.get(&order).await;
    let text = page.text("#letter");
    let soon = "Needed as soon as possible (building begins on 20 Mar 2026)";
    assert!(text.contains(soon) && !text.contains("Needed by"), "{text}");
    let warned = page.text(letter);
    assert!(
        warned.contains("building begins on 20 Mar 2026"),
        "{warned}"
    );
    let mail = page.attributes("main a[href^='mailto:']", "href")[0].clone();
    assert!(mail.contains("as%20soon%20as%20possible"), "{mail}");
}

#[tokio::test]
async fn what_has_not_come_is_unticked_and_all_else_taken_in_by_one_press() {
    let app = TestApp::new().await;
    short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let order = order_all(&app).await;
    let page = app.get(&order).await;
    let ticks = page.attributes("#all input[name=line]", "value");
    let open = page.count("form[action*='/receive/']");
    assert!(open > 3);
    assert_eq!(ticks.len(), open);
    assert_eq!(page.count("#all input[name=line][checked]"), open);

    // With no tick nothing is taken in, and the page comes back so.
    let mut none = page.form("#all form");
    for tick in &ticks {
        none = none.untick("line", tick);
    }
    let refused = none.send(&app).await;
    assert_eq!(refused.status, 409, "{}", refused.text("main"));
    assert!(refused.text(".note.stop").contains("Nothing was received"));
    assert_eq!(refused.count("#all input[name=line]"), open);
    assert_eq!(refused.count("#all input[name=line][checked]"), 0);

    // All but one, a second press counting once.
    let form = page.form("#all form").untick("line", &ticks[1]);
    let came = form.send(&app).await;
    assert_eq!(came.status, 303, "{}", came.text("main"));
    let said = app.follow(&came).await.text("#flash");
    let lines = format!("{} lines are in stock; 1 other is still to come.", open - 1);
    assert!(said.contains(&lines), "{said}");
    assert_eq!(form.send(&app).await.status, 303);
    let page = app.get(&order).await;
    assert_eq!(
        page.attributes("form[action*='/receive/']", "id"),
        [format!("line-{}", ticks[1])]
    );
    assert!(
        page.text("#sums")
            .contains(&format!("{} of {open} in", open - 1))
    );
}
