//! Goods that arrive, and the book put right by counting.

use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{carry_out, renamed};
use crate::{
    api::{
        Api,
        json::{Answer, Body},
        problem::Problem,
    },
    app::App,
    db,
    model::{
        id::{DesignId, PartId, PlaceId, ThingId},
        piece::End,
        text::{Note, Tag},
    },
    stock::{
        change::Done,
        count::{CountPlace, Counted, Seen, Stocktake},
        receive::{Goods, Pieces, Receive},
    },
    units::{Date, Length},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(receive))
        .routes(routes!(count))
        .routes(routes!(seen))
        .routes(routes!(stocktake))
}

/// What came.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case", deny_unknown_fields)]
enum GoodsBody {
    /// A count.
    Count {
        /// How many, or how many micrometres of a sundry kept by length.
        #[schema(minimum = 1, maximum = 1_000_000_000)]
        amount: i64,
    },
    /// Like pieces: rolls, reels, bars or offcuts.
    Pieces {
        /// How many.
        #[schema(minimum = 1, maximum = 500)]
        number: usize,
        /// Length of each; of tape, whole cut units and a remainder are made of it.
        length_um: Length,
        /// As they come from the shop: with the factory's leads at their ends and its joints.
        /// Otherwise they are offcuts with the ends that are said.
        #[serde(default)]
        as_bought: bool,
        /// The marked end of each offcut.
        #[serde(default)]
        start: End,
        /// The other end of each offcut.
        #[serde(default)]
        end: End,
        /// Cut units from the start to the first pre-tinned joint, if there is one.
        #[serde(default)]
        #[schema(minimum = 0, maximum = 1_000_000)]
        joint_offset_units: Option<i64>,
        /// Batch; empty if not known.
        #[serde(default)]
        #[schema(max_length = 60)]
        batch: String,
        /// Their tags; the next free ones follow where fewer are said.
        #[serde(default)]
        tags: Vec<Tag>,
    },
    /// Drivers or supplies.
    Units {
        /// How many.
        #[schema(minimum = 1, maximum = 500)]
        number: usize,
        /// Their tags; the next free ones follow where fewer are said.
        #[serde(default)]
        tags: Vec<Tag>,
        /// The maker's numbers, as far as noted; at most 120 characters each.
        #[serde(default)]
        serials: Vec<String>,
    },
}

/// Goods that arrived.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ReceiveBody {
    /// Of which part.
    part: PartId,
    /// Where they are put.
    to: PlaceId,
    /// What came.
    goods: GoodsBody,
    /// For which set, if for one.
    #[serde(default)]
    design: Option<DesignId>,
    /// A note on each thing.
    #[serde(default)]
    note: Note,
    /// When each thing is due for inspection.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Date)]
    inspect_on: Option<Date>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Takes goods into stock.
#[utoipa::path(post, path = "/movements/receive", request_body = ReceiveBody,
    responses((status = 201, description = "They are in stock", body = Done)))]
async fn receive(api: Api, body: Body<ReceiveBody>) -> Answer {
    let asked = &body.value;
    let goods = goods(&api, asked).await?;
    carry_out(&api, body, |asked| Receive {
        reason: asked.reason,
        design: asked.design,
        note: asked.note,
        inspect_on: asked.inspect_on,
        ..Receive::new(asked.part, asked.to, goods)
    })
    .await
    .map_err(|problem| {
        renamed(
            problem,
            &[
                ("/length", "/goods/length_um"),
                ("/number", "/goods/number"),
                ("/amount", "/goods/amount"),
                ("/tag", "/goods/tags"),
            ],
        )
    })
}

async fn goods(api: &Api, asked: &ReceiveBody) -> Result<Goods, Problem> {
    Ok(match &asked.goods {
        GoodsBody::Count { amount } => Goods::Count(*amount),
        GoodsBody::Units {
            number,
            tags,
            serials,
        } => {
            if serials.iter().any(|serial| serial.chars().count() > 120) {
                return Err(Problem::field(
                    "/goods/serials",
                    "At most 120 characters are kept of each.",
                ));
            }
            Goods::Units {
                number: *number,
                tags: tags.clone(),
                serials: serials.clone(),
            }
        }
        GoodsBody::Pieces {
            number,
            length_um,
            as_bought,
            start,
            end,
            joint_offset_units,
            batch,
            tags,
        } => {
            if batch.chars().count() > 60 {
                return Err(Problem::field(
                    "/goods/batch",
                    "At most 60 characters are kept. Shorten it.",
                ));
            }
            if joint_offset_units.is_some_and(|units| !(0..=1_000_000).contains(&units)) {
                return Err(Problem::field(
                    "/goods/joint_offset_units",
                    "Send a whole number from 0 to 1000000.",
                ));
            }
            let part = db::part::lookup(&mut *api.read().await?, asked.part)
                .await?
                .ok_or_else(|| Problem::field("/part", "There is no such part."))?;
            let mut pieces = if *as_bought {
                Pieces::as_bought(&part, *length_um, *number)
            } else {
                Pieces {
                    start: start.clone(),
                    end: end.clone(),
                    joint_offset_units: *joint_offset_units,
                    offcuts: true,
                    ..Pieces::of_length(&part, *length_um, *number)
                }
            };
            batch.trim().clone_into(&mut pieces.batch);
            pieces.tags.clone_from(tags);
            Goods::Pieces(pieces)
        }
    })
}

/// A number that was counted.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CountBody {
    /// Of which part.
    part: PartId,
    /// Where.
    place: PlaceId,
    /// How many there are, or how many micrometres of a sundry kept by length.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    counted: i64,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Puts the book right by what was counted of one part in one place.
#[utoipa::path(post, path = "/movements/count", request_body = CountBody,
    responses((status = 201, description = "The book agrees; no movement where it did already", body = Done)))]
async fn count(api: Api, body: Body<CountBody>) -> Answer {
    carry_out(&api, body, |asked| Counted {
        part: asked.part,
        place: asked.place,
        counted: asked.counted,
        reason: asked.reason,
    })
    .await
    .map_err(|problem| renamed(problem, &[("/to", "/place")]))
}

/// A thing that was seen.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct SeenBody {
    /// Which.
    thing: ThingId,
    /// Where.
    place: PlaceId,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Notes that a thing was seen in a place: found if it was lost, moved here if the book has it
/// elsewhere.
#[utoipa::path(post, path = "/movements/seen", request_body = SeenBody,
    responses((status = 201, description = "The book agrees; no movement where it did already", body = Done)))]
async fn seen(api: Api, body: Body<SeenBody>) -> Answer {
    carry_out(&api, body, |asked| Seen {
        thing: asked.thing,
        place: asked.place,
        reason: asked.reason,
    })
    .await
    .map_err(|problem| renamed(problem, &[("/to", "/place")]))
}

/// What was counted of a part.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CountedPart {
    /// Of which part.
    part: PartId,
    /// How many there are.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    counted: i64,
}

/// A whole place walked along at once.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct StocktakeBody {
    /// Where.
    place: PlaceId,
    /// Parts with what was counted of each.
    #[serde(default)]
    counts: Vec<CountedPart>,
    /// Things that were seen.
    #[serde(default)]
    seen: Vec<ThingId>,
    /// Things that the book has here and that were not there.
    #[serde(default)]
    missing: Vec<ThingId>,
    /// Why, in the person's own words.
    #[serde(default)]
    reason: Note,
}

/// Puts the book right for a whole place, all or nothing.
#[utoipa::path(post, path = "/movements/stocktake", request_body = StocktakeBody,
    responses((status = 201, description = "The book agrees", body = Stocktake)))]
async fn stocktake(api: Api, body: Body<StocktakeBody>) -> Answer {
    carry_out(&api, body, |asked| CountPlace {
        place: asked.place,
        counts: asked
            .counts
            .iter()
            .map(|it| (it.part, it.counted))
            .collect(),
        seen: asked.seen,
        missing: asked.missing,
        reason: asked.reason,
    })
    .await
    .map_err(|problem| renamed(problem, &[("/to", "/place"), ("/counted", "/counts")]))
}
