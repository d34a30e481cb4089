//! Offers of one part: who sells it, in what pack, for how much.

use askama::Template;
use axum::http::StatusCode;
use sqlx::SqliteConnection;

use crate::{
    db::{self, offer::Offer},
    model::{
        id::{OfferId, PartId, SupplierId},
        part::{Measure, Part, PartSpec, StockBy, Sundry},
    },
    stock::{StockError, sold},
    units::{Length, LengthUnit, Money},
    web::{
        at::Path,
        clash::{Clash, Field, tick_words},
        cx::Cx,
        error::{Answer, Trouble},
        form::{Choice, Form},
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
        places::refused,
    },
};

#[derive(Template)]
#[template(path = "settings/offer.html")]
struct OfferPage {
    chrome: Chrome,
    part: Part,
    by_length: bool,
    pack_label: &'static str,
    pack_hint: String,
    form: Form,
    clash: Option<Clash>,
    action: Link,
    known: bool,
    suppliers: Vec<Choice>,
    tax: bool,
}

/// Whether packs of the part are lengths.
pub fn by_length(part: &Part) -> bool {
    part.stock_by() == StockBy::Length || runs(part)
}

/// A pack in words.
pub fn pack_words(part: &Part, pack_amount: i64, unit: LengthUnit) -> String {
    if by_length(part) {
        Length::new(pack_amount)
            .unwrap_or(Length::ZERO)
            .say_sold(unit)
    } else if pack_amount == 1 {
        "single".into()
    } else {
        format!("pack of {pack_amount}")
    }
}

/// Whether it is counted by its length and has no pieces, such as solder.
const fn runs(part: &Part) -> bool {
    matches!(
        &part.spec,
        PartSpec::Sundry(Sundry {
            measure: Measure::Length,
            ..
        })
    )
}

/// What is asked of a pack: a number, or the length of what it is of.
pub const fn pack_label(part: &Part) -> &'static str {
    match &part.spec {
        PartSpec::Tape(_) => "Length of one roll",
        PartSpec::Profile(_) => "Length of one bar",
        PartSpec::Cable(_) => "Length of one reel",
        PartSpec::Sundry(_) if runs(part) => "Length in one pack",
        _ => "In a pack",
    }
}

/// How it is to be typed.
pub fn pack_hint(part: &Part, unit: LengthUnit) -> String {
    match &part.spec {
        PartSpec::Tape(_) | PartSpec::Profile(_) | PartSpec::Cable(_) => "As it is sold".to_owned(),
        PartSpec::Sundry(_) if runs(part) => format!(
            "It is counted by length, also where it is sold by weight: how much is on one reel, \
             such as {}",
            a_run(unit)
        ),
        _ => "1 if sold singly".to_owned(),
    }
}

/// A likely length of what runs off a reel, for an example.
const fn a_run(unit: LengthUnit) -> &'static str {
    unit.such("15 m", "50 ft")
}

/// Shorter than this is no pack of anything, but a number of packs that was typed for a length.
const LEAST_RUN: Length = Length::mm(10);

/// Whether what was typed is a weight: a number, and its unit.
fn weight(text: &str) -> bool {
    let text = text.trim().to_ascii_lowercase();
    ["kg", "g", "oz", "lb", "lbs"].iter().any(|unit| {
        text.strip_suffix(unit).is_some_and(|number| {
            number
                .trim_end()
                .ends_with(|end: char| end.is_ascii_digit())
        })
    })
}

/// What is in a pack, as typed in this field.
pub fn read_pack(form: &mut Form, field: &str, part: &Part, unit: LengthUnit) -> Option<i64> {
    if !by_length(part) {
        return form.count(field, 1, 1_000_000);
    }
    if weight(form.value(field)) {
        form.fail(
            field,
            format!(
                "{} is counted by length. Type how long it is in one pack, such as {}, not how \
                 heavy.",
                part.name,
                a_run(unit)
            ),
        );
        return None;
    }
    let length = form.length_above_zero(field, unit)?;
    if runs(part) && length < LEAST_RUN {
        form.fail(
            field,
            format!(
                "That is {} in one pack. Type how long it is with its unit, such as {}; how many \
                 packs there are is not asked here.",
                length.say(unit),
                a_run(unit)
            ),
        );
        return None;
    }
    Some(length.get())
}

async fn show(
    cx: &Cx,
    tx: &mut SqliteConnection,
    part: Part,
    id: Option<OfferId>,
    form: Form,
    clash: Option<Clash>,
    status: StatusCode,
) -> Answer {
    let chosen = form.value("supplier").to_owned();
    let suppliers = db::offer::list_suppliers(tx)
        .await?
        .into_iter()
        .filter(|supplier| !supplier.retired || supplier.id.to_string() == chosen)
        .map(|supplier| (supplier.id, supplier.name));
    let page = OfferPage {
        chrome: cx.chrome(Section::Cupboard, format!("Price of {}", part.name)),
        suppliers: Choice::list(suppliers, &chosen),
        by_length: by_length(&part),
        pack_label: pack_label(&part),
        pack_hint: pack_hint(&part, cx.unit()),
        action: id.map_or(Link::OfferNew(part.id), Link::Offer),
        known: id.is_some(),
        tax: cx.venue.prices_include_tax,
        part,
        form,
        clash,
    };
    Ok(page_with(status, &page))
}

async fn part_of(tx: &mut SqliteConnection, id: PartId) -> Result<Part, Trouble> {
    db::part::lookup(tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("part"))
}

fn read(cx: &Cx, part: &Part, id: OfferId, form: &mut Form) -> Option<Offer> {
    let supplier = form.id::<SupplierId>("supplier");
    let pack_amount = read_pack(form, "pack", part, cx.unit());
    let price = form.money("price", &cx.venue.currency);
    if price.is_some_and(|price| price < Money::ZERO) {
        form.fail("price", "Type a price of zero or more.");
    }
    let minimum = form.count("minimum", 1, 10_000);
    let code = form.value("code").trim().to_owned();
    if code.chars().count() > 120 {
        form.fail("code", "A code has at most 120 characters.");
    }
    if !form.ok() {
        return None;
    }
    Some(Offer {
        id,
        part: part.id,
        supplier: supplier?,
        pack_amount: pack_amount?,
        price_minor: price?,
        minimum_packs: u32::try_from(minimum?).unwrap_or(1),
        code,
        retired: form.ticked("retired"),
        version: form.value("version").parse().unwrap_or(0),
    })
}

/// GET: the form of a new offer of a part.
pub async fn new(cx: Cx, Path(part): Path<PartId>) -> Answer {
    let mut tx = cx.read().await?;
    let part = part_of(&mut tx, part).await?;
    let pack = if by_length(&part) { "" } else { "1" };
    let form = Form::filled([("pack", pack), ("minimum", "1")]);
    show(&cx, &mut tx, part, None, form, None, StatusCode::OK).await
}

/// POST: adds an offer.
pub async fn add(cx: Cx, Path(part): Path<PartId>, mut form: Form) -> Answer {
    let mut tx = cx.read().await?;
    let part = part_of(&mut tx, part).await?;
    let Some(offer) = read(&cx, &part, OfferId(0), &mut form) else {
        return show(
            &cx,
            &mut tx,
            part,
            None,
            form,
            None,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await;
    };
    if let Err(why) = sold::add_offer(&cx.act(&form), &offer).await {
        let status = refused(&mut form, why)?;
        return show(&cx, &mut tx, part, None, form, None, status).await;
    }
    Ok(go_with(
        &Link::Part(part.id),
        &Flash::good("The price is noted."),
    ))
}

/// GET: one offer.
pub async fn get(cx: Cx, Path(id): Path<OfferId>) -> Answer {
    let mut tx = cx.read().await?;
    let offer = db::offer::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("price"))?;
    let part = part_of(&mut tx, offer.part).await?;
    let form = filled(&cx, &part, &offer);
    show(&cx, &mut tx, part, Some(id), form, None, StatusCode::OK).await
}

const FIELDS: &[Field] = &[
    ("supplier", "Supplier"),
    ("pack", "Pack"),
    ("price", "Price of one pack"),
    ("minimum", "Fewest packs sold"),
    ("code", "The supplier’s code"),
    ("retired", "No longer sold"),
];

fn filled(cx: &Cx, part: &Part, offer: &Offer) -> Form {
    let pack = if by_length(part) {
        let length = Length::new(offer.pack_amount).unwrap_or(Length::ZERO);
        length.typed_sold(cx.unit())
    } else {
        offer.pack_amount.to_string()
    };
    Form::filled([
        ("supplier", offer.supplier.to_string()),
        ("pack", pack),
        ("price", cx.money(offer.price_minor)),
        ("minimum", offer.minimum_packs.to_string()),
        ("code", offer.code.clone()),
        (
            "retired",
            if offer.retired {
                "on".into()
            } else {
                String::new()
            },
        ),
        ("version", offer.version.to_string()),
    ])
}

/// POST: saves one offer.
pub async fn post(cx: Cx, Path(id): Path<OfferId>, mut form: Form) -> Answer {
    let mut tx = cx.read().await?;
    let stored = db::offer::lookup(&mut tx, id)
        .await?
        .ok_or_else(|| Trouble::not_found("price"))?;
    let part = part_of(&mut tx, stored.part).await?;
    let Some(offer) = read(&cx, &part, id, &mut form) else {
        return show(
            &cx,
            &mut tx,
            part,
            Some(id),
            form,
            None,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await;
    };
    let saved = sold::change_offer(&cx.act(&form), &offer).await;
    if matches!(saved, Err(StockError::Changed)) {
        // As it is now, not as it was before this tried to save.
        let mut tx = cx.read().await?;
        let stored = db::offer::lookup(&mut tx, id)
            .await?
            .ok_or_else(|| Trouble::not_found("price"))?;
        let suppliers = db::offer::list_suppliers(&mut tx).await?;
        let clash = Clash::meet(
            &mut form,
            &filled(&cx, &part, &stored),
            FIELDS,
            |name, value| match name {
                "supplier" => suppliers
                    .iter()
                    .find(|supplier| supplier.id.to_string() == value)
                    .map_or_else(|| value.to_owned(), |supplier| supplier.name.to_string()),
                "retired" => tick_words(value),
                _ => value.to_owned(),
            },
        );
        let status = StatusCode::PRECONDITION_FAILED;
        return show(&cx, &mut tx, part, Some(id), form, Some(clash), status).await;
    }
    if let Err(why) = saved {
        let status = refused(&mut form, why)?;
        return show(&cx, &mut tx, part, Some(id), form, None, status).await;
    }
    Ok(go_with(
        &Link::Part(part.id),
        &Flash::good("The price is saved."),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_told_from_lengths() {
        for typed in ["100 g", "0.5kg", " 1 LB ", "4oz"] {
            assert!(weight(typed), "{typed}");
        }
        for typed in ["15 m", "7 ft", "90 in", "g", "", "12"] {
            assert!(!weight(typed), "{typed}");
        }
    }
}
