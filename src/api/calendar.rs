//! The year, and whether the book is sound.

use axum::http::{HeaderValue, header};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Query, reply},
    problem::Problem,
    shape::{Soundness, Year, YearRow},
};
use crate::{app::App, db, stock::audit, units::Date};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(year))
        .routes(routes!(check))
}

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct YearQuery {
    /// First day; today where nothing is said.
    #[param(value_type = Option<String>, format = Date)]
    from: Option<Date>,
    /// Last day; a year after the first where nothing is said.
    #[param(value_type = Option<String>, format = Date)]
    to: Option<Date>,
}

/// The sets of a span of days, cancelled ones left out.
#[utoipa::path(get, path = "/calendar", params(YearQuery),
    responses((status = 200, description = "The sets", body = Year)))]
async fn year(api: Api, Query(query): Query<YearQuery>) -> Answer {
    let from = query.from.unwrap_or(api.today);
    let to = query
        .to
        .unwrap_or_else(|| from.checked_add(jiff::Span::new().years(1)).unwrap_or(from));
    if to < from {
        return Err(Problem::parameter(
            "to",
            "The last day is before the first. Swap them.",
        ));
    }
    let mut tx = api.read().await?;
    let sets = db::calendar::list(&mut tx, from, to).await?;
    reply(&Year {
        sets: sets.into_iter().map(YearRow::from).collect(),
        fixtures: db::calendar::count_fixtures(&mut tx).await?,
    })
}

/// Whether the file is sound and every balance equals the sum of the ledger.
#[utoipa::path(get, path = "/check", responses((status = 200, description = "What was found", body = Soundness)))]
async fn check(api: Api) -> Answer {
    let faults = audit::audit(api.db()).await?;
    let mut response = reply(&Soundness {
        sound: faults.is_empty(),
        faults,
    })?;
    // The file may be damaged though nothing was committed: it is looked at each time.
    let never = HeaderValue::from_static("no-store");
    response.headers_mut().insert(header::CACHE_CONTROL, never);
    Ok(response)
}
