//! What changes stock. The rule: one use-case, one write transaction, movements only.
//!
//! A use-case takes an [`Act`] (who, when, under which key) and what is asked, opens the
//! transaction by [`Act::begin`], checks and changes inside it, and ends with [`Begun::finish`].
//! It answers with something that can be stored, so that a second press of the same button gets
//! the first answer again and moves nothing.

pub mod audit;
pub mod backdrop;
pub mod build;
pub mod catalogue;
pub mod change;
pub mod count;
pub mod csv;
pub mod cut;
pub mod dates;
pub mod design;
pub mod desk;
pub mod enter;
mod hold_again;
pub mod holds;
pub mod lend;
pub mod make;
pub mod mark;
pub mod mount;
pub mod move_;
pub mod out;
pub mod place;
pub mod planned;
pub mod prices;
pub mod receive;
pub mod reserve;
mod runs;
pub mod settings;
pub mod sold;
pub mod state;
pub mod strike;
pub mod swap;
pub mod take_in;
pub mod tested;
pub mod undo;

use serde::{Serialize, de::DeserializeOwned};

pub use change::{Change, Done, What};

use crate::{
    db::{Db, DbError, Refusal, WriteTx, press},
    model::text::Name,
    units::Date,
};

/// Who acts, when, and under which key.
#[derive(Debug, Clone)]
pub struct Act {
    /// The database.
    pub db: Db,
    /// Who.
    pub who: Name,
    /// Milliseconds since 1970 (UTC).
    pub now_ms: i64,
    /// The venue's calendar day.
    pub today: Date,
    /// The key of the press, if the form or request has one.
    pub press: Option<Press>,
}

/// The key of a form or request, with a digest of what it asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Press {
    /// The key.
    pub key: String,
    /// Digest of what is asked, to tell a repeat from another request under the same key.
    pub request: String,
}

/// Why a change of stock did not happen. Nothing of it was kept.
#[derive(Debug, thiserror::Error)]
pub enum StockError {
    /// There is no such thing.
    #[error("There is no such {0}. Nothing was changed.")]
    NotFound(&'static str),
    /// A rule of the trade refuses it; the sentence says what was kept and what to do.
    #[error("{0}")]
    Refused(String),
    /// One field is to be mended.
    #[error("{message}")]
    Field {
        /// Its name, as in forms and JSON.
        field: String,
        /// What to type instead.
        message: String,
    },
    /// Somebody else changed it meanwhile.
    #[error(
        "Somebody else changed this meanwhile. Nothing was overwritten; both versions are shown."
    )]
    Changed,
    /// The key was used for something else.
    #[error(
        "This form was sent before with other content. Nothing was changed now; load the page again."
    )]
    KeyReused,
    /// Too much is being worked out.
    #[error(transparent)]
    Crowded(#[from] desk::Crowded),
    /// The database.
    #[error(transparent)]
    Db(#[from] DbError),
}

impl StockError {
    /// A refusal with its sentence.
    pub fn refused(sentence: impl Into<String>) -> Self {
        Self::Refused(sentence.into())
    }

    /// The database's own refusal, if it is one.
    pub const fn refusal(&self) -> Option<Refusal> {
        match self {
            Self::Db(DbError::Refused(refusal)) => Some(*refusal),
            _ => None,
        }
    }
}

/// A use-case that has begun: fresh, or already carried out under the same key.
#[derive(Debug)]
pub enum Begun<T> {
    /// To be carried out.
    Fresh(WriteTx),
    /// Carried out before, with this answer.
    Repeat(T),
}

impl Act {
    /// Opens the write transaction, or finds the answer that the same press got before.
    pub async fn begin<T: DeserializeOwned>(&self) -> Result<Begun<T>, StockError> {
        let (tx, before) = self
            .db
            .write_under(&self.who, self.now_ms, self.key())
            .await?;
        Ok(match self.repeat(before)? {
            Some(answer) => Begun::Repeat(answer),
            None => Begun::Fresh(tx),
        })
    }

    /// The same, for what takes a moment only: those who stand in line for it share a commit.
    async fn begin_with_others<T: DeserializeOwned>(&self) -> Result<Begun<T>, StockError> {
        let (tx, before) = self
            .db
            .write_with_others(&self.who, self.now_ms, self.key())
            .await?;
        let Some(answer) = self.repeat(before)? else {
            return Ok(Begun::Fresh(tx));
        };
        // What the same press did may be in this very transaction: it is answered when it is on the disk.
        tx.commit_quietly().await?;
        Ok(Begun::Repeat(answer))
    }

    fn key(&self) -> Option<&str> {
        self.press.as_ref().map(|press| press.key.as_str())
    }

    /// The answer that the same press got before.
    fn repeat<T: DeserializeOwned>(
        &self,
        before: Option<press::Pressed>,
    ) -> Result<Option<T>, StockError> {
        let Some((mine, before)) = self.press.as_ref().zip(before) else {
            return Ok(None);
        };
        if before.request != mine.request {
            return Err(StockError::KeyReused);
        }
        let answer = serde_json::from_str(&before.answer)
            .map_err(|why| DbError::Unreadable(format!("press.answer: {why}")))?;
        Ok(Some(answer))
    }

    /// Keeps the key with its answer and commits.
    pub async fn finish<T: Serialize>(&self, tx: WriteTx, answer: T) -> Result<T, StockError> {
        match &self.press {
            Some(mine) => {
                let text = serde_json::to_string(&answer)
                    .map_err(|why| DbError::Unreadable(format!("press.answer: {why}")))?;
                let pressed = press::Pressed {
                    request: mine.request.clone(),
                    answer: text,
                };
                let kept = press::NewPress::new(&mine.key, &pressed, self.now_ms);
                tx.commit_under(&kept).await?;
            }
            None => tx.commit().await?,
        }
        Ok(answer)
    }
}
pub mod order;
