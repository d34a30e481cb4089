//! The command line's entry: parse, start logging, dispatch.

use std::{io::IsTerminal as _, process::ExitCode};

use clap::Parser as _;
use tapewright::cli::{Cli, run};
use tracing_subscriber::{EnvFilter, filter::LevelFilter};

#[tokio::main]
async fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_env_filter(
            EnvFilter::builder()
                .with_default_directive(LevelFilter::INFO.into())
                .from_env_lossy(),
        )
        .init();
    run(cli).await
}
