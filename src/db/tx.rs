//! Transactions as types: to read, and to write.

use std::{
    future::Future,
    ops::{Deref, DerefMut},
};

use sqlx::{Sqlite, SqliteConnection, SqlitePool, Transaction};

use super::refusal::DbError;

/// Who writes, from where, when: what the log of changes says of everything that is written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct By {
    /// Who, as far as it is known.
    pub who: String,
    /// From which address; empty where it is this program itself.
    pub address: String,
    /// Milliseconds since 1970 (UTC).
    pub at_ms: i64,
}

tokio::task_local! {
    static BY: By;
}

impl By {
    /// Lets `work` write in this name: it is said once for a request, not by every function that
    /// writes.
    pub async fn write<T>(self, work: impl Future<Output = T>) -> T {
        BY.scope(self, work).await
    }

    fn now() -> Self {
        BY.try_with(Clone::clone).unwrap_or_default()
    }
}

/// One state of the database, to be read.
#[derive(Debug)]
pub struct ReadTx(Transaction<'static, Sqlite>);

/// The only way to write. Dropped without a commit it undoes everything.
#[derive(Debug)]
pub struct WriteTx(Transaction<'static, Sqlite>);

impl ReadTx {
    #[expect(
        clippy::disallowed_methods,
        reason = "readers never write: the pool is read-only"
    )]
    pub(super) async fn begin(pool: &SqlitePool) -> Result<Self, DbError> {
        Ok(Self(pool.begin().await?))
    }
}

impl WriteTx {
    /// Begins to write, in the name of who was said to; `who`, `at_ms` if the use-case knows better.
    pub(super) async fn begin(
        pool: &SqlitePool,
        known: Option<(&str, i64)>,
    ) -> Result<Self, DbError> {
        let mut tx = Self(pool.begin_with("BEGIN IMMEDIATE").await?);
        let by = By::now();
        let (who, at_ms) = known.unwrap_or((&by.who, by.at_ms));
        sqlx::query!(
            "UPDATE acting SET who = ?, address = ?, at_ms = ?",
            who,
            by.address,
            at_ms
        )
        .execute(&mut *tx.0)
        .await?;
        Ok(tx)
    }

    /// Commits what no page rests on: the revision stays.
    pub async fn commit_quietly(self) -> Result<(), DbError> {
        Ok(self.0.commit().await?)
    }

    /// Raises the revision and commits: from here on it is on the disk.
    pub async fn commit(mut self) -> Result<(), DbError> {
        sqlx::query!("UPDATE revision SET value = value + 1")
            .execute(&mut *self.0)
            .await?;
        self.0.commit().await?;
        Ok(())
    }
}

impl Deref for ReadTx {
    type Target = SqliteConnection;
    fn deref(&self) -> &SqliteConnection {
        &self.0
    }
}

impl DerefMut for ReadTx {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.0
    }
}

impl Deref for WriteTx {
    type Target = SqliteConnection;
    fn deref(&self) -> &SqliteConnection {
        &self.0
    }
}

impl DerefMut for WriteTx {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.0
    }
}
