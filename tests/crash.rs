//! The server is killed at random moments while others write: what was acknowledged is there, nothing
//! is half there, and what was sent again under its key counts once.
//!
//! Ten rounds by default; the long form is started by hand: `CRASH_ROUNDS=100 cargo test --test crash`.
//! `CRASH_SEED` repeats a run's moments.

use std::{
    collections::BTreeSet,
    hash::{BuildHasher as _, RandomState},
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
    sync::{
        Mutex,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use serde_json::{Value, json};
use tapewright::{
    db::{self, Db},
    model::id::PartId,
    stock::audit,
};

/// A generator of which only the spread counts (Steele, Lea, Flood 2014: `SplitMix64`).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) % below
    }
}

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

struct Server {
    child: Child,
    address: String,
}

impl Server {
    fn start(data: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(["serve", "--listen", "127.0.0.1:0", "--sample", "--data"])
            .arg(data)
            .env("RUST_LOG", "error")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let mut address = String::new();
        BufReader::new(child.stdout.take().expect("its stdout"))
            .read_line(&mut address)
            .expect("its first line");
        let address = address.trim().trim_end_matches('/').to_owned();
        assert!(address.starts_with("http://"), "it does not start again");
        Self { child, address }
    }

    /// SIGKILL: nothing is folded, flushed or answered any more.
    fn kill(mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it is gone");
    }
}

/// A write, and what it must leave behind.
#[derive(Debug, Clone)]
struct Write {
    path: &'static str,
    key: String,
    body: Value,
    leaves: Leaves,
}

#[derive(Debug, Clone)]
enum Leaves {
    /// A place of this name.
    Place(String),
    /// So many more of the counted part.
    Count(i64),
    /// So many more rolls of the tape.
    Rolls(i64),
    /// A set of this name.
    Set(String),
}

/// The sample's lever terminal, counted; its tape, in rolls.
const COUNTED: PartId = PartId(15);
const TAPE: PartId = PartId(1);

fn write(dice: &mut Dice, key: String) -> Write {
    let (path, body, leaves) = match dice.roll(4) {
        0 => (
            "/api/v1/places",
            json!({ "name": key, "kind": "room" }),
            Leaves::Place(key.clone()),
        ),
        1 => {
            let amount = i64::try_from(1 + dice.roll(9)).expect("small");
            (
                "/api/v1/movements/receive",
                json!({ "part": COUNTED, "to": 3, "goods": { "is": "count", "amount": amount } }),
                Leaves::Count(amount),
            )
        }
        2 => {
            let count = i64::try_from(1 + dice.roll(3)).expect("small");
            let goods = json!({ "is": "pieces", "length_um": 5_000_000, "number": count, "as_bought": true });
            (
                "/api/v1/movements/receive",
                json!({ "part": TAPE, "to": 3, "goods": goods }),
                Leaves::Rolls(count),
            )
        }
        _ => (
            "/api/v1/designs",
            json!({ "name": key, "dates": {
                "build_on": "2031-01-01", "get_in": "2031-01-02", "strike_on": "2031-01-03" } }),
            Leaves::Set(key.clone()),
        ),
    };
    Write {
        path,
        key,
        body,
        leaves,
    }
}

/// Sends it; `None` where no answer came.
fn send(agent: &ureq::Agent, address: &str, write: &Write) -> Option<u16> {
    let answer = agent
        .post(format!("{address}{}", write.path))
        .header("content-type", "application/json")
        .header("idempotency-key", &write.key)
        .header("tapewright-who", "Ada")
        .send(write.body.to_string().as_bytes());
    let mut answer = answer.ok()?;
    let status = answer.status().as_u16();
    // Acknowledged is what was heard to its end.
    answer.body_mut().read_to_vec().ok()?;
    Some(status)
}

fn agent() -> ureq::Agent {
    ureq::Agent::config_builder()
        .http_status_as_error(false)
        .timeout_global(Some(Duration::from_secs(10)))
        .build()
        .into()
}

/// What the book holds of what the writes leave.
#[derive(Debug, PartialEq, Eq)]
struct Held {
    counted: i64,
    rolls: i64,
    places: BTreeSet<String>,
    sets: BTreeSet<String>,
}

async fn held(data: &Path) -> Held {
    let db = Db::open(data).await.expect("it opens after the crash");
    let faults = audit::audit(&db).await.expect("it can be looked through");
    assert_eq!(faults, Vec::<String>::new());
    let mut tx = db.read().await.expect("it reads");
    let place = db::place::list(&mut tx, false).await.expect("places");
    let sets = db::design::list(&mut tx).await.expect("sets");
    let account = db::place::account(&mut tx, tapewright::model::id::PlaceId(3))
        .await
        .expect("it reads")
        .expect("a place has one");
    let counts = db::balance::list_at(&mut tx, account)
        .await
        .expect("counts");
    let rolls: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM piece JOIN thing ON thing.id = piece.thing_id WHERE thing.part_id = ?",
    )
    .bind(TAPE.0)
    .fetch_one(&mut *tx)
    .await
    .expect("rolls");
    drop(tx);
    db.close().await;
    Held {
        counted: counts
            .iter()
            .filter(|count| count.part == COUNTED)
            .map(|count| count.amount)
            .sum(),
        rolls,
        places: place
            .into_iter()
            .map(|node| node.place.name.to_string())
            .filter(|name| name.starts_with("round-"))
            .collect(),
        sets: sets
            .into_iter()
            .map(|set| set.name.to_string())
            .filter(|name| name.starts_with("round-"))
            .collect(),
    }
}

/// What a book must hold that began as `first` and took these writes.
fn expected<'a>(first: &Held, writes: impl Iterator<Item = &'a Write>) -> Held {
    let mut all = Held {
        counted: first.counted,
        rolls: first.rolls,
        places: BTreeSet::new(),
        sets: BTreeSet::new(),
    };
    for write in writes {
        match &write.leaves {
            Leaves::Place(name) => assert!(all.places.insert(name.clone())),
            Leaves::Set(name) => assert!(all.sets.insert(name.clone())),
            Leaves::Count(amount) => all.counted += amount,
            Leaves::Rolls(count) => all.rolls += count,
        }
    }
    all
}

#[test]
fn what_was_acknowledged_survives_being_killed() {
    let rounds = setting("CRASH_ROUNDS").unwrap_or(10);
    let seed = setting("CRASH_SEED").unwrap_or_else(|| RandomState::new().hash_one(1));
    println!("CRASH_SEED={seed} CRASH_ROUNDS={rounds}");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = folder.path().join("data");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("a runtime");
    let server = Server::start(&data);
    server.kill();
    let first = runtime.block_on(held(&data));
    assert!(first.rolls > 0, "{first:?}");

    let mut dice = Dice(seed);
    let (mut done, mut unsure): (Vec<Write>, Vec<Write>) = (Vec::new(), Vec::new());
    let mut unheard = 0;
    for round in 0..rounds {
        let server = Server::start(&data);
        // What nobody knows of is sent again, under its key.
        for write in unsure.drain(..) {
            let status = send(&agent(), &server.address, &write);
            assert_eq!(status, Some(201), "{write:?}");
            done.push(write);
        }
        let (stop, address) = (AtomicBool::new(false), server.address.clone());
        let heard = Mutex::new((Vec::new(), Vec::new()));
        let wait = Duration::from_millis(50 + dice.roll(500));
        let seeds: Vec<u64> = (0..4).map(|_| dice.roll(u64::MAX)).collect();
        std::thread::scope(|scope| {
            for (worker, seed) in seeds.into_iter().enumerate() {
                let (stop, heard, address) = (&stop, &heard, &address);
                scope.spawn(move || {
                    let (mut dice, agent) = (Dice(seed), agent());
                    for number in 0.. {
                        if stop.load(Ordering::Relaxed) {
                            return;
                        }
                        let key = format!("round-{round}-{worker}-{number}");
                        let write = write(&mut dice, key);
                        let status = send(&agent, address, &write);
                        let mut heard = heard.lock().expect("what was heard");
                        match status {
                            Some(201) => heard.0.push(write),
                            Some(other) => panic!("{other}: {write:?}"),
                            None => {
                                heard.1.push(write);
                                return;
                            }
                        }
                    }
                });
            }
            std::thread::sleep(wait);
            server.kill();
            stop.store(true, Ordering::Relaxed);
        });
        let (acknowledged, lost) = heard.into_inner().expect("what was heard");
        done.extend(acknowledged);
        // Each write that nobody heard of is there whole or not at all.
        let now = runtime.block_on(held(&data));
        let least = expected(&first, done.iter());
        assert!(now.places.is_superset(&least.places), "round {round}");
        assert!(now.sets.is_superset(&least.sets), "round {round}");
        let may = |of: fn(&Leaves) -> i64| lost.iter().map(|write| of(&write.leaves)).collect();
        let counted: Vec<i64> = may(|leaves| match leaves {
            Leaves::Count(amount) => *amount,
            _ => 0,
        });
        let rolls: Vec<i64> = may(|leaves| match leaves {
            Leaves::Rolls(count) => *count,
            _ => 0,
        });
        assert!(
            sums(&counted).contains(&(now.counted - least.counted)),
            "round {round}"
        );
        assert!(
            sums(&rolls).contains(&(now.rolls - least.rolls)),
            "round {round}"
        );
        unheard += lost.len();
        unsure = lost;
    }
    let server = Server::start(&data);
    for write in unsure.drain(..) {
        assert_eq!(
            send(&agent(), &server.address, &write),
            Some(201),
            "{write:?}"
        );
        done.push(write);
    }
    server.kill();
    assert_eq!(runtime.block_on(held(&data)), expected(&first, done.iter()));
    println!("{} writes acknowledged, {unheard} sent again", done.len());
    assert!(
        done.len() > 4 * usize::try_from(rounds).expect("few"),
        "hardly anything was written"
    );
}

/// Every sum that some of the numbers make.
fn sums(numbers: &[i64]) -> BTreeSet<i64> {
    let mut all = BTreeSet::from([0]);
    for number in numbers {
        let more: Vec<i64> = all.iter().map(|sum| sum + number).collect();
        all.extend(more);
    }
    all
}
