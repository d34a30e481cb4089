//! Bringing a backup back: into a folder of its own, never over a book that is there; and the copy that
//! is made before a book is brought up to date.

use std::path::{Path, PathBuf};

use sqlx::{Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};

use super::{
    Db, OpenError, audit,
    backup::{self, BackupError},
};

/// A backup that was brought back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// The folder to serve.
    pub folder: PathBuf,
    /// How many movements its ledger holds.
    pub movements: i64,
}

/// Why nothing was brought back. The backup is as it was, and so is every book.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// The folder has a book already.
    #[error("{} holds a stock book already. It was left as it is and nothing was restored. Name a new folder.", .0.display())]
    Occupied(PathBuf),
    /// The copy could not be made.
    #[error(transparent)]
    Copy(#[from] BackupError),
    /// The copy is no book that this program can open.
    #[error("{0} The restored copy was removed.")]
    Open(#[from] OpenError),
    /// The copy does not agree with itself.
    #[error("The backup does not agree with itself, so nothing was restored. First fault: {0}")]
    Unsound(String),
    /// The folder cannot be made.
    #[error("The folder {} cannot be made ({why}). Nothing was restored.", folder.display())]
    Folder {
        /// Which.
        folder: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
}

/// Copies a backup into a folder, brings it up to date and adds its ledger up.
pub async fn restore(file: &Path, folder: &Path) -> Result<Restored, RestoreError> {
    let target = folder.join(Db::FILE);
    if tokio::fs::try_exists(&target).await.unwrap_or(true) {
        return Err(RestoreError::Occupied(folder.to_owned()));
    }
    tokio::fs::create_dir_all(folder)
        .await
        .map_err(|why| RestoreError::Folder {
            folder: folder.to_owned(),
            why,
        })?;
    let made = backup::make(file, &target).await?;
    match sound(&target).await {
        Ok(()) => Ok(Restored {
            folder: folder.to_owned(),
            movements: made.movements,
        }),
        Err(why) => {
            // The reason is worth more than why the remains stay.
            let _ = tokio::fs::remove_file(&target).await;
            Err(why)
        }
    }
}

pub(super) async fn sound(file: &Path) -> Result<(), RestoreError> {
    let db = Db::open_file(file).await?;
    let faults = async {
        let mut tx = db.read().await?;
        let mut faults = audit::list_balance_faults(&mut tx).await?;
        faults.extend(audit::list_total_faults(&mut tx).await?);
        faults.extend(audit::list_thing_faults(&mut tx).await?);
        faults.extend(audit::list_cut_faults(&mut tx).await?);
        Ok::<_, super::DbError>(faults)
    };
    let found = faults.await;
    db.close().await;
    match found.map_err(BackupError::from)?.into_iter().next() {
        None => Ok(()),
        Some(fault) => Err(RestoreError::Unsound(fault)),
    }
}

/// The last step that a database file was brought to; `None` for a new or strange one.
async fn step(file: &Path) -> Option<i64> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut connection = SqliteConnection::connect_with(&options).await.ok()?;
    let step = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
        .fetch_one(&mut connection)
        .await
        .ok()?;
    let _ = connection.close().await;
    step
}

/// Keeps a copy of a book that is about to be brought from an older step to `newest`: where it is, if
/// one was made.
pub(super) async fn before_upgrade(
    file: &Path,
    newest: i64,
) -> Result<Option<PathBuf>, BackupError> {
    let there = tokio::fs::try_exists(file).await.unwrap_or(false);
    let Some(old) = (if there { step(file).await } else { None }) else {
        return Ok(None);
    };
    if old >= newest {
        return Ok(None);
    }
    let folder = file.with_file_name("backups");
    tokio::fs::create_dir_all(&folder)
        .await
        .map_err(|why| BackupError::File {
            file: folder.clone(),
            why,
        })?;
    for number in 1.. {
        let target = folder.join(format!("before-step-{newest}-{number}.sqlite"));
        match backup::make(file, &target).await {
            Err(BackupError::Exists(_)) => {}
            made => return Ok(Some(made?.file)),
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_backup_is_brought_back_into_a_folder_of_its_own() {
        let home = tempfile::tempdir().unwrap();
        let db = Db::open(&home.path().join("data")).await.unwrap();
        let file = home.path().join("copy.sqlite");
        backup::make(db.file(), &file).await.unwrap();
        let folder = home.path().join("again");
        let restored = restore(&file, &folder).await.unwrap();
        assert_eq!(restored.folder, folder);
        Db::open(&folder).await.unwrap().close().await;
        // Never over a book that is there, the one in use included.
        for there in [&folder, &home.path().join("data")] {
            let refused = restore(&file, there).await;
            assert!(
                matches!(refused, Err(RestoreError::Occupied(_))),
                "{refused:?}"
            );
        }
        // What is no book leaves nothing behind.
        let strange = home.path().join("strange.sqlite");
        std::fs::write(
            &strange,
            b"not a database at all, but long enough to look at",
        )
        .unwrap();
        let other = home.path().join("other");
        assert!(restore(&strange, &other).await.is_err());
        assert!(!other.join(Db::FILE).exists());
        let missing = restore(&home.path().join("missing.sqlite"), &other).await;
        assert!(matches!(
            missing,
            Err(RestoreError::Copy(BackupError::NoDatabase(_)))
        ));
        db.close().await;
    }
}
