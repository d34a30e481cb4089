//! Applies `migrations/` to a throw-away database and points `query!` at it, so that every
//! statement is checked against the real schema without a tool or a file beside the crate.

use std::{env, error::Error, fs, path::PathBuf, str::FromStr as _};

use sqlx::{
    Connection as _, SqliteConnection,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode},
};

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=migrations");
    let file = PathBuf::from(env::var("OUT_DIR")?).join("schema.sqlite");
    if file.exists() {
        fs::remove_file(&file)?;
    }
    let url = format!("sqlite://{}", file.display());
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?
        .block_on(migrate(&url))?;
    println!("cargo:rustc-env=DATABASE_URL={url}");
    Ok(())
}

async fn migrate(url: &str) -> Result<(), Box<dyn Error>> {
    let options = SqliteConnectOptions::from_str(url)?
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Delete);
    let mut db = SqliteConnection::connect_with(&options).await?;
    Migrator::new(PathBuf::from("migrations"))
        .await?
        .run(&mut db)
        .await?;
    db.close().await?;
    Ok(())
}
