//! Orders.

use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, List, Path, Query, page_size, reply},
    problem::Problem,
};
use crate::{
    app::App,
    db,
    model::{
        id::PurchaseId,
        purchase::{Purchase, PurchaseState},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(get))
}

/// What is received raises no version: it stands in the tag beside it.
fn tag_of(order: &Purchase) -> String {
    let came: i64 = order
        .lines
        .iter()
        .map(|line| line.received_packs + line.refused_packs)
        .sum();
    format!("\"purchase-{}-{}-{came}\"", order.id, order.version)
}

/// Which orders a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// In one state.
    state: Option<PurchaseState>,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// More orders than any venue has.
const EVERY: i64 = 100_000;

/// Orders with their lines, by id.
#[utoipa::path(get, path = "/purchases", params(ListQuery),
    responses((status = 200, description = "The orders", body = List<Purchase>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let mut found = db::purchase::list(&mut *api.read().await?, EVERY).await?;
    found.retain(|order| query.state.is_none_or(|asked| asked == order.state));
    reply(&List::page(found, query.after, size, |order: &Purchase| {
        order.id.0
    }))
}

async fn lookup(api: &Api, id: PurchaseId) -> Result<Purchase, Problem> {
    db::purchase::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("order"))
}

/// One order with its lines.
#[utoipa::path(get, path = "/purchases/{id}",
    responses((status = 200, description = "The order", body = Purchase)))]
async fn get(api: Api, Path(id): Path<PurchaseId>) -> Answer {
    let order = lookup(&api, id).await?;
    api.reply(&order, &tag_of(&order))
}
