//! The line of those who write: one after the other, and those who stand in line share a commit.
//!
//! A task of its own holds the connection that writes, and lends it to whoever's turn it is. The first
//! opens the transaction. Where others who may share it stand in line when the connection comes back,
//! it goes on to them, bounded in number and time, each within a savepoint of their own; then it is
//! committed for all, and only after that is any of them answered. Who fails, or goes away, takes back
//! what was done in that turn and nothing else. Where the commit fails, all are told.

use std::time::{Duration, Instant};

use sqlx::{Connection as _, SqliteConnection};
use tokio::sync::{mpsc, oneshot};

use super::DbError;

/// The most that share a commit.
const MOST: usize = 32;
/// How long the first may have waited for its commit when another joins.
const LONGEST: Duration = Duration::from_millis(25);
/// How long somebody stands in line.
const PATIENCE: Duration = Duration::from_secs(30);
/// How many pages the log may have before it is folded into the file.
const MOST_LOG: i64 = 4000;
/// Folds it in and has the next commit begin it anew. Who reads is waited for a moment, not for
/// seconds as otherwise: a copy of the whole file is a long reading.
const FOLD: &str = "PRAGMA busy_timeout = 50; PRAGMA wal_checkpoint(RESTART)";
/// Waits for others as `Db::open_file` says.
const PATIENT: &str = "PRAGMA busy_timeout = 5000";
/// How many stand in line before others wait to get into it.
const LENGTH: usize = 256;

/// With whom somebody shares a commit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Company {
    /// With nobody: what takes long, or answers without a commit.
    Alone,
    /// With those before and behind in the line.
    Shared,
}

/// Where to ask for a turn.
#[derive(Debug, Clone)]
pub(super) struct Line {
    ask: mpsc::Sender<Ask>,
}

#[derive(Debug)]
enum Ask {
    Turn(Wish),
    Close(oneshot::Sender<()>),
}

#[derive(Debug)]
struct Wish {
    company: Company,
    give: oneshot::Sender<Turn>,
}

/// Somebody's turn, with the connection that writes. Dropped, it takes back what was done in it.
#[derive(Debug)]
pub(super) struct Turn {
    lent: Option<Lent>,
    /// Whether the transaction is to be opened; it is open already where others share it, and then
    /// this turn is a savepoint in it, by the name `turn`.
    pub(super) opens: bool,
}

#[derive(Debug)]
struct Lent {
    connection: SqliteConnection,
    back: oneshot::Sender<Back>,
}

/// What comes back after a turn.
#[derive(Debug)]
struct Back {
    connection: SqliteConnection,
    /// Whom to tell what came of the commit; nobody where it is to be taken back.
    tell: Option<oneshot::Sender<Result<(), DbError>>>,
}

fn gone() -> DbError {
    DbError::Other(sqlx::Error::PoolClosed)
}

impl Line {
    /// Begins to lend the connection.
    pub(super) fn begin(connection: SqliteConnection) -> Self {
        Self::begin_with(connection, LONGEST, MOST_LOG)
    }

    fn begin_with(connection: SqliteConnection, longest: Duration, most_log: i64) -> Self {
        let (ask, asks) = mpsc::channel(LENGTH);
        let desk = Desk {
            connection: Some(connection),
            asks,
            next: None,
            longest,
            most_log,
            fold_at: most_log,
        };
        // It ends when nobody can ask any more, or is told to.
        drop(tokio::spawn(desk.serve()));
        Self { ask }
    }

    /// One's turn.
    pub(super) async fn turn(&self, company: Company) -> Result<Turn, DbError> {
        let turn = async {
            let (give, given) = oneshot::channel();
            let wish = Ask::Turn(Wish { company, give });
            self.ask.send(wish).await.map_err(|_| gone())?;
            given.await.map_err(|_| gone())
        };
        match tokio::time::timeout(PATIENCE, turn).await {
            Ok(turn) => turn,
            Err(_) => Err(DbError::Busy),
        }
    }

    /// Closes the connection once those who stand in line have had their turn.
    pub(super) async fn close(&self) {
        let (done, closed) = oneshot::channel();
        if self.ask.send(Ask::Close(done)).await.is_ok() {
            // Where it is closed already there is nothing to wait for.
            let _ = closed.await;
        }
    }
}

impl Turn {
    pub(super) fn connection(&self) -> &SqliteConnection {
        match &self.lent {
            Some(lent) => &lent.connection,
            None => unreachable!("it is given back with the turn only"),
        }
    }

    pub(super) fn connection_mut(&mut self) -> &mut SqliteConnection {
        match &mut self.lent {
            Some(lent) => &mut lent.connection,
            None => unreachable!("it is given back with the turn only"),
        }
    }

    /// Gives the connection back, a savepoint released, and waits for the commit.
    pub(super) async fn keep(mut self) -> Result<(), DbError> {
        let (tell, told) = oneshot::channel();
        self.give_back(Some(tell));
        told.await.map_err(|_| gone())?
    }

    fn give_back(&mut self, tell: Option<oneshot::Sender<Result<(), DbError>>>) {
        if let Some(Lent { connection, back }) = self.lent.take() {
            // The other end lives until it comes back.
            let _ = back.send(Back { connection, tell });
        }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.give_back(None);
    }
}

/// Who lends the connection.
struct Desk {
    connection: Option<SqliteConnection>,
    asks: mpsc::Receiver<Ask>,
    /// Who is next, where that was seen already.
    next: Option<Ask>,
    longest: Duration,
    /// How many pages the log may have before it is folded into the file.
    most_log: i64,
    /// The same, or more where that was tried and somebody read for too long.
    fold_at: i64,
}

impl Desk {
    async fn serve(mut self) {
        loop {
            let next = match self.next.take() {
                Some(next) => Some(next),
                None => self.asks.recv().await,
            };
            match next {
                Some(Ask::Turn(wish)) => {
                    if self.share(wish).await.is_none() {
                        return;
                    }
                    if let Err(why) = self.fold().await {
                        tracing::warn!(%why, "the log could not be folded into the file: it grows until it can");
                    }
                }
                Some(Ask::Close(done)) => {
                    self.close().await;
                    let _ = done.send(());
                    return;
                }
                None => return self.close().await,
            }
        }
    }

    async fn close(&mut self) {
        if let Some(connection) = self.connection.take()
            && let Err(why) = connection.close().await
        {
            tracing::warn!(%why, "the connection that writes was not closed well");
        }
    }

    /// One transaction: of the first, and of those who share it. `None` where the connection is lost.
    async fn share(&mut self, first: Wish) -> Option<()> {
        let mut since = None;
        let mut kept = Vec::new();
        let mut wish = first;
        loop {
            let company = wish.company;
            match self.lend(wish, kept.is_empty()).await? {
                Given::Nobody => {}
                Given::Kept(tell) => {
                    since.get_or_insert_with(Instant::now);
                    kept.push(tell);
                }
                Given::TakenBack if kept.is_empty() => {
                    // It fails where nothing was opened: then there is nothing to take back.
                    let _ = self.run("ROLLBACK").await;
                }
                Given::TakenBack => {
                    let done = self.run("ROLLBACK TO turn; RELEASE turn").await;
                    // No savepoint: it was not begun, or is released and whole, or the whole
                    // transaction is lost. The commit says which.
                    if done.is_err() {
                        break;
                    }
                }
            }
            let late = since.is_some_and(|since: Instant| since.elapsed() >= self.longest);
            if company == Company::Alone || kept.len() >= MOST || late {
                break;
            }
            match self.asks.try_recv() {
                Ok(Ask::Turn(next)) if next.company == Company::Shared => wish = next,
                Ok(next) => {
                    self.next = Some(next);
                    break;
                }
                Err(_) => break,
            }
        }
        if !kept.is_empty() {
            self.commit(kept).await;
        }
        Some(())
    }

    /// Lends the connection for a turn.
    async fn lend(&mut self, wish: Wish, opens: bool) -> Option<Given> {
        let (back, comes_back) = oneshot::channel();
        let turn = Turn {
            lent: Some(Lent {
                connection: self.connection.take()?,
                back,
            }),
            opens,
        };
        let nobody = match wish.give.send(turn) {
            Ok(()) => false,
            Err(turn) => {
                drop(turn);
                true
            }
        };
        let Back { connection, tell } = comes_back.await.ok()?;
        self.connection = Some(connection);
        Some(match tell {
            _ if nobody => Given::Nobody,
            Some(tell) => Given::Kept(tell),
            None => Given::TakenBack,
        })
    }

    async fn run(&mut self, sql: &'static str) -> Result<(), sqlx::Error> {
        let connection = (self.connection.as_mut()).ok_or(sqlx::Error::PoolClosed)?;
        sqlx::query(sql).execute(connection).await.map(|_| ())
    }

    /// Folds a long log into the file and has the next commit begin it anew, after those who were
    /// committed are told. SQLite by itself would fold it in as part of somebody's commit, and begin it
    /// anew only where nobody happens to read: with many readers it grows without end, and every page
    /// that is read is looked for in all of it
    /// (<https://www.sqlite.org/wal.html#avoiding_excessively_large_wal_files>).
    async fn fold(&mut self) -> Result<(), sqlx::Error> {
        let connection = (self.connection.as_mut()).ok_or(sqlx::Error::PoolClosed)?;
        let (_, log, _): (i64, i64, i64) = sqlx::query_as("PRAGMA wal_checkpoint(NOOP)")
            .fetch_one(&mut *connection)
            .await?;
        if log < self.most_log {
            self.fold_at = self.most_log;
        }
        if log < self.fold_at {
            return Ok(());
        }
        // What fails is not tried at every commit.
        self.fold_at = log + self.most_log;
        let folded = sqlx::raw_sql(FOLD).execute(&mut *connection).await;
        sqlx::raw_sql(PATIENT).execute(connection).await?;
        folded.map(|_| ())
    }

    /// Commits for all, and tells them.
    async fn commit(&mut self, kept: Vec<oneshot::Sender<Result<(), DbError>>>) {
        let done = self.run("COMMIT").await.map_err(DbError::from);
        if done.is_err() {
            // It may be gone already.
            let _ = self.run("ROLLBACK").await;
        }
        for tell in kept {
            // Who has gone need not be told.
            let _ = tell.send(match &done {
                Ok(()) => Ok(()),
                Err(why) => Err(why.again()),
            });
        }
    }
}

/// What came of a turn.
enum Given {
    /// It was to be kept: whom to tell.
    Kept(oneshot::Sender<Result<(), DbError>>),
    /// It was not.
    TakenBack,
    /// Whoever asked for it has gone.
    Nobody,
}

#[cfg(test)]
mod tests {
    use std::{
        str::FromStr as _,
        sync::atomic::{AtomicBool, Ordering},
    };

    use futures_util::future::join_all;
    use sqlx::sqlite::SqliteConnectOptions;

    use super::*;

    /// A table that refuses a number twice, and another that finds out at the commit only.
    const TABLES: &str = "CREATE TABLE number (value INTEGER PRIMARY KEY);
        CREATE TABLE after (value REFERENCES number DEFERRABLE INITIALLY DEFERRED)";

    struct Book {
        line: Line,
        options: SqliteConnectOptions,
        _folder: tempfile::TempDir,
    }

    impl Book {
        async fn new() -> Self {
            Self::folding_at(MOST_LOG).await
        }

        async fn folding_at(most_log: i64) -> Self {
            let folder = tempfile::tempdir().unwrap();
            let url = format!("sqlite://{}/book.sqlite", folder.path().display());
            let options = SqliteConnectOptions::from_str(&url)
                .unwrap()
                .journal_mode(sqlx::sqlite::SqliteJournalMode::Wal);
            let mut writes =
                SqliteConnection::connect_with(&options.clone().create_if_missing(true))
                    .await
                    .unwrap();
            sqlx::query(TABLES).execute(&mut writes).await.unwrap();
            Self {
                line: Line::begin_with(writes, Duration::from_mins(10), most_log),
                options,
                _folder: folder,
            }
        }

        /// What others see.
        async fn seen(&self) -> Vec<i64> {
            let mut reads = SqliteConnection::connect_with(&self.options).await.unwrap();
            sqlx::query_scalar("SELECT value FROM number ORDER BY value")
                .fetch_all(&mut reads)
                .await
                .unwrap()
        }

        /// How many pages the log has.
        async fn log(&self) -> i64 {
            let mut other = SqliteConnection::connect_with(&self.options).await.unwrap();
            let (_, log, _): (i64, i64, i64) = sqlx::query_as("PRAGMA wal_checkpoint(NOOP)")
                .fetch_one(&mut other)
                .await
                .unwrap();
            log
        }

        /// Begins to read, and goes on until it is dropped.
        async fn reading(&self) -> SqliteConnection {
            let mut reads = SqliteConnection::connect_with(&self.options).await.unwrap();
            sqlx::raw_sql("BEGIN; SELECT count(*) FROM number")
                .execute(&mut reads)
                .await
                .unwrap();
            reads
        }

        async fn turn(&self, company: Company) -> Turn {
            let mut turn = self.line.turn(company).await.unwrap();
            let begin = if turn.opens {
                "BEGIN IMMEDIATE"
            } else {
                "SAVEPOINT turn"
            };
            run(&mut turn, begin).await.unwrap();
            turn
        }

        /// Writes a number in a turn that may be shared.
        async fn write(&self, value: i64) -> Result<(), DbError> {
            let mut turn = self.turn(Company::Shared).await;
            add(&mut turn, value).await?;
            keep(turn).await
        }
    }

    async fn run(turn: &mut Turn, sql: &'static str) -> Result<(), DbError> {
        sqlx::query(sql).execute(turn.connection_mut()).await?;
        Ok(())
    }

    async fn add(turn: &mut Turn, value: i64) -> Result<(), DbError> {
        sqlx::query("INSERT INTO number VALUES (?)")
            .bind(value)
            .execute(turn.connection_mut())
            .await?;
        Ok(())
    }

    async fn keep(mut turn: Turn) -> Result<(), DbError> {
        if !turn.opens {
            run(&mut turn, "RELEASE turn").await?;
        }
        turn.keep().await
    }

    #[tokio::test]
    async fn who_stands_in_line_shares_the_commit_and_who_fails_takes_back_its_own() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let fails = async {
            let mut turn = book.turn(Company::Shared).await;
            assert!(!turn.opens);
            add(&mut turn, 2).await.unwrap();
            add(&mut turn, 1).await
        };
        let leaves = async {
            let mut turn = book.turn(Company::Shared).await;
            assert!(!turn.opens);
            add(&mut turn, 3).await.unwrap();
            assert_eq!(
                book.seen().await,
                Vec::<i64>::new(),
                "nobody is told before the commit"
            );
        };
        let (first, fails, (), last) = tokio::join!(
            async {
                // The others are in line by then.
                tokio::task::yield_now().await;
                keep(first).await
            },
            fails,
            leaves,
            book.write(4)
        );
        first.unwrap();
        fails.unwrap_err();
        last.unwrap();
        assert_eq!(book.seen().await, [1, 4]);
    }

    #[tokio::test]
    async fn a_first_that_fails_leaves_nothing_to_those_behind() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let leaves = async {
            tokio::task::yield_now().await;
            drop(first);
        };
        let ((), second, third) = tokio::join!(leaves, book.write(2), book.write(3));
        second.unwrap();
        third.unwrap();
        assert_eq!(book.seen().await, [2, 3]);
    }

    #[tokio::test]
    async fn a_commit_that_fails_fails_all_and_the_line_goes_on() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let spoils = async {
            let mut turn = book.turn(Company::Shared).await;
            run(&mut turn, "INSERT INTO after VALUES (77)")
                .await
                .unwrap();
            keep(turn).await
        };
        let first = async {
            tokio::task::yield_now().await;
            keep(first).await
        };
        let (first, spoils, third) = tokio::join!(first, spoils, book.write(3));
        for told in [first, spoils, third] {
            let why = told.unwrap_err().to_string();
            assert!(why.contains("Nothing was changed"), "{why}");
        }
        assert!(book.seen().await.is_empty());
        book.write(4).await.unwrap();
        assert_eq!(book.seen().await, [4]);
    }

    #[tokio::test]
    async fn a_transaction_that_is_lost_on_the_way_is_told_to_all_in_it() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let loses = async {
            let mut turn = book.turn(Company::Shared).await;
            // As SQLite does by itself where the disk is full.
            run(&mut turn, "ROLLBACK").await.unwrap();
        };
        let first = async {
            tokio::task::yield_now().await;
            keep(first).await
        };
        let (first, ()) = tokio::join!(first, loses);
        first.unwrap_err();
        assert!(book.seen().await.is_empty());
        book.write(2).await.unwrap();
        assert_eq!(book.seen().await, [2]);
    }

    #[tokio::test]
    async fn who_writes_alone_shares_with_nobody() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let alone = async {
            let mut turn = book.turn(Company::Alone).await;
            assert!(turn.opens);
            assert_eq!(book.seen().await, [1]);
            add(&mut turn, 2).await.unwrap();
            keep(turn).await
        };
        let behind = async {
            let mut turn = book.turn(Company::Shared).await;
            assert!(turn.opens);
            assert_eq!(book.seen().await, [1, 2]);
            add(&mut turn, 3).await.unwrap();
            keep(turn).await
        };
        let first = async {
            tokio::task::yield_now().await;
            keep(first).await
        };
        let (first, alone, behind) = tokio::join!(first, alone, behind);
        first.and(alone).and(behind).unwrap();
        assert_eq!(book.seen().await, [1, 2, 3]);
    }

    #[tokio::test]
    async fn no_more_share_a_commit_than_may_and_who_goes_away_holds_nobody_up() {
        let book = Book::new().await;
        let mut first = book.turn(Company::Shared).await;
        add(&mut first, 1).await.unwrap();
        let most = i64::try_from(MOST).unwrap();
        let rest = (2..=most + 30).map(|value| {
            let book = &book;
            async move {
                if value % 5 == 0 {
                    // It stands in line and leaves.
                    let _ = tokio::time::timeout(Duration::ZERO, book.turn(Company::Shared)).await;
                    return;
                }
                let mut turn = book.turn(Company::Shared).await;
                let seen = i64::try_from(book.seen().await.len()).unwrap();
                assert!(seen == 0 || seen == most, "{seen}");
                add(&mut turn, value).await.unwrap();
                keep(turn).await.unwrap();
            }
        });
        let first = async {
            tokio::task::yield_now().await;
            keep(first).await
        };
        let (first, _) = tokio::join!(first, join_all(rest));
        first.unwrap();
        let stayed = (1..=most + 30).filter(|value| value % 5 != 0);
        assert_eq!(book.seen().await, stayed.collect::<Vec<_>>());
    }

    #[tokio::test]
    async fn a_long_log_is_begun_anew_though_somebody_always_reads() {
        let book = Book::folding_at(40).await;
        let (done, mut longest) = (AtomicBool::new(false), 0);
        let reads = async {
            let mut last = book.reading().await;
            while !done.load(Ordering::Relaxed) {
                // The next begins before this one ends.
                let next = book.reading().await;
                last.close().await.unwrap();
                last = next;
            }
        };
        let writes = async {
            for value in 0..300 {
                book.write(value).await.unwrap();
                longest = book.log().await.max(longest);
            }
            done.store(true, Ordering::Relaxed);
        };
        tokio::join!(reads, writes);
        assert!((40..150).contains(&longest), "{longest}");
        assert_eq!(book.seen().await.len(), 300);
    }

    #[tokio::test]
    async fn who_reads_for_long_holds_up_nobody() {
        let book = Book::folding_at(20).await;
        let reads = book.reading().await;
        let begun = Instant::now();
        for value in 0..100 {
            book.write(value).await.unwrap();
        }
        // It was tried at every twentieth page, not at every commit, and for 50 ms each time.
        assert!(begun.elapsed() < Duration::from_secs(4));
        assert!(book.log().await >= 100);
        reads.close().await.unwrap();
        for value in 100..130 {
            book.write(value).await.unwrap();
        }
        assert!(book.log().await < 40);
        assert_eq!(book.seen().await.len(), 130);
    }
}
