//! Places to keep things.

use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, List, Path, Query, created, page_size, reply, reply_tagged},
    problem::Problem,
    shape::{Contents, CountAt, PlaceNode, Thing},
    tag,
};
use crate::{
    app::App,
    db::{self, place::NewPlace},
    model::{
        id::PlaceId,
        place::{Place, PlaceKind},
        text::{Name, Note},
    },
    stock,
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put))
        .routes(routes!(contents))
}

fn tag_of(place: &Place) -> String {
    tag("place", place.id.0, place.version)
}

/// Which places a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// Those too that are no longer in use.
    #[serde(default)]
    retired: bool,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// Places, by id; `parent` and `position` give the order in which one walks.
#[utoipa::path(get, path = "/places", params(ListQuery),
    responses((status = 200, description = "The places", body = List<PlaceNode>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let places = db::place::list_filled(&mut *api.read().await?, query.retired).await?;
    let places = places.into_iter().map(PlaceNode::from).collect();
    reply(&List::page(
        places,
        query.after,
        size,
        |place: &PlaceNode| place.id.0,
    ))
}

/// A place to be added.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewPlaceBody {
    /// The place that it is in.
    #[serde(default)]
    parent: Option<PlaceId>,
    /// Its name.
    name: Name,
    /// What it is.
    kind: PlaceKind,
    /// Order along which one walks, among the places beside it.
    #[serde(default)]
    #[schema(minimum = -1_000_000, maximum = 1_000_000)]
    position: i64,
    /// Notes.
    #[serde(default)]
    note: Note,
}

fn check_position(position: i64) -> Result<(), Problem> {
    if (-1_000_000..=1_000_000).contains(&position) {
        Ok(())
    } else {
        Err(Problem::field(
            "/position",
            "Send a whole number from -1000000 to 1000000.",
        ))
    }
}

/// Adds a place.
#[utoipa::path(post, path = "/places", request_body = NewPlaceBody,
    responses((status = 201, description = "It was added", body = super::json::Created)))]
async fn add(api: Api, body: Body<NewPlaceBody>) -> Answer {
    let act = api.act(&body);
    let asked = body.value;
    check_position(asked.position)?;
    let id = stock::place::add(
        &act,
        &NewPlace {
            parent: asked.parent,
            name: asked.name,
            kind: asked.kind,
            position: asked.position,
            note: asked.note,
        },
    )
    .await?;
    created(id.0, format!("/api/v1/places/{id}"))
}

/// One place.
#[utoipa::path(get, path = "/places/{id}", responses((status = 200, description = "The place", body = Place)))]
async fn get(api: Api, Path(id): Path<PlaceId>) -> Answer {
    let place = lookup(&api, id).await?;
    api.reply(&place, &tag_of(&place))
}

async fn lookup(api: &Api, id: PlaceId) -> Result<Place, Problem> {
    db::place::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("place"))
}

/// A place to be saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PlaceBody {
    /// The place that it is in.
    parent: Option<PlaceId>,
    /// Its name.
    name: Name,
    /// What it is.
    kind: PlaceKind,
    /// Order along which one walks, among the places beside it.
    #[schema(minimum = -1_000_000, maximum = 1_000_000)]
    position: i64,
    /// Notes.
    #[serde(default)]
    note: Note,
    /// No longer in use; refused while something lies in it.
    #[serde(default)]
    retired: bool,
}

/// Saves a place.
#[utoipa::path(put, path = "/places/{id}", request_body = PlaceBody,
    responses((status = 200, description = "The place as saved", body = Place)))]
async fn put(api: Api, Path(id): Path<PlaceId>, body: Body<PlaceBody>) -> Answer {
    let old = lookup(&api, id).await?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&old)).await?;
    let asked = body.value;
    check_position(asked.position)?;
    let changed = Place {
        parent: asked.parent,
        name: asked.name,
        kind: asked.kind,
        position: asked.position,
        note: asked.note,
        retired: asked.retired,
        ..old
    };
    stock::place::change(&act, &changed).await?;
    let place = lookup(&api, id).await?;
    reply_tagged(&place, &tag_of(&place))
}

/// What lies in a place, not counting places inside it.
#[utoipa::path(get, path = "/places/{id}/contents",
    responses((status = 200, description = "What lies there", body = Contents)))]
async fn contents(api: Api, Path(id): Path<PlaceId>) -> Answer {
    let mut tx = api.read().await?;
    let account = db::place::account(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("place"))?;
    let things = db::thing::list_at(&mut tx, account).await?;
    let counts = db::balance::list_at(&mut tx, account).await?;
    reply(&Contents {
        things: things.into_iter().map(Thing::from).collect(),
        counts: counts.into_iter().map(CountAt::from).collect(),
    })
}
