//! The command line: what can be asked, and its answers. Results go to stdout, errors and the log
//! to stderr.

use std::{
    fmt,
    future::Future,
    io::{self, Write as _},
    net::SocketAddr,
    path::{Path, PathBuf},
    process::ExitCode,
};

use clap::{Args, Parser, Subcommand};

use crate::{
    app::{self, App, StartError},
    calc::Refused,
    clock::Clock,
    config::{Backups, Config, Tls},
    db::{
        Db, DbError, OpenError,
        archive::{self, ArchiveError},
        backup::{self, BackupError},
        restore::{self, RestoreError},
    },
    people::PeopleError,
    sample::{self, SampleError},
    stock::audit,
};

mod calc;
mod people;
mod plan;

/// Stock book and build planner for LED-tape sets of small venues.
///
/// Exit codes: 0 all is well; 1 it failed, or something was found; 2 the command line, or a document, is wrong.
#[derive(Debug, Parser)]
#[command(version, disable_help_subcommand = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
    /// The data folder
    #[arg(long, value_name = "DIR", default_value = Config::DATA, global = true)]
    data: PathBuf,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve the stock book to a browser until Ctrl-C or SIGTERM
    ///
    /// Prints its address. Makes the data folder and its database if they are not there. The log
    /// goes to stderr; `RUST_LOG` says how much of it (info unless set).
    Serve(Serve),
    /// Plan a set: what is reused, cut, wired and bought for it
    ///
    /// Prints the plan, the shortfall and the shopping list. Changes nothing. Exit code 1 if the
    /// plan breaks a limit, or if a limit can't be checked because a rating is not known.
    Plan {
        /// The set's name or number
        design: String,
        /// Print it as JSON; field names carry their unit
        #[arg(long)]
        json: bool,
    },
    /// Calculate from a JSON document, without a database
    ///
    /// The answer is JSON on stdout. The API document (openapi.json of a served book) describes both
    /// documents, with examples. Exit code 2 if the document is wrong: stderr names the field.
    Calc {
        /// What to calculate
        #[arg(value_parser = calc::kind())]
        kind: String,
        /// The document to read; - for standard input
        file: PathBuf,
    },
    /// Look for faults: the file itself, what refers to what, every balance, every piece's origin
    ///
    /// Changes nothing of the stock. Exit code 0 if all is well, 1 if something was found.
    Check,
    /// The people who sign in: add the first keeper, change a password, sign somebody out
    ///
    /// Works while the book is being served. People sign in wherever other machines can reach it.
    People {
        #[command(subcommand)]
        what: people::People,
    },
    /// Bring a backup back into a new data folder, and check it there
    ///
    /// --data names the new folder. A folder that holds a book already is refused. The backup stays
    /// as it is; serve the folder with --data to use it.
    Restore {
        /// The backup
        file: PathBuf,
    },
    /// Write the whole book as text into a zip file, also while it is being served
    ///
    /// JSON and CSV, described within: to read it without Tapewright, or to take it elsewhere. Passwords,
    /// sessions and keys stay behind. The import command brings it back.
    Export {
        /// The file to write; it must not be there yet
        file: PathBuf,
    },
    /// Bring an export back into a new data folder, and check it there
    ///
    /// --data names the new folder. A folder that holds a book already is refused. People who signed in
    /// need new passwords: tapewright people.
    Import {
        /// The export
        file: PathBuf,
    },
    /// Write a checked copy of the database to a file, also while it is being served
    ///
    /// The copy is made beside FILE, checked, and only then given its name. The restore command brings
    /// it back.
    Backup {
        /// The file to write; it must not be there yet
        file: PathBuf,
    },
}

#[derive(Debug, Args)]
struct Serve {
    /// Address and port to listen on; port 0 takes a free one
    #[arg(long, value_name = "ADDR", default_value = Config::LISTEN, value_parser = address)]
    listen: SocketAddr,
    /// Fill an empty database with the invented Millpond Hall first; one with anything in it stays
    #[arg(long)]
    sample: bool,
    /// Ask people to sign in, also on this machine only (beyond it they always do)
    #[arg(long)]
    sign_in: bool,
    /// A proxy in front of this service speaks https with browsers: cookies are for https only, and
    /// people sign in
    #[arg(long)]
    behind_https: bool,
    /// A certificate of your own (PEM, with those between): the service itself speaks https then
    #[arg(
        long,
        value_name = "FILE",
        requires = "tls_key",
        conflicts_with = "behind_https"
    )]
    tls_cert: Option<PathBuf>,
    /// The certificate's key (PEM)
    #[arg(long, value_name = "FILE", requires = "tls_cert")]
    tls_key: Option<PathBuf>,
    /// Make a backup into the data folder's backups every so many hours if anything changed; 0: never
    #[arg(long, value_name = "HOURS", default_value_t = 24)]
    backup_every: u32,
    /// How many of those are kept
    #[arg(long, value_name = "NUMBER", default_value_t = 14, value_parser = clap::value_parser!(u16).range(1..=1000))]
    backups_kept: u16,
    /// A name that browsers may use for this machine, such as hall.local; may be given several times
    #[arg(long, value_name = "NAME", value_parser = host)]
    host: Vec<String>,
}

/// Why a command failed.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error(transparent)]
    Start(#[from] StartError),
    #[error(transparent)]
    People(#[from] PeopleError),
    #[error("The password cannot be read ({0}). Nothing was changed.")]
    Password(io::Error),
    #[error("{0} Nothing was changed.")]
    BadName(String),
    #[error(
        "There is nobody called “{0}”. Nothing was changed; `tapewright people list` lists all."
    )]
    Nobody(String),
    #[error(transparent)]
    Restore(#[from] RestoreError),
    #[error(transparent)]
    Backup(#[from] BackupError),
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    #[error(
        "The sample could not be filled in ({0}). What was filled in stays; start again with another data folder."
    )]
    Sample(#[from] SampleError),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error(transparent)]
    Db(#[from] DbError),
    #[error("There is no database {}. Say which data folder, with --data.", .0.display())]
    NoDatabase(PathBuf),
    #[error("{} cannot be read: {why}.", .file.display())]
    Unreadable { file: PathBuf, why: io::Error },
    #[error("{} is not JSON: {why}.", .file.display())]
    NotJson {
        file: PathBuf,
        why: serde_json::Error,
    },
    #[error(transparent)]
    Refused(#[from] Refused),
    #[error("There is no set “{asked}”. {}", known_sets(known))]
    NoDesign { asked: String, known: Vec<String> },
}

fn known_sets(known: &[String]) -> String {
    if known.is_empty() {
        "There is none at all yet.".to_owned()
    } else {
        format!("There are: {}.", known.join(", "))
    }
}

impl Failure {
    fn code(&self) -> ExitCode {
        match self {
            Self::Start(StartError::NoKeeper(_))
            | Self::NotJson { .. }
            | Self::Refused(_)
            | Self::BadName(_)
            | Self::People(PeopleError::Field { .. }) => ExitCode::from(2),
            _ => ExitCode::FAILURE,
        }
    }
}

/// Carries out what the command line asks.
pub async fn run(cli: Cli) -> ExitCode {
    let done = match cli.command {
        Command::Serve(serve) => serve.run(cli.data).await,
        Command::Plan { design, json } => plan::run(&cli.data, &design, json).await,
        Command::Calc { kind, file } => calc::run(&kind, &file),
        Command::People { what } => people::run(&cli.data, what).await,
        Command::Check => run_check(&cli.data).await,
        Command::Restore { file } => run_restore(&cli.data, &file).await,
        Command::Backup { file } => run_backup(&cli.data, &file).await,
        Command::Export { file } => run_export(&cli.data, &file).await,
        Command::Import { file } => run_import(&cli.data, &file).await,
    };
    done.unwrap_or_else(|failure| {
        // Nobody is left to tell where stderr is closed.
        let _ = writeln!(io::stderr(), "tapewright: {failure}");
        failure.code()
    })
}

fn say(line: impl fmt::Display) {
    // A reader that went away (`| head`) is no failure of ours.
    let _ = writeln!(io::stdout(), "{line}");
}

impl Serve {
    async fn run(self, data: PathBuf) -> Result<ExitCode, Failure> {
        let config = Config {
            data,
            listen: self.listen,
            sign_in: self.sign_in,
            behind_https: self.behind_https,
            tls: self
                .tls_cert
                .zip(self.tls_key)
                .map(|(certificate, key)| Tls { certificate, key }),
            within: false,
            backups: Backups {
                every_hours: self.backup_every,
                kept: self.backups_kept,
            },
            hosts: self.host,
        };
        // Before anything is made: a mistyped folder must not leave an empty book behind.
        if config.needs_sign_in() && !exists(&config.data).await {
            return Err(StartError::NoKeeper(config.listen).into());
        }
        let stop = stop_asked();
        let app = App::open(config, Clock::System).await?;
        if self.sample {
            fill_sample(&app).await?;
        }
        let scheme = if app.config().tls.is_some() {
            "https"
        } else {
            "http"
        };
        let plain = !app.config().https();
        let running = app::start(app).await?;
        say(format_args!("{scheme}://{}/", running.address));
        if !self.listen.ip().is_loopback() && plain {
            tracing::warn!(
                "open to the network over plain http: passwords can be read on the way. Start with a \
                 certificate (--tls-cert), or put a proxy with https in front and start with \
                 --behind-https, see README"
            );
        }
        running.until(stop).await;
        tracing::info!("stopped");
        Ok(ExitCode::SUCCESS)
    }
}

async fn fill_sample(app: &App) -> Result<(), Failure> {
    if sample::fill(app.db(), app.clock()).await? {
        tracing::info!("filled in the invented Millpond Hall");
    } else {
        tracing::info!("there is something in the database already: the sample was left out");
    }
    Ok(())
}

/// Whether a data folder has a database.
async fn exists(data: &Path) -> bool {
    let file = data.join(Db::FILE);
    tokio::fs::try_exists(&file).await.unwrap_or(false)
}

/// Opens a data folder's database, but makes none.
async fn open_existing(data: &Path) -> Result<Db, Failure> {
    if exists(data).await {
        Ok(Db::open(data).await?)
    } else {
        Err(Failure::NoDatabase(data.join(Db::FILE)))
    }
}

async fn run_check(data: &Path) -> Result<ExitCode, Failure> {
    let db = open_existing(data).await?;
    let found = audit::audit(&db).await;
    db.close().await;
    let found = found?;
    for fault in &found {
        say(fault);
    }
    if found.is_empty() {
        say("All is well.");
        Ok(ExitCode::SUCCESS)
    } else {
        say(format_args!(
            "{} found. Keep this database as it is, and restore a backup into a data folder of \
             its own.",
            found.len()
        ));
        Ok(ExitCode::FAILURE)
    }
}

async fn run_backup(data: &Path, file: &Path) -> Result<ExitCode, Failure> {
    let made = backup::make(&data.join(Db::FILE), file).await?;
    say(format_args!(
        "{}: {} bytes, {} movements; checked.",
        made.file.display(),
        made.bytes,
        made.movements
    ));
    Ok(ExitCode::SUCCESS)
}

async fn run_restore(data: &Path, file: &Path) -> Result<ExitCode, Failure> {
    let made = restore::restore(file, data).await?;
    say(format_args!(
        "{}: {} movements; checked. Serve it with --data {0}",
        made.folder.display(),
        made.movements
    ));
    Ok(ExitCode::SUCCESS)
}

async fn run_export(data: &Path, file: &Path) -> Result<ExitCode, Failure> {
    let today = Clock::System.today("UTC").to_string();
    let written = archive::write(&data.join(Db::FILE), file, &today).await?;
    say(format_args!(
        "{}: {} rows, {} bytes",
        written.file.display(),
        written.rows,
        written.bytes
    ));
    Ok(ExitCode::SUCCESS)
}

async fn run_import(data: &Path, file: &Path) -> Result<ExitCode, Failure> {
    let made = archive::read(file, data).await?;
    say(format_args!(
        "{}: {} movements; checked. Serve it with --data {0}",
        made.folder.display(),
        made.movements
    ));
    Ok(ExitCode::SUCCESS)
}

/// Ends when Ctrl-C or SIGTERM comes; listens from now on.
fn stop_asked() -> impl Future<Output = ()> {
    #[cfg(unix)]
    let mut terminate =
        tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()).ok();
    let interrupt = tokio::spawn(tokio::signal::ctrl_c());
    async move {
        #[cfg(unix)]
        if let Some(terminate) = &mut terminate {
            tokio::select! {
                _ = interrupt => {}
                _ = terminate.recv() => {}
            }
            return;
        }
        let _ = interrupt.await;
    }
}

fn address(text: &str) -> Result<SocketAddr, String> {
    text.parse().map_err(|_| {
        "write an address and a port, such as 127.0.0.1:8470, 0.0.0.0:8470 or [::1]:8470".to_owned()
    })
}

fn host(text: &str) -> Result<String, &'static str> {
    let fits = (1..=253).contains(&text.len())
        && text.split('.').all(|label| {
            !label.is_empty()
                && label
                    .bytes()
                    .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
        });
    if fits {
        Ok(text.to_ascii_lowercase())
    } else {
        Err("write a bare name, without http:// and without a port, such as hall.local")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        use clap::CommandFactory as _;
        Cli::command().debug_assert();
    }

    #[test]
    fn hosts_are_bare_names() {
        assert_eq!(host("Hall.local").as_deref(), Ok("hall.local"));
        for bad in [
            "",
            "http://hall.local",
            "hall.local:8470",
            "hall..local",
            "a b",
            "*",
        ] {
            assert!(host(bad).is_err(), "{bad}");
        }
    }
}
