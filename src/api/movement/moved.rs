//! Things and counts put somewhere else: on a shelf, on stage, on a frame.

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
        id::{AccountId, DesignId, PartId, PlaceId, ThingId},
        text::Note,
    },
    stock::{
        change::{Done, What},
        mount::{Mount, Unmount},
        move_::{BringBack, Move, TakeOut},
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(put_away))
        .routes(routes!(take_out))
        .routes(routes!(bring_back))
        .routes(routes!(mount))
        .routes(routes!(unmount))
}

/// What is to move: a thing from where it is, or a count from an account.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case", deny_unknown_fields)]
pub enum WhatBody {
    /// A piece, unit, fixture or frame, from where it is.
    Thing {
        /// Which.
        thing: ThingId,
    },
    /// A count of a part.
    Count {
        /// Of what.
        part: PartId,
        /// How many, or how many micrometres of a sundry kept by length.
        #[schema(minimum = 1, maximum = 1_000_000_000)]
        amount: i64,
        /// The account that it is taken from, as `at.account` says where something lies.
        from: AccountId,
    },
}

impl From<WhatBody> for What {
    fn from(what: WhatBody) -> Self {
        match what {
            WhatBody::Thing { thing } => Self::Thing { thing },
            WhatBody::Count { part, amount, from } => Self::Count { part, amount, from },
        }
    }
}

/// What is to move, for the use-cases.
pub fn all(what: Vec<WhatBody>) -> Vec<What> {
    what.into_iter().map(What::from).collect()
}

/// Something put into a place.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct MoveBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// Where to.
    to: PlaceId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Puts things and counts into another place.
#[utoipa::path(post, path = "/movements/move", request_body = MoveBody,
    responses((status = 201, description = "They were moved", body = Done)))]
async fn put_away(api: Api, body: Body<MoveBody>) -> Answer {
    carry_out(&api, body, |asked| Move {
        what: all(asked.what),
        to: asked.to,
        reason: asked.reason,
    })
    .await
}

/// Something for a set's stage.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TakeOutBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// For which set.
    design: DesignId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Takes things and counts out to the stage of a set.
#[utoipa::path(post, path = "/movements/take-out", request_body = TakeOutBody,
    responses((status = 201, description = "They are out", body = Done)))]
async fn take_out(api: Api, body: Body<TakeOutBody>) -> Answer {
    carry_out(&api, body, |asked| TakeOut {
        what: all(asked.what),
        design: asked.design,
        reason: asked.reason,
    })
    .await
}

/// Something from a set's stage.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct BringBackBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// From which set's stage.
    design: DesignId,
    /// Where it is put.
    to: PlaceId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Brings things and counts back from the stage of a set.
#[utoipa::path(post, path = "/movements/bring-back", request_body = BringBackBody,
    responses((status = 201, description = "They are back", body = Done)))]
async fn bring_back(api: Api, body: Body<BringBackBody>) -> Answer {
    carry_out(&api, body, |asked| BringBack {
        what: all(asked.what),
        design: asked.design,
        to: asked.to,
        reason: asked.reason,
    })
    .await
}

/// Something for a frame.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct MountBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// The frame.
    frame: ThingId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Mounts things and counts on a frame: from then on they go where it goes.
#[utoipa::path(post, path = "/movements/mount", request_body = MountBody,
    responses((status = 201, description = "They are mounted", body = Done)))]
async fn mount(api: Api, body: Body<MountBody>) -> Answer {
    carry_out(&api, body, |asked| Mount {
        what: all(asked.what),
        frame: asked.frame,
        reason: asked.reason,
    })
    .await
}

/// Takes things and counts off a frame.
#[utoipa::path(post, path = "/movements/unmount", request_body = MoveBody,
    responses((status = 201, description = "They are off", body = Done)))]
async fn unmount(api: Api, body: Body<MoveBody>) -> Answer {
    carry_out(&api, body, |asked| Unmount {
        what: all(asked.what),
        to: asked.to,
        reason: asked.reason,
    })
    .await
}
