//! What a set is planned around by choice, and what each choice costs.

use serde::{Deserialize, Serialize};
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
        design::{LeftAlone, NotFrom},
        id::{BarId, DesignId, SupplierId, ThingId},
        text::Note,
    },
    plan::{
        other::{Other, Tally},
        outcome::CheckState,
        pin::Pin,
    },
    stock::{
        design::{Edit, Edited},
        planned,
    },
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(leave))
        .routes(routes!(take))
        .routes(routes!(avoid))
        .routes(routes!(allow))
}

/// One choice that the plan keeps to.
#[derive(Debug, Serialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
enum PinShape {
    /// A fixture serves a bar.
    Fixture {
        /// The bar.
        bar: BarId,
        /// The fixture.
        fixture: ThingId,
    },
    /// A roll, an offcut or a fixture is left alone.
    LeftAlone {
        /// Which.
        thing: ThingId,
    },
    /// Nothing is bought from a supplier.
    NotFrom {
        /// From whom.
        supplier: SupplierId,
    },
}

/// What a plan asks beyond the one without the pin; less is negative.
#[derive(Debug, Serialize, ToSchema)]
struct PinCosts {
    /// Bars short.
    short_bars: i64,
    /// Money for what is to be bought, deliveries included.
    money_minor: i64,
    /// Parts to buy that have no price.
    unpriced_parts: i64,
    /// Ends of tape to which a lead is soldered.
    soldered_ends: i64,
    /// Bars to build.
    built_bars: i64,
    /// Whether both plans are proven least.
    proven: bool,
}

/// One choice with what it costs.
#[derive(Debug, Serialize, ToSchema)]
struct Pinned {
    /// The choice.
    pin: PinShape,
    /// Why it can't be kept; `null` where it is.
    not_kept: Option<String>,
    /// What it costs; `null` where the set keeps the plan that it is built by.
    costs: Option<PinCosts>,
}

fn signed(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

fn costs(now: &Tally, without: &Tally) -> PinCosts {
    let more = |one: usize, other: usize| signed(one) - signed(other);
    PinCosts {
        short_bars: more(now.short, without.short),
        money_minor: now.money.get() - without.money.get(),
        unpriced_parts: i64::from(now.unpriced) - i64::from(without.unpriced),
        soldered_ends: more(now.soldered, without.soldered),
        built_bars: more(now.built, without.built),
        proven: now.proven && without.proven,
    }
}

/// The key of the plan's check that says whether a pin is kept.
fn check_key(pin: Pin) -> String {
    match pin {
        Pin::Fixture(bar, _) => format!("chosen:bar-{bar}"),
        Pin::LeftAlone(thing) => format!("left-alone:thing-{thing}"),
        Pin::NotFrom(supplier) => format!("not-from:supplier-{supplier}"),
    }
}

/// What a set is planned around by choice: each is taken out in turn, the set planned again, and
/// both plans set side by side.
#[utoipa::path(get, path = "/designs/{id}/pins",
    responses((status = 200, description = "The choices", body = List<Pinned>)))]
async fn list(api: Api, Path(id): Path<DesignId>) -> Answer {
    let planned = planned::plan_now(api.db(), id, api.today).await?;
    let pins = Pin::of(&planned.input.design);
    let asked = if planned.input.design.state.editable() {
        pins.iter().map(|pin| Other::Without(vec![*pin])).collect()
    } else {
        Vec::new()
    };
    let plans = planned::other_ways(&planned, asked).await?;
    let now = Tally::of(&planned.plan);
    let mut plans = plans.into_iter();
    let items = pins.into_iter().map(|pin| {
        let key = check_key(pin);
        let mut checks = planned.plan.checks.iter();
        let broken = checks.find(|check| check.key == key && check.state != CheckState::Passed);
        Pinned {
            not_kept: broken.map(|check| check.sentence.clone()),
            costs: plans
                .next()
                .flatten()
                .map(|plan| costs(&now, &Tally::of(&plan))),
            pin: match pin {
                Pin::Fixture(bar, fixture) => PinShape::Fixture { bar, fixture },
                Pin::LeftAlone(thing) => PinShape::LeftAlone { thing },
                Pin::NotFrom(supplier) => PinShape::NotFrom { supplier },
            },
        }
    });
    reply(&List {
        items: items.collect(),
        next: None,
    })
}

/// What is to be left alone.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct LeaveBody {
    /// A roll, an offcut or a fixture.
    thing: ThingId,
    /// Why.
    #[serde(default)]
    note: Note,
}

/// Leaves a roll, an offcut or a fixture alone, or changes why. `If-Match` may say on which version
/// of the set.
#[utoipa::path(post, path = "/designs/{id}/left-alone", request_body = LeaveBody,
    responses((status = 201, description = "The plan leaves it alone", body = Edited)))]
async fn leave(api: Api, Path(id): Path<DesignId>, body: Body<LeaveBody>) -> Answer {
    let act = api.act(&body);
    let LeaveBody { thing, note } = body.value;
    let left = LeftAlone { thing, note };
    let edited = edit(&api, &act, id, |_| Ok(Edit::LeaveAlone(left.clone()))).await?;
    added(&edited)
}

/// Lets the plan take it again.
#[utoipa::path(delete, path = "/designs/{id}/left-alone/{thing}",
    responses((status = 200, description = "The plan may take it", body = Edited)))]
async fn take(api: Api, Path((id, thing)): Path<(DesignId, ThingId)>) -> Answer {
    let act = api.act_bare();
    let design = lookup(&api, id).await?;
    let none = design.left_alone.iter().all(|it| it.thing != thing);
    if none && !api.repeats(&act).await? {
        return Err(Problem::not_found("thing that is left alone"));
    }
    api.must_match(&act, &tag_of(&design)).await?;
    let edited = edit(&api, &act, id, |_| Ok(Edit::MayTake(thing))).await?;
    changed(&edited)
}

/// From whom nothing is to be bought.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct AvoidBody {
    /// The supplier.
    supplier: SupplierId,
    /// Why.
    #[serde(default)]
    note: Note,
}

/// Buys nothing from a supplier for this set, or changes why. `If-Match` may say on which version of
/// the set.
#[utoipa::path(post, path = "/designs/{id}/not-from", request_body = AvoidBody,
    responses((status = 201, description = "Nothing is bought there", body = Edited)))]
async fn avoid(api: Api, Path(id): Path<DesignId>, body: Body<AvoidBody>) -> Answer {
    let act = api.act(&body);
    let AvoidBody { supplier, note } = body.value;
    let from = NotFrom { supplier, note };
    let edited = edit(&api, &act, id, |_| Ok(Edit::BuyNotFrom(from.clone()))).await?;
    added(&edited)
}

/// Lets the plan buy there again.
#[utoipa::path(delete, path = "/designs/{id}/not-from/{supplier}",
    responses((status = 200, description = "The plan may buy there", body = Edited)))]
async fn allow(api: Api, Path((id, supplier)): Path<(DesignId, SupplierId)>) -> Answer {
    let act = api.act_bare();
    let design = lookup(&api, id).await?;
    let none = design.not_from.iter().all(|it| it.supplier != supplier);
    if none && !api.repeats(&act).await? {
        return Err(Problem::not_found("supplier that is left out"));
    }
    api.must_match(&act, &tag_of(&design)).await?;
    let edited = edit(&api, &act, id, |_| Ok(Edit::MayBuyFrom(supplier))).await?;
    changed(&edited)
}
