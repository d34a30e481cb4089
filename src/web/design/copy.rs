//! A past set once more, under another name and on other dates.

use askama::Template;
use axum::http::StatusCode;

use super::{count_of, edit::dates, load};
use crate::{
    model::{design::Design, id::DesignId},
    stock::{self, StockError},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
    },
};

#[derive(Template)]
#[template(path = "design/copy.html")]
struct CopyPage {
    chrome: Chrome,
    id: DesignId,
    name: String,
    bars: String,
    form: Form,
}

fn show(cx: &Cx, design: &Design, form: Form, status: StatusCode) -> Answer {
    Ok(page_with(
        status,
        &CopyPage {
            chrome: cx.chrome(Section::Designs, format!("Copy {}", design.name)),
            id: design.id,
            name: design.name.to_string(),
            bars: count_of(design.bars.len(), "bar", "bars"),
            form,
        },
    ))
}

/// GET: asks for the name and dates of the copy.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let design = load::design(&cx, id).await?;
    let mut form = Form::default();
    form.set("name", load::free_name(&cx, design.name.as_str()).await?);
    for (name, value) in super::new::usual_dates(&cx) {
        form.set(name, value);
    }
    show(&cx, &design, form, StatusCode::OK)
}

/// POST: makes the copy.
pub async fn post(cx: Cx, Path(id): Path<DesignId>, mut form: Form) -> Answer {
    let design = load::design(&cx, id).await?;
    let name = form.name("name");
    let dates = dates(&mut form);
    let (Some(name), Some(dates)) = (name, dates) else {
        return show(&cx, &design, form, StatusCode::UNPROCESSABLE_ENTITY);
    };
    match stock::design::copy(&cx.act(&form), id, &name, dates).await {
        Ok(copy) => Ok(go_with(
            &Link::Design(copy),
            &Flash::good("The copy is made. Nothing is held until it is reserved."),
        )),
        Err(StockError::Field { field, message }) => {
            form.fail(&field, message);
            show(&cx, &design, form, StatusCode::UNPROCESSABLE_ENTITY)
        }
        Err(why) => Err(why.into()),
    }
}
