//! The people of the house, as a keeper or the command line changes them.

use super::{Doors, LAST_KEEPER, PeopleError};
use crate::{
    db::{self, Db},
    model::{
        id::PersonId,
        person::{Password, Person, Role},
        text::Name,
    },
};

/// Adds somebody, or changes role and password of somebody who is there; who had a password is
/// signed out everywhere.
pub async fn set(
    db: &Db,
    doors: &Doors,
    by: &Name,
    name: &Name,
    role: Role,
    password: Password,
    now_ms: i64,
) -> Result<(), PeopleError> {
    let hash = doors.hasher.hash(password).await?;
    let mut tx = db.write_as(by, now_ms).await?;
    let id = match db::person::find(&mut tx, name.as_str()).await? {
        Some(person) => {
            keeps_one(&mut tx, &person, role).await?;
            db::person::change_role(&mut tx, person.id, role).await?;
            db::session::remove_of(&mut tx, person.id, None).await?;
            person.id
        }
        None => db::person::add(&mut tx, name, role)
            .await
            .map_err(|why| PeopleError::taken(why, "name", "There is somebody of this name."))?,
    };
    db::person::change_password(&mut tx, id, &hash).await?;
    Ok(tx.commit().await?)
}

/// Refuses to make the last keeper who can sign in something less.
async fn keeps_one(
    tx: &mut db::WriteTx,
    person: &Person,
    becomes: Role,
) -> Result<(), PeopleError> {
    let keeps = person.role == Role::Keep && person.signs_in;
    if keeps && becomes != Role::Keep && db::person::keepers(tx).await? <= 1 {
        return Err(PeopleError::Refused(LAST_KEEPER));
    }
    Ok(())
}

async fn known(tx: &mut db::WriteTx, id: PersonId) -> Result<Person, PeopleError> {
    let all = db::person::list(tx).await?;
    let mut all = all.into_iter();
    all.find(|person| person.id == id)
        .ok_or(PeopleError::Refused(
            "There is nobody like that any more. Nothing was changed.",
        ))
}

/// Gives somebody another role: who that is.
pub async fn change_role(
    db: &Db,
    by: &Name,
    id: PersonId,
    role: Role,
    now_ms: i64,
) -> Result<Person, PeopleError> {
    let mut tx = db.write_as(by, now_ms).await?;
    let person = known(&mut tx, id).await?;
    keeps_one(&mut tx, &person, role).await?;
    db::person::change_role(&mut tx, id, role).await?;
    tx.commit().await?;
    Ok(person)
}

/// Takes somebody off the list and signs them out everywhere; the log keeps the name.
pub async fn remove(db: &Db, by: &Name, id: PersonId, now_ms: i64) -> Result<Person, PeopleError> {
    let mut tx = db.write_as(by, now_ms).await?;
    let person = known(&mut tx, id).await?;
    keeps_one(&mut tx, &person, Role::Look).await?;
    db::venue::remove_person(&mut tx, &person.name).await?;
    tx.commit().await?;
    Ok(person)
}
