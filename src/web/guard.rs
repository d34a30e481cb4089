//! Keeps other sites out: Host only from our own list, posts only from our own pages, a strict
//! content security policy.

use std::net::IpAddr;

use axum::{
    extract::{Request, State},
    http::{HeaderName, HeaderValue, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};

use super::error::Trouble;
use crate::app::App;

const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; \
                      connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// Refuses a Host that is not ours. A name that another site made point here (DNS rebinding) is
/// not on the list; a bare address cannot be rebound.
pub async fn known_host(State(app): State<App>, request: Request, next: Next) -> Response {
    let host = request
        .headers()
        .get(header::HOST)
        .and_then(|value| value.to_str().ok())
        .or_else(|| {
            request
                .uri()
                .authority()
                .map(axum::http::uri::Authority::as_str)
        })
        .unwrap_or_default();
    if is_ours(&app, host) {
        next.run(request).await
    } else {
        Trouble::new(
            StatusCode::MISDIRECTED_REQUEST,
            "This address is not one that Tapewright answers to. Nothing was changed. Use the \
             address that it printed at its start, or start it with --host NAME.",
        )
        .into_response()
    }
}

/// Whether a host (a name or number, a port behind it or not) is one that this service answers to.
pub fn is_ours(app: &App, host: &str) -> bool {
    let name = match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let bare = name.trim_start_matches('[').trim_end_matches(']');
    if let Ok(address) = bare.parse::<IpAddr>() {
        return address.is_loopback() || !app.config().listen.ip().is_loopback();
    }
    name.eq_ignore_ascii_case("localhost")
        || app
            .config()
            .hosts
            .iter()
            .any(|ours| ours.eq_ignore_ascii_case(name))
}

/// Headers that every answer carries.
pub async fn headers(request: Request, next: Next) -> Response {
    let flash_shown = request
        .headers()
        .get(header::COOKIE)
        .is_some_and(|cookies| {
            cookies
                .to_str()
                .is_ok_and(|cookies| cookies.contains("flash="))
        })
        && request.method() == axum::http::Method::GET;
    let mut response = next.run(request).await;
    let page = response
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| {
            kind.to_str()
                .is_ok_and(|kind| kind.starts_with("text/html"))
        });
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    };
    set(header::CONTENT_SECURITY_POLICY, POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    // Not `no-referrer`: with it a browser sends `Origin: null` with our own forms, and over plain
    // http to a LAN name (no Sec-Fetch-Site there) they could not be told from another site's.
    set(header::REFERRER_POLICY, "same-origin");
    set(header::CACHE_CONTROL, "no-store");
    // The message was shown with this page: once is enough.
    if flash_shown && page {
        headers.append(
            header::SET_COOKIE,
            HeaderValue::from_static("flash=; Path=/; HttpOnly; SameSite=Lax; Max-Age=0"),
        );
    }
    response
}
