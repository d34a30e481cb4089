//! Coming in by an invitation: a name and a password of one's own.

use askama::Template;
use axum::{
    extract::{Path, Request, State},
    http::{HeaderMap, StatusCode, header},
    response::Response,
};

use super::{
    error::Answer,
    form::Form,
    gate::{self, SESSION_COOKIE, set_cookie},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    sign_in,
};
use crate::{
    app::App,
    model::person::Role,
    people::{self, PeopleError, enter::Caller},
};

#[derive(Template)]
#[template(path = "join.html")]
struct JoinPage {
    chrome: Chrome,
    form: Form,
    link: Link,
    role: Role,
    made_by: String,
    /// Whether passwords can be read on the way, and that was not agreed to yet.
    plain: bool,
}

async fn show(
    app: &App,
    headers: &HeaderMap,
    link: &str,
    form: Form,
    status: StatusCode,
) -> Result<Response, PeopleError> {
    let invited = people::invite::invited(app.db(), link, app.clock().now_ms()).await?;
    let mut chrome = Chrome::bare(Section::None, "You are invited");
    if let Ok(now) = app.now().await {
        now.venue.name.as_str().clone_into(&mut chrome.venue);
    }
    chrome.shut = true;
    Ok(page_with(
        status,
        &JoinPage {
            chrome,
            form,
            link: Link::Join(link.to_owned()),
            role: invited.role,
            made_by: invited.made_by.to_string(),
            plain: sign_in::plain(app, headers),
        },
    ))
}

/// GET: what one is invited to.
pub async fn get(State(app): State<App>, Path(link): Path<String>, headers: HeaderMap) -> Answer {
    Ok(show(&app, &headers, &link, Form::default(), StatusCode::OK).await?)
}

/// POST: takes name and password, and signs in.
pub async fn post(State(app): State<App>, Path(link): Path<String>, request: Request) -> Answer {
    let address = gate::address(&request);
    let headers = request.headers().clone();
    let mut form = <Form as axum::extract::FromRequest<()>>::from_request(request, &()).await?;
    let (name, agreed) = (
        form.name("name"),
        sign_in::agreed(&app, &headers, &mut form),
    );
    let (Some(name), true) = (name, agreed) else {
        return Ok(show(
            &app,
            &headers,
            &link,
            form,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await?);
    };
    let caller = Caller {
        address: &address,
        agent: gate::agent(&headers),
        now_ms: app.clock().now_ms(),
    };
    let passwords = [form.value("password"), form.value("again")];
    let done = people::invite::join(app.db(), app.doors(), &link, &name, passwords, &caller).await;
    match done {
        Ok((held, person)) => {
            let mut response = go_with(
                &Link::Home,
                &Flash::good(format!(
                    "Welcome, {}. You may {}.",
                    person.name,
                    person.role.may()
                )),
            );
            let lasts = people::enter::OWN_MS / 1_000;
            response.headers_mut().append(
                header::SET_COOKIE,
                set_cookie(SESSION_COOKIE, &held, Some(lasts), app.config().https()),
            );
            if let Some(known) = sign_in::known(&app, &headers) {
                response.headers_mut().append(header::SET_COOKIE, known);
            }
            Ok(response)
        }
        Err(PeopleError::Field { field, message }) => {
            form.fail(field, message);
            Ok(show(
                &app,
                &headers,
                &link,
                form,
                StatusCode::UNPROCESSABLE_ENTITY,
            )
            .await?)
        }
        Err(error) => Err(error.into()),
    }
}
