//! Browsers that are signed in, links that let people in, keys for programs. What each holds is
//! known by its SHA-256 only, so that who reads the database cannot sign in by it.

use sqlx::SqliteConnection;

use super::{DbError, WriteTx, refusal::read};
use crate::model::{
    id::{InvitationId, PersonId, SessionId, TokenId},
    person::{ApiToken, Invitation, Person, Role, Session, SessionKind},
    text::Name,
};

/// What a cookie, a link or a key is known by.
pub type Digest = [u8; 32];

struct Row {
    id: i64,
    kind: String,
    seen_ms: i64,
    ends_ms: i64,
    address: String,
    agent: String,
    person_id: i64,
    name: String,
    role: String,
    signs_in: i64,
    has_pin: i64,
}

impl Row {
    fn session(self) -> Result<Session, DbError> {
        Ok(Session {
            id: SessionId(self.id),
            person: Person {
                id: PersonId(self.person_id),
                name: read("person.name", Name::parse(&self.name))?,
                role: read("person.role", self.role.parse())?,
                signs_in: self.signs_in != 0,
                has_pin: self.has_pin != 0,
            },
            kind: read("session.kind", self.kind.parse())?,
            seen_ms: self.seen_ms,
            ends_ms: self.ends_ms,
            address: self.address,
            agent: self.agent,
        })
    }
}

/// The session of a cookie, if it has not ended.
pub async fn find(
    tx: &mut SqliteConnection,
    digest: &Digest,
    now_ms: i64,
) -> Result<Option<Session>, DbError> {
    let digest = digest.as_slice();
    let row = sqlx::query_as!(
        Row,
        r#"SELECT session.id AS "id!", session.kind, seen_ms, ends_ms, address, agent,
                  person_id, person.name, person.role,
                  password IS NOT NULL AS "signs_in!: i64", pin IS NOT NULL AS "has_pin!: i64"
           FROM session JOIN person ON person.id = person_id
           WHERE digest = ? AND ends_ms > ?"#,
        digest,
        now_ms
    )
    .fetch_optional(tx)
    .await?;
    row.map(Row::session).transpose()
}

/// Somebody's sessions that have not ended, the latest first.
pub async fn list(
    tx: &mut SqliteConnection,
    person: PersonId,
    now_ms: i64,
) -> Result<Vec<Session>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT session.id AS "id!", session.kind, seen_ms, ends_ms, address, agent,
                  person_id, person.name, person.role,
                  password IS NOT NULL AS "signs_in!: i64", pin IS NOT NULL AS "has_pin!: i64"
           FROM session JOIN person ON person.id = person_id
           WHERE person_id = ? AND ends_ms > ? ORDER BY seen_ms DESC, session.id DESC"#,
        person.0,
        now_ms
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter().map(Row::session).collect()
}

/// A browser that signs in.
#[derive(Debug, Clone)]
pub struct NewSession<'a> {
    /// What its cookie is known by.
    pub digest: Digest,
    /// Who signs in.
    pub person: PersonId,
    /// When.
    pub now_ms: i64,
    /// When it ends if it is not used before.
    pub ends_ms: i64,
    /// From where.
    pub address: &'a str,
    /// What the browser calls itself.
    pub agent: &'a str,
}

/// Signs a browser in; what has ended goes.
pub async fn add(tx: &mut WriteTx, new: &NewSession<'_>) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM session WHERE ends_ms <= ?", new.now_ms)
        .execute(&mut **tx)
        .await?;
    let digest = new.digest.as_slice();
    sqlx::query!(
        "INSERT INTO session (digest, person_id, kind, began_ms, seen_ms, ends_ms, address, agent)
         VALUES (?, ?, 'own', ?, ?, ?, ?, ?)",
        digest,
        new.person.0,
        new.now_ms,
        new.now_ms,
        new.ends_ms,
        new.address,
        new.agent
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Notes that a session is used, and until when it lasts from now on.
pub async fn touch(
    tx: &mut WriteTx,
    id: SessionId,
    now_ms: i64,
    ends_ms: i64,
    address: &str,
) -> Result<(), DbError> {
    sqlx::query!(
        "UPDATE session SET seen_ms = ?, ends_ms = ?, address = ? WHERE id = ?",
        now_ms,
        ends_ms,
        address,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Makes a session one of a device at the bench, or of its owner again.
pub async fn change_kind(
    tx: &mut WriteTx,
    id: SessionId,
    kind: SessionKind,
) -> Result<(), DbError> {
    let kind = kind.word();
    sqlx::query!("UPDATE session SET kind = ? WHERE id = ?", kind, id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Signs a browser out.
pub async fn remove(tx: &mut WriteTx, id: SessionId) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM session WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Signs somebody out everywhere, but for one session.
pub async fn remove_of(
    tx: &mut WriteTx,
    person: PersonId,
    but: Option<SessionId>,
) -> Result<u64, DbError> {
    let but = but.map(|id| id.0);
    let done = sqlx::query!(
        "DELETE FROM session WHERE person_id = ? AND id IS NOT ?",
        person.0,
        but
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!("DELETE FROM session_hand WHERE person_id = ?", person.0)
        .execute(&mut **tx)
        .await?;
    Ok(done.rows_affected())
}

/// Who works at a device at the bench, if somebody said so and it has not ended.
pub async fn find_hand(
    tx: &mut SqliteConnection,
    session: SessionId,
    digest: &Digest,
    now_ms: i64,
) -> Result<Option<Person>, DbError> {
    let digest = digest.as_slice();
    let row = sqlx::query!(
        r#"SELECT person.id AS "id!", name, role, password IS NOT NULL AS "signs_in!: i64",
                  pin IS NOT NULL AS "has_pin!: i64"
           FROM session_hand JOIN person ON person.id = person_id
           WHERE session_id = ? AND digest = ? AND ends_ms > ?"#,
        session.0,
        digest,
        now_ms
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| {
        Ok(Person {
            id: PersonId(row.id),
            name: read("person.name", Name::parse(&row.name))?,
            role: read("person.role", row.role.parse())?,
            signs_in: row.signs_in != 0,
            has_pin: row.has_pin != 0,
        })
    })
    .transpose()
}

/// Notes who works at a device at the bench from now on.
pub async fn change_hand(
    tx: &mut WriteTx,
    session: SessionId,
    digest: &Digest,
    person: PersonId,
    ends_ms: i64,
) -> Result<(), DbError> {
    let digest = digest.as_slice();
    sqlx::query!(
        "INSERT INTO session_hand (session_id, digest, person_id, ends_ms) VALUES (?, ?, ?, ?)
         ON CONFLICT (session_id) DO UPDATE SET
             digest = excluded.digest, person_id = excluded.person_id, ends_ms = excluded.ends_ms",
        session.0,
        digest,
        person.0,
        ends_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Nobody works at a device at the bench any more.
pub async fn remove_hand(tx: &mut WriteTx, session: SessionId) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM session_hand WHERE session_id = ?", session.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Links that still let somebody in.
pub async fn list_invitations(
    tx: &mut SqliteConnection,
    now_ms: i64,
) -> Result<Vec<Invitation>, DbError> {
    let rows = sqlx::query!(
        "SELECT id, role, made_by, ends_ms FROM invitation WHERE ends_ms > ? ORDER BY id",
        now_ms
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Invitation {
                id: InvitationId(row.id),
                role: read("invitation.role", row.role.parse())?,
                made_by: read("invitation.made_by", Name::parse(&row.made_by))?,
                ends_ms: row.ends_ms,
            })
        })
        .collect()
}

/// The link with this digest, if it still lets somebody in.
pub async fn find_invitation(
    tx: &mut SqliteConnection,
    digest: &Digest,
    now_ms: i64,
) -> Result<Option<Invitation>, DbError> {
    let digest = digest.as_slice();
    let row = sqlx::query!(
        r#"SELECT id AS "id!", role, made_by, ends_ms FROM invitation WHERE digest = ? AND ends_ms > ?"#,
        digest,
        now_ms
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| {
        Ok(Invitation {
            id: InvitationId(row.id),
            role: read("invitation.role", row.role.parse())?,
            made_by: read("invitation.made_by", Name::parse(&row.made_by))?,
            ends_ms: row.ends_ms,
        })
    })
    .transpose()
}

/// Makes a link.
pub async fn add_invitation(
    tx: &mut WriteTx,
    digest: &Digest,
    role: Role,
    made_by: &Name,
    [now_ms, ends_ms]: [i64; 2],
) -> Result<(), DbError> {
    let (digest, role, made_by) = (digest.as_slice(), role.word(), made_by.as_str());
    sqlx::query!(
        "INSERT INTO invitation (digest, role, made_by, made_ms, ends_ms) VALUES (?, ?, ?, ?, ?)",
        digest,
        role,
        made_by,
        now_ms,
        ends_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Ends a link: it was used, or taken back.
pub async fn remove_invitation(tx: &mut WriteTx, id: InvitationId) -> Result<bool, DbError> {
    let done = sqlx::query!("DELETE FROM invitation WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(done.rows_affected() == 1)
}

/// Keys for programs, by name.
pub async fn list_tokens(tx: &mut SqliteConnection) -> Result<Vec<ApiToken>, DbError> {
    let rows = sqlx::query!(
        "SELECT id, name, role, made_by, ends_ms, seen_ms FROM api_token ORDER BY name COLLATE NOCASE"
    )
    .fetch_all(tx)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(ApiToken {
                id: TokenId(row.id),
                name: read("api_token.name", Name::parse(&row.name))?,
                role: read("api_token.role", row.role.parse())?,
                made_by: read("api_token.made_by", Name::parse(&row.made_by))?,
                ends_ms: row.ends_ms,
                seen_ms: row.seen_ms,
            })
        })
        .collect()
}

/// The key with this digest, if it has not ended.
pub async fn find_token(
    tx: &mut SqliteConnection,
    digest: &Digest,
    now_ms: i64,
) -> Result<Option<ApiToken>, DbError> {
    let digest = digest.as_slice();
    let row = sqlx::query!(
        r#"SELECT id AS "id!", name, role, made_by, ends_ms, seen_ms FROM api_token
           WHERE digest = ? AND ends_ms > ?"#,
        digest,
        now_ms
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| {
        Ok(ApiToken {
            id: TokenId(row.id),
            name: read("api_token.name", Name::parse(&row.name))?,
            role: read("api_token.role", row.role.parse())?,
            made_by: read("api_token.made_by", Name::parse(&row.made_by))?,
            ends_ms: row.ends_ms,
            seen_ms: row.seen_ms,
        })
    })
    .transpose()
}

/// Makes a key.
pub async fn add_token(
    tx: &mut WriteTx,
    digest: &Digest,
    name: &Name,
    role: Role,
    made_by: &Name,
    [now_ms, ends_ms]: [i64; 2],
) -> Result<(), DbError> {
    let (digest, role) = (digest.as_slice(), role.word());
    let (name, made_by) = (name.as_str(), made_by.as_str());
    sqlx::query!(
        "INSERT INTO api_token (digest, name, role, made_by, made_ms, ends_ms)
         VALUES (?, ?, ?, ?, ?, ?)",
        digest,
        name,
        role,
        made_by,
        now_ms,
        ends_ms
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Notes that a key is used.
pub async fn touch_token(tx: &mut WriteTx, id: TokenId, now_ms: i64) -> Result<(), DbError> {
    sqlx::query!(
        "UPDATE api_token SET seen_ms = ? WHERE id = ?",
        now_ms,
        id.0
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Ends a key.
pub async fn remove_token(tx: &mut WriteTx, id: TokenId) -> Result<(), DbError> {
    sqlx::query!("DELETE FROM api_token WHERE id = ?", id.0)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
