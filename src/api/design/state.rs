//! The states that a set goes through, and what each change does to the stock.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{ATTEMPTS, lookup, tag_of, version};
use crate::{
    api::{
        Api,
        json::{Answer, Body, List, Path, reply, reply_with, tagged},
        problem::Problem,
        tag,
    },
    app::App,
    model::{design::State, id::DesignId},
    stock::{
        StockError,
        state::{self, Gone, Preview},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(previews, go))
}

/// What each change of state would do to the stock now.
#[utoipa::path(get, path = "/designs/{id}/state",
    responses((status = 200, description = "The changes that the rules have", body = List<Preview>)))]
async fn previews(api: Api, Path(id): Path<DesignId>) -> Answer {
    let items = state::previews(api.db(), id).await?;
    reply(&List { items, next: None })
}

/// A change of state.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct StateBody {
    /// To which state; from draft to reserved leads only `/reserve`.
    to: State,
}

/// Changes the state of a set. `If-Match` may say on which version of the set.
#[utoipa::path(post, path = "/designs/{id}/state", request_body = StateBody,
    responses((status = 201, description = "It was changed", body = Gone)))]
async fn go(api: Api, Path(id): Path<DesignId>, body: Body<StateBody>) -> Answer {
    let act = api.act(&body);
    let mut attempt = 0;
    let gone = loop {
        attempt += 1;
        let old = lookup(&api, id).await?;
        match state::go(&act, id, version(&api, &old), body.value.to).await {
            Err(StockError::Changed) if api.if_match.is_none() && attempt < ATTEMPTS => {}
            Err(StockError::Changed) => {
                return Err(Problem::changed(&tag_of(&lookup(&api, id).await?)));
            }
            gone => break gone?,
        }
    };
    let answer = reply_with(StatusCode::CREATED, &gone)?;
    Ok(tagged(answer, &tag("design", id.0, gone.version)))
}
