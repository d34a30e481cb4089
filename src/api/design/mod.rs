//! Sets: described, planned, held.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{
        Answer, Body, Created, List, Path, Query, created, page_size, reply, reply_tagged, tagged,
    },
    listed,
    problem::Problem,
    shape::Hold,
    tag,
};
use crate::{
    app::App,
    db::{self, design::Listed},
    model::{
        design::{Choices, Design, State},
        id::DesignId,
        text::{Name, Note},
    },
    stock::{
        Act, StockError,
        design::{self, Basics, Edit, Edited},
    },
    units::{Money, ShowDates},
};

mod arrange;
mod bar;
mod extra;
mod frame;
mod pin;
mod plan;
mod state;
mod step;
mod strike;

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, add))
        .routes(routes!(get, put))
        .routes(routes!(copy))
        .routes(routes!(holds))
        .merge(bar::routes())
        .merge(arrange::routes())
        .merge(frame::routes())
        .merge(extra::routes())
        .merge(pin::routes())
        .merge(plan::routes())
        .merge(state::routes())
        .merge(step::routes())
        .merge(strike::routes())
}

fn tag_of(design: &Design) -> String {
    tag("design", design.id.0, design.version)
}

async fn lookup(api: &Api, id: DesignId) -> Result<Design, Problem> {
    db::design::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("set"))
}

/// How often an addition without `If-Match` is tried again when somebody else wrote meanwhile.
const ATTEMPTS: usize = 3;

/// A version that no row has.
const STALE: i64 = -1;

/// The version that a change is made on: what is stored now, unless `If-Match` names another. The
/// use-case refuses that one, but only after it has looked whether it is a repeat.
fn version(api: &Api, design: &Design) -> i64 {
    match &api.if_match {
        Some(list) if !listed(list, &tag_of(design), false) => STALE,
        _ => design.version,
    }
}

/// Carries an edit out on the version that the client read, or, for what is only added, on what
/// is stored now.
async fn edit(
    api: &Api,
    act: &Act,
    id: DesignId,
    make: impl Fn(&Design) -> Result<Edit, Problem>,
) -> Result<Edited, Problem> {
    let mut attempt = 0;
    loop {
        attempt += 1;
        let old = lookup(api, id).await?;
        let edits = [make(&old)?];
        match design::change(act, id, version(api, &old), &edits).await {
            Err(StockError::Changed) if api.if_match.is_none() && attempt < ATTEMPTS => {}
            Err(StockError::Changed) => {
                return Err(Problem::changed(&tag_of(&lookup(api, id).await?)));
            }
            edited => return Ok(edited?),
        }
    }
}

/// Which sets a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// In one state.
    state: Option<State>,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// Sets, by id.
#[utoipa::path(get, path = "/designs", params(ListQuery),
    responses((status = 200, description = "The sets", body = List<Listed>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let mut found = db::design::list(&mut *api.read().await?).await?;
    found.retain(|set| query.state.is_none_or(|asked| asked == set.state));
    reply(&List::page(found, query.after, size, |set: &Listed| {
        set.id.0
    }))
}

/// A set apart from its frames, bars and extra lines.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct DesignBody {
    /// Name.
    name: Name,
    /// Build day, get-in, strike: in this order, days may be the same.
    dates: ShowDates,
    /// Budget, if there is one.
    #[serde(default)]
    #[schema(value_type = Option<i64>, minimum = 0, maximum = 1_000_000_000_000_i64)]
    budget_minor: Option<Money>,
    /// Notes.
    #[serde(default)]
    note: Note,
    /// Parts to use throughout.
    #[serde(default)]
    choices: Choices,
}

impl DesignBody {
    fn read(self) -> Result<Basics, Problem> {
        if self.budget_minor.is_some_and(|sum| sum < Money::ZERO) {
            return Err(Problem::field(
                "/budget_minor",
                "Send a sum of zero or more.",
            ));
        }
        Ok(Basics {
            name: self.name,
            dates: self.dates,
            budget_minor: self.budget_minor,
            note: self.note,
            choices: self.choices,
        })
    }
}

/// Adds a draft without bars.
#[utoipa::path(post, path = "/designs", request_body = DesignBody,
    responses((status = 201, description = "It was added", body = Created)))]
async fn add(api: Api, body: Body<DesignBody>) -> Answer {
    let act = api.act(&body);
    let id = design::add(&act, &body.value.read()?, &[]).await?;
    created(id.0, format!("/api/v1/designs/{id}"))
}

/// One set, whole.
#[utoipa::path(get, path = "/designs/{id}", responses((status = 200, description = "The set", body = Design)))]
async fn get(api: Api, Path(id): Path<DesignId>) -> Answer {
    let design = lookup(&api, id).await?;
    api.reply(&design, &tag_of(&design))
}

/// Saves name, dates, budget, notes and parts of a set. A reserved set is planned again, and its
/// holds change with it or nothing changes.
#[utoipa::path(put, path = "/designs/{id}", request_body = DesignBody,
    responses((status = 200, description = "The set as saved", body = Design)))]
async fn put(api: Api, Path(id): Path<DesignId>, body: Body<DesignBody>) -> Answer {
    let act = api.act(&body);
    let design = lookup(&api, id).await?;
    api.must_match(&act, &tag_of(&design)).await?;
    let basics = body.value.read()?;
    edit(&api, &act, id, |_| Ok(Edit::Basics(basics.clone()))).await?;
    let design = lookup(&api, id).await?;
    reply_tagged(&design, &tag_of(&design))
}

/// What a copy is called, and when it is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CopyBody {
    /// Name.
    name: Name,
    /// Build day, get-in, strike: in this order, days may be the same.
    dates: ShowDates,
}

/// Copies a set, of whatever state, into a draft. Fixtures chosen by hand, frames of the cupboard
/// and what is left alone are to be chosen anew.
#[utoipa::path(post, path = "/designs/{id}/copy", request_body = CopyBody,
    responses((status = 201, description = "It was copied", body = Created)))]
async fn copy(api: Api, Path(id): Path<DesignId>, body: Body<CopyBody>) -> Answer {
    let act = api.act(&body);
    let id = design::copy(&act, id, &body.value.name, body.value.dates).await?;
    created(id.0, format!("/api/v1/designs/{id}"))
}

/// What a set holds, broken holds too.
#[utoipa::path(get, path = "/designs/{id}/holds",
    responses((status = 200, description = "The holds", body = List<Hold>)))]
async fn holds(api: Api, Path(id): Path<DesignId>) -> Answer {
    lookup(&api, id).await?;
    let found = db::reservation::list(&mut *api.read().await?, id).await?;
    reply(&List {
        items: found.into_iter().map(Hold::from).collect(),
        next: None,
    })
}

/// What an addition did (201), with the entity tag of the set from now on.
fn added(edited: &Edited) -> Answer {
    let answer = super::json::reply_with(StatusCode::CREATED, edited)?;
    Ok(tagged(
        answer,
        &tag("design", edited.design.0, edited.version),
    ))
}

/// What an edit did, with the entity tag of the set from now on.
fn changed(edited: &Edited) -> Answer {
    reply_tagged(edited, &tag("design", edited.design.0, edited.version))
}
