//! A device at the bench: it stays signed in to look and work, and asks who one is at the first
//! change.

use super::{Doors, PeopleError, enter::Caller, secret};
use crate::{
    db::{self, Db, change_log},
    model::{
        id::PersonId,
        person::{Password, Person, Session, SessionKind},
        text::Name,
    },
};

/// Who said so works for so long at most.
pub const HAND_MS: i64 = 4 * 3_600_000;

/// Makes a browser a device at the bench, or its owner's again.
pub async fn place(
    db: &Db,
    session: &Session,
    kind: SessionKind,
    now_ms: i64,
) -> Result<(), PeopleError> {
    let mut tx = db.write_as(&session.person.name, now_ms).await?;
    db::session::change_kind(&mut tx, session.id, kind).await?;
    db::session::remove_hand(&mut tx, session.id).await?;
    let ends = now_ms + super::enter::lasts_ms(kind);
    db::session::touch(&mut tx, session.id, now_ms, ends, &session.address).await?;
    let said = match kind {
        SessionKind::Bench => "made this browser a device at the bench",
        SessionKind::Own => "made this browser their own",
    };
    change_log::add(&mut tx, said, session.person.id.0).await?;
    Ok(tx.commit_quietly().await?)
}

/// Somebody with a PIN takes the device: what its second cookie is to hold.
pub async fn take(
    db: &Db,
    doors: &Doors,
    session: &Session,
    name: &str,
    pin: Password,
    caller: &Caller<'_>,
) -> Result<(String, Person), PeopleError> {
    // PINs are short: their failures are counted by the device, whatever the name.
    let device = format!("bench {}", session.id);
    let wait = doors.attempts.wait(&device, name, caller.now_ms);
    if wait > 0 {
        return Err(PeopleError::Wait(wait));
    }
    let mut tx = db.read().await?;
    let person = db::person::find(&mut tx, name.trim()).await?;
    let known = match &person {
        Some(person) => db::person::pin(&mut tx, person.id).await?,
        None => None,
    };
    drop(tx);
    let right = doors.hasher.fits(pin, known).await?;
    let Some(person) = person.filter(|_| right) else {
        doors.attempts.failed(&device, name, caller.now_ms);
        return Err(PeopleError::Field {
            field: "pin",
            message: "Name and PIN do not go together. Nothing was changed.".to_owned(),
        });
    };
    doors.attempts.passed(&device, name);
    let (cookie, digest) = secret::random()?;
    let mut tx = db.write_as(&person.name, caller.now_ms).await?;
    let ends = caller.now_ms + HAND_MS;
    db::session::change_hand(&mut tx, session.id, &digest, person.id, ends).await?;
    change_log::add(&mut tx, "took the device at the bench", person.id.0).await?;
    tx.commit_quietly().await?;
    Ok((cookie, person))
}

/// Who works at the device, by its second cookie.
pub async fn hand(
    db: &Db,
    session: &Session,
    cookie: &str,
    now_ms: i64,
) -> Result<Option<Person>, PeopleError> {
    let digest = secret::digest(cookie);
    let mut tx = db.read().await?;
    Ok(db::session::find_hand(&mut tx, session.id, &digest, now_ms).await?)
}

/// Gives somebody a PIN, or takes it away where none is typed.
pub async fn change_pin(
    db: &Db,
    doors: &Doors,
    who: &Name,
    id: PersonId,
    pin: &str,
    now_ms: i64,
) -> Result<(), PeopleError> {
    let hash = if pin.is_empty() {
        None
    } else {
        let pin = Password::pin(pin).map_err(|why| PeopleError::Field {
            field: "pin",
            message: why.to_string(),
        })?;
        Some(doors.hasher.hash(pin).await?)
    };
    let mut tx = db.write_as(who, now_ms).await?;
    db::person::change_pin(&mut tx, id, hash.as_deref()).await?;
    Ok(tx.commit_quietly().await?)
}
