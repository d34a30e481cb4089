//! The invented Millpond Hall.

use tapewright::{
    db::{self, Db},
    model::design::State,
    sample, stock,
    stock::{planned::plan_now, reserve::unreasoned},
};

use crate::help::TestApp;

/// Every set with its holds, and every part.
pub async fn dump(db: &Db) -> Vec<String> {
    let mut tx = db.read().await.unwrap();
    let mut lines = Vec::new();
    for listed in db::design::list(&mut tx).await.unwrap() {
        let design = db::design::lookup(&mut tx, listed.id).await.unwrap();
        lines.push(format!("{design:?}"));
        let holds = db::reservation::list(&mut tx, listed.id).await.unwrap();
        lines.extend(holds.iter().map(|hold| format!("{hold:?}")));
    }
    for part in db::part::list(&mut tx, None, true).await.unwrap() {
        lines.push(format!("{part:?}"));
    }
    lines
}

#[tokio::test]
async fn it_is_filled_in_once_agrees_with_its_ledger_and_is_the_same_each_time() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let found = stock::audit::audit(app.db()).await.unwrap();
    assert!(found.is_empty(), "{found:?}");

    let first = dump(app.db()).await;
    assert!(!sample::fill(app.db(), app.clock()).await.unwrap());
    assert_eq!(dump(app.db()).await, first);

    let other = TestApp::new().await;
    assert!(sample::fill(other.db(), other.clock()).await.unwrap());
    assert_eq!(dump(other.db()).await, first);
}

#[tokio::test]
async fn a_book_with_anything_in_it_is_left_alone() {
    let app = TestApp::new().await;
    let act = stock::Act {
        db: app.db().clone(),
        who: "Ada".to_owned().try_into().unwrap(),
        now_ms: app.clock().now_ms(),
        today: app.clock().today("UTC"),
        press: None,
    };
    let key = "solder".to_owned();
    stock::catalogue::take_ready_made(&act, &[key])
        .await
        .unwrap();
    assert!(!sample::fill(app.db(), app.clock()).await.unwrap());
    assert_eq!(dump(app.db()).await.len(), 1);
}

#[tokio::test]
async fn it_shows_a_set_of_each_kind_and_every_limit_is_kept() {
    let app = TestApp::new().await;
    sample::fill(app.db(), app.clock()).await.unwrap();
    let listed = {
        let mut tx = app.db().read().await.unwrap();
        db::design::list(&mut tx).await.unwrap()
    };
    let mut states: Vec<_> = listed.iter().map(|set| set.state).collect();
    states.sort();
    assert_eq!(states, [State::Draft, State::Reserved, State::Struck]);
    let today = app.clock().today("UTC");
    for set in listed.iter().filter(|set| set.state != State::Struck) {
        let planned = plan_now(app.db(), set.id, today).await.unwrap();
        let open: Vec<_> = unreasoned(&planned.plan, &[]).collect();
        assert!(open.is_empty(), "{}: {open:#?}", set.name);
        // The draft shows what a shortfall looks like; the reserved set lacks nothing.
        assert_eq!(
            planned.plan.is_short(),
            set.state == State::Draft,
            "{}",
            set.name
        );
        assert_eq!(set.broken_holds, 0, "{}", set.name);
    }
}

#[tokio::test]
async fn its_drivers_and_supplies_say_why_they_are_these_and_what_is_proven() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let mut tx = app.db().read().await.unwrap();
    let sets = db::design::list(&mut tx).await.unwrap();
    drop(tx);
    let (mut there, mut bought) = (0, 0);
    for set in sets.iter().filter(|set| set.state == State::Draft) {
        let planned = plan_now(app.db(), set.id, app.clock().today("UTC"))
            .await
            .unwrap();
        let proof = &planned.plan.power_proof;
        assert!(proof.cost.is_proven(), "{proof:?}");
        let main = app
            .get(format!("/designs/{}/power", set.id))
            .await
            .text("main");
        let units = planned.plan.drivers.iter().map(|it| (&it.unit, &it.why));
        let more = planned.plan.supplies.iter().map(|it| (&it.unit, &it.why));
        for (unit, why) in units.chain(more) {
            assert!(main.contains(why.as_str()), "{why}: {main}");
            assert_eq!(why.starts_with("Bought, since"), unit.is_none(), "{why}");
            *(if unit.is_some() {
                &mut there
            } else {
                &mut bought
            }) += 1;
        }
        let said = if proof.bought == 0 {
            "has to be bought for them"
        } else {
            "No other choice of drivers and supplies costs less"
        };
        assert!(main.contains(said), "{main}");
    }
    assert!(there > 0, "{there} there, {bought} bought");
}

#[tokio::test]
async fn changes_are_told_in_peoples_words() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    // A set, its bars and frame, a price and a part, as the sample made them.
    let pages = [
        app.get("/changes").await,
        app.get("/changes?of=bar").await,
        app.get("/changes?of=offer").await,
        app.get("/changes?of=part").await,
    ];
    let text: String = pages.iter().map(|page| page.text("#changes")).collect();
    for inner in [
        "_um",
        " um",
        "minor",
        "mdeg",
        "design id",
        "part id",
        "{",
        "[",
    ] {
        let found = text
            .find(inner)
            .map(|at| text[..at].chars().rev().take(60).collect::<String>());
        assert_eq!(found, None, "{inner}, read backwards");
    }
    for said in ["of Midsummer play", "turned0°", "EUR", "24 V", "5000 mm"] {
        assert!(text.contains(said), "{said}: {text}");
    }
}
