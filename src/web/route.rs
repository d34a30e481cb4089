//! Routes to handlers whose own types are forgotten: what is built round a handler is compiled once,
//! and not for each of hundreds.

use std::{pin::Pin, sync::Arc};

use axum::{
    extract::Request,
    handler::Handler,
    response::Response,
    routing::{self, MethodRouter},
};

use crate::app::App;

type Answering = Pin<Box<dyn Future<Output = Response> + Send>>;

/// Any handler.
#[derive(Clone)]
struct Any(Arc<dyn Fn(Request, App) -> Answering + Send + Sync>);

impl Any {
    fn new<T: 'static>(handler: impl Handler<T, App>) -> Self {
        Self(Arc::new(move |request, app| {
            Box::pin(handler.clone().call(request, app))
        }))
    }
}

impl Handler<(), App> for Any {
    type Future = Answering;

    fn call(self, request: Request, app: App) -> Answering {
        (self.0)(request, app)
    }
}

/// A page that is only read.
pub fn get<T: 'static>(handler: impl Handler<T, App>) -> MethodRouter<App> {
    routing::get(Any::new(handler))
}

/// A form that is only sent.
pub fn post<T: 'static>(handler: impl Handler<T, App>) -> MethodRouter<App> {
    routing::post(Any::new(handler))
}

/// A page, and the form on it that is sent to the same address.
pub fn both<T: 'static, U: 'static>(
    read: impl Handler<T, App>,
    sent: impl Handler<U, App>,
) -> MethodRouter<App> {
    get(read).merge(post(sent))
}
