//! Who may come in: secrets, sessions, invitations, keys for programs. A use-case here is one write
//! transaction, as in [`crate::stock`]; what it changes is written down by the log of changes.

pub mod attempts;
pub mod bench;
pub mod enter;
pub mod invite;
pub mod roll;
pub mod secret;

use crate::db::{DbError, Refusal};

/// What lets people in, kept in memory: how many hash at once, and who failed how often.
#[derive(Debug, Default)]
pub struct Doors {
    /// Hashes passwords, few at a time.
    pub hasher: secret::Hasher,
    /// Failed attempts.
    pub attempts: attempts::Attempts,
}

/// Why somebody does not come in, or is not changed.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// No such name with this password; which of both is not said.
    #[error(
        "Name and password do not go together. Nothing was changed; try again, and mind capital letters."
    )]
    Wrong,
    /// Too many failed attempts.
    #[error(
        "There were too many failed attempts. Wait {0} s and try again; nothing is locked for good."
    )]
    Wait(u64),
    /// The link has ended.
    #[error("This invitation has ended or was used. Ask a keeper for another one.")]
    Ended,
    /// One field is to be mended.
    #[error("{message}")]
    Field {
        /// Its name.
        field: &'static str,
        /// What to type instead.
        message: String,
    },
    /// A rule refuses it.
    #[error("{0}")]
    Refused(&'static str),
    /// No randomness, or the hash could not be made.
    #[error("This machine could not make the secret. Nothing was changed; see the log.")]
    Secret,
    /// The database.
    #[error(transparent)]
    Db(#[from] DbError),
}

impl PeopleError {
    /// A name that is there already, as a message at its field.
    fn taken(error: DbError, field: &'static str, message: &str) -> Self {
        match error {
            DbError::Refused(Refusal::Taken(_)) => Self::Field {
                field,
                message: message.to_owned(),
            },
            error => Self::Db(error),
        }
    }
}

/// The last keeper who can sign in stays one.
const LAST_KEEPER: &str =
    "This is the last keeper who can sign in. Nothing was changed. Make another one first.";
