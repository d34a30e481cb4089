//! Many people at once on a large book, against bare handlers in the same run.
//!
//! `cargo bench --bench load` fills a book with 20,000 pieces, 500 sets and 500,000 ledger lines,
//! starts the program on it, and lets 50 people work for a minute: of five requests four read, one
//! moves a thing. Then all 50 only write. The same 50 ask a bare page of 50 joined rows, and one
//! connection writes bare rows as durably. It prints rates, medians, the slowest of a hundred, what
//! memory is held every ten seconds, and checks that every acknowledged move is in the ledger.
//! `cargo bench --bench load -- 10 100000:5000` works for ten seconds on a smaller book.
//!
//! It fails where anything went wrong or was lost, where reads take more than three times the bare
//! page at the slowest of a hundred, or where writes reach less than half of the bare ones.

use std::{
    io::Read as _,
    path::Path,
    process::ExitCode,
    sync::atomic::{AtomicU64, Ordering},
    thread,
    time::{Duration, Instant},
};

use serde_json::{Value, json};
use sqlx::{
    Connection as _, SqliteConnection,
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous},
};
use tapewright::{db::Db, stock::audit};

mod book;
mod served;

use book::{Fallible, Size, fill, serve_bare};
use served::Running;

const PEOPLE: u64 = 50;
const SETS: i64 = 500;
const PAGES: [&str; 14] = [
    "/",
    "/cupboard",
    "/cupboard?kind=tape",
    "/cupboard?q=tape+12",
    "/search?q=shelf",
    "/parts/7",
    "/things/501",
    "/tag/R-77",
    "/places",
    "/places/3",
    "/fixtures",
    "/designs",
    "/log",
    "/api/v1/movements?limit=50",
];
/// Pages of a set, which is planned anew once anything was written: one reading of twenty.
const PLANNED: [&str; 2] = ["/designs/250", "/designs/251/bars"];

/// What one person did.
#[derive(Default)]
struct Done {
    reads: Vec<Duration>,
    planned: Vec<Duration>,
    writes: Vec<Duration>,
    /// Every reading once more, by its page.
    pages: Vec<(&'static str, Duration)>,
    moved: usize,
    wrong: Vec<String>,
}

/// What all did.
struct Sum {
    reads: Vec<Duration>,
    planned: Vec<Duration>,
    writes: Vec<Duration>,
    pages: Vec<(&'static str, Duration)>,
    moved: usize,
    wrong: Vec<String>,
    lasted: Duration,
    /// What the program itself took of the processors meanwhile.
    worked: Duration,
}

fn agent() -> ureq::Agent {
    ureq::Agent::config_builder()
        .http_status_as_error(false)
        .build()
        .into()
}

fn read(agent: &ureq::Agent, url: &str) -> Result<u16, String> {
    let answer = agent.get(url).call().map_err(|why| why.to_string())?;
    let status = answer.status().as_u16();
    let mut body = Vec::new();
    answer
        .into_body()
        .into_reader()
        .read_to_end(&mut body)
        .map_err(|why| why.to_string())?;
    Ok(status)
}

/// Each person moves things of their own, so that none may be refused. Whether anything moved: put where
/// it lies already, nothing does.
fn write(
    agent: &ureq::Agent,
    base: &str,
    key: &str,
    thing: u64,
    place: u64,
) -> Result<bool, String> {
    let body = json!({ "what": [{ "is": "thing", "thing": thing }], "to": place });
    let mut answer = agent
        .post(format!("{base}/api/v1/movements/move"))
        .header("content-type", "application/json")
        .header("idempotency-key", key)
        .header("tapewright-who", "Ada")
        .send(body.to_string().as_bytes())
        .map_err(|why| why.to_string())?;
    let told = answer
        .body_mut()
        .read_to_string()
        .map_err(|why| why.to_string())?;
    match answer.status().as_u16() {
        201 => {
            let told: Value = serde_json::from_str(&told).map_err(|why| why.to_string())?;
            Ok(!told["movement"].is_null())
        }
        status => Err(format!("{status}: {told}")),
    }
}

static ROUND: AtomicU64 = AtomicU64::new(0);

fn person(number: u64, base: &str, things: u64, writes_of_five: u64, until: Instant) -> Done {
    let (agent, round) = (agent(), ROUND.fetch_add(1, Ordering::Relaxed));
    let mut done = Done::default();
    let mut dice = round.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    for turn in 0_u64.. {
        if Instant::now() >= until {
            break;
        }
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        let begun = Instant::now();
        if dice % 5 < writes_of_five {
            // Odd pieces beyond the fixtures', of this person's own; to a place where it is not.
            let mine = (dice >> 8) % (things / (2 * PEOPLE));
            let thing = 401 + 2 * (mine * PEOPLE + number);
            let place = 1 + (turn * 7 + round * 3 + number) % 20;
            let key = format!("load-{round}-{number}-{turn}");
            match write(&agent, base, &key, thing, place) {
                Ok(moved) => {
                    done.writes.push(begun.elapsed());
                    done.moved += usize::from(moved);
                }
                Err(why) => done.wrong.push(why),
            }
        } else {
            let planned = (dice >> 40) % 20 == 0;
            let pages: &[&str] = if planned { &PLANNED } else { &PAGES };
            let page = pages[usize::try_from(dice >> 20).unwrap_or(0) % pages.len()];
            match read(&agent, &format!("{base}{page}")) {
                Ok(200 | 303) => {
                    let took = begun.elapsed();
                    done.pages.push((page, took));
                    if planned {
                        done.planned.push(took);
                    } else {
                        done.reads.push(took);
                    }
                }
                Ok(status) => done.wrong.push(format!("{page}: {status}")),
                Err(why) => done.wrong.push(format!("{page}: {why}")),
            }
        }
    }
    done
}

fn all(
    running: &Running,
    things: u64,
    writes_of_five: u64,
    lasts: Duration,
    each: impl Fn(),
) -> Sum {
    let base = running.base.as_str();
    let (begun, worked) = (Instant::now(), running.worked());
    let until = begun + lasts;
    let done: Vec<Done> = thread::scope(|scope| {
        let people: Vec<_> = (0..PEOPLE)
            .map(|number| scope.spawn(move || person(number, base, things, writes_of_five, until)))
            .collect();
        while Instant::now() + Duration::from_millis(100) < until {
            thread::sleep(Duration::from_secs(10).min(until - Instant::now()));
            each();
        }
        people
            .into_iter()
            .filter_map(|one| one.join().ok())
            .collect()
    });
    let mut sum = Sum {
        reads: Vec::new(),
        planned: Vec::new(),
        writes: Vec::new(),
        pages: Vec::new(),
        moved: 0,
        wrong: Vec::new(),
        lasted: begun.elapsed(),
        worked: running.worked().saturating_sub(worked),
    };
    for one in done {
        sum.reads.extend(one.reads);
        sum.planned.extend(one.planned);
        sum.writes.extend(one.writes);
        sum.pages.extend(one.pages);
        sum.moved += one.moved;
        sum.wrong.extend(one.wrong);
    }
    sum.reads.sort_unstable();
    sum.planned.sort_unstable();
    sum.writes.sort_unstable();
    sum
}

fn at(sorted: &[Duration], of_a_hundred: usize) -> Duration {
    let last = sorted.len().saturating_sub(1);
    sorted
        .get(sorted.len() * of_a_hundred / 100)
        .or(sorted.get(last))
        .copied()
        .unwrap_or_default()
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2^52")]
fn rate(count: usize, lasted: Duration) -> f64 {
    count as f64 / lasted.as_secs_f64()
}

#[expect(
    clippy::cast_precision_loss,
    reason = "memory far below 2^52 kilobytes"
)]
fn megabytes(kilobytes: u64) -> f64 {
    kilobytes as f64 / 1e3
}

fn told(name: &str, times: &[Duration], lasted: Duration) {
    println!(
        "{name:<34} {:>9.0}/s   median {:>8.2} ms   99 of 100 within {:>8.2} ms",
        rate(times.len(), lasted),
        at(times, 50).as_secs_f64() * 1e3,
        at(times, 99).as_secs_f64() * 1e3
    );
}

/// Each page by itself, the slowest first.
fn told_by_page(sum: &Sum) {
    let mut pages: Vec<(&str, Vec<Duration>)> = PAGES
        .iter()
        .chain(&PLANNED)
        .map(|page| {
            let mine = sum.pages.iter().filter(|(of, _)| of == page);
            let mut times: Vec<Duration> = mine.map(|(_, took)| *took).collect();
            times.sort_unstable();
            (*page, times)
        })
        .collect();
    pages.sort_by_key(|(_, times)| std::cmp::Reverse(at(times, 99)));
    for (page, times) in pages {
        told(&format!("  {page}"), &times, sum.lasted);
    }
}

/// The bare page, asked by as many.
fn bare_page(url: &str, lasts: Duration) -> (Vec<Duration>, Duration) {
    let begun = Instant::now();
    let times: Vec<Vec<Duration>> = thread::scope(|scope| {
        let people: Vec<_> = (0..PEOPLE)
            .map(|_| {
                scope.spawn(move || {
                    let (agent, mut times) = (agent(), Vec::new());
                    while begun.elapsed() < lasts {
                        let asked = Instant::now();
                        if read(&agent, url).is_ok() {
                            times.push(asked.elapsed());
                        }
                    }
                    times
                })
            })
            .collect();
        people
            .into_iter()
            .filter_map(|one| one.join().ok())
            .collect()
    });
    let mut times = times.concat();
    times.sort_unstable();
    (times, begun.elapsed())
}

/// Bare rows, each in a commit of its own, as durable as ours; `together` of them share one where
/// that is more than one.
async fn bare_writes(
    folder: &Path,
    lasts: Duration,
    together: usize,
) -> Fallible<(usize, Duration)> {
    let options = SqliteConnectOptions::new()
        .filename(folder.join(format!("bare-{together}.sqlite")))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let mut db = SqliteConnection::connect_with(&options).await?;
    sqlx::query("CREATE TABLE note (id INTEGER PRIMARY KEY, at_ms INTEGER, who TEXT, text TEXT)")
        .execute(&mut db)
        .await?;
    let (begun, mut count) = (Instant::now(), 0);
    while begun.elapsed() < lasts {
        let mut tx = db.begin_with("BEGIN IMMEDIATE").await?;
        for _ in 0..together {
            sqlx::query(
                "INSERT INTO note (at_ms, who, text) VALUES (?, 'Ada', 'moved to the shelf')",
            )
            .bind(1_770_000_000_000_i64)
            .execute(&mut *tx)
            .await?;
            count += 1;
        }
        tx.commit().await?;
    }
    let lasted = begun.elapsed();
    db.close().await?;
    Ok((count, lasted))
}

async fn sets(file: &Path) -> Fallible<()> {
    let mut db =
        SqliteConnection::connect_with(&SqliteConnectOptions::new().filename(file)).await?;
    let mut tx = db.begin().await?;
    for number in 2..=SETS {
        sqlx::query(
            "INSERT INTO design (id, name, build_on, get_in, strike_on)
             VALUES (?1, 'Set ' || ?1, date('2020-01-01', (?1 * 5) || ' days'),
               date('2020-01-02', (?1 * 5) || ' days'), date('2020-01-04', (?1 * 5) || ' days'))",
        )
        .bind(number)
        .execute(&mut *tx)
        .await?;
        sqlx::query(
            r#"INSERT INTO bar (design_id, position, label, length_um, shorter_um, longer_um, channels, diffused,
                 fed, x_um, y_um, angle_mdeg, cable_um)
             SELECT ?1, id, 'bar ' || id, 1200000, 50000, 0, '["white"]', 0, 'one_end', 0, 0, 0, 0
             FROM part WHERE id <= 8"#,
        )
        .bind(number)
        .execute(&mut *tx)
        .await?;
    }
    tx.commit().await?;
    db.close().await?;
    Ok(())
}

async fn moves(file: &Path) -> Fallible<i64> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut db = SqliteConnection::connect_with(&options).await?;
    let count = sqlx::query_scalar("SELECT count(*) FROM movement WHERE kind = 'move'")
        .fetch_one(&mut db)
        .await?;
    db.close().await?;
    Ok(count)
}

#[tokio::main]
async fn main() -> Fallible<ExitCode> {
    let mut lasts = Duration::from_mins(1);
    let mut size = Size {
        lines: 500_000,
        pieces: 20_000,
    };
    for arg in std::env::args().skip(1) {
        if let Ok(seconds) = arg.parse() {
            lasts = Duration::from_secs(seconds);
        } else if let Some(asked) = Size::parse(&arg) {
            size = asked;
        }
    }
    let folder = tempfile::tempdir()?;
    let file = folder.path().join(Db::FILE);
    Db::open(folder.path()).await?.close().await;
    let filling = Instant::now();
    fill(&file, size).await?;
    sets(&file).await?;
    println!(
        "{} ledger lines, {} pieces, {SETS} sets, filled in {:.1} s; {PEOPLE} people",
        size.lines,
        size.pieces,
        filling.elapsed().as_secs_f64()
    );
    let before = moves(&file).await?;
    let bare = format!("http://{}/", serve_bare(&file).await?);
    let short = lasts.min(Duration::from_secs(10));
    let things = u64::try_from(size.pieces)? - 402;

    let running = Running::start(folder.path(), &["--backup-every", "0"])?;
    println!(
        "resident at the start {:.1} MB",
        megabytes(running.resident()?.0)
    );
    let (mixed, writing, (bare_times, bare_lasted)) = tokio::task::block_in_place(|| {
        let memory = || {
            if let Ok((kb, _)) = running.resident() {
                println!("  resident {:.1} MB", megabytes(kb));
            }
        };
        let mixed = all(&running, things, 1, lasts, memory);
        let writing = all(&running, things, 5, short, || {});
        (mixed, writing, bare_page(&bare, short))
    });
    let (alone, alone_lasted) = bare_writes(folder.path(), short, 1).await?;
    let (shared, shared_lasted) = bare_writes(folder.path(), short, 10).await?;

    told("reads, four of five", &mixed.reads, mixed.lasted);
    told("of which sets, planned anew", &mixed.planned, mixed.lasted);
    told("writes, one of five", &mixed.writes, mixed.lasted);
    told("writes only", &writing.writes, writing.lasted);
    told("bare page", &bare_times, bare_lasted);
    told_by_page(&mixed);
    for (name, sum) in [("working", &mixed), ("writes only", &writing)] {
        println!(
            "{name}: the program took {:.2} of {} processors",
            sum.worked.as_secs_f64() / sum.lasted.as_secs_f64(),
            thread::available_parallelism()?
        );
    }
    println!(
        "bare durable rows: {:.0}/s, ten to a commit {:.0}/s",
        rate(alone, alone_lasted),
        rate(shared, shared_lasted)
    );
    let wrong = mixed.wrong.len() + writing.wrong.len();
    for why in mixed.wrong.iter().chain(&writing.wrong).take(5) {
        println!("wrong: {why}");
    }
    let acknowledged = i64::try_from(mixed.moved + writing.moved)?;
    let kept = moves(&file).await? - before;
    drop(running);
    let db = Db::open(folder.path()).await?;
    let faults = audit::audit(&db).await?;
    db.close().await;
    let reads = at(&mixed.reads, 99).as_secs_f64() / at(&bare_times, 99).as_secs_f64();
    let writes = rate(writing.writes.len(), writing.lasted) / rate(alone, alone_lasted);
    println!(
        "{wrong} wrong; {acknowledged} moves acknowledged, {kept} in the ledger; {} faults in the book",
        faults.len()
    );
    println!(
        "reads at 99 of 100 against the bare page {reads:.2} (held to 3); writes against bare durable rows {writes:.2} (held to 0.5)"
    );
    let held =
        wrong == 0 && kept == acknowledged && faults.is_empty() && reads <= 3.0 && writes >= 0.5;
    Ok(if held {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
