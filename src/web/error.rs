//! Errors of the domain as a status, a page with next steps, and a log line.

use askama::Template;
use axum::{
    http::StatusCode,
    response::{IntoResponse, Response},
};

use super::{
    link::Link,
    page::{Chrome, Section, page_with},
};
use crate::{
    db::{DbError, Refusal},
    stock::StockError,
};

/// An error on its way to a page.
#[derive(Debug)]
pub struct Trouble {
    /// The status.
    pub status: StatusCode,
    /// What happened, what was kept, what to do.
    pub text: String,
    /// Where to go next, beside the first page.
    pub next: Option<(Link, String)>,
}

impl Trouble {
    /// An error with its sentence.
    pub fn new(status: StatusCode, text: impl Into<String>) -> Self {
        Self {
            status,
            text: text.into(),
            next: None,
        }
    }

    /// There is no such thing.
    pub fn not_found(what: &str) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            format!(
                "There is no such {what}. It may have been removed, or the address is mistyped."
            ),
        )
    }

    /// Offers a way on.
    pub fn or_go(mut self, link: Link, label: impl Into<String>) -> Self {
        self.next = Some((link, label.into()));
        self
    }
}

/// The status of what the database says.
pub fn db_status(error: &DbError) -> StatusCode {
    match error {
        DbError::Refused(Refusal::Check(_)) => StatusCode::UNPROCESSABLE_ENTITY,
        DbError::Refused(_) => StatusCode::CONFLICT,
        DbError::Busy | DbError::ReadOnly => StatusCode::SERVICE_UNAVAILABLE,
        DbError::Full => StatusCode::INSUFFICIENT_STORAGE,
        DbError::Unreadable(_) | DbError::Other(_) => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

/// The status of what a use-case says.
pub fn stock_status(error: &StockError) -> StatusCode {
    match error {
        StockError::NotFound(_) => StatusCode::NOT_FOUND,
        StockError::Refused(_) => StatusCode::CONFLICT,
        StockError::Field { .. } | StockError::KeyReused => StatusCode::UNPROCESSABLE_ENTITY,
        StockError::Changed => StatusCode::PRECONDITION_FAILED,
        StockError::Crowded(_) => StatusCode::SERVICE_UNAVAILABLE,
        StockError::Db(error) => db_status(error),
    }
}

impl From<DbError> for Trouble {
    fn from(error: DbError) -> Self {
        if let DbError::Other(why) = &error {
            tracing::error!(%why, "the database failed");
        }
        Self::new(db_status(&error), error.to_string())
    }
}

impl From<StockError> for Trouble {
    fn from(error: StockError) -> Self {
        match error {
            StockError::Db(error) => error.into(),
            error => Self::new(stock_status(&error), error.to_string()),
        }
    }
}

/// The sentence of an error page, kept beside it for clients that want it as data.
#[derive(Debug, Clone)]
pub struct Said(pub String);

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    chrome: Chrome,
    text: String,
    next: Option<(Link, String)>,
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let title = match self.status {
            StatusCode::NOT_FOUND => "Not found",
            StatusCode::METHOD_NOT_ALLOWED => "Not done that way",
            StatusCode::CONFLICT => "Not done",
            StatusCode::PRECONDITION_FAILED => "Something changed",
            StatusCode::FORBIDDEN => "Refused",
            StatusCode::GONE => "No longer open",
            StatusCode::UNAUTHORIZED => "Sign in",
            StatusCode::TOO_MANY_REQUESTS => "Wait a little",
            status if status.is_server_error() => "That did not work",
            _ => "That cannot be read",
        };
        let mut chrome = Chrome::bare(Section::None, title);
        chrome.keep_drafts = true;
        let said = Said(self.text.clone());
        let mut response = page_with(
            self.status,
            &ErrorPage {
                chrome,
                text: self.text,
                next: self.next,
            },
        );
        response.extensions_mut().insert(said);
        response
    }
}

/// What a page's handler answers.
pub type Answer = Result<Response, Trouble>;
