//! What was tried of finished bars: read, and added to.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, Path, reply, reply_with},
    problem::Problem,
};
use crate::{
    app::App,
    db,
    model::{
        channel::Channel,
        id::{DesignId, ThingId},
        test_record::{TestKind, TestRecord},
        text::Note,
    },
    stock::{change::Done, tested::Tested},
    units::Voltage,
};

/// The most records of one thing that are answered at once.
const MOST: i64 = 200;

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list, add))
}

/// What was tried of a finished bar, newest first, at most 200.
#[utoipa::path(get, path = "/things/{id}/tests",
    responses((status = 200, description = "The records", body = Vec<TestRecord>)))]
async fn list(api: Api, Path(id): Path<ThingId>) -> Answer {
    let mut tx = api.read().await?;
    db::thing::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("thing"))?;
    reply(&db::test_record::list_of_thing(&mut tx, id, MOST).await?)
}

/// What was seen of a finished bar.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TestBody {
    /// In which set, if in one.
    #[serde(default)]
    design: Option<DesignId>,
    /// When in its life.
    kind: TestKind,
    /// Colours that did not light as they should.
    #[serde(default)]
    dark: Vec<Channel>,
    /// Whether everything together, at full, was as it should be.
    full_good: bool,
    /// Measured at the far end, warm, with everything on, in mV, at most 60 V.
    #[serde(default)]
    far_mv: Option<Voltage>,
    /// What was seen.
    #[serde(default)]
    note: Note,
}

/// Notes what was seen. One that failed is suspect from then on.
#[utoipa::path(post, path = "/things/{id}/tests", request_body = TestBody,
    responses((status = 201, description = "What it did to the stock", body = Done)))]
async fn add(api: Api, Path(id): Path<ThingId>, body: Body<TestBody>) -> Answer {
    let act = api.act(&body);
    let asked = body.value;
    let done = act
        .carry_out(&Tested {
            thing: id,
            design: asked.design,
            kind: asked.kind,
            dark: asked.dark,
            full_good: asked.full_good,
            far_mv: asked.far_mv,
            note: asked.note,
        })
        .await?;
    reply_with(StatusCode::CREATED, &done)
}
