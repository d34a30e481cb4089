//! Suppliers, and the packs and rolls that they sell.

use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Body, Created, List, Path, Query, created, page_size, reply, reply_tagged},
    problem::Problem,
    tag,
};
use crate::{
    app::App,
    db::{
        self,
        offer::{Offer, Supplier},
    },
    model::{
        id::{OfferId, PartId, SupplierId},
        text::{NAME_LIMIT, Name, Note},
    },
    stock::sold,
    units::Money,
};

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(suppliers, add_supplier))
        .routes(routes!(supplier, put_supplier))
        .routes(routes!(offers, add))
        .routes(routes!(get, put))
}

fn supplier_tag(supplier: &Supplier) -> String {
    tag("supplier", supplier.id.0, supplier.version)
}

fn offer_tag(offer: &Offer) -> String {
    tag("offer", offer.id.0, offer.version)
}

/// Which page of a list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct PageQuery {
    /// Entries of one page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// The id of the last entry of the page before.
    after: Option<i64>,
}

/// Suppliers, by id.
#[utoipa::path(get, path = "/suppliers", params(PageQuery),
    responses((status = 200, description = "The suppliers", body = List<Supplier>)))]
async fn suppliers(api: Api, Query(query): Query<PageQuery>) -> Answer {
    let size = page_size(query.limit)?;
    let found = db::offer::list_suppliers(&mut *api.read().await?).await?;
    reply(&List::page(found, query.after, size, |it: &Supplier| {
        it.id.0
    }))
}

/// A supplier to be added or saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct SupplierBody {
    /// Name.
    name: Name,
    /// Days from order to delivery.
    #[schema(maximum = 365)]
    delivery_days: u32,
    /// Charge for a delivery.
    #[serde(default)]
    #[schema(value_type = i64, minimum = 0, maximum = 1_000_000_000_000_i64)]
    delivery_minor: Money,
    /// Orders of at least this sum are delivered free.
    #[serde(default)]
    #[schema(value_type = Option<i64>, minimum = 0, maximum = 1_000_000_000_000_i64)]
    free_above_minor: Option<Money>,
    /// Notes.
    #[serde(default)]
    note: Note,
    /// No longer bought from.
    #[serde(default)]
    retired: bool,
}

impl SupplierBody {
    fn read(self, id: SupplierId, version: i64) -> Result<Supplier, Problem> {
        if self.delivery_days > 365 {
            return Err(Problem::field(
                "/delivery_days",
                "Send a whole number from 0 to 365.",
            ));
        }
        not_negative("/delivery_minor", self.delivery_minor)?;
        if let Some(sum) = self.free_above_minor {
            not_negative("/free_above_minor", sum)?;
        }
        Ok(Supplier {
            id,
            name: self.name,
            delivery_days: self.delivery_days,
            delivery_minor: self.delivery_minor,
            free_above_minor: self.free_above_minor,
            note: self.note,
            retired: self.retired,
            version,
        })
    }
}

fn not_negative(pointer: &str, sum: Money) -> Result<(), Problem> {
    if sum < Money::ZERO {
        Err(Problem::field(pointer, "Send a sum of zero or more."))
    } else {
        Ok(())
    }
}

/// Adds a supplier.
#[utoipa::path(post, path = "/suppliers", request_body = SupplierBody,
    responses((status = 201, description = "It was added", body = Created)))]
async fn add_supplier(api: Api, body: Body<SupplierBody>) -> Answer {
    let act = api.act(&body);
    let new = body.value.read(SupplierId(0), 1)?;
    let id = sold::add_supplier(&act, &new).await?;
    created(id.0, format!("/api/v1/suppliers/{id}"))
}

/// One supplier.
#[utoipa::path(get, path = "/suppliers/{id}",
    responses((status = 200, description = "The supplier", body = Supplier)))]
async fn supplier(api: Api, Path(id): Path<SupplierId>) -> Answer {
    let found = lookup_supplier(&api, id).await?;
    api.reply(&found, &supplier_tag(&found))
}

async fn lookup_supplier(api: &Api, id: SupplierId) -> Result<Supplier, Problem> {
    db::offer::lookup_supplier(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("supplier"))
}

/// Saves a supplier.
#[utoipa::path(put, path = "/suppliers/{id}", request_body = SupplierBody,
    responses((status = 200, description = "The supplier as saved", body = Supplier)))]
async fn put_supplier(api: Api, Path(id): Path<SupplierId>, body: Body<SupplierBody>) -> Answer {
    let act = api.act(&body);
    let old = lookup_supplier(&api, id).await?;
    api.must_match(&act, &supplier_tag(&old)).await?;
    let changed = body.value.read(id, old.version)?;
    sold::change_supplier(&act, &changed).await?;
    let saved = lookup_supplier(&api, id).await?;
    reply_tagged(&saved, &supplier_tag(&saved))
}

/// What can be bought of a part, cheapest first, retired offers last.
#[utoipa::path(get, path = "/parts/{id}/offers",
    responses((status = 200, description = "The offers", body = List<Offer>)))]
async fn offers(api: Api, Path(id): Path<PartId>) -> Answer {
    let mut tx = api.read().await?;
    db::part::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Problem::not_found("part"))?;
    let found = db::offer::list_of_part(&mut tx, id).await?;
    reply(&List {
        items: found.into_iter().map(|(offer, _)| offer).collect(),
        next: None,
    })
}

/// An offer to be added or saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct OfferBody {
    /// Who sells.
    supplier: SupplierId,
    /// Count in a pack, or micrometres of one roll, reel or bar.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pack_amount: i64,
    /// Price of a pack.
    #[schema(value_type = i64, minimum = 0, maximum = 1_000_000_000_000_i64)]
    price_minor: Money,
    /// Fewest packs that are sold.
    #[serde(default = "one")]
    #[schema(minimum = 1, maximum = 100_000)]
    minimum_packs: u32,
    /// The supplier's own code; may be empty.
    #[serde(default)]
    #[schema(max_length = 120)]
    code: String,
    /// No longer sold.
    #[serde(default)]
    retired: bool,
}

const fn one() -> u32 {
    1
}

impl OfferBody {
    fn read(self, id: OfferId, part: PartId, version: i64) -> Result<Offer, Problem> {
        if !(1..=1_000_000_000).contains(&self.pack_amount) {
            return Err(Problem::field(
                "/pack_amount",
                "Send a whole number from 1 to 1000000000.",
            ));
        }
        if !(1..=100_000).contains(&self.minimum_packs) {
            return Err(Problem::field(
                "/minimum_packs",
                "Send a whole number from 1 to 100000.",
            ));
        }
        not_negative("/price_minor", self.price_minor)?;
        let code = self.code.trim();
        if code.chars().count() > NAME_LIMIT {
            return Err(Problem::field(
                "/code",
                format!("At most {NAME_LIMIT} characters are kept."),
            ));
        }
        Ok(Offer {
            id,
            part,
            supplier: self.supplier,
            pack_amount: self.pack_amount,
            price_minor: self.price_minor,
            minimum_packs: self.minimum_packs,
            code: code.to_owned(),
            retired: self.retired,
            version,
        })
    }
}

/// Adds an offer of a part.
#[utoipa::path(post, path = "/parts/{id}/offers", request_body = OfferBody,
    responses((status = 201, description = "It was added", body = Created)))]
async fn add(api: Api, Path(part): Path<PartId>, body: Body<OfferBody>) -> Answer {
    let act = api.act(&body);
    let new = body.value.read(OfferId(0), part, 1)?;
    let id = sold::add_offer(&act, &new).await?;
    created(id.0, format!("/api/v1/offers/{id}"))
}

/// One offer.
#[utoipa::path(get, path = "/offers/{id}", responses((status = 200, description = "The offer", body = Offer)))]
async fn get(api: Api, Path(id): Path<OfferId>) -> Answer {
    let found = lookup(&api, id).await?;
    api.reply(&found, &offer_tag(&found))
}

async fn lookup(api: &Api, id: OfferId) -> Result<Offer, Problem> {
    db::offer::lookup(&mut *api.read().await?, id)
        .await?
        .ok_or_else(|| Problem::not_found("offer"))
}

/// Saves an offer; its part stays.
#[utoipa::path(put, path = "/offers/{id}", request_body = OfferBody,
    responses((status = 200, description = "The offer as saved", body = Offer)))]
async fn put(api: Api, Path(id): Path<OfferId>, body: Body<OfferBody>) -> Answer {
    let act = api.act(&body);
    let old = lookup(&api, id).await?;
    api.must_match(&act, &offer_tag(&old)).await?;
    let changed = body.value.read(id, old.part, old.version)?;
    sold::change_offer(&act, &changed).await?;
    let saved = lookup(&api, id).await?;
    reply_tagged(&saved, &offer_tag(&saved))
}
