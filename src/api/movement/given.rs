//! What leaves the cupboard, for a while or for good, what turns up again, and in what condition.

use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    carry_out,
    moved::{WhatBody, all},
};
use crate::{
    api::{
        Api,
        json::{Answer, Body},
    },
    app::App,
    model::{
        fixture::Condition,
        id::{DesignId, PartId, PlaceId, ThingId},
        text::{Name, Note},
    },
    stock::{
        change::Done,
        lend::{GiveBack, Lend},
        mark::MarkCondition,
        out::{Fate, Find, LostWhat, Out},
        swap::Swap,
    },
    units::Date,
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(lend))
        .routes(routes!(give_back))
        .routes(routes!(out))
        .routes(routes!(find))
        .routes(routes!(mark))
        .routes(routes!(swap))
}

/// Something that somebody borrows.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct LendBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// Who has it.
    borrower: Name,
    /// When it should be back: today or later.
    #[schema(value_type = String, format = Date)]
    due_on: Date,
    /// Notes.
    #[serde(default)]
    note: Note,
}

/// Lends things and counts out.
#[utoipa::path(post, path = "/movements/lend", request_body = LendBody,
    responses((status = 201, description = "They are lent out", body = Done)))]
async fn lend(api: Api, body: Body<LendBody>) -> Answer {
    carry_out(&api, body, |asked| Lend {
        what: all(asked.what),
        borrower: asked.borrower,
        due_on: asked.due_on,
        note: asked.note,
    })
    .await
}

/// Something that comes back from a borrower.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct GiveBackBody {
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// Where it is put.
    to: PlaceId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Takes things and counts back from a borrower.
#[utoipa::path(post, path = "/movements/give-back", request_body = GiveBackBody,
    responses((status = 201, description = "They are back", body = Done)))]
async fn give_back(api: Api, body: Body<GiveBackBody>) -> Answer {
    carry_out(&api, body, |asked| GiveBack {
        what: all(asked.what),
        to: asked.to,
        reason: asked.reason,
    })
    .await
}

/// How something leaves.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum FateBody {
    /// Used up.
    Used,
    /// Thrown away.
    Scrapped,
    /// Not to be found.
    Lost,
}

/// Something that leaves for good.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct OutBody {
    /// How.
    fate: FateBody,
    /// What.
    #[schema(min_items = 1)]
    what: Vec<WhatBody>,
    /// For which set, if for one.
    #[serde(default)]
    design: Option<DesignId>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Notes things and counts as used up, thrown away or lost.
#[utoipa::path(post, path = "/movements/out", request_body = OutBody,
    responses((status = 201, description = "They are no longer there", body = Done)))]
async fn out(api: Api, body: Body<OutBody>) -> Answer {
    carry_out(&api, body, |asked| Out {
        fate: match asked.fate {
            FateBody::Used => Fate::Used,
            FateBody::Scrapped => Fate::Scrapped,
            FateBody::Lost => Fate::Lost,
        },
        what: all(asked.what),
        design: asked.design,
        reason: asked.reason,
    })
    .await
}

/// What was lost.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case", deny_unknown_fields)]
enum LostBody {
    /// A thing.
    Thing {
        /// Which.
        thing: ThingId,
    },
    /// A count of a part, not more than was lost.
    Count {
        /// Of what.
        part: PartId,
        /// How many.
        #[schema(minimum = 1, maximum = 1_000_000_000)]
        amount: i64,
    },
}

/// Something lost that turned up.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct FindBody {
    /// What.
    what: LostBody,
    /// Where it is put.
    to: PlaceId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Takes something lost that turned up into stock again.
#[utoipa::path(post, path = "/movements/find", request_body = FindBody,
    responses((status = 201, description = "It is there again", body = Done)))]
async fn find(api: Api, body: Body<FindBody>) -> Answer {
    carry_out(&api, body, |asked| Find {
        what: match asked.what {
            LostBody::Thing { thing } => LostWhat::Thing(thing),
            LostBody::Count { part, amount } => LostWhat::Count(part, amount),
        },
        to: asked.to,
        reason: asked.reason,
    })
    .await
}

/// A condition to be noted.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct MarkBody {
    /// Of which thing.
    thing: ThingId,
    /// What it is now.
    condition: Condition,
    /// What was seen.
    #[serde(default)]
    reason: Note,
}

/// Notes that a thing is good, suspect or dead from now on.
#[utoipa::path(post, path = "/movements/mark", request_body = MarkBody,
    responses((status = 201, description = "It is noted", body = Done)))]
async fn mark(api: Api, body: Body<MarkBody>) -> Answer {
    carry_out(&api, body, |asked| MarkCondition {
        thing: asked.thing,
        condition: asked.condition,
        reason: asked.reason,
    })
    .await
}

/// One fixture in the place of another.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct SwapBody {
    /// The one that died.
    old: ThingId,
    /// What it is now: suspect or dead.
    condition: Condition,
    /// The one that takes its place.
    new: ThingId,
    /// What was seen.
    #[serde(default)]
    reason: Note,
}

/// Lets one fixture take the place of another in a set: the old one is marked, the new one held
/// and, if the old one is on stage, taken out.
#[utoipa::path(post, path = "/movements/swap", request_body = SwapBody,
    responses((status = 201, description = "They were swapped", body = Done)))]
async fn swap(api: Api, body: Body<SwapBody>) -> Answer {
    carry_out(&api, body, |asked| Swap {
        old: asked.old,
        condition: asked.condition,
        new: asked.new,
        reason: asked.reason,
    })
    .await
}
