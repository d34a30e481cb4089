//! Times pages over a large stock book against a bare handler in the same run.
//!
//! `cargo bench --bench pages` fills a database with 20,000 pieces and 200,000 ledger lines,
//! serves it, and asks for each page and for a bare axum + sqlx + askama page of 50 joined rows in
//! turn, each twice: once where nothing was committed since it was last asked for (then Tapewright
//! answers from what it keeps in memory), and once right after another process's commit (then it
//! reads and writes the page anew). It prints medians and their ratios; only ratios of one run mean
//! anything. The cupboard asked for again is held to twice the bare page: the bench fails where it
//! takes longer.
//!
//! `cargo bench --bench pages -- 1000:500 200000:500` does so over books of other sizes instead
//! (ledger lines, pieces), to see how pages grow with the ledger.

use std::{
    error::Error,
    io::Read as _,
    net::SocketAddr,
    path::Path,
    process::ExitCode,
    time::{Duration, Instant},
};

use askama::Template;
use axum::{Router, extract::State, response::Html, routing::get};
use sqlx::{
    Connection as _, Row as _, SqliteConnection, SqlitePool,
    sqlite::{SqliteConnectOptions, SqlitePoolOptions},
};
use tapewright::{
    app::{self, App},
    clock::Clock,
    config::Config,
    db::Db,
};
use tokio::runtime::Handle;

type Fallible<T> = Result<T, Box<dyn Error + Send + Sync>>;

const PARTS: i64 = 60;
const PLACES: i64 = 20;
const FIXTURES: i64 = 200;
const ROUNDS: usize = 200;
const PAGES: [&str; 20] = [
    "/cupboard",
    "/cupboard?kind=tape",
    "/cupboard?q=tape+12",
    "/cupboard?state=held",
    "/",
    "/search?q=tape+12",
    "/search?q=shelf",
    "/parts/1",
    "/things/50",
    "/tag/R-50",
    "/places",
    "/places/1",
    "/places/1/count",
    "/fixtures",
    "/calendar",
    "/designs",
    "/shopping",
    "/log",
    "/log?part=1",
    "/log?kind=cut",
];

/// How large a book is.
#[derive(Clone, Copy)]
struct Size {
    lines: i64,
    pieces: i64,
}

impl Size {
    fn parse(text: &str) -> Option<Self> {
        let (lines, pieces) = text.split_once(':')?;
        Some(Self {
            lines: lines.parse().ok()?,
            pieces: pieces.parse().ok()?,
        })
    }
}

#[tokio::main]
async fn main() -> Fallible<ExitCode> {
    let mut sizes: Vec<Size> = std::env::args()
        .filter_map(|arg| Size::parse(&arg))
        .collect();
    if sizes.is_empty() {
        sizes.push(Size {
            lines: 200_000,
            pieces: 20_000,
        });
    }
    let mut slow = false;
    for size in sizes {
        slow |= book(size).await? > 2.0;
    }
    Ok(if slow {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

/// Fills, serves and times one book; answers how many times the bare page the cupboard takes.
async fn book(size: Size) -> Fallible<f64> {
    let folder = tempfile::tempdir()?;
    let config = Config {
        data: folder.path().to_owned(),
        listen: ([127, 0, 0, 1], 0).into(),
        sign_in: false,
        behind_https: false,
        within: false,
        backups: tapewright::config::Backups::default(),
        hosts: Vec::new(),
    };
    let file = folder.path().join(Db::FILE);
    Db::open(folder.path()).await?.close().await;
    let filling = Instant::now();
    fill(&file, size).await?;
    println!(
        "{} ledger lines, {} pieces, filled in {:.1} s",
        size.lines,
        size.pieces,
        filling.elapsed().as_secs_f64()
    );

    let begun = Instant::now();
    let app = App::open(config, Clock::System).await?;
    let running = app::start(app).await?;
    let base = format!("http://{}", running.address);
    fetch(&ureq::agent(), &format!("{base}/cupboard"))?;
    println!(
        "start to first answer {:.1} ms",
        begun.elapsed().as_secs_f64() * 1e3
    );
    let plain = serve_bare(&file).await?;

    println!(
        "{:<24} {:>9} {:>9} {:>7} | {:>9} {:>9} {:>7} | {:>7}",
        "", "again ms", "bare ms", "ratio", "after ms", "bare ms", "ratio", "bytes"
    );
    let mut cupboard = (0.0, 0.0);
    for path in PAGES {
        let times = tokio::task::spawn_blocking({
            let (page, other) = (format!("{base}{path}"), format!("http://{plain}/"));
            let file = file.clone();
            let runtime = Handle::current();
            move || compare(&page, &other, &file, &runtime).map_err(|why| format!("{page}: {why}"))
        })
        .await??;
        let ms = |time: Duration| time.as_secs_f64() * 1e3;
        let ratio = |(page, bare): (Duration, Duration)| page.as_secs_f64() / bare.as_secs_f64();
        let (again, after) = (ratio(times.again), ratio(times.after));
        if path == "/cupboard" {
            cupboard = (again, after);
        }
        println!(
            "{path:<24} {:>9.2} {:>9.2} {again:>7.2} | {:>9.2} {:>9.2} {after:>7.2} | {:>7}",
            ms(times.again.0),
            ms(times.again.1),
            ms(times.after.0),
            ms(times.after.1),
            times.bytes
        );
    }
    println!(
        "cupboard against bare: {:.2} asked for again (held to 2), {:.2} right after a commit\n",
        cupboard.0, cupboard.1
    );
    running.stop().await;
    Ok(cupboard.0)
}

/// Medians of a page and of the bare page.
struct Times {
    /// Where nothing was committed since they were last asked for.
    again: (Duration, Duration),
    /// Right after a commit of another process.
    after: (Duration, Duration),
    bytes: usize,
}

/// Asks for both in turn, after a warm-up.
fn compare(page: &str, bare: &str, file: &Path, runtime: &Handle) -> Fallible<Times> {
    let agent = ureq::agent();
    let ask = |url: &str| -> Fallible<(Duration, usize)> {
        let begun = Instant::now();
        let bytes = fetch(&agent, url)?;
        Ok((begun.elapsed(), bytes))
    };
    let options = SqliteConnectOptions::new().filename(file);
    let mut db = runtime.block_on(SqliteConnection::connect_with(&options))?;
    let mut times: [Vec<Duration>; 4] = Default::default();
    let mut bytes = 0;
    for round in 0..ROUNDS + 20 {
        let raise = sqlx::query("UPDATE revision SET value = value + 1").execute(&mut db);
        runtime.block_on(raise)?;
        // The one that is asked first finds the processor's caches colder: they take turns.
        let [first, second] = if round % 2 == 0 {
            [page, bare]
        } else {
            [bare, page]
        };
        let mut round_times = [Duration::ZERO; 4];
        for (at, url) in [(0, first), (0, second), (2, first), (2, second)] {
            let (time, size) = ask(url)?;
            if url == page {
                bytes = size;
            }
            round_times[at + usize::from(url == bare)] = time;
        }
        if round >= 20 {
            for (all, one) in times.iter_mut().zip(round_times) {
                all.push(one);
            }
        }
    }
    runtime.block_on(db.close())?;
    let [after, bare_after, again, bare_again] = times.map(|mut list| {
        list.sort_unstable();
        list[list.len() / 2]
    });
    Ok(Times {
        again: (again, bare_again),
        after: (after, bare_after),
        bytes,
    })
}

fn fetch(agent: &ureq::Agent, url: &str) -> Fallible<usize> {
    let mut body = Vec::new();
    agent
        .get(url)
        .call()?
        .into_body()
        .into_reader()
        .read_to_end(&mut body)?;
    Ok(body.len())
}

#[derive(Template)]
#[template(
    source = "<!doctype html><title>Bare</title><table>{% for row in rows %}<tr><td>{{ row.0 }}</td><td>{{ row.1 }}</td><td>{{ row.2 }}</td><td>{{ row.3 }}</td></tr>{% endfor %}</table>",
    ext = "html"
)]
struct Bare {
    rows: Vec<(String, String, i64, String)>,
}

async fn bare_page(State(pool): State<SqlitePool>) -> Html<String> {
    let rows = sqlx::query(
        // In this order, so that it reads 50 rows of each table and not one more: without it SQLite
        // begins with the places and sorts everything that lies in them.
        "SELECT thing.tag, part.name, piece.amount, place.name FROM thing
         CROSS JOIN piece ON piece.thing_id = thing.id CROSS JOIN part ON part.id = thing.part_id
         CROSS JOIN account ON account.id = thing.account_id
         CROSS JOIN place ON place.id = account.place_id
         WHERE thing.id > 100 ORDER BY thing.id LIMIT 50",
    )
    .fetch_all(&pool)
    .await
    .map(|rows| {
        rows.iter()
            .map(|row| (row.get(0), row.get(1), row.get(2), row.get(3)))
            .collect()
    })
    .unwrap_or_default();
    Html(Bare { rows }.render().unwrap_or_default())
}

async fn serve_bare(file: &Path) -> Fallible<SocketAddr> {
    let pool = SqlitePoolOptions::new()
        .max_connections(4)
        .test_before_acquire(false)
        .connect_with(SqliteConnectOptions::new().filename(file).read_only(true))
        .await?;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    let router = Router::new().route("/", get(bare_page)).with_state(pool);
    tokio::spawn(async move { axum::serve(listener, router).await });
    Ok(address)
}

/// Places, parts, pieces and fixtures made of some of them, a set of eight bars of one tape that holds fixtures and pieces,
/// and then moves between places up to so many ledger lines.
async fn fill(file: &Path, size: Size) -> Fallible<()> {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(true);
    let mut db = SqliteConnection::connect_with(&options).await?;
    let mut tx = sqlx::Connection::begin(&mut db).await?;
    for place in 1..=PLACES {
        sqlx::query(
            "INSERT INTO place (id, name, kind, position) VALUES (?1, 'Shelf ' || ?1, 'shelf', ?1)",
        )
        .bind(place)
        .execute(&mut *tx)
        .await?;
    }
    let accounts: Vec<i64> =
        sqlx::query_scalar("SELECT id FROM account WHERE kind = 'place' ORDER BY id")
            .fetch_all(&mut *tx)
            .await?;
    let spec = r#"{"kind":"tape","voltage_mv":24000,"width_um":10000,"channels":[{"channel":"white"}],"pitch":{"units":1,"um":50000}}"#;
    for part in 1..=PARTS {
        sqlx::query(
            "INSERT INTO part (id, name, kind, stock_by, spec, typical, words)
             VALUES (?1, 'Tape ' || ?1, 'tape', 'length', ?2, 1, 'tape ' || ?1)",
        )
        .bind(part)
        .bind(spec)
        .execute(&mut *tx)
        .await?;
    }
    let mut ledger = Ledger {
        tx: &mut tx,
        lines: 0,
    };
    let mut at: Vec<usize> = Vec::new();
    for thing in 1..=size.pieces {
        let place = usize::try_from(thing * 7 % PLACES)?;
        ledger.receive_piece(thing, accounts[place]).await?;
        at.push(place);
    }
    for number in 1..=FIXTURES.min(size.pieces / 4) {
        let from = accounts[at[usize::try_from(number * 2 - 1)?]];
        ledger
            .assemble(size.pieces + number, number * 2, from)
            .await?;
    }
    let mut dice: u64 = 1;
    while ledger.lines < size.lines {
        dice = dice
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let thing = i64::try_from((dice >> 33) % u64::try_from(size.pieces)?)? + 1;
        // What is built into a fixture stays.
        if thing % 2 == 0 && thing <= FIXTURES * 2 {
            continue;
        }
        let from = &mut at[usize::try_from(thing - 1)?];
        let to = (*from + 1 + usize::try_from((dice >> 20) % 19)?) % accounts.len();
        ledger
            .movement("move", thing, accounts[*from], accounts[to])
            .await?;
        *from = to;
    }
    for sql in [
        "INSERT INTO design (id, name, build_on, get_in, strike_on)
         VALUES (1, 'Spring set', date('now'), date('now', '2 days'), date('now', '20 days'))",
        r#"INSERT INTO bar (design_id, position, label, length_um, shorter_um, longer_um, channels, diffused,
             fed, x_um, y_um, angle_mdeg, cable_um, tape_part_id)
         SELECT 1, id, 'bar ' || id, 1200000 + id * 50000, 50000, 0, '["white"]', 0, 'one_end', 0, 0, 0, 0, 7
         FROM part WHERE id <= 8"#,
        "UPDATE design SET state = 'reserved'",
        "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
         SELECT 1, id, 0, 1, date('now'), date('now', '20 days'), 'returns', date('now'), 'bench'
         FROM thing WHERE kind = 'fixture' AND id % 2 = 0",
        "INSERT INTO hold (design_id, thing_id, from_amount, to_amount, from_on, to_on, becomes, made_on, who)
         SELECT 1, id, 0, 10, date('now'), '9999-12-31', 'consumed', date('now'), 'bench'
         FROM thing WHERE kind = 'piece' AND id % 2 = 1 AND id < 400",
    ] {
        sqlx::query(sql).execute(&mut *tx).await?;
    }
    tx.commit().await?;
    db.close().await?;
    Ok(())
}

/// Where the lines are written and counted.
struct Ledger<'a> {
    tx: &'a mut SqliteConnection,
    lines: i64,
}

fn amount(thing: i64) -> i64 {
    20 + thing % 80
}

impl Ledger<'_> {
    async fn receive_piece(&mut self, thing: i64, to: i64) -> Fallible<()> {
        sqlx::query(
            "INSERT INTO thing (id, tag, kind, part_id) VALUES (?1, 'R-' || ?1, 'piece', ?2)",
        )
        .bind(thing)
        .bind(thing % PARTS + 1)
        .execute(&mut *self.tx)
        .await?;
        sqlx::query("INSERT INTO piece (thing_id, amount, start_end, end_end) VALUES (?, ?, '{\"is\":\"bare\"}', '{\"is\":\"bare\"}')")
            .bind(thing)
            .bind(amount(thing))
            .execute(&mut *self.tx)
            .await?;
        self.movement("receive", thing, 1, to).await
    }

    /// A fixture in the place of the piece that goes into it.
    async fn assemble(&mut self, fixture: i64, piece: i64, place: i64) -> Fallible<()> {
        for sql in [
            "INSERT INTO thing (id, tag, kind) VALUES (?1, 'F-' || ?1, 'fixture')",
            "INSERT INTO fixture (thing_id, channels, voltage_mv, lit_um, diffused, fed)
             VALUES (?1, 'white', 24000, 1000000, 1, 'one_end')",
        ] {
            sqlx::query(sql)
                .bind(fixture)
                .execute(&mut *self.tx)
                .await?;
        }
        let id = self.head("assemble").await?;
        sqlx::query(
            "INSERT INTO movement_line (movement_id, thing_id, amount, from_id, to_id)
             VALUES (?, ?, 1, 1, ?)",
        )
        .bind(id)
        .bind(fixture)
        .bind(place)
        .execute(&mut *self.tx)
        .await?;
        self.lines += 1;
        let inside: i64 = sqlx::query_scalar("SELECT id FROM account WHERE thing_id = ?")
            .bind(fixture)
            .fetch_one(&mut *self.tx)
            .await?;
        self.movement("assemble", piece, place, inside).await
    }

    async fn head(&mut self, kind: &str) -> Fallible<i64> {
        Ok(sqlx::query(
            "INSERT INTO movement (at_ms, on_date, kind, who) VALUES (1770000000000, '2026-02-02', ?, 'bench')",
        )
        .bind(kind)
        .execute(&mut *self.tx)
        .await?
        .last_insert_rowid())
    }

    async fn movement(&mut self, kind: &str, thing: i64, from: i64, to: i64) -> Fallible<()> {
        let id = self.head(kind).await?;
        sqlx::query(
            "INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
             VALUES (?, ?, ?, ?, ?, ?)",
        )
        .bind(id)
        .bind(thing % PARTS + 1)
        .bind(thing)
        .bind(amount(thing))
        .bind(from)
        .bind(to)
        .execute(&mut *self.tx)
        .await?;
        self.lines += 1;
        Ok(())
    }
}
