//! What there is, piece by piece: rolls and offcuts, drivers and supplies, fixtures, frames; what
//! is lent out; the one search.

use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, List, Path, Query, page_size, reply, reply_tagged},
    movement::{
        make::{MakeBody, check},
        renamed,
    },
    problem::Problem,
    shape::{
        CountAt, FixtureAt, FixtureMake, Found, Hold, Loan, Replacements, Thing, ThingNotes,
        ThingWhole,
    },
    tag,
};
use crate::{
    app::App,
    db::{self, ReadTx, thing::ThingFilter},
    model::{
        self,
        fixture::Condition,
        id::{PartId, PlaceId, ThingId},
        text::{Name, Note, Tag},
        thing::ThingKind,
    },
    stock::{
        mark::{EditMore, EditThing},
        swap,
    },
    units::{Date, Length},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(get))
        .routes(routes!(notes, put_notes))
        .routes(routes!(by_tag))
        .routes(routes!(replacements))
        .routes(routes!(fixtures))
        .routes(routes!(loans))
        .routes(routes!(search))
}

/// Which things a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// Of one kind.
    kind: Option<ThingKind>,
    /// Of one part.
    part: Option<PartId>,
    /// In a place, or in a place inside it.
    place: Option<PlaceId>,
    /// Only suspect and dead ones.
    #[serde(default)]
    bad: bool,
    /// Those too that are used up, scrapped, lost or cut up.
    #[serde(default)]
    gone: bool,
    /// Only those due for inspection by this day.
    #[param(value_type = Option<String>, format = Date)]
    inspect_by: Option<Date>,
    /// Each word occurs in the name, attributes, tag or place; part of a word counts.
    #[serde(default)]
    typed: String,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// Things, by id.
#[utoipa::path(get, path = "/things", params(ListQuery),
    responses((status = 200, description = "The things", body = List<Thing>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let filter = ThingFilter {
        kind: query.kind,
        part: query.part,
        place: query.place,
        bad: query.bad,
        gone: query.gone,
        inspect_by: query.inspect_by,
        typed: query.typed,
        after: Some(ThingId(query.after.unwrap_or(0))),
        ..ThingFilter::default()
    };
    let limit = i64::try_from(size).unwrap_or(0) + 1;
    let found = db::thing::list(&mut *api.read().await?, &filter, 0, limit).await?;
    let found = found.into_iter().map(Thing::from).collect();
    reply(&List::cut(found, size, |thing: &Thing| thing.id.0))
}

/// One thing, with what its kind adds, what is in or on it, and who holds it.
#[utoipa::path(get, path = "/things/{id}",
    responses((status = 200, description = "The thing", body = ThingWhole)))]
async fn get(api: Api, Path(id): Path<ThingId>) -> Answer {
    let mut tx = api.read().await?;
    let thing = db::thing::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("thing"))?;
    reply(&whole(&mut tx, thing).await?)
}

async fn whole(tx: &mut ReadTx, thing: model::thing::Thing) -> Result<ThingWhole, Problem> {
    let id = thing.id;
    let (mut things, mut counts) = (Vec::new(), Vec::new());
    if let Some(inside) = db::place::account_inside(tx, id).await? {
        things = db::thing::list_at(tx, inside).await?;
        counts = db::balance::list_at(tx, inside).await?;
    }
    let children: Vec<ThingId> = db::piece::list_children(tx, id)
        .await?
        .into_iter()
        .map(|child| child.piece.id)
        .collect();
    let cut_into = db::thing::list_by_id(tx, &children).await?;
    Ok(ThingWhole {
        piece: db::piece::lookup(tx, id).await?.map(|found| found.piece),
        unit: db::thing::lookup_unit(tx, id).await?,
        fixture: db::fixture::lookup(tx, id).await?.map(|found| FixtureMake {
            make: found.fixture.make,
            batch: found.batch,
        }),
        frame: db::thing::lookup_frame(tx, id).await?,
        things: things.into_iter().map(Thing::from).collect(),
        counts: counts.into_iter().map(CountAt::from).collect(),
        cut_into: cut_into.into_iter().map(Thing::from).collect(),
        holds: db::reservation::list_on_thing(tx, id)
            .await?
            .into_iter()
            .map(Hold::from)
            .collect(),
        thing: thing.into(),
    })
}

/// The thing of a tag.
#[utoipa::path(get, path = "/tags/{tag}",
    responses((status = 200, description = "The thing", body = ThingWhole)))]
async fn by_tag(api: Api, Path(tag): Path<String>) -> Answer {
    let tag = Tag::parse(&tag).map_err(|_| Problem::not_found("tag"))?;
    let mut tx = api.read().await?;
    let thing = db::thing::find_by_tag(&mut tx, &tag)
        .await?
        .ok_or_else(|| Problem::not_found("tag"))?;
    reply(&whole(&mut tx, thing).await?)
}

async fn noted(api: &Api, id: ThingId) -> Result<(ThingNotes, String), Problem> {
    let mut tx = api.read().await?;
    let thing = db::thing::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("thing"))?;
    let unit = db::thing::lookup_unit(&mut tx, id).await?;
    let frame = db::thing::lookup_frame(&mut tx, id).await?;
    let tag = tag("thing", id.0, thing.version);
    let notes = ThingNotes {
        note: thing.note,
        inspect_on: thing.inspect_on,
        address: unit.as_ref().and_then(|unit| unit.address),
        serial: unit.map(|unit| unit.serial),
        name: frame.as_ref().map(|frame| frame.name.clone()),
        width_um: frame.as_ref().map(|frame| frame.width_um),
        height_um: frame.map(|frame| frame.height_um),
    };
    Ok((notes, tag))
}

/// What is noted of a thing beside its stock.
#[utoipa::path(get, path = "/things/{id}/notes",
    responses((status = 200, description = "The notes", body = ThingNotes)))]
async fn notes(api: Api, Path(id): Path<ThingId>) -> Answer {
    let (notes, tag) = noted(&api, id).await?;
    api.reply(&notes, &tag)
}

/// Notes of a thing, to be saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NotesBody {
    /// Notes.
    #[serde(default)]
    note: Note,
    /// When it is due for inspection.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Date)]
    inspect_on: Option<Date>,
    /// DMX start address that a driver is set to; only for drivers and supplies.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 512)]
    address: Option<u16>,
    /// The maker's number; only for drivers and supplies.
    #[serde(default)]
    #[schema(max_length = 120)]
    serial: Option<String>,
    /// A frame's name; needed for frames, and only for them.
    #[serde(default)]
    name: Option<Name>,
    /// A frame's width; needed for frames.
    #[serde(default)]
    width_um: Option<Length>,
    /// A frame's height; needed for frames.
    #[serde(default)]
    height_um: Option<Length>,
    /// What a finished bar is, where it was noted wrongly; of one made of stock here only its plug,
    /// where it is fed, and its batch can differ.
    #[serde(default)]
    fixture: Option<CorrectBody>,
}

/// What a finished bar is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CorrectBody {
    /// Its make.
    make: MakeBody,
    /// Batch of its tape; empty if not known.
    #[serde(default)]
    #[schema(max_length = 60)]
    batch: String,
}

/// Saves what is noted of a thing. Stock is changed by movements only.
#[utoipa::path(put, path = "/things/{id}/notes", request_body = NotesBody,
    responses((status = 200, description = "The notes as saved", body = ThingNotes)))]
async fn put_notes(api: Api, Path(id): Path<ThingId>, body: Body<NotesBody>) -> Answer {
    let mut tx = api.read().await?;
    let thing = db::thing::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("thing"))?;
    drop(tx);
    let act = api.act(&body);
    api.must_match(&act, &tag("thing", id.0, thing.version))
        .await?;
    let asked = body.value;
    let more = match thing.kind {
        ThingKind::Unit => {
            if asked.address.is_some_and(|it| !(1..=512).contains(&it)) {
                return Err(Problem::field("/address", "A DMX slot is 1 to 512."));
            }
            let serial = asked.serial.unwrap_or_default().trim().to_owned();
            if serial.chars().count() > 120 {
                return Err(Problem::field(
                    "/serial",
                    "At most 120 characters are kept. Shorten it.",
                ));
            }
            EditMore::Unit {
                address: asked.address,
                serial,
            }
        }
        ThingKind::Frame => {
            let missing = |pointer: &str| Problem::field(pointer, "A frame has a name and a size.");
            EditMore::Frame {
                name: asked.name.ok_or_else(|| missing("/name"))?,
                width_um: asked.width_um.ok_or_else(|| missing("/width_um"))?,
                height_um: asked.height_um.ok_or_else(|| missing("/height_um"))?,
            }
        }
        ThingKind::Fixture => match asked.fixture {
            Some(it) => {
                check(&it.make, &it.batch).map_err(|why| {
                    let deeper = [
                        ("/make/voltage_mv", "/fixture/make/voltage_mv"),
                        ("/batch", "/fixture/batch"),
                    ];
                    renamed(why, &deeper)
                })?;
                EditMore::Fixture {
                    make: it.make.into(),
                    batch: it.batch,
                }
            }
            None => EditMore::Nothing,
        },
        ThingKind::Piece => EditMore::Nothing,
    };
    act.carry_out(&EditThing {
        thing: id,
        version: thing.version,
        note: asked.note,
        inspect_on: asked.inspect_on,
        more,
    })
    .await?;
    let (notes, tag) = noted(&api, id).await?;
    reply_tagged(&notes, &tag)
}

/// Which fixtures a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct FixtureQuery {
    /// Only those in one condition.
    condition: Option<Condition>,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// Fixtures that one still owns, by id.
#[utoipa::path(get, path = "/fixtures", params(FixtureQuery),
    responses((status = 200, description = "The fixtures", body = List<FixtureAt>)))]
async fn fixtures(api: Api, Query(query): Query<FixtureQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let found = db::fixture::list_owned(&mut *api.read().await?).await?;
    let found = found
        .into_iter()
        .map(FixtureAt::from)
        .filter(|it| query.condition.is_none_or(|asked| asked == it.condition))
        .collect();
    reply(&List::page(found, query.after, size, |it: &FixtureAt| {
        it.id.0
    }))
}

/// What is lent out, the first due first.
#[utoipa::path(get, path = "/loans", responses((status = 200, description = "The loans", body = List<Loan>)))]
async fn loans(api: Api) -> Answer {
    let loans = db::loan::list_out(&mut *api.read().await?).await?;
    reply(&List {
        items: loans.into_iter().map(Loan::from).collect(),
        next: None,
    })
}

/// What to search for.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct SearchQuery {
    /// Every word occurs in each result; part of a word counts.
    typed: String,
    /// Results of each sort.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
}

/// Parts, things, places and sets by anything that somebody may type.
#[utoipa::path(get, path = "/search", params(SearchQuery),
    responses((status = 200, description = "What was found", body = Found)))]
async fn search(api: Api, Query(query): Query<SearchQuery>) -> Answer {
    let limit = i64::try_from(page_size(query.limit)?).unwrap_or(0);
    let found = db::search::search(&mut *api.read().await?, &query.typed, limit).await?;
    reply(&Found::from(found))
}

/// How much another fixture may differ.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ReplacementQuery {
    /// How much shorter it may be.
    #[serde(default)]
    #[param(value_type = i64, minimum = 0, maximum = 1_000_000_000, default = 0, required = false)]
    shorter_um: Length,
    /// How much longer it may be.
    #[serde(default)]
    #[param(value_type = i64, minimum = 0, maximum = 1_000_000_000, default = 0, required = false)]
    longer_um: Length,
}

/// What could replace a fixture: compatible and free, best first, and why each other one is not.
#[utoipa::path(get, path = "/things/{id}/replacements", params(ReplacementQuery),
    responses((status = 200, description = "What fits, and what does not", body = Replacements)))]
async fn replacements(
    api: Api,
    Path(id): Path<ThingId>,
    Query(query): Query<ReplacementQuery>,
) -> Answer {
    let found =
        swap::candidates(api.db(), id, api.today, query.shorter_um, query.longer_um).await?;
    reply(&Replacements::from(found))
}
