//! The program as one starts it: from start to its first page, and the memory that it holds after
//! many requests.
//!
//! `cargo bench --bench process` starts the release binary five times on the filled sample, and
//! asks the last one for 20,000 pages. It reads the memory from `/proc`: on Linux only. The bench
//! fails where more than 60 MB are resident.

use std::{
    error::Error,
    io::{BufRead as _, BufReader, Read as _},
    path::Path,
    process::{Child, Command, ExitCode, Stdio},
    thread,
    time::{Duration, Instant},
};

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

/// A started program, ended when it is dropped.
struct Running {
    child: Child,
    base: String,
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Starts it on a data folder, and waits until it says its address.
fn start(data: &Path) -> Fallible<Running> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .args(["serve", "--sample", "--listen", "127.0.0.1:0", "--data"])
        .arg(data)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()?;
    let said = child.stdout.take().ok_or("no output")?;
    let mut running = Running {
        child,
        base: String::new(),
    };
    let mut line = String::new();
    BufReader::new(said).read_line(&mut line)?;
    line.trim()
        .trim_end_matches('/')
        .clone_into(&mut running.base);
    Ok(running)
}

fn fetch(agent: &ureq::Agent, url: &str) -> Fallible<usize> {
    let mut body = Vec::new();
    let answer = agent
        .get(url)
        .call()
        .map_err(|why| format!("{url}: {why}"))?;
    answer.into_body().into_reader().read_to_end(&mut body)?;
    Ok(body.len())
}

/// Resident now, and the most that ever was, in kB.
fn resident(running: &Running) -> Fallible<(u64, u64)> {
    let status = std::fs::read_to_string(format!("/proc/{}/status", running.child.id()))?;
    let kb = |name: &str| -> Fallible<u64> {
        let line = status.lines().find_map(|line| line.strip_prefix(name));
        let number = line.and_then(|line| line.split_whitespace().next());
        Ok(number.ok_or_else(|| format!("no {name}"))?.parse()?)
    };
    Ok((kb("VmRSS:")?, kb("VmHWM:")?))
}

fn main() -> Fallible<ExitCode> {
    let folder = tempfile::tempdir()?;
    let data = folder.path().join("data");
    // The first start makes and fills the database.
    drop(start(&data)?);
    let mut times: Vec<Duration> = Vec::new();
    let mut last = None;
    for _ in 0..STARTS {
        drop(last.take());
        let begun = Instant::now();
        let running = start(&data)?;
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
    let (idle, _) = resident(&running)?;
    println!("resident after one page: {idle} kB");

    let begun = Instant::now();
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
    let (now, most) = resident(&running)?;
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
