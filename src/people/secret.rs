//! Secrets: random ones for cookies, links and keys, known by their digest; passwords by argon2id.

use std::sync::Arc;

use argon2::{
    Algorithm, Argon2, Params, Version,
    password_hash::{PasswordHasher as _, PasswordVerifier as _, phc::PasswordHash},
};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use sha2::{Digest as _, Sha256};
use tokio::sync::Semaphore;

use super::PeopleError;
use crate::{db::session::Digest, model::person::Password};

/// Bytes of a random secret: 256 bits (OWASP ASVS asks for 128 at least).
const RANDOM: usize = 32;

/// A random secret, as text, with what it is known by.
pub fn random() -> Result<(String, Digest), PeopleError> {
    let mut bytes = [0; RANDOM];
    getrandom::fill(&mut bytes).map_err(|why| {
        tracing::error!(%why, "no randomness");
        PeopleError::Secret
    })?;
    let text = URL_SAFE_NO_PAD.encode(bytes);
    let known = digest(&text);
    Ok((text, known))
}

/// What a secret is known by. Looking it up by this takes no longer for a near miss, since who
/// guesses cannot steer the digest.
pub fn digest(text: &str) -> Digest {
    Sha256::digest(text.as_bytes()).into()
}

/// Hashes and checks passwords: argon2id, 19 MiB, 2 passes, 1 lane (OWASP Password Storage Cheat
/// Sheet), two at a time at most, since each takes its memory and its time.
#[derive(Debug, Clone)]
pub struct Hasher(Arc<Semaphore>);

impl Default for Hasher {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(2)))
    }
}

fn argon2() -> Result<Argon2<'static>, PeopleError> {
    let params = Params::new(19 * 1_024, 2, 1, None).map_err(|_| PeopleError::Secret)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(password: &Password) -> Result<String, PeopleError> {
    match argon2()?.hash_password(password.bytes()) {
        Ok(hash) => Ok(hash.to_string()),
        Err(why) => {
            tracing::error!(%why, "a password could not be hashed");
            Err(PeopleError::Secret)
        }
    }
}

fn fits(password: &Password, hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|hash| {
        argon2().is_ok_and(|argon2| argon2.verify_password(password.bytes(), &hash).is_ok())
    })
}

impl Hasher {
    async fn work<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, PeopleError> + Send + 'static,
    ) -> Result<T, PeopleError> {
        let turn = self.0.clone().acquire_owned().await;
        let turn = turn.map_err(|_| PeopleError::Secret)?;
        let done = tokio::task::spawn_blocking(move || {
            let _turn = turn;
            work()
        });
        done.await.unwrap_or(Err(PeopleError::Secret))
    }

    /// The hash of a new password.
    pub async fn hash(&self, password: Password) -> Result<String, PeopleError> {
        self.work(move || hash(&password)).await
    }

    /// Whether a password is the one of a hash. Where there is no hash the work is done all the
    /// same, so that nobody learns by the time it takes who is known here.
    pub async fn fits(
        &self,
        password: Password,
        known: Option<String>,
    ) -> Result<bool, PeopleError> {
        self.work(move || match known {
            Some(known) => Ok(fits(&password, &known)),
            None => hash(&password).map(|_| false),
        })
        .await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_password_fits_its_own_hash_only() {
        let hasher = Hasher::default();
        let typed = |text: &str| Password::typed(text);
        let known = hasher.hash(typed("lamp over the pond")).await.unwrap();
        assert!(
            known.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{known}"
        );
        let right = hasher.fits(typed("lamp over the pond"), Some(known.clone()));
        assert!(right.await.unwrap());
        for (wrong, known) in [
            ("lamp over the ponds", Some(known.clone())),
            ("", Some(known.clone())),
            ("lamp over the pond", Some("$argon2id$broken".to_owned())),
            ("lamp over the pond", None),
        ] {
            assert!(!hasher.fits(typed(wrong), known).await.unwrap(), "{wrong}");
        }
        // Two hashes of one password differ: each has a salt of its own.
        assert_ne!(
            hasher.hash(typed("lamp over the pond")).await.unwrap(),
            known
        );
    }

    /// The reference program's own answer to `echo -n password | argon2 somesalt -id -t 2 -k 65536
    /// -p 1` (the test vector of the reference implementation's repository, test.c).
    #[test]
    fn a_hash_that_another_program_made_is_read() {
        let known = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ\
                     $CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        assert!(fits(&Password::typed("password"), known));
        assert!(!fits(&Password::typed("Password"), known));
    }

    #[test]
    fn random_secrets_are_long_and_differ() {
        let (one, two) = (random().unwrap(), random().unwrap());
        assert_eq!(one.0.len(), 43);
        assert_ne!(one.0, two.0);
        assert_eq!(digest(&one.0), one.1);
    }
}
