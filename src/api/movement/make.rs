//! Fixtures and frames: entered as already owned, made of stock, taken apart.

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
        problem::Problem,
    },
    app::App,
    model::{
        channel::Channels,
        connector::Connector,
        fixture::{Condition, Fed, Make},
        id::{DesignId, PartId, PlaceId, ThingId},
        text::{Name, Note, Tag},
    },
    stock::{
        change::Done,
        make::{About, Assemble, Dismantle, EnterFixture, EnterFrame},
    },
    units::{Date, Length, Voltage},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(fixture))
        .routes(routes!(frame))
        .routes(routes!(assemble))
        .routes(routes!(dismantle))
}

/// What is said of a fixture or frame beside what it is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct AboutBody {
    /// Its tag; the next free one where none is said.
    #[serde(default)]
    tag: Option<Tag>,
    /// Where it is put.
    to: PlaceId,
    /// Condition; good where nothing is said.
    #[serde(default = "good")]
    condition: Condition,
    /// Notes.
    #[serde(default)]
    note: Note,
    /// When it is due for inspection.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Date)]
    inspect_on: Option<Date>,
}

const fn good() -> Condition {
    Condition::Good
}

impl From<AboutBody> for About {
    fn from(about: AboutBody) -> Self {
        Self {
            tag: about.tag,
            to: about.to,
            condition: about.condition,
            note: about.note,
            inspect_on: about.inspect_on,
        }
    }
}

/// What a fixture is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::api) struct MakeBody {
    /// Its tape, if it is in the catalogue.
    #[serde(default)]
    tape: Option<PartId>,
    /// Its profile; left out for bare tape.
    #[serde(default)]
    profile: Option<PartId>,
    /// Colours.
    channels: Channels,
    /// Nominal voltage, above zero.
    #[schema(value_type = i64, minimum = 1, maximum = 1_000_000)]
    voltage_mv: Voltage,
    /// Lit length, above zero.
    #[schema(value_type = i64, minimum = 1, maximum = 1_000_000_000)]
    lit_um: Length,
    /// Whether its cover diffuses.
    diffused: bool,
    /// Ends with a lead.
    fed: Fed,
    /// What its lead ends in, if noted.
    #[serde(default)]
    connector: Option<Connector>,
}

impl From<MakeBody> for Make {
    fn from(make: MakeBody) -> Self {
        Self {
            tape: make.tape,
            profile: make.profile,
            channels: make.channels,
            voltage_mv: make.voltage_mv,
            lit_um: make.lit_um,
            diffused: make.diffused,
            fed: make.fed,
            connector: make.connector,
        }
    }
}

/// What the types let pass: pointers are those of a body with `make` and `batch`.
pub(in crate::api) fn check(make: &MakeBody, batch: &str) -> Result<(), Problem> {
    if make.voltage_mv == Voltage::ZERO {
        return Err(Problem::field(
            "/make/voltage_mv",
            "A fixture has a voltage above zero.",
        ));
    }
    if batch.chars().count() > 60 {
        return Err(Problem::field(
            "/batch",
            "At most 60 characters are kept. Shorten it.",
        ));
    }
    Ok(())
}

fn deeper(problem: Problem) -> Problem {
    super::renamed(
        problem,
        &[
            ("/tag", "/about/tag"),
            ("/to", "/about/to"),
            ("/lit_um", "/make/lit_um"),
        ],
    )
}

/// A fixture that is owned already.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct FixtureBody {
    /// Tag, place, condition, notes.
    about: AboutBody,
    /// What it is.
    make: MakeBody,
    /// Batch of its tape; empty if not known.
    #[serde(default)]
    #[schema(max_length = 60)]
    batch: String,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Enters a fixture that is owned already.
#[utoipa::path(post, path = "/movements/enter-fixture", request_body = FixtureBody,
    responses((status = 201, description = "It is in stock", body = Done)))]
async fn fixture(api: Api, body: Body<FixtureBody>) -> Answer {
    check(&body.value.make, &body.value.batch)?;
    carry_out(&api, body, |asked| EnterFixture {
        about: asked.about.into(),
        make: asked.make.into(),
        batch: asked.batch,
        reason: asked.reason,
    })
    .await
    .map_err(deeper)
}

/// A frame that is owned already.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct FrameBody {
    /// Tag, place, condition, notes.
    about: AboutBody,
    /// Its name.
    name: Name,
    /// Width.
    width_um: Length,
    /// Height.
    height_um: Length,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Enters a frame that is owned already.
#[utoipa::path(post, path = "/movements/enter-frame", request_body = FrameBody,
    responses((status = 201, description = "It is in stock", body = Done)))]
async fn frame(api: Api, body: Body<FrameBody>) -> Answer {
    carry_out(&api, body, |asked| EnterFrame {
        about: asked.about.into(),
        name: asked.name,
        width_um: asked.width_um,
        height_um: asked.height_um,
        reason: asked.reason,
    })
    .await
    .map_err(deeper)
}

/// A fixture to be made of pieces and counts.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct AssembleBody {
    /// Tag, place, condition, notes.
    about: AboutBody,
    /// What it is.
    make: MakeBody,
    /// Batch of its tape; empty if not known.
    #[serde(default)]
    #[schema(max_length = 60)]
    batch: String,
    /// What goes inside: tape, profile, leads.
    inside: Vec<WhatBody>,
    /// What is used up on it: solder, heat-shrink.
    #[serde(default)]
    used: Vec<WhatBody>,
    /// For which set, if for one.
    #[serde(default)]
    design: Option<DesignId>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Makes a fixture of pieces and counts: they go inside and stay known.
#[utoipa::path(post, path = "/movements/assemble", request_body = AssembleBody,
    responses((status = 201, description = "It was made; `things` names it", body = Done)))]
async fn assemble(api: Api, body: Body<AssembleBody>) -> Answer {
    check(&body.value.make, &body.value.batch)?;
    carry_out(&api, body, |asked| Assemble {
        about: asked.about.into(),
        make: asked.make.into(),
        batch: asked.batch,
        inside: all(asked.inside),
        used: all(asked.used),
        design: asked.design,
        reason: asked.reason,
    })
    .await
    .map_err(deeper)
}

/// A fixture to be taken apart.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct DismantleBody {
    /// Which.
    fixture: ThingId,
    /// Where its parts are put.
    to: PlaceId,
    /// Pieces of it that are thrown away instead.
    #[serde(default)]
    scrap: Vec<ThingId>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Takes a fixture apart: what was inside lies in a place again.
#[utoipa::path(post, path = "/movements/dismantle", request_body = DismantleBody,
    responses((status = 201, description = "It was taken apart", body = Done)))]
async fn dismantle(api: Api, body: Body<DismantleBody>) -> Answer {
    carry_out(&api, body, |asked| Dismantle {
        fixture: asked.fixture,
        to: asked.to,
        scrap: asked.scrap,
        reason: asked.reason,
    })
    .await
}
