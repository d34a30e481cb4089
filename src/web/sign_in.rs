//! Signing in and out, and saying who works at a device at the bench.

use askama::Template;
use axum::{
    Extension,
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse as _, Redirect, Response},
};

use super::{
    cx::cookie,
    error::Answer,
    form::Form,
    gate::{self, HAND_COOKIE, SESSION_COOKIE, Signed, set_cookie},
    link::Link,
    page::{Chrome, Flash, Section, go, go_with, page_with},
};
use crate::{
    app::App,
    db,
    model::{
        person::{Password, SessionKind},
        text::Name,
    },
    people::{self, PeopleError, enter::Caller},
};

/// Says that this browser's owner knows that passwords can be read on the way.
const PLAIN_COOKIE: &str = "plain";

/// Fields of the sign-in itself; all others are carried.
const OWN_FIELDS: &[&str] = &[
    "sign-in-name",
    "sign-in-password",
    "sign-in-to",
    "sign-in-plain",
    "sign-in-pin",
];

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    chrome: Chrome,
    form: Form,
    /// Where it leads.
    to: String,
    /// What was typed before somebody had to sign in.
    carried: Vec<(String, String)>,
    /// Whether passwords can be read on the way, and that was not agreed to yet.
    plain: bool,
}

#[derive(Template)]
#[template(path = "hand.html")]
struct HandPage {
    chrome: Chrome,
    form: Form,
    to: String,
    carried: Vec<(String, String)>,
    /// Who has a PIN.
    people: Vec<Name>,
}

fn carried(form: &Form) -> Vec<(String, String)> {
    form.pairs()
        .filter(|(name, _)| !OWN_FIELDS.contains(name))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect()
}

/// The frame of a page for people who are not in yet.
async fn chrome(app: &App, title: &str) -> Chrome {
    let mut chrome = Chrome::bare(Section::None, title);
    if let Ok(now) = app.now().await {
        now.venue.name.as_str().clone_into(&mut chrome.venue);
    }
    chrome.shut = true;
    // What was typed elsewhere waits until somebody is in.
    chrome.keep_drafts = true;
    chrome
}

/// Whether what is sent between this browser and us can be read on the way.
fn readable(app: &App, headers: &HeaderMap) -> bool {
    let host = headers
        .get(header::HOST)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let here = matches!(name, "localhost" | "[::1]") || name.starts_with("127.");
    !here && !app.config().https()
}

/// Whether passwords can be read on the way, and nobody at this browser agreed to that yet.
pub(super) fn plain(app: &App, headers: &HeaderMap) -> bool {
    readable(app, headers) && cookie(headers, PLAIN_COOKIE) != Some("known")
}

/// Whether a password may be taken: what stands in the form says that its owner knows, or need not.
/// Marks the form where not.
pub(super) fn agreed(app: &App, headers: &HeaderMap, form: &mut Form) -> bool {
    let agreed = form.ticked("sign-in-plain") || !plain(app, headers);
    if !agreed {
        form.fail(
            "sign-in-plain",
            "Tick this, or ask a keeper to set up https. The password was not looked at.",
        );
    }
    agreed
}

/// The cookie by which a browser is not asked again.
pub(super) fn known(app: &App, headers: &HeaderMap) -> Option<HeaderValue> {
    readable(app, headers).then(|| {
        set_cookie(
            PLAIN_COOKIE,
            "known",
            Some(31_536_000),
            app.config().https(),
        )
    })
}

async fn show(
    app: &App,
    headers: &HeaderMap,
    form: Form,
    to: &str,
    carried: Vec<(String, String)>,
    status: StatusCode,
) -> Response {
    let page = SignInPage {
        chrome: chrome(app, "Sign in").await,
        form,
        to: gate::local(to).unwrap_or("/").to_owned(),
        carried,
        plain: plain(app, headers),
    };
    page_with(status, &page)
}

/// The sign-in in place of a form that somebody sent without being signed in: what was typed is
/// carried along.
pub async fn ask(app: &App, headers: &HeaderMap, to: &str, form: Form) -> Response {
    let typed = carried(&form);
    show(
        app,
        headers,
        Form::default(),
        to,
        typed,
        StatusCode::UNAUTHORIZED,
    )
    .await
}

/// GET: the sign-in.
pub async fn get(State(app): State<App>, headers: HeaderMap, form: Form) -> Answer {
    if !app.config().needs_sign_in() {
        return Ok(go(&Link::Who));
    }
    let to = form.value("to").to_owned();
    Ok(show(
        &app,
        &headers,
        Form::default(),
        &to,
        Vec::new(),
        StatusCode::OK,
    )
    .await)
}

/// Leads on with a form that was carried: the browser sends it again, whole, to where it belonged.
fn on(to: &str, with_form: bool) -> Response {
    if with_form {
        Redirect::temporary(to).into_response()
    } else {
        Redirect::to(to).into_response()
    }
}

fn said(form: &mut Form, error: &PeopleError) -> StatusCode {
    match error {
        PeopleError::Field { field, message } => {
            form.fail(&format!("sign-in-{field}"), message);
            StatusCode::UNPROCESSABLE_ENTITY
        }
        PeopleError::Wait(_) => {
            form.fail("", error);
            StatusCode::TOO_MANY_REQUESTS
        }
        _ => {
            form.fail("", error);
            StatusCode::UNAUTHORIZED
        }
    }
}

/// POST: signs a browser in.
pub async fn post(State(app): State<App>, request: Request) -> Answer {
    let address = gate::address(&request);
    let headers = request.headers().clone();
    let mut form = <Form as axum::extract::FromRequest<()>>::from_request(request, &()).await?;
    let to = gate::local(form.value("sign-in-to"))
        .unwrap_or("/")
        .to_owned();
    let typed = carried(&form);
    if !agreed(&app, &headers, &mut form) {
        return Ok(show(
            &app,
            &headers,
            form,
            &to,
            typed,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await);
    }
    let caller = Caller {
        address: &address,
        agent: gate::agent(&headers),
        now_ms: app.clock().now_ms(),
    };
    let password = Password::typed(form.value("sign-in-password"));
    let name = form.value("sign-in-name").to_owned();
    let done = people::enter::sign_in(app.db(), app.doors(), &name, password, &caller).await;
    match done {
        Ok((held, _)) => {
            let mut response = on(&to, !typed.is_empty());
            let secure = app.config().https();
            let mut put =
                |value: HeaderValue| response.headers_mut().append(header::SET_COOKIE, value);
            put(set_cookie(
                SESSION_COOKIE,
                &held,
                Some(people::enter::OWN_MS / 1_000),
                secure,
            ));
            if let Some(known) = known(&app, &headers) {
                put(known);
            }
            Ok(response)
        }
        Err(PeopleError::Db(why)) => Err(why.into()),
        Err(error) => {
            let status = said(&mut form, &error);
            Ok(show(&app, &headers, form, &to, typed, status).await)
        }
    }
}

/// POST: signs this browser out, or all of one's browsers.
pub async fn out(State(app): State<App>, signed: Option<Extension<Signed>>, form: Form) -> Answer {
    let Some(Extension(Signed {
        session: Some(session),
        ..
    })) = signed
    else {
        return Ok(go(&Link::Home));
    };
    let now_ms = app.clock().now_ms();
    if form.value("do") == "others" {
        let person = &session.person;
        let ended = people::enter::sign_out_everywhere(
            app.db(),
            &person.name,
            person,
            Some(session.id),
            now_ms,
        )
        .await?;
        return Ok(go_with(
            &Link::Who,
            &Flash::good(match ended {
                0 => "There was no other browser to sign out.".to_owned(),
                1 => "One other browser is signed out.".to_owned(),
                _ => format!("{ended} other browsers are signed out."),
            }),
        ));
    }
    people::enter::sign_out(app.db(), &session.person, session.id, now_ms).await?;
    let mut response = go(&Link::SignIn("/".to_owned()));
    for name in [SESSION_COOKIE, HAND_COOKIE] {
        response
            .headers_mut()
            .append(header::SET_COOKIE, set_cookie(name, "", Some(0), false));
    }
    Ok(response)
}

async fn hand_page(
    app: &App,
    to: &str,
    form: Form,
    typed: Vec<(String, String)>,
    status: StatusCode,
) -> Response {
    let people = match app.db().read().await {
        Ok(mut tx) => db::person::list(&mut tx).await.unwrap_or_default(),
        Err(_) => Vec::new(),
    };
    let page = HandPage {
        chrome: chrome(app, "Who is at the bench?").await,
        form,
        to: gate::local(to).unwrap_or("/").to_owned(),
        carried: typed,
        people: people
            .into_iter()
            .filter(|person| person.has_pin)
            .map(|person| person.name)
            .collect(),
    };
    page_with(status, &page)
}

/// Asks at a device at the bench who it is that changes something; what was typed is carried along.
pub async fn ask_hand(app: &App, to: &str, form: Form) -> Response {
    let typed = carried(&form);
    hand_page(app, to, Form::default(), typed, StatusCode::UNAUTHORIZED).await
}

/// GET: who is at the bench.
pub async fn get_hand(State(app): State<App>) -> Answer {
    Ok(hand_page(&app, "/", Form::default(), Vec::new(), StatusCode::OK).await)
}

/// POST: somebody takes the device by name and PIN, or lets go of it.
pub async fn take(
    State(app): State<App>,
    signed: Option<Extension<Signed>>,
    headers: HeaderMap,
    mut form: Form,
) -> Answer {
    let session = match signed {
        Some(Extension(Signed {
            session: Some(session),
            ..
        })) if session.kind == SessionKind::Bench => session,
        _ => return Ok(go(&Link::Who)),
    };
    let to = gate::local(form.value("sign-in-to"))
        .unwrap_or("/")
        .to_owned();
    let typed = carried(&form);
    let caller = Caller {
        address: &session.address,
        agent: gate::agent(&headers),
        now_ms: app.clock().now_ms(),
    };
    let pin = Password::typed(form.value("sign-in-pin"));
    let name = form.value("sign-in-name").to_owned();
    match people::bench::take(app.db(), app.doors(), &session, &name, pin, &caller).await {
        Ok((held, _)) => {
            let mut response = on(&to, !typed.is_empty());
            let secure = app.config().https();
            response.headers_mut().append(
                header::SET_COOKIE,
                set_cookie(HAND_COOKIE, &held, None, secure),
            );
            Ok(response)
        }
        Err(PeopleError::Db(why)) => Err(why.into()),
        Err(error) => {
            let status = said(&mut form, &error);
            Ok(hand_page(&app, &to, form, typed, status).await)
        }
    }
}
