//! Signing in and out.

use super::{Doors, PeopleError, secret};
use crate::{
    db::{
        self, Db, change_log,
        session::{Digest, NewSession},
    },
    model::{
        id::SessionId,
        person::{Password, Person, SecretError, Session, SessionKind},
        text::Name,
    },
};

/// A browser stays signed in for so long after it was last used.
pub const OWN_MS: i64 = 14 * 24 * 3_600_000;
/// A device at the bench stays for so long.
pub const BENCH_MS: i64 = 90 * 24 * 3_600_000;
/// How old the note of the last use may get before it is written anew.
const TOUCH_MS: i64 = 10 * 60_000;

/// From where somebody comes, and when.
#[derive(Debug, Clone)]
pub struct Caller<'a> {
    /// The address.
    pub address: &'a str,
    /// What the browser calls itself.
    pub agent: &'a str,
    /// Milliseconds since 1970 (UTC).
    pub now_ms: i64,
}

impl Caller<'_> {
    fn agent(&self) -> String {
        self.agent
            .chars()
            .filter(|c| !c.is_control())
            .take(200)
            .collect()
    }
}

/// How long a session lasts after it was last used.
pub const fn lasts_ms(kind: SessionKind) -> i64 {
    match kind {
        SessionKind::Own => OWN_MS,
        SessionKind::Bench => BENCH_MS,
    }
}

/// Opens a session for somebody whose secret was right, in the transaction that says so.
pub(super) async fn open(
    tx: &mut db::WriteTx,
    person: &Person,
    caller: &Caller<'_>,
) -> Result<String, PeopleError> {
    let (cookie, digest) = secret::random()?;
    let agent = caller.agent();
    db::session::add(
        tx,
        &NewSession {
            digest,
            person: person.id,
            now_ms: caller.now_ms,
            ends_ms: caller.now_ms + OWN_MS,
            address: caller.address,
            agent: &agent,
        },
    )
    .await?;
    change_log::add(tx, "signed in", person.id.0).await?;
    Ok(cookie)
}

/// Checks a name with its password and signs the browser in: what its cookie is to hold.
pub async fn sign_in(
    db: &Db,
    doors: &Doors,
    name: &str,
    password: Password,
    caller: &Caller<'_>,
) -> Result<(String, Person), PeopleError> {
    let wait = doors.attempts.wait(caller.address, name, caller.now_ms);
    if wait > 0 {
        return Err(PeopleError::Wait(wait));
    }
    let mut tx = db.read().await?;
    let person = db::person::find(&mut tx, name.trim()).await?;
    let known = match &person {
        Some(person) => db::person::password(&mut tx, person.id).await?,
        None => None,
    };
    drop(tx);
    let right = doors.hasher.fits(password, known).await?;
    let Some(person) = person.filter(|_| right) else {
        doors.attempts.failed(caller.address, name, caller.now_ms);
        let mut tx = db.write_as(&somebody(), caller.now_ms).await?;
        change_log::add(&mut tx, "failed to sign in", 0).await?;
        tx.commit_quietly().await?;
        return Err(PeopleError::Wrong);
    };
    doors.attempts.passed(caller.address, name);
    let mut tx = db.write_as(&person.name, caller.now_ms).await?;
    let cookie = open(&mut tx, &person, caller).await?;
    tx.commit_quietly().await?;
    Ok((cookie, person))
}

fn somebody() -> Name {
    Name::parse("somebody").unwrap_or_else(|_| unreachable!("a plain word is a name"))
}

/// The session of a cookie, if it has not ended; it lasts longer for being used.
pub async fn session(
    db: &Db,
    cookie: &str,
    caller: &Caller<'_>,
) -> Result<Option<Session>, PeopleError> {
    let digest: Digest = secret::digest(cookie);
    let mut tx = db.read().await?;
    let found = db::session::find(&mut tx, &digest, caller.now_ms).await?;
    drop(tx);
    if let Some(session) = &found
        && caller.now_ms - session.seen_ms > TOUCH_MS
    {
        let ends = caller.now_ms + lasts_ms(session.kind);
        let mut tx = db.write_as(&session.person.name, caller.now_ms).await?;
        db::session::touch(&mut tx, session.id, caller.now_ms, ends, caller.address).await?;
        tx.commit_quietly().await?;
    }
    Ok(found)
}

/// Signs one browser out.
pub async fn sign_out(
    db: &Db,
    person: &Person,
    id: SessionId,
    now_ms: i64,
) -> Result<(), PeopleError> {
    let mut tx = db.write_as(&person.name, now_ms).await?;
    db::session::remove(&mut tx, id).await?;
    change_log::add(&mut tx, "signed out", person.id.0).await?;
    Ok(tx.commit_quietly().await?)
}

/// Signs somebody out everywhere, but for the browser that asks: how many sessions ended.
pub async fn sign_out_everywhere(
    db: &Db,
    by: &Name,
    person: &Person,
    but: Option<SessionId>,
    now_ms: i64,
) -> Result<u64, PeopleError> {
    let mut tx = db.write_as(by, now_ms).await?;
    let ended = db::session::remove_of(&mut tx, person.id, but).await?;
    change_log::add(&mut tx, "signed out everywhere", person.id.0).await?;
    tx.commit_quietly().await?;
    Ok(ended)
}

/// Gives somebody a new password, who knows the old one; other browsers are signed out.
pub async fn change_password(
    db: &Db,
    doors: &Doors,
    session: &Session,
    [old, new, again]: [&str; 3],
    caller: &Caller<'_>,
) -> Result<(), PeopleError> {
    let person = &session.person;
    let wait = doors
        .attempts
        .wait(caller.address, person.name.as_str(), caller.now_ms);
    if wait > 0 {
        return Err(PeopleError::Wait(wait));
    }
    let new = new_password(new, again)?;
    let mut tx = db.read().await?;
    let known = db::person::password(&mut tx, person.id).await?;
    drop(tx);
    if !doors.hasher.fits(Password::typed(old), known).await? {
        doors
            .attempts
            .failed(caller.address, person.name.as_str(), caller.now_ms);
        return Err(PeopleError::Field {
            field: "old",
            message: "This is not the password of now. Nothing was changed.".to_owned(),
        });
    }
    let hash = doors.hasher.hash(new).await?;
    let mut tx = db.write_as(&person.name, caller.now_ms).await?;
    db::person::change_password(&mut tx, person.id, &hash).await?;
    db::session::remove_of(&mut tx, person.id, Some(session.id)).await?;
    Ok(tx.commit_quietly().await?)
}

/// Two fields that must hold the same new password.
pub(super) fn new_password(new: &str, again: &str) -> Result<Password, PeopleError> {
    let password = Password::new(new).map_err(|why: SecretError| PeopleError::Field {
        field: "password",
        message: why.to_string(),
    })?;
    if new == again {
        Ok(password)
    } else {
        Err(PeopleError::Field {
            field: "again",
            message: "This is not the same as above. Type the new password twice.".to_owned(),
        })
    }
}
