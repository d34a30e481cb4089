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
    io::Read as _,
    path::Path,
    process::ExitCode,
    time::{Duration, Instant},
};

use sqlx::{Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};
use tapewright::{
    app::{self, App},
    clock::Clock,
    config::Config,
    db::Db,
};
use tokio::runtime::Handle;

mod book;

use book::{Fallible, Size, fill, serve_bare};

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
        tls: None,
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
