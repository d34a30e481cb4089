//! One's own sign-in: where it stands, password, PIN, the device at the bench.

use askama::Template;
use axum::{
    Extension,
    http::{HeaderMap, StatusCode},
    response::Response,
};

use super::{
    cx::Cx,
    error::{Answer, Trouble},
    form::Form,
    gate::{self, Signed},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    show::moment,
};
use crate::{
    db,
    model::person::{Person, Session, SessionKind},
    people::{self, PeopleError, enter::Caller},
};

/// A browser that is signed in, as its owner reads it.
struct SessionRow {
    agent: String,
    address: String,
    seen: String,
    ends: String,
    this: bool,
    bench: bool,
}

#[derive(Template)]
#[template(path = "account.html")]
struct AccountPage {
    chrome: Chrome,
    form: Form,
    person: Person,
    sessions: Vec<SessionRow>,
    bench: bool,
    /// Who took the device at the bench.
    hand: Option<String>,
}

fn session_of(signed: &Signed) -> Result<&Session, Trouble> {
    signed.session.as_ref().ok_or_else(|| {
        Trouble::new(
            StatusCode::FORBIDDEN,
            "A program has no sign-in of its own to change. Nothing was changed.",
        )
    })
}

/// The page of somebody who is signed in.
pub async fn show(cx: &Cx, signed: &Signed, form: Form, status: StatusCode) -> Answer {
    let session = session_of(signed)?;
    let now_ms = cx.app.clock().now_ms();
    let mut tx = cx.read().await?;
    let all = db::session::list(&mut tx, session.person.id, now_ms).await?;
    let zone = &cx.venue.zone;
    let sessions = all
        .into_iter()
        .map(|it| SessionRow {
            this: it.id == session.id,
            bench: it.kind == SessionKind::Bench,
            agent: if it.agent.is_empty() {
                "a browser".to_owned()
            } else {
                it.agent
            },
            address: it.address,
            seen: moment(it.seen_ms, zone, cx.today),
            ends: moment(it.ends_ms, zone, cx.today),
        })
        .collect();
    Ok(page_with(
        status,
        &AccountPage {
            chrome: cx.chrome(Section::Settings, "Your sign-in"),
            form,
            person: session.person.clone(),
            sessions,
            bench: session.kind == SessionKind::Bench,
            hand: signed.hand.as_ref().map(|person| person.name.to_string()),
        },
    ))
}

async fn answer(
    cx: &Cx,
    signed: &Signed,
    mut form: Form,
    done: Result<String, PeopleError>,
) -> Result<Response, Trouble> {
    match done {
        Ok(said) => Ok(go_with(&Link::Who, &Flash::good(said))),
        Err(PeopleError::Field { field, message }) => {
            form.fail(field, message);
            show(cx, signed, form, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        Err(error) => Err(error.into()),
    }
}

/// POST: another password.
pub async fn password(
    cx: Cx,
    Extension(signed): Extension<Signed>,
    headers: HeaderMap,
    form: Form,
) -> Answer {
    let session = session_of(&signed)?;
    let caller = Caller {
        address: &session.address,
        agent: gate::agent(&headers),
        now_ms: cx.app.clock().now_ms(),
    };
    let typed = [
        form.value("old"),
        form.value("password"),
        form.value("again"),
    ];
    let done =
        people::enter::change_password(cx.db(), cx.app.doors(), session, typed, &caller).await;
    let done = done
        .map(|()| "The password is changed. All your other browsers are signed out.".to_owned());
    answer(&cx, &signed, form, done).await
}

/// POST: a PIN for the device at the bench, or none.
pub async fn pin(cx: Cx, Extension(signed): Extension<Signed>, form: Form) -> Answer {
    let person = &session_of(&signed)?.person;
    let pin = form.value("pin").trim().to_owned();
    let done = people::bench::change_pin(
        cx.db(),
        cx.app.doors(),
        &person.name,
        person.id,
        &pin,
        cx.app.clock().now_ms(),
    )
    .await;
    let done = done.map(|()| {
        if pin.is_empty() {
            "You have no PIN any more.".to_owned()
        } else {
            "Your PIN is set. It counts at devices at the bench only.".to_owned()
        }
    });
    answer(&cx, &signed, form, done).await
}

/// POST: makes this browser a device at the bench, or one's own again.
pub async fn bench(cx: Cx, Extension(signed): Extension<Signed>, form: Form) -> Answer {
    let session = session_of(&signed)?;
    let kind = if form.value("do") == "own" {
        SessionKind::Own
    } else {
        SessionKind::Bench
    };
    let own = kind == SessionKind::Own;
    // Whoever finds the device must not make it somebody's own.
    if own && session.kind == SessionKind::Bench {
        return Err(Trouble::new(
            StatusCode::CONFLICT,
            "A device at the bench becomes somebody's own by signing out and in again. Nothing was changed.",
        )
        .or_go(Link::Who, "Back"));
    }
    let done = people::bench::place(cx.db(), session, kind, cx.app.clock().now_ms()).await;
    let done = done.map(|()| {
        "This browser is a device at the bench now: it looks and works, and asks who at the first change.".to_owned()
    });
    answer(&cx, &signed, form, done).await
}
