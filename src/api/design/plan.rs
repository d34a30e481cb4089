//! The plan of a set, its limits with the reasons given for them, and the reservation.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{lookup, tag_of};
use crate::{
    api::{
        Api,
        json::{Answer, Body, List, Path, done, reply, reply_with, tagged},
        problem::Problem,
        tag,
    },
    app::App,
    db::{self, design::LimitReason},
    model::id::DesignId,
    plan::Plan,
    stock::{
        design::{REASON_LIMIT, give_reason},
        planned,
        reserve::{self, Outcome},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(get))
        .routes(routes!(reserve_plan))
        .routes(routes!(reasons, reason))
}

/// A plan of a set as it and the stock are now.
#[derive(Debug, Serialize, ToSchema)]
struct Planned {
    /// The version of the set that it was made from.
    version: i64,
    /// Its digest, to be sent back when it is reserved.
    digest: String,
    /// Limits that are broken or not known and have no reason yet, by their keys.
    unreasoned: Vec<String>,
    /// The plan.
    plan: Plan,
}

/// Plans a set as it is now: what serves, how to cut, wire, power and address, what is short.
#[utoipa::path(get, path = "/designs/{id}/plan",
    responses((status = 200, description = "The plan", body = Planned)))]
async fn get(api: Api, Path(id): Path<DesignId>) -> Answer {
    let planned = planned::plan_now(api.db(), id, api.today).await?;
    let reasons = db::design::list_reasons(&mut *api.read().await?, id).await?;
    reply(&Planned {
        version: planned.input.design.version,
        digest: planned.digest.clone(),
        unreasoned: reserve::unreasoned(&planned.plan, &reasons)
            .map(|check| check.key.clone())
            .collect(),
        plan: Plan::clone(&planned.plan),
    })
}

/// Which plan is to be held.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ReserveBody {
    /// The version of the set that its plan was made from.
    #[schema(minimum = 1, maximum = 9_000_000_000_000_000_i64)]
    version: i64,
    /// The digest of the plan that was read.
    #[schema(max_length = 200)]
    digest: String,
}

/// That everything of the plan is held.
#[derive(Debug, Serialize, ToSchema)]
struct Reserved {
    /// The version of the set from now on.
    version: i64,
    /// How many holds.
    holds: usize,
    /// Whether something is short, and so not held.
    short: bool,
}

/// Holds exactly what the plan shows. When the stock or the set has changed since the plan was
/// read, nothing is held: 409 says what changed, and `/plan` gives the new plan.
#[utoipa::path(post, path = "/designs/{id}/reserve", request_body = ReserveBody,
    responses((status = 201, description = "It is reserved", body = Reserved)))]
async fn reserve_plan(api: Api, Path(id): Path<DesignId>, body: Body<ReserveBody>) -> Answer {
    let act = api.act(&body);
    let ReserveBody { version, digest } = body.value;
    let outcome = match reserve::reserve(&act, id, version, &digest).await {
        Err(crate::stock::StockError::Changed) => {
            return Err(Problem::changed(&tag_of(&lookup(&api, id).await?)));
        }
        outcome => outcome?,
    };
    match outcome {
        Outcome::Reserved {
            version,
            holds,
            short,
        } => {
            let reserved = Reserved {
                version,
                holds,
                short,
            };
            let answer = reply_with(axum::http::StatusCode::CREATED, &reserved)?;
            Ok(tagged(answer, &tag("design", id.0, version)))
        }
        Outcome::Changed { differences, .. } => Err(Problem::new(
            axum::http::StatusCode::CONFLICT,
            format!(
                "The plan is another now, and nothing was held. Read it again and reserve that \
                 one. {}",
                differences.join(" ")
            ),
        )),
    }
}

/// Reasons given for limits that the plan breaks.
#[utoipa::path(get, path = "/designs/{id}/reasons",
    responses((status = 200, description = "The reasons", body = List<LimitReason>)))]
async fn reasons(api: Api, Path(id): Path<DesignId>) -> Answer {
    lookup(&api, id).await?;
    let items = db::design::list_reasons(&mut *api.read().await?, id).await?;
    reply(&List { items, next: None })
}

/// Why a plan is used although it breaks a limit.
#[derive(Debug, Deserialize, ToSchema)]
#[schema(as = LimitReasonBody)]
#[serde(deny_unknown_fields)]
struct ReasonBody {
    /// The limit, by the key of its check in the plan.
    #[schema(min_length = 1, max_length = 400)]
    check_key: String,
    /// The reason; empty takes it back.
    #[schema(max_length = 400)]
    reason: String,
}

/// Gives the reason for which a plan is used although it breaks a limit; it prints on the sheets.
#[utoipa::path(post, path = "/designs/{id}/reasons", request_body = ReasonBody,
    responses((status = 204, description = "It is written down")))]
async fn reason(api: Api, Path(id): Path<DesignId>, body: Body<ReasonBody>) -> Answer {
    let act = api.act(&body);
    let ReasonBody { check_key, reason } = body.value;
    if !(1..=REASON_LIMIT).contains(&check_key.chars().count()) {
        return Err(Problem::field(
            "/check_key",
            "Send the key of a check of the plan.",
        ));
    }
    give_reason(&act, id, &check_key, &reason).await?;
    done()
}
