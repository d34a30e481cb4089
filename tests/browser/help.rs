//! A real browser before a running service.
//!
//! ```ignore
//! #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
//! async fn the_cupboard_is_searched_as_one_types() {
//!     let stage = Stage::new().await;                      // empty database, 5 March 2026
//!     stage.open("/cupboard").await;
//!     stage.fill("#find", "rgbw").await;
//!     stage.press("Find").await;                           // a button or link by its words
//!     assert!(stage.text("main").await.contains("Nothing found"));
//!     stage.inspect("cupboard").await;                     // every width, light and dark, axe
//!     stage.end().await;
//! }
//! ```
//! `tests/run` installs what this needs. Pictures of what was inspected go to `tests/out`.

use std::{
    collections::BTreeMap,
    io::{BufRead as _, BufReader},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::Duration,
};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use fantoccini::{
    Client, ClientBuilder, Locator, elements::Element, wd::WebDriverCompatibleCommand,
};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tapewright::{
    app::{self, App, Running},
    clock::Clock,
    config::Config,
    model::{
        person::{Password, Role},
        text::Name,
    },
    people::roll,
    sample,
};
use tempfile::TempDir;

/// A service of its own with a browser before it.
pub struct Stage {
    app: App,
    /// `None` for a second browser before another's service.
    running: Option<(Running, TempDir)>,
    client: Client,
    base: String,
    driver: Driver,
}

/// The browser's driver, ended with its browser however the test ends.
struct Driver {
    child: Child,
    url: String,
    session: Option<String>,
}

impl Drop for Driver {
    fn drop(&mut self) {
        // A test that failed has not ended its session; the browser would outlive its driver.
        if let Some(session) = &self.session {
            let agent: ureq::Agent = ureq::Agent::config_builder()
                .timeout_global(Some(Duration::from_secs(10)))
                .build()
                .into();
            let _ = agent
                .delete(format!("{}/session/{session}", self.url))
                .call();
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Driver {
    fn start() -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .stdin(Stdio::null())
            .spawn()
            .expect("chromedriver starts; tests/run installs it");
        let stdout = child.stdout.take().expect("its stdout");
        let port = BufReader::new(stdout)
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                let (_, port) = line.split_once("started successfully on port ")?;
                port.trim_end_matches('.').parse::<u16>().ok()
            })
            .expect("chromedriver says its port");
        Self {
            child,
            url: format!("http://127.0.0.1:{port}"),
            session: None,
        }
    }
}

/// A command that fantoccini has no name for.
#[derive(Debug)]
struct Extra {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Extra {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        base.join(&format!(
            "session/{}/{}",
            session.unwrap_or_default(),
            self.path
        ))
    }

    fn method_and_body(&self, _: &url::Url) -> (ureq::http::Method, Option<String>) {
        (ureq::http::Method::POST, Some(self.body.to_string()))
    }
}

/// Widths that pages are looked at in, in CSS pixels: the narrowest that must reflow (WCAG 1.4.10),
/// a phone, a laptop.
pub const WIDTHS: [u32; 3] = [320, 360, 1280];

/// The password of the keeper Ada, where people sign in.
pub const PASSWORD: &str = "lamp over the pond";

impl Stage {
    /// An empty database, at 5 March 2026.
    pub async fn new() -> Self {
        Self::with(|_| {}, &[]).await
    }

    /// The sample: Millpond Hall at 5 March 2026.
    pub async fn sample() -> Self {
        let stage = Self::new().await;
        let app = &stage.app;
        let filled = sample::fill(app.db(), app.clock()).await;
        assert!(filled.expect("the sample is filled in"));
        stage
    }

    /// A changed configuration and more flags for the browser.
    pub async fn with(change: impl FnOnce(&mut Config), flags: &[&str]) -> Self {
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
        let app = App::open(config, clock).await.expect("the database opens");
        if app.config().needs_sign_in() {
            let word = |text: &str| Name::parse(text).expect("a name");
            let password = Password::new(PASSWORD).expect("a password");
            let (by, who, now) = (word("test"), word("Ada"), app.clock().now_ms());
            roll::set(app.db(), app.doors(), &by, &who, Role::Keep, password, now)
                .await
                .expect("a keeper");
        }
        let running = app::start(app).await.expect("the service starts");
        let base = format!("http://{}", running.address);
        let app = running.app().clone();
        Self::before(app, Some((running, folder)), base, flags).await
    }

    /// Another person's browser before the same service; it is ended before this one.
    pub async fn another(&self) -> Self {
        Self::before(self.app.clone(), None, self.base.clone(), &[]).await
    }

    async fn before(
        app: App,
        running: Option<(Running, TempDir)>,
        base: String,
        flags: &[&str],
    ) -> Self {
        let mut driver = Driver::start();
        let mut args = vec![
            "--headless=new",
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--hide-scrollbars",
        ];
        args.extend_from_slice(flags);
        let capabilities = json!({
            "goog:chromeOptions": { "args": args },
            "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
        });
        let mut http = HttpConnector::new();
        http.enforce_http(true);
        let mut builder = ClientBuilder::new(http);
        if let Value::Object(capabilities) = capabilities {
            builder.capabilities(capabilities);
        }
        let client = builder.connect(&driver.url).await.expect("a browser");
        driver.session = client.session_id().await.expect("a session");
        Self {
            app,
            running,
            client,
            base,
            driver,
        }
    }

    /// The port of the service.
    pub fn port(&self) -> u16 {
        let url = url::Url::parse(&self.base).expect("an address");
        url.port().expect("a port")
    }

    /// Ends the browser, then the service.
    pub async fn end(mut self) {
        self.client.close().await.expect("the browser ends");
        self.driver.session = None;
        if let Some((running, _folder)) = self.running.take() {
            running.stop().await;
        }
    }

    /// Opens a page by its path, or any address.
    pub async fn open(&self, path: impl ToString) {
        let path = path.to_string();
        let url = if path.starts_with('/') {
            format!("{}{path}", self.base)
        } else {
            path
        };
        self.client.goto(&url).await.expect("the page opens");
    }

    /// Runs a script in the page and gives what it returns.
    pub async fn script(&self, script: &str, args: Vec<Value>) -> Value {
        let done = self.client.execute(script, args).await;
        done.unwrap_or_else(|why| panic!("{script}: {why}"))
    }

    /// The path that the browser shows.
    pub async fn path(&self) -> String {
        let url = self.client.current_url().await.expect("an address");
        url.path().to_owned()
    }

    /// Waits until the browser shows this path: a press that leads on may do so a moment later.
    pub async fn arrive(&self, path: &str) {
        for _ in 0..150 {
            if self.path().await == path {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!(
            "still on {}, not on {path}: {}",
            self.path().await,
            self.text("main").await
        );
    }

    /// Waits until an element says these words.
    pub async fn says(&self, css: &str, words: &str) {
        for _ in 0..150 {
            if self.text(css).await.contains(words) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{css} does not say “{words}”: {}", self.text(css).await);
    }

    /// The first element that a selector finds, waited for.
    pub async fn find(&self, css: &str) -> Element {
        let found = self
            .client
            .wait()
            .at_most(Duration::from_secs(15))
            .for_element(Locator::Css(css))
            .await;
        match found {
            Ok(element) => element,
            Err(why) => panic!("no {css} on {} ({why})", self.path().await),
        }
    }

    /// What a person reads in an element.
    pub async fn text(&self, css: &str) -> String {
        // An element may be replaced between being found and being read.
        for _ in 0..20 {
            if let Ok(text) = self.find(css).await.text().await {
                return text;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("{css} cannot be read on {}", self.path().await)
    }

    /// How many elements a selector finds now.
    pub async fn count(&self, css: &str) -> usize {
        let found = self.client.find_all(Locator::Css(css)).await;
        found.expect("a selector").len()
    }

    /// Types into a field, in place of what it holds.
    pub async fn fill(&self, css: &str, text: &str) {
        // A field may be replaced between being found and being typed into.
        for _ in 0..20 {
            let field = self.find(css).await;
            if field.clear().await.is_ok() && field.send_keys(text).await.is_ok() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{css} cannot be typed into on {}", self.path().await)
    }

    /// Presses the button or link with these words, and waits for the page that follows if the
    /// press leads to one.
    pub async fn press(&self, words: &str) {
        let path = format!(
            "//button[normalize-space()={0}] | //a[normalize-space()={0}] | //summary[normalize-space()={0}]",
            quoted(words)
        );
        let found = self
            .client
            .wait()
            .at_most(Duration::from_secs(15))
            .for_element(Locator::XPath(&path))
            .await;
        let Ok(button) = found else {
            panic!("nothing to press says “{words}” on {}", self.path().await)
        };
        button.click().await.expect("it can be pressed");
        // Scripted forms answer without a new page: give them the time of one.
        self.settle().await;
    }

    /// Waits until the page is loaded and no request of its scripts is under way.
    pub async fn settle(&self) {
        for _ in 0..100 {
            let ready = self
                .script("return document.readyState === 'complete' && !document.querySelector('[aria-busy=true]')", vec![])
                .await;
            if ready == json!(true) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("{} does not settle", self.path().await);
    }

    /// Turns the pages' own scripts off or on again.
    pub async fn scripting(&self, on: bool) {
        self.devtools(
            "Emulation.setScriptExecutionDisabled",
            json!({ "value": !on }),
        )
        .await;
    }

    /// Puts the device in a time zone.
    pub async fn zone(&self, name: &str) {
        self.devtools(
            "Emulation.setTimezoneOverride",
            json!({ "timezoneId": name }),
        )
        .await;
    }

    /// The service behind the pages.
    pub fn app(&self) -> &App {
        &self.app
    }

    /// Cuts the browser off from the network, or lets it in again.
    pub async fn offline(&self, cut: bool) {
        self.devtools("Network.enable", json!({})).await;
        self.devtools(
            "Network.emulateNetworkConditions",
            json!({ "offline": cut, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1 }),
        )
        .await;
    }

    /// Presses a key where the focus is; `modifiers` as the protocol counts them: Alt 1, Ctrl 2,
    /// Shift 8.
    pub async fn key(&self, key: &str, modifiers: u32) {
        let code = match key {
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            "Delete" => 46,
            "Tab" => 9,
            "Escape" => 27,
            other => other
                .to_ascii_uppercase()
                .bytes()
                .next()
                .map_or(0, u32::from),
        };
        for kind in ["rawKeyDown", "keyUp"] {
            self.devtools(
                "Input.dispatchKeyEvent",
                json!({ "type": kind, "key": key, "modifiers": modifiers,
                        "windowsVirtualKeyCode": code }),
            )
            .await;
        }
    }

    /// Presses the mouse at the first point, moves it over the others and lets go at the last.
    pub async fn drag(&self, points: &[(f64, f64)], modifiers: u32) {
        let [first, .., last] = points else {
            panic!("a drag has a beginning and an end")
        };
        let mouse = async |kind: &str, (x, y): (f64, f64), buttons: u32| {
            self.devtools(
                "Input.dispatchMouseEvent",
                json!({ "type": kind, "x": x, "y": y, "button": "left", "buttons": buttons,
                        "clickCount": 1, "modifiers": modifiers }),
            )
            .await;
        };
        mouse("mouseMoved", *first, 0).await;
        mouse("mousePressed", *first, 1).await;
        for point in points {
            mouse("mouseMoved", *point, 1).await;
        }
        mouse("mouseReleased", *last, 0).await;
    }

    /// Puts a finger on the first point, draws it over the others and lifts it.
    pub async fn touch(&self, points: &[(f64, f64)]) {
        self.devtools(
            "Emulation.setTouchEmulationEnabled",
            json!({ "enabled": true }),
        )
        .await;
        let finger = async |kind: &str, at: &[(f64, f64)]| {
            let at: Vec<Value> = at.iter().map(|(x, y)| json!({ "x": x, "y": y })).collect();
            self.devtools(
                "Input.dispatchTouchEvent",
                json!({ "type": kind, "touchPoints": at }),
            )
            .await;
        };
        for (n, point) in points.iter().enumerate() {
            finger(if n == 0 { "touchStart" } else { "touchMove" }, &[*point]).await;
        }
        finger("touchEnd", &[]).await;
    }

    /// Looks at the page in a width, light or dark.
    pub async fn look(&self, width: u32, dark: bool) {
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": 800, "deviceScaleFactor": 1, "mobile": false }),
        )
        .await;
        let scheme = if dark { "dark" } else { "light" };
        self.devtools(
            "Emulation.setEmulatedMedia",
            json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }),
        )
        .await;
    }

    /// Holds the page to what holds for all, in every width, light and dark, and keeps pictures of
    /// it in `tests/out` under a name.
    pub async fn inspect(&self, name: &str) {
        let faults = self.faults(name).await;
        assert!(faults.is_empty(), "{name}:\n{}", faults.join("\n"));
    }

    /// What [`Stage::inspect`] finds.
    pub async fn faults(&self, name: &str) -> Vec<String> {
        let mut seen: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for width in WIDTHS {
            for dark in [false, true] {
                self.look(width, dark).await;
                let shade = if dark { "dark" } else { "light" };
                // Colours do not depend on the width: in the dark, the narrowest is left to its layout.
                let mut found = match (width, dark) {
                    (320, true) => Vec::new(),
                    _ => self.axe_violations().await,
                };
                found.extend(self.sideways(width).await);
                found.extend(self.squeezed().await);
                for fault in found {
                    seen.entry(fault)
                        .or_default()
                        .push(format!("{width} {shade}"));
                }
                // A phone in the dark store room and a laptop; all six where somebody asks.
                let usual = matches!((width, dark), (360, true) | (1280, false));
                if usual || std::env::var_os("PICTURES").is_some() {
                    self.picture(&out().join(format!("{name}-{width}-{shade}.png")), width)
                        .await;
                }
            }
        }
        let mut faults: Vec<_> = seen
            .into_iter()
            .map(|(fault, at)| format!("{name} at {}: {fault}", at.join(", ")))
            .collect();
        faults.extend(self.console().await);
        faults.extend(self.strangers().await);
        faults
    }

    /// What is wider than the page, if anything is.
    pub async fn sideways(&self, width: u32) -> Option<String> {
        let found = self
            .script(
                "const root = document.documentElement, limit = arguments[0];
                 if (root.scrollWidth <= limit) return null;
                 const wide = [...document.body.querySelectorAll('*')]
                   .filter(e => e.getBoundingClientRect().right > limit + 0.5)
                   .slice(-3).map(e => e.tagName.toLowerCase() + '.' + e.className);
                 return root.scrollWidth + ' px wide: ' + wide.join(', ');",
                vec![json!(width)],
            )
            .await;
        found.as_str().map(ToOwned::to_owned)
    }

    /// Words that have so little room that they stand a letter or two a line.
    pub async fn squeezed(&self) -> Option<String> {
        let found = self
            .script(
                "const thin = [];
                 const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
                 for (let node; (node = walk.nextNode());) {
                   const words = node.data.trim(), owner = node.parentElement;
                   if (words.length < 4 || !owner.checkVisibility() || owner.closest('svg, .unseen, script, style, .upright, .fold > thead')) continue;
                   const range = document.createRange();
                   range.selectNodeContents(node);
                   const lines = new Set([...range.getClientRects()].filter(r => r.width > 0).map(r => Math.round(r.top)));
                   if (lines.size >= 4 && words.length / lines.size < 2.5) thin.push(words.slice(0, 40));
                 }
                 return thin.length ? 'hardly a letter a line: ' + thin.slice(0, 3).join(' | ') : null;",
                vec![],
            )
            .await;
        found.as_str().map(ToOwned::to_owned)
    }

    /// What axe-core finds against WCAG 2.2 A and AA.
    pub async fn axe_violations(&self) -> Vec<String> {
        if self.script("return typeof axe", vec![]).await != "object" {
            self.script(&axe(), vec![]).await;
        }
        let found = self
            .client
            .execute_async(
                "const done = arguments[arguments.length - 1];
                 axe.run(document, {
                   runOnly: { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] },
                   rules: { 'target-size': { enabled: true } },
                   resultTypes: ['violations'],
                 }).then(
                   r => done(r.violations.map(v => v.id + ' (' + v.help + '): ' +
                     v.nodes.slice(0, 4).map(n => n.html.slice(0, 160) + ' — ' +
                       (n.any.concat(n.all, n.none)[0] || {}).message).join(' | '))),
                   e => done(['axe failed: ' + e]));",
                vec![],
            )
            .await
            .expect("axe answers");
        let list = found.as_array().expect("a list of violations");
        list.iter()
            .map(|line| line.as_str().unwrap_or_default().to_owned())
            .collect()
    }

    /// Errors that the page wrote to the console since the last look.
    pub async fn console(&self) -> Vec<String> {
        self.log("browser")
            .await
            .iter()
            .filter(|entry| entry["level"] == "SEVERE")
            .map(|entry| format!("console: {}", entry["message"]))
            .collect()
    }

    /// Requests that went to anyone but our service since the last look.
    pub async fn strangers(&self) -> Vec<String> {
        self.log("performance")
            .await
            .iter()
            .filter_map(|entry| {
                let message: Value = serde_json::from_str(entry["message"].as_str()?).ok()?;
                if message["message"]["method"] != "Network.requestWillBeSent" {
                    return None;
                }
                let url = message["message"]["params"]["request"]["url"].as_str()?;
                let ours = ["data:", "about:", "blob:"]
                    .iter()
                    .any(|own| url.starts_with(own))
                    || url::Url::parse(url).is_ok_and(|url| url.port() == Some(self.port()));
                (!ours).then(|| format!("asked a stranger: {url}"))
            })
            .collect()
    }

    async fn log(&self, kind: &str) -> Vec<Value> {
        let log = self
            .client
            .issue_cmd(Extra {
                path: "se/log",
                body: json!({ "type": kind }),
            })
            .await
            .expect("the browser's log");
        log.as_array().cloned().unwrap_or_default()
    }

    async fn devtools(&self, command: &str, params: Value) -> Value {
        let done = self
            .client
            .issue_cmd(Extra {
                path: "goog/cdp/execute",
                body: json!({ "cmd": command, "params": params }),
            })
            .await;
        done.unwrap_or_else(|why| panic!("{command}: {why}"))
    }

    /// The open page as it prints, as a PDF document.
    pub async fn print(&self, file: &Path) {
        let printed = self
            .devtools(
                "Page.printToPDF",
                json!({ "preferCSSPageSize": true, "printBackground": false }),
            )
            .await;
        let pdf = STANDARD
            .decode(printed["data"].as_str().expect("a document"))
            .expect("base64");
        std::fs::write(file, pdf).expect("the document is written");
    }

    /// A picture of the whole page.
    pub async fn picture(&self, file: &Path, width: u32) {
        let height = self
            .script("return document.documentElement.scrollHeight", vec![])
            .await
            .as_u64()
            .expect("a height")
            .clamp(1, 8000);
        let shot = self
            .devtools(
                "Page.captureScreenshot",
                json!({
                    "format": "png",
                    "captureBeyondViewport": true,
                    "clip": { "x": 0, "y": 0, "width": width, "height": height, "scale": 1 },
                }),
            )
            .await;
        let png = STANDARD
            .decode(shot["data"].as_str().expect("a picture"))
            .expect("base64");
        std::fs::create_dir_all(file.parent().expect("a folder")).expect("the folder is made");
        std::fs::write(file, png).expect("the picture is written");
    }
}

/// A text as an `XPath` string.
fn quoted(text: &str) -> String {
    if text.contains('"') {
        format!("'{text}'")
    } else {
        format!("\"{text}\"")
    }
}

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// Where pictures of inspected pages go; not kept by git.
fn out() -> PathBuf {
    tests().join("out")
}

fn axe() -> String {
    let file = tests().join("browser/node_modules/axe-core/axe.min.js");
    std::fs::read_to_string(&file).expect("axe-core; tests/run installs it")
}
