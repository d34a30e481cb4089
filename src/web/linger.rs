//! Reads what is left of a refused request before it is answered.
//!
//! A browser sends all of a form before it reads the answer. If the connection is closed under what
//! it still sends, it reports a lost connection, and the reason for the refusal is never seen (the
//! "lingering close" of RFC 9112, section 9.6).

use std::{
    future::poll_fn,
    pin::Pin,
    sync::{Arc, Mutex, PoisonError},
    task::{Context, Poll},
    time::Duration,
};

use axum::{
    body::{Body, Bytes, HttpBody},
    extract::Request,
    middleware::Next,
    response::Response,
};
use http_body::{Frame, SizeHint};

/// The most that is read and thrown away, in bytes; beyond it the connection is closed.
const MOST: usize = 64 * 1024 * 1024;
/// The longest that is waited for it.
const LONGEST: Duration = Duration::from_secs(10);

/// A request's body that can still be read when its first reader has let go of it.
#[derive(Clone)]
struct Shared(Arc<Mutex<Body>>);

impl Shared {
    fn with<T>(&self, read: impl FnOnce(Pin<&mut Body>) -> T) -> T {
        let mut body = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        read(Pin::new(&mut *body))
    }

    async fn throw_away(self) {
        let mut read = 0;
        while read < MOST {
            let next = poll_fn(|cx| self.with(|body| body.poll_frame(cx))).await;
            match next {
                Some(Ok(frame)) => read += frame.data_ref().map_or(0, Bytes::len),
                Some(Err(_)) | None => return,
            }
        }
    }
}

impl HttpBody for Shared {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        self.with(|body| body.poll_frame(cx))
    }

    fn is_end_stream(&self) -> bool {
        self.with(|body| body.is_end_stream())
    }

    fn size_hint(&self) -> SizeHint {
        self.with(|body| body.size_hint())
    }
}

/// Answers a refusal only when the request was read to its end, within bounds.
pub async fn linger(request: Request, next: Next) -> Response {
    if request.body().is_end_stream() {
        return next.run(request).await;
    }
    let (parts, body) = request.into_parts();
    let shared = Shared(Arc::new(Mutex::new(body)));
    let request = Request::from_parts(parts, Body::new(shared.clone()));
    let response = next.run(request).await;
    if response.status().is_client_error() {
        // Who takes longer than that is answered all the same.
        let _ = tokio::time::timeout(LONGEST, shared.throw_away()).await;
    }
    response
}
