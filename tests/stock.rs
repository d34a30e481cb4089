//! Fixtures and frames as the stock book keeps them, a stocktake, and the search.

#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use futures_util::future::join_all;
use tapewright::{
    db::{self, Db},
    model::{
        fixture::{Condition, Fed, Make},
        id::{AccountId, PartId, PlaceId, ThingId},
        text::{Name, Note},
    },
    stock::{
        Act, Press, StockError, What,
        audit::audit,
        change::Change,
        count::CountPlace,
        make::{About, Assemble, Dismantle, EnterFrame},
        mark::MarkCondition,
        mount::Mount,
        move_::Move,
        out::{Fate, Out},
        receive::{Goods, Pieces, Receive},
        undo::Undo,
    },
    units::{Length, Voltage},
};

const LEADS: PartId = PartId(1);
const TAPE: PartId = PartId(2);
const SHELF: PlaceId = PlaceId(2);

struct House {
    _folder: tempfile::TempDir,
    db: Db,
    shelf: AccountId,
    roll: ThingId,
}

fn none() -> Note {
    Note::default()
}

impl House {
    async fn open() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(folder.path()).await.unwrap();
        let mut tx = db.write().await.unwrap();
        for sql in [
            "INSERT INTO place (name, kind) VALUES ('Store room', 'room')",
            "INSERT INTO place (name, kind, parent_id) VALUES ('Shelf B', 'shelf', 1)",
            r#"INSERT INTO part (name, kind, stock_by, spec, typical, words) VALUES
                ('Lead', 'lead', 'count', '{"kind":"lead","connector":{"family":"inline","gender":"male","pins":null}}', 1, 'lead inline male'),
                ('White tape', 'tape', 'length', '{"kind":"tape","voltage_mv":24000,"width_um":10000,"channels":[{"channel":"white"}],"pitch":{"units":1,"um":50000}}', 1, 'white tape 24v')"#,
        ] {
            sqlx::query(sql).execute(&mut *tx).await.unwrap();
        }
        let shelf = db::place::account(&mut tx, SHELF).await.unwrap().unwrap();
        let part = db::part::lookup(&mut tx, TAPE).await.unwrap().unwrap();
        tx.commit().await.unwrap();
        let mut house = Self {
            _folder: folder,
            db,
            shelf,
            roll: ThingId(0),
        };
        house
            .go(Receive::new(LEADS, SHELF, Goods::Count(10)))
            .await
            .unwrap();
        let pieces = Pieces::as_bought(&part, Length::mm(2000), 1);
        let done = house
            .go(Receive::new(TAPE, SHELF, Goods::Pieces(pieces)))
            .await
            .unwrap();
        house.roll = done.things[0];
        house
    }

    async fn go<C: Change + Sync>(&self, change: C) -> Result<C::Answer, StockError> {
        let act = Act {
            db: self.db.clone(),
            who: Name::parse("Ines").unwrap(),
            now_ms: 1_780_000_000_000,
            today: "2026-11-02".parse().unwrap(),
            press: None,
        };
        act.carry_out(&change).await
    }

    async fn at(&self, thing: ThingId) -> String {
        let mut tx = self.db.read().await.unwrap();
        let thing = db::thing::lookup(&mut tx, thing).await.unwrap().unwrap();
        thing.place.words
    }

    async fn leads(&self, account: AccountId) -> i64 {
        let mut tx = self.db.read().await.unwrap();
        db::balance::amount(&mut tx, LEADS, account).await.unwrap()
    }

    /// What the cupboard shows of the tape: in places (in how many, where if in one), built in.
    async fn tape(&self) -> (i64, i64, Option<String>, i64) {
        let mut tx = self.db.read().await.unwrap();
        let all = db::part::list_stock(&mut tx, &db::part::PartFilter::default(), 0, 10)
            .await
            .unwrap();
        let tape = all.into_iter().find(|one| one.part.id == TAPE).unwrap();
        (tape.in_places, tape.places, tape.only_place, tape.inside)
    }

    async fn sound(&self) {
        assert_eq!(audit(&self.db).await.unwrap(), Vec::<String>::new());
    }

    fn assemble(&self) -> Assemble {
        Assemble {
            about: About::new(SHELF),
            make: Make {
                tape: Some(TAPE),
                profile: None,
                channels: "white".parse().unwrap(),
                voltage_mv: Voltage::new(24_000).unwrap(),
                lit_um: Length::mm(2000),
                diffused: false,
                fed: Fed::OneEnd,
                connector: None,
            },
            batch: String::new(),
            inside: vec![
                What::Thing { thing: self.roll },
                What::Count {
                    part: LEADS,
                    amount: 1,
                    from: self.shelf,
                },
            ],
            used: Vec::new(),
            design: None,
            reason: none(),
        }
    }
}

#[tokio::test]
async fn a_fixture_keeps_what_it_is_made_of_until_it_is_taken_apart_or_undone() {
    let house = House::open().await;
    let made = house.go(house.assemble()).await.unwrap();
    let fixture = made.things[0];
    assert_eq!(house.at(fixture).await, "Store room / Shelf B");
    assert_eq!(house.at(house.roll).await, "in F-1");
    assert_eq!(house.leads(house.shelf).await, 9);
    house.sound().await;

    // What is built in does not go by itself.
    let why = house
        .go(Out {
            fate: Fate::Scrapped,
            what: vec![What::Thing { thing: house.roll }],
            reason: none(),
            design: None,
        })
        .await
        .unwrap_err()
        .to_string();
    assert!(why.contains("built into F-1"), "{why}");

    house
        .go(Undo {
            movement: made.movement.unwrap(),
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.at(house.roll).await, "Store room / Shelf B");
    assert_eq!(house.at(fixture).await, "bench");
    assert_eq!(house.leads(house.shelf).await, 10);

    let fixture = house.go(house.assemble()).await.unwrap().things[0];
    house
        .go(Dismantle {
            fixture,
            to: SHELF,
            scrap: vec![house.roll],
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.at(house.roll).await, "scrap");
    assert_eq!(house.leads(house.shelf).await, 10);
    house.sound().await;
}

#[tokio::test]
async fn totals_follow_what_is_built_into_a_fixture() {
    let house = House::open().await;
    let here = Some("Store room / Shelf B".to_owned());
    assert_eq!(house.tape().await, (40, 1, here.clone(), 0));
    let fixture = house.go(house.assemble()).await.unwrap().things[0];
    assert_eq!(house.tape().await, (0, 0, None, 40));
    let scrapped = house
        .go(Out {
            fate: Fate::Scrapped,
            what: vec![What::Thing { thing: fixture }],
            reason: none(),
            design: None,
        })
        .await
        .unwrap();
    assert_eq!(house.tape().await, (0, 0, None, 0));
    house.sound().await;
    house
        .go(Undo {
            movement: scrapped.movement.unwrap(),
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.tape().await, (0, 0, None, 40));
    house
        .go(Dismantle {
            fixture,
            to: SHELF,
            scrap: Vec::new(),
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.tape().await, (40, 1, here, 0));
    house.sound().await;
}

#[tokio::test]
async fn what_is_on_a_frame_is_lost_with_it_and_keeps_it_from_the_bin() {
    let house = House::open().await;
    let entered = house
        .go(EnterFrame {
            about: About::new(SHELF),
            name: Name::parse("Left frame").unwrap(),
            width_um: Length::mm(2000),
            height_um: Length::mm(1000),
            reason: none(),
        })
        .await
        .unwrap();
    let frame = entered.things[0];
    house
        .go(Mount {
            what: vec![
                What::Thing { thing: house.roll },
                What::Count {
                    part: LEADS,
                    amount: 3,
                    from: house.shelf,
                },
            ],
            frame,
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.at(house.roll).await, "on K-1");
    let out = |fate| Out {
        fate,
        what: vec![What::Thing { thing: frame }],
        reason: none(),
        design: None,
    };
    let why = house.go(out(Fate::Scrapped)).await.unwrap_err().to_string();
    assert!(why.contains("mounted on K-1"), "{why}");
    let why = house
        .go(Undo {
            movement: entered.movement.unwrap(),
            reason: none(),
        })
        .await
        .unwrap_err()
        .to_string();
    assert!(why.contains("mounted by Ines on 2 Nov 2026"), "{why}");
    let lost = house.go(out(Fate::Lost)).await.unwrap();
    assert_eq!(house.at(house.roll).await, "lost");
    assert_eq!(house.leads(AccountId::LOST).await, 3);
    house
        .go(Undo {
            movement: lost.movement.unwrap(),
            reason: none(),
        })
        .await
        .unwrap();
    assert_eq!(house.at(house.roll).await, "on K-1");
    house.sound().await;
}

#[tokio::test]
async fn a_stocktake_corrects_loses_and_finds() {
    let house = House::open().await;
    let count = |counts, seen, missing| CountPlace {
        place: SHELF,
        counts,
        seen,
        missing,
        reason: none(),
    };
    let agreed = house
        .go(count(vec![(LEADS, 10)], vec![house.roll], vec![]))
        .await
        .unwrap();
    assert!(agreed.movements.is_empty(), "what agrees moves nothing");
    let taken = house
        .go(count(vec![(LEADS, 7)], vec![], vec![house.roll]))
        .await
        .unwrap();
    assert_eq!(taken.movements.len(), 2);
    assert_eq!(house.leads(house.shelf).await, 7);
    assert_eq!(house.at(house.roll).await, "lost");
    house
        .go(count(vec![], vec![house.roll], vec![]))
        .await
        .unwrap();
    assert_eq!(house.at(house.roll).await, "Store room / Shelf B");
    house.sound().await;
}

#[tokio::test]
async fn a_mark_is_undone_only_while_it_is_the_last() {
    let house = House::open().await;
    let mark = |condition| MarkCondition {
        thing: house.roll,
        condition,
        reason: none(),
    };
    let first = house.go(mark(Condition::Suspect)).await.unwrap();
    let second = house.go(mark(Condition::Dead)).await.unwrap();
    let undo = |done: &tapewright::stock::Done| Undo {
        movement: done.movement.unwrap(),
        reason: none(),
    };
    let why = house.go(undo(&first)).await.unwrap_err().to_string();
    assert!(why.contains("R-1 was marked by Ines"), "{why}");
    house.go(undo(&second)).await.unwrap();
    house.go(undo(&first)).await.unwrap();
    let mut tx = house.db.read().await.unwrap();
    let roll = db::thing::lookup(&mut tx, house.roll)
        .await
        .unwrap()
        .unwrap();
    assert_eq!(roll.condition, Condition::Good);
    drop(tx);
    house.sound().await;
}

#[tokio::test]
async fn a_search_needs_every_word_and_takes_parts_of_words() {
    let house = House::open().await;
    let mut tx = house.db.read().await.unwrap();
    for (typed, things) in [
        ("tap", 1),
        ("r-1", 1),
        ("whi shelf", 1),
        ("whi lead", 0),
        ("shelf", 1),
    ] {
        let found = db::search::search(&mut tx, typed, 20).await.unwrap();
        assert_eq!(found.things.len(), things, "{typed}");
    }
    let found = db::search::search(&mut tx, "shelf", 20).await.unwrap();
    assert_eq!(found.places.len(), 1);
    assert!(
        db::search::search(&mut tx, "  ", 20)
            .await
            .unwrap()
            .is_empty()
    );
}

#[tokio::test]
async fn of_many_who_write_at_once_each_counts_once_and_a_refused_one_takes_nothing_along() {
    let house = House::open().await;
    let act = |key: String| Act {
        db: house.db.clone(),
        who: Name::parse("Ines").unwrap(),
        now_ms: 1_780_000_000_000,
        today: "2026-11-02".parse().unwrap(),
        press: Some(Press {
            key,
            request: "the same".to_owned(),
        }),
    };
    // Each of twenty presses comes three times at once, and beside them what is refused.
    let receives = (0..60).map(|number| {
        let act = act(format!("key-{:09}", number % 20));
        async move {
            let receive = Receive::new(LEADS, SHELF, Goods::Count(1));
            act.carry_out(&receive).await.unwrap()
        }
    });
    let refused = (0..20).map(|number| {
        let act = act(format!("refused-{number:09}"));
        let what = What::Count {
            part: LEADS,
            amount: 1000,
            from: house.shelf,
        };
        async move {
            let change = Move {
                what: vec![what],
                to: PlaceId(1),
                reason: none(),
            };
            act.carry_out(&change).await.unwrap_err()
        }
    });
    let (done, refused) = tokio::join!(join_all(receives), join_all(refused));
    for (number, done_once) in done.iter().enumerate() {
        assert_eq!(
            *done_once,
            done[number % 20],
            "a repeat gets the first answer"
        );
    }
    assert_eq!(refused.len(), 20);
    assert_eq!(house.leads(house.shelf).await, 30);
    house.sound().await;
}
