//! Transactions as types: to read, and to write.

use std::{
    future::Future,
    ops::{Deref, DerefMut},
    sync::Arc,
};

use sqlx::{Sqlite, SqliteConnection, SqlitePool, Transaction};

use super::{
    line::{Company, Line, Turn},
    press::{NewPress, Pressed},
    refusal::DbError,
    snapshot::Pieces,
};

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
pub struct ReadTx {
    tx: Transaction<'static, Sqlite>,
    pieces: Arc<Pieces>,
}

/// The only way to write. Dropped without a commit it undoes everything.
#[derive(Debug)]
pub struct WriteTx(Turn);

impl ReadTx {
    #[expect(
        clippy::disallowed_methods,
        reason = "readers never write: the pool is read-only"
    )]
    pub(super) async fn begin(pool: &SqlitePool, pieces: &Arc<Pieces>) -> Result<Self, DbError> {
        Ok(Self {
            tx: pool.begin().await?,
            pieces: pieces.clone(),
        })
    }

    /// What is kept in memory of the pieces.
    pub(super) const fn kept(&self) -> &Arc<Pieces> {
        &self.pieces
    }
}

/// The first errand to the thread that writes: who writes, and what the same key got before.
macro_rules! enter {
    ($begin:literal, $tx:ident, $who:ident, $by:ident, $at_ms:ident, $key:ident) => {
        sqlx::query_as!(
            Pressed,
            $begin
                + "UPDATE acting SET who = ?, address = ?, at_ms = ?;
                   SELECT request, answer FROM press WHERE key = ?",
            $who,
            $by.address,
            $at_ms,
            $key
        )
        .fetch_optional(&mut *$tx)
        .await
    };
}

/// The last errand: the key with its answer, keys forgotten that are old, the revision raised.
macro_rules! leave {
    ($release:literal, $tx:ident, $kept:ident) => {
        sqlx::query!(
            "DELETE FROM press WHERE at_ms < ?;
             INSERT INTO press (key, request, answer, at_ms) VALUES (?, ?, ?, ?);
             UPDATE revision SET value = value + 1"
                + $release,
            $kept.old_ms,
            $kept.key,
            $kept.pressed.request,
            $kept.pressed.answer,
            $kept.now_ms
        )
        .execute(&mut *$tx)
        .await
    };
}

impl WriteTx {
    /// Begins to write, in the name of who was said to; `who`, `at_ms` if the use-case knows better.
    /// With it comes what was answered under a key, if it was used.
    pub(super) async fn begin(
        line: &Line,
        company: Company,
        known: Option<(&str, i64)>,
        key: Option<&str>,
    ) -> Result<(Self, Option<Pressed>), DbError> {
        let mut tx = Self(line.turn(company).await?);
        let by = By::now();
        let (who, at_ms) = known.unwrap_or((&by.who, by.at_ms));
        let before = if tx.0.opens {
            enter!("BEGIN IMMEDIATE; ", tx, who, by, at_ms, key)
        } else {
            enter!("SAVEPOINT turn; ", tx, who, by, at_ms, key)
        };
        Ok((tx, before?))
    }

    /// Commits what no page rests on: the revision stays.
    pub async fn commit_quietly(mut self) -> Result<(), DbError> {
        if !self.0.opens {
            sqlx::query("RELEASE turn").execute(&mut *self).await?;
        }
        self.0.keep().await
    }

    /// Raises the revision and commits: from here on it is on the disk.
    pub async fn commit(mut self) -> Result<(), DbError> {
        sqlx::query!("UPDATE revision SET value = value + 1")
            .execute(&mut *self)
            .await?;
        self.commit_quietly().await
    }

    /// The same, and keeps a key with what is answered under it.
    pub async fn commit_under(mut self, kept: &NewPress<'_>) -> Result<(), DbError> {
        if self.0.opens {
            leave!("", self, kept)?;
        } else {
            leave!("; RELEASE turn", self, kept)?;
        }
        self.0.keep().await
    }
}

impl Deref for ReadTx {
    type Target = SqliteConnection;
    fn deref(&self) -> &SqliteConnection {
        &self.tx
    }
}

impl DerefMut for ReadTx {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.tx
    }
}

impl Deref for WriteTx {
    type Target = SqliteConnection;
    fn deref(&self) -> &SqliteConnection {
        self.0.connection()
    }
}

impl DerefMut for WriteTx {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        self.0.connection_mut()
    }
}
