//! A piece cut at the bench.

use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::carry_out;
use crate::{
    api::{
        Api,
        json::{Answer, Body},
    },
    app::App,
    model::{
        id::{DesignId, PlaceId, ThingId},
        text::{Note, Tag},
    },
    stock::{
        change::Done,
        cut::{Cut, Segment},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(cut))
}

/// One part of a piece that is cut.
#[derive(Debug, Deserialize, ToSchema)]
#[schema(as = CutSegmentBody)]
#[serde(deny_unknown_fields)]
struct SegmentBody {
    /// From here, in the part's stock unit (cut units of tape, else micrometres), counted from
    /// the marked end.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    from: i64,
    /// To here.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    to: i64,
    /// Thrown away rather than kept.
    #[serde(default)]
    scrap: bool,
    /// The tag of what is kept; the next free one where none is said.
    #[serde(default)]
    tag: Option<Tag>,
}

/// A piece to be cut. What no segment covers is lost to the saw.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CutBody {
    /// Which.
    piece: ThingId,
    /// In order from the marked end.
    #[schema(min_items = 1, max_items = 500)]
    segments: Vec<SegmentBody>,
    /// Where the children are put; where the piece lay, if nothing is said.
    #[serde(default)]
    to: Option<PlaceId>,
    /// For which set, if for one.
    #[serde(default)]
    design: Option<DesignId>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Cuts a piece: it ends, and its children begin.
#[utoipa::path(post, path = "/movements/cut", request_body = CutBody,
    responses((status = 201, description = "It was cut; `things` are its children", body = Done)))]
async fn cut(api: Api, body: Body<CutBody>) -> Answer {
    carry_out(&api, body, |asked| Cut {
        piece: asked.piece,
        segments: asked
            .segments
            .into_iter()
            .map(|segment| Segment {
                from: segment.from,
                to: segment.to,
                scrap: segment.scrap,
                tag: segment.tag,
            })
            .collect(),
        to: asked.to,
        reason: asked.reason,
        design: asked.design,
    })
    .await
}
