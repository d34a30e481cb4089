//! The people of the house: the names of the log, and where people sign in their roles, invitations
//! and the keys of programs.

use askama::Template;
use axum::{http::StatusCode, response::Response};

use crate::{
    db,
    model::{
        id::{InvitationId, PersonId, TokenId},
        person::{ApiToken, Invitation, Person, Role},
    },
    people::{
        self, PeopleError,
        invite::{MOST_DAYS, MOST_TOKEN_DAYS},
    },
    web::{
        cx::{Cx, nobody_said},
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
        show::moment,
    },
};

struct PersonRow {
    person: Person,
    roles: Vec<Choice>,
    /// The field's id.
    field: String,
}

struct InvitationRow {
    invitation: Invitation,
    ends: String,
}

struct TokenRow {
    token: ApiToken,
    ends: String,
    seen: String,
    over: bool,
}

#[derive(Template)]
#[template(path = "settings/people.html")]
struct PeoplePage {
    chrome: Chrome,
    people: Vec<PersonRow>,
    invitations: Vec<InvitationRow>,
    tokens: Vec<TokenRow>,
    roles: Vec<Choice>,
    /// Whether people sign in here.
    signs_in: bool,
    /// A link or key that was just made: told once.
    made: Option<(&'static str, String)>,
    form: Form,
}

fn roles(chosen: &str) -> Vec<Choice> {
    let list = Role::ALL.iter().map(|role| {
        let words = format!("{}: {}", role.label(), role.may());
        (role.word().to_owned(), words)
    });
    Choice::list(list, chosen)
}

async fn show(
    cx: &Cx,
    form: Form,
    status: StatusCode,
    made: Option<(&'static str, String)>,
) -> Result<Response, Trouble> {
    let now_ms = cx.app.clock().now_ms();
    let mut tx = cx.read().await?;
    let people = db::person::list(&mut tx).await?;
    let invitations = db::session::list_invitations(&mut tx, now_ms).await?;
    let tokens = db::session::list_tokens(&mut tx).await?;
    drop(tx);
    let when = |ms| moment(ms, &cx.venue.zone, cx.today);
    Ok(page_with(
        status,
        &PeoplePage {
            chrome: cx.chrome(Section::Settings, "People"),
            people: people
                .into_iter()
                .map(|person| PersonRow {
                    roles: roles(person.role.word()),
                    field: format!("role-{}", person.id),
                    person,
                })
                .collect(),
            invitations: invitations
                .into_iter()
                .map(|invitation| InvitationRow {
                    ends: when(invitation.ends_ms),
                    invitation,
                })
                .collect(),
            tokens: tokens
                .into_iter()
                .map(|token| TokenRow {
                    ends: when(token.ends_ms),
                    seen: token.seen_ms.map_or_else(|| "never".to_owned(), when),
                    over: token.ends_ms <= now_ms,
                    token,
                })
                .collect(),
            roles: roles(match form.value("role") {
                "" => Role::Work.word(),
                typed => typed,
            }),
            signs_in: cx.signed.is_some(),
            made,
            form,
        },
    ))
}

/// GET: the list.
pub async fn get(cx: Cx) -> Answer {
    show(&cx, Form::default(), StatusCode::OK, None).await
}

/// What a form did.
enum Did {
    /// Said on the page that follows.
    Said(String),
    /// A link or key, told once, on this very page.
    Made(&'static str, String),
}

/// The address that others reach this service by: what labels begin with, or how this page was
/// reached.
fn base(cx: &Cx, host: &str) -> String {
    if !cx.venue.label_base.is_empty() {
        return cx.venue.label_base.trim_end_matches('/').to_owned();
    }
    let scheme = if cx.app.config().https() {
        "https"
    } else {
        "http"
    };
    format!("{scheme}://{host}")
}

async fn carry_out(cx: &Cx, form: &mut Form, host: &str) -> Result<Option<Did>, PeopleError> {
    let by = cx.who.clone().unwrap_or_else(nobody_said);
    let (db, now_ms) = (cx.db(), cx.app.clock().now_ms());
    let act = form.value("do").to_owned();
    Ok(Some(match act.as_str() {
        "role" => {
            let (Some(id), Some(role)) = (form.id::<PersonId>("id"), form.word::<Role>("role"))
            else {
                return Ok(None);
            };
            let person = people::roll::change_role(db, &by, id, role, now_ms).await?;
            Did::Said(format!("{} may {} now.", person.name, role.may()))
        }
        "remove" => {
            let Some(id) = form.id::<PersonId>("id") else {
                return Ok(None);
            };
            let person = people::roll::remove(db, &by, id, now_ms).await?;
            Did::Said(format!(
                "{} is off the list. The log keeps the name.",
                person.name
            ))
        }
        "out" => {
            let Some(id) = form.id::<PersonId>("id") else {
                return Ok(None);
            };
            let mut tx = db.read().await?;
            let all = db::person::list(&mut tx).await?;
            drop(tx);
            let Some(person) = all.into_iter().find(|person| person.id == id) else {
                return Ok(None);
            };
            let ended = people::enter::sign_out_everywhere(db, &by, &person, None, now_ms).await?;
            Did::Said(format!(
                "{} is signed out of {ended} browsers.",
                person.name
            ))
        }
        "invite" => {
            let role = form.word::<Role>("role");
            let days = form.count("days", 1, MOST_DAYS);
            let (Some(role), Some(days)) = (role, days) else {
                return Ok(None);
            };
            let link = people::invite::invite(db, &by, role, days, now_ms).await?;
            Did::Made(
                "This link lets one person in, once. Send it to them by a way that only they read; it is not shown again:",
                format!("{}{}", base(cx, host), Link::Join(link)),
            )
        }
        "take-back" => {
            let Some(id) = form.id::<InvitationId>("id") else {
                return Ok(None);
            };
            people::invite::take_back(db, &by, id, now_ms).await?;
            Did::Said("The invitation is taken back.".to_owned())
        }
        "token" => {
            let name = form.name("token");
            let role = form.word::<Role>("role");
            let days = form.count("token_days", 1, MOST_TOKEN_DAYS);
            let (Some(name), Some(role), Some(days)) = (name, role, days) else {
                return Ok(None);
            };
            let key = people::invite::make_token(db, &by, &name, role, days, now_ms).await?;
            Did::Made(
                "This key is not shown again. A program sends it as “Authorization: Bearer …”:",
                key,
            )
        }
        "end-token" => {
            let Some(id) = form.id::<TokenId>("id") else {
                return Ok(None);
            };
            people::invite::end_token(db, &by, id, now_ms).await?;
            Did::Said("The key has ended.".to_owned())
        }
        _ => {
            let Some(name) = form.name("name") else {
                return Ok(None);
            };
            let mut tx = db.write().await?;
            db::venue::add_person(&mut tx, &name).await?;
            tx.commit().await?;
            Did::Said(format!("{name} is on the list."))
        }
    }))
}

/// POST: adds a name, changes a role, invites, makes a key, or ends any of them.
pub async fn post(cx: Cx, headers: axum::http::HeaderMap, mut form: Form) -> Answer {
    let host = headers
        .get(axum::http::header::HOST)
        .and_then(|value| value.to_str().ok())
        .unwrap_or("localhost")
        .to_owned();
    match carry_out(&cx, &mut form, &host).await {
        Ok(Some(Did::Said(said))) => Ok(go_with(&Link::People, &Flash::good(said))),
        Ok(Some(Did::Made(what, text))) => {
            show(&cx, Form::default(), StatusCode::OK, Some((what, text))).await
        }
        Ok(None) => show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY, None).await,
        Err(PeopleError::Field { field, message }) => {
            form.fail(field, message);
            show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY, None).await
        }
        Err(error) => Err(Trouble::from(error).or_go(Link::People, "Back to the people")),
    }
}
