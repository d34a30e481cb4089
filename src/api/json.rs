//! What comes in and goes out: bodies, addresses and answers as JSON, read at the edge.

use axum::{
    body::Bytes,
    extract::{FromRequest, FromRequestParts, Path as AxumPath, Query as AxumQuery, Request},
    http::{HeaderValue, StatusCode, header, request::Parts},
    response::{IntoResponse, Response},
};
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use utoipa::ToSchema;

use super::problem::Problem;
use crate::{
    calc::{
        document::{self, Unread},
        plain::plainly,
    },
    web::page::hex,
};

/// What a handler of the API answers.
pub type Answer = Result<Response, Problem>;

/// A body, with a digest of it to tell a repeated request from another.
#[derive(Debug)]
pub struct Body<T> {
    /// What it says.
    pub value: T,
    /// Digest of its bytes.
    pub digest: String,
}

impl<T: DeserializeOwned + ToSchema, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        if !is_json(&request) {
            return Err(Problem::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "A body is sent as application/json. Nothing was changed.",
            ));
        }
        let bytes = Bytes::from_request(request, state).await.map_err(|why| {
            let status = why.status();
            Problem::new(
                status,
                if status == StatusCode::PAYLOAD_TOO_LARGE {
                    "The body is larger than is taken. Nothing was changed; send less at once."
                } else {
                    "The body did not arrive whole. Nothing was changed; send it again."
                },
            )
        })?;
        Ok(Self {
            value: read(&bytes)?,
            digest: hex(&Sha256::digest(&bytes)),
        })
    }
}

fn is_json(request: &Request) -> bool {
    request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .and_then(|kind| kind.split(';').next())
        .is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

fn read<T: DeserializeOwned + ToSchema>(bytes: &[u8]) -> Result<T, Problem> {
    let broken = |why: &str| {
        Problem::new(
            StatusCode::BAD_REQUEST,
            format!("{why} Nothing was changed."),
        )
    };
    let text = std::str::from_utf8(bytes)
        .map_err(|_| broken("The body is not UTF-8, so it cannot be read."))?;
    match document::parse(text.as_bytes()) {
        Ok(value) => from_value(value),
        Err(Unread::NotJson(why)) => Err(broken(&format!("The body is not JSON: {why}."))),
        Err(Unread::Refused(why)) => Err(why.into()),
    }
}

/// Reads a value that is JSON already; what is wrong is said with a pointer.
pub fn from_value<T: DeserializeOwned + ToSchema>(value: Value) -> Result<T, Problem> {
    Ok(document::read(value)?)
}

/// What stands after the `?` of an address.
#[derive(Debug)]
pub struct Query<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        match AxumQuery::<T>::from_request_parts(parts, state).await {
            Ok(AxumQuery(query)) => Ok(Self(query)),
            Err(why) => {
                let text = why.body_text();
                let text = text
                    .strip_prefix("Failed to deserialize query string: ")
                    .unwrap_or(&text);
                let (name, why) = match text.split_once(": ") {
                    Some((name, why)) => (name, why),
                    None => (unknown_field(text).unwrap_or_default(), text),
                };
                Err(Problem::parameter(name, plainly(why)))
            }
        }
    }
}

fn unknown_field(text: &str) -> Option<&str> {
    text.strip_prefix("unknown field `")?.split('`').next()
}

/// What an address carries; one that cannot be read is not there.
#[derive(Debug, Clone, Copy)]
pub struct Path<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Path<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        match AxumPath::<T>::from_request_parts(parts, state).await {
            Ok(AxumPath(value)) => Ok(Self(value)),
            Err(_) => Err(Problem::not_found("thing")),
        }
    }
}

/// The most entries of one page of a list.
pub const PAGE_LIMIT: u32 = 200;
/// How many entries a page has where nothing is said.
const PAGE_USUAL: u32 = 50;

/// One page of a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct List<T> {
    /// The entries.
    pub items: Vec<T>,
    /// What to send as `after` for the next page; `null` on the last.
    pub next: Option<i64>,
}

/// How many entries a page has, from what was asked.
pub fn page_size(limit: Option<u32>) -> Result<usize, Problem> {
    let limit = limit.unwrap_or(PAGE_USUAL);
    if (1..=PAGE_LIMIT).contains(&limit) {
        Ok(usize::try_from(limit).unwrap_or(1))
    } else {
        Err(Problem::parameter(
            "limit",
            format!("A page has 1 to {PAGE_LIMIT} entries; {limit} were asked for."),
        ))
    }
}

impl<T> List<T> {
    /// A page out of entries of which one more than asked for was read; `id` is what a page is
    /// continued after.
    pub fn cut(mut items: Vec<T>, size: usize, id: impl Fn(&T) -> i64) -> Self {
        let more = items.len() > size;
        items.truncate(size);
        Self {
            next: items.last().filter(|_| more).map(id),
            items,
        }
    }

    /// A page out of all entries, in order of their ids.
    pub fn page(
        mut items: Vec<T>,
        after: Option<i64>,
        size: usize,
        id: impl Fn(&T) -> i64,
    ) -> Self {
        items.sort_by_key(&id);
        if let Some(after) = after {
            items.retain(|item| id(item) > after);
        }
        Self::cut(items, size, id)
    }
}

/// What was made, and where it is read.
#[derive(Debug, Serialize, ToSchema)]
pub struct Created {
    /// Its id.
    pub id: i64,
    /// Its address.
    pub url: String,
}

/// An answer without an entity tag.
pub fn reply(value: &impl Serialize) -> Answer {
    reply_with(StatusCode::OK, value)
}

/// An answer with a status of its own.
pub fn reply_with(status: StatusCode, value: &impl Serialize) -> Answer {
    let body = serde_json::to_vec(value).map_err(|why| {
        tracing::error!(%why, "an answer could not be written as JSON");
        Problem::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "The answer could not be written, by a fault of ours.",
        )
    })?;
    let kind = [(header::CONTENT_TYPE, "application/json")];
    Ok((status, kind, body).into_response())
}

/// An answer with its entity tag.
pub fn reply_tagged(value: &impl Serialize, tag: &str) -> Answer {
    Ok(tagged(reply(value)?, tag))
}

/// Puts an entity tag on an answer.
pub fn tagged(mut response: Response, tag: &str) -> Response {
    if let Ok(tag) = HeaderValue::from_str(tag) {
        response.headers_mut().insert(header::ETAG, tag);
    }
    response
}

/// Something was made (201): its id and address. The same request under the same key gets the
/// same answer again.
pub fn created(id: i64, url: String) -> Answer {
    let location = HeaderValue::from_str(&url).ok();
    let mut response = reply_with(StatusCode::CREATED, &Created { id, url })?;
    if let Some(location) = location {
        response.headers_mut().insert(header::LOCATION, location);
    }
    Ok(response)
}

/// Done, and nothing to say (204).
pub fn done() -> Answer {
    Ok(StatusCode::NO_CONTENT.into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_goes_on_after_its_last_entry() {
        let page = List::page(vec![3, 1, 2], None, 2, |id| *id);
        assert_eq!((page.items, page.next), (vec![1, 2], Some(2)));
        let page = List::page(vec![3, 1, 2], Some(2), 2, |id| *id);
        assert_eq!((page.items, page.next), (vec![3], None));
    }
}
