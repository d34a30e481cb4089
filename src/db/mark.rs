//! Whether anything was committed, by this process or by another: what is kept in memory rests on
//! it.

use std::sync::atomic::{AtomicU64, Ordering};

use sqlx::{Connection as _, SqliteConnection, sqlite::SqliteConnectOptions};
use tokio::sync::Mutex;

use super::{DbError, venue};
use crate::model::venue::Venue;

/// A state of the database as its [`Watch`] saw it. Where two marks of one watch are equal,
/// nothing was committed between them; the greater one is of the later state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark(u64);

/// A state of the database with what every page rests on.
#[derive(Debug, Clone)]
pub struct Seen {
    /// The state.
    pub mark: Mark,
    /// The venue's settings.
    pub venue: Venue,
    /// When it was last written, by the clock of then, in milliseconds since 1970 (UTC).
    pub written_ms: i64,
}

/// A connection that only watches. `data_version` counts what all other connections to the file
/// commit, those of other processes too, whether or not they raise our revision; its values mean
/// something on one connection only (<https://www.sqlite.org/pragma.html#pragma_data_version>).
#[derive(Debug)]
pub(super) struct Watch {
    watching: Mutex<Option<Watching>>,
    /// How many have asked so far.
    asked: AtomicU64,
}

#[derive(Debug)]
struct Watching {
    connection: SqliteConnection,
    /// What the connection last counted, and what was seen then.
    last: Option<(i64, Seen)>,
    /// How many had asked when the last look began: it does for all of them.
    looked_for: u64,
}

impl Watch {
    /// Begins to watch.
    pub(super) async fn begin(options: &SqliteConnectOptions) -> Result<Self, sqlx::Error> {
        let options = options.clone().optimize_on_close(false, None);
        let connection = SqliteConnection::connect_with(&options).await?;
        Ok(Self {
            watching: Mutex::new(Some(Watching {
                connection,
                last: None,
                looked_for: 0,
            })),
            asked: AtomicU64::new(0),
        })
    }

    /// The state that the database is in now, and the settings in it; nothing where that is the
    /// state already known. What is read after this is at least as new. Of many who ask at once one
    /// looks for those who wait behind it.
    pub(super) async fn changed(&self, known: Option<Mark>) -> Result<Option<Seen>, DbError> {
        let number = self.asked.fetch_add(1, Ordering::SeqCst) + 1;
        let mut watching = self.watching.lock().await;
        let watching = watching.as_mut().ok_or(sqlx::Error::PoolClosed)?;
        if watching.looked_for < number || watching.last.is_none() {
            let asked = self.asked.load(Ordering::SeqCst);
            watching.look().await?;
            watching.looked_for = asked;
        }
        let seen = watching.last.as_ref().map(|(_, seen)| seen);
        Ok(seen.filter(|seen| known != Some(seen.mark)).cloned())
    }

    /// Ends it: marks asked for afterwards are refused.
    pub(super) async fn close(&self) {
        if let Some(watching) = self.watching.lock().await.take() {
            // It only read: there is nothing to lose.
            let _ = watching.connection.close().await;
        }
    }
}

impl Watching {
    /// Sees what there is now.
    async fn look(&mut self) -> Result<(), DbError> {
        let Self {
            connection, last, ..
        } = self;
        let counted: i64 = sqlx::query_scalar("PRAGMA data_version")
            .fetch_one(&mut *connection)
            .await?;
        if last.as_ref().is_some_and(|(known, _)| *known == counted) {
            return Ok(());
        }
        let mark = Mark(last.as_ref().map_or(1, |(_, seen)| seen.mark.0 + 1));
        let (venue, written_ms) = venue::lookup_written(connection).await?;
        *last = Some((
            counted,
            Seen {
                mark,
                venue,
                written_ms,
            },
        ));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::Mark;
    use crate::db::Db;

    async fn mark(db: &Db) -> Mark {
        db.changed(None).await.unwrap().unwrap().mark
    }

    #[tokio::test]
    async fn a_mark_changes_with_every_commit_and_with_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let ours = Db::open(folder.path()).await.unwrap();
        let other = Db::open(folder.path()).await.unwrap();
        let mut last = mark(&ours).await;
        ours.read().await.unwrap();
        drop(ours.write().await.unwrap());
        assert!(ours.changed(Some(last)).await.unwrap().is_none());
        for writer in [&ours, &other, &ours] {
            writer.write().await.unwrap().commit().await.unwrap();
            let next = ours.changed(Some(last)).await.unwrap().unwrap().mark;
            assert_ne!(next, last);
            last = next;
        }
        assert_eq!(mark(&ours).await, last);
    }

    #[tokio::test]
    async fn a_mark_changes_where_somebody_writes_beside_the_program() {
        let folder = tempfile::tempdir().unwrap();
        let ours = Db::open(folder.path()).await.unwrap();
        let before = mark(&ours).await;
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(ours.file());
        let mut by_hand = <sqlx::SqliteConnection as sqlx::Connection>::connect_with(&options)
            .await
            .unwrap();
        sqlx::query("UPDATE venue SET name = 'Another hall'")
            .execute(&mut by_hand)
            .await
            .unwrap();
        let seen = ours.changed(Some(before)).await.unwrap().unwrap();
        assert_eq!(seen.venue.name.as_str(), "Another hall");
    }
}
