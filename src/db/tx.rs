//! Transactions as types: to read, and to write.

use std::ops::{Deref, DerefMut};

use sqlx::{Sqlite, SqliteConnection, SqlitePool, Transaction};

use super::refusal::DbError;

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
    pub(super) async fn begin(pool: &SqlitePool) -> Result<Self, DbError> {
        Ok(Self(pool.begin_with("BEGIN IMMEDIATE").await?))
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
