//! Reserving, building, standing and striking on a real file.

use std::collections::BTreeSet;

use jiff::civil::date;
use tapewright::{
    db::{Db, part::NewPart, place::NewPlace, reservation},
    model::{
        channel::{Channel, Channels},
        design::{Bar, Choices, LeftAlone, State},
        fixture::{Condition, Fed, Make},
        id::{BarId, DesignId, PartId, PlaceId, ThingId},
        part::{
            Data, DataUse, Diffuser, Fuse, FuseFamily, Measure, PartSpec, Profile, Sundry, Tape,
            TapeChannel,
        },
        place::PlaceKind,
        reservation::{Held, HoldState, HoldUse, NewHold},
        step::StepKind,
        text::{Name, Note},
    },
    plan::outcome::Serve,
    stock::{
        Act, StockError, What,
        build::{tick, untick},
        design::{self, Basics, Edit, Edited},
        make::{About, EnterFixture},
        mark::MarkCondition,
        out::{Fate, Out},
        planned::plan_now,
        receive::{Goods, Pieces, Receive},
        reserve::{Outcome, reserve},
        state::{Gone, go, previews},
        strike::{self, Back, CheckIn, CheckWhat},
        swap::{Swap, candidates},
        undo::Undo,
    },
    units::{Current, CutPitch, Date, Length, ShowDates, SignedLength, Voltage, Window},
};

const TODAY: Date = date(2026, 11, 2);

struct World {
    db: Db,
    shelf: PlaceId,
    _folder: tempfile::TempDir,
}

fn name(text: &str) -> Name {
    Name::parse(text).expect("a name")
}

fn white() -> Channels {
    Channels::new(vec![Channel::White]).expect("a colour")
}

impl World {
    async fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let db = Db::open(folder.path()).await.expect("a database");
        let mut tx = db.write().await.expect("a transaction");
        let place = NewPlace {
            parent: None,
            name: name("Store"),
            kind: PlaceKind::Room,
            position: 1,
            note: Note::default(),
        };
        let shelf = tapewright::db::place::add(&mut tx, &place)
            .await
            .expect("a place");
        tx.commit().await.expect("committed");
        Self {
            db,
            shelf,
            _folder: folder,
        }
    }

    fn act(&self) -> Act {
        self.on(TODAY)
    }

    fn on(&self, today: Date) -> Act {
        Act {
            db: self.db.clone(),
            who: name("Ada"),
            now_ms: 1_800_000_000_000,
            today,
            press: None,
        }
    }

    async fn part(&self, text: &str, spec: PartSpec) -> PartId {
        let mut tx = self.db.write().await.expect("a transaction");
        let part = NewPart {
            name: name(text),
            code: String::new(),
            spec,
            typical: false,
            ready_made: None,
            note: Note::default(),
        };
        let id = tapewright::db::part::add(&mut tx, &part)
            .await
            .expect("a part");
        tx.commit().await.expect("committed");
        id
    }

    async fn tape(&self) -> PartId {
        let spec = PartSpec::Tape(Tape {
            voltage_mv: Voltage::new(24_000).expect("a voltage"),
            width_um: Length::mm(10),
            channels: vec![TapeChannel {
                channel: Channel::White,
                kelvin: None,
                power_mw_per_m: None,
            }],
            coating: None,
            pads: None,
            common: None,
            pitch: CutPitch::new(1, 50_000).expect("a pitch"),
            joints: None,
            leds_per_m: None,
            leds_in_series: None,
            trace_common_uohm_per_m: None,
            trace_channel_uohm_per_m: None,
            rolls_um: vec![],
            roll_start: None,
            roll_end: None,
            longest_run_um: None,
        });
        self.part("White tape", spec).await
    }

    async fn profile(&self) -> PartId {
        let spec = PartSpec::Profile(Profile {
            bars_um: vec![],
            inner_width_um: Length::mm(12),
            diffuser: Diffuser::Opal,
            heat_mw_per_m: None,
            may_cut: true,
            kerf_um: Some(Length::mm(3)),
        });
        self.part("Opal profile", spec).await
    }

    async fn terminators(&self) -> PartId {
        let spec = PartSpec::Data(Data {
            used_as: DataUse::Terminator,
            length_um: None,
            outputs: None,
            connector: None,
        });
        self.part("Terminator", spec).await
    }

    async fn receive(&self, part: PartId, goods: Goods) -> Vec<ThingId> {
        let receive = Receive::new(part, self.shelf, goods);
        self.act()
            .carry_out(&receive)
            .await
            .expect("received")
            .things
    }

    async fn piece(&self, part: PartId, amount: i64) -> ThingId {
        let pieces = Pieces {
            number: 1,
            amount,
            rest_um: 0,
            start: tapewright::model::piece::End::Bare,
            end: tapewright::model::piece::End::Bare,
            joint_offset_units: None,
            batch: "B7".into(),
            tags: vec![],
            offcuts: false,
        };
        self.receive(part, Goods::Pieces(pieces)).await[0]
    }

    async fn fixture(&self, mm: u32) -> ThingId {
        let fixture = EnterFixture {
            about: About::new(self.shelf),
            make: Make {
                tape: None,
                profile: None,
                channels: white(),
                voltage_mv: Voltage::new(24_000).expect("a voltage"),
                lit_um: Length::mm(mm),
                diffused: true,
                fed: Fed::OneEnd,
                connector: Some(tapewright::model::connector::Connector {
                    family: name("two-pin inline"),
                    gender: tapewright::model::connector::Gender::Male,
                    pins: None,
                }),
            },
            batch: String::new(),
            reason: Note::default(),
        };
        self.act()
            .carry_out(&fixture)
            .await
            .expect("entered")
            .things[0]
    }

    async fn design(&self, text: &str, from: i8, to: i8, bars: &[(&str, u32)]) -> DesignId {
        let id = design::add(&self.act(), &basics(text, from, to), &[])
            .await
            .expect("a design");
        if !bars.is_empty() {
            self.edit(
                id,
                &[Edit::AddBars(
                    bars.iter().map(|it| bar(it.0, it.1)).collect(),
                )],
            )
            .await
            .expect("bars");
        }
        id
    }

    async fn version(&self, id: DesignId) -> i64 {
        self.read(id).await.version
    }

    async fn read(&self, id: DesignId) -> tapewright::model::design::Design {
        let mut tx = self.db.read().await.expect("a transaction");
        tapewright::db::design::lookup(&mut tx, id)
            .await
            .expect("read")
            .expect("there")
    }

    async fn edit(&self, id: DesignId, edits: &[Edit]) -> Result<Edited, StockError> {
        design::change(&self.act(), id, self.version(id).await, edits).await
    }

    /// Gives a reason for everything that wants one, so that what is tested is the stock.
    async fn excuse(&self, id: DesignId) {
        let planned = plan_now(&self.db, id, TODAY).await.expect("planned");
        for check in &planned.plan.checks {
            if check.state <= tapewright::plan::outcome::CheckState::Unknown {
                design::give_reason(&self.act(), id, &check.key, "Tried on the bench.")
                    .await
                    .expect("given");
            }
        }
    }

    async fn reserve(&self, id: DesignId) -> Outcome {
        self.excuse(id).await;
        let planned = plan_now(&self.db, id, TODAY).await.expect("planned");
        let version = self.version(id).await;
        reserve(&self.act(), id, version, &planned.digest)
            .await
            .expect("an answer")
    }

    async fn go(&self, id: DesignId, to: State) -> Result<Gone, StockError> {
        go(&self.act(), id, self.version(id).await, to).await
    }

    async fn holds(&self, id: DesignId) -> Vec<tapewright::model::reservation::Hold> {
        let mut tx = self.db.read().await.expect("a transaction");
        reservation::list(&mut tx, id).await.expect("holds")
    }

    async fn sound(&self) {
        let found = tapewright::stock::audit::audit(&self.db)
            .await
            .expect("audited");
        assert_eq!(found, Vec::<String>::new());
    }
}

fn dates(from: i8, to: i8) -> ShowDates {
    ShowDates::new(
        date(2026, 12, from),
        date(2026, 12, from),
        date(2026, 12, to),
    )
    .expect("in order")
}

fn basics(text: &str, from: i8, to: i8) -> Basics {
    Basics {
        name: name(text),
        dates: dates(from, to),
        budget_minor: None,
        note: Note::default(),
        choices: Choices::default(),
    }
}

fn bar(label: &str, mm: u32) -> Bar {
    Bar {
        id: BarId(0),
        label: name(label),
        length_um: Length::mm(mm),
        shorter_um: Length::mm(20),
        longer_um: Length::mm(20),
        channels: white(),
        voltage_mv: None,
        diffused: true,
        fed: Fed::OneEnd,
        frame: None,
        x_um: SignedLength::ZERO,
        y_um: SignedLength::ZERO,
        angle_mdeg: 0,
        group: String::new(),
        feed_place: String::new(),
        cable_um: Length::ZERO,
        tape: None,
        profile: None,
        fixture: None,
    }
}

fn held_things(holds: &[tapewright::model::reservation::Hold]) -> BTreeSet<ThingId> {
    holds
        .iter()
        .filter(|hold| hold.state == HoldState::Active)
        .filter_map(|hold| match hold.hold.held {
            Held::Thing { thing, .. } => Some(thing),
            Held::Count { .. } => None,
        })
        .collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_fifty_at_once_exactly_one_holds_the_last() {
    let world = World::new().await;
    let fixture = world.fixture(1200).await;
    let mut designs = Vec::new();
    for number in 0..50 {
        let id = world
            .design(&format!("Set {number}"), 4, 8, &[("Bar 1", 1200)])
            .await;
        world.excuse(id).await;
        designs.push(id);
    }
    // What each person read: the fixture is free.
    let mut read = Vec::new();
    for id in designs.clone() {
        let planned = plan_now(&world.db, id, TODAY).await.expect("planned");
        assert!(
            matches!(planned.plan.bars[0].serve, Serve::Reuse { fixture: it, .. } if it == fixture)
        );
        read.push((id, planned));
    }
    let mut tasks = tokio::task::JoinSet::new();
    for (id, planned) in read {
        let (act, version) = (world.act(), planned.input.design.version);
        tasks.spawn(async move { (id, reserve(&act, id, version, &planned.digest).await) });
    }
    let (mut holders, mut told) = (Vec::new(), 0);
    while let Some(done) = tasks.join_next().await {
        let (id, outcome) = done.expect("no panic");
        match outcome.expect("an answer") {
            Outcome::Reserved { holds, .. } => {
                assert_eq!(holds, 1);
                holders.push(id);
            }
            Outcome::Changed {
                plan, differences, ..
            } => {
                told += 1;
                assert!(!differences.is_empty());
                assert!(!matches!(plan.bars[0].serve, Serve::Reuse { .. }));
            }
        }
    }
    assert_eq!((holders.len(), told), (1, 49));
    for id in designs {
        let state = world.read(id).await.state;
        let expected = if id == holders[0] {
            State::Reserved
        } else {
            State::Draft
        };
        assert_eq!(state, expected);
        assert_eq!(world.holds(id).await.len(), usize::from(id == holders[0]));
    }
    // The others learn who has it.
    let mut tx = world.db.read().await.expect("a transaction");
    let other = world
        .holds(holders[0])
        .await
        .first()
        .map(|hold| hold.hold.held);
    assert_eq!(
        other,
        Some(Held::Thing {
            thing: fixture,
            from: 0,
            to: 1
        })
    );
    let input = tapewright::db::snapshot::input(
        &mut tx,
        if holders[0] == DesignId(1) {
            DesignId(2)
        } else {
            DesignId(1)
        },
        TODAY,
    )
    .await
    .expect("read")
    .expect("there");
    let holder = world.read(holders[0]).await.name;
    assert_eq!(
        input.stock.fixtures[0].freedom,
        tapewright::plan::input::Freedom::Not(format!("held for {holder} until 8 Dec 2026"))
    );
}

#[tokio::test]
async fn what_changed_since_the_plan_was_read_is_told_and_nothing_held() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1210).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.excuse(id).await;
    let read = plan_now(&world.db, id, TODAY).await.expect("planned");
    let dead = MarkCondition {
        thing: first,
        condition: Condition::Dead,
        reason: Note::default(),
    };
    world.act().carry_out(&dead).await.expect("marked");
    let version = world.version(id).await;
    let outcome = reserve(&world.act(), id, version, &read.digest)
        .await
        .expect("an answer");
    let Outcome::Changed { digest, plan, .. } = outcome else {
        panic!("another plan");
    };
    assert!(matches!(plan.bars[0].serve, Serve::Reuse { fixture, .. } if fixture == second));
    assert!(world.holds(id).await.is_empty());
    // The plan that was told of can be reserved.
    let outcome = reserve(&world.act(), id, version, &digest)
        .await
        .expect("an answer");
    assert!(matches!(outcome, Outcome::Reserved { holds: 1, .. }));
    // A stale page is not.
    assert!(matches!(
        reserve(&world.act(), id, version, &digest).await,
        Err(StockError::Changed)
    ));
}

#[tokio::test]
async fn a_hold_on_what_died_moves_to_a_like_fixture_or_breaks_until_reserved_again() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1200).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    let dead = |thing| MarkCondition {
        thing,
        condition: Condition::Dead,
        reason: Note::default(),
    };
    world.act().carry_out(&dead(first)).await.expect("marked");
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    let lost = Out {
        fate: Fate::Lost,
        what: vec![What::Thing { thing: second }],
        reason: Note::default(),
        design: None,
    };
    world.act().carry_out(&lost).await.expect("never refused");
    let holds = world.holds(id).await;
    assert_eq!(holds.len(), 1);
    assert_eq!(holds[0].state, HoldState::Broken);
    assert!(
        holds[0].broken_why.contains("it is lost"),
        "{}",
        holds[0].broken_why
    );

    let third = world.fixture(1195).await;
    world.reserve(id).await;
    let holds = world.holds(id).await;
    assert_eq!(held_things(&holds), [third].into());
    assert!(holds.iter().all(|hold| hold.state == HoldState::Active));
}

#[tokio::test]
async fn an_edit_of_a_reserved_set_changes_its_holds_with_it_or_not_at_all() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(900).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    assert_eq!(held_things(&world.holds(id).await), [first].into());

    let mut longer = world.read(id).await.bars[0].clone();
    longer.length_um = Length::mm(900);
    let edited = world
        .edit(id, &[Edit::ChangeBars(vec![longer.clone()])])
        .await
        .expect("edited");
    assert!(!edited.differences.is_empty());
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    assert_eq!(world.read(id).await.state, State::Reserved);

    // A label taken: nothing changes, the holds neither.
    let mut twice = bar("Bar 1", 600);
    twice.id = BarId(0);
    let refused = world.edit(id, &[Edit::AddBars(vec![twice])]).await;
    assert!(matches!(refused, Err(StockError::Field { ref field, .. }) if field == "label"));
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    // An edit from an older page neither.
    let stale = design::change(
        &world.act(),
        id,
        edited.version - 1,
        &[Edit::RemoveBars(vec![longer.id])],
    )
    .await;
    assert!(matches!(stale, Err(StockError::Changed)));
    assert_eq!(world.read(id).await.bars.len(), 1);
}

#[tokio::test]
async fn a_pin_changes_plan_and_holds_of_a_reserved_set_together() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1210).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    assert_eq!(held_things(&world.holds(id).await), [first].into());
    let leave = |thing| {
        let note = Note::default();
        Edit::LeaveAlone(LeftAlone { thing, note })
    };
    let edited = world.edit(id, &[leave(first)]).await.expect("pinned");
    assert!(!edited.differences.is_empty());
    assert_eq!(held_things(&world.holds(id).await), [second].into());

    // What is left alone is not chosen as well, and what is chosen not left alone: nothing changes.
    let bar = world.read(id).await.bars[0].id;
    let pick = |fixture| Edit::Pick { bar, fixture };
    let refused = world.edit(id, &[pick(Some(first))]).await;
    assert!(matches!(refused, Err(StockError::Field { ref field, .. }) if field == "fixture"));
    world.edit(id, &[pick(Some(second))]).await.expect("chosen");
    let refused = world.edit(id, &[leave(second)]).await;
    assert!(matches!(refused, Err(StockError::Field { ref field, .. }) if field == "thing"));
    assert_eq!(held_things(&world.holds(id).await), [second].into());

    // A copy for other days chooses its things anew.
    let copy = design::copy(&world.act(), id, &name("Lantern Walk again"), dates(14, 18)).await;
    let copied = world.read(copy.expect("copied")).await;
    assert_eq!(copied.left_alone, []);
    let edits = [pick(None), Edit::MayTake(first)];
    world.edit(id, &edits).await.expect("taken out");
    assert_eq!(held_things(&world.holds(id).await), [first].into());
    let twice = world.edit(id, &[Edit::MayTake(first)]).await;
    assert!(matches!(twice, Err(StockError::NotFound(_))), "{twice:?}");
    world.sound().await;
}

#[tokio::test]
async fn a_limit_without_a_reason_is_refused_by_name() {
    let world = World::new().await;
    world.tape().await;
    world.profile().await;
    let tape = world.tape_of().await;
    world.piece(tape, 60).await;
    let profile = world.profile_of().await;
    world.piece(profile, 3_000_000).await;
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    let planned = plan_now(&world.db, id, TODAY).await.expect("planned");
    let open: Vec<_> = planned
        .plan
        .checks
        .iter()
        .filter(|check| check.state <= tapewright::plan::outcome::CheckState::Unknown)
        .collect();
    assert!(!open.is_empty(), "the profile's heat is not known");
    let version = world.version(id).await;
    let refused = reserve(&world.act(), id, version, &planned.digest).await;
    let Err(StockError::Refused(sentence)) = refused else {
        panic!("refused");
    };
    for check in open {
        assert!(sentence.contains(&check.sentence), "{sentence}");
    }
    assert!(world.holds(id).await.is_empty());
}

impl World {
    async fn of(&self, text: &str) -> PartId {
        let mut tx = self.db.read().await.expect("a transaction");
        tapewright::db::part::find_by_name(&mut tx, text)
            .await
            .expect("read")
            .expect("there")
            .id
    }
    async fn tape_of(&self) -> PartId {
        self.of("White tape").await
    }
    async fn profile_of(&self) -> PartId {
        self.of("Opal profile").await
    }
}

/// Two bars from one roll, through cutting, assembling, standing and strike.
#[tokio::test]
async fn a_set_is_built_stands_and_comes_back() {
    let world = World::new().await;
    let (tape, profile) = (world.tape().await, world.profile().await);
    let solder = world
        .part(
            "Label",
            PartSpec::Sundry(Sundry {
                measure: Measure::Each,
                use_rate: None,
                goes_with: None,
                fuse: None,
            }),
        )
        .await;
    world.receive(solder, Goods::Count(10)).await;
    let roll = world.piece(tape, 100).await;
    world.piece(profile, 3_000_000).await;
    let own = world.fixture(600).await;
    let id = world
        .design(
            "Lantern Walk",
            4,
            8,
            &[("Bar 1", 1200), ("Bar 2", 1000), ("Bar 3", 600)],
        )
        .await;
    assert!(matches!(
        world.reserve(id).await,
        Outcome::Reserved { short: _, .. }
    ));
    let before = world.holds(id).await;
    assert!(held_things(&before).contains(&roll) && held_things(&before).contains(&own));

    let previews = previews(&world.db, id).await.expect("previews");
    assert_eq!(
        previews.iter().map(|it| it.to).collect::<Vec<_>>(),
        State::Reserved.next()
    );
    assert!(previews.iter().all(|it| !it.does.is_empty()));
    world.go(id, State::Building).await.expect("building");

    let steps = || async {
        let mut tx = world.db.read().await.expect("a transaction");
        tapewright::db::design::list_steps(&mut tx, id)
            .await
            .expect("steps")
    };
    let of = |steps: &[tapewright::model::step::Step], kind| {
        steps
            .iter()
            .filter(|step| step.kind == kind)
            .map(|step| step.id)
            .collect::<Vec<_>>()
    };
    let all = steps().await;
    let (cuts, assemblies) = (of(&all, StepKind::Cut), of(&all, StepKind::Assemble));
    assert_eq!((cuts.len(), assemblies.len()), (2, 2));

    // Assembling before cutting is refused and moves nothing.
    assert!(matches!(
        tick(&world.act(), assemblies[0]).await,
        Err(StockError::Refused(_))
    ));
    for step in &cuts {
        tick(&world.act(), *step).await.expect("cut");
    }
    // The holds have followed the cut: on children now, each held whole.
    let after = world.holds(id).await;
    assert_eq!(after.len(), before.len());
    assert!(
        after.iter().all(|hold| hold.state == HoldState::Active),
        "{after:#?}"
    );
    assert!(!held_things(&after).contains(&roll));
    assert!(matches!(
        world.go(id, State::Reserved).await,
        Err(StockError::Refused(_))
    ));

    // Taken back: everything as before, and cut again.
    untick(&world.act(), cuts[0]).await.expect("not cut");
    untick(&world.act(), cuts[1]).await.expect("not cut");
    assert_eq!(held_things(&world.holds(id).await), held_things(&before));
    for step in &cuts {
        tick(&world.act(), *step).await.expect("cut");
    }
    let made = tick(&world.act(), assemblies[0]).await.expect("assembled");
    let fixture = made.things[0];
    assert!(held_things(&world.holds(id).await).contains(&fixture));
    // A step is taken back where it was ticked, not from the log: it holds more than it moved.
    let undo = Undo {
        movement: made.movement.expect("a movement"),
        reason: Note::default(),
    };
    let from_log = world.act().carry_out(&undo).await;
    assert!(
        matches!(from_log, Err(StockError::Refused(ref why)) if why.contains("untick it")),
        "{from_log:?}"
    );
    // A cut that a fixture rests on is not taken back.
    let refused = untick(&world.act(), cuts[0]).await;
    let also = untick(&world.act(), cuts[1]).await;
    assert!(
        matches!(refused, Err(StockError::Refused(ref why)) if why.contains("assembled"))
            && matches!(also, Err(StockError::Refused(ref why)) if why.contains("assembled")),
        "{refused:?} {also:?}"
    );
    untick(&world.act(), assemblies[0])
        .await
        .expect("taken apart");
    assert!(!held_things(&world.holds(id).await).contains(&fixture));
    // Put together again it is the same one, under the tag that is on its label.
    let again = tick(&world.act(), assemblies[0]).await.expect("assembled");
    assert_eq!(again.things, [fixture]);
    world.sound().await;
    // One that was marked since is another: what was seen of it is not seen of the new one.
    untick(&world.act(), assemblies[0])
        .await
        .expect("taken apart");
    let marked = MarkCondition {
        thing: fixture,
        condition: Condition::Suspect,
        reason: Note::default(),
    };
    world.act().carry_out(&marked).await.expect("marked");
    let other = tick(&world.act(), assemblies[0]).await.expect("assembled");
    assert_ne!(other.things, [fixture]);
    tick(&world.act(), assemblies[1]).await.expect("assembled");
    world.sound().await;

    let gone = world.go(id, State::Standing).await.expect("standing");
    assert_eq!(gone.missing, Vec::<String>::new());
    let mut tx = world.db.read().await.expect("a transaction");
    let out = strike::list(&mut tx, id).await.expect("out");
    drop(tx);
    assert_eq!(out.len(), 3, "two new fixtures and one of before");
    assert!(out.iter().all(|line| line.came_from == Some(world.shelf)));
    assert!(matches!(
        world.go(id, State::Struck).await,
        Err(StockError::Refused(_))
    ));
    for (at, line) in out.iter().enumerate() {
        let strike::OutWhat::Thing(thing) = &line.what else {
            panic!("things only");
        };
        let check = CheckIn {
            design: id,
            what: CheckWhat::Thing {
                thing: thing.id,
                how: [Back::Good, Back::Dead, Back::Lost][at],
            },
            to: line.came_from,
            reason: Note::default(),
        };
        let done = world.act().carry_out(&check).await.expect("checked in");
        if at == 0 {
            let undo = Undo {
                movement: done.movement.expect("a movement"),
                reason: Note::default(),
            };
            world.act().carry_out(&undo).await.expect("out again");
            // The set holds it again, for its bar.
            let again = world.holds(id).await;
            assert!(held_things(&again).contains(&thing.id), "{again:#?}");
            world.act().carry_out(&check).await.expect("in again");
        }
    }
    world.go(id, State::Struck).await.expect("struck");
    assert!(world.holds(id).await.is_empty());
    world.sound().await;
}

/// What a set holds of fuses is free for a later one, what it holds of what is used up is not.
#[tokio::test]
async fn fuses_come_back_with_their_set_and_other_sundries_do_not() {
    let world = World::new().await;
    let sundry = |fuse| {
        PartSpec::Sundry(Sundry {
            measure: Measure::Each,
            use_rate: None,
            goes_with: None,
            fuse,
        })
    };
    let fuse = world
        .part(
            "Fuse",
            sundry(Some(Fuse {
                family: FuseFamily::Blade,
                rating_ma: Current::new(3_000).expect("a current"),
            })),
        )
        .await;
    let label = world.part("Label", sundry(None)).await;
    for part in [fuse, label] {
        world.receive(part, Goods::Count(3)).await;
    }
    let wanting = async |text: &str, from: i8, to: i8| {
        let id = world.design(text, from, to, &[]).await;
        let extra = |part| {
            Edit::AddExtra(tapewright::model::design::Extra {
                id: tapewright::model::id::ExtraId(0),
                part,
                amount: 3,
                note: Note::default(),
            })
        };
        let edits = [extra(fuse), extra(label)];
        world.edit(id, &edits).await.expect("extra lines");
        id
    };
    let there = async |id: DesignId, part: PartId| {
        let planned = plan_now(&world.db, id, TODAY).await.expect("planned");
        let need = planned.plan.needs.iter().find(|it| it.part == Some(part));
        need.map(|need| need.there)
    };
    let first = wanting("Lantern Walk", 4, 8).await;
    assert!(matches!(
        world.reserve(first).await,
        Outcome::Reserved { short: false, .. }
    ));
    let beside = wanting("Beside it", 8, 10).await;
    assert_eq!(there(beside, fuse).await, Some(0));
    let later = wanting("After it", 20, 24).await;
    assert_eq!(there(later, fuse).await, Some(3));
    assert_eq!(there(later, label).await, Some(0));
    assert!(matches!(
        world.reserve(later).await,
        Outcome::Reserved { short: true, .. }
    ));
    let held: Vec<HoldUse> = (world.holds(later).await.iter())
        .map(|hold| hold.hold.becomes)
        .collect();
    assert_eq!(held, [HoldUse::Returns]);

    world.go(first, State::Building).await.expect("building");
    world.go(first, State::Standing).await.expect("standing");
    let out = strike::list(&mut world.db.read().await.expect("a transaction"), first)
        .await
        .expect("what is out");
    let out: Vec<(PartId, i64)> = (out.iter())
        .filter_map(|line| match &line.what {
            strike::OutWhat::Count { part, amount, .. } => Some((*part, *amount)),
            strike::OutWhat::Thing(_) => None,
        })
        .collect();
    assert_eq!(out, [(fuse, 3)]);
    world.sound().await;
}

#[tokio::test]
async fn counts_are_held_taken_out_and_come_back_but_for_the_lost() {
    let world = World::new().await;
    let part = world.terminators().await;
    world.receive(part, Goods::Count(5)).await;
    let id = world.design("Lantern Walk", 4, 8, &[]).await;
    let extra = tapewright::model::design::Extra {
        id: tapewright::model::id::ExtraId(0),
        part,
        amount: 4,
        note: Note::default(),
    };
    world
        .edit(id, &[Edit::AddExtra(extra)])
        .await
        .expect("an extra line");
    // Whatever the plan makes of extra lines, a hold is a hold.
    let mut tx = world.db.write().await.expect("a transaction");
    let hold = NewHold {
        design: id,
        bar: None,
        held: Held::Count {
            part,
            amount: 4,
            due: None,
        },
        window: Window::new(date(2026, 12, 4), date(2026, 12, 8)).expect("in order"),
        becomes: HoldUse::Returns,
    };
    for (state, hold) in [(State::Reserved, Some(hold)), (State::Building, None)] {
        tapewright::db::design::change_state(&mut tx, id, state)
            .await
            .expect("state");
        if let Some(hold) = hold {
            reservation::add(&mut tx, &hold, TODAY, &name("Ada"))
                .await
                .expect("held");
        }
    }
    tx.commit().await.expect("committed");

    world.go(id, State::Standing).await.expect("standing");
    let available = |on: Date, from: i8, to: i8| {
        let db = world.db.clone();
        async move {
            let mut tx = db.read().await.expect("a transaction");
            let counted = reservation::list_counted(&mut tx, Some(part))
                .await
                .expect("read");
            let rules = tapewright::stock::holds::rules(&mut tx, on)
                .await
                .expect("rules");
            counted[&part].available(
                Window::new(date(2026, 12, from), date(2026, 12, to)).expect("in order"),
                rules,
            )
        }
    };
    assert_eq!(available(TODAY, 6, 10).await, 1);
    assert_eq!(available(TODAY, 9, 10).await, 5);
    // Late: not free until checked in.
    assert_eq!(available(date(2026, 12, 9), 10, 12).await, 1);

    let check = |back, lost| CheckIn {
        design: id,
        what: CheckWhat::Count { part, back, lost },
        to: Some(world.shelf),
        reason: Note::default(),
    };
    let late = world.on(date(2026, 12, 9));
    assert!(matches!(
        late.carry_out(&check(4, 1)).await,
        Err(StockError::Field { .. })
    ));
    late.carry_out(&check(3, 1)).await.expect("checked in");
    assert_eq!(available(date(2026, 12, 9), 10, 12).await, 4);
    assert!(world.holds(id).await.is_empty());
    world.go(id, State::Struck).await.expect("struck");
    world.sound().await;
}

#[tokio::test]
async fn of_a_count_that_shrinks_the_latest_hold_breaks() {
    let world = World::new().await;
    let part = world.terminators().await;
    world.receive(part, Goods::Count(5)).await;
    let mut designs = Vec::new();
    for text in ["Lantern Walk", "Harvest Hop"] {
        designs.push(world.design(text, 4, 8, &[]).await);
    }
    let mut tx = world.db.write().await.expect("a transaction");
    for id in &designs {
        tapewright::db::design::change_state(&mut tx, *id, State::Reserved)
            .await
            .expect("state");
        let hold = NewHold {
            design: *id,
            bar: None,
            held: Held::Count {
                part,
                amount: 2,
                due: None,
            },
            window: Window::new(date(2026, 12, 4), date(2026, 12, 8)).expect("in order"),
            becomes: HoldUse::Returns,
        };
        reservation::add(&mut tx, &hold, TODAY, &name("Ada"))
            .await
            .expect("held");
    }
    tx.commit().await.expect("committed");
    let mut tx = world.db.read().await.expect("a transaction");
    let from = tapewright::db::place::account(&mut tx, world.shelf)
        .await
        .expect("read")
        .expect("there");
    drop(tx);
    let lose = |amount| Out {
        fate: Fate::Lost,
        what: vec![What::Count { part, amount, from }],
        reason: Note::default(),
        design: None,
    };
    world.act().carry_out(&lose(1)).await.expect("lost");
    for id in &designs {
        assert_eq!(world.holds(*id).await[0].state, HoldState::Active);
    }
    world.act().carry_out(&lose(1)).await.expect("lost");
    assert_eq!(world.holds(designs[0]).await[0].state, HoldState::Active);
    assert_eq!(world.holds(designs[1]).await[0].state, HoldState::Broken);
}

#[tokio::test]
async fn a_dead_bar_is_swapped_for_a_free_one_in_one_go() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1200).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    world.go(id, State::Building).await.expect("building");
    world.go(id, State::Standing).await.expect("standing");
    let show = date(2026, 12, 5);
    let found = candidates(&world.db, first, show, Length::mm(10), Length::mm(10))
        .await
        .expect("candidates");
    assert_eq!(found.design, Some(id));
    assert_eq!(
        found.fit.iter().map(|it| it.fixture).collect::<Vec<_>>(),
        [second]
    );
    let swap = Swap {
        old: first,
        condition: Condition::Dead,
        new: second,
        reason: Note::default(),
    };
    let bar = world.holds(id).await[0].hold.bar;
    let done = world.on(show).carry_out(&swap).await.expect("swapped");
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    // One undo takes all of it back: place, condition and hold.
    let undo = Undo {
        movement: done.movement.expect("a movement"),
        reason: Note::default(),
    };
    world.on(show).carry_out(&undo).await.expect("swapped back");
    let back = world.holds(id).await;
    assert_eq!(held_things(&back), [first].into());
    assert_eq!(back[0].hold.bar, bar);
    let mut tx = world.db.read().await.expect("a transaction");
    for (thing, condition, on_stage) in [
        (first, Condition::Good, true),
        (second, Condition::Good, false),
    ] {
        let thing = tapewright::db::thing::lookup(&mut tx, thing)
            .await
            .expect("read")
            .expect("there");
        assert_eq!(thing.condition, condition);
        assert_eq!(thing.place.design.is_some(), on_stage);
    }
    drop(tx);
    world.sound().await;
    world
        .on(show)
        .carry_out(&swap)
        .await
        .expect("swapped again");
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    let mut tx = world.db.read().await.expect("a transaction");
    let out = strike::list(&mut tx, id).await.expect("out");
    assert_eq!(out.len(), 2, "the dead one comes back at strike too");
    drop(tx);
    // The same again finds the new one taken.
    assert!(matches!(
        world.on(show).carry_out(&swap).await,
        Err(StockError::Refused(_))
    ));
    world.sound().await;
}

#[tokio::test]
async fn a_copy_has_the_bars_but_not_the_things_of_the_set_it_was_made_from() {
    let world = World::new().await;
    let fixture = world.fixture(1200).await;
    let id = world
        .design("Lantern Walk", 4, 8, &[("Bar 1", 1200), ("Bar 2", 900)])
        .await;
    let bars = world.read(id).await.bars;
    world
        .edit(
            id,
            &[
                Edit::Pick {
                    bar: bars[0].id,
                    fixture: Some(fixture),
                },
                Edit::Reorder(vec![bars[1].id]),
            ],
        )
        .await
        .expect("edited");
    let copy = design::copy(&world.act(), id, &name("Lantern Walk 2"), dates(14, 18))
        .await
        .expect("copied");
    let (old, new) = (world.read(id).await, world.read(copy).await);
    assert_eq!(
        new.bars
            .iter()
            .map(|bar| bar.label.as_str())
            .collect::<Vec<_>>(),
        ["Bar 2", "Bar 1"]
    );
    assert_eq!(old.bars[1].fixture, Some(fixture));
    assert!(new.bars.iter().all(|bar| bar.fixture.is_none()));
    assert!(
        new.bars
            .iter()
            .all(|bar| old.bars.iter().all(|it| it.id != bar.id))
    );
    let taken = design::copy(&world.act(), id, &name("lantern walk"), dates(14, 18)).await;
    assert!(matches!(taken, Err(StockError::Field { ref field, .. }) if field == "name"));
}

#[test]
fn labels_run_on_past_those_that_are_taken() {
    let mut design = tapewright::model::design::Design {
        id: DesignId(1),
        name: name("x"),
        state: State::Draft,
        dates: dates(4, 8),
        budget_minor: None,
        note: Note::default(),
        choices: Choices::default(),
        frames: vec![],
        bars: vec![bar("Bar 9", 1000)],
        extras: vec![],
        left_alone: vec![],
        not_from: vec![],
        version: 1,
    };
    let labels = |design: &_, first: &str| -> Vec<String> {
        design::labels(design, &name(first), 3)
            .iter()
            .map(ToString::to_string)
            .collect()
    };
    assert_eq!(labels(&design, "Bar 8"), ["Bar 8", "Bar 10", "Bar 11"]);
    design.bars.clear();
    assert_eq!(labels(&design, "Left"), ["Left", "Left 2", "Left 3"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_plan_that_several_ask_for_at_once_is_made_once() {
    let world = World::new().await;
    let tape = world.tape().await;
    world.piece(tape, 5_000).await;
    let id = world
        .design("Asked at once", 10, 20, &[("1", 1000), ("2", 1500)])
        .await;
    let asks = (0..6).map(|_| {
        let db = world.db.clone();
        tokio::spawn(async move { plan_now(&db, id, TODAY).await.expect("a plan") })
    });
    let mut plans = Vec::new();
    for ask in asks.collect::<Vec<_>>() {
        plans.push(ask.await.expect("an answer"));
    }
    for plan in &plans {
        assert!(std::sync::Arc::ptr_eq(plan, &plans[0]));
    }
}

#[tokio::test]
async fn a_plan_stands_until_something_changes_that_it_was_made_from() {
    let world = World::new().await;
    let tape = world.tape().await;
    world.piece(tape, 5_000).await;
    let id = world
        .design("Asked again", 10, 20, &[("1", 1000), ("2", 1500)])
        .await;
    let plan = || async { plan_now(&world.db, id, TODAY).await.expect("a plan") };
    let first = plan().await;
    // Another set that holds nothing is nothing to this one.
    world.design("Another", 22, 25, &[("1", 1000)]).await;
    let second = plan().await;
    assert!(std::sync::Arc::ptr_eq(&first, &second));
    // And it may be reserved as it was read, though the book has moved since.
    let mut tx = world.db.read().await.expect("a transaction");
    let now = tapewright::db::venue::revision(&mut tx)
        .await
        .expect("read");
    drop(tx);
    assert_eq!(second.revision(), now);
    world.piece(tape, 4_000).await;
    let third = plan().await;
    assert!(!std::sync::Arc::ptr_eq(&first, &third));
    assert_eq!(third.input.stock.pieces.len(), 2);
}

#[tokio::test]
async fn a_bar_that_was_marked_bad_first_still_hangs_there_and_its_place_goes_to_the_new_one() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1200).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    world.go(id, State::Building).await.expect("building");
    world.go(id, State::Standing).await.expect("standing");
    let bar = world.holds(id).await[0].hold.bar.expect("a bar");
    let show = date(2026, 12, 5);
    let mark = MarkCondition {
        thing: first,
        condition: Condition::Suspect,
        reason: Note::default(),
    };
    world.on(show).carry_out(&mark).await.expect("marked");
    assert_eq!(world.holds(id).await[0].state, HoldState::Broken);
    let serving = || async {
        let mut tx = world.db.read().await.expect("a transaction");
        let serving = reservation::list_serving(&mut tx, id, false).await;
        serving.expect("read").get(&bar).map(|(thing, _)| *thing)
    };
    assert_eq!(serving().await, Some(first));
    let swap = Swap {
        old: first,
        condition: Condition::Suspect,
        new: second,
        reason: Note::default(),
    };
    world.on(show).carry_out(&swap).await.expect("swapped");
    assert_eq!(serving().await, Some(second));
    let holds = world.holds(id).await;
    assert_eq!(holds.len(), 1, "nothing that is broken stays: {holds:?}");
    assert_eq!(
        (holds[0].state, holds[0].hold.bar),
        (HoldState::Active, Some(bar))
    );
    world.sound().await;
}

#[tokio::test]
async fn what_is_swapped_into_a_reserved_set_is_chosen_by_hand_whatever_its_length() {
    let world = World::new().await;
    let (first, second) = (world.fixture(1200).await, world.fixture(1100).await);
    let id = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(id).await;
    let before = world.read(id).await;
    let swap = Swap {
        old: first,
        condition: Condition::Dead,
        new: second,
        reason: Note::default(),
    };
    world.act().carry_out(&swap).await.expect("swapped");
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    let design = world.read(id).await;
    assert!(design.version > before.version);
    assert_eq!(design.bars[0].fixture, Some(second));
    assert_eq!(design.bars[0].shorter_um, Length::mm(100));
    assert_eq!(design.bars[0].longer_um, before.bars[0].longer_um);
    // A new plan keeps it, and is the one that is held.
    let mut tx = world.db.read().await.expect("a transaction");
    let kept = tapewright::db::design::lookup_plan(&mut tx, id)
        .await
        .expect("read")
        .expect("a plan");
    drop(tx);
    let planned = plan_now(&world.db, id, TODAY).await.expect("planned");
    assert_eq!(planned.plan.holds, kept.plan.holds);
    assert_eq!(planned.plan.bars[0].serve, kept.plan.bars[0].serve);
    world.reserve(id).await;
    assert_eq!(held_things(&world.holds(id).await), [second].into());
    world.sound().await;
}

/// What the tape of a set's only bar is cut from, in its plan as it is now, and what it would be if
/// nothing were held yet.
async fn tape_now(world: &World, id: DesignId) -> (Vec<Held>, Vec<Held>) {
    let planned = plan_now(&world.db, id, TODAY).await.expect("planned");
    let mut anew = planned.input.clone();
    anew.held = None;
    let held = |plan: &tapewright::plan::Plan| plan.holds.iter().map(|hold| hold.held).collect();
    (held(&planned.plan), held(&tapewright::plan::plan(&anew)))
}

#[tokio::test]
async fn two_sets_on_the_same_rolls_leave_each_other_what_they_hold() {
    let world = World::new().await;
    let (tape, profile) = (world.tape().await, world.profile().await);
    for amount in [50, 30] {
        world.piece(tape, amount).await;
        world.piece(profile, amount * 50_000).await;
    }
    let first = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1000)]).await;
    let second = world.design("Owl Tree", 4, 8, &[("Bar 1", 1250)]).await;
    let held = async |id| -> Vec<Held> {
        let holds = world.holds(id).await;
        holds.iter().map(|hold| hold.hold.held).collect()
    };
    world.reserve(first).await;
    let of_first = held(first).await;
    assert!(of_first.len() >= 2, "{of_first:?}");
    world.reserve(second).await;
    let of_second = held(second).await;

    // By the rests alone, the first would now be cut from the other roll.
    let (now, anew) = tape_now(&world, first).await;
    assert_eq!(now, of_first);
    assert_ne!(anew, of_first, "nothing would draw it away");
    // Held once more, neither set moves.
    for _ in 0..2 {
        for id in [first, second] {
            world.reserve(id).await;
        }
    }
    assert_eq!(held(first).await, of_first);
    assert_eq!(held(second).await, of_second);

    // A piece that saves soldering is worth a change.
    let leaded = Pieces {
        number: 1,
        amount: 21,
        rest_um: 0,
        start: tapewright::model::piece::End::Lead {
            connector: tapewright::model::connector::Connector {
                family: name("two-pin inline"),
                gender: tapewright::model::connector::Gender::Male,
                pins: None,
            },
        },
        end: tapewright::model::piece::End::Bare,
        joint_offset_units: None,
        batch: "B7".into(),
        tags: vec![],
        offcuts: false,
    };
    let leaded = world.receive(tape, Goods::Pieces(leaded)).await[0];
    let (now, _) = tape_now(&world, first).await;
    let from_it = |held: &Held| matches!(held, Held::Thing { thing, .. } if *thing == leaded);
    assert!(now.iter().any(from_it), "{now:?}");
    world.sound().await;
}

#[tokio::test]
async fn a_reserved_set_keeps_its_fixture_when_a_like_one_comes_free() {
    let world = World::new().await;
    let (one, other) = (world.fixture(1200).await, world.fixture(1200).await);
    let first = world.design("Lantern Walk", 4, 8, &[("Bar 1", 1200)]).await;
    let second = world.design("Owl Tree", 4, 8, &[("Bar 1", 1200)]).await;
    world.reserve(first).await;
    world.reserve(second).await;
    assert_eq!(held_things(&world.holds(first).await), [one].into());
    assert_eq!(held_things(&world.holds(second).await), [other].into());
    world.go(first, State::Cancelled).await.expect("given up");
    let (now, anew) = tape_now(&world, second).await;
    let thing = |held: &[Held]| match held[0] {
        Held::Thing { thing, .. } => thing,
        Held::Count { .. } => panic!("a fixture"),
    };
    assert_eq!(thing(&now), other);
    assert_eq!(thing(&anew), one, "nothing would draw it away");
    world.sound().await;
}

#[tokio::test]
async fn a_cable_that_has_its_length_comes_back_and_one_that_is_cut_does_not() {
    let world = World::new().await;
    let cable = PartSpec::Cable(tapewright::model::part::Cable {
        conductors: 4,
        conductor: None,
        strand: None,
        colours: vec![],
        reels_um: vec![],
        rating_ma: None,
    });
    let cable = world.part("Cable 4", cable).await;
    let run = world.piece(cable, 2_000_000).await;
    let autumn = world.design("Lantern Walk", 4, 8, &[]).await;
    let winter = world.design("Owl Tree", 14, 18, &[]).await;
    let length = |amount| {
        Edit::AddExtra(tapewright::model::design::Extra {
            id: tapewright::model::id::ExtraId(0),
            part: cable,
            amount,
            note: Note::default(),
        })
    };
    for id in [autumn, winter] {
        world
            .edit(id, &[length(2_000_000)])
            .await
            .expect("asked for");
        world.reserve(id).await;
        let holds = world.holds(id).await;
        assert_eq!(held_things(&holds), [run].into());
        assert!(
            holds
                .iter()
                .all(|hold| hold.hold.becomes == HoldUse::Returns)
        );
    }
    // Of a reel that is cut nobody knows what comes back.
    let reel = world.piece(cable, 9_000_000).await;
    let spring = world.design("Tide Table", 22, 26, &[]).await;
    world
        .edit(spring, &[length(3_000_000)])
        .await
        .expect("asked for");
    world.reserve(spring).await;
    let holds = world.holds(spring).await;
    assert_eq!(held_things(&holds), [reel].into());
    assert!(
        holds
            .iter()
            .all(|hold| hold.hold.becomes == HoldUse::Consumed)
    );
    world.sound().await;
}
