//! A run that is extended or ends sooner: what the set holds goes with its days, or nothing does.

use jiff::civil::date;
use tapewright::{
    db,
    model::{
        design::Design,
        id::{BarId, DesignId, ThingId},
        reservation::{HoldUse, NewHold},
        text::{Name, Tag},
    },
    plan::outcome::CheckState,
    sample,
    stock::{
        Act,
        design::{Edit, change, give_reason},
        planned::plan_now,
    },
    units::{Date, FOREVER},
};

use crate::{
    arrived::bring,
    help::{Page, TestApp},
};

/// The sample's reserved set: eight bars, build day 17 March, get-in 19 March, strike 23 March.
const DANCE: DesignId = DesignId(2);
const STRIKE: Date = date(2026, 3, 23);

fn act(app: &TestApp) -> Act {
    Act {
        db: app.db().clone(),
        who: Name::parse("Ada").unwrap(),
        now_ms: 1_772_700_000_000,
        today: date(2026, 3, 5),
        press: None,
    }
}

async fn read(app: &TestApp, id: DesignId) -> Design {
    let mut tx = app.db().read().await.unwrap();
    db::design::lookup(&mut tx, id).await.unwrap().unwrap()
}

/// What a set holds, in the order in which it was held.
async fn holds(app: &TestApp, id: DesignId) -> Vec<NewHold> {
    let mut tx = app.db().read().await.unwrap();
    let holds = db::reservation::list(&mut tx, id).await.unwrap();
    holds.into_iter().map(|hold| hold.hold).collect()
}

/// The last days of what a set holds and gives back, each once.
async fn last_days(app: &TestApp, id: DesignId) -> Vec<Date> {
    let holds = holds(app, id).await;
    let back = holds.iter().filter(|hold| hold.becomes == HoldUse::Returns);
    let mut days: Vec<Date> = back.map(|hold| hold.window.to()).collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// The sample with its reserved set standing.
pub async fn standing() -> TestApp {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    for to in ["building", "standing"] {
        bring(&app, "/designs/2", to).await;
    }
    assert_eq!(read(&app, DANCE).await.dates.strike_on(), STRIKE);
    app
}

/// Says another strike by the set's own page.
async fn until(app: &TestApp, strike: &str) -> Page {
    let page = app.get("/designs/2/dates").await;
    let form = page.form("main form.form").set("strike_on", strike);
    form.send(app).await
}

/// A copy of the set on other days for which the same finished bar is chosen: its address and the bar.
async fn copied(app: &TestApp, build: &str, get_in: &str, strike: &str) -> (DesignId, Tag) {
    let made = app
        .get("/designs/2/copy")
        .await
        .form("main form")
        .set("name", "Harvest Hop")
        .set("build_on", build)
        .set("get_in", get_in)
        .set("strike_on", strike)
        .send(app)
        .await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let set = made.header("location").unwrap();
    let set = set.trim_end_matches("/bars").to_owned();
    let id = DesignId(set.trim_start_matches("/designs/").parse().unwrap());
    let (bar, thing, tag) = same_bar(app, id).await;
    let pick = Edit::Pick {
        bar,
        fixture: Some(thing),
    };
    let version = read(app, id).await.version;
    change(&act(app), id, version, &[pick]).await.unwrap();
    (id, tag)
}

/// A copy of the set on later days, reserved, that takes the same finished bar: its name and the bar.
async fn next_set(app: &TestApp, build: &str, get_in: &str, strike: &str) -> (DesignId, Tag) {
    let (id, tag) = copied(app, build, get_in, strike).await;
    let set = format!("/designs/{id}");
    let act = act(app);
    let planned = plan_now(app.db(), id, act.today).await.unwrap();
    for check in &planned.plan.checks {
        if check.state <= CheckState::Unknown {
            give_reason(&act, id, &check.key, "Tried on the bench.")
                .await
                .unwrap();
        }
    }
    let ask = app.get(format!("{set}/reserve")).await;
    let held = ask.form("main form.buttons").send(app).await;
    assert_eq!(held.status, 303, "{}", held.text("main"));
    (id, tag)
}

/// The bar of a copy that one of the finished bars of the set serves there.
async fn same_bar(app: &TestApp, copy: DesignId) -> (BarId, ThingId, Tag) {
    let serving = {
        let mut tx = app.db().read().await.unwrap();
        db::reservation::list_serving(&mut tx, DANCE, false)
            .await
            .unwrap()
    };
    let (bar, (thing, tag)) = serving.into_iter().next().unwrap();
    let dance = read(app, DANCE).await;
    let at = dance.bars.iter().position(|it| it.id == bar).unwrap();
    (read(app, copy).await.bars[at].id, thing, tag)
}

/// How many fixtures are free on a day.
async fn free_on(app: &TestApp, day: &str) -> usize {
    let page = app.get(format!("/fixtures?from={day}&to={day}")).await;
    assert_eq!(page.status, 200);
    page.count("#fixtures .mark.free")
}

#[tokio::test]
pub async fn a_run_is_extended_and_ends_sooner_and_what_it_holds_goes_with_it() {
    let app = standing().await;
    let before = holds(&app, DANCE).await;
    let free = free_on(&app, "2026-03-25").await;
    let page = app.get("/designs/2").await;
    assert_eq!(page.count("a.btn[href='/designs/2/dates']"), 1);

    let done = until(&app, "2026-03-26").await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    let page = app.follow(&done).await;
    assert!(page.text("#flash").contains("26 Mar 2026"));
    assert!(page.text(".lead").contains("strike Thu 26 Mar 2026"));
    assert_eq!(last_days(&app, DANCE).await, [date(2026, 3, 26)]);
    // What is used up is held for good, as it was.
    let for_good = |holds: &[NewHold]| {
        let holds = holds.iter();
        holds.filter(|hold| hold.window.to() == FOREVER).count()
    };
    assert_eq!(for_good(&holds(&app, DANCE).await), for_good(&before));
    assert!(free_on(&app, "2026-03-25").await < free);
    // It stands in the log of changes, with the day before and after.
    let said = app.get("/changes").await.texts("#changes li").remove(0);
    assert!(said.contains("23 Mar") && said.contains("26 Mar"), "{said}");

    let done = until(&app, "2026-03-22").await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    assert_eq!(last_days(&app, DANCE).await, [date(2026, 3, 22)]);
    assert_eq!(free_on(&app, "2026-03-25").await, free);
    assert!(free_on(&app, "2026-03-23").await > free_on(&app, "2026-03-22").await);
    let found = tapewright::stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[tokio::test]
async fn a_run_that_others_stand_in_the_way_of_stays_as_it_was_and_says_who() {
    let app = standing().await;
    let (next, tag) = next_set(&app, "2026-03-27", "2026-03-28", "2026-03-29").await;
    let (before, others) = (holds(&app, DANCE).await, holds(&app, next).await);
    // Up to the day before it fits, and no further.
    let refused = until(&app, "2026-03-27").await;
    assert_eq!(refused.status, 422, "{}", refused.text("main"));
    let why = refused.text("#strike_on-error");
    for said in [
        "Harvest Hop",
        tag.as_str(),
        "27 Mar 2026",
        "Nothing was changed",
    ] {
        assert!(why.contains(said), "{said}: {why}");
    }
    // It leads to the set that is in the way, and to where that is planned again.
    for page in ["", "/reuse", "/reserve"] {
        let link = format!("#in-the-way a[href='/designs/{next}{page}']");
        assert_eq!(refused.count(&link), 1, "{link}");
    }
    let form = refused.form("main form.form");
    assert_eq!(form.value("strike_on"), Some("2026-03-27"));
    assert_eq!(read(&app, DANCE).await.dates.strike_on(), STRIKE);
    assert_eq!(holds(&app, DANCE).await, before);
    let done = form.set("strike_on", "2026-03-26").send(&app).await;
    assert_eq!(done.status, 303, "{}", done.text("main"));
    assert_eq!(holds(&app, next).await, others);
}

#[tokio::test]
async fn days_that_cannot_be_are_said_at_their_field_and_nobody_is_overwritten() {
    let app = standing().await;
    for (strike, said) in [
        ("2026-03-18", "before the get-in"),
        ("2026-03-32", "calendar"),
        ("", "No date"),
    ] {
        let page = until(&app, strike).await;
        assert_eq!(page.status, 422, "{strike}");
        let why = page.text("#strike_on-error");
        assert!(why.contains(said), "{strike}: {why}");
    }
    // Two who say another day: the second sees the first one's.
    let form = app.get("/designs/2/dates").await.form("main form.form");
    assert_eq!(until(&app, "2026-03-24").await.status, 303);
    let late = form.set("strike_on", "2026-03-25").send(&app).await;
    assert_eq!(late.status, 412, "{}", late.text("main"));
    assert!(late.text("main").contains("Nothing was overwritten"));
    assert_eq!(last_days(&app, DANCE).await, [date(2026, 3, 24)]);
    // A get-in that is over is not asked for, nor is the set let go on a day that is over.
    app.clock().set(date(2026, 3, 22));
    let page = app.get("/designs/2/dates").await;
    assert_eq!(page.count("#get_in"), 0, "{}", page.text("main"));
    let page = until(&app, "2026-03-21").await;
    assert_eq!(page.status, 422);
    assert!(page.text("#strike_on-error").contains("is over"));
    // A set that is only a draft gets its days where it is described.
    let draft = app.get("/designs/3/dates").await;
    assert_eq!(draft.status, 409);
    assert_eq!(draft.count("a[href='/designs/3/edit']"), 1);
}

#[tokio::test]
async fn a_draft_says_who_has_what_was_chosen_for_it_and_asks_for_no_reason() {
    let app = standing().await;
    let (id, tag) = copied(&app, "2026-03-20", "2026-03-21", "2026-03-22").await;
    let set = format!("/designs/{id}");
    let dance = read(&app, DANCE).await.name.to_string();
    for page in [
        set.clone(),
        format!("{set}/checks"),
        format!("{set}/reserve"),
    ] {
        let page = app.get(&page).await;
        let said = page.text("#taken");
        for words in [tag.as_str(), dance.as_str(), "23 Mar 2026"] {
            assert!(said.contains(words), "{words}: {said}");
        }
        let cure = format!("#taken a[href='{set}/reuse']");
        assert_eq!(page.count(&cure), 1);
    }
    let checks = app.get(format!("{set}/checks")).await;
    let rows = checks.texts(".checks .row");
    let at = rows
        .iter()
        .position(|row| row.contains(&format!("{tag} was chosen")))
        .unwrap();
    assert!(rows[at].contains("Choose another"), "{}", rows[at]);
    assert!(!rows[at].contains("Write down"), "{}", rows[at]);
    // Where nothing was chosen, nothing is said.
    assert_eq!(app.get("/designs/2").await.count("#taken"), 0);
}
