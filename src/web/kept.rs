//! Pages kept as they were answered, until anything is committed or the day ends; and made once for
//! all who ask for the same one at once. So is what programs read over the API.
//!
//! A page that is kept rests on nothing but its address, who reads it, the database and the day;
//! [`super::router`] lists those pages. An answer with any header beyond its kind and entity tag is not
//! kept, nor is what is asked on a condition. What is kept belongs to one [`Mark`], which every commit
//! changes, also that of another process. Press keys are the exception: each reader gets fresh
//! ones, so that a press of one is never taken for a repeat of another's. A page with a message is
//! neither kept, nor shared, nor taken from here; nor is anything that is not a page.
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

mod places;
mod underway;

use places::Places;
use underway::{Maker, Part, Underway};

/// The most that is kept in all, in bytes.
const MOST: usize = 8 * 1024 * 1024;
/// The largest page that is kept, in bytes.
const MOST_PAGE: usize = 512 * 1024;
/// The longest address or cookie of a page that is kept, in bytes.
const MOST_WORDS: usize = 500;
/// What keeping one page takes beside its bytes, about.
const OVERHEAD: usize = 300;

/// What a page rests on beside its address and its reader.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Moment {
    mark: Mark,
    today: Date,
    behind: Option<String>,
}

impl Moment {
    fn of(now: &Now) -> Self {
        Self {
            mark: now.mark,
            today: now.today,
            behind: now.behind.clone(),
        }
    }

    /// Whether a page whose reading began now shows all that somebody may know of who asked at
    /// another moment.
    fn serves(&self, asked: &Self) -> bool {
        self.mark >= asked.mark && self.today == asked.today && self.behind == asked.behind
    }
}

/// Whose page it is, under which address.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
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
        let conditions = [header::IF_NONE_MATCH, header::IF_MATCH, header::RANGE];
        if *request.method() != Method::GET
            || cookie(headers, Flash::COOKIE).is_some()
            || conditions.iter().any(|name| headers.contains_key(name))
        {
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
    /// What kind it is, and its entity tag.
    headers: HeaderMap,
    body: Bytes,
    keys: usize,
    places: Vec<(usize, usize)>,
}

impl Page {
    fn new(headers: HeaderMap, body: Bytes, keys: &[String]) -> Self {
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
            headers,
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
    moment: Option<Moment>,
    size: usize,
    all: HashMap<Of, Arc<Page>>,
}

impl Pages {
    /// Lets go of what is no longer so.
    fn turn(&mut self, asked: &Moment) {
        let kept = self.moment.as_ref();
        if !kept.is_some_and(|kept| kept.serves(asked)) {
            *self = Self {
                moment: Some(asked.clone()),
                ..Self::default()
            };
        }
    }

    fn keep(&mut self, begun: &Moment, of: Of, page: Arc<Page>) {
        // Something was committed while this page was made: it is old already.
        if self.moment.as_ref() != Some(begun) {
            return;
        }
        let size = of.size() + page.body.len() + OVERHEAD;
        if self.size + size > MOST {
            self.all.clear();
            self.size = 0;
        }
        if self.all.insert(of, page).is_none() {
            self.size += size;
        }
    }
}

/// What came of making a page for all who asked for it.
#[derive(Debug, Clone)]
enum Made {
    /// The page.
    Page(Arc<Page>),
    /// Something that is for each of them alone: an error, another address, a download.
    Alone,
}

/// What is kept, with the service that it is of.
#[derive(Debug, Clone)]
pub struct Kept {
    app: App,
    pages: Arc<Mutex<Pages>>,
    underway: Arc<Underway<Of, Made>>,
    places: Places,
}

impl Kept {
    /// Nothing yet.
    pub fn new(app: App) -> Self {
        Self {
            app,
            pages: Arc::default(),
            underway: Arc::default(),
            places: Places::new(),
        }
    }

    fn find(&self, asked: &Moment, of: &Of) -> Option<Arc<Page>> {
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.turn(asked);
        pages.all.get(of).cloned()
    }

    /// The page as others asked for it; nothing where it has to be made for this request alone.
    async fn of_others(
        &self,
        of: &Of,
        asked: &Moment,
    ) -> Result<Arc<Page>, Option<Maker<Of, Made>>> {
        loop {
            if let Some(page) = self.find(asked, of) {
                return Ok(page);
            }
            match self.underway.take_part(of, asked) {
                Part::Makes(maker) => return Err(Some(maker)),
                Part::Waits(waiting) => match waiting.made().await {
                    Some(Made::Page(page)) => return Ok(page),
                    Some(Made::Alone) => return Err(None),
                    // Who made it has gone.
                    None => {}
                },
            }
        }
    }

    /// Makes a page for all who ask for it meanwhile.
    async fn make(
        &self,
        maker: Maker<Of, Made>,
        mut now: Now,
        mut request: Request,
        next: Next,
    ) -> Response {
        let mut waited = false;
        let turn = if let Some(turn) = maker.turn_now() {
            turn
        } else {
            waited = true;
            maker.turn().await
        };
        let place = if let Some(place) = self.places.take_now() {
            place
        } else {
            waited = true;
            self.places.take().await
        };
        if waited {
            match self.app.now().await {
                Ok(later) => now = later,
                Err(_) => return next.run(request).await,
            }
        }
        maker.begin(Moment::of(&now));
        request.extensions_mut().insert(now.clone());
        let (response, keys) = place.work(with_keys(next.run(request))).await;
        let (response, page) = page_of(response, &keys).await;
        if let Some(page) = &page {
            self.keep(&now, maker.of().clone(), page.clone());
        }
        maker.end(page.map_or(Made::Alone, Made::Page));
        drop(turn);
        response
    }

    fn keep(&self, begun: &Now, of: Of, page: Arc<Page>) {
        // The day ended while this page was made.
        if self.app.clock().today(&begun.venue.zone) != begun.today {
            return;
        }
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.keep(&Moment::of(begun), of, page);
    }
}

/// The page in an answer that is one, and not too large to be kept; the answer beside it.
async fn page_of(response: Response, keys: &[String]) -> (Response, Option<Arc<Page>>) {
    let (parts, body) = response.into_parts();
    let small = (body.size_hint().exact()).is_some_and(|size| size <= MOST_PAGE as u64);
    if parts.status != StatusCode::OK || !only_a_page(&parts.headers) || !small {
        return (Response::from_parts(parts, body), None);
    }
    match to_bytes(body, MOST_PAGE).await {
        Ok(body) => {
            let page = Page::new(parts.headers.clone(), body.clone(), keys);
            let response = Response::from_parts(parts, Body::from(body));
            (response, Some(Arc::new(page)))
        }
        Err(_) => (StatusCode::INTERNAL_SERVER_ERROR.into_response(), None),
    }
}

/// The kinds of answers that are kept: pages, and what programs read.
const KINDS: [HeaderValue; 2] = [
    HeaderValue::from_static("text/html; charset=utf-8"),
    HeaderValue::from_static("application/json"),
];

/// Whether a response is one of those, and sets nothing where it is read.
fn only_a_page(headers: &HeaderMap) -> bool {
    let told = [header::CONTENT_TYPE, header::CONTENT_LENGTH, header::ETAG];
    (headers.get(header::CONTENT_TYPE)).is_some_and(|kind| KINDS.contains(kind))
        && headers.keys().all(|name| told.contains(name))
}

/// The layer round the pages that are kept.
pub async fn keep(State(kept): State<Kept>, request: Request, next: Next) -> Response {
    // Where the database does not answer, the page says so.
    let (Some(of), Ok(now)) = (Of::request(&request), kept.app.now().await) else {
        return next.run(request).await;
    };
    match kept.of_others(&of, &Moment::of(&now)).await {
        Ok(page) => match page.fresh() {
            Some(body) => (page.headers.clone(), body).into_response(),
            None => next.run(request).await,
        },
        Err(Some(maker)) => kept.make(maker, now, request, next).await,
        Err(None) => next.run(request).await,
    }
}

#[cfg(test)]
mod tests {
    use std::{
        collections::BTreeSet,
        sync::atomic::{AtomicUsize, Ordering},
        time::Duration,
    };

    use axum::{
        Router,
        http::Uri,
        middleware::from_fn_with_state,
        response::{Html, Redirect},
    };
    use tokio::{sync::Semaphore, task::JoinHandle};
    use tower::ServiceExt as _;

    use super::*;
    use crate::{
        clock::Clock,
        config::{Backups, Config},
        db::{self, Db},
        model::text::Name,
    };

    async fn now(db: &Db) -> Moment {
        let seen = db.changed(None).await.unwrap().unwrap();
        Moment {
            mark: seen.mark,
            today: jiff::civil::date(2026, 3, 5),
            behind: None,
        }
    }

    fn page(text: &str) -> Arc<Page> {
        Arc::new(Page::new(HeaderMap::new(), text.to_owned().into(), &[]))
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
            pages.keep(&first, of(number), page(&"x".repeat(50_000)));
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
        pages.keep(&first, of(1), page("old"));
        assert!(pages.all.is_empty());
        pages.keep(&second, of(1), page("new"));
        // Who asked before the commit may have what is newer.
        pages.turn(&first);
        assert_eq!(pages.all.len(), 1);
        for later in [
            Moment {
                today: jiff::civil::date(2026, 3, 6),
                ..second.clone()
            },
            Moment {
                behind: Some("5 Mar 2026, 14:00".to_owned()),
                ..second.clone()
            },
        ] {
            pages.turn(&second);
            pages.keep(&second, of(1), page("new"));
            assert_eq!(pages.all.len(), 1);
            pages.turn(&later);
            assert!(pages.all.is_empty(), "{later:?}");
        }
    }

    #[test]
    fn each_reader_gets_keys_of_their_own_and_equal_ones_stay_equal() {
        let (one, two) = (press_key(), press_key());
        let body = format!("<p>\"{one}\" x{two} \"{two}\" \"{one}\"");
        let keys = [one.clone(), two.clone()];
        let page = Page::new(HeaderMap::new(), body.clone().into(), &keys);
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

    /// A service of pages that wait to be let through, and count how often they are made.
    struct Service {
        app: App,
        router: Router,
        made: Arc<AtomicUsize>,
        gate: Arc<Semaphore>,
        _folder: tempfile::TempDir,
    }

    impl Service {
        async fn new() -> Self {
            let folder = tempfile::tempdir().unwrap();
            let config = Config {
                data: folder.path().to_owned(),
                listen: ([127, 0, 0, 1], 0).into(),
                sign_in: false,
                behind_https: false,
                tls: None,
                within: false,
                backups: Backups::default(),
                hosts: Vec::new(),
            };
            let day = jiff::civil::date(2026, 3, 5);
            let app = App::open(config, Clock::at(day)).await.unwrap();
            let (made, gate) = (Arc::new(AtomicUsize::new(0)), Arc::new(Semaphore::new(0)));
            let answer = {
                let (app, made, gate) = (app.clone(), made.clone(), gate.clone());
                move |uri: Uri| {
                    let (app, made, gate) = (app.clone(), made.clone(), gate.clone());
                    async move {
                        let number = made.fetch_add(1, Ordering::SeqCst) + 1;
                        let mut tx = app.db().read().await.unwrap();
                        let revision = db::venue::revision(&mut tx).await.unwrap();
                        drop(tx);
                        gate.acquire().await.unwrap().forget();
                        let text = format!("{uri} {number} {revision} {}", press_key());
                        match uri.path() {
                            "/away" => Redirect::to("/page").into_response(),
                            "/wrong" => {
                                (StatusCode::UNPROCESSABLE_ENTITY, Html(text)).into_response()
                            }
                            "/sets" => ([(header::SET_COOKIE, "a=b")], Html(text)).into_response(),
                            "/json" => {
                                let kind = [(header::CONTENT_TYPE, "application/json")];
                                let tag = [(header::ETAG, "\"7\"")];
                                (kind, tag, text).into_response()
                            }
                            "/plain" => text.into_response(),
                            _ => Html(text).into_response(),
                        }
                    }
                }
            };
            let router = Router::new()
                .fallback(answer)
                .layer(from_fn_with_state(Kept::new(app.clone()), keep));
            Self {
                app,
                router,
                made,
                gate,
                _folder: folder,
            }
        }

        /// Asks in a task of its own.
        fn ask(&self, path: &str, cookie: &str, signed: Option<Signed>) -> JoinHandle<Vec<String>> {
            let mut request = Request::get(path).body(Body::empty()).unwrap();
            let cookie = HeaderValue::from_str(cookie).unwrap();
            request.headers_mut().insert(header::COOKIE, cookie);
            if let Some(signed) = signed {
                request.extensions_mut().insert(signed);
            }
            let router = self.router.clone();
            tokio::spawn(async move {
                let answer = router.oneshot(request).await.unwrap();
                let body = to_bytes(answer.into_body(), MOST).await.unwrap();
                let text = String::from_utf8(body.to_vec()).unwrap();
                text.split(' ').map(ToOwned::to_owned).collect()
            })
        }

        fn made(&self) -> usize {
            self.made.load(Ordering::SeqCst)
        }

        /// Waits until so many are being made or were.
        async fn until_made(&self, number: usize) {
            for _ in 0..2000 {
                if self.made() == number {
                    return;
                }
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
            panic!("{} were made, not {number}", self.made());
        }

        async fn commit(&self) {
            self.app.db().write().await.unwrap().commit().await.unwrap();
        }
    }

    fn signed(who: &str, role: Role) -> Signed {
        Signed {
            who: Name::parse(who).unwrap(),
            role,
            session: None,
            hand: None,
        }
    }

    #[tokio::test]
    async fn a_page_is_made_once_for_all_who_wait_and_again_for_who_asked_after_a_commit() {
        let service = Service::new().await;
        let mut first = vec![service.ask("/page", "", None)];
        service.until_made(1).await;
        first.extend((0..20).map(|_| service.ask("/page", "", None)));
        tokio::time::sleep(Duration::from_millis(30)).await;
        service.commit().await;
        let second: Vec<_> = (0..20).map(|_| service.ask("/page", "", None)).collect();
        tokio::time::sleep(Duration::from_millis(30)).await;
        assert_eq!(service.made(), 1, "the next is made after this one");
        service.gate.add_permits(2);
        let mut keys = BTreeSet::new();
        let mut revisions = Vec::new();
        for (asked, number) in [(first, "1"), (second, "2")] {
            for answer in asked {
                let answer = answer.await.unwrap();
                assert_eq!(answer[1], number);
                revisions.push(answer[2].parse::<i64>().unwrap());
                assert!(keys.insert(answer[3].clone()), "a key is handed out twice");
            }
        }
        assert!(revisions[..21].iter().all(|it| *it == revisions[0]));
        assert!(revisions[21..].iter().all(|it| *it == revisions[0] + 1));
        assert_eq!(service.made(), 2);
        // And kept, until something is committed.
        assert_eq!(service.ask("/page", "", None).await.unwrap()[1], "2");
        service.commit().await;
        service.gate.add_permits(1);
        assert_eq!(service.ask("/page", "", None).await.unwrap()[1], "3");
    }

    #[tokio::test]
    async fn no_two_readers_addresses_or_answers_that_are_no_page_share() {
        let service = Service::new().await;
        let apart = [
            service.ask("/page", "", None),
            service.ask("/page?x", "", None),
            service.ask("/page", "who=QWRh", None),
            service.ask("/page", "who=Qm8", None),
            service.ask("/page", "", Some(signed("Ada", Role::Keep))),
            service.ask("/page", "", Some(signed("Ada", Role::Work))),
            service.ask("/page", "", Some(signed("Bo", Role::Work))),
            // One with a message for each.
            service.ask("/page", "flash=e30", None),
            service.ask("/page", "flash=e30", None),
        ];
        service.until_made(9).await;
        service.gate.add_permits(9);
        let mut numbers = BTreeSet::new();
        for answer in apart {
            assert!(numbers.insert(answer.await.unwrap()[1].clone()));
        }
        for path in ["/away", "/wrong", "/sets", "/plain"] {
            let before = service.made();
            let asked: Vec<_> = (0..4).map(|_| service.ask(path, "", None)).collect();
            service.gate.add_permits(4);
            for answer in asked {
                answer.await.unwrap();
            }
            assert_eq!(service.made(), before + 4, "{path}");
        }
    }

    #[tokio::test]
    async fn who_waits_makes_what_its_maker_left() {
        let service = Service::new().await;
        let left = service.ask("/page", "", None);
        service.until_made(1).await;
        let waits: Vec<_> = (0..5).map(|_| service.ask("/page", "", None)).collect();
        tokio::time::sleep(Duration::from_millis(30)).await;
        left.abort();
        service.until_made(2).await;
        service.gate.add_permits(1);
        for answer in waits {
            assert_eq!(answer.await.unwrap()[1], "2");
        }
    }

    #[tokio::test]
    async fn what_programs_read_is_kept_with_its_tag_and_not_where_it_is_asked_on_a_condition() {
        let service = Service::new().await;
        service.gate.add_permits(3);
        let ask = async |condition: Option<&'static str>| {
            let mut request = Request::get("/json").body(Body::empty()).unwrap();
            if let Some(tag) = condition {
                let tag = HeaderValue::from_static(tag);
                request.headers_mut().insert(header::IF_NONE_MATCH, tag);
            }
            let answer = service.router.clone().oneshot(request).await.unwrap();
            assert_eq!(answer.headers()[header::CONTENT_TYPE], "application/json");
            assert_eq!(answer.headers()[header::ETAG], "\"7\"");
            service.made()
        };
        assert_eq!(ask(None).await, 1);
        assert_eq!(ask(None).await, 1);
        assert_eq!(ask(Some("\"7\"")).await, 2);
        service.commit().await;
        assert_eq!(ask(None).await, 3);
    }
}
