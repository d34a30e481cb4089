//! Who works in this browser: a name chosen from a list or typed, kept in a cookie.

use askama::Template;
use axum::{
    http::{HeaderValue, StatusCode, header},
    response::Response,
};

use super::{
    account,
    cx::{Cx, WHO_COOKIE, who_to_cookie},
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Flash, Section, go, go_with, page_with},
};
use crate::{db, model::text::Name};

#[derive(Template)]
#[template(path = "who.html")]
struct WhoPage {
    chrome: Chrome,
    people: Vec<Name>,
    form: Form,
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let people = db::venue::list_people(&mut *cx.read().await?).await?;
    let chrome = cx.chrome(Section::Settings, "Who are you?");
    Ok(page_with(
        status,
        &WhoPage {
            chrome,
            people,
            form,
        },
    ))
}

/// GET: the names to choose from; where people sign in, one's own sign-in.
pub async fn get(cx: Cx) -> Answer {
    if let Some(signed) = &cx.signed {
        return account::show(&cx, signed, Form::default(), StatusCode::OK).await;
    }
    show(&cx, Form::default(), StatusCode::OK).await
}

/// POST: takes a name for this browser.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    if cx.signed.is_some() {
        return Ok(go(&Link::Who));
    }
    let Some(name) = form.name("name") else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let mut tx = cx.db().write().await?;
    db::venue::add_person(&mut tx, &name).await?;
    tx.commit().await?;
    let mut response: Response = go_with(
        &Link::Home,
        &Flash::good(format!("The log now says {name} for this browser.")),
    );
    let cookie = format!(
        "{WHO_COOKIE}={}; Path=/; HttpOnly; SameSite=Lax; Max-Age=31536000",
        who_to_cookie(&name)
    );
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
    Ok(response)
}
