//! The ledger against a model that is too simple to be wrong: random sequences of everything that
//! moves stock, and after each the same counts, the same pieces in the same places, and an audit
//! that finds nothing. `TAPEWRIGHT_SEED` repeats one sequence.

#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use std::collections::{BTreeMap, BTreeSet};

use tapewright::{
    db::{self, Db},
    model::{
        fixture::Condition,
        id::{AccountId, DesignId, MovementId, PartId, PlaceId, ThingId},
        part::PartSpec,
        piece::{End, length_of},
        place::PlaceKind,
        text::{Name, Note},
    },
    plan::Input,
    stock::{
        Act, Done, StockError, What,
        audit::audit,
        change::Change,
        count::Counted,
        cut::{Cut, Segment},
        lend::{GiveBack, Lend},
        mark::MarkCondition,
        move_::Move,
        out::{Fate, Find, LostWhat, Out},
        receive::{Goods, Pieces, Receive},
        undo::Undo,
    },
    units::{Date, Length},
};

/// A small generator (splitmix64), so that a seed means the same on every machine.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From `low` to `high`, both included.
    fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low + 1).unwrap();
        low + i64::try_from(self.roll() % span).unwrap()
    }

    fn pick<'a, T>(&mut self, items: &'a [T]) -> Option<&'a T> {
        let last = i64::try_from(items.len()).unwrap() - 1;
        (last >= 0).then(|| &items[usize::try_from(self.between(0, last)).unwrap()])
    }
}

#[derive(Debug, Clone, Copy)]
enum Step {
    Count(PartId, i64, AccountId, AccountId),
    Thing(ThingId, AccountId, AccountId),
    Mark(ThingId, Condition, Condition),
}

#[derive(Debug, Clone)]
struct Recorded {
    id: MovementId,
    steps: Vec<Step>,
    cut: bool,
    undone: bool,
}

#[derive(Debug, Clone)]
struct ModelPiece {
    part: PartId,
    amount: i64,
    rest_um: i64,
    at: AccountId,
    condition: Condition,
}

#[derive(Debug, Default)]
struct Model {
    counts: BTreeMap<(PartId, AccountId), i64>,
    pieces: BTreeMap<ThingId, ModelPiece>,
    book: Vec<Recorded>,
    /// Accounts of what is one's own: places and loans.
    owned: BTreeSet<AccountId>,
    /// Undos that were refused.
    refused: usize,
}

impl Model {
    fn count(&self, part: PartId, at: AccountId) -> i64 {
        self.counts.get(&(part, at)).copied().unwrap_or(0)
    }

    fn apply(&mut self, step: Step) {
        match step {
            Step::Count(part, amount, from, to) => {
                *self.counts.entry((part, from)).or_default() -= amount;
                *self.counts.entry((part, to)).or_default() += amount;
            }
            Step::Thing(thing, _, to) => self.pieces.get_mut(&thing).unwrap().at = to,
            Step::Mark(thing, _, after) => self.pieces.get_mut(&thing).unwrap().condition = after,
        }
    }

    fn record(&mut self, id: MovementId, cut: bool, steps: Vec<Step>) {
        for step in &steps {
            self.apply(*step);
        }
        self.book.push(Recorded {
            id,
            steps,
            cut,
            undone: false,
        });
    }

    /// Whether a movement may be undone, by the rules and not by the code.
    fn may_undo(&self, at: usize) -> bool {
        let it = &self.book[at];
        let mut taken: BTreeMap<(PartId, AccountId), i64> = BTreeMap::new();
        !it.undone
            && it.steps.iter().all(|step| match *step {
                Step::Thing(thing, from, to) => {
                    let touched = it.cut
                        && from == AccountId::BENCH
                        && self.book[at + 1..].iter().any(|later| {
                            !later.undone
                            && later.steps.iter().any(
                                |step| matches!(step, Step::Thing(other, ..) if *other == thing),
                            )
                        });
                    self.pieces[&thing].at == to && !touched
                }
                Step::Count(part, amount, _, to) => {
                    let taken = taken.entry((part, to)).or_default();
                    *taken += amount;
                    !(self.owned.contains(&to) || to == AccountId::LOST)
                        || self.count(part, to) >= *taken
                }
                Step::Mark(thing, _, after) => self.pieces[&thing].condition == after,
            })
    }

    fn undo(&mut self, at: usize) {
        self.book[at].undone = true;
        for step in self.book[at].steps.clone().into_iter().rev() {
            self.apply(match step {
                Step::Count(part, amount, from, to) => Step::Count(part, amount, to, from),
                Step::Thing(thing, from, to) => Step::Thing(thing, to, from),
                Step::Mark(thing, before, after) => Step::Mark(thing, after, before),
            });
        }
    }
}

struct House {
    _folder: tempfile::TempDir,
    db: Db,
    places: Vec<(PlaceId, AccountId)>,
    clips: PartId,
    screws: PartId,
    tape: PartId,
    profile: PartId,
    now_ms: i64,
}

fn day() -> Date {
    "2026-11-02".parse().unwrap()
}

impl House {
    async fn open() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(folder.path()).await.unwrap();
        let mut tx = db.write().await.unwrap();
        let mut places = Vec::new();
        for name in ["Store room", "Workshop", "Van"] {
            let new = db::place::NewPlace {
                parent: None,
                name: Name::parse(name).unwrap(),
                kind: PlaceKind::Room,
                position: 0,
                note: Note::default(),
            };
            let id = db::place::add(&mut tx, &new).await.unwrap();
            places.push((id, db::place::account(&mut tx, id).await.unwrap().unwrap()));
        }
        let mut ids = Vec::new();
        for (name, spec) in [
            (
                "Clip",
                serde_json::json!({"kind": "sundry", "measure": "each"}),
            ),
            (
                "Screw",
                serde_json::json!({"kind": "sundry", "measure": "each"}),
            ),
            // Three units in 50 mm: no whole micrometres each.
            (
                "Tape",
                serde_json::json!({"kind": "tape", "voltage_mv": 24_000, "width_um": 10_000,
                "channels": [{"channel": "white"}], "pitch": {"units": 3, "um": 50_000},
                "joints": {"every_units": 30, "offset_units": 0}, "rolls_um": [5_000_000]}),
            ),
            (
                "Profile",
                serde_json::json!({"kind": "profile", "inner_width_um": 12_000,
                "diffuser": "opal", "may_cut": true, "kerf_um": 3_000}),
            ),
        ] {
            let spec: PartSpec = serde_json::from_value(spec).unwrap();
            let new = db::part::NewPart {
                name: Name::parse(name).unwrap(),
                code: String::new(),
                spec,
                typical: true,
                ready_made: None,
                note: Note::default(),
            };
            ids.push(db::part::add(&mut tx, &new).await.unwrap());
        }
        sqlx::raw_sql(
            r#"INSERT INTO design (id, name, build_on, get_in, strike_on)
                 VALUES (1, 'Lantern Walk', '2026-11-20', '2026-11-21', '2026-11-30'),
                   (2, 'Foyer', '2026-11-10', '2026-11-11', '2026-11-19');
               INSERT INTO bar (design_id, position, label, length_um, shorter_um, longer_um, channels, diffused,
                 fed, x_um, y_um, angle_mdeg, cable_um)
                 VALUES (1, 1, 'bar 1', 900000, 50000, 0, '["white"]', 1, 'one_end', 0, 0, 0, 0),
                   (2, 1, 'bar 1', 900000, 50000, 0, '["white"]', 0, 'one_end', 0, 0, 0, 0);"#,
        )
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
        Self {
            _folder: folder,
            db,
            places,
            clips: ids[0],
            screws: ids[1],
            tape: ids[2],
            profile: ids[3],
            now_ms: 1_780_000_000_000,
        }
    }

    async fn go<C: Change + Sync>(&mut self, change: C) -> Result<C::Answer, StockError> {
        self.now_ms += 60_000;
        let act = Act {
            db: self.db.clone(),
            who: Name::parse("Ines").unwrap(),
            now_ms: self.now_ms,
            today: day(),
            press: None,
        };
        act.carry_out(&change).await
    }
}

fn none() -> Note {
    Note::default()
}

/// Runs one sequence; how many cuts, undone movements and refused undos it had.
async fn sequence(seed: u64) -> [usize; 3] {
    let mut dice = Dice(seed);
    let mut house = House::open().await;
    let mut model = Model::default();
    model
        .owned
        .extend(house.places.iter().map(|(_, account)| *account));
    let steps = 70;
    for step in 0..steps {
        let at = format!("seed {seed}, step {step}");
        one_step(&mut dice, &mut house, &mut model, &at).await;
        beside(&mut dice, &house).await;
        if step % 3 == 0 {
            as_read_from_nothing(&house, &at).await;
        }
    }
    compare(&house, &model, &format!("seed {seed}")).await;
    [
        model.book.iter().filter(|it| it.cut).count(),
        model.book.iter().filter(|it| it.undone).count(),
        model.refused,
    ]
}

/// Changes that are no movement, by another program as much as by ours; some are taken back.
async fn beside(dice: &mut Dice, house: &House) {
    let sql = match dice.between(0, 11) {
        0 => "UPDATE piece SET batch = batch || 'b' WHERE thing_id % 3 = 0",
        1 => "UPDATE piece SET end_end = start_end, joint_offset_units = 4 WHERE thing_id % 4 = 1",
        2 => "UPDATE thing SET tag = tag || 'X' WHERE id = (SELECT max(id) FROM thing WHERE length(tag) < 9)",
        3 => "UPDATE place SET position = (position + 2) % 5, name = name || '.' WHERE id = 2",
        4 => "UPDATE loan SET due_on = '2026-11-19'",
        5 => {
            "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
             SELECT 1, thing.id, 0, 1, '2026-11-20', '9999-12-31', 'consumed', '2026-11-02', 'Ines'
             FROM thing JOIN piece ON piece.thing_id = thing.id JOIN account ON account.id = thing.account_id
             WHERE account.kind = 'place' AND piece.amount > 1 AND thing.condition = 'good'
               AND NOT EXISTS (SELECT 1 FROM hold WHERE hold.thing_id = thing.id) LIMIT 1"
        }
        _ => return,
    };
    let takes_back = dice.between(0, 2) == 0;
    let mut tx = house.db.write().await.unwrap();
    sqlx::query(sql).execute(&mut *tx).await.unwrap();
    if takes_back {
        inputs(&mut tx).await;
    } else {
        // As another program would: our revision stays.
        tx.commit_quietly().await.unwrap();
    }
}

/// What each set would be planned from.
async fn inputs(tx: &mut impl db::snapshot::Reads) -> Vec<Input> {
    let mut all = Vec::new();
    for id in [1, 2] {
        all.push(
            db::snapshot::input(tx, DesignId(id), day())
                .await
                .unwrap()
                .unwrap(),
        );
    }
    all
}

/// What is read through memory is what is read from nothing.
async fn as_read_from_nothing(house: &House, at: &str) {
    let mut reads = house.db.read().await.unwrap();
    let remembered = inputs(&mut reads).await;
    drop(reads);
    let mut writes = house.db.write().await.unwrap();
    let anew = inputs(&mut writes).await;
    assert_eq!(remembered, anew, "{at}");
}

async fn one_step(dice: &mut Dice, house: &mut House, model: &mut Model, at: &str) {
    let part = *dice.pick(&[house.clips, house.screws]).unwrap();
    let (place, account) = *dice.pick(&house.places.clone()).unwrap();
    let (_, source) = *dice.pick(&house.places.clone()).unwrap();
    let movable: Vec<ThingId> = model
        .pieces
        .iter()
        .filter(|(_, piece)| model.owned.contains(&piece.at))
        .map(|(id, _)| *id)
        .collect();
    let thing = dice.pick(&movable).copied();
    match dice.between(0, 13) {
        0 | 1 => {
            let amount = dice.between(1, 40);
            let done = house
                .go(Receive::new(part, place, Goods::Count(amount)))
                .await
                .unwrap_or_else(|why| panic!("{at}: {why}"));
            model.record(
                done.movement.unwrap(),
                false,
                vec![Step::Count(part, amount, AccountId::WORLD, account)],
            );
        }
        2 => receive_pieces(dice, house, model, at).await,
        3 => {
            // Sometimes more than there is: refused, and nothing changed.
            let there = model.count(part, source);
            let amount = dice.between(1, there + 3);
            let what = vec![What::Count {
                part,
                amount,
                from: source,
            }];
            let done = house
                .go(Move {
                    what,
                    to: place,
                    reason: none(),
                })
                .await;
            if amount > there {
                assert!(
                    matches!(&done, Err(StockError::Field { field, .. }) if field == "amount"),
                    "{at}: {done:?}"
                );
            } else if source == account {
                assert_eq!(done.unwrap(), Done::default(), "{at}");
            } else {
                let steps = vec![Step::Count(part, amount, source, account)];
                model.record(done.unwrap().movement.unwrap(), false, steps);
            }
        }
        4 => {
            let Some(thing) = thing else { return };
            let from = model.pieces[&thing].at;
            let done = house
                .go(Move {
                    what: vec![What::Thing { thing }],
                    to: place,
                    reason: none(),
                })
                .await
                .unwrap_or_else(|why| panic!("{at}: {why}"));
            if from == account {
                assert_eq!(done.movement, None, "{at}");
            } else {
                let steps = vec![Step::Thing(thing, from, account)];
                model.record(done.movement.unwrap(), false, steps);
            }
        }
        5 | 6 => take_out(dice, house, model, at, part, source, thing).await,
        7 => {
            let counted = dice.between(0, 30);
            let booked = model.count(part, account);
            let done = house
                .go(Counted {
                    part,
                    place,
                    counted,
                    reason: none(),
                })
                .await
                .unwrap_or_else(|why| panic!("{at}: {why}"));
            match done.movement {
                None => assert_eq!(counted, booked, "{at}"),
                Some(id) => {
                    let (from, to) = if counted > booked {
                        (AccountId::ADJUST, account)
                    } else {
                        (account, AccountId::ADJUST)
                    };
                    let steps = vec![Step::Count(part, (counted - booked).abs(), from, to)];
                    model.record(id, false, steps);
                    assert_eq!(model.count(part, account), counted, "{at}");
                }
            }
        }
        8 | 9 => cut(dice, house, model, at).await,
        10 => lend(dice, house, model, at, part, source, thing).await,
        11 => {
            let Some(thing) = thing else { return };
            let condition = *dice.pick(Condition::ALL).unwrap();
            let before = model.pieces[&thing].condition;
            let done = house
                .go(MarkCondition {
                    thing,
                    condition,
                    reason: none(),
                })
                .await
                .unwrap_or_else(|why| panic!("{at}: {why}"));
            match done.movement {
                None => assert_eq!(before, condition, "{at}"),
                Some(id) => {
                    model.record(id, false, vec![Step::Mark(thing, before, condition)]);
                }
            }
        }
        _ => {
            if model.book.is_empty() {
                return;
            }
            // Rather one of the last.
            let last = i64::try_from(model.book.len()).unwrap() - 1;
            let which = usize::try_from(dice.between((last - 8).max(0), last)).unwrap();
            let may = model.may_undo(which);
            let id = model.book[which].id;
            let done = house
                .go(Undo {
                    movement: id,
                    reason: none(),
                })
                .await;
            match done {
                Ok(_) => {
                    assert!(
                        may,
                        "{at}: movement {id} was undone although it must not be"
                    );
                    model.undo(which);
                }
                Err(StockError::Refused(why)) => {
                    assert!(!may, "{at}: undo of movement {id} was refused: {why}");
                    model.refused += 1;
                }
                Err(why) => panic!("{at}: undo of movement {id}: {why}"),
            }
        }
    }
}

async fn receive_pieces(dice: &mut Dice, house: &mut House, model: &mut Model, at: &str) {
    let (place, account) = *dice.pick(&house.places.clone()).unwrap();
    let mut tx = house.db.read().await.unwrap();
    let part = *dice.pick(&[house.tape, house.profile]).unwrap();
    let part = db::part::lookup(&mut tx, part).await.unwrap().unwrap();
    drop(tx);
    let length = Length::new(dice.between(20_000, 5_000_000)).unwrap();
    let number = usize::try_from(dice.between(1, 3)).unwrap();
    let pieces = Pieces::as_bought(&part, length, number);
    let (amount, rest_um) = (pieces.amount, pieces.rest_um);
    assert_eq!(
        length_of(part.unit(), amount, rest_um),
        length,
        "{at}: what was received is as long as it was typed"
    );
    let done = house
        .go(Receive::new(part.id, place, Goods::Pieces(pieces)))
        .await
        .unwrap_or_else(|why| panic!("{at}: {why}"));
    assert_eq!(done.things.len(), number, "{at}");
    for thing in &done.things {
        model.pieces.insert(
            *thing,
            ModelPiece {
                part: part.id,
                amount,
                rest_um,
                at: AccountId::WORLD,
                condition: Condition::Good,
            },
        );
    }
    let steps = done
        .things
        .iter()
        .map(|thing| Step::Thing(*thing, AccountId::WORLD, account))
        .collect();
    model.record(done.movement.unwrap(), false, steps);
}

async fn take_out(
    dice: &mut Dice,
    house: &mut House,
    model: &mut Model,
    at: &str,
    part: PartId,
    source: AccountId,
    thing: Option<ThingId>,
) {
    let (fate, to) = *dice
        .pick(&[
            (Fate::Used, AccountId::USED),
            (Fate::Scrapped, AccountId::SCRAP),
            (Fate::Lost, AccountId::LOST),
        ])
        .unwrap();
    let lost = model.count(part, AccountId::LOST);
    if lost > 0 && dice.between(0, 2) == 0 {
        let (place, account) = *dice.pick(&house.places.clone()).unwrap();
        let amount = dice.between(1, lost);
        let done = house
            .go(Find {
                what: LostWhat::Count(part, amount),
                to: place,
                reason: none(),
            })
            .await
            .unwrap_or_else(|why| panic!("{at}: {why}"));
        let steps = vec![Step::Count(part, amount, AccountId::LOST, account)];
        model.record(done.movement.unwrap(), false, steps);
        return;
    }
    let there = model.count(part, source);
    let mut what = Vec::new();
    let mut steps = Vec::new();
    if there > 0 {
        let amount = dice.between(1, there);
        what.push(What::Count {
            part,
            amount,
            from: source,
        });
        steps.push(Step::Count(part, amount, source, to));
    }
    if let Some(thing) = thing.filter(|_| dice.between(0, 3) == 0) {
        what.push(What::Thing { thing });
        steps.push(Step::Thing(thing, model.pieces[&thing].at, to));
    }
    let nothing = what.is_empty();
    let done = house
        .go(Out {
            fate,
            what,
            reason: none(),
            design: None,
        })
        .await;
    if nothing {
        assert!(matches!(done, Err(StockError::Refused(_))), "{at}");
    } else {
        model.record(done.unwrap().movement.unwrap(), false, steps);
    }
}

async fn cut(dice: &mut Dice, house: &mut House, model: &mut Model, at: &str) {
    let places: BTreeSet<_> = house.places.iter().map(|(_, account)| *account).collect();
    let long: Vec<ThingId> = model
        .pieces
        .iter()
        .filter(|(_, piece)| places.contains(&piece.at) && piece.amount >= 4)
        .map(|(id, _)| *id)
        .collect();
    let Some(thing) = dice.pick(&long).copied() else {
        return;
    };
    let parent = model.pieces[&thing].clone();
    let kerf = if parent.part == house.profile { 3 } else { 0 };
    let amounts: Vec<i64> = (0..dice.between(1, 4))
        .map(|_| dice.between(1, parent.amount / 2))
        .collect();
    let mut segments = Segment::lay(&amounts, kerf, parent.amount, dice.between(0, 1) == 0);
    if let Some(segment) = segments.first_mut().filter(|_| dice.between(0, 4) == 0) {
        segment.scrap = true;
    }
    let fits = segments.last().unwrap().to <= parent.amount
        && !(segments.len() == 1 && segments[0].to == parent.amount);
    let done = house
        .go(Cut {
            piece: thing,
            segments: segments.clone(),
            to: None,
            reason: none(),
            design: None,
        })
        .await;
    if !fits {
        assert!(
            matches!(&done, Err(StockError::Field { field, .. }) if field == "segments"),
            "{at}: {done:?}"
        );
        return;
    }
    let done = done.unwrap_or_else(|why| panic!("{at}: {why}"));
    let mut steps = vec![Step::Thing(thing, parent.at, AccountId::BENCH)];
    let mut children = done.things.iter();
    let (mut kept, mut kept_rest) = (0, 0);
    for segment in &segments {
        let amount = segment.to - segment.from;
        let rest_um = if segment.to == parent.amount {
            parent.rest_um
        } else {
            0
        };
        if segment.scrap {
            steps.push(Step::Count(
                parent.part,
                amount,
                AccountId::BENCH,
                AccountId::SCRAP,
            ));
            continue;
        }
        kept += amount;
        kept_rest += rest_um;
        let child = *children.next().unwrap();
        model.pieces.insert(
            child,
            ModelPiece {
                part: parent.part,
                amount,
                rest_um,
                at: AccountId::BENCH,
                condition: parent.condition,
            },
        );
        steps.push(Step::Thing(child, AccountId::BENCH, parent.at));
    }
    assert!(
        children.next().is_none(),
        "{at}: more children than were asked for"
    );
    // The book's own lines: what entered the bench left it again, as children, kerf and scrap.
    let mut tx = house.db.read().await.unwrap();
    let entry = db::movement::lookup(&mut tx, done.movement.unwrap())
        .await
        .unwrap()
        .unwrap();
    let (lost, lost_rest) = entry
        .lines
        .iter()
        .filter(|line| line.thing.is_none())
        .fold((0, 0), |(amount, rest), line| {
            (amount + line.amount.amount, rest + line.amount.rest_um)
        });
    assert_eq!(
        (kept + lost, kept_rest + lost_rest),
        (parent.amount, parent.rest_um),
        "{at}: children, kerf and scrap add up to the piece"
    );
    // Kerf, beside the scrap of the segments.
    let scrapped: i64 = segments
        .iter()
        .filter(|segment| segment.scrap)
        .map(|segment| segment.to - segment.from)
        .sum();
    if lost > scrapped {
        steps.push(Step::Count(
            parent.part,
            lost - scrapped,
            AccountId::BENCH,
            AccountId::SCRAP,
        ));
    }
    model.record(done.movement.unwrap(), true, steps);
}

async fn lend(
    dice: &mut Dice,
    house: &mut House,
    model: &mut Model,
    at: &str,
    part: PartId,
    source: AccountId,
    thing: Option<ThingId>,
) {
    let places: BTreeSet<_> = house.places.iter().map(|(_, account)| *account).collect();
    if let Some(thing) = thing.filter(|thing| !places.contains(&model.pieces[thing].at)) {
        let (place, account) = *dice.pick(&house.places.clone()).unwrap();
        let from = model.pieces[&thing].at;
        let done = house
            .go(GiveBack {
                what: vec![What::Thing { thing }],
                to: place,
                reason: none(),
            })
            .await
            .unwrap_or_else(|why| panic!("{at}: {why}"));
        let steps = vec![Step::Thing(thing, from, account)];
        model.record(done.movement.unwrap(), false, steps);
        return;
    }
    let there = model.count(part, source);
    let mut what: Vec<What> = thing
        .map(|thing| What::Thing { thing })
        .into_iter()
        .collect();
    if there > 0 {
        what.push(What::Count {
            part,
            amount: 1,
            from: source,
        });
    }
    if what.is_empty() {
        return;
    }
    let done = house
        .go(Lend {
            what,
            borrower: Name::parse("Mill school").unwrap(),
            due_on: "2026-12-01".parse().unwrap(),
            note: none(),
        })
        .await
        .unwrap_or_else(|why| panic!("{at}: {why}"));
    let id = done.movement.unwrap();
    let mut tx = house.db.read().await.unwrap();
    let entry = db::movement::lookup(&mut tx, id).await.unwrap().unwrap();
    let loan = entry.lines[0].to.account;
    model.owned.insert(loan);
    let mut steps = Vec::new();
    if let Some(thing) = thing {
        steps.push(Step::Thing(thing, model.pieces[&thing].at, loan));
    }
    if there > 0 {
        steps.push(Step::Count(part, 1, source, loan));
    }
    model.record(id, false, steps);
}

async fn compare(house: &House, model: &Model, seed: &str) {
    assert_eq!(
        audit(&house.db).await.unwrap(),
        Vec::<String>::new(),
        "{seed}"
    );
    let mut tx = house.db.read().await.unwrap();
    for ((part, account), amount) in &model.counts {
        if [house.clips, house.screws].contains(part) {
            let kept = db::balance::amount(&mut tx, *part, *account).await.unwrap();
            assert_eq!(kept, *amount, "{seed}: {part:?} in {account:?}");
        }
    }
    let mut by_account: BTreeMap<(PartId, AccountId), i64> = BTreeMap::new();
    for (id, piece) in &model.pieces {
        let it = db::piece::lookup(&mut tx, *id).await.unwrap().unwrap();
        assert_eq!(it.place.account, piece.at, "{seed}: {}", it.piece.tag);
        assert_eq!(
            (it.piece.amount, it.piece.rest_um, it.piece.condition),
            (piece.amount, piece.rest_um, piece.condition),
            "{seed}: {}",
            it.piece.tag
        );
        *by_account.entry((piece.part, piece.at)).or_default() += piece.amount;
    }
    for ((part, account), amount) in by_account {
        if model.owned.contains(&account) {
            let kept = db::balance::amount(&mut tx, part, account).await.unwrap();
            assert_eq!(kept, amount, "{seed}: pieces of {part:?} in {account:?}");
        }
    }
}

#[tokio::test]
async fn random_sequences_agree_with_a_simple_model() {
    if let Ok(seed) = std::env::var("TAPEWRIGHT_SEED") {
        sequence(seed.parse().expect("TAPEWRIGHT_SEED is a number")).await;
        return;
    }
    let mut seen = [0; 3];
    for seed in 1..=24 {
        println!("seed {seed}");
        let these = sequence(seed).await;
        seen.iter_mut()
            .zip(these)
            .for_each(|(sum, one)| *sum += one);
    }
    println!("cuts, undone, refused undos: {seen:?}");
    assert!(
        seen.iter().all(|number| *number >= 20),
        "the sequences try too little: {seen:?} cuts, undone, refused undos"
    );
}

#[tokio::test]
async fn an_end_with_a_lead_stays_on_its_child_and_joints_keep_their_places() {
    let mut house = House::open().await;
    let (place, account) = house.places[0];
    let mut tx = house.db.read().await.unwrap();
    let part = db::part::lookup(&mut tx, house.tape)
        .await
        .unwrap()
        .unwrap();
    drop(tx);
    let lead = End::Lead {
        connector: serde_json::from_value(serde_json::json!({
            "family": "two-pin inline", "gender": "male", "pins": null
        }))
        .unwrap(),
    };
    let pieces = Pieces {
        start: lead.clone(),
        end: lead.clone(),
        batch: "B7".into(),
        rest_um: 4_000,
        ..Pieces::as_bought(&part, Length::mm(5000), 1)
    };
    // 5 m are 300 units of 3 in 50 mm; joints every 30 from 0 on.
    assert_eq!((pieces.amount, pieces.joint_offset_units), (300, Some(0)));
    let roll = house
        .go(Receive::new(part.id, place, Goods::Pieces(pieces)))
        .await
        .unwrap()
        .things[0];
    let done = house
        .go(Cut {
            piece: roll,
            segments: Segment::lay(&[100, 70], 0, 300, false),
            to: None,
            reason: none(),
            design: None,
        })
        .await
        .unwrap();
    let mut tx = house.db.read().await.unwrap();
    let mut children = Vec::new();
    for id in &done.things {
        children.push(db::piece::lookup(&mut tx, *id).await.unwrap().unwrap());
    }
    let seen: Vec<_> = children
        .iter()
        .map(|child| {
            let piece = &child.piece;
            (
                piece.amount,
                piece.rest_um,
                piece.start == lead,
                piece.end == lead,
                piece.joint_offset_units,
                piece.cut_from,
                child.place.account,
            )
        })
        .collect();
    assert_eq!(
        seen,
        [
            (100, 0, true, false, Some(0), Some((roll, 0)), account),
            // Joints at 120, 150 of the roll: 20 from 100 on.
            (70, 0, false, false, Some(20), Some((roll, 100)), account),
            // 180 of the roll is 10 from 170 on.
            (
                130,
                4_000,
                false,
                true,
                Some(10),
                Some((roll, 170)),
                account
            ),
        ]
    );
    assert!(children.iter().all(|child| child.piece.batch == "B7"));
    assert_eq!(children[0].piece.tag.as_str(), "O-1");
    drop(tx);

    // A child was cut again: the first cut stands until that is undone.
    let again = house
        .go(Cut {
            piece: done.things[2],
            segments: Segment::lay(&[30], 0, 130, true),
            to: None,
            reason: none(),
            design: None,
        })
        .await
        .unwrap();
    let first = Undo {
        movement: done.movement.unwrap(),
        reason: none(),
    };
    let why = house.go(first.clone()).await.unwrap_err().to_string();
    for word in ["O-3", "cut", "Ines", "2 Nov 2026"] {
        assert!(why.contains(word), "{why}");
    }
    let second = Undo {
        movement: again.movement.unwrap(),
        reason: none(),
    };
    house.go(second.clone()).await.unwrap();
    house.go(first).await.unwrap();
    let mut tx = house.db.read().await.unwrap();
    let roll = db::piece::lookup(&mut tx, roll).await.unwrap().unwrap();
    assert_eq!(roll.place.account, account);
    let children = db::piece::list_children(&mut tx, roll.piece.id)
        .await
        .unwrap();
    assert!(
        children
            .iter()
            .all(|child| child.place.account == AccountId::BENCH),
        "children of a cut that was not made lie at the bench"
    );
    drop(tx);
    let twice = house.go(second).await.unwrap_err().to_string();
    assert!(twice.contains("undone already"), "{twice}");
    assert_eq!(audit(&house.db).await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn an_audit_names_what_was_tampered_with() {
    let mut house = House::open().await;
    let (place, account) = house.places[0];
    let (clips, tape) = (house.clips, house.tape);
    house
        .go(Receive::new(clips, place, Goods::Count(12)))
        .await
        .unwrap();
    let mut tx = house.db.read().await.unwrap();
    let part = db::part::lookup(&mut tx, tape).await.unwrap().unwrap();
    drop(tx);
    let roll = house
        .go(Receive::new(
            tape,
            place,
            Goods::Pieces(Pieces::as_bought(&part, Length::mm(5000), 1)),
        ))
        .await
        .unwrap()
        .things[0];
    house
        .go(Cut {
            piece: roll,
            segments: Segment::lay(&[100], 0, 300, false),
            to: None,
            reason: none(),
            design: None,
        })
        .await
        .unwrap();
    house
        .go(Counted {
            part: clips,
            place,
            counted: 9,
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(audit(&house.db).await.unwrap(), Vec::<String>::new());

    let mut tx = house.db.write().await.unwrap();
    for sql in [
        format!(
            "UPDATE balance SET amount = 11 WHERE part_id = {clips} AND account_id = {account}"
        ),
        "UPDATE counted SET amount = amount + 1".to_owned(),
        format!("UPDATE part_total SET lent = 3 WHERE part_id = {clips}"),
        "DROP TRIGGER movement_line_is_kept".to_owned(),
        "UPDATE movement_line SET amount = 150 WHERE thing_id = (SELECT id FROM thing WHERE tag = 'O-2')".to_owned(),
    ] {
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    let found = audit(&house.db).await.unwrap().join("\n");
    assert!(
        found.contains(&format!(
            "Balance of part {clips} (Clip) in account {account} is 11"
        )),
        "{found}"
    );
    assert!(
        found.contains("corrected a count to 10, but its ledger lines sum to 9."),
        "{found}"
    );
    assert!(
        found.contains(&format!(
            "Total of part {clips} (Clip): its amount lent out is kept as 3, but the balances say 0."
        )),
        "{found}"
    );
    assert!(
        found.contains(&format!("of part {tape} to the bench")),
        "{found}"
    );
}
