//! Files to take away: parts or stock, whole or one kind of it, or only the titles.

use axum::{
    http::header,
    response::{IntoResponse as _, Response},
};

use crate::{
    model::part::Kind,
    stock::csv::{Sheet, parts_out, stock_out},
    web::{cx::Cx, error::Answer, form::Form},
};

/// The media type of CSV (RFC 7111).
pub const MEDIA_TYPE: &str = "text/csv; charset=utf-8; header=present";

/// A file to be saved under a name.
pub fn answer(name: &str, text: String) -> Response {
    let disposition = format!("attachment; filename=\"{name}.csv\"");
    (
        [
            (header::CONTENT_TYPE, MEDIA_TYPE.to_owned()),
            (header::CONTENT_DISPOSITION, disposition),
        ],
        text,
    )
        .into_response()
}

/// The name that a file is saved under.
fn name(of: &str, narrowed: Option<&str>, template: bool, today: &str) -> String {
    let what = narrowed.map_or_else(|| of.to_owned(), |narrowed| format!("{of}-{narrowed}"));
    if template {
        format!("{what}-template")
    } else {
        format!("{what}-{today}")
    }
}

/// GET: the catalogue. With a byte order mark, by which spreadsheets know UTF-8.
pub async fn parts(cx: Cx, form: Form) -> Answer {
    let kind: Option<Kind> = form.value("kind").parse().ok();
    let template = form.ticked("titles");
    let mut tx = cx.read().await?;
    let text = parts_out(&mut tx, kind, cx.unit(), template, true).await?;
    let today = cx.today.to_string();
    let name = name("parts", kind.map(Kind::word), template, &today);
    Ok(answer(&name, text))
}

/// GET: what there is.
pub async fn stock(cx: Cx, form: Form) -> Answer {
    let sheet: Option<Sheet> = form.value("what").parse().ok();
    let template = form.ticked("titles");
    let mut tx = cx.read().await?;
    let text = stock_out(&mut tx, sheet, cx.unit(), template, true).await?;
    let today = cx.today.to_string();
    let name = name("stock", sheet.map(Sheet::word), template, &today);
    Ok(answer(&name, text))
}
