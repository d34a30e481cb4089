//! People, what they may do, and what proves who they are.

use super::text::{Name, words};
use crate::model::id::PersonId;

words! {
    /// What somebody may do; each may what the one before may.
    Role {
        /// Read every page.
        Look = "look", "look";
        /// Move stock, tick steps, count, receive, strike.
        Work = "work", "work";
        /// Change the catalogue, sets, people and settings.
        Keep = "keep", "keep";
    }
}

impl Role {
    /// What that means, after "may".
    pub const fn may(self) -> &'static str {
        match self {
            Self::Look => "read every page",
            Self::Work => "move stock, tick steps, count, receive and strike",
            Self::Keep => "change the catalogue, sets, people and settings",
        }
    }
}

/// Somebody who is known here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Their id.
    pub id: PersonId,
    /// Their name, as the log says it.
    pub name: Name,
    /// What they may do once signed in.
    pub role: Role,
    /// Whether they have a password.
    pub signs_in: bool,
    /// Whether they have a PIN for the device at the bench.
    pub has_pin: bool,
}

/// Why something cannot be a password or a PIN.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SecretError {
    /// Too short or too long.
    #[error(
        "A password has 10 to 200 characters; a few words that only you would put together do well."
    )]
    Password,
    /// Not a PIN.
    #[error("A PIN has 4 to 12 digits.")]
    Pin,
}

/// A password as it was typed. It is never shown, logged or stored.
#[derive(Clone)]
pub struct Password(String);

impl Password {
    /// Checks a new password: 10 to 200 characters, of whatever kind (NIST SP 800-63B asks for 8 at
    /// least, and for no rule of what they must be).
    pub fn new(text: &str) -> Result<Self, SecretError> {
        if (10..=200).contains(&text.chars().count()) {
            Ok(Self(text.to_owned()))
        } else {
            Err(SecretError::Password)
        }
    }

    /// Checks a new PIN: 4 to 12 digits.
    pub fn pin(text: &str) -> Result<Self, SecretError> {
        let digits = text.bytes().all(|byte| byte.is_ascii_digit());
        if digits && (4..=12).contains(&text.len()) {
            Ok(Self(text.to_owned()))
        } else {
            Err(SecretError::Pin)
        }
    }

    /// What somebody typed to prove who they are; it is right or wrong, whatever its form. What is
    /// too long to be right is cut off, so that nobody makes us hash a book.
    pub fn typed(text: &str) -> Self {
        Self(text.chars().take(201).collect())
    }

    /// The bytes to hash.
    pub fn bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }
}

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password(…)")
    }
}

words! {
    /// How a browser is signed in.
    SessionKind {
        /// Somebody's own.
        Own = "own", "own";
        /// A device at the bench: it looks and works, and asks who at the first change.
        Bench = "bench", "at the bench";
    }
}

/// A browser that is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Its id.
    pub id: crate::model::id::SessionId,
    /// Whose it is; at the bench, who put it there.
    pub person: Person,
    /// How it is signed in.
    pub kind: SessionKind,
    /// When it was last used, in milliseconds since 1970.
    pub seen_ms: i64,
    /// When it ends if it is not used before.
    pub ends_ms: i64,
    /// From where it was last used.
    pub address: String,
    /// What the browser calls itself.
    pub agent: String,
}

/// A key for programs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApiToken {
    /// Its id.
    pub id: crate::model::id::TokenId,
    /// What it is for.
    pub name: Name,
    /// What it may do.
    pub role: Role,
    /// Who made it.
    pub made_by: Name,
    /// When it ends, in milliseconds since 1970.
    pub ends_ms: i64,
    /// When it was last used.
    pub seen_ms: Option<i64>,
}

/// A link that lets somebody in for the first time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// Its id.
    pub id: crate::model::id::InvitationId,
    /// What they may do.
    pub role: Role,
    /// Who asked them.
    pub made_by: Name,
    /// When it ends.
    pub ends_ms: i64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passwords_and_pins_have_their_lengths() {
        assert!(Password::new("too short").is_err());
        assert!(Password::new("just enough").is_ok());
        assert!(Password::new(&"x".repeat(201)).is_err());
        assert!(Password::pin("12a4").is_err());
        assert!(Password::pin("123").is_err());
        assert!(Password::pin("1234").is_ok());
        assert_eq!(format!("{:?}", Password::typed("secret")), "Password(…)");
    }

    #[test]
    fn roles_are_in_order() {
        assert!(Role::Look < Role::Work && Role::Work < Role::Keep);
    }
}
