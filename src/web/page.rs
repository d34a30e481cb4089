//! The frame of a page, the message line, and a template turned into a response.

use std::cell::RefCell;

use askama::Template;
use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use serde::{Deserialize, Serialize};

use super::{
    asset,
    link::{self, Link},
};
use crate::{
    model::{
        id::{DesignId, MovementId},
        person::Role,
    },
    stock::{StockError, undo::LATER_FIRST},
};

/// The entries of the main navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "named as their pages")]
pub enum Section {
    Cupboard,
    Fixtures,
    Designs,
    Shopping,
    Calendar,
    Log,
    Bench,
    Settings,
    None,
}

/// One entry of the main navigation.
#[derive(Debug, Clone)]
pub struct NavItem {
    /// Where it leads.
    pub href: Link,
    /// Its word.
    pub label: &'static str,
    /// Whether the page belongs to it.
    pub current: bool,
}

/// How a message reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "named as their class in the style sheet")]
pub enum FlashKind {
    Good,
    Warn,
    Stop,
}

impl std::fmt::Display for FlashKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Good => "good",
            Self::Warn => "warn",
            Self::Stop => "stop",
        })
    }
}

impl PartialEq<&str> for FlashKind {
    fn eq(&self, other: &&str) -> bool {
        self.to_string() == **other
    }
}

/// A message shown once, on the page after the change.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Flash {
    /// How it reads.
    pub kind: FlashKind,
    /// The sentence.
    pub text: String,
    /// The movement that a button beside it undoes.
    pub undoes: Option<MovementId>,
    /// The set whose next state a link beside it leads to.
    #[serde(default)]
    pub toward: Option<DesignId>,
    /// Whether a link beside it leads to the log.
    #[serde(default)]
    pub log: bool,
    /// What followed from it, line by line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<String>,
}

/// What all lines of a message may weigh, in bytes: a browser drops a cookie above 4096 (RFC 6265,
/// 6.1), and a line grows by a third on its way into one.
const FLASH_LINES: usize = 1800;

/// More lines than these are folded.
const FLASH_OPEN: usize = 3;

impl Flash {
    /// It went well.
    pub fn good(text: impl Into<String>) -> Self {
        Self {
            kind: FlashKind::Good,
            text: text.into(),
            undoes: None,
            toward: None,
            log: false,
            lines: Vec::new(),
        }
    }

    /// It went, but look.
    pub fn warn(text: impl Into<String>) -> Self {
        Self {
            kind: FlashKind::Warn,
            text: text.into(),
            undoes: None,
            toward: None,
            log: false,
            lines: Vec::new(),
        }
    }

    /// It did not go.
    pub fn stop(text: impl Into<String>) -> Self {
        Self {
            kind: FlashKind::Stop,
            text: text.into(),
            undoes: None,
            toward: None,
            log: false,
            lines: Vec::new(),
        }
    }

    /// It was refused; where something later is to be undone first, a link leads to it.
    pub fn refused(why: &StockError) -> Self {
        let text = why.to_string();
        Self {
            log: text.ends_with(LATER_FIRST),
            ..Self::stop(text)
        }
    }

    /// Offers the undo of a movement.
    pub fn undo(mut self, movement: MovementId) -> Self {
        self.undoes = Some(movement);
        self
    }

    /// Where the undo is posted.
    pub fn undo_link(&self) -> Option<Link> {
        self.undoes.map(Link::LogUndo)
    }

    /// Leads to what comes next for a set.
    pub const fn toward(mut self, design: DesignId) -> Self {
        self.toward = Some(design);
        self
    }

    /// Adds what followed for a set that holds things, if anything did.
    pub fn followed(mut self, lines: Vec<String>) -> Self {
        if lines.is_empty() {
            return self;
        }
        self.text
            .push_str(" It is reserved, so plan and holds followed.");
        let (all, mut weight) = (lines.len(), 0);
        for line in lines {
            weight += line.len();
            if weight > FLASH_LINES {
                break;
            }
            self.lines.push(line);
        }
        if self.lines.len() < all {
            let more = all - self.lines.len();
            self.lines.push(format!("And {more} more."));
        }
        self
    }

    /// What folds its lines says, where they are folded.
    pub fn fold(&self) -> Option<String> {
        (self.lines.len() > FLASH_OPEN).then(|| "What followed".to_owned())
    }

    /// The set's page, if the message leads there.
    pub fn next_link(&self) -> Option<Link> {
        self.toward.map(Link::Design)
    }

    /// The log, if the message leads there.
    pub fn log_link(&self) -> Option<Link> {
        self.log.then_some(Link::Log)
    }

    /// The cookie's name.
    pub const COOKIE: &str = "flash";

    /// As a cookie's value.
    pub fn to_cookie(&self) -> String {
        URL_SAFE_NO_PAD.encode(serde_json::to_vec(self).unwrap_or_default())
    }

    /// From a cookie's value; nothing if it is not one of ours.
    pub fn from_cookie(value: &str) -> Option<Self> {
        serde_json::from_slice(&URL_SAFE_NO_PAD.decode(value).ok()?).ok()
    }
}

/// What the frame of every page shows (see `templates/base.html`).
#[derive(Debug, Clone)]
#[expect(missing_docs, reason = "explained at the head of templates/base.html")]
pub struct Chrome {
    pub title: String,
    pub venue: String,
    pub who: Option<String>,
    pub people: Link,
    pub home: Link,
    pub find: Link,
    pub search: String,
    pub nav: Vec<NavItem>,
    pub css: &'static str,
    pub js: &'static str,
    pub live: &'static str,
    pub events: Link,
    pub icon: &'static str,
    pub role: Option<Role>,
    pub shut: bool,
    pub keep_drafts: bool,
    pub in_sample: bool,
    pub own: Link,
    pub sample_book: Link,
    pub flash: Option<Flash>,
    pub behind: Option<String>,
}

impl Chrome {
    /// Whether who reads may change nothing.
    pub fn only_looks(&self) -> bool {
        self.role == Some(Role::Look)
    }

    /// Whether who reads may change everything.
    pub fn keeps(&self) -> bool {
        self.role.is_none_or(|role| role == Role::Keep)
    }

    /// The frame without a venue or person: for errors that come before either is known.
    pub fn bare(section: Section, title: impl Into<String>) -> Self {
        let item = |href, label, of| NavItem {
            href,
            label,
            current: of == section,
        };
        Self {
            title: title.into(),
            venue: String::new(),
            who: None,
            people: Link::Who,
            home: Link::Home,
            find: Link::Search(String::new()),
            search: String::new(),
            nav: vec![
                item(Link::Cupboard, "Cupboard", Section::Cupboard),
                item(Link::Fixtures, "Fixtures", Section::Fixtures),
                item(Link::Designs, "Designs", Section::Designs),
                item(Link::Shopping, "Shopping", Section::Shopping),
                item(Link::Calendar, "Calendar", Section::Calendar),
                item(Link::Log, "Log", Section::Log),
                item(Link::Bench, "Bench", Section::Bench),
                item(Link::Settings, "Settings", Section::Settings),
            ],
            css: &asset::STYLE,
            js: &asset::SCRIPT,
            live: &asset::LIVE,
            events: Link::Events,
            icon: &asset::ICON,
            role: None,
            shut: false,
            keep_drafts: false,
            in_sample: !link::book().is_empty(),
            own: Link::Own,
            sample_book: Link::SampleBook,
            flash: None,
            behind: None,
        }
    }
}

/// How long a press key is, in bytes.
pub const KEY_LENGTH: usize = 32;

tokio::task_local! {
    static HANDED_OUT: RefCell<Vec<String>>;
}

/// A fresh press key: 128 random bits in hexadecimal.
pub fn press_key() -> String {
    let mut bytes = [0_u8; KEY_LENGTH / 2];
    // Without randomness the key is empty, and the press is carried out without one.
    if getrandom::fill(&mut bytes).is_err() {
        return String::new();
    }
    let key = hex(&bytes);
    // Noted where somebody asked for it, see `with_keys`.
    let _ = HANDED_OUT.try_with(|keys| keys.borrow_mut().push(key.clone()));
    key
}

/// What the work gives, and the press keys that were handed out in it.
pub async fn with_keys<T>(work: impl Future<Output = T>) -> (T, Vec<String>) {
    HANDED_OUT
        .scope(RefCell::default(), async {
            let done = work.await;
            (done, HANDED_OUT.with(RefCell::take))
        })
        .await
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
            text.extend(
                [byte >> 4, byte & 15].map(|half| char::from_digit(half.into(), 16).unwrap_or('0')),
            );
            text
        })
}

/// A page with status 200.
pub fn page(template: &impl Template) -> Response {
    page_with(StatusCode::OK, template)
}

/// A page with another status, such as 422 for a refused form.
pub fn page_with(status: StatusCode, template: &impl Template) -> Response {
    match template.render() {
        Ok(html) => (status, Html(html)).into_response(),
        Err(why) => {
            tracing::error!(%why, "a template failed");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// Leads on after a change (303).
pub fn go(link: &Link) -> Response {
    Redirect::to(&link.to_string()).into_response()
}

/// Leads on after a change, with a message shown once.
pub fn go_with(link: &Link, flash: &Flash) -> Response {
    let mut response = go(link);
    let cookie = format!(
        "{}={}; Path=/; HttpOnly; SameSite=Lax; Max-Age=60",
        Flash::COOKIE,
        flash.to_cookie()
    );
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
    response
}
