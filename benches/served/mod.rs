//! The program as a process, for benches that look at it from outside.

use std::{
    error::Error,
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
    time::Duration,
};

/// A started program, ended when it is dropped.
pub struct Running {
    child: Child,
    /// Its address.
    pub base: String,
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Running {
    /// Starts it on a data folder, and waits until it says its address.
    pub fn start(data: &Path, options: &[&str]) -> Result<Self, Box<dyn Error + Send + Sync>> {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .args(options)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?;
        let said = child.stdout.take().ok_or("no output")?;
        let mut running = Self {
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

    /// How long its threads have worked in all, by `/proc`; nothing where that cannot be read.
    pub fn worked(&self) -> Duration {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id()));
        // Behind the name in brackets, which may hold anything: for people and for the kernel, in
        // hundredths of a second.
        let ticks = stat.ok().and_then(|stat| {
            let (_, fields) = stat.rsplit_once(") ")?;
            let ticks = fields.split(' ').skip(11).take(2);
            ticks
                .map(|field| field.parse::<u64>().ok())
                .sum::<Option<u64>>()
        });
        Duration::from_millis(10 * ticks.unwrap_or(0))
    }

    /// Kilobytes in memory now, and the most that ever were, by `/proc`.
    pub fn resident(&self) -> Result<(u64, u64), Box<dyn Error + Send + Sync>> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let kb = |name: &str| -> Result<u64, Box<dyn Error + Send + Sync>> {
            let line = status.lines().find_map(|line| line.strip_prefix(name));
            let number = line.and_then(|line| line.split_whitespace().next());
            Ok(number.ok_or_else(|| format!("no {name}"))?.parse()?)
        };
        Ok((kb("VmRSS:")?, kb("VmHWM:")?))
    }
}
