//! Pages kept as they were answered, until anything is committed or the day ends.
//!
//! A page that is kept rests on nothing but its address, who reads it, the database and the day;
//! [`super::router`] lists those pages. What is kept belongs to one [`Mark`], which every commit
//! changes, also that of another process. Press keys are the exception: each reader gets fresh
//! ones, so that a press of one is never taken for a repeat of another's. A page with a message is
//! neither kept nor taken from here.
//!
//! Browsers still keep nothing (`no-store`): going back in one would show the page as it was before
//! a change.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use axum::{
    body::{Body, Bytes, HttpBody as _, to_bytes},
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header},
    middleware::Next,
    response::{IntoResponse as _, Response},
};

use super::{
    cx::{WHO_COOKIE, cookie},
    gate::Signed,
    page::{Flash, KEY_LENGTH, press_key, with_keys},
};
use crate::{
    app::{App, Now},
    db::Mark,
    model::person::Role,
    units::Date,
};

/// The most that is kept in all, in bytes.
const MOST: usize = 8 * 1024 * 1024;
/// The largest page that is kept, in bytes.
const MOST_PAGE: usize = 512 * 1024;
/// The longest address or cookie of a page that is kept, in bytes.
const MOST_WORDS: usize = 500;
/// What keeping one page takes beside its bytes, about.
const OVERHEAD: usize = 300;

/// Whose page it is, under which address.
#[derive(Debug, PartialEq, Eq, Hash)]
struct Of {
    address: String,
    who: Option<String>,
    /// What they may do, where people sign in.
    role: Option<Role>,
}

impl Of {
    /// `None` where the answer is for this request only.
    fn request(request: &Request) -> Option<Self> {
        let headers = request.headers();
        if *request.method() != Method::GET || cookie(headers, Flash::COOKIE).is_some() {
            return None;
        }
        let signed = request.extensions().get::<Signed>();
        let of = Self {
            address: request.uri().path_and_query()?.as_str().to_owned(),
            who: match signed {
                Some(signed) => Some(signed.who.to_string()),
                None => cookie(headers, WHO_COOKIE).map(ToOwned::to_owned),
            },
            role: signed.map(|signed| signed.role),
        };
        (of.size() <= MOST_WORDS).then_some(of)
    }

    fn size(&self) -> usize {
        self.address.len() + self.who.as_ref().map_or(0, String::len)
    }
}

/// A page's bytes, and where in them which press key stands.
#[derive(Debug)]
struct Page {
    body: Bytes,
    keys: usize,
    places: Vec<(usize, usize)>,
}

impl Page {
    fn new(body: Bytes, keys: &[String]) -> Self {
        let which: HashMap<&[u8], usize> = (keys.iter().enumerate())
            .map(|(which, key)| (key.as_bytes(), which))
            .collect();
        let mut places = Vec::new();
        let mut at = 0;
        // A key stands in quotes: it is a word of its own.
        for word in body.split(|byte| !byte.is_ascii_alphanumeric()) {
            if word.len() == KEY_LENGTH
                && let Some(which) = which.get(word)
            {
                places.push((at, *which));
            }
            at += word.len() + 1;
        }
        Self {
            keys: keys.len(),
            places,
            body,
        }
    }

    /// The bytes with fresh keys; `None` where there is no randomness for them.
    fn fresh(&self) -> Option<Bytes> {
        if self.places.is_empty() {
            return Some(self.body.clone());
        }
        let keys: Vec<String> = (0..self.keys).map(|_| press_key()).collect();
        let mut body = self.body.to_vec();
        for (at, which) in &self.places {
            let key = keys.get(*which)?.as_bytes();
            body.get_mut(*at..at + KEY_LENGTH)?
                .copy_from_slice(key.get(..KEY_LENGTH)?);
        }
        Some(body.into())
    }
}

#[derive(Debug, Default)]
struct Pages {
    state: Option<(Mark, Date)>,
    size: usize,
    all: HashMap<Of, Arc<Page>>,
}

impl Pages {
    /// Lets go of what is no longer so.
    fn turn(&mut self, now: &Now) {
        let state = Some((now.mark, now.today));
        if self.state != state {
            *self = Self {
                state,
                ..Self::default()
            };
        }
    }

    fn keep(&mut self, now: &Now, of: Of, page: Page) {
        // Something was committed while this page was made: it is old already.
        if self.state != Some((now.mark, now.today)) {
            return;
        }
        let size = of.size() + page.body.len() + OVERHEAD;
        if self.size + size > MOST {
            self.all.clear();
            self.size = 0;
        }
        if self.all.insert(of, Arc::new(page)).is_none() {
            self.size += size;
        }
    }
}

/// What is kept, with the service that it is of.
#[derive(Debug, Clone)]
pub struct Kept {
    app: App,
    pages: Arc<Mutex<Pages>>,
}

impl Kept {
    /// Nothing yet.
    pub fn new(app: App) -> Self {
        Self {
            app,
            pages: Arc::default(),
        }
    }

    fn find(&self, now: &Now, of: &Of) -> Option<Arc<Page>> {
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.turn(now);
        pages.all.get(of).cloned()
    }

    async fn take(&self, now: &Now, of: Of, response: Response, keys: &[String]) -> Response {
        let (parts, body) = response.into_parts();
        let small = body
            .size_hint()
            .exact()
            .is_some_and(|size| size <= MOST_PAGE as u64);
        // The day ended while this page was made.
        let late = self.app.clock().today(&now.venue.zone) != now.today;
        if parts.status != StatusCode::OK || !only_a_page(&parts.headers) || !small || late {
            return Response::from_parts(parts, body);
        }
        let Ok(body) = to_bytes(body, MOST_PAGE).await else {
            return StatusCode::INTERNAL_SERVER_ERROR.into_response();
        };
        let page = Page::new(body.clone(), keys);
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.keep(now, of, page);
        drop(pages);
        Response::from_parts(parts, Body::from(body))
    }
}

const HTML: HeaderValue = HeaderValue::from_static("text/html; charset=utf-8");

/// Whether a response is a page that sets nothing in the browser.
fn only_a_page(headers: &HeaderMap) -> bool {
    headers.get(header::CONTENT_TYPE) == Some(&HTML)
        && headers
            .keys()
            .all(|name| matches!(*name, header::CONTENT_TYPE | header::CONTENT_LENGTH))
}

/// The layer round the pages that are kept.
pub async fn keep(State(kept): State<Kept>, mut request: Request, next: Next) -> Response {
    // Where the database does not answer, the page says so.
    let (Some(of), Ok(now)) = (Of::request(&request), kept.app.now().await) else {
        return next.run(request).await;
    };
    if let Some(body) = kept.find(&now, &of).and_then(|page| page.fresh()) {
        return ([(header::CONTENT_TYPE, HTML)], body).into_response();
    }
    request.extensions_mut().insert(now.clone());
    let (response, keys) = with_keys(next.run(request)).await;
    kept.take(&now, of, response, &keys).await
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::{MOST, Of, Page, Pages};
    use crate::{app::Now, db::Db, web::page::press_key};

    async fn now(db: &Db) -> Now {
        let seen = db.changed(None).await.unwrap().unwrap();
        Now {
            mark: seen.mark,
            venue: Arc::new(seen.venue),
            today: jiff::civil::date(2026, 3, 5),
            behind: None,
        }
    }

    fn of(number: usize) -> Of {
        Of {
            address: format!("/log?before={number}"),
            who: None,
            role: None,
        }
    }

    #[tokio::test]
    async fn no_more_is_kept_than_fits_and_nothing_of_another_day_or_state() {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(folder.path()).await.unwrap();
        let first = now(&db).await;
        let mut pages = Pages::default();
        pages.turn(&first);
        for number in 0..1000 {
            pages.keep(
                &first,
                of(number),
                Page::new(vec![b'x'; 50_000].into(), &[]),
            );
            let kept: usize = pages.all.values().map(|page| page.body.len()).sum();
            assert!(kept <= pages.size && pages.size <= MOST);
            assert!(pages.all.contains_key(&of(number)));
        }
        let size = pages.size;
        pages.turn(&first);
        assert_eq!(pages.size, size);

        db.write().await.unwrap().commit().await.unwrap();
        let second = now(&db).await;
        pages.turn(&second);
        assert!(pages.all.is_empty() && pages.size == 0);
        // Begun before the commit, done after it.
        pages.keep(&first, of(1), Page::new(b"old".as_slice().into(), &[]));
        assert!(pages.all.is_empty());
        pages.keep(&second, of(1), Page::new(b"new".as_slice().into(), &[]));
        pages.turn(&Now {
            today: jiff::civil::date(2026, 3, 6),
            ..second
        });
        assert!(pages.all.is_empty());
    }

    #[test]
    fn each_reader_gets_keys_of_their_own_and_equal_ones_stay_equal() {
        let (one, two) = (press_key(), press_key());
        let body = format!("<p>\"{one}\" x{two} \"{two}\" \"{one}\"");
        let page = Page::new(body.clone().into(), &[one.clone(), two.clone()]);
        let fresh = String::from_utf8(page.fresh().unwrap().to_vec()).unwrap();
        let words: Vec<&str> = fresh.split('"').collect();
        assert_eq!(words[1], words[5]);
        assert!(![one.as_str(), two.as_str()].contains(&words[1]));
        assert!(![one.as_str(), two.as_str(), words[1]].contains(&words[3]));
        // Within a longer word it is no key.
        assert_eq!(words[2], format!(" x{two} "));
        assert_eq!(words[0], "<p>");
        assert_eq!(fresh.len(), body.len());
    }
}
