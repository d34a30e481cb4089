//! What is out with a set, and how it comes back.

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
        shape::{CountAt, OutLine, Thing},
    },
    app::App,
    db,
    model::{
        id::{DesignId, PartId, PlaceId, ThingId},
        text::Note,
    },
    stock::{
        change::Done,
        strike::{self, Back, CheckIn, CheckInRest, CheckWhat, OutWhat},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(out))
        .routes(routes!(check_in))
        .routes(routes!(check_in_rest))
}

/// Everything that is out with a set.
#[utoipa::path(get, path = "/designs/{id}/out",
    responses((status = 200, description = "What is out", body = List<OutLine>)))]
async fn out(api: Api, Path(id): Path<DesignId>) -> Answer {
    lookup(&api, id).await?;
    let mut tx = api.read().await?;
    let mut items = Vec::new();
    for line in strike::list(&mut tx, id).await? {
        let (thing, count) = match line.what {
            OutWhat::Thing(thing) => (Some(Thing::from(*thing)), None),
            OutWhat::Count { part, name, amount } => {
                let known = db::part::lookup(&mut tx, part)
                    .await?
                    .ok_or_else(|| Problem::not_found("part"))?;
                let count = db::balance::CountAt {
                    part,
                    name: name.to_string(),
                    kind: known.spec.kind(),
                    unit: known.unit(),
                    amount,
                };
                (None, Some(CountAt::from(count)))
            }
        };
        items.push(OutLine {
            thing,
            count,
            came_from: line.came_from,
        });
    }
    reply(&List { items, next: None })
}

/// What is checked in.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case", deny_unknown_fields)]
enum CheckedBody {
    /// A thing.
    Thing {
        /// Which.
        thing: ThingId,
        /// How it comes back.
        how: Back,
    },
    /// A count.
    Count {
        /// Of what.
        part: PartId,
        /// How many come back.
        #[schema(minimum = 0, maximum = 1_000_000_000)]
        back: i64,
        /// How many are lost.
        #[serde(default)]
        #[schema(minimum = 0, maximum = 1_000_000_000)]
        lost: i64,
    },
}

/// One line to be checked in.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CheckInBody {
    /// What.
    what: CheckedBody,
    /// Where it is put; where it came from if nothing is said.
    #[serde(default)]
    to: Option<PlaceId>,
    /// What was seen.
    #[serde(default)]
    reason: Note,
}

/// Checks one line of a set in: one movement, which can be undone.
#[utoipa::path(post, path = "/designs/{id}/check-in", request_body = CheckInBody,
    responses((status = 201, description = "It is checked in", body = Done)))]
async fn check_in(api: Api, Path(id): Path<DesignId>, body: Body<CheckInBody>) -> Answer {
    lookup(&api, id).await?;
    let act = api.act(&body);
    let asked = body.value;
    let done = act
        .carry_out(&CheckIn {
            design: id,
            what: match asked.what {
                CheckedBody::Thing { thing, how } => CheckWhat::Thing { thing, how },
                CheckedBody::Count { part, back, lost } => CheckWhat::Count { part, back, lost },
            },
            to: asked.to,
            reason: asked.reason,
        })
        .await
        .map_err(|error| {
            let mut problem = Problem::from(error);
            problem.rename("/amount", "/what");
            problem
        })?;
    reply_with(StatusCode::CREATED, &done)
}

/// How all the rest is checked in.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CheckInRestBody {
    /// Where that is put which came from no place in use; not needed where all came from one.
    #[serde(default)]
    to: Option<PlaceId>,
    /// What was seen.
    #[serde(default)]
    reason: Note,
}

/// Checks in all that is still out with a set, each thing in the condition that it is in, where it
/// came from: one movement, which can be undone.
#[utoipa::path(post, path = "/designs/{id}/check-in-rest", request_body = CheckInRestBody,
    responses((status = 201, description = "It is checked in", body = Done)))]
async fn check_in_rest(api: Api, Path(id): Path<DesignId>, body: Body<CheckInRestBody>) -> Answer {
    lookup(&api, id).await?;
    let act = api.act(&body);
    let asked = CheckInRest {
        design: id,
        to: body.value.to,
        reason: body.value.reason,
    };
    reply_with(StatusCode::CREATED, &act.carry_out(&asked).await?)
}
