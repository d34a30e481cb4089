//! The program as one starts it: from start to its first page, and the memory that it holds after
//! many requests.
//!
//! `cargo bench --bench process` starts the release binary five times on the filled sample, and
//! asks the last one for 20,000 pages. It reads the memory from `/proc`: on Linux only. The bench
//! fails where more than 60 MB are resident.

use std::{
    error::Error,
    io::Read as _,
    process::ExitCode,
    thread,
    time::{Duration, Instant},
};

mod served;

use served::Running;

type Fallible<T> = Result<T, Box<dyn Error + Send + Sync>>;

const STARTS: usize = 5;
const REQUESTS: usize = 20_000;
const CLIENTS: usize = 4;
const MOST_KB: u64 = 60_000;
const PAGES: [&str; 14] = [
    "/",
    "/cupboard",
    "/cupboard?q=tape",
    "/search?q=shelf",
    "/parts/1",
    "/things/1",
    "/places",
    "/fixtures",
    "/calendar",
    "/designs",
    "/designs/1",
    "/designs/2/cuts",
    "/shopping",
    "/log",
];

fn fetch(agent: &ureq::Agent, url: &str) -> Fallible<usize> {
    let mut body = Vec::new();
    let answer = agent
        .get(url)
        .call()
        .map_err(|why| format!("{url}: {why}"))?;
    answer.into_body().into_reader().read_to_end(&mut body)?;
    Ok(body.len())
}

fn main() -> Fallible<ExitCode> {
    let folder = tempfile::tempdir()?;
    let data = folder.path().join("data");
    // The first start makes and fills the database.
    drop(Running::start(&data, &["--sample"])?);
    let mut times: Vec<Duration> = Vec::new();
    let mut last = None;
    for _ in 0..STARTS {
        drop(last.take());
        let begun = Instant::now();
        let running = Running::start(&data, &["--sample"])?;
        fetch(&ureq::agent(), &running.base)?;
        times.push(begun.elapsed());
        last = Some(running);
    }
    let running = last.ok_or("it was not started")?;
    let shown: Vec<String> = times
        .iter()
        .map(|time| format!("{:.1}", time.as_secs_f64() * 1e3))
        .collect();
    println!("start to first page, ms: {}", shown.join(", "));
    let (idle, _) = running.resident()?;
    println!("resident after one page: {idle} kB");

    let (begun, worked) = (Instant::now(), running.worked());
    let bytes: usize = thread::scope(|scope| {
        let clients: Vec<_> = (0..CLIENTS)
            .map(|client| {
                let base = &running.base;
                scope.spawn(move || -> Fallible<usize> {
                    let agent = ureq::agent();
                    (0..REQUESTS / CLIENTS)
                        .map(|turn| {
                            let page = PAGES[(client + turn) % PAGES.len()];
                            fetch(&agent, &format!("{base}{page}"))
                        })
                        .sum()
                })
            })
            .collect();
        clients
            .into_iter()
            .map(|client| client.join().map_err(|_| "a client failed")?)
            .sum::<Fallible<usize>>()
    })?;
    let worked = running.worked().saturating_sub(worked);
    println!("it worked {:.1} s for them", worked.as_secs_f64());
    let (now, most) = running.resident()?;
    println!(
        "resident after {REQUESTS} pages ({} MB in {:.1} s by {CLIENTS} clients): {now} kB, at most \
         {most} kB (held to {MOST_KB})",
        bytes / 1_000_000,
        begun.elapsed().as_secs_f64()
    );
    Ok(if most > MOST_KB {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}
