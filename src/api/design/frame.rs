//! The frames of a set.

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
        design::{Design, Frame},
        id::{DesignId, FrameId, ThingId},
        text::Name,
    },
    stock::design::{Edit, Edited},
    units::{Length, SignedLength},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put, delete))
}

/// The frames of a set.
#[utoipa::path(get, path = "/designs/{id}/frames",
    responses((status = 200, description = "The frames", body = List<Frame>)))]
async fn list(api: Api, Path(id): Path<DesignId>) -> Answer {
    let items = lookup(&api, id).await?.frames;
    reply(&List { items, next: None })
}

/// A frame of a set.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[schema(as = DesignFrameBody)]
#[serde(deny_unknown_fields)]
struct FrameBody {
    /// Name on pages and sheets.
    label: Name,
    /// Left edge.
    #[serde(default)]
    x_um: SignedLength,
    /// Lower edge, above the floor.
    #[serde(default)]
    y_um: SignedLength,
    /// Width.
    width_um: Length,
    /// Height.
    height_um: Length,
    /// The frame in the cupboard that serves.
    #[serde(default)]
    thing: Option<ThingId>,
}

impl FrameBody {
    fn read(self, id: FrameId) -> Frame {
        Frame {
            id,
            label: self.label,
            x_um: self.x_um,
            y_um: self.y_um,
            width_um: self.width_um,
            height_um: self.height_um,
            thing: self.thing,
        }
    }
}

/// Adds a frame. `If-Match` may say on which version of the set.
#[utoipa::path(post, path = "/designs/{id}/frames", request_body = FrameBody,
    responses((status = 201, description = "It was added", body = Edited)))]
async fn add(api: Api, Path(id): Path<DesignId>, body: Body<FrameBody>) -> Answer {
    let act = api.act(&body);
    let frame = body.value.read(FrameId(0));
    let edited = edit(&api, &act, id, |_| Ok(Edit::AddFrame(frame.clone()))).await?;
    added(&edited)
}

fn frame(design: &Design, id: FrameId) -> Result<&Frame, Problem> {
    design
        .frames
        .iter()
        .find(|frame| frame.id == id)
        .ok_or_else(|| Problem::not_found("frame"))
}

/// One frame; its entity tag is that of its set.
#[utoipa::path(get, path = "/designs/{id}/frames/{frame}",
    responses((status = 200, description = "The frame", body = Frame)))]
async fn get(api: Api, Path((id, at)): Path<(DesignId, FrameId)>) -> Answer {
    let design = lookup(&api, id).await?;
    api.reply(frame(&design, at)?, &tag_of(&design))
}

/// Saves a frame.
#[utoipa::path(put, path = "/designs/{id}/frames/{frame}", request_body = FrameBody,
    responses((status = 200, description = "What changed", body = Edited)))]
async fn put(api: Api, Path((id, at)): Path<(DesignId, FrameId)>, body: Body<FrameBody>) -> Answer {
    let design = lookup(&api, id).await?;
    frame(&design, at)?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&design)).await?;
    let changed_frame = body.value.read(at);
    let edited = edit(&api, &act, id, |_| {
        Ok(Edit::ChangeFrame(changed_frame.clone()))
    })
    .await?;
    changed(&edited)
}

/// Removes a frame; its bars stay, on no frame.
#[utoipa::path(delete, path = "/designs/{id}/frames/{frame}",
    responses((status = 200, description = "It was removed", body = Edited)))]
async fn delete(api: Api, Path((id, at)): Path<(DesignId, FrameId)>) -> Answer {
    let act = api.act_bare();
    let design = lookup(&api, id).await?;
    if !api.repeats(&act).await? {
        frame(&design, at)?;
    }
    api.must_match(&act, &tag_of(&design)).await?;
    let edited = edit(&api, &act, id, |_| Ok(Edit::RemoveFrame(at))).await?;
    changed(&edited)
}
