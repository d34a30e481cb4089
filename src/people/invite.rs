//! Letting others in: invitations by a link with an end, and keys for programs.

use super::{Doors, PeopleError, enter, enter::Caller, secret};
use crate::{
    db::{self, Db, DbError, Refusal},
    model::{
        id::{InvitationId, TokenId},
        person::{ApiToken, Invitation, Person, Role},
        text::Name,
    },
};

/// A day in milliseconds.
const DAY_MS: i64 = 24 * 3_600_000;
/// The longest that an invitation stands, in days.
pub const MOST_DAYS: i64 = 30;
/// The longest that a key for a program stands, in days.
pub const MOST_TOKEN_DAYS: i64 = 366;
/// What keys begin with, so that one who finds a key knows what it is.
const TOKEN_START: &str = "tapewright_";

/// Makes a link: what stands behind `/join/` in it.
pub async fn invite(
    db: &Db,
    by: &Name,
    role: Role,
    days: i64,
    now_ms: i64,
) -> Result<String, PeopleError> {
    let (text, digest) = secret::random()?;
    let ends = now_ms + days.clamp(1, MOST_DAYS) * DAY_MS;
    let mut tx = db.write_as(by, now_ms).await?;
    db::session::add_invitation(&mut tx, &digest, role, by, [now_ms, ends]).await?;
    db::change_log::add(&mut tx, "invited somebody", 0).await?;
    tx.commit_quietly().await?;
    Ok(text)
}

/// Takes a link back.
pub async fn take_back(
    db: &Db,
    by: &Name,
    id: InvitationId,
    now_ms: i64,
) -> Result<(), PeopleError> {
    let mut tx = db.write_as(by, now_ms).await?;
    db::session::remove_invitation(&mut tx, id).await?;
    Ok(tx.commit_quietly().await?)
}

/// The invitation of a link, while it stands.
pub async fn invited(db: &Db, text: &str, now_ms: i64) -> Result<Invitation, PeopleError> {
    let mut tx = db.read().await?;
    db::session::find_invitation(&mut tx, &secret::digest(text), now_ms)
        .await?
        .ok_or(PeopleError::Ended)
}

/// Somebody comes in by a link: they get its role, a password, and are signed in. A name that the
/// log knows, but nobody signs in by, may be taken; the link counts once.
pub async fn join(
    db: &Db,
    doors: &Doors,
    text: &str,
    name: &Name,
    [password, again]: [&str; 2],
    caller: &Caller<'_>,
) -> Result<(String, Person), PeopleError> {
    invited(db, text, caller.now_ms).await?;
    let password = enter::new_password(password, again)?;
    let hash = doors.hasher.hash(password).await?;
    let mut tx = db.write_as(name, caller.now_ms).await?;
    let link = db::session::find_invitation(&mut tx, &secret::digest(text), caller.now_ms)
        .await?
        .ok_or(PeopleError::Ended)?;
    if !db::session::remove_invitation(&mut tx, link.id).await? {
        return Err(PeopleError::Ended);
    }
    let known = db::person::find(&mut tx, name.as_str()).await?;
    if known.as_ref().is_some_and(|person| person.signs_in) {
        return Err(PeopleError::Field {
            field: "name",
            message: "Somebody signs in by this name already. Choose another one.".to_owned(),
        });
    }
    let id = match known {
        Some(person) => {
            db::person::change_role(&mut tx, person.id, link.role).await?;
            person.id
        }
        None => db::person::add(&mut tx, name, link.role).await?,
    };
    db::person::change_password(&mut tx, id, &hash).await?;
    let person = db::person::find(&mut tx, name.as_str())
        .await?
        .ok_or(PeopleError::Ended)?;
    let cookie = enter::open(&mut tx, &person, caller).await?;
    tx.commit().await?;
    Ok((cookie, person))
}

/// Makes a key for a program: the only time that it is told.
pub async fn make_token(
    db: &Db,
    by: &Name,
    name: &Name,
    role: Role,
    days: i64,
    now_ms: i64,
) -> Result<String, PeopleError> {
    let (text, _) = secret::random()?;
    let text = format!("{TOKEN_START}{text}");
    let digest = secret::digest(&text);
    let ends = now_ms + days.clamp(1, MOST_TOKEN_DAYS) * DAY_MS;
    let mut tx = db.write_as(by, now_ms).await?;
    match db::session::add_token(&mut tx, &digest, name, role, by, [now_ms, ends]).await {
        Ok(()) => {}
        Err(DbError::Refused(Refusal::Taken(_))) => {
            return Err(PeopleError::Field {
                field: "token",
                message: "There is a key of this name. Choose another name.".to_owned(),
            });
        }
        Err(why) => return Err(why.into()),
    }
    db::change_log::add(&mut tx, "made a key for a program", 0).await?;
    tx.commit_quietly().await?;
    Ok(text)
}

/// Ends a key.
pub async fn end_token(db: &Db, by: &Name, id: TokenId, now_ms: i64) -> Result<(), PeopleError> {
    let mut tx = db.write_as(by, now_ms).await?;
    db::session::remove_token(&mut tx, id).await?;
    db::change_log::add(&mut tx, "ended a key for a program", id.0).await?;
    Ok(tx.commit_quietly().await?)
}

/// How old the note of a key's last use may get before it is written anew.
const TOUCH_MS: i64 = 3_600_000;

/// The key that a program sends, while it stands.
pub async fn token(db: &Db, text: &str, now_ms: i64) -> Result<Option<ApiToken>, PeopleError> {
    let mut tx = db.read().await?;
    let found = db::session::find_token(&mut tx, &secret::digest(text), now_ms).await?;
    drop(tx);
    if let Some(token) = &found
        && token.seen_ms.is_none_or(|seen| now_ms - seen > TOUCH_MS)
    {
        let mut tx = db.write_as(&token.name, now_ms).await?;
        db::session::touch_token(&mut tx, token.id, now_ms).await?;
        tx.commit_quietly().await?;
    }
    Ok(found)
}
