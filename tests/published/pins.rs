//! What people choose by hand, and what another way costs. By hand.

use serde_json::json;
use tapewright::{
    model::{
        design::{LeftAlone, NotFrom},
        id::{BarId, OfferId, PartId, SupplierId, ThingId},
        text::{Name, Note, Tag},
        thing::ThingKind,
    },
    plan::{
        Plan,
        input::LeftThing,
        other::{Other, Tally},
        outcome::{CheckState, CutSource, Serve},
        pin::Pin,
    },
    units::Money,
};

use crate::house::{House, RGB, checks, need, tape};

fn leave(house: &mut House, thing: ThingId, gone: Option<&str>) {
    let note = Note::default();
    house
        .input
        .design
        .left_alone
        .push(LeftAlone { thing, note });
    house.input.stock.left_alone.push(LeftThing {
        thing,
        tag: Tag::parse(&format!("R-{thing}")).expect("a tag"),
        kind: ThingKind::Piece,
        gone: gone.map(str::to_owned),
    });
}

fn not_from(house: &mut House, supplier: SupplierId, name: &str) {
    let note = Note::default();
    house.input.design.not_from.push(NotFrom { supplier, note });
    let name = Name::parse(name).expect("a name");
    house.input.stock.not_from.push((supplier, name));
}

fn pieces(plan: &Plan) -> Vec<i64> {
    let cuts = plan.cuts.iter();
    cuts.filter_map(|cut| match cut.source {
        CutSource::Piece { thing, .. } => Some(thing.0),
        CutSource::Buy { .. } => None,
    })
    .collect()
}

/// A metre from a piece of a metre; left alone, a roll is bought: 30.00.
fn one_bar() -> (House, PartId, ThingId) {
    let mut house = House::new();
    let part = house.part(1, "tape", tape(RGB));
    house.offer(part, 5_000_000, 3_000);
    let piece = house.piece(20, part, 20, json!({}));
    house.bar(1, 1_000_000, RGB, json!({}));
    (house, part, piece)
}

#[test]
fn a_piece_left_alone_is_not_cut_and_what_that_costs_is_the_roll() {
    let (mut house, part, piece) = one_bar();
    let free = house.plan();
    assert_eq!(pieces(&free), [20]);
    assert_eq!(Tally::of(&free).money, Money::ZERO);
    leave(&mut house, piece, None);
    let pinned = house.plan();
    assert_eq!(pieces(&pinned), Vec::<i64>::new());
    assert_eq!(need(&pinned, part).expect("needed").short, 20);
    assert!(pinned.holds.iter().all(|hold| hold.bar.is_none()));
    assert_eq!(checks(&pinned, "left-alone")[0].state, CheckState::Passed);
    // Asked for the other way round: each equals the plan that was made for itself.
    let pins = Pin::of(&house.input.design);
    assert_eq!(pins, [Pin::LeftAlone(piece)]);
    let without = Other::Without(pins).ask(&house.input).expect("there");
    let without = tapewright::plan::plan(&without);
    assert_eq!(Tally::of(&without), Tally::of(&free));
    let costs = Tally::of(&pinned).money.get() - Tally::of(&without).money.get();
    assert_eq!(costs, 3_000);
    let other = one_bar().0.input;
    let other = Other::LeavingAlone(piece).ask(&other).expect("there");
    let other = tapewright::plan::plan(&other);
    assert_eq!(Tally::of(&other), Tally::of(&pinned));
}

#[test]
fn a_fixture_left_alone_serves_nothing_and_is_no_near_miss() {
    let mut house = House::new();
    let fixture = house.fixture(10, 1_000_000, RGB, json!({}));
    let near = house.fixture(11, 1_080_000, RGB, json!({}));
    house.bar(1, 1_000_000, RGB, json!({}));
    assert!(matches!(house.plan().bars[0].serve, Serve::Reuse { .. }));
    leave(&mut house, fixture, None);
    let plan = house.plan();
    assert!(matches!(plan.bars[0].serve, Serve::Short { .. }));
    let misses = |plan: &Plan| {
        plan.near_misses
            .iter()
            .map(|it| it.fixture)
            .collect::<Vec<_>>()
    };
    assert_eq!(misses(&plan), [near]);
    leave(&mut house, near, None);
    assert_eq!(misses(&house.plan()), []);
}

#[test]
fn what_was_left_alone_and_is_gone_is_said_and_not_dropped() {
    let (mut house, _, piece) = one_bar();
    house.input.stock.pieces.clear();
    leave(&mut house, piece, Some("it was cut up or used up"));
    let plan = house.plan();
    let [check] = checks(&plan, "left-alone")[..] else {
        panic!("{:?}", plan.checks);
    };
    assert_eq!(check.state, CheckState::Warned);
    assert_eq!(
        check.sentence,
        "R-20 was to be left alone, but it was cut up or used up."
    );
}

#[test]
fn nothing_is_bought_from_those_left_out_and_what_only_they_sell_is_named() {
    let (mut house, part, _) = one_bar();
    house.input.stock.pieces.clear();
    let dear = house.offer(part, 5_000_000, 4_500);
    let offer = house.input.offers.last_mut().expect("just added");
    offer.supplier = SupplierId(2);
    offer.supplier_name = "Ferry Lane Lighting".into();
    let bought = |plan: &Plan| -> Vec<OfferId> {
        let need = need(plan, part).expect("needed");
        need.buy.iter().map(|buy| buy.offer).collect()
    };
    let free = house.plan();
    assert_eq!(bought(&free), [OfferId(1)]);
    not_from(&mut house, SupplierId(1), "Weir Street Electrical");
    let pinned = house.plan();
    assert_eq!(bought(&pinned), [dear]);
    assert_eq!(
        Tally::of(&pinned).money.get() - Tally::of(&free).money.get(),
        1_500
    );
    assert_eq!(checks(&pinned, "not-from")[0].state, CheckState::Passed);
    not_from(&mut house, SupplierId(2), "Ferry Lane Lighting");
    let neither = house.plan();
    assert_eq!(bought(&neither), []);
    assert_eq!(Tally::of(&neither).unpriced, 1);
    let unsold = checks(&neither, "not-from");
    let warned: Vec<_> = unsold
        .iter()
        .filter(|check| check.state == CheckState::Warned)
        .collect();
    assert_eq!(warned.len(), 1, "{unsold:?}");
    assert!(
        warned[0]
            .sentence
            .contains("Ferry Lane Lighting or Weir Street Electrical"),
        "{}",
        warned[0].sentence
    );
}

/// One fixture fits both bars, a piece of a metre is there for one: choosing the fixture for the
/// metre bar has a roll bought for the longer one.
#[test]
fn a_fixture_chosen_where_it_saves_less_costs_the_roll() {
    let mut house = House::new();
    let part = house.part(1, "tape", tape(RGB));
    house.offer(part, 5_000_000, 3_000);
    let fixture = house.fixture(10, 1_000_000, RGB, json!({}));
    house.bar(1, 1_000_000, RGB, json!({}));
    house.bar(2, 1_050_000, RGB, json!({"shorter_um": 50_000}));
    house.piece(20, part, 20, json!({}));
    let free = Tally::of(&house.plan());
    assert_eq!(free.money, Money::ZERO);
    let ask = |other: Other| {
        let asked = other.ask(&house.input).expect("there");
        Tally::of(&tapewright::plan::plan(&asked))
    };
    assert_eq!(ask(Other::Choosing(BarId(1), fixture)).money.get(), 3_000);
    assert_eq!(ask(Other::Choosing(BarId(2), fixture)), free);
    assert!(
        Other::Choosing(BarId(9), fixture)
            .ask(&house.input)
            .is_none()
    );
    assert!(Other::NotBuying(OfferId(9)).ask(&house.input).is_none());
}

/// The bar asks for 1.08 m; the fixture has a metre. Were the bar a metre, no roll were bought.
#[test]
fn a_near_miss_saves_what_the_changed_set_does_not_need() {
    let mut house = House::new();
    let part = house.part(1, "tape", tape(RGB));
    house.offer(part, 5_000_000, 3_000);
    let fixture = house.fixture(10, 1_000_000, RGB, json!({}));
    house.bar(1, 1_080_000, RGB, json!({"shorter_um": 30_000}));
    let plan = house.plan();
    assert_eq!(plan.near_misses.len(), 1);
    let now = Tally::of(&plan);
    assert_eq!((now.money.get(), now.built, now.soldered), (3_000, 1, 1));
    let asked = Other::Fitting(BarId(1), fixture).ask(&house.input);
    let then = Tally::of(&tapewright::plan::plan(&asked.expect("there")));
    assert_eq!((then.money.get(), then.built, then.soldered), (0, 0, 0));
    let gone = Other::Fitting(BarId(1), ThingId(99)).ask(&house.input);
    assert!(gone.is_none());
}
