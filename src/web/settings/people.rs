//! The names to choose from as 'who'.

use askama::Template;
use axum::http::StatusCode;

use crate::{
    db,
    model::text::Name,
    web::{
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
    },
};

#[derive(Template)]
#[template(path = "settings/people.html")]
struct PeoplePage {
    chrome: Chrome,
    people: Vec<Name>,
    form: Form,
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let people = db::venue::list_people(&mut *cx.read().await?).await?;
    let chrome = cx.chrome(Section::Settings, "People");
    Ok(page_with(
        status,
        &PeoplePage {
            chrome,
            people,
            form,
        },
    ))
}

/// GET: the list.
pub async fn get(cx: Cx) -> Answer {
    show(&cx, Form::default(), StatusCode::OK).await
}

/// POST: adds a name, or takes one off.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let off = form.has("remove");
    let Some(name) = form.name(if off { "remove" } else { "name" }) else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let mut tx = cx.db().write().await?;
    let said = if off {
        db::venue::remove_person(&mut tx, &name).await?;
        format!("{name} is off the list. The log keeps the name.")
    } else {
        db::venue::add_person(&mut tx, &name).await?;
        format!("{name} is on the list.")
    };
    tx.commit().await?;
    Ok(go_with(&Link::People, &Flash::good(said)))
}
