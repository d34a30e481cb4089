//! The command line's entry: parse, start logging, dispatch.

use std::{path::PathBuf, process::ExitCode};

use tapewright::{app, clock::Clock, config::Config};

#[tokio::main]
async fn main() -> ExitCode {
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .init();
    let config = Config {
        data: PathBuf::from(Config::DATA),
        listen: ([127, 0, 0, 1], 8470).into(),
        trust_network: false,
        hosts: Vec::new(),
    };
    let started = match app::App::open(config, Clock::System).await {
        Ok(app) => app::start(app).await,
        Err(why) => Err(why),
    };
    match started {
        Ok(running) => {
            println!("http://{}/", running.address);
            running
                .until(async {
                    let _ = tokio::signal::ctrl_c().await;
                })
                .await;
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("tapewright: {why}");
            ExitCode::FAILURE
        }
    }
}
