//! The ledger: read, and added to by what happens to the stock.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, List, Path, Query, page_size, reply, reply_with},
    problem::Problem,
    shape::Movement,
};
use crate::{
    app::App,
    db::{
        self,
        movement::{About, LogFilter},
    },
    model::{
        id::{DesignId, MovementId, PartId, PlaceId, ThingId},
        movement::MovementKind,
        text::{Name, Note},
    },
    stock::{
        StockError,
        change::{Change, Done},
        undo::Undo,
    },
};

mod cut;
mod given;
pub(super) mod make;
mod moved;
mod received;

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(get))
        .routes(routes!(undo))
        .merge(received::routes())
        .merge(moved::routes())
        .merge(given::routes())
        .merge(cut::routes())
        .merge(make::routes())
}

/// Which movements a list has: about one part, thing, place or set, or all.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// About one part.
    part: Option<PartId>,
    /// About one thing, its marks included.
    thing: Option<ThingId>,
    /// Into or out of one place.
    place: Option<PlaceId>,
    /// For one set.
    design: Option<DesignId>,
    /// By whom.
    #[param(value_type = Option<String>, max_length = 120)]
    who: Option<Name>,
    /// Of one kind.
    kind: Option<MovementKind>,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before: older ones follow.
    after: Option<MovementId>,
}

/// Movements, newest first.
#[utoipa::path(get, path = "/movements", params(ListQuery),
    responses((status = 200, description = "The movements", body = List<Movement>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let mut tx = api.read().await?;
    let about = match (query.part, query.thing, query.place, query.design) {
        (None, None, None, None) => About::All,
        (Some(part), None, None, None) => About::Part(part),
        (None, Some(thing), None, None) => About::Thing(thing),
        (None, None, Some(place), None) => About::Account(
            db::place::account(&mut tx, place)
                .await?
                .ok_or_else(|| Problem::parameter("place", "There is no such place."))?,
        ),
        (None, None, None, Some(design)) => About::Design(design),
        _ => {
            return Err(Problem::parameter(
                "part",
                "Ask about one part, thing, place or set at once.",
            ));
        }
    };
    let filter = LogFilter {
        about,
        who: query.who,
        kind: query.kind,
        before: query.after,
    };
    let limit = i64::try_from(size).unwrap_or(0) + 1;
    let found = db::movement::list(&mut tx, &filter, limit).await?;
    let found = found.into_iter().map(Movement::from).collect();
    reply(&List::cut(found, size, |it: &Movement| it.id.0))
}

/// One movement.
#[utoipa::path(get, path = "/movements/{id}",
    responses((status = 200, description = "The movement", body = Movement)))]
async fn get(api: Api, Path(id): Path<MovementId>) -> Answer {
    let found = db::movement::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("movement"))?;
    reply(&Movement::from(found))
}

/// Why something is done.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ReasonBody {
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Undoes a movement by a counter-movement; refused where a later one stands in the way.
#[utoipa::path(post, path = "/movements/{id}/undo", request_body = ReasonBody,
    responses((status = 201, description = "It was undone", body = Done)))]
async fn undo(api: Api, Path(id): Path<MovementId>, body: Body<ReasonBody>) -> Answer {
    let act = api.act(&body);
    let done = act
        .carry_out(&Undo {
            movement: id,
            reason: body.value.reason,
        })
        .await?;
    reply_with(StatusCode::CREATED, &done)
}

/// Carries one change of stock out (201): the same request under the same key changes nothing
/// more, and gets the first answer again. What the body names and is not there is a wrong field.
async fn carry_out<T, C: Change + Sync>(
    api: &Api,
    body: Body<T>,
    change: impl FnOnce(T) -> C,
) -> Answer {
    let act = api.act(&body);
    match act.carry_out(&change(body.value)).await {
        Ok(answer) => reply_with(StatusCode::CREATED, &answer),
        Err(StockError::NotFound(what)) => Err(Problem::field(
            "",
            format!("There is no such {what}. Send the id of one that is there."),
        )),
        Err(error) => Err(error.into()),
    }
}

/// Pointers of the use-case, as the body names its fields.
pub(super) fn renamed(mut problem: Problem, names: &[(&str, &str)]) -> Problem {
    for (from, to) in names {
        problem.rename(from, to);
    }
    problem
}
