//! The bench steps of a set: each ticked step moves the stock.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::lookup;
use crate::{
    api::{
        Api,
        json::{Answer, Body, List, Path, reply, reply_with},
        problem::Problem,
    },
    app::App,
    db,
    model::{
        id::{DesignId, StepId},
        step::Step,
    },
    stock::build::{Ticked, tick, untick},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(put_tick))
}

/// The bench steps, in the order of the work; none before the bench begins.
#[utoipa::path(get, path = "/designs/{id}/steps",
    responses((status = 200, description = "The steps", body = List<Step>)))]
async fn list(api: Api, Path(id): Path<DesignId>) -> Answer {
    lookup(&api, id).await?;
    let items = db::design::list_steps(&mut *api.read().await?, id).await?;
    reply(&List { items, next: None })
}

/// Whether a step is done.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TickBody {
    /// Done, or not done after all: then the stock goes back by a counter-movement.
    done: bool,
}

/// Ticks a bench step, or takes the tick back; the stock moves with it.
#[utoipa::path(post, path = "/designs/{id}/steps/{step}/tick", request_body = TickBody,
    responses((status = 201, description = "What it did", body = Ticked)))]
async fn put_tick(
    api: Api,
    Path((id, step)): Path<(DesignId, StepId)>,
    body: Body<TickBody>,
) -> Answer {
    let of = db::design::find_of_step(&mut *api.read().await?, step).await?;
    if of != Some(id) {
        return Err(Problem::not_found("step"));
    }
    let act = api.act(&body);
    let ticked = if body.value.done {
        tick(&act, step).await?
    } else {
        untick(&act, step).await?
    };
    reply_with(StatusCode::CREATED, &ticked)
}
