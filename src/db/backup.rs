//! A backup: one file, whole and checked before it carries its name, made while others write.
//!
//! A copied database file lacks what is still in the write-ahead log; `VACUUM INTO` does not.

use std::{
    ffi::OsString,
    io,
    path::{Path, PathBuf},
    time::Duration,
};

use sqlx::{Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};

use super::{DbError, sound};

/// A backup that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backup {
    /// The file.
    pub file: PathBuf,
    /// Its size in bytes.
    pub bytes: u64,
    /// How many movements its ledger holds.
    pub movements: i64,
}

/// Why no backup was made. Whatever happens, no half file carries the backup's name.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// There is a file of that name.
    #[error(
        "{} is there already. It was left as it is and no backup was made. Choose another name.",
        .0.display()
    )]
    Exists(PathBuf),
    /// The name does not name a file.
    #[error("{} does not name a file. No backup was made. Name one, such as before-strike.sqlite.", .0.display())]
    NoName(PathBuf),
    /// There is no database to begin with.
    #[error("There is no database {}. No backup was made. Say which data folder, with --data.", .0.display())]
    NoDatabase(PathBuf),
    /// The copy is not sound.
    #[error(
        "The copy did not pass its check and was removed; no backup was made. Run the check \
         command on the database itself. First fault: {0}"
    )]
    Unsound(String),
    /// A file could not be written, checked or renamed.
    #[error("{} cannot be written ({why}). No backup was made. Choose a folder that you may write to, on a disk with room.", file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// What the system said.
        why: io::Error,
    },
    /// The database.
    #[error("{0} No backup was made.")]
    Db(#[from] DbError),
}

impl From<sqlx::Error> for BackupError {
    fn from(error: sqlx::Error) -> Self {
        Self::Db(error.into())
    }
}

/// Writes a database's backup to a file that is not there yet.
pub async fn make(database: &Path, target: &Path) -> Result<Backup, BackupError> {
    if target.file_name().is_none() {
        return Err(BackupError::NoName(target.to_owned()));
    }
    if !exists(database).await {
        return Err(BackupError::NoDatabase(database.to_owned()));
    }
    if exists(target).await {
        return Err(BackupError::Exists(target.to_owned()));
    }
    let partial = partial_of(target);
    begin(&partial).await.map_err(|why| match why.kind() {
        io::ErrorKind::AlreadyExists => BackupError::Exists(partial.clone()),
        _ => file_error(&partial, why),
    })?;
    let made = fill(database, &partial, target).await;
    if made.is_err() {
        // The reason that no backup was made is worth more than why its remains stay.
        let _ = tokio::fs::remove_file(&partial).await;
    }
    made
}

pub(super) async fn exists(file: &Path) -> bool {
    tokio::fs::try_exists(file).await.unwrap_or(false)
}

fn file_error(file: &Path, why: io::Error) -> BackupError {
    BackupError::File {
        file: file.to_owned(),
        why,
    }
}

async fn fill(database: &Path, partial: &Path, target: &Path) -> Result<Backup, BackupError> {
    let Some(partial_text) = partial.to_str() else {
        return Err(BackupError::NoName(target.to_owned()));
    };
    let mut from = open(database).await?;
    sqlx::query("VACUUM INTO ?")
        .bind(partial_text)
        .execute(&mut from)
        .await?;
    from.close().await?;

    let mut copy = open(partial).await?;
    if let Some(fault) = sound::list_faults(&mut copy).await?.into_iter().next() {
        return Err(BackupError::Unsound(fault));
    }
    // The first steps of the schema had no ledger yet.
    let ledger = sqlx::query_scalar!("SELECT 1 FROM sqlite_master WHERE name = 'movement'")
        .fetch_optional(&mut copy)
        .await?;
    let movements = match ledger {
        Some(_) => {
            sqlx::query_scalar!("SELECT count(*) FROM movement")
                .fetch_one(&mut copy)
                .await?
        }
        None => 0,
    };
    copy.close().await?;

    if exists(target).await {
        return Err(BackupError::Exists(target.to_owned()));
    }
    let bytes = settle(partial, target)
        .await
        .map_err(|why| file_error(target, why))?;
    Ok(Backup {
        file: target.to_owned(),
        bytes,
        movements,
    })
}

async fn open(file: &Path) -> Result<SqliteConnection, BackupError> {
    Ok(SqliteConnection::connect_with(
        &SqliteConnectOptions::new()
            .filename(file)
            .read_only(true)
            .busy_timeout(Duration::from_secs(5)),
    )
    .await?)
}

/// The name that a file has until it is whole.
pub(super) fn partial_of(target: &Path) -> PathBuf {
    let mut partial = OsString::from(target);
    partial.push(".partial");
    partial.into()
}

/// Makes a file, by us alone: two that make one of the same name do not meet in it.
pub(super) async fn begin(partial: &Path) -> io::Result<()> {
    let mut options = tokio::fs::OpenOptions::new();
    options.write(true).create_new(true).open(partial).await?;
    Ok(())
}

/// Gives a whole file its name, on the disk: its size in bytes.
pub(super) async fn settle(partial: &Path, target: &Path) -> io::Result<u64> {
    let bytes = flush(partial).await?;
    tokio::fs::rename(partial, target).await?;
    let folder = match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // The new name is on the disk only with its folder.
    #[cfg(unix)]
    flush(folder).await?;
    Ok(bytes)
}

async fn flush(path: &Path) -> io::Result<u64> {
    let file = tokio::fs::File::open(path).await?;
    file.sync_all().await?;
    Ok(file.metadata().await?.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{db::Db, model::text::Name};

    async fn venue(name: &str, db: &Db) {
        let mut tx = db.write().await.unwrap();
        let mut venue = crate::db::venue::lookup(&mut tx).await.unwrap();
        venue.name = Name::parse(name).unwrap();
        assert!(crate::db::venue::change(&mut tx, &venue).await.unwrap());
        tx.commit().await.unwrap();
    }

    #[tokio::test]
    async fn a_backup_holds_what_is_only_in_the_log_and_opens_as_a_database() {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(&folder.path().join("data")).await.unwrap();
        venue("Millpond Hall", &db).await;
        let target = folder.path().join("copy").join(Db::FILE);
        std::fs::create_dir(folder.path().join("copy")).unwrap();
        // The database stays open: its last commit is in the write-ahead log.
        let made = make(db.file(), &target).await.unwrap();
        assert_eq!(made.bytes, std::fs::metadata(&target).unwrap().len());
        let copy = Db::open_file(&target).await.unwrap();
        let found = crate::db::venue::lookup(&mut copy.read().await.unwrap())
            .await
            .unwrap();
        assert_eq!(found.name.as_str(), "Millpond Hall");
        assert!(
            !folder
                .path()
                .join("copy")
                .join("tapewright.sqlite.partial")
                .exists()
        );
    }

    #[tokio::test]
    async fn nothing_is_overwritten_and_nothing_half_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(&folder.path().join("data")).await.unwrap();
        let target = folder.path().join("kept.sqlite");
        std::fs::write(&target, "kept").unwrap();
        assert!(matches!(
            make(db.file(), &target).await,
            Err(BackupError::Exists(file)) if file == target
        ));
        assert_eq!(std::fs::read_to_string(&target).unwrap(), "kept");
        assert!(matches!(
            make(&folder.path().join("none.sqlite"), &folder.path().join("b")).await,
            Err(BackupError::NoDatabase(_))
        ));
        assert!(matches!(
            make(db.file(), &folder.path().join("no-folder").join("b")).await,
            Err(BackupError::File { .. })
        ));
        // Not a database: the copy fails, and no remains carry any name.
        let text = folder.path().join("text");
        std::fs::write(&text, "x".repeat(5000)).unwrap();
        assert!(matches!(
            make(&text, &folder.path().join("b")).await,
            Err(BackupError::Db(_))
        ));
        let mut left: Vec<_> = std::fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        left.sort();
        assert_eq!(left, ["data", "kept.sqlite", "text"]);
    }
}
