//! Arranging the bars and frames of a set in its elevation.

use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{changed, edit, lookup, tag_of};
use crate::{
    api::{
        Api,
        json::{Answer, Body, Path},
        problem::Problem,
    },
    app::App,
    model::{
        arrange::{STEPS_LIMIT, Step},
        id::DesignId,
    },
    stock::design::{Edit, Edited},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(arrange))
}

/// What to do with bars and frames.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ArrangeBody {
    /// Step after step.
    #[schema(min_items = 1, max_items = 50)]
    steps: Vec<Step>,
}

/// Moves, turns, copies, mirrors, aligns bars and frames: all steps, or none.
#[utoipa::path(post, path = "/designs/{id}/bars/arrange", request_body = ArrangeBody,
    responses((status = 200, description = "What changed", body = Edited)))]
async fn arrange(api: Api, Path(id): Path<DesignId>, body: Body<ArrangeBody>) -> Answer {
    let act = api.act(&body);
    // Another version is refused by the use-case, after it has looked whether this is a repeat.
    if api.if_match.is_none() {
        let design = lookup(&api, id).await?;
        api.must_match(&act, &tag_of(&design)).await?;
    }
    let steps = body.value.steps;
    if !(1..=STEPS_LIMIT).contains(&steps.len()) {
        return Err(Problem::field(
            "/steps",
            format!("Send 1 to {STEPS_LIMIT} steps at once."),
        ));
    }
    let edited = edit(&api, &act, id, |_| Ok(Edit::Arrange(steps.clone()))).await?;
    changed(&edited)
}
