//! People: their roles and what proves who they are.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::model::{
    id::PersonId,
    person::{Person, Role},
    text::Name,
};

struct Row {
    id: i64,
    name: String,
    role: String,
    signs_in: i64,
    has_pin: i64,
}

impl Row {
    fn person(self) -> Result<Person, DbError> {
        Ok(Person {
            id: PersonId(self.id),
            name: read("person.name", Name::parse(&self.name))?,
            role: read("person.role", self.role.parse())?,
            signs_in: self.signs_in != 0,
            has_pin: self.has_pin != 0,
        })
    }
}

/// Everybody, by name.
pub async fn list(tx: &mut SqliteConnection) -> Result<Vec<Person>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id AS "id!", name, role, password IS NOT NULL AS "signs_in!: i64",
                  pin IS NOT NULL AS "has_pin!: i64"
           FROM person ORDER BY name COLLATE NOCASE"#
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter().map(Row::person).collect()
}

/// Somebody by name, without regard to case.
pub async fn find(tx: &mut SqliteConnection, name: &str) -> Result<Option<Person>, DbError> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id AS "id!", name, role, password IS NOT NULL AS "signs_in!: i64",
                  pin IS NOT NULL AS "has_pin!: i64"
           FROM person WHERE name = ? COLLATE NOCASE ORDER BY name = ? DESC, id LIMIT 1"#,
        name,
        name
    )
    .fetch_optional(tx)
    .await?;
    row.map(Row::person).transpose()
}

/// The hash of somebody's password.
pub async fn password(tx: &mut SqliteConnection, id: PersonId) -> Result<Option<String>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT password FROM person WHERE id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .flatten(),
    )
}

/// The hash of somebody's PIN.
pub async fn pin(tx: &mut SqliteConnection, id: PersonId) -> Result<Option<String>, DbError> {
    Ok(
        sqlx::query_scalar!("SELECT pin FROM person WHERE id = ?", id.0)
            .fetch_optional(tx)
            .await?
            .flatten(),
    )
}

/// How many keepers can sign in.
pub async fn keepers(tx: &mut SqliteConnection) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        "SELECT count(*) FROM person WHERE role = 'keep' AND password IS NOT NULL"
    )
    .fetch_one(tx)
    .await?)
}

/// Adds somebody, with a role.
pub async fn add(tx: &mut WriteTx, name: &Name, role: Role) -> Result<PersonId, DbError> {
    let (name, role) = (name.as_str(), role.word());
    let done = sqlx::query!("INSERT INTO person (name, role) VALUES (?, ?)", name, role)
        .execute(&mut **tx)
        .await?;
    Ok(PersonId(done.last_insert_rowid()))
}

/// Gives somebody another role.
pub async fn change_role(tx: &mut WriteTx, id: PersonId, role: Role) -> Result<(), DbError> {
    let role = role.word();
    sqlx::query!("UPDATE person SET role = ? WHERE id = ?", role, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Gives somebody a password, by its hash.
pub async fn change_password(tx: &mut WriteTx, id: PersonId, hash: &str) -> Result<(), DbError> {
    sqlx::query!("UPDATE person SET password = ? WHERE id = ?", hash, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Gives somebody a PIN, by its hash, or takes it away.
pub async fn change_pin(tx: &mut WriteTx, id: PersonId, hash: Option<&str>) -> Result<(), DbError> {
    sqlx::query!("UPDATE person SET pin = ? WHERE id = ?", hash, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
