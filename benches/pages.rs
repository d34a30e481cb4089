//! Times pages over a large stock book against a bare handler in the same run.
//!
//! `cargo bench --bench pages` fills a database with 20,000 pieces and 200,000 ledger lines,
//! serves it, and asks for each page and for a bare axum + sqlx + askama page of 50 joined rows in
//! turn. It prints medians and their ratio; only ratios of one run mean anything.

use std::{
    error::Error,
    io::Read as _,
    net::SocketAddr,
    path::Path,
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

type Fallible<T> = Result<T, Box<dyn Error>>;

const PIECES: i64 = 20_000;
const LINES: i64 = 200_000;
const PARTS: i64 = 40;
const PLACES: i64 = 20;
const ROUNDS: usize = 200;

#[tokio::main]
async fn main() -> Fallible<()> {
    let folder = tempfile::tempdir()?;
    let config = Config {
        data: folder.path().to_owned(),
        listen: ([127, 0, 0, 1], 0).into(),
        trust_network: false,
        hosts: Vec::new(),
    };
    let file = folder.path().join(Db::FILE);
    Db::open(folder.path()).await?.close().await;
    let filling = Instant::now();
    fill(&file).await?;
    println!("filled in {:.1} s", filling.elapsed().as_secs_f64());

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

    let pages = [
        "/cupboard",
        "/cupboard?kind=tape",
        "/cupboard?q=tape+12",
        "/",
        "/log",
    ];
    println!(
        "{:<24} {:>10} {:>10} {:>7} {:>9}",
        "page", "median ms", "bare ms", "ratio", "bytes"
    );
    let mut worst: f64 = 0.0;
    for path in pages {
        let (page, bare_time, bytes) = tokio::task::spawn_blocking({
            let (page, other) = (format!("{base}{path}"), format!("http://{plain}/"));
            move || compare(&page, &other)
        })
        .await??;
        let ratio = page.as_secs_f64() / bare_time.as_secs_f64();
        if path == "/cupboard" {
            worst = ratio;
        }
        println!(
            "{path:<24} {:>10.2} {:>10.2} {ratio:>7.2} {bytes:>9}",
            page.as_secs_f64() * 1e3,
            bare_time.as_secs_f64() * 1e3
        );
    }
    println!("cupboard against bare: {worst:.2} (held to 2)");
    running.stop().await;
    Ok(())
}

/// Medians of a page and of the bare page, asked for in turn, after a warm-up.
fn compare(page: &str, bare: &str) -> Result<(Duration, Duration, usize), String> {
    let agent = ureq::agent();
    let mut times = (Vec::new(), Vec::new());
    let mut bytes = 0;
    for round in 0..ROUNDS + 20 {
        let begun = Instant::now();
        bytes = fetch(&agent, page).map_err(|why| why.to_string())?;
        let first = begun.elapsed();
        let begun = Instant::now();
        fetch(&agent, bare).map_err(|why| why.to_string())?;
        let second = begun.elapsed();
        if round >= 20 {
            times.0.push(first);
            times.1.push(second);
        }
    }
    let median = |list: &mut Vec<Duration>| {
        list.sort_unstable();
        list[list.len() / 2]
    };
    Ok((median(&mut times.0), median(&mut times.1), bytes))
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
        "SELECT thing.tag, part.name, piece.amount, place.name FROM thing
         JOIN piece ON piece.thing_id = thing.id JOIN part ON part.id = thing.part_id
         JOIN account ON account.id = thing.account_id JOIN place ON place.id = account.place_id
         WHERE thing.id > 5000 ORDER BY thing.id LIMIT 50",
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

async fn fill(file: &Path) -> Fallible<()> {
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
    let mut lines = 0;
    let mut at: Vec<i64> = Vec::new();
    for thing in 1..=PIECES {
        let amount = 20 + thing % 80;
        sqlx::query(
            "INSERT INTO thing (id, tag, kind, part_id) VALUES (?1, 'R-' || ?1, 'piece', ?2)",
        )
        .bind(thing)
        .bind(thing % PARTS + 1)
        .execute(&mut *tx)
        .await?;
        sqlx::query("INSERT INTO piece (thing_id, amount, start_end, end_end) VALUES (?, ?, '{\"is\":\"bare\"}', '{\"is\":\"bare\"}')")
            .bind(thing)
            .bind(amount)
            .execute(&mut *tx)
            .await?;
        let to = accounts[usize::try_from(thing % PLACES)?];
        movement(&mut tx, "receive", thing, amount, 1, to).await?;
        at.push(to);
        lines += 1;
    }
    while lines < LINES {
        let thing = lines * 7919 % PIECES + 1;
        let from = at[usize::try_from(thing - 1)?];
        let to = accounts[usize::try_from((lines * 31 + thing) % PLACES)?];
        if from != to {
            movement(&mut tx, "move", thing, 20 + thing % 80, from, to).await?;
            at[usize::try_from(thing - 1)?] = to;
        }
        lines += 1;
    }
    tx.commit().await?;
    sqlx::query("PRAGMA optimize").execute(&mut db).await?;
    db.close().await?;
    Ok(())
}

async fn movement(
    tx: &mut SqliteConnection,
    kind: &str,
    thing: i64,
    amount: i64,
    from: i64,
    to: i64,
) -> Fallible<()> {
    let id = sqlx::query(
        "INSERT INTO movement (at_ms, on_date, kind, who) VALUES (1770000000000, '2026-02-02', ?, 'bench')",
    )
    .bind(kind)
    .execute(&mut *tx)
    .await?
    .last_insert_rowid();
    sqlx::query(
        "INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
         VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(id)
    .bind(thing % PARTS + 1)
    .bind(thing)
    .bind(amount)
    .bind(from)
    .bind(to)
    .execute(&mut *tx)
    .await?;
    Ok(())
}
