//! Refusals as data: problem details (RFC 9457), with a pointer to each field that is wrong.
//!
//! A handler's [`Problem`] travels as an extension of its response; the layer [`details`] writes
//! it out with the address that was asked. The same layer turns what the outer layers of the
//! service refuse (an unknown Host, another site, a panic) into problem details, so that a client
//! of the API never meets a page.

use axum::{
    body::Body,
    extract::Request,
    http::{HeaderValue, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    calc::Refused,
    db::DbError,
    stock::StockError,
    web::error::{Said, db_status, stock_status},
};

/// The media type of problem details.
pub const MEDIA_TYPE: &str = "application/problem+json";

/// Where the API begins.
pub const PREFIX: &str = "/api/";

/// A field of the body, a cell of a file, or a parameter of the address, that is to be mended.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct FieldError {
    /// JSON pointer (RFC 6901) to the field of the body; left out where a parameter is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub pointer: Option<String>,
    /// Name of the parameter; left out where a field of the body is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub parameter: Option<String>,
    /// Line of a file that was sent, from 1; left out where no line of a file is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false, minimum = 1)]
    pub line: Option<usize>,
    /// Title of the column of a file that was sent; left out where no cell of a file is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub column: Option<String>,
    /// What is wrong, and what to send instead.
    pub detail: String,
}

/// Problem details (RFC 9457).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct Details {
    /// `about:blank`: the status says what kind of problem it is.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// The status in words.
    pub title: String,
    /// The status.
    #[schema(format = Int32, minimum = 400, maximum = 599)]
    pub status: u16,
    /// What happened, what was kept, what to do.
    pub detail: String,
    /// The address that was asked.
    pub instance: String,
    /// What is wrong, field by field; left out where nothing is wrong with a field.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false)]
    pub errors: Vec<FieldError>,
    /// The entity tag of what is stored now, for an answer about a precondition.
    #[serde(skip)]
    #[schema(ignore)]
    etag: Option<String>,
}

/// A refusal on its way to the client.
#[derive(Debug, Clone)]
pub struct Problem(Box<Details>);

impl Problem {
    /// A refusal with its sentence.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self(Box::new(Details {
            kind: "about:blank",
            title: status.canonical_reason().unwrap_or("Refused").to_owned(),
            status: status.as_u16(),
            detail: detail.into(),
            instance: String::new(),
            errors: Vec::new(),
            etag: None,
        }))
    }

    /// There is no such thing.
    pub fn not_found(what: &str) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            format!("There is no such {what}. It may have been removed, or the address is wrong."),
        )
    }

    /// One field of the body is wrong.
    pub fn field(pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        Self::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "The body was refused. Nothing was changed; mend what is named and send it again.",
        )
        .and_field(pointer, detail)
    }

    /// One parameter of the address is wrong.
    pub fn parameter(name: impl Into<String>, detail: impl Into<String>) -> Self {
        let mut problem = Self::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "A parameter was refused. Nothing was changed; mend what is named and ask again.",
        );
        problem.0.errors.push(FieldError {
            parameter: Some(name.into()),
            detail: detail.into(),
            ..FieldError::default()
        });
        problem
    }

    /// Somebody else changed it meanwhile.
    pub fn changed(etag: &str) -> Self {
        Self::new(
            StatusCode::PRECONDITION_FAILED,
            "This was changed meanwhile. Nothing was overwritten; read it again, and send the \
             change with the entity tag of this answer.",
        )
        .with_etag(etag)
    }

    /// Names another field that is wrong.
    pub fn and_field(mut self, pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        self.0.errors.push(FieldError {
            pointer: Some(pointer.into()),
            detail: detail.into(),
            ..FieldError::default()
        });
        self
    }

    /// Names a cell, a line (or, at line 0, the whole) of a file that is wrong.
    pub fn and_cell(
        mut self,
        line: usize,
        column: Option<String>,
        detail: impl Into<String>,
    ) -> Self {
        self.0.errors.push(FieldError {
            line: (line > 0).then_some(line),
            column,
            detail: detail.into(),
            ..FieldError::default()
        });
        self
    }

    /// Says which version is stored now.
    pub fn with_etag(mut self, etag: &str) -> Self {
        self.0.etag = Some(etag.to_owned());
        self
    }

    /// Gives a pointer another name.
    pub fn rename(&mut self, from: &str, to: &str) {
        for error in &mut self.0.errors {
            if error.pointer.as_deref() == Some(from) {
                error.pointer = Some(to.to_owned());
            }
        }
    }

    /// Puts a path before each pointer: the refused value stands deeper in the body.
    pub fn under(mut self, prefix: &str) -> Self {
        for error in &mut self.0.errors {
            if let Some(pointer) = &mut error.pointer {
                pointer.insert_str(0, prefix);
            }
        }
        self
    }
}

impl From<DbError> for Problem {
    fn from(error: DbError) -> Self {
        if let DbError::Other(why) = &error {
            tracing::error!(%why, "the database failed");
        }
        Self::new(db_status(&error), error.to_string())
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        Self::field(refused.pointer, refused.detail)
    }
}

impl From<StockError> for Problem {
    fn from(error: StockError) -> Self {
        match error {
            StockError::Db(error) => error.into(),
            StockError::Field { field, message } => {
                Self::field(format!("/{}", field.replace('.', "/")), message)
            }
            StockError::KeyReused => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "This Idempotency-Key was used for another request. Nothing was changed now; \
                 send this one with a key of its own.",
            ),
            StockError::Changed => Self::new(
                StatusCode::PRECONDITION_FAILED,
                "This was changed meanwhile. Nothing was overwritten; read it again.",
            ),
            error => Self::new(stock_status(&error), error.to_string()),
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status =
            StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let mut response = status.into_response();
        if let Some(tag) = self.0.etag.as_deref().and_then(|tag| tag.parse().ok()) {
            response.headers_mut().insert(header::ETAG, tag);
        }
        response.extensions_mut().insert(self);
        response
    }
}

/// Writes refusals of the API out as problem details.
pub async fn details(request: Request, next: Next) -> Response {
    let path = request.uri().path();
    if !path.starts_with(PREFIX) {
        return next.run(request).await;
    }
    let path = path.to_owned();
    let mut response = next.run(request).await;
    let status = response.status();
    if !(status.is_client_error() || status.is_server_error()) {
        return response;
    }
    let problem = response.extensions_mut().remove::<Problem>();
    let said = response.extensions_mut().remove::<Said>();
    let Problem(mut details) = problem.unwrap_or_else(|| {
        let detail = match status {
            StatusCode::NOT_FOUND => {
                "There is nothing at this address. /api/v1/openapi.json lists every one there is."
                    .to_owned()
            }
            StatusCode::INTERNAL_SERVER_ERROR => {
                "That did not work, by a fault of ours. What was not finished was not kept."
                    .to_owned()
            }
            _ => said.map_or_else(
                || "This was refused. Nothing was changed.".into(),
                |said| said.0,
            ),
        };
        Problem::new(status, detail)
    });
    details.instance = path;
    let body = serde_json::to_vec(&*details).unwrap_or_default();
    let (mut parts, _) = response.into_parts();
    parts.headers.remove(header::CONTENT_LENGTH);
    parts
        .headers
        .insert(header::CONTENT_TYPE, HeaderValue::from_static(MEDIA_TYPE));
    Response::from_parts(parts, Body::from(body))
}
