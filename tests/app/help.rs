//! The service as its visitors meet it: a real port, a real database file in a temporary folder,
//! a clock that stands, and a browser without scripting.
//!
//! ```ignore
//! #[tokio::test]
//! async fn a_name_is_taken_for_this_browser() {
//!     let app = TestApp::new().await;                       // empty database, 5 March 2026
//!     let page = app.get("/who").await;                     // never follows a redirect
//!     let page = page.form("form.form").set("name", "Ada").send(&app).await;
//!     assert_eq!(page.status, 303);
//!     let page = app.follow(&page).await;
//!     assert!(page.text("footer").contains("Ada"));
//! }
//! ```
//! `form` takes over what the page holds (press keys and versions too), as a browser would;
//! `post` sends fields of one's own; `json` and `request` speak to the API. `other_browser` is a
//! second person, with cookies of their own. `clock().set(day)` goes to another day.

use std::{
    collections::BTreeMap,
    ops::Deref,
    sync::{Arc, Mutex},
};

use scraper::{ElementRef, Html, Selector};
use serde_json::Value;
use tapewright::{
    app::{self, App, Running},
    clock::Clock,
    config::Config,
    db::Db,
    model::{
        person::{Password, Role},
        text::Name,
    },
    people::roll,
};
use tempfile::TempDir;

use crate::twice::Doubled;

/// The keeper of a service where people sign in.
pub const KEEPER: &str = "Ada";
/// Everybody's password.
pub const PASSWORD: &str = "lamp over the pond";

async fn add_person(app: &App, name: &str, role: Role) {
    let word = |text: &str| Name::parse(text).expect("a name");
    let password = Password::new(PASSWORD).expect("a password");
    let (db, now) = (app.db(), app.clock().now_ms());
    roll::set(
        db,
        app.doors(),
        &word("test"),
        &word(name),
        role,
        password,
        now,
    )
    .await
    .expect("somebody is added");
}

/// A running service on a database of its own.
pub struct TestApp {
    running: Running,
    clock: Clock,
    browser: Browser,
    folder: TempDir,
}

impl TestApp {
    /// Starts on an empty database, at 5 March 2026.
    pub async fn new() -> Self {
        Self::with(|_| {}).await
    }

    /// Starts with a changed configuration.
    pub async fn with(change: impl FnOnce(&mut Config)) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut config = Config {
            data: folder.path().join("data"),
            listen: ([127, 0, 0, 1], 0).into(),
            sign_in: false,
            behind_https: false,
            tls: None,
            within: false,
            backups: tapewright::config::Backups::default(),
            hosts: Vec::new(),
        };
        change(&mut config);
        let clock = Clock::at(jiff::civil::date(2026, 3, 5));
        let app = App::open(config, clock.clone())
            .await
            .expect("the database opens");
        if app.config().needs_sign_in() {
            add_person(&app, KEEPER, Role::Keep).await;
        }
        let running = app::start(app).await.expect("the service starts");
        let mut browser = Browser::new(format!("http://{}", running.address));
        browser.doubled = Doubled::begin(running.app().db());
        Self {
            running,
            clock,
            browser,
            folder,
        }
    }

    /// Starts where people sign in, with one keeper.
    pub async fn guarded() -> Self {
        Self::with(|config| config.sign_in = true).await
    }

    /// Adds somebody who signs in by [`PASSWORD`].
    pub async fn add_person(&self, name: &str, role: Role) {
        add_person(self.running.app(), name, role).await;
    }

    /// The service itself.
    pub fn app(&self) -> &App {
        self.running.app()
    }

    /// The clock, to go to another day.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// The database, to look where no page does.
    pub fn db(&self) -> &Db {
        self.running.app().db()
    }

    /// A folder that goes away with the test.
    pub fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }

    /// A browser of another person.
    pub fn other_browser(&self) -> Browser {
        Browser {
            doubled: self.browser.doubled.clone(),
            ..Browser::new(self.browser.base.clone())
        }
    }
}

impl Deref for TestApp {
    type Target = Browser;
    fn deref(&self) -> &Browser {
        &self.browser
    }
}

/// A browser without scripting: it keeps cookies, says where a form came from, and follows
/// nothing by itself.
pub struct Browser {
    agent: ureq::Agent,
    base: String,
    cookies: Arc<Mutex<BTreeMap<String, String>>>,
    /// Where everything is sent twice.
    doubled: Option<Doubled>,
}

impl Browser {
    fn new(base: String) -> Self {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .allow_non_standard_methods(true)
            .build()
            .into();
        Self {
            agent,
            base,
            cookies: Arc::default(),
            doubled: None,
        }
    }

    /// Signs in, and fails the test where that is refused.
    pub async fn sign_in(&self, name: &str) {
        let page = self.try_sign_in(name, PASSWORD).await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
    }

    /// Tries to sign in.
    pub async fn try_sign_in(&self, name: &str, password: &str) -> Page {
        let page = self.get("/sign-in").await;
        let form = page.form("main form");
        form.set("sign-in-name", name)
            .set("sign-in-password", password)
            .send(self)
            .await
    }

    /// `http://address:port`.
    pub fn base(&self) -> &str {
        &self.base
    }

    /// Opens a page.
    pub async fn get(&self, path: impl ToString) -> Page {
        self.request("GET", path, &[], Vec::new()).await
    }

    /// Sends a form with fields of one's own.
    pub async fn post(&self, path: impl ToString, fields: &[(&str, &str)]) -> Page {
        let mut fields: Vec<_> = fields
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect();
        if let Some(doubled) = &self.doubled
            && doubled.keyed("POST", &path.to_string())
            && fields.iter().all(|(name, _)| name != "press")
        {
            fields.push(("press".to_owned(), doubled.key()));
        }
        self.send_form("POST", path, &fields).await
    }

    /// Opens where an answer leads.
    pub async fn follow(&self, page: &Page) -> Page {
        let to = page.header("location").unwrap_or_else(|| {
            panic!(
                "{} {} leads nowhere: {}",
                page.status,
                page.path,
                page.text("main")
            )
        });
        self.get(to.to_owned()).await
    }

    /// Sends JSON (or nothing, for `Value::Null`) with headers of one's own.
    pub async fn json(
        &self,
        method: &str,
        path: impl ToString,
        headers: &[(&str, &str)],
        body: &Value,
    ) -> Page {
        let mut all = vec![("accept", "application/json")];
        let body = if body.is_null() {
            Vec::new()
        } else {
            all.push(("content-type", "application/json"));
            body.to_string().into_bytes()
        };
        all.extend_from_slice(headers);
        self.request(method, path, &all, body).await
    }

    /// Sends anything at all; twice, where everything is.
    pub async fn request(
        &self,
        method: &str,
        path: impl ToString,
        headers: &[(&str, &str)],
        body: Vec<u8>,
    ) -> Page {
        let path = path.to_string();
        let doubled = self.doubled.as_ref();
        let Some(doubled) = doubled.filter(|it| it.keyed(method, &path)) else {
            return self.once(method, path, headers, body).await;
        };
        let key = doubled.key();
        let mut headers = headers.to_vec();
        if headers.iter().all(|(name, _)| *name != "idempotency-key") {
            headers.push(("idempotency-key", &key));
        }
        let before = doubled.before().await;
        let first = self
            .once(method, path.clone(), &headers, body.clone())
            .await;
        let again = self.once(method, path, &headers, body);
        doubled.compare(method, before, &first, again).await;
        first
    }

    async fn once(
        &self,
        method: &str,
        path: String,
        headers: &[(&str, &str)],
        body: Vec<u8>,
    ) -> Page {
        let mut request = ureq::http::Request::builder()
            .method(method)
            .uri(format!("{}{path}", self.base));
        let cookies = self.cookie_header();
        if !cookies.is_empty() {
            request = request.header("cookie", cookies);
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let agent = self.agent.clone();
        let jar = Arc::clone(&self.cookies);
        tokio::task::spawn_blocking(move || {
            // A method that carries no body must not be given one, not even an empty one.
            let answer = if body.is_empty() {
                agent.run(request.body(()).expect("a request"))
            } else {
                agent.run(request.body(body).expect("a request"))
            };
            let mut answer = answer.unwrap_or_else(|why| panic!("no answer from {path}: {why}"));
            keep_cookies(&jar, answer.headers());
            let bytes = answer
                .body_mut()
                .with_config()
                .limit(64 * 1024 * 1024)
                .read_to_vec()
                .expect("a body");
            let kind = answer.headers().get("content-type");
            let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or("text");
            let is_text = !["application/zip", "application/vnd.sqlite3"].contains(&kind);
            Page {
                status: answer.status().as_u16(),
                path,
                headers: answer.headers().clone(),
                body: if is_text {
                    String::from_utf8(bytes).expect("text")
                } else {
                    String::from_utf8_lossy(&bytes).into_owned()
                },
            }
        })
        .await
        .expect("the client ends")
    }

    async fn send_form(
        &self,
        method: &str,
        path: impl ToString,
        fields: &[(String, String)],
    ) -> Page {
        let encode = |text: &str| {
            percent_encoding::utf8_percent_encode(text, percent_encoding::NON_ALPHANUMERIC)
                .to_string()
        };
        let body = fields
            .iter()
            .map(|(name, value)| format!("{}={}", encode(name), encode(value)))
            .collect::<Vec<_>>()
            .join("&");
        if method == "GET" {
            return self.get(format!("{}?{body}", path.to_string())).await;
        }
        let headers = [
            ("content-type", "application/x-www-form-urlencoded"),
            ("origin", self.base.as_str()),
            ("sec-fetch-site", "same-origin"),
        ];
        self.request(method, path, &headers, body.into_bytes())
            .await
    }

    fn cookie_header(&self) -> String {
        let cookies = self.cookies.lock().expect("the cookies");
        cookies
            .iter()
            .map(|(name, value)| format!("{name}={value}"))
            .collect::<Vec<_>>()
            .join("; ")
    }
}

fn keep_cookies(jar: &Mutex<BTreeMap<String, String>>, headers: &ureq::http::HeaderMap) {
    let mut jar = jar.lock().expect("the cookies");
    for set in headers.get_all("set-cookie") {
        let set = set.to_str().expect("a cookie of ASCII");
        let pair = set.split(';').next().unwrap_or_default();
        let (name, value) = pair.split_once('=').expect("a cookie has a value");
        if set.contains("Max-Age=0") {
            jar.remove(name);
        } else {
            jar.insert(name.to_owned(), value.to_owned());
        }
    }
}

/// What the service answered.
#[derive(Debug, Clone)]
pub struct Page {
    /// The status.
    pub status: u16,
    /// What was asked.
    pub path: String,
    /// The headers.
    pub headers: ureq::http::HeaderMap,
    /// The body as text.
    pub body: String,
}

fn selector(css: &str) -> Selector {
    Selector::parse(css).unwrap_or_else(|why| panic!("{css} is not a selector: {why}"))
}

fn plain(element: ElementRef<'_>) -> String {
    let text: String = element.text().collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Page {
    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .get(name)
            .map(|value| value.to_str().expect("a header of ASCII"))
    }

    /// The body as JSON.
    pub fn value(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|why| {
            panic!(
                "{} {} is not JSON ({why}): {}",
                self.status, self.path, self.body
            )
        })
    }

    /// The text of every element that a selector finds, spaces folded.
    pub fn texts(&self, css: &str) -> Vec<String> {
        Html::parse_document(&self.body)
            .select(&selector(css))
            .map(plain)
            .collect()
    }

    /// The text of the elements that a selector finds, joined; empty if there is none.
    pub fn text(&self, css: &str) -> String {
        self.texts(css).join(" ")
    }

    /// How many elements a selector finds.
    pub fn count(&self, css: &str) -> usize {
        self.texts(css).len()
    }

    /// An attribute of each element that a selector finds and that has it.
    pub fn attributes(&self, css: &str, name: &str) -> Vec<String> {
        Html::parse_document(&self.body)
            .select(&selector(css))
            .filter_map(|element| element.attr(name))
            .map(ToOwned::to_owned)
            .collect()
    }

    /// The messages of a refused form.
    pub fn errors(&self) -> Vec<String> {
        self.texts("p.error")
    }

    /// The first form that a selector finds, as it stands on the page.
    pub fn form(&self, css: &str) -> FilledForm {
        let html = Html::parse_document(&self.body);
        let form = html.select(&selector(css)).next().unwrap_or_else(|| {
            panic!(
                "no form {css} on {} {}: {}",
                self.status, self.path, self.body
            )
        });
        let method = form.attr("method").unwrap_or("get").to_ascii_uppercase();
        let here = self.path.split('?').next().unwrap_or_default();
        let action = form
            .attr("action")
            .filter(|action| !action.is_empty())
            .unwrap_or(if method == "GET" { here } else { &self.path });
        let fields = form
            .select(&selector("input[name], select[name], textarea[name]"))
            .filter(|field| field.attr("disabled").is_none())
            .filter_map(|field| {
                let name = field.attr("name").unwrap_or_default().to_owned();
                Some((name, value_of(field)?))
            })
            .collect();
        FilledForm {
            action: action.to_owned(),
            method,
            fields,
        }
    }
}

fn value_of(field: ElementRef<'_>) -> Option<String> {
    let value = |field: ElementRef<'_>| field.attr("value").map(ToOwned::to_owned);
    match field.value().name() {
        "textarea" => Some(
            field
                .text()
                .collect::<String>()
                .trim_start_matches('\n')
                .to_owned(),
        ),
        "select" => {
            let chosen = field.select(&selector("option[selected]")).next();
            let option = chosen.or_else(|| field.select(&selector("option")).next())?;
            Some(value(option).unwrap_or_else(|| plain(option)))
        }
        _ => match field.attr("type") {
            Some("checkbox" | "radio") => {
                field.attr("checked")?;
                Some(value(field).unwrap_or_else(|| "on".to_owned()))
            }
            Some("submit" | "button" | "image") => None,
            _ => Some(value(field).unwrap_or_default()),
        },
    }
}

/// A form as it stands on a page, to be filled in and sent.
#[derive(Debug, Clone)]
pub struct FilledForm {
    /// Where it is sent.
    pub action: String,
    method: String,
    fields: Vec<(String, String)>,
}

impl FilledForm {
    /// What a field holds.
    pub fn value(&self, name: &str) -> Option<&str> {
        self.fields
            .iter()
            .find(|(field, _)| field == name)
            .map(|(_, value)| value.as_str())
    }

    /// Types into a field, ticks a box or presses a button of that name.
    pub fn set(mut self, name: &str, value: &str) -> Self {
        self.fields.retain(|(field, _)| field != name);
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Takes one of several ticks of that name away.
    pub fn untick(mut self, name: &str, value: &str) -> Self {
        self.fields
            .retain(|(field, held)| (field.as_str(), held.as_str()) != (name, value));
        self
    }

    /// Sends it elsewhere, as a browser does that is told to by 307.
    pub async fn send_to(&self, browser: &Browser, path: &str) -> Page {
        browser.send_form(&self.method, path, &self.fields).await
    }

    /// Sends it.
    pub async fn send(&self, browser: &Browser) -> Page {
        browser
            .send_form(&self.method, &self.action, &self.fields)
            .await
    }
}

#[cfg(test)]
mod tests {
    use super::Page;

    fn page(body: &str) -> Page {
        Page {
            status: 200,
            path: "/here?a=1".into(),
            headers: ureq::http::HeaderMap::new(),
            body: body.into(),
        }
    }

    #[test]
    fn a_form_is_read_as_a_browser_would_send_it() {
        let form = page(
            "<form method=post><input name=a value=1><input type=checkbox name=b checked>\
             <input type=checkbox name=c><input name=d disabled value=4>\
             <select name=e><option value=5>five<option value=6 selected>six</select>\
             <textarea name=f>\nseven</textarea><button name=g value=8>Send</button></form>",
        )
        .form("form");
        assert_eq!(form.action, "/here?a=1");
        let pairs: Vec<_> = form.fields.iter().map(|(n, v)| (&**n, &**v)).collect();
        assert_eq!(pairs, [("a", "1"), ("b", "on"), ("e", "6"), ("f", "seven")]);
        assert_eq!(form.set("a", "2").value("a"), Some("2"));
    }

    #[test]
    fn json_is_read() {
        assert_eq!(page("{\"length_um\": 7}").value()["length_um"], 7);
    }
}
