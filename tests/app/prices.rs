//! Prices of one supplier typed on one page, from the shortfall to the order, and what is held
//! when the goods have come.

use serde_json::json;
use tapewright::model::ready_made;

use crate::help::{Page, TestApp};

pub const TAPE: &str = "tape-rgb-12v-10mm";

/// A set of eight bars that nothing in the empty cupboard serves.
pub async fn short_set(app: &TestApp) -> String {
    let page = app
        .get(format!("/parts/ready-made?with={TAPE}&tick=system"))
        .await;
    assert_eq!(page.form("main form").send(app).await.status, 303);
    set_of_one_bar(app, "The Tin Orchard").await
}

/// A set of bars of 900 mm, as many as the form begins with.
pub async fn set_of_one_bar(app: &TestApp, name: &str) -> String {
    let page = app.get("/designs/new").await;
    let page = page
        .form("form[data-draft]")
        .set("name", name)
        .send(app)
        .await;
    let bars = page.header("location").unwrap().to_owned();
    let page = app.get(&bars).await;
    let form = page.form("#add form").set("length", "900 mm");
    assert_eq!(form.send(app).await.status, 303);
    bars.trim_end_matches("/bars").to_owned()
}

/// Types a price into every line of the page.
pub async fn price_all(app: &TestApp) -> Page {
    let page = app.get("/prices").await;
    let prices = page.attributes("input[name^=price-]", "name");
    assert!(prices.len() > 8, "{}", page.text("main"));
    let packs = page.attributes("input[name^=pack-]", "name");
    let mut form = page
        .form("form.take-in")
        .set("new_supplier", "Lock Lane")
        .set("new_days", "3")
        .set("new_delivery", "0");
    for (pack, price) in packs.iter().zip(&prices) {
        if form.value(pack).unwrap_or_default().is_empty() {
            form = form.set(pack, "1 m");
        }
        form = form.set(price, "12.50");
    }
    form.send(app).await
}

#[tokio::test]
async fn spares_are_said_with_the_share_that_they_are_of() {
    let app = TestApp::new().await;
    let settings = app.get("/settings").await.form("form.form");
    let saved = settings.set("spare_percent", "10").send(&app).await;
    assert_eq!(saved.status, 303, "{}", saved.text("main"));
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    for page in [format!("{set}/shopping"), "/shopping".to_owned()] {
        let page = app.get(&page).await;
        let rows = page.texts("table.book tbody tr");
        let driver = rows
            .iter()
            .find(|row| row.contains("spare (10 % of 1, rounded up)"));
        assert!(driver.is_some(), "{rows:?}");
        // Rolls are bought as they are cut, without spares.
        let tape = rows.iter().find(|row| row.contains("RGB tape"));
        assert!(!tape.expect("tape").contains("spare ("), "{tape:?}");
    }
}

#[tokio::test]
async fn the_colours_offered_first_are_those_of_the_tape_at_hand() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    let page = app.get(format!("{set}/bars")).await;
    assert!(page.texts("table.book tbody tr")[0].contains("RGB"));
    assert!(
        ready_made::find(TAPE)
            .unwrap()
            .name
            .as_str()
            .contains("RGB")
    );
}

#[tokio::test]
pub async fn prices_of_everything_short_are_noted_on_one_page_or_none_is() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    let page = app.get(format!("{set}/shortfall")).await;
    assert!(page.text("main").contains("no price yet"));

    // One price that can't be read: nothing is noted, and all is there as typed.
    let page = app.get("/prices").await;
    let prices = page.attributes("input[name^=price-]", "name");
    let form = page.form("form.take-in").set(&prices[0], "3.20");
    let wrong = form
        .clone()
        .set("new_supplier", "Lock Lane")
        .set(&prices[1], "dear")
        .send(&app)
        .await;
    assert_eq!(wrong.status, 422);
    assert_eq!(wrong.form("form.take-in").value(&prices[0]), Some("3.20"));
    assert_eq!(wrong.form("form.take-in").value(&prices[1]), Some("dear"));
    assert_eq!(form.clone().send(&app).await.status, 422, "no supplier");
    // How a new one delivers is asked, not taken for granted.
    let asked = form.set("new_supplier", "Lock Lane").send(&app).await;
    assert_eq!(asked.status, 422);
    assert_eq!(asked.count("#new_days-error, #new_delivery-error"), 2);
    assert!(
        app.get("/suppliers")
            .await
            .text("main")
            .contains("No supplier")
    );

    let noted = price_all(&app).await;
    assert_eq!(noted.status, 303, "{}", noted.text("main"));
    assert_eq!(noted.header("location"), Some("/shopping"));
    let page = app.get(format!("{set}/shortfall")).await;
    assert!(!page.text("main").contains("no price yet"));
    // A second press of the same button notes nothing twice; the name is taken for a new page.
    let page = app.get("/prices?of=all").await;
    let prices = page.attributes("input[name^=price-]", "name");
    let again = page
        .form("form.take-in")
        .set("new_supplier", "Lock Lane")
        .set("new_days", "3")
        .set("new_delivery", "0")
        .set(&prices[0], "1");
    let again = again.send(&app).await;
    assert_eq!(again.status, 422);
    assert!(
        again
            .text("main")
            .contains("There is a supplier of this name")
    );
}

#[tokio::test]
async fn an_order_that_is_refused_comes_back_as_it_was_typed() {
    let app = TestApp::new().await;
    short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let page = app.get("/shopping").await;
    let offers = page.attributes("input[name=offer]", "value");
    let field = |at: usize| format!("packs-{}", offers[at]);
    let supplier = page.attributes("input[name=supplier]", "value")[0].clone();
    let (wrong, seven, left) = (field(0), field(1), field(2));
    let mut typed = vec![
        ("supplier", supplier.as_str()),
        (wrong.as_str(), "abc"),
        (seven.as_str(), "7"),
        (left.as_str(), "3"),
    ];
    typed.extend(offers[..2].iter().map(|offer| ("offer", offer.as_str())));
    let back = app.post("/shopping/order", &typed).await;
    assert_eq!(back.status, 422);
    let form = back.form("form[action='/shopping/order']");
    for (name, value) in [(&wrong, "abc"), (&seven, "7"), (&left, "3")] {
        assert_eq!(form.value(name), Some(value));
    }
    assert_eq!(back.count(&format!("#{wrong}-error")), 1);
    assert!(back.text(".note.stop").contains("Nothing was ordered"));
    assert_eq!(
        back.attributes("input[name=offer][checked]", "value"),
        offers[..2]
    );
}

#[tokio::test]
pub async fn goods_that_came_after_a_set_was_reserved_are_shown_and_held_anew() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let page = app.get(format!("{set}/reserve")).await;
    let reserved = page.form("main form.buttons").send(&app).await;
    assert_eq!(reserved.status, 303, "{}", reserved.text("main"));
    let newer = "newer than what is held";
    assert!(!app.get(&set).await.text("main").contains(newer));

    let order = app.get("/shopping").await;
    assert!(!order.text("main").contains("000 left over"), "raw lengths");
    let order = order
        .form("form[action='/shopping/order']")
        .send(&app)
        .await;
    assert_eq!(order.status, 303, "{}", order.text("main"));
    let order = order.header("location").unwrap().to_owned();
    let ordered = app.get(&order).await;
    let ordered = ordered
        .form("form[action$='/state']")
        .set("state", "ordered")
        .send(&app)
        .await;
    assert_eq!(ordered.status, 303, "{}", ordered.text("main"));
    // Tape is planned roll by roll: short until it has come, but not to be ordered again.
    let page = app.get(format!("{set}/shortfall")).await;
    assert!(page.text("main").contains("In orders already, for any set"));
    assert!(!app.get("/shopping").await.text("main").contains("RGB tape"));
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let mut said = Vec::new();
    loop {
        let page = app.get(&order).await;
        if page.count("form[action*='/receive/']") == 0 {
            break;
        }
        let form = page.form("form[action*='/receive/']");
        let got = form.send(&app).await;
        assert_eq!(got.status, 303, "{}", got.text("main"));
        said.push(app.follow(&got).await.text("#flash"));
    }
    let many = |said: &&String| said.contains(" × Profile clip are in stock.");
    assert!(said.iter().any(|it| many(&it)), "{said:?}");
    let page = app.get(&set).await;
    assert!(page.text("main").contains(newer), "{}", page.text("main"));
    let page = app.get(format!("{set}/reserve")).await;
    let held = page.form("main form.buttons").send(&app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    let page = app.get(&set).await;
    assert!(!page.text("main").contains(newer), "{}", page.text("main"));

    // Built: the cable runs are out with the set, and come back with it.
    let version = page.form("#next form").set("to", "building");
    assert_eq!(version.send(&app).await.status, 303);
    let build = format!("{set}/build");
    loop {
        let page = app.get(build.clone()).await;
        if page.count("ol.steps .now form") == 0 {
            break;
        }
        let page = page
            .form("ol.steps .now form")
            .set("do", "tick")
            .send(&app)
            .await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
    }
    let out = app.get(format!("{set}/strike")).await.text("main");
    assert!(out.contains("Cable 4 × 18 AWG"), "{out}");
    // Taken back, the wired runs lie in their place again.
    let page = app.get(build.clone()).await;
    let wired = page
        .texts("ol.steps > li")
        .iter()
        .position(|step| step.starts_with("Wire"))
        .unwrap();
    let id = page.attributes("ol.steps > li form", "id")[wired].clone();
    let back = page
        .form(&format!("form#{id}"))
        .set("do", "untick")
        .send(&app)
        .await;
    assert_eq!(back.status, 303, "{}", back.text("main"));
    let less = app.get(format!("{set}/strike")).await.text("main");
    let runs = |text: &str| text.matches("Cable 4 × 18 AWG").count();
    assert!(runs(&less) < runs(&out), "{less}");

    // What a bar was made of here is known; only its plug can be corrected.
    let fixture = app.follow(&app.get("/tag/F-1").await).await;
    let edit = fixture.attributes("a[href$='/edit']", "href")[0].clone();
    let form = app.get(&edit).await.form("form.form");
    let longer = form.clone().set("lit_um", "1 m").send(&app).await;
    assert_eq!(longer.status, 409);
    assert!(longer.text("main").contains("was made of stock here"));
    let plug = form
        .set("plug", "")
        .set("family", "three-pin")
        .send(&app)
        .await;
    assert_eq!(plug.status, 303, "{}", plug.text("main"));
}

#[tokio::test]
async fn all_is_bought_where_goods_and_deliveries_together_cost_least() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let list = app.get("/api/v1/shopping").await.value();
    assert_eq!(list["proof"]["is"], "proven");
    assert_eq!(list["parcels"].as_array().unwrap().len(), 1);
    let lines = list["parcels"][0]["lines"].as_array().unwrap();
    // A second supplier is a little cheaper for the first line alone, and charges for delivery.
    let quay = json!({"name": "Quay Supplies", "delivery_days": 2, "delivery_minor": 700});
    let made = app.json("POST", "/api/v1/suppliers", &[], &quay).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let quay = made.value()["id"].as_i64().unwrap();
    let part = lines[0]["part"].as_i64().unwrap();
    let offer = json!({
        "supplier": quay, "pack_amount": lines[0]["pack_amount"], "price_minor": 1240
    });
    let path = format!("/api/v1/parts/{part}/offers");
    let noted = app.json("POST", &path, &[], &offer).await;
    assert_eq!(noted.status, 201, "{}", noted.body);

    let page = app.get("/shopping").await;
    assert_eq!(page.count("form[action='/shopping/order']"), 1);
    assert!(
        page.text("main")
            .contains("no other mix of packs costs less")
    );
    // Without Lock Lane only that line can be had; the page says what is missing.
    let first = list["parcels"][0]["supplier"].as_i64().unwrap();
    let page = app.get(format!("/shopping?without={first}")).await;
    assert!(page.text("main").contains("nothing from Lock Lane"));
    assert!(page.text("main").contains("Sold only by those left out"));
    assert_eq!(page.count("form[action='/shopping/order']"), 1);
    let list = app
        .get(format!("/api/v1/shopping?without={first}&aim=parcels"))
        .await
        .value();
    assert_eq!(list["parcels"][0]["supplier"], quay);
    assert_eq!(list["parcels"][0]["delivery_minor"], 700);
    assert_eq!(list["parcels"][0]["lines"][0]["part"], part);
    assert_eq!(list["unsold"].as_array().unwrap().len(), lines.len() - 1);
    assert_eq!(app.get("/api/v1/shopping?without=quay").await.status, 422);

    // The set's own page counts the delivery too, and so does its budget.
    let page = app.get(format!("{set}/shopping")).await;
    assert!(page.text("main").contains("delivered free"));
}

#[tokio::test]
async fn one_set_is_bought_by_itself_without_what_is_on_order_for_another() {
    let app = TestApp::new().await;
    let one = short_set(&app).await;
    let other = set_of_one_bar(&app, "Paper Lanterns").await;
    assert_eq!(price_all(&app).await.status, 303);
    let id = |set: &str| set.rsplit('/').next().unwrap().to_owned();
    let list = async |of: &str| {
        let list = app.get(format!("/api/v1/shopping{of}")).await;
        assert_eq!(list.status, 200, "{}", list.body);
        list.value()
    };
    let alone = list(&format!("?design={}", id(&one))).await;
    let both = list("").await;
    assert!(alone["cost_minor"].as_i64() < both["cost_minor"].as_i64());

    // The set's own page leads to its list, and what is written down there is for it.
    let page = app.get(format!("{one}/shopping")).await;
    let href = format!("/shopping?set={}", id(&one));
    assert_eq!(page.count(&format!("a[href='{href}']")), 1);
    let page = app.get(&href).await;
    assert!(page.text("main").contains("Only for The Tin Orchard"));
    let shown = page.count("form[action='/shopping/order'] tbody th a");
    assert_eq!(
        shown,
        alone["parcels"][0]["lines"].as_array().unwrap().len()
    );
    let sent = page.form("form[action='/shopping/order']").send(&app).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let order = app.get(sent.header("location").unwrap()).await;
    assert_eq!(order.count(&format!("#sums a[href='{one}/shopping']")), 1);
    let page = app.get(&href).await;
    assert_eq!(page.count("form[action='/shopping/order']"), 0);
    let rest = list(&format!("?design={}", id(&other))).await;
    assert_eq!(rest["cost_minor"], alone["cost_minor"]);

    // A set that is not there asks for nothing.
    let page = app.get("/shopping?set=999").await;
    assert_eq!(page.status, 200);
    assert_eq!(page.count("form[action='/shopping/order']"), 0);
    assert_eq!(app.get("/shopping?set=two").await.status, 200);
}

/// Writes the whole list down as one order and sends it; gives its address.
pub async fn order_all(app: &TestApp) -> String {
    let list = app.get("/shopping").await;
    let made = list.form("form[action='/shopping/order']").send(app).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let order = made.header("location").unwrap().to_owned();
    let page = app.get(&order).await;
    let sent = page
        .form("form[action$='/state']")
        .set("state", "ordered")
        .send(app)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.text("main"));
    order
}

#[tokio::test]
async fn a_refused_line_of_an_order_says_why_and_keeps_what_was_typed() {
    let app = TestApp::new().await;
    short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let room = [("name", "Store"), ("kind", "room")];
    assert_eq!(app.post("/places", &room).await.status, 303);
    let order = order_all(&app).await;
    let page = app.get(&order).await;
    let line = page.attributes("form[action*='/receive/']", "id")[1].clone();
    let wrong = page
        .form(&format!("#{line}"))
        .set("good", "9000")
        .set("bad", "1")
        .set("note", "one is bent")
        .send(&app)
        .await;
    assert_eq!(wrong.status, 422);
    assert_eq!(wrong.count(&format!("#{line} details[open]")), 1);
    assert_eq!(wrong.count("#lines details[open]"), 1, "only that line");
    assert_eq!(wrong.count(&format!("#{line} .error")), 1);
    assert!(
        wrong
            .text(&format!("#{line} .error"))
            .contains("still to come")
    );
    let form = wrong.form(&format!("#{line}"));
    for (name, typed) in [("good", "9000"), ("bad", "1"), ("note", "one is bent")] {
        assert_eq!(form.value(name), Some(typed));
    }
    // Without scripting one begins to read at the top.
    assert!(
        wrong
            .text("main > .note.stop")
            .contains("at its line below")
    );
    // What was wrong with one line is no note of the whole order.
    let whole = wrong.form("form[action$='/state']");
    assert_eq!(whole.value("note"), Some(""));
}

#[tokio::test]
async fn what_is_on_order_is_not_asked_for_again_on_the_lists_of_its_set() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    let edit = app.get(format!("{set}/edit")).await;
    let edit = edit.form("main form.form").set("budget", "10000");
    assert_eq!(edit.send(&app).await.status, 303);
    let before = app.get(format!("{set}/shopping")).await;
    assert!(before.count("table.book tbody tr") > 5);
    let sum = before.text("table.book tr.sum .num");
    let left = format!("{sum} ordered, 0.00 EUR still to buy, ");
    assert!(!before.text("main").contains(" ordered, "));
    order_all(&app).await;

    let page = app.get(format!("{set}/shopping")).await;
    assert_eq!(page.count("table.book"), 0, "{}", page.text("main"));
    assert!(page.text("main").contains("Nothing more to buy"));
    // What is planned piece by piece, and what the plan counts as due in.
    let coming = page.text("#ordered ~ ul");
    for words in [
        "RGB tape 12 V, 10 mm",
        "Lead ",
        "from Lock Lane, expected on",
    ] {
        assert!(coming.contains(words), "{coming}");
    }
    for sheet in ["shopping", "cost"] {
        let page = app.get(format!("{set}/sheets/{sheet}")).await;
        let text = page.text("main");
        assert_eq!(page.count("td .box"), 0, "{sheet}: {text}");
        if sheet == "cost" {
            assert!(text.contains(&left), "{left}: {text}");
            // Who approves the money sees what is spent already, by whom and of what.
            let rows = page.texts("table.book tbody tr");
            let lane = rows.iter().find(|row| row.contains("Lock Lane")).unwrap();
            assert!(lane.contains(&sum), "{lane}");
            assert!(rows.iter().any(|row| row.starts_with("tape")), "{rows:?}");
        }
    }
    let page = app.get(&set).await;
    assert!(page.text("main").contains(&left));
    // What is short but on order is not told as something to worry about.
    let told = page.text(".tabs summary");
    assert!(told.ends_with(" short, on order"), "{told}");
    assert!(page.text(".note.warn").contains(" short, and on order"));
    let short = app.get(format!("{set}/shortfall")).await.text("main");
    assert!(short.contains("all of it is on order"), "{short}");
    assert!(short.contains("Still to buy: nothing."), "{short}");

    // Of another bar only what it needs more is asked for.
    let bars = app.get(format!("{set}/bars")).await;
    let more = bars.form("#add form").set("count", "1");
    assert_eq!(more.set("length", "900 mm").send(&app).await.status, 303);
    let page = app.get(format!("{set}/shopping")).await;
    let rows = page.count("table.book tbody tr");
    assert!((2..before.count("table.book tbody tr")).contains(&rows));
    assert!(page.text("main").contains("Still to buy for this set"));
}

#[tokio::test]
async fn what_has_no_price_is_never_told_as_nothing() {
    let app = TestApp::new().await;
    let set = short_set(&app).await;
    for of in ["tape", "driver", "supply"] {
        let text = app.get(format!("{set}/suits?of={of}")).await.text("main");
        assert!(
            text.contains("its cost is not known, since"),
            "{of}: {text}"
        );
        assert!(!text.contains("0.00"), "{of}: {text}");
    }
    for path in ["/shopping", "/cupboard"] {
        assert!(!app.get(path).await.text("main").contains("0.00"), "{path}");
    }
    for tab in ["", "/shopping", "/shortfall", "/reserve"] {
        let text = app.get(format!("{set}{tab}")).await.text("main");
        assert!(!text.contains("0.00"), "{tab}: {text}");
    }
    let short = app.get("/shopping").await;
    let part = short.attributes("section[aria-labelledby=unpriced] .row-name a", "href");
    let page = app.get(&part[0]).await.text("main");
    assert!(page.contains("No price yet") && page.contains("Note a pack and its price"));
}

#[tokio::test]
async fn an_order_is_read_as_text_and_put_into_a_mail() {
    let app = TestApp::new().await;
    short_set(&app).await;
    assert_eq!(price_all(&app).await.status, 303);
    // The supplier's own number of one of the packs.
    let part = app.get("/shopping").await.attributes("tbody th a", "href")[0].clone();
    let part = app.get(part).await;
    let offer = part.attributes("main a[href^='/offers/']", "href")[0].clone();
    let price = app
        .get(&offer)
        .await
        .form("main form.form")
        .set("code", "LL & 7%");
    assert_eq!(price.send(&app).await.status, 303);

    let list = app.get("/shopping").await;
    let made = list.form("form[action='/shopping/order']").send(&app).await;
    let order = made.header("location").unwrap().to_owned();
    let page = app.get(&order).await;
    assert_eq!(page.count("textarea#letter[readonly]"), 1);
    assert_eq!(page.count("form #letter"), 0, "it is sent nowhere");
    let text = page.text("#letter");
    let total = page.texts("#sums dd").pop().unwrap();
    for words in [
        "Lock Lane",
        "your number LL & 7%",
        &format!("Total: {total}, with"),
        "Needed by ",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    for name in page.texts("#lines a.row-name") {
        assert!(text.contains(&name), "{name}: {text}");
    }
    let mail = page.attributes("main a[href^='mailto:']", "href")[0].clone();
    assert!(mail.starts_with("mailto:?subject=Order%20"), "{mail}");
    for words in ["%0D%0A", "LL%20%26%207%25"] {
        assert!(mail.contains(words), "{mail}");
    }
    let query = mail.strip_prefix("mailto:?").unwrap();
    assert_eq!(query.matches('&').count(), 1, "{mail}");
    assert!(!mail.contains(['+', ' ', '\n', '#']), "{mail}");
    // What was dropped is not asked for any more.
    let drop = page
        .form("form[action$='/state']")
        .set("state", "cancelled");
    assert_eq!(drop.send(&app).await.status, 303);
    assert_eq!(app.get(&order).await.count("#letter"), 0);
}

#[tokio::test]
async fn a_pack_is_asked_in_what_its_part_is_counted_in() {
    let app = TestApp::new().await;
    let seller = app.get("/suppliers/new").await;
    let seller = seller
        .form("main form[method=post]")
        .set("name", "Lock Lane")
        .set("delivery_days", "3")
        .set("delivery", "0");
    assert_eq!(seller.send(&app).await.status, 303);
    let mut parts = Vec::new();
    for (name, measure) in [("Solder", "length"), ("Clip", "each")] {
        let form = app.get("/parts/new?kind=sundry").await.form("form.form");
        let made = form.set("name", name).set("measure", measure);
        let made = made.send(&app).await;
        assert_eq!(made.status, 303, "{}", made.text("main"));
        parts.push(made.header("location").unwrap().to_owned());
    }
    let page = app.get(format!("{}/offers/new", parts[1])).await;
    assert_eq!(page.text("label[for=pack]"), "In a pack");
    let form = page.form("main form.form").set("pack", "25");
    assert_eq!(form.set("price", "4").send(&app).await.status, 303);

    // What is counted by length is asked by length, and says so to who has a weight or a number.
    let page = app.get(format!("{}/offers/new", parts[0])).await;
    assert_eq!(page.text("label[for=pack]"), "Length in one pack");
    assert!(page.text("#pack-hint").contains("sold by weight"));
    let form = page.form("main form.form").set("price", "9");
    for (typed, said) in [
        ("100 g", "not how heavy"),
        ("1", "That is 1 mm in one pack"),
        ("", "length"),
    ] {
        let page = form.clone().set("pack", typed).send(&app).await;
        assert_eq!(page.status, 422, "{typed}");
        assert_eq!(page.form("main form.form").value("pack"), Some(typed));
        assert!(page.text("#pack-error").contains(said), "{typed}");
    }
    assert_eq!(form.set("pack", "15 m").send(&app).await.status, 303);
    let part = app.get(&parts[0]).await.text("section:has(#offers)");
    assert!(part.contains("15000 mm each"), "{part}");

    // The example is one that the venue would type.
    let form = app.get("/parts/new?kind=sundry").await.form("form.form");
    let cord = form.set("name", "Cord").set("measure", "length");
    assert_eq!(cord.send(&app).await.status, 303);
    let new = format!("{}/offers/new", parts[0]);
    for (unit, example) in [("cm", "such as 15 m"), ("ft", "such as 50 ft")] {
        let settings = app.get("/settings").await.form("form.form");
        let saved = settings.set("length_unit", unit).send(&app).await;
        assert_eq!(saved.status, 303, "{}", saved.text("main"));
        let page = app.get(&new).await;
        assert!(page.text("#pack-hint").ends_with(example), "{unit}");
        let form = page.form("main form.form").set("price", "9");
        let page = form.set("pack", "100 g").send(&app).await;
        assert!(page.text("#pack-error").contains(example), "{unit}");
        let all = app.get("/prices?of=all").await.text(".prices");
        assert!(all.contains(example), "{all}");
    }
}
