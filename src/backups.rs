//! Backups that are made by themselves while the service runs, and how many of them stay.

use std::{
    path::{Path, PathBuf},
    time::Duration,
};

use crate::{
    app::App,
    db::{
        self, DbError,
        backup::{self, BackupError},
    },
};

/// The folder of backups in the data folder.
pub const FOLDER: &str = "backups";
/// What the names of those that are made by themselves begin with; only those are ever removed.
const START: &str = "auto-";

/// Why one was not made.
#[derive(Debug, thiserror::Error)]
pub enum AutoError {
    /// The copy.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// The folder, or an old one that should go.
    #[error("{} ({why})", .file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// The database.
    #[error(transparent)]
    Db(#[from] DbError),
}

/// Makes one backup now if anything changed since `last`, and removes those beyond the number kept:
/// the revision that is kept now.
pub async fn once(app: &App, last: Option<i64>) -> Result<i64, AutoError> {
    let revision = db::venue::revision(&mut *app.db().read().await?).await?;
    if last == Some(revision) {
        return Ok(revision);
    }
    let folder = app.config().data.join(FOLDER);
    let file_error = |file: &Path| {
        let file = file.to_owned();
        move |why| AutoError::File { file, why }
    };
    tokio::fs::create_dir_all(&folder)
        .await
        .map_err(file_error(&folder))?;
    let second = app.clock().now_ms() / 1_000;
    let today = app.now().await?.today;
    let target = folder.join(format!("{START}{today}-{second}.sqlite"));
    backup::make(app.db().file(), &target).await?;
    for old in beyond(&folder, app.config().backups.kept.into())
        .await
        .map_err(file_error(&folder))?
    {
        tokio::fs::remove_file(&old)
            .await
            .map_err(file_error(&old))?;
    }
    Ok(revision)
}

/// Those beyond the number kept, by their names: the day and the second stand in them.
async fn beyond(folder: &Path, kept: usize) -> std::io::Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    let mut entries = tokio::fs::read_dir(folder).await?;
    while let Some(entry) = entries.next_entry().await? {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(START) && name.ends_with(".sqlite") {
            all.push(entry.path());
        }
    }
    all.sort();
    all.reverse();
    Ok(all.split_off(kept.min(all.len())))
}

/// Makes them for as long as the service runs.
pub async fn keep_making(app: App) {
    let hours = app.config().backups.every_hours;
    if hours == 0 {
        return;
    }
    let mut last = None;
    let mut turns = tokio::time::interval(Duration::from_hours(hours.into()));
    turns.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    // The first turn comes at once; a book that was just opened was kept when it was last served.
    turns.tick().await;
    loop {
        turns.tick().await;
        match once(&app, last).await {
            Ok(revision) => last = Some(revision),
            Err(why) => tracing::error!(%why, "no backup was made; the book itself is as it was"),
        }
    }
}
