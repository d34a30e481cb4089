//! The extra lines of a set: anything else that it needs.

use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{added, changed, edit, lookup, tag_of};
use crate::{
    api::{
        Api,
        json::{Answer, Body, List, Path, reply},
        problem::Problem,
    },
    app::App,
    model::{
        design::{Design, Extra},
        id::{DesignId, ExtraId, PartId},
        text::Note,
    },
    stock::design::{Edit, Edited},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put, delete))
}

/// The extra lines of a set.
#[utoipa::path(get, path = "/designs/{id}/extras",
    responses((status = 200, description = "The extra lines", body = List<Extra>)))]
async fn list(api: Api, Path(id): Path<DesignId>) -> Answer {
    let items = lookup(&api, id).await?.extras;
    reply(&List { items, next: None })
}

/// An extra line.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ExtraBody {
    /// What.
    part: PartId,
    /// How many, or how long in micrometres for parts kept by length.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    amount: i64,
    /// What for.
    #[serde(default)]
    note: Note,
}

impl ExtraBody {
    fn read(self, id: ExtraId) -> Extra {
        Extra {
            id,
            part: self.part,
            amount: self.amount,
            note: self.note,
        }
    }
}

/// Adds an extra line. `If-Match` may say on which version of the set.
#[utoipa::path(post, path = "/designs/{id}/extras", request_body = ExtraBody,
    responses((status = 201, description = "It was added", body = Edited)))]
async fn add(api: Api, Path(id): Path<DesignId>, body: Body<ExtraBody>) -> Answer {
    let act = api.act(&body);
    let extra = body.value.read(ExtraId(0));
    let edited = edit(&api, &act, id, |_| Ok(Edit::AddExtra(extra.clone()))).await?;
    added(&edited)
}

fn extra(design: &Design, id: ExtraId) -> Result<&Extra, Problem> {
    design
        .extras
        .iter()
        .find(|extra| extra.id == id)
        .ok_or_else(|| Problem::not_found("extra line"))
}

/// One extra line; its entity tag is that of its set.
#[utoipa::path(get, path = "/designs/{id}/extras/{extra}",
    responses((status = 200, description = "The extra line", body = Extra)))]
async fn get(api: Api, Path((id, at)): Path<(DesignId, ExtraId)>) -> Answer {
    let design = lookup(&api, id).await?;
    api.reply(extra(&design, at)?, &tag_of(&design))
}

/// Saves an extra line.
#[utoipa::path(put, path = "/designs/{id}/extras/{extra}", request_body = ExtraBody,
    responses((status = 200, description = "What changed", body = Edited)))]
async fn put(api: Api, Path((id, at)): Path<(DesignId, ExtraId)>, body: Body<ExtraBody>) -> Answer {
    let design = lookup(&api, id).await?;
    extra(&design, at)?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&design)).await?;
    let line = body.value.read(at);
    let edited = edit(&api, &act, id, |_| Ok(Edit::ChangeExtra(line.clone()))).await?;
    changed(&edited)
}

/// Removes an extra line.
#[utoipa::path(delete, path = "/designs/{id}/extras/{extra}",
    responses((status = 200, description = "It was removed", body = Edited)))]
async fn delete(api: Api, Path((id, at)): Path<(DesignId, ExtraId)>) -> Answer {
    let act = api.act_bare();
    let design = lookup(&api, id).await?;
    if !api.repeats(&act).await? {
        extra(&design, at)?;
    }
    api.must_match(&act, &tag_of(&design)).await?;
    let edited = edit(&api, &act, id, |_| Ok(Edit::RemoveExtra(at))).await?;
    changed(&edited)
}
