//! The bars of a set.

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
        channel::Channels,
        design::{BAR_LIMIT, Bar, Design},
        fixture::Fed,
        id::{BarId, DesignId, FrameId, PartId, ThingId},
        text::Name,
    },
    stock::design::{Edit, Edited, labels},
    units::{Length, SignedLength, Voltage},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put, delete))
        .routes(routes!(pick))
}

/// The bars of a set, in their order.
#[utoipa::path(get, path = "/designs/{id}/bars",
    responses((status = 200, description = "The bars", body = List<Bar>)))]
async fn list(api: Api, Path(id): Path<DesignId>) -> Answer {
    let items = lookup(&api, id).await?.bars;
    reply(&List { items, next: None })
}

/// A wanted bar.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct BarBody {
    /// Name on pages and sheets.
    label: Name,
    /// Wanted lit length, above zero.
    #[schema(value_type = i64, minimum = 1, maximum = 1_000_000_000)]
    length_um: Length,
    /// How much shorter it may be.
    #[serde(default)]
    shorter_um: Length,
    /// How much longer it may be.
    #[serde(default)]
    longer_um: Length,
    /// Colours wanted.
    channels: Channels,
    /// Voltage, if it matters.
    #[serde(default)]
    voltage_mv: Option<Voltage>,
    /// Diffused, or bare tape.
    diffused: bool,
    /// Ends that are fed.
    #[serde(default = "one_end")]
    fed: Fed,
    /// The frame of this set that it hangs on.
    #[serde(default)]
    frame: Option<FrameId>,
    /// Left end, from the left of the elevation.
    #[serde(default)]
    x_um: SignedLength,
    /// Left end, above the floor.
    #[serde(default)]
    y_um: SignedLength,
    /// Turned counter-clockwise from lying level, in thousandths of a degree.
    #[serde(default)]
    #[schema(minimum = -360_000, maximum = 360_000)]
    angle_mdeg: i32,
    /// Bars of one group follow one another; empty for none.
    #[serde(default)]
    #[schema(max_length = 120)]
    group: String,
    /// The place of the driver that feeds it; empty for the set's only one.
    #[serde(default)]
    #[schema(max_length = 120)]
    feed_place: String,
    /// Cable from driver to bar.
    #[serde(default)]
    cable_um: Length,
    /// The tape to use, if not any that fits.
    #[serde(default)]
    tape: Option<PartId>,
    /// The profile to use, if not any that fits.
    #[serde(default)]
    profile: Option<PartId>,
    /// The fixture chosen by hand.
    #[serde(default)]
    fixture: Option<ThingId>,
}

const fn one_end() -> Fed {
    Fed::OneEnd
}

impl BarBody {
    fn read(self, id: BarId) -> Bar {
        Bar {
            id,
            label: self.label,
            length_um: self.length_um,
            shorter_um: self.shorter_um,
            longer_um: self.longer_um,
            channels: self.channels,
            voltage_mv: self.voltage_mv,
            diffused: self.diffused,
            fed: self.fed,
            frame: self.frame,
            x_um: self.x_um,
            y_um: self.y_um,
            angle_mdeg: self.angle_mdeg,
            group: self.group,
            feed_place: self.feed_place,
            cable_um: self.cable_um,
            tape: self.tape,
            profile: self.profile,
            fixture: self.fixture,
        }
    }
}

/// Like bars to be added.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct BarsBody {
    /// What each is; the first has this label, the others the next free numbers.
    bar: BarBody,
    /// How many like it.
    #[serde(default = "one")]
    #[schema(minimum = 1, maximum = 1000)]
    count: usize,
}

const fn one() -> usize {
    1
}

/// Adds like bars at the end. `If-Match` may say on which version of the set.
#[utoipa::path(post, path = "/designs/{id}/bars", request_body = BarsBody,
    responses((status = 201, description = "They were added", body = Edited)))]
async fn add(api: Api, Path(id): Path<DesignId>, body: Body<BarsBody>) -> Answer {
    let act = api.act(&body);
    let BarsBody { bar, count } = body.value;
    if !(1..=BAR_LIMIT).contains(&count) {
        return Err(Problem::field(
            "/count",
            format!("A set has at most {BAR_LIMIT} bars: send a number from 1 to {BAR_LIMIT}."),
        ));
    }
    let first = bar.read(BarId(0));
    let edited = edit(&api, &act, id, |design| {
        let bars = labels(design, &first.label, count)
            .into_iter()
            .map(|label| Bar {
                label,
                ..first.clone()
            })
            .collect();
        Ok(Edit::AddBars(bars))
    })
    .await
    .map_err(under_bar)?;
    added(&edited)
}

/// What is wrong with a bar stands under it; with their number, beside it.
fn under_bar(mut problem: Problem) -> Problem {
    for name in FIELDS {
        problem.rename(&format!("/{name}"), &format!("/bar/{name}"));
    }
    problem
}

const FIELDS: &[&str] = &[
    "label",
    "length_um",
    "shorter_um",
    "frame",
    "group",
    "feed_place",
    "angle_mdeg",
    "fixture",
];

fn bar(design: &Design, id: BarId) -> Result<&Bar, Problem> {
    design
        .bars
        .iter()
        .find(|bar| bar.id == id)
        .ok_or_else(|| Problem::not_found("bar"))
}

/// One bar; its entity tag is that of its set.
#[utoipa::path(get, path = "/designs/{id}/bars/{bar}",
    responses((status = 200, description = "The bar", body = Bar)))]
async fn get(api: Api, Path((id, at)): Path<(DesignId, BarId)>) -> Answer {
    let design = lookup(&api, id).await?;
    api.reply(bar(&design, at)?, &tag_of(&design))
}

/// Saves a bar.
#[utoipa::path(put, path = "/designs/{id}/bars/{bar}", request_body = BarBody,
    responses((status = 200, description = "What changed", body = Edited)))]
async fn put(api: Api, Path((id, at)): Path<(DesignId, BarId)>, body: Body<BarBody>) -> Answer {
    let design = lookup(&api, id).await?;
    bar(&design, at)?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&design)).await?;
    let changed_bar = body.value.read(at);
    let edited = edit(&api, &act, id, |_| {
        Ok(Edit::ChangeBars(vec![changed_bar.clone()]))
    })
    .await?;
    changed(&edited)
}

/// Removes a bar.
#[utoipa::path(delete, path = "/designs/{id}/bars/{bar}",
    responses((status = 200, description = "It was removed", body = Edited)))]
async fn delete(api: Api, Path((id, at)): Path<(DesignId, BarId)>) -> Answer {
    let act = api.act_bare();
    let design = lookup(&api, id).await?;
    if !api.repeats(&act).await? {
        bar(&design, at)?;
    }
    api.must_match(&act, &tag_of(&design)).await?;
    let edited = edit(&api, &act, id, |_| Ok(Edit::RemoveBars(vec![at]))).await?;
    changed(&edited)
}

/// Which fixture serves a bar.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PickBody {
    /// The fixture; `null` leaves it to the plan.
    fixture: Option<ThingId>,
}

/// Chooses the fixture that serves a bar, or leaves it to the plan.
#[utoipa::path(post, path = "/designs/{id}/bars/{bar}/pick", request_body = PickBody,
    responses((status = 201, description = "It is chosen", body = Edited)))]
async fn pick(api: Api, Path((id, at)): Path<(DesignId, BarId)>, body: Body<PickBody>) -> Answer {
    let act = api.act(&body);
    let fixture = body.value.fixture;
    let edited = edit(&api, &act, id, |_| Ok(Edit::Pick { bar: at, fixture })).await?;
    added(&edited)
}
