//! Prices of one supplier, a line a part: what is short and has no price, or every such part.

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;

use super::{
    cx::Cx,
    error::Answer,
    form::{Choice, Form},
    link::Link,
    page::{Chrome, Flash, Section, go_with, page_with},
    places::refused,
    settings::offer::{by_length, pack_hint, pack_label, read_pack},
    show::counted,
};
use crate::{
    db,
    model::{
        id::{PartId, SupplierId},
        part::Part,
    },
    plan::basket::Way,
    stock::{
        order,
        prices::{self, Price, Seller},
    },
    units::Money,
};

/// Packs of one part that are asked for at most.
const MOST_PACKS: usize = 4;

struct Row {
    pack_field: String,
    pack_label: &'static str,
    pack: String,
    pack_errors: Vec<String>,
    price_field: String,
    price: String,
    price_errors: Vec<String>,
}

struct PartRows {
    id: PartId,
    name: String,
    wanted: String,
    /// How its packs are typed.
    hint: String,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "prices.html")]
struct PricesPage {
    chrome: Chrome,
    form: Form,
    suppliers: Vec<Choice>,
    parts: Vec<PartRows>,
    all: bool,
    tax: bool,
}

impl PricesPage {
    const fn days_label(&self) -> &'static str {
        if self.suppliers.is_empty() {
            "Days from order to delivery"
        } else {
            "A new one delivers in"
        }
    }

    const fn charge_label(&self) -> &'static str {
        if self.suppliers.is_empty() {
            "Charge for a delivery"
        } else {
            "A new one charges for a delivery"
        }
    }
}

/// A part that is asked about, and what of it is short in words.
struct Asked {
    part: Part,
    wanted: String,
}

/// Which parts: those that a set is short of and nobody is known to sell, or all without a price.
async fn asked(cx: &Cx, all: bool) -> Result<Vec<Asked>, super::error::Trouble> {
    if all {
        let mut tx = cx.read().await?;
        let priced: BTreeSet<PartId> = db::offer::list_for_plan(&mut tx)
            .await?
            .into_iter()
            .map(|offer| offer.part)
            .collect();
        let parts = db::part::list(&mut tx, None, false).await?;
        return Ok(parts
            .into_iter()
            .filter(|part| !priced.contains(&part.id))
            .map(|part| Asked {
                part,
                wanted: String::new(),
            })
            .collect());
    }
    let mut wanted = order::wanted(cx.db(), cx.today, &Way::default(), None).await?;
    Ok(wanted
        .list
        .unpriced
        .iter()
        .filter_map(|short| {
            let part = wanted.parts.remove(&short.part?)?;
            let much = super::shopping::amount_words(&part, short.short, cx);
            Some(Asked {
                part,
                wanted: format!("{much} short"),
            })
        })
        .collect())
}

/// What is usually sold: each length that the part says, else one.
fn usual_packs(cx: &Cx, part: &Part) -> Vec<String> {
    if !by_length(part) {
        return vec!["1".to_owned()];
    }
    let sold = part.spec.sold_um();
    if sold.is_empty() {
        return vec![String::new()];
    }
    let lengths = sold.iter().take(MOST_PACKS);
    lengths.map(|length| length.typed_sold(cx.unit())).collect()
}

fn fields(part: PartId, at: usize) -> (String, String) {
    (format!("pack-{part}-{at}"), format!("price-{part}-{at}"))
}

fn rows(cx: &Cx, form: &Form, part: &Part) -> Vec<Row> {
    usual_packs(cx, part)
        .into_iter()
        .enumerate()
        .map(|(at, usual)| {
            let (pack_field, price_field) = fields(part.id, at);
            Row {
                pack_label: pack_label(part),
                pack: if form.has(&pack_field) {
                    form.value(&pack_field).to_owned()
                } else {
                    usual
                },
                pack_errors: form.errors(&pack_field).to_vec(),
                price: form.value(&price_field).to_owned(),
                price_errors: form.errors(&price_field).to_vec(),
                pack_field,
                price_field,
            }
        })
        .collect()
}

async fn show(cx: &Cx, form: Form, status: StatusCode) -> Answer {
    let all = form.value("of") == "all";
    let parts = asked(cx, all).await?;
    let suppliers = db::offer::list_suppliers(&mut *cx.read().await?).await?;
    let suppliers = suppliers
        .into_iter()
        .filter(|supplier| !supplier.retired)
        .map(|supplier| (supplier.id, supplier.name));
    Ok(page_with(
        status,
        &PricesPage {
            chrome: cx.chrome(Section::Shopping, "Prices of one supplier"),
            suppliers: Choice::list(suppliers, form.value("supplier")),
            parts: parts
                .iter()
                .map(|asked| PartRows {
                    id: asked.part.id,
                    name: asked.part.name.to_string(),
                    wanted: asked.wanted.clone(),
                    hint: pack_hint(&asked.part, cx.unit()),
                    rows: rows(cx, &form, &asked.part),
                })
                .collect(),
            all,
            tax: cx.venue.prices_include_tax,
            form,
        },
    ))
}

/// The prices that were typed for a part; lines without a price are left out.
fn read(cx: &Cx, form: &mut Form, part: &Part) -> Vec<Price> {
    let mut prices = Vec::new();
    for at in 0..MOST_PACKS {
        let (pack_field, price_field) = fields(part.id, at);
        if form.value(&price_field).trim().is_empty() {
            continue;
        }
        let pack_amount = read_pack(form, &pack_field, part, cx.unit());
        let price = form.money(&price_field, &cx.venue.currency);
        if price.is_some_and(|price| price < Money::ZERO) {
            form.fail(&price_field, "Type a price of zero or more.");
        }
        if let (Some(pack_amount), Some(price_minor)) = (pack_amount, price) {
            prices.push(Price {
                part: part.id,
                pack_amount,
                price_minor,
            });
        }
    }
    prices
}

fn read_seller(cx: &Cx, form: &mut Form) -> Option<Seller> {
    if form.value("new_supplier").trim().is_empty() {
        if form.value("supplier").is_empty() {
            form.fail("new_supplier", "Type the supplier's name.");
            return None;
        }
        return form.id::<SupplierId>("supplier").map(Seller::Known);
    }
    let name = form.name("new_supplier");
    let days = form.take("new_days", |text| match text.trim().parse::<u32>() {
        Ok(days) if days <= 365 => Ok(days),
        _ => Err("Type the days from order to delivery, 0 to 365: by when to order rests on them."),
    });
    let charge = form.take("new_delivery", |text| {
        if text.trim().is_empty() {
            return Err("Type what a delivery costs, or 0 if it is free.".to_owned());
        }
        match Money::parse(text, &cx.venue.currency) {
            Ok(charge) if charge < Money::ZERO => Err("Type a sum of zero or more.".to_owned()),
            charge => charge.map_err(|why| why.to_string()),
        }
    });
    Some(Seller::New {
        name: name?,
        delivery_days: days?,
        delivery_minor: charge?,
    })
}

/// GET: a line for each part without a price.
pub async fn get(cx: Cx, form: Form) -> Answer {
    show(&cx, form, StatusCode::OK).await
}

/// POST: notes every price that was typed, or none.
pub async fn post(cx: Cx, mut form: Form) -> Answer {
    let parts = db::part::list(&mut *cx.read().await?, None, false).await?;
    let mut typed = Vec::new();
    for part in &parts {
        typed.extend(read(&cx, &mut form, part));
    }
    let seller = read_seller(&cx, &mut form);
    if form.ok() && typed.is_empty() {
        form.fail(
            "",
            "Type at least one price; lines of what they do not sell stay empty.",
        );
    }
    let (true, Some(seller)) = (form.ok(), seller) else {
        form.fail(
            "",
            "What is wrong is said at its field below; what you typed stands there.",
        );
        return show(&cx, form, StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    match prices::note(&cx.act(&form), &seller, &typed).await {
        Ok(noted) => Ok(go_with(
            &Link::Shopping,
            &Flash::good(format!(
                "{} noted.",
                counted(noted, "price is", "prices are")
            )),
        )),
        Err(why) => {
            let status = refused(&mut form, why)?;
            show(&cx, form, status).await
        }
    }
}
