//! The catalogue, what there is of each part, and the ready-made parts.

use serde::Deserialize;
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{
        Answer, Body, Created, List, Path, Query, created, done, from_value, page_size, reply,
        reply_tagged, reply_with,
    },
    problem::Problem,
    shape::{Hold, PartAt, PartStock, ReadyMade, Taken},
    tag,
};
use crate::{
    app::App,
    db::{
        self,
        part::{NewPart, PartFilter},
    },
    model::{
        id::{PartId, PlaceId},
        part::{Kind, Part, PartSpec},
        ready_made,
        text::{NAME_LIMIT, Name, Note},
    },
    stock::{StockError, catalogue},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put, delete))
        .routes(routes!(whereabouts))
        .routes(routes!(holds))
        .routes(routes!(stock))
        .routes(routes!(ready_made_parts, take_ready_made))
}

fn tag_of(part: &Part) -> String {
    tag("part", part.id.0, part.version)
}

/// Which parts a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// Of one kind.
    kind: Option<Kind>,
    /// Each word occurs in the name, kind, attributes or note; part of a word counts.
    #[serde(default)]
    typed: String,
    /// Retired ones too.
    #[serde(default)]
    retired: bool,
    /// Only those of which there is something.
    #[serde(default)]
    in_stock: bool,
    /// Only those of which something lies in this place or in a place inside it.
    place: Option<PlaceId>,
    /// Only those of which a piece or unit is suspect or dead.
    #[serde(default)]
    bad: bool,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// More parts than any catalogue has.
const EVERY: i64 = 100_000;

async fn found(api: &Api, query: ListQuery) -> Result<Vec<db::part::PartStock>, Problem> {
    let filter = PartFilter {
        kind: query.kind,
        typed: query.typed,
        retired: query.retired,
        in_stock: query.in_stock,
        place: query.place,
        bad: query.bad,
        ..PartFilter::default()
    };
    Ok(db::part::list_stock(&mut *api.read().await?, &filter, 0, EVERY).await?)
}

/// The catalogue, by id.
#[utoipa::path(get, path = "/parts", params(ListQuery),
    responses((status = 200, description = "The parts", body = List<Part>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let (size, after) = (page_size(query.limit)?, query.after);
    let parts = found(&api, query)
        .await?
        .into_iter()
        .map(|it| it.part)
        .collect();
    reply(&List::page(parts, after, size, |part: &Part| part.id.0))
}

/// What there is of each part, by the part's id.
#[utoipa::path(get, path = "/stock", params(ListQuery),
    responses((status = 200, description = "What there is", body = List<PartStock>)))]
async fn stock(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let (size, after) = (page_size(query.limit)?, query.after);
    let parts = found(&api, query)
        .await?
        .into_iter()
        .map(PartStock::from)
        .collect();
    reply(&List::page(parts, after, size, |part: &PartStock| {
        part.part.0
    }))
}

/// A part to be added.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewPartBody {
    /// Its name.
    name: Name,
    /// The maker's own code; may be empty.
    #[serde(default)]
    #[schema(max_length = 120)]
    code: String,
    /// Kind and attributes.
    #[schema(value_type = PartSpec)]
    spec: Value,
    /// The figures are typical ones, to be replaced by the maker's.
    #[serde(default)]
    typical: bool,
    /// Notes.
    #[serde(default)]
    note: Note,
}

/// A part to be saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PartBody {
    /// Its name.
    name: Name,
    /// The maker's own code; may be empty.
    #[serde(default)]
    #[schema(max_length = 120)]
    code: String,
    /// Kind and attributes.
    #[schema(value_type = PartSpec)]
    spec: Value,
    /// The figures are typical ones, to be replaced by the maker's.
    #[serde(default)]
    typical: bool,
    /// Notes.
    #[serde(default)]
    note: Note,
    /// No longer offered for new use.
    #[serde(default)]
    retired: bool,
}

/// Kind and attributes, read by the kind, so that what is wrong is found at its own field.
fn spec(value: Value) -> Result<PartSpec, Problem> {
    let Value::Object(mut fields) = value else {
        return Err(Problem::field(
            "/spec",
            "A part's kind and attributes are an object.",
        ));
    };
    let kind = match fields.remove("kind") {
        Some(Value::String(kind)) => Kind::ALL.iter().copied().find(|known| known.word() == kind),
        _ => None,
    };
    let Some(kind) = kind else {
        let known: Vec<_> = Kind::ALL.iter().map(|kind| kind.word()).collect();
        return Err(Problem::field(
            "/spec/kind",
            format!("The kind is one of: {}.", known.join(", ")),
        ));
    };
    let rest = Value::Object(fields);
    let spec = match kind {
        Kind::Tape => from_value(rest).map(PartSpec::Tape),
        Kind::Profile => from_value(rest).map(PartSpec::Profile),
        Kind::Lead => from_value(rest).map(PartSpec::Lead),
        Kind::Coupler => from_value(rest).map(PartSpec::Coupler),
        Kind::Block => from_value(rest).map(PartSpec::Block),
        Kind::Cable => from_value(rest).map(PartSpec::Cable),
        Kind::Driver => from_value(rest).map(PartSpec::Driver),
        Kind::Supply => from_value(rest).map(PartSpec::Supply),
        Kind::Data => from_value(rest).map(PartSpec::Data),
        Kind::Sundry => from_value(rest).map(PartSpec::Sundry),
    };
    spec.map_err(|problem| problem.under("/spec"))
}

fn code(code: &str) -> Result<String, Problem> {
    let code = code.trim();
    if code.chars().count() > NAME_LIMIT {
        return Err(Problem::field(
            "/code",
            format!("At most {NAME_LIMIT} characters are kept. Shorten it."),
        ));
    }
    Ok(code.to_owned())
}

/// The name is beside the attributes; every other field that is named is one of them.
fn at_field(error: StockError) -> Problem {
    let attribute = matches!(&error, StockError::Field { field, .. } if field != "name");
    let problem = Problem::from(error);
    if attribute {
        problem.under("/spec")
    } else {
        problem
    }
}

/// Adds a part.
#[utoipa::path(post, path = "/parts", request_body = NewPartBody,
    responses((status = 201, description = "It was added", body = Created)))]
async fn add(api: Api, body: Body<NewPartBody>) -> Answer {
    let act = api.act(&body);
    let asked = body.value;
    let new = NewPart {
        name: asked.name,
        code: code(&asked.code)?,
        spec: spec(asked.spec)?,
        typical: asked.typical,
        ready_made: None,
        note: asked.note,
    };
    let id = catalogue::add(&act, &new).await.map_err(at_field)?;
    created(id.0, format!("/api/v1/parts/{id}"))
}

async fn lookup(api: &Api, id: PartId) -> Result<Part, Problem> {
    db::part::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("part"))
}

/// One part.
#[utoipa::path(get, path = "/parts/{id}", responses((status = 200, description = "The part", body = Part)))]
async fn get(api: Api, Path(id): Path<PartId>) -> Answer {
    let part = lookup(&api, id).await?;
    api.reply(&part, &tag_of(&part))
}

/// Saves a part. Kind, cut pitch and measure stay while there is stock of it.
#[utoipa::path(put, path = "/parts/{id}", request_body = PartBody,
    responses((status = 200, description = "The part as saved", body = Part)))]
async fn put(api: Api, Path(id): Path<PartId>, body: Body<PartBody>) -> Answer {
    let old = lookup(&api, id).await?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&old)).await?;
    let asked = body.value;
    let part = Part {
        id,
        name: asked.name,
        code: code(&asked.code)?,
        spec: spec(asked.spec)?,
        typical: asked.typical,
        note: asked.note,
        retired: asked.retired,
        version: old.version,
    };
    catalogue::change(&act, &part).await.map_err(at_field)?;
    let part = lookup(&api, id).await?;
    reply_tagged(&part, &tag_of(&part))
}

/// Deletes a part that nothing uses; one that is in use can only be retired.
#[utoipa::path(delete, path = "/parts/{id}", responses((status = 204, description = "It is gone")))]
async fn delete(api: Api, Path(id): Path<PartId>) -> Answer {
    let act = api.act_bare();
    if !api.repeats(&act).await? {
        let old = lookup(&api, id).await?;
        api.must_match(&act, &tag_of(&old)).await?;
    }
    catalogue::remove(&act, id).await?;
    done()
}

/// Where a part lies, and how much of it.
#[utoipa::path(get, path = "/parts/{id}/stock",
    responses((status = 200, description = "Where it lies, places first", body = List<PartAt>)))]
async fn whereabouts(api: Api, Path(id): Path<PartId>) -> Answer {
    let part = lookup(&api, id).await?;
    let found = db::balance::list_of_part(&mut *api.read().await?, id).await?;
    reply(&List {
        items: found.into_iter().map(|at| PartAt::new(at, &part)).collect(),
        next: None,
    })
}

/// Who holds counts of a part.
#[utoipa::path(get, path = "/parts/{id}/holds",
    responses((status = 200, description = "The holds", body = List<Hold>)))]
async fn holds(api: Api, Path(id): Path<PartId>) -> Answer {
    lookup(&api, id).await?;
    let found = db::reservation::list_on_part(&mut *api.read().await?, id).await?;
    reply(&List {
        items: found.into_iter().map(Hold::from).collect(),
        next: None,
    })
}

/// Generic parts to be taken instead of typing; their figures are typical ones.
#[utoipa::path(get, path = "/ready-made",
    responses((status = 200, description = "The ready-made parts", body = List<ReadyMade>)))]
async fn ready_made_parts(api: Api) -> Answer {
    let taken = db::part::list_ready_made(&mut *api.read().await?).await?;
    let items = ready_made::all()
        .iter()
        .map(|part| ReadyMade {
            key: part.key.to_owned(),
            name: part.name.to_string(),
            spec: part.spec.clone(),
            taken: taken.iter().any(|key| key == part.key),
        })
        .collect();
    reply(&List { items, next: None })
}

/// Ready-made parts to be taken.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TakeBody {
    /// Their keys.
    #[schema(min_items = 1, max_items = 200)]
    keys: Vec<String>,
}

/// Takes ready-made parts into the catalogue, all or none; those that are there already stay.
#[utoipa::path(post, path = "/ready-made", request_body = TakeBody,
    responses((status = 201, description = "They are in the catalogue", body = Taken)))]
async fn take_ready_made(api: Api, body: Body<TakeBody>) -> Answer {
    let keys = &body.value.keys;
    if !(1..=200).contains(&keys.len()) {
        return Err(Problem::field(
            "/keys",
            "Name 1 to 200 ready-made parts by their keys.",
        ));
    }
    if let Some(at) = keys.iter().position(|key| ready_made::find(key).is_none()) {
        return Err(Problem::field(
            format!("/keys/{at}"),
            "There is no ready-made part of this key.",
        ));
    }
    let added = catalogue::take_ready_made(&api.act(&body), keys).await?;
    reply_with(axum::http::StatusCode::CREATED, &Taken { added })
}
