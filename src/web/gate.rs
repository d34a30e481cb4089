//! Who comes in, and what they may do: asked before any page or answer of the API is made.

use std::net::SocketAddr;

use axum::{
    body::to_bytes,
    extract::{ConnectInfo, MatchedPath, Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, header},
    middleware::Next,
    response::{IntoResponse as _, Response},
};

use super::{
    cx::{WHO_COOKIE, cookie, who_from_cookie},
    error::Trouble,
    form::Form,
    link::Link,
    may::needs,
    offered::offered,
    page::go,
    sign_in,
};
use crate::{
    api::problem,
    app::App,
    db::By,
    model::{
        person::{Person, Role, Session, SessionKind},
        text::Name,
    },
    people::{self, PeopleError, enter::Caller},
};

/// The cookie of a browser that is signed in.
pub const SESSION_COOKIE: &str = "session";
/// The cookie of who works at a device at the bench; it ends with the browser.
pub const HAND_COOKIE: &str = "hand";
/// The most of a form that is carried through a sign-in, in bytes.
const CARRIED: usize = 64 * 1024;

/// Who is signed in. Requests carry it as an extension where people sign in.
#[derive(Debug, Clone)]
pub struct Signed {
    /// Who acts.
    pub who: Name,
    /// What they may do.
    pub role: Role,
    /// The browser's session; `None` for a program with its key.
    pub session: Option<Session>,
    /// Who took a device at the bench.
    pub hand: Option<Person>,
}

/// Whether nobody need be signed in for this.
fn open(route: &str) -> bool {
    matches!(
        route,
        "/sign-in" | "/join/{token}" | "/static/{hash}/{name}"
    )
}

/// The address somebody comes from; empty where it is not known.
pub fn address(request: &Request) -> String {
    request
        .extensions()
        .get::<ConnectInfo<SocketAddr>>()
        .map_or_else(String::new, |peer| peer.0.ip().to_canonical().to_string())
}

/// What a browser calls itself.
pub fn agent(headers: &HeaderMap) -> &str {
    headers
        .get(header::USER_AGENT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default()
}

/// Where a sign-in may lead to: a path of ours.
pub fn local(to: &str) -> Option<&str> {
    let plain = to.starts_with('/') && !to.starts_with("//");
    let clean = to
        .bytes()
        .all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    (plain && clean && to.len() <= 2_000).then_some(to)
}

fn trouble(error: &PeopleError) -> Trouble {
    let status = match error {
        PeopleError::Db(error) => super::error::db_status(error),
        PeopleError::Wait(_) => StatusCode::TOO_MANY_REQUESTS,
        PeopleError::Wrong => StatusCode::UNAUTHORIZED,
        PeopleError::Ended => StatusCode::GONE,
        PeopleError::Field { .. } => StatusCode::UNPROCESSABLE_ENTITY,
        PeopleError::Refused(_) => StatusCode::CONFLICT,
        PeopleError::Secret => StatusCode::INTERNAL_SERVER_ERROR,
    };
    if let PeopleError::Db(why) = error {
        tracing::error!(%why, "people");
    }
    Trouble::new(status, error.to_string())
}

impl From<PeopleError> for Trouble {
    fn from(error: PeopleError) -> Self {
        trouble(&error)
    }
}

/// Who sends this request, if anybody is signed in.
async fn signed(
    app: &App,
    headers: &HeaderMap,
    address: &str,
    in_address: Option<&str>,
) -> Result<Option<Signed>, PeopleError> {
    let now_ms = app.clock().now_ms();
    let sent = headers
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.strip_prefix("Bearer "));
    let key = sent.or(in_address);
    if let Some(key) = key {
        let token = people::invite::token(app.db(), key.trim(), now_ms).await?;
        return Ok(token.map(|token| Signed {
            who: token.name,
            role: token.role,
            session: None,
            hand: None,
        }));
    }
    let Some(held) = cookie(headers, SESSION_COOKIE) else {
        return Ok(None);
    };
    let caller = Caller {
        address,
        agent: agent(headers),
        now_ms,
    };
    let Some(session) = people::enter::session(app.db(), held, &caller).await? else {
        return Ok(None);
    };
    let mut signed = Signed {
        who: session.person.name.clone(),
        role: session.person.role,
        hand: None,
        session: Some(session.clone()),
    };
    if session.kind == SessionKind::Bench {
        signed.role = signed.role.min(Role::Work);
        if let Some(held) = cookie(headers, HAND_COOKIE)
            && let Some(person) = people::bench::hand(app.db(), &session, held, now_ms).await?
        {
            signed.who = person.name.clone();
            signed.role = person.role.min(Role::Work);
            signed.hand = Some(person);
        }
    }
    Ok(Some(signed))
}

/// A form that was sent by somebody who has yet to say who they are; empty where it can't be carried.
async fn carried(request: Request) -> Form {
    let kind = request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    if !kind.starts_with("application/x-www-form-urlencoded") {
        return Form::default();
    }
    match to_bytes(request.into_body(), CARRIED).await {
        Ok(body) => Form::decode(&body).unwrap_or_default(),
        Err(_) => Form::default(),
    }
}

/// Asks who comes, and whether they may.
pub async fn gate(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let (address, at_ms) = (address(&request), app.clock().now_ms());
    if !app.config().needs_sign_in() {
        let who = cookie(request.headers(), WHO_COOKIE).and_then(who_from_cookie);
        let who = who.map_or_else(|| "somebody".to_owned(), |who| who.to_string());
        let by = By {
            who,
            address,
            at_ms,
        };
        return by.write(next.run(request)).await;
    }
    let route = request
        .extensions()
        .get::<MatchedPath>()
        .map_or("", MatchedPath::as_str)
        .to_owned();
    let headers = request.headers().clone();
    // Calendars can send no header: for the feed alone the key may stand in its address.
    let in_address = (route == "/calendar.ics")
        .then(|| {
            request
                .uri()
                .query()?
                .strip_prefix("key=")
                .map(str::to_owned)
        })
        .flatten();
    let found = match signed(&app, &headers, &address, in_address.as_deref()).await {
        Ok(found) => found,
        Err(error) => return trouble(&error).into_response(),
    };
    let role = needs(request.method(), &route);
    let Some(signed) = found else {
        if open(&route) {
            let who = "somebody".to_owned();
            return By {
                who,
                address,
                at_ms,
            }
            .write(next.run(request))
            .await;
        }
        return stranger(&app, request).await;
    };
    let at_bench = (signed.session.as_ref()).is_some_and(|it| it.kind == SessionKind::Bench);
    if role > signed.role {
        // Who stands at the bench may do more elsewhere.
        let way = if at_bench {
            "This browser is a device at the bench: use one in which you sign in with your password."
        } else {
            "Ask a keeper."
        };
        return Trouble::new(
            StatusCode::FORBIDDEN,
            format!(
                "This is for people who may {}; {} may {}{}. Nothing was changed. {way}",
                role.may(),
                signed.who,
                signed.role.may(),
                if at_bench { " here" } else { "" }
            ),
        )
        .into_response();
    }
    if at_bench && role > Role::Look && signed.hand.is_none() {
        let to = request.uri().path().to_owned();
        let form = carried(request).await;
        return sign_in::ask_hand(&app, &to, form).await;
    }
    let by = By {
        who: signed.who.to_string(),
        address,
        at_ms,
    };
    let (role, path) = (signed.role, request.uri().path().to_owned());
    request.extensions_mut().insert(signed);
    let response = by.write(next.run(request)).await;
    offered(response, role, &path).await
}

/// Nobody is signed in: a page leads to the sign-in and back, a form is carried through it, a program
/// is told.
async fn stranger(app: &App, request: Request) -> Response {
    let path = request.uri().path();
    if path.starts_with(problem::PREFIX) {
        let mut answer = Trouble::new(
            StatusCode::UNAUTHORIZED,
            "Sign in, or send the key of a program: Authorization: Bearer …. Nothing was changed.",
        )
        .into_response();
        answer.headers_mut().insert(
            header::WWW_AUTHENTICATE,
            HeaderValue::from_static("Bearer realm=\"tapewright\""),
        );
        return answer;
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    let to = request
        .uri()
        .path_and_query()
        .map_or("/", |whole| whole.as_str())
        .to_owned();
    if reads {
        return go(&Link::SignIn(to));
    }
    let (parts, body) = request.into_parts();
    let headers = parts.headers.clone();
    let form = carried(Request::from_parts(parts, body)).await;
    sign_in::ask(app, &headers, &to, form).await
}

/// A cookie's line.
pub fn set_cookie(name: &str, value: &str, lasts_s: Option<i64>, secure: bool) -> HeaderValue {
    use std::fmt::Write as _;
    let mut line = format!("{name}={value}; Path=/; HttpOnly; SameSite=Lax");
    if let Some(seconds) = lasts_s {
        // Writing to a string cannot fail.
        let _ = write!(line, "; Max-Age={seconds}");
    }
    if secure {
        line.push_str("; Secure");
    }
    HeaderValue::from_str(&line).unwrap_or(HeaderValue::from_static(""))
}

#[cfg(test)]
mod tests {
    use axum::body::Body;

    use super::*;

    #[test]
    fn a_sign_in_leads_to_our_own_paths_only() {
        assert_eq!(local("/designs/3?x=1"), Some("/designs/3?x=1"));
        for bad in [
            "",
            "designs",
            "//elsewhere.example",
            "/\\elsewhere",
            "https://x",
            "/a b",
            "/\n",
        ] {
            assert_eq!(local(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn cookies_are_for_this_site_and_for_no_script() {
        let line = set_cookie("session", "abc", Some(60), true);
        assert_eq!(
            line.to_str().unwrap(),
            "session=abc; Path=/; HttpOnly; SameSite=Lax; Max-Age=60; Secure"
        );
        let plain = set_cookie("hand", "abc", None, false);
        assert_eq!(
            plain.to_str().unwrap(),
            "hand=abc; Path=/; HttpOnly; SameSite=Lax"
        );
    }

    #[test]
    fn bodies_that_are_no_forms_are_not_carried() {
        let request = Request::post("/settings")
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from("{}"))
            .unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap();
        assert_eq!(runtime.block_on(carried(request)).pairs().count(), 0);
    }
}
