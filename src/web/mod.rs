//! Pages: the whole route table, and the layers round it.

use std::time::Duration;

use axum::{
    Router,
    extract::{DefaultBodyLimit, MatchedPath, Request},
    http::StatusCode,
    middleware::{Next, from_fn, from_fn_with_state},
    response::{IntoResponse as _, Response},
};
use tower::ServiceBuilder;
use tower_http::{
    catch_panic::CatchPanicLayer, compression::CompressionLayer, csrf::CsrfLayer, trace::TraceLayer,
};

use crate::{api, app::App};

mod account;
pub mod asset;
pub mod at;
mod bench;
pub mod beside;
mod calendar;
mod changes;
pub mod clash;
pub mod csv;
mod cupboard;
pub mod cx;
pub mod design;
pub mod error;
mod events;
mod field;
mod fixtures;
pub mod form;
pub mod gate;
pub mod guard;
mod ics;
mod join;
mod kept;
mod labels;
mod linger;
pub mod link;
mod log;
mod may;
mod offered;
pub mod page;
mod part;
mod part_edit;
mod places;
mod prices;
mod purchase;
mod ready_made;
mod receive;
mod repairs;
mod route;
mod search;
pub mod settings;
mod shopping;
pub mod show;
mod sign_in;
mod start;
mod take_in;
mod thing;
mod who;

use error::Trouble;
use route::{both, get, post};

/// The most that one request may carry, in bytes.
pub const BODY_LIMIT: usize = 2 * 1024 * 1024;

/// What the log says of a request: never its address, in which a key or an invitation may stand.
fn span(request: &Request) -> tracing::Span {
    let route = request.extensions().get::<MatchedPath>();
    // Under the name that the layer's own lines have, so that one setting shows both.
    tracing::debug_span!(
        target: "tower_http::trace",
        "request",
        method = %request.method(),
        route = route.map_or("none", MatchedPath::as_str)
    )
}

/// How long a request may take.
const TIME_LIMIT: Duration = Duration::from_secs(30);

/// Ends a request that takes too long.
async fn in_time(request: Request, next: Next) -> Response {
    let route = request.extensions().get::<MatchedPath>();
    let limit = match route.map(MatchedPath::as_str) {
        Some(settings::import::ROUTE) => settings::import::TIME_LIMIT,
        _ => TIME_LIMIT,
    };
    match tokio::time::timeout(limit, next.run(request)).await {
        Ok(response) => response,
        Err(_) => Trouble::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "This took too long and was ended. Look whether it was stored before you send it again.",
        )
        .into_response(),
    }
}

/// Every route.
pub fn router(app: App) -> Router {
    let keeping = from_fn_with_state(kept::Kept::new(app.clone()), kept::keep);
    // These rest on nothing but the database, the day, their address and who asks.
    let kept = Router::new()
        .route("/", get(cupboard::home))
        .route("/cupboard", get(cupboard::get))
        .route("/search", get(search::get))
        .route("/things/{id}", get(thing::get))
        .route("/things/{id}/cut", both(thing::cut::get, thing::cut::post))
        .route(
            "/things/{id}/edit",
            both(thing::edit::get, thing::edit::post),
        )
        .route(
            "/things/{id}/apart",
            both(thing::apart::get, thing::apart::post),
        )
        .route("/repairs", get(repairs::get))
        .route("/fixtures", get(fixtures::get))
        .route("/parts/{id}/receive", both(receive::get, receive::post))
        .route(
            "/parts/{id}/count",
            both(places::count::get_part, places::count::post_part),
        )
        .route(
            "/places/{id}/count",
            both(places::count::get, places::count::post),
        )
        .route("/places", both(places::get, places::post))
        .route("/places/{id}", get(places::one))
        .route("/log", get(log::get))
        .route("/parts/{id}", get(part::get))
        .route("/calendar", get(calendar::get))
        .route("/shopping", get(shopping::get))
        .route("/shopping/{id}", get(purchase::get))
        .route("/suppliers", get(settings::supplier::list))
        .merge(design::routes())
        .route_layer(keeping.clone());
    let pages = Router::new()
        .merge(kept)
        .route("/tag/{tag}", get(thing::by_tag))
        .route("/static/{hash}/{name}", get(asset::get))
        .route("/labels", get(labels::get))
        .route("/labels/papers", get(labels::print))
        .route("/things/{id}/move", post(thing::act::moved))
        .route("/things/{id}/out", post(thing::act::out))
        .route("/things/{id}/mark", post(thing::act::mark))
        .route("/things/{id}/mount", post(thing::act::mount))
        .route("/things/{id}/lend", post(thing::act::lend))
        .route("/things/{id}/give-back", post(thing::act::give_back))
        .route(
            "/fixtures/new",
            both(fixtures::new::get, fixtures::new::post),
        )
        .route(
            "/frames/new",
            both(fixtures::frame::get, fixtures::frame::post),
        )
        .route(
            "/places/{id}/edit",
            both(places::edit_get, places::edit_post),
        )
        .route("/places/{id}/retire", post(places::retire))
        .route("/log/{id}/undo", post(log::undo))
        .route("/parts/new", both(part_edit::get_new, part_edit::post_new))
        .route("/parts/ready-made", both(ready_made::get, ready_made::post))
        .route("/take-in", both(take_in::get, take_in::post))
        .route("/prices", both(prices::get, prices::post))
        .route(
            "/parts/{id}/edit",
            both(part_edit::get_edit, part_edit::post_edit),
        )
        .route("/parts/{id}/copy", get(part_edit::get_copy))
        .route("/parts/{id}/retire", post(part_edit::post_retire))
        .route("/parts/{id}/delete", post(part_edit::post_delete))
        .route("/sample-book", post(beside::press))
        .route("/start", get(start::get))
        .route("/start/units", both(start::units::get, start::units::post))
        .route("/start/tape", both(start::tape::get, start::tape::post))
        .route("/who", both(who::get, who::post))
        .route("/who/password", post(account::password))
        .route("/who/pin", post(account::pin))
        .route("/who/bench", post(account::bench))
        .route("/who/take", both(sign_in::get_hand, sign_in::take))
        .route("/sign-in", both(sign_in::get, sign_in::post))
        .route("/sign-out", post(sign_in::out))
        .route("/join/{token}", both(join::get, join::post))
        .route("/changes", get(changes::get))
        .route("/calendar.ics", get(ics::get))
        .route("/events", get(events::get))
        .route("/bench", get(bench::get))
        .route("/bench/cuts", both(bench::cuts::get, bench::cuts::post))
        .route("/bench/drop", both(bench::drop::get, bench::drop::post))
        .route("/bench/packs", both(bench::packs::get, bench::packs::post))
        .route("/bench/feeds", both(bench::feeds::get, bench::feeds::post))
        .route(
            "/bench/addresses",
            both(bench::addresses::get, bench::addresses::post),
        )
        .route("/bench/wires", both(bench::wires::get, bench::wires::post))
        .route(
            "/parts/{id}/offers/new",
            both(settings::offer::new, settings::offer::add),
        )
        .route(
            "/offers/{id}",
            both(settings::offer::get, settings::offer::post),
        )
        .route("/shopping/order", post(shopping::order))
        .route("/shopping/{id}/state", post(purchase::state))
        .route("/shopping/{id}/receive", post(purchase::receive_all))
        .route("/shopping/{id}/receive/{line}", post(purchase::receive))
        .route(
            "/csv",
            both(csv::get, csv::post).layer(DefaultBodyLimit::max(csv::upload::BODY_LIMIT)),
        )
        .route(
            "/csv/do",
            post(csv::post_do).layer(DefaultBodyLimit::max(csv::upload::BODY_LIMIT)),
        )
        .route("/csv/parts.csv", get(csv::file::parts))
        .route("/csv/stock.csv", get(csv::file::stock))
        .route(
            "/settings/backup",
            both(settings::backup::get, settings::backup::post),
        )
        .route(
            settings::import::ROUTE,
            post(settings::import::post).layer(DefaultBodyLimit::max(settings::import::BODY_LIMIT)),
        )
        .route("/settings/backup/{name}", get(settings::backup::file))
        .route("/settings", both(settings::get, settings::post))
        .route(
            "/settings/people",
            both(settings::people::get, settings::people::post),
        )
        .route(
            "/suppliers/new",
            both(settings::supplier::new, settings::supplier::add),
        )
        .route(
            "/suppliers/{id}",
            both(settings::supplier::get, settings::supplier::post),
        )
        .fallback(|| async { Trouble::not_found("page").into_response() })
        .method_not_allowed_fallback(|| async {
            Trouble::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "This address does not take that kind of request. Nothing was changed.",
            )
            .into_response()
        });
    pages
        .merge(api::router().route_layer(keeping))
        .layer(
            ServiceBuilder::new()
                .layer(TraceLayer::new_for_http().make_span_with(span))
                .layer(CompressionLayer::new())
                .layer(from_fn(guard::headers))
                .layer(from_fn(linger::linger))
                .layer(from_fn(api::problem::details))
                .layer(CatchPanicLayer::new())
                .layer(from_fn(in_time))
                .layer(from_fn_with_state(app.clone(), guard::known_host))
                .layer(CsrfLayer::new().with_rejection_response(|_| {
                    Trouble::new(
                        StatusCode::FORBIDDEN,
                        "This came from another site's page. Nothing was changed. \
                         Open the page here and send the form from it.",
                    )
                    .into_response()
                }))
                .layer(DefaultBodyLimit::max(BODY_LIMIT))
                .layer(from_fn_with_state(app.clone(), gate::gate)),
        )
        .with_state(app)
}
