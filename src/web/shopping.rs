//! Shopping over all designs: what is short, by supplier, and the orders that are under way.

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    design::day,
    error::Answer,
    form::Form,
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    settings::offer::pack_words,
};
use crate::{
    model::{
        id::{DesignId, OfferId, PartId, PurchaseId, SupplierId},
        purchase::{Purchase, PurchaseState},
    },
    plan::shopping::{ListLine, ShoppingList},
    stock::order::{self, Wish},
    units::Money,
};

struct LineView {
    part: PartId,
    offer: OfferId,
    name: String,
    packs: u32,
    pack: String,
    cost: String,
    left_over: Option<String>,
    on_order: i64,
    designs: Vec<(DesignId, String)>,
    order_by: String,
    late: bool,
    design: Option<DesignId>,
}

struct ParcelView {
    supplier: SupplierId,
    name: String,
    goods: String,
    delivery: String,
    total: String,
    lines: Vec<LineView>,
}

struct UnpricedView {
    part: Option<PartId>,
    name: String,
    short: String,
    rolls: String,
    designs: Vec<(DesignId, String)>,
}

struct OrderView {
    id: PurchaseId,
    supplier: String,
    state: &'static str,
    mark: &'static str,
    expected: Option<String>,
    late: bool,
    open_lines: usize,
    total: String,
}

#[derive(Template)]
#[template(path = "shopping/list.html")]
struct ShoppingPage {
    chrome: Chrome,
    form: Form,
    parcels: Vec<ParcelView>,
    unpriced: Vec<UnpricedView>,
    orders: Vec<OrderView>,
    tax: bool,
    sets: usize,
}

/// GET: the list.
pub async fn get(cx: Cx) -> Answer {
    show(&cx, Form::default(), StatusCode::OK).await
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let mut tx = cx.read().await?;
    let wanted = order::wanted(&mut tx, cx.today).await?;
    let orders = crate::db::purchase::list(&mut tx, 50).await?;
    drop(tx);
    let parts = &wanted.parts;
    let ShoppingList { parcels, unpriced } = &wanted.list;
    let parcels = parcels
        .iter()
        .map(|parcel| {
            let supplier = wanted
                .suppliers
                .iter()
                .find(|known| known.id == parcel.supplier);
            let delivery = supplier.map_or(Money::ZERO, |supplier| {
                supplier.delivery(parcel.goods_minor)
            });
            let total = parcel
                .goods_minor
                .checked_add(delivery)
                .unwrap_or(parcel.goods_minor);
            ParcelView {
                supplier: parcel.supplier,
                name: parcel.name.clone(),
                goods: cx.money(parcel.goods_minor),
                delivery: if delivery == Money::ZERO {
                    "free".into()
                } else {
                    cx.money(delivery)
                },
                total: cx.money(total),
                lines: parcel
                    .lines
                    .iter()
                    .map(|line| line_view(cx, &wanted, line))
                    .collect(),
            }
        })
        .collect();
    let unpriced = unpriced
        .iter()
        .map(|short| UnpricedView {
            part: short.part,
            name: short.name.clone(),
            short: short.part.and_then(|id| parts.get(&id)).map_or_else(
                || short.short.to_string(),
                |part| amount_words(part, short.short, cx),
            ),
            rolls: cx.rolls(&short.rolls),
            designs: short.designs.clone(),
        })
        .collect();
    let page = ShoppingPage {
        chrome: cx.chrome(Section::Shopping, "Shopping"),
        form,
        parcels,
        unpriced,
        orders: orders.iter().map(|order| order_view(cx, order)).collect(),
        tax: cx.venue.prices_include_tax,
        sets: wanted.sets,
    };
    Ok(page_with(status, &page))
}

/// An amount in the part's stock unit, in words.
pub fn amount_words(part: &crate::model::part::Part, amount: i64, cx: &Cx) -> String {
    use crate::model::{part::StockUnit, piece::length_of};
    match part.unit() {
        StockUnit::Each => amount.to_string(),
        unit => length_of(unit, amount, 0).show(cx.unit()),
    }
}

fn line_view(cx: &Cx, wanted: &order::Wanted, line: &ListLine) -> LineView {
    LineView {
        part: line.part,
        offer: line.offer,
        name: line.name.clone(),
        packs: line.packs,
        pack: wanted
            .parts
            .get(&line.part)
            .map(|part| pack_words(part, line.pack_amount, cx.unit()))
            .unwrap_or_default(),
        cost: cx.money(line.cost_minor),
        left_over: line.left_over.filter(|left| *left > 0).map(|left| {
            wanted
                .parts
                .get(&line.part)
                .map_or_else(|| left.to_string(), |part| amount_words(part, left, cx))
        }),
        on_order: line.on_order,
        order_by: day(line.order_by),
        late: line.order_by < cx.today,
        design: match line.designs.as_slice() {
            [(id, _)] => Some(*id),
            _ => None,
        },
        designs: line.designs.clone(),
    }
}

fn order_view(cx: &Cx, order: &Purchase) -> OrderView {
    let waiting = order.state == PurchaseState::Ordered;
    OrderView {
        id: order.id,
        supplier: order.supplier_name.clone(),
        state: order.state.label(),
        mark: match order.state {
            PurchaseState::List => "draft",
            PurchaseState::Ordered => "waiting",
            PurchaseState::Closed => "passed",
            PurchaseState::Cancelled => "cancelled",
        },
        expected: order.expected_on.map(day),
        late: waiting && order.expected_on.is_some_and(|day| day < cx.today),
        open_lines: order
            .lines
            .iter()
            .filter(|line| line.open_packs() > 0)
            .count(),
        total: cx.money(order.total()),
    }
}

/// POST: makes an order of the ticked lines of one supplier.
pub async fn order(cx: Cx, mut form: Form) -> Answer {
    let Some(supplier) = form.id::<SupplierId>("supplier") else {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let mut wishes = Vec::new();
    let ticked: Vec<String> = form.all("offer").map(str::to_owned).collect();
    for offer in ticked {
        let Ok(id) = offer.parse::<OfferId>() else {
            continue;
        };
        let packs = form.count(&format!("packs-{id}"), 1, 100_000);
        let design = form.optional_id::<DesignId>(&format!("design-{id}"));
        if let (Some(packs), Some(design)) = (packs, design) {
            wishes.push(Wish {
                offer: id,
                packs,
                design,
            });
        }
    }
    if wishes.is_empty() && form.ok() {
        form.fail("", "Tick at least one line to order. Nothing was ordered.");
    }
    if !form.ok() {
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let id = order::place(&cx.act(&form), supplier, &wishes).await?;
    Ok(go_with(
        &Link::Purchase(id),
        &Flash::good("The order is written down. Say when you have sent it."),
    ))
}
