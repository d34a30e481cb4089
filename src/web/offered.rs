//! What somebody may not do is not offered to them: forms and buttons that would be refused are hidden
//! in the pages of those who only look or work.
//!
//! That is a kindness; what is refused, is refused by [`super::gate`].

use axum::{
    body::{Body, to_bytes},
    http::{HeaderValue, Method, StatusCode, header},
    response::{IntoResponse as _, Response},
};

use super::may::{fits, in_sample, needs};
use crate::model::person::Role;

/// Pages that are nothing but a form, sent to their own address.
const FORMS: &[&str] = &[
    "/designs/new",
    "/designs/{id}/edit",
    "/designs/{id}/copy",
    "/designs/{id}/dates",
    "/designs/{id}/reserve",
    "/designs/{id}/state",
    "/things/{id}/cut",
    "/things/{id}/edit",
    "/things/{id}/apart",
    "/things/{id}/into",
    "/parts/new",
    "/parts/ready-made",
    "/parts/{id}/edit",
    "/parts/{id}/copy",
    "/parts/{id}/receive",
    "/parts/{id}/count",
    "/parts/{id}/offers/new",
    "/places/{id}/count",
    "/places/{id}/edit",
    "/fixtures/new",
    "/frames/new",
    "/take-in",
    "/prices",
    "/suppliers/new",
    "/start",
    "/start/units",
    "/start/tape",
];

/// The most of a page that is looked through, in bytes.
const MOST: usize = 16 * 1024 * 1024;

/// The page with what this role may not do hidden; anything else as it is.
pub async fn offered(response: Response, role: Role, path: &str) -> Response {
    let page = response.headers().get(header::CONTENT_TYPE)
        == Some(&HeaderValue::from_static("text/html; charset=utf-8"));
    if !page || role == Role::Keep || in_sample(path) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(body) = to_bytes(body, MOST).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let body = match std::str::from_utf8(&body) {
        Ok(html) => Body::from(hide(html, role, path)),
        Err(_) => Body::from(body),
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(parts, body)
}

/// Our own pages: text stands escaped in them, and every value of an attribute in double quotes.
fn hide(html: &str, role: Role, path: &str) -> String {
    let mut shown = String::with_capacity(html.len() + 512);
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        let (before, from) = rest.split_at(at);
        shown.push_str(before);
        let name = ["<form", "<a"].into_iter().find(|name| {
            from.strip_prefix(name)
                .is_some_and(|behind| behind.starts_with([' ', '>']))
        });
        let Some(name) = name else {
            shown.push('<');
            rest = from.get(1..).unwrap_or_default();
            continue;
        };
        let (tag, behind) = from.split_at(end_of(from));
        shown.push_str(name);
        if refused(name, tag, role, path) {
            shown.push_str(if name == "<form" && reads_well(behind) {
                " data-shut"
            } else {
                " hidden"
            });
        }
        shown.push_str(tag.get(name.len()..).unwrap_or_default());
        rest = behind;
    }
    shown.push_str(rest);
    shown
}

/// Whether a form has something to read in it: then only what one would press and type is hidden, by
/// the style sheet.
fn reads_well(form: &str) -> bool {
    let form = form.split("</form>").next().unwrap_or_default();
    ["<table", "<ul class=\"rows"]
        .iter()
        .any(|it| form.contains(it))
}

/// Where a tag ends, in bytes: behind its `>`, which may also stand within quotes.
fn end_of(from: &str) -> usize {
    let mut quoted = false;
    for (at, byte) in from.bytes().enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            b'>' if !quoted => return at + 1,
            _ => {}
        }
    }
    from.len()
}

/// The value of an attribute, without what comes behind a path.
fn path_in<'a>(tag: &'a str, attribute: &str) -> Option<&'a str> {
    let value = value_of(tag, attribute)?;
    Some(value.split(['?', '#', '&']).next().unwrap_or_default())
}

fn value_of<'a>(tag: &'a str, attribute: &str) -> Option<&'a str> {
    let (_, behind) = tag.split_once(&format!(" {attribute}=\""))?;
    behind.split('"').next()
}

/// Whether what a tag offers would be refused.
fn refused(name: &str, tag: &str, role: Role, path: &str) -> bool {
    if name == "<form" {
        let posts = value_of(tag, "method") == Some("post");
        let to = path_in(tag, "action").filter(|to| !to.is_empty());
        posts && needs(&Method::POST, to.unwrap_or(path)) > role
    } else {
        let button =
            value_of(tag, "class").is_some_and(|class| class.split(' ').any(|it| it == "btn"));
        let to = path_in(tag, "href").unwrap_or_default();
        let form = FORMS.iter().any(|pattern| fits(pattern, to));
        // Within a page, buttons lead to its forms.
        let here = to.is_empty() && role == Role::Look;
        let refused = needs(&Method::GET, to) > role || (form && needs(&Method::POST, to) > role);
        let elsewhere = to.starts_with('/') && !in_sample(to);
        button && (here || (elsewhere && refused))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_be_refused_is_hidden_and_nothing_else() {
        let page = r#"<p>a &lt;form</p><form class="find" action="/search"><form method="post" action="/things/3/cut?x=1">
<form class="form" method="post"><a class="btn main" href="/designs/new#x"><a href="/designs/new"><a class="btn" href="/log">
<a class="btn" href="/settings/people"><article><form method="post" action="/sign-out"><a class="btn" href="/places/3/count">é"#;
        let look = hide(page, Role::Look, "/places");
        let hidden = [
            r#"<form hidden method="post" action="/things/3/cut?x=1">"#,
            r#"<form hidden class="form" method="post">"#,
            r#"<a hidden class="btn main" href="/designs/new#x">"#,
            r#"<a hidden class="btn" href="/settings/people">"#,
            r#"<a hidden class="btn" href="/places/3/count">"#,
        ];
        for tag in hidden {
            assert!(look.contains(tag), "{tag} in {look}");
        }
        assert_eq!(look.matches(" hidden").count(), hidden.len());
        assert_eq!(look.replace(" hidden", ""), page);

        let work = hide(page, Role::Work, "/places");
        for tag in &hidden[1..4] {
            assert!(work.contains(tag), "{tag} in {work}");
        }
        assert_eq!(work.matches(" hidden").count(), 3);
        // What stands in a form stays.
        let list = r#"<form method="post" action="/shopping/order"><table></table></form>"#;
        assert_eq!(
            hide(list, Role::Look, "/shopping"),
            list.replace("<form", "<form data-shut")
        );
        // A form without an address goes to its own page.
        let own = hide(r#"<form method="post">"#, Role::Work, "/take-in");
        assert_eq!(own, r#"<form method="post">"#);
    }

    #[test]
    fn a_tag_ends_outside_of_its_quotes() {
        assert_eq!(
            end_of(r#"<a title="a > b">c"#),
            r#"<a title="a > b">"#.len()
        );
        assert_eq!(end_of("<a title=\"a > b"), "<a title=\"a > b".len());
    }
}
