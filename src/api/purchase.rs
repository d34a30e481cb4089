//! What all sets are short of, orders written down and sent, and what comes of them.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{
        Answer, Body, Created, List, Path, Query, created, page_size, reply, reply_tagged,
        reply_with,
    },
    problem::Problem,
    shape::{Arrived, ArrivedAll, Shopping},
};
use crate::{
    app::App,
    db,
    model::{
        id::{DesignId, OfferId, PlaceId, PurchaseId, PurchaseLineId, SupplierId},
        purchase::{Purchase, PurchaseState, Share},
        text::Note,
    },
    plan::{basket::Way, packs::Aim},
    stock::{
        StockError,
        order::{self, Arrival, Came, Change, Goes, Wish},
    },
    units::{Date, Money},
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(shopping))
        .routes(routes!(list, add))
        .routes(routes!(get, put))
        .routes(routes!(receive))
        .routes(routes!(receive_all))
}

/// What is received raises no version: it stands in the tag beside it.
fn tag_of(order: &Purchase) -> String {
    let came: i64 = order
        .lines
        .iter()
        .map(|line| line.received_packs + line.refused_packs)
        .sum();
    format!("\"purchase-{}-{}-{came}\"", order.id, order.version)
}

/// Which orders a list has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// In one state.
    state: Option<PurchaseState>,
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// More orders than any venue has.
const EVERY: i64 = 100_000;

/// Orders with their lines, by id.
#[utoipa::path(get, path = "/purchases", params(ListQuery),
    responses((status = 200, description = "The orders", body = List<Purchase>)))]
async fn list(api: Api, Query(query): Query<ListQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let mut found = db::purchase::list(&mut *api.read().await?, EVERY).await?;
    found.retain(|order| query.state.is_none_or(|asked| asked == order.state));
    reply(&List::page(found, query.after, size, |order: &Purchase| {
        order.id.0
    }))
}

async fn lookup(api: &Api, id: PurchaseId) -> Result<Purchase, Problem> {
    db::purchase::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("order"))
}

/// One order with its lines.
#[utoipa::path(get, path = "/purchases/{id}",
    responses((status = 200, description = "The order", body = Purchase)))]
async fn get(api: Api, Path(id): Path<PurchaseId>) -> Answer {
    let order = lookup(&api, id).await?;
    api.reply(&order, &tag_of(&order))
}

/// How one wants to buy.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ShoppingQuery {
    /// What counts first; `money` if left out.
    aim: Option<Aim>,
    /// Suppliers to buy nothing from: their ids, with commas between.
    without: Option<String>,
    /// Only what this set is short of, without what is on order for others.
    design: Option<DesignId>,
}

/// What all sets that are still to be built are short of, or one of them, supplier by supplier.
#[utoipa::path(get, path = "/shopping", params(ShoppingQuery),
    responses((status = 200, description = "The list", body = Shopping)))]
async fn shopping(api: Api, Query(query): Query<ShoppingQuery>) -> Answer {
    let way = Way::read(query.aim, query.without.as_deref().unwrap_or_default())
        .map_err(|why| Problem::parameter("without", why.to_string()))?;
    let wanted = order::wanted(api.db(), api.today, &way, query.design).await?;
    reply(&Shopping::new(wanted.list, wanted.sets))
}

/// One line to be ordered.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct WishBody {
    /// From which offer.
    offer: OfferId,
    /// Packs, rolls or bars; the offer's minimum is taken where this is less.
    #[schema(minimum = 1, maximum = 100_000)]
    packs: i64,
    /// For which set, if for one.
    #[serde(default)]
    design: Option<DesignId>,
    /// For which sets and how much of it each needs, if for several: its cost is shared so.
    #[serde(default)]
    #[schema(max_items = 200)]
    shares: Vec<Share>,
}

impl WishBody {
    /// The sets that it is for; `None` where that is said in both ways.
    fn sets(&self) -> Option<Vec<Share>> {
        match self.design {
            None => Some(self.shares.clone()),
            Some(design) if self.shares.is_empty() => Some(vec![Share {
                design,
                amount: self.packs,
            }]),
            Some(_) => None,
        }
    }
}

/// What is to be ordered from one supplier.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct OrderBody {
    /// From whom.
    supplier: SupplierId,
    /// What.
    #[schema(min_items = 1, max_items = 200)]
    lines: Vec<WishBody>,
}

/// What the body names and is not there is a wrong field.
fn named(error: StockError, pointer: &str) -> Problem {
    match error {
        StockError::NotFound(what) => Problem::field(
            pointer,
            format!("There is no such {what}. Send the id of one that is there."),
        ),
        error => error.into(),
    }
}

/// Writes an order down, with the offers' prices of now.
#[utoipa::path(post, path = "/purchases", request_body = OrderBody,
    responses((status = 201, description = "It is written down", body = Created)))]
async fn add(api: Api, body: Body<OrderBody>) -> Answer {
    let act = api.act(&body);
    let OrderBody { supplier, lines } = body.value;
    if !(1..=200).contains(&lines.len()) {
        return Err(Problem::field("/lines", "An order has 1 to 200 lines."));
    }
    let mut wishes = Vec::with_capacity(lines.len());
    for (at, line) in lines.iter().enumerate() {
        if !(1..=100_000).contains(&line.packs) {
            return Err(Problem::field(
                format!("/lines/{at}/packs"),
                "Send a whole number from 1 to 100000.",
            ));
        }
        let Some(shares) = line.sets() else {
            return Err(Problem::field(
                format!("/lines/{at}/design"),
                "Send the sets either as design or as shares, not as both.",
            ));
        };
        if shares.len() > 200 {
            return Err(Problem::field(
                format!("/lines/{at}/shares"),
                "A line is for at most 200 sets.",
            ));
        }
        if let Some(nothing) = shares.iter().position(|share| share.amount < 1) {
            return Err(Problem::field(
                format!("/lines/{at}/shares/{nothing}/amount"),
                "Send a whole number of 1 or more.",
            ));
        }
        wishes.push(Wish {
            offer: line.offer,
            packs: line.packs,
            shares,
        });
    }
    let id = order::place(&act, supplier, &wishes)
        .await
        .map_err(|error| named(error, ""))?;
    created(id.0, format!("/api/v1/purchases/{id}"))
}

/// How far an order is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct PurchaseBody {
    /// The state that it goes to, or is in.
    state: PurchaseState,
    /// The day it was sent; today where nothing is said.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Date)]
    ordered_on: Option<Date>,
    /// The day it is expected; from the supplier's delivery time where nothing is said.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Date)]
    expected_on: Option<Date>,
    /// Paid so far.
    #[serde(default)]
    #[schema(value_type = i64, minimum = 0, maximum = 1_000_000_000_000_i64)]
    paid_minor: Money,
    /// Notes.
    #[serde(default)]
    note: Note,
}

/// Notes how far an order is.
#[utoipa::path(put, path = "/purchases/{id}", request_body = PurchaseBody,
    responses((status = 200, description = "The order as it is now", body = Purchase)))]
async fn put(api: Api, Path(id): Path<PurchaseId>, body: Body<PurchaseBody>) -> Answer {
    let old = lookup(&api, id).await?;
    let act = api.act(&body);
    api.must_match(&act, &tag_of(&old)).await?;
    let asked = body.value;
    if asked.paid_minor < Money::ZERO {
        return Err(Problem::field("/paid_minor", "Send a sum of zero or more."));
    }
    let change = Change {
        to: asked.state,
        version: old.version,
        ordered_on: asked.ordered_on,
        expected_on: asked.expected_on,
        paid_minor: asked.paid_minor,
        note: asked.note,
    };
    match order::change(&act, id, change).await {
        Err(StockError::Changed) => {
            return Err(Problem::changed(&tag_of(&lookup(&api, id).await?)));
        }
        changed => changed?,
    };
    let order = lookup(&api, id).await?;
    reply_tagged(&order, &tag_of(&order))
}

/// What arrived of a line.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ArrivalBody {
    /// Packs that are right.
    #[schema(minimum = 0, maximum = 100_000)]
    good: i64,
    /// Packs that are wrong or faulty.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100_000)]
    bad: i64,
    /// Where the good ones go.
    to: PlaceId,
    /// What is wrong with the others.
    #[serde(default)]
    note: Note,
}

/// Takes what arrived of a line into stock; holds that waited for it become sure.
#[utoipa::path(post, path = "/purchases/{id}/lines/{line}/receive", request_body = ArrivalBody,
    responses((status = 201, description = "What came of it", body = Arrived)))]
async fn receive(
    api: Api,
    Path((id, line)): Path<(PurchaseId, PurchaseLineId)>,
    body: Body<ArrivalBody>,
) -> Answer {
    let order = lookup(&api, id).await?;
    if order.lines.iter().all(|known| known.id != line) {
        return Err(Problem::not_found("order line"));
    }
    let act = api.act(&body);
    let asked = body.value;
    for (pointer, packs) in [("/good", asked.good), ("/bad", asked.bad)] {
        if !(0..=100_000).contains(&packs) {
            return Err(Problem::field(
                pointer,
                "Send a whole number from 0 to 100000.",
            ));
        }
    }
    let arrival = Arrival {
        good: asked.good,
        bad: asked.bad,
        place: asked.to,
        note: asked.note,
    };
    let received = order::receive(&act, line, &arrival)
        .await
        .map_err(|error| named(error, "/to"))?;
    let arrived = Arrived {
        movement: received.movement,
        said: received.said,
    };
    reply_with(StatusCode::CREATED, &arrived)
}

/// Where all that is still to come goes.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct AllBody {
    /// All of it to this place; each part to where it was put last, where none is named.
    #[serde(default)]
    to: Option<PlaceId>,
    /// Where parts go that were never put anywhere; they are refused where none is named.
    #[serde(default)]
    otherwise: Option<PlaceId>,
    /// Leaves out lines of which a part was noted already: what is missing of them is still to come.
    #[serde(default)]
    all_but_short: bool,
}

/// Takes all that is still to come of an order into stock, or nothing of it.
#[utoipa::path(post, path = "/purchases/{id}/receive", request_body = AllBody,
    responses((status = 201, description = "What came of it", body = ArrivedAll)))]
async fn receive_all(api: Api, Path(id): Path<PurchaseId>, body: Body<AllBody>) -> Answer {
    let order = lookup(&api, id).await?;
    let act = api.act(&body);
    let AllBody {
        to,
        otherwise,
        all_but_short,
    } = body.value;
    let came = if all_but_short {
        Came::AllButShort
    } else {
        Came::All
    };
    let goes = to.map_or(Goes::Usual { otherwise }, Goes::To);
    let pointer = if to.is_some() { "/to" } else { "/otherwise" };
    let received = order::receive_all(&act, order.id, goes, &came)
        .await
        .map_err(|error| named(error, pointer))?;
    let arrived = ArrivedAll {
        movements: received.movements,
        said: received.said,
    };
    reply_with(StatusCode::CREATED, &arrived)
}
