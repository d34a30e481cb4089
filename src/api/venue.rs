//! The venue's settings, and the names to choose from as 'who'.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, List, Path, done, reply, reply_with},
    problem::Problem,
    tag,
};
use crate::{
    app::App,
    db,
    model::{
        label::label_base,
        text::Name,
        venue::{Mains, Venue},
    },
    plan::address::Taken,
    stock::settings,
    units::{Currency, Length, LengthUnit},
    web::settings::zone,
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(get, put))
        .routes(routes!(people, add_person))
        .routes(routes!(remove_person))
}

fn tag_of(venue: &Venue) -> String {
    tag("venue", 1, venue.version)
}

/// The venue's settings.
#[utoipa::path(get, path = "/venue", responses((status = 200, description = "The settings", body = Venue)))]
async fn get(api: Api) -> Answer {
    let venue = db::venue::lookup(&mut *api.read().await?).await?;
    api.reply(&venue, &tag_of(&venue))
}

/// Settings to be saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct VenueBody {
    /// Its name, as printed on sheets.
    name: Name,
    /// The unit that lengths are shown in.
    length_unit: LengthUnit,
    /// Currency. Where any sum is stored, only one with as many decimals, and with `relabel`.
    currency: Currency,
    /// Whether stored sums are kept as numbers and called another currency; they are not converted.
    #[serde(default)]
    relabel: bool,
    /// Whether prices are typed with tax.
    prices_include_tax: bool,
    /// IANA name of its time zone.
    #[schema(max_length = 60)]
    zone: String,
    /// DMX slots that other lights use, such as `1-96, 200`.
    #[serde(default)]
    #[schema(max_length = 400)]
    slots_taken: String,
    /// Offcuts shorter than this are scrap.
    usable_offcut_um: Length,
    /// Spares to buy, in percent of what is short.
    #[schema(maximum = 100)]
    spare_percent: u8,
    /// Whether strike and another set's build day may fall on one date.
    same_day_turnaround: bool,
    /// Days before the build day by which orders should arrive.
    #[schema(maximum = 60)]
    order_slack_days: u16,
    /// Cable from a supply to a driver's inlet, one way; a metre where it is left out.
    #[serde(default = "Venue::usual_feed")]
    #[schema(value_type = i64, minimum = 0, maximum = 100_000_000)]
    feed_um: Length,
    /// The mains circuit that the supplies of a set hang on; none is named where it is left out.
    #[serde(default)]
    mains: Option<Mains>,
    /// What the codes on labels begin with, such as `http://millpond.local:8470`; empty for none.
    #[serde(default)]
    #[schema(max_length = 60)]
    label_base: String,
}

/// Saves the venue's settings.
#[utoipa::path(put, path = "/venue", request_body = VenueBody,
    responses((status = 200, description = "The settings as saved", body = Venue)))]
async fn put(api: Api, body: Body<VenueBody>) -> Answer {
    let act = api.act(&body);
    let asked = body.value;
    let zone = zone(&asked.zone).map_err(|why| Problem::field("/zone", why))?;
    let slots = asked.slots_taken.trim().to_owned();
    if slots.chars().count() > 400 {
        return Err(Problem::field(
            "/slots_taken",
            "At most 400 characters are kept. Shorten it.",
        ));
    }
    Taken::parse(&slots).map_err(|why| Problem::field("/slots_taken", why.to_string()))?;
    for (pointer, found, most) in [
        ("/spare_percent", u16::from(asked.spare_percent), 100),
        ("/order_slack_days", asked.order_slack_days, 60),
    ] {
        if found > most {
            return Err(Problem::field(
                pointer,
                format!("Send a whole number from 0 to {most}."),
            ));
        }
    }
    if asked.feed_um > Venue::MOST_FEED {
        return Err(Problem::field("/feed_um", "Send at most 100 m."));
    }
    if let Some((field, why)) = asked.mains.and_then(Mains::wrong) {
        return Err(Problem::field(format!("/mains/{field}"), why));
    }
    let label_base =
        label_base(&asked.label_base).map_err(|why| Problem::field("/label_base", why))?;
    let old = db::venue::lookup(&mut *api.read().await?).await?;
    api.must_match(&act, &tag_of(&old)).await?;
    let venue = Venue {
        name: asked.name,
        length_unit: asked.length_unit,
        currency: asked.currency,
        prices_include_tax: asked.prices_include_tax,
        zone,
        slots_taken: slots,
        usable_offcut_um: asked.usable_offcut_um,
        spare_percent: asked.spare_percent,
        same_day_turnaround: asked.same_day_turnaround,
        order_slack_days: asked.order_slack_days,
        feed_um: asked.feed_um,
        mains: asked.mains,
        label_base,
        version: old.version,
    };
    settings::change(&act, &venue, asked.relabel).await?;
    let saved = db::venue::lookup(&mut *api.read().await?).await?;
    super::json::reply_tagged(&saved, &tag_of(&saved))
}

/// The names to choose from as 'who'.
#[utoipa::path(get, path = "/people", responses((status = 200, description = "The names", body = List<Name>)))]
async fn people(api: Api) -> Answer {
    let items = db::venue::list_people(&mut *api.read().await?).await?;
    reply(&List { items, next: None })
}

/// A name for the list.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PersonBody {
    /// The name.
    name: Name,
}

/// Puts a name on the list; one that is there already stays.
#[utoipa::path(post, path = "/people", request_body = PersonBody,
    responses((status = 201, description = "It is on the list", body = Name)))]
async fn add_person(api: Api, body: Body<PersonBody>) -> Answer {
    settings::add_person(&api.act(&body), &body.value.name).await?;
    reply_with(StatusCode::CREATED, &body.value.name)
}

/// Takes a name off the list; movements keep it.
#[utoipa::path(delete, path = "/people/{name}", responses((status = 204, description = "It is off the list")))]
async fn remove_person(api: Api, Path(name): Path<String>) -> Answer {
    let name = Name::parse(&name).map_err(|_| Problem::not_found("name"))?;
    settings::remove_person(&api.act_bare(), &name).await?;
    done()
}
