//! The API: everything the pages do, as JSON under `/api/v1`, described by an OpenAPI document
//! made from the code.
//!
//! Handlers are thin: they read what is asked, call the same query or use-case as the page, and
//! answer with a type of [`shape`] or of the model. Refusals are [`problem`] details.

#![expect(
    unused_qualifications,
    reason = "the macro that describes an operation qualifies the types of its query"
)]

use std::sync::{Arc, LazyLock};

use axum::{
    body::{Bytes, to_bytes},
    extract::{FromRequestParts, Request},
    http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header, request::Parts},
    middleware::{Next, from_fn},
    response::{IntoResponse as _, Response},
};
use sha2::{Digest as _, Sha256};
use utoipa::OpenApi as _;
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    app::App,
    db::{self, Db, ReadTx},
    model::{text::Name, venue::Venue},
    stock::{Act, Press},
    units::Date,
    web::{gate::Signed, page::hex},
};

mod calc;
mod calendar;
mod csv;
mod design;
mod document;
mod json;
mod movement;
mod offer;
mod part;
mod place;
pub mod problem;
mod purchase;
pub mod shape;
mod test_record;
mod thing;
mod venue;

use json::Answer;
use problem::Problem;

/// The header that says who acts.
pub const WHO: &str = "tapewright-who";
/// The header that makes a repeated request harmless.
pub const KEY: &str = "idempotency-key";

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Tapewright",
        description = "Stock book and build planner for LED-tape sets. Lengths are whole \
            micrometres, money whole minor units, dates calendar dates of the venue; every field \
            carries its unit in its name. Refusals are problem details (RFC 9457).",
    ),
    components(schemas(problem::Details, crate::stock::csv::Sheet))
)]
struct Document;

fn resources() -> OpenApiRouter<App> {
    let api = OpenApiRouter::new()
        .merge(venue::routes())
        .merge(part::routes())
        .merge(place::routes())
        .merge(thing::routes())
        .merge(test_record::routes())
        .merge(movement::routes())
        .merge(design::routes())
        .merge(offer::routes())
        .merge(purchase::routes())
        .merge(calendar::routes())
        .merge(calc::routes())
        .merge(csv::routes())
        .routes(routes!(openapi));
    OpenApiRouter::with_openapi(Document::openapi()).nest("/api/v1", api)
}

/// Every route of the API.
pub fn router() -> axum::Router<App> {
    let (routes, _) = resources().split_for_parts();
    routes.route_layer(from_fn(unchanged))
}

/// The longest answer that is given an entity tag here, in bytes.
const MOST_TAGGED: usize = 64 * 1024 * 1024;

/// Gives what is read an entity tag made from it, where it has none of its own; 304 if the client
/// has it already. It is weak: what is sent compressed is told as the same.
async fn unchanged(request: Request, next: Next) -> Response {
    // What HEAD answers has no body to make one from.
    let asks = *request.method() == Method::GET;
    let list = tags(request.headers(), &header::IF_NONE_MATCH);
    let response = next.run(request).await;
    let headers = response.headers();
    if !asks || response.status() != StatusCode::OK || headers.contains_key(header::ETAG) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, MOST_TAGGED).await else {
        return Problem::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "The answer could not be written, by a fault of ours.",
        )
        .into_response();
    };
    let opaque = format!("\"{}\"", hex(&Sha256::digest(&bytes)));
    if let Ok(tag) = HeaderValue::from_str(&format!("W/{opaque}")) {
        parts.headers.insert(header::ETAG, tag);
    }
    if list.is_ok_and(|list| list.is_some_and(|list| listed(&list, &opaque, true))) {
        parts.status = StatusCode::NOT_MODIFIED;
        parts.headers.remove(header::CONTENT_TYPE);
        parts.headers.remove(header::CONTENT_LENGTH);
        return Response::from_parts(parts, axum::body::Body::empty());
    }
    Response::from_parts(parts, bytes.into())
}

static DOCUMENT: LazyLock<Bytes> = LazyLock::new(|| {
    let (_, document) = resources().split_for_parts();
    let document = serde_json::to_value(&document).unwrap_or_default();
    serde_json::to_vec(&document::complete(document))
        .unwrap_or_default()
        .into()
});

/// This document.
#[utoipa::path(
    get,
    path = "/openapi.json",
    responses((status = 200, description = "The OpenAPI 3.1 document", body = serde_json::Value))
)]
async fn openapi() -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json")];
    (kind, DOCUMENT.clone()).into_response()
}

/// What a handler knows of its request.
#[derive(Debug, Clone)]
struct Api {
    app: App,
    who: Name,
    venue: Arc<Venue>,
    today: Date,
    method: Method,
    path: String,
    key: Option<String>,
    if_match: Option<String>,
    if_none_match: Option<String>,
}

impl FromRequestParts<App> for Api {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let headers = &parts.headers;
        let signed = parts.extensions.get::<Signed>().map(|it| it.who.clone());
        let who = match text(headers, &HeaderName::from_static(WHO))? {
            Some(name) => Name::parse(&name).map_err(|why| {
                Problem::new(
                    StatusCode::BAD_REQUEST,
                    format!("Tapewright-Who is not a name. {why} Nothing was changed."),
                )
            })?,
            None => nobody_said(),
        };
        // Who is signed in cannot say to be another.
        let who = signed.unwrap_or(who);
        let key = text(headers, &HeaderName::from_static(KEY))?;
        if key
            .as_ref()
            .is_some_and(|key| !(8..=200).contains(&key.chars().count()))
        {
            return Err(Problem::new(
                StatusCode::BAD_REQUEST,
                "An Idempotency-Key has 8 to 200 characters, such as a fresh UUID. Nothing was \
                 changed.",
            ));
        }
        let now = app.now().await?;
        Ok(Self {
            who,
            key,
            if_match: tags(headers, &header::IF_MATCH)?,
            if_none_match: tags(headers, &header::IF_NONE_MATCH)?,
            venue: now.venue,
            today: now.today,
            method: parts.method.clone(),
            path: parts.uri.path().to_owned(),
            app: app.clone(),
        })
    }
}

fn nobody_said() -> Name {
    Name::parse("api").unwrap_or_else(|_| unreachable!("a plain word is a name"))
}

fn text(headers: &HeaderMap, name: &HeaderName) -> Result<Option<String>, Problem> {
    headers
        .get(name)
        .map(|value| {
            String::from_utf8(value.as_bytes().to_vec()).map_err(|_| {
                Problem::new(
                    StatusCode::BAD_REQUEST,
                    format!("The header {name} is not UTF-8. Nothing was changed."),
                )
            })
        })
        .transpose()
}

/// A list of entity tags may stand in several headers of one name.
fn tags(headers: &HeaderMap, name: &HeaderName) -> Result<Option<String>, Problem> {
    let mut all = Vec::new();
    for value in headers.get_all(name) {
        all.push(value.to_str().map_err(|_| {
            Problem::new(
                StatusCode::BAD_REQUEST,
                format!("The header {name} holds no entity tags. Nothing was changed."),
            )
        })?);
    }
    Ok((!all.is_empty()).then(|| all.join(", ")))
}

/// The strong entity tag of a row.
fn tag(kind: &str, id: i64, version: i64) -> String {
    format!("\"{kind}-{id}-{version}\"")
}

fn listed(list: &str, tag: &str, weak_too: bool) -> bool {
    list.split(',').map(str::trim).any(|one| {
        let one = one.strip_prefix("W/").filter(|_| weak_too).unwrap_or(one);
        one == "*" || one == tag
    })
}

impl Api {
    fn db(&self) -> &Db {
        self.app.db()
    }

    async fn read(&self) -> Result<ReadTx, Problem> {
        Ok(self.db().read().await?)
    }

    /// Who acts, when, under the request's key.
    fn act<T>(&self, body: &json::Body<T>) -> Act {
        self.act_on(&body.digest)
    }

    /// Who acts, when, for a request without a body.
    fn act_bare(&self) -> Act {
        self.act_on("")
    }

    fn act_on(&self, body: &str) -> Act {
        Act {
            db: self.db().clone(),
            who: self.who.clone(),
            now_ms: self.app.clock().now_ms(),
            today: self.today,
            press: self.key.as_ref().map(|key| Press {
                key: key.clone(),
                request: self.digest(body),
            }),
        }
    }

    fn digest(&self, body: &str) -> String {
        let mut hash = Sha256::new();
        for part in [self.method.as_str(), &self.path, body] {
            hash.update(part);
            hash.update([0]);
        }
        hex(&hash.finalize())
    }

    /// Whether the same request was carried out before, under the same key: what it asked for may
    /// be gone, or of another version, by its own doing.
    async fn repeats(&self, act: &Act) -> Result<bool, Problem> {
        let Some(press) = &act.press else {
            return Ok(false);
        };
        let before = db::press::find(&mut *self.read().await?, &press.key).await?;
        Ok(before.is_some_and(|before| before.request == press.request))
    }

    /// Whether the change was made from what is stored now: a missing `If-Match` is 428, another
    /// entity tag 412. A request that was carried out before is let through, to its first answer.
    async fn must_match(&self, act: &Act, tag: &str) -> Result<(), Problem> {
        match &self.if_match {
            None => Err(Problem::new(
                StatusCode::PRECONDITION_REQUIRED,
                "Send If-Match with the entity tag (ETag) of what you read, so that nobody's \
                 change is overwritten. Nothing was changed.",
            )
            .with_etag(tag)),
            Some(list) if listed(list, tag, false) => Ok(()),
            Some(_) if self.repeats(act).await? => Ok(()),
            Some(_) => Err(Problem::changed(tag)),
        }
    }

    /// What is stored now with its tag; 304 if the client has it.
    fn reply(&self, value: &impl serde::Serialize, tag: &str) -> Answer {
        if self
            .if_none_match
            .as_ref()
            .is_some_and(|list| listed(list, tag, true))
        {
            return Ok(json::tagged(StatusCode::NOT_MODIFIED.into_response(), tag));
        }
        json::reply_tagged(value, tag)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weak_tags_do_for_reading_and_not_for_changing() {
        let mine = tag("part", 3, 7);
        assert!(listed("\"x\", \"part-3-7\"", &mine, false));
        assert!(listed("*", &mine, false));
        assert!(!listed("W/\"part-3-7\"", &mine, false));
        assert!(listed("W/\"part-3-7\"", &mine, true));
        assert!(!listed("\"part-3-8\"", &mine, true));
    }
}
