//! Suppliers: how long they take, what a delivery costs.

use askama::Template;
use axum::http::StatusCode;

use crate::{
    db::{self, offer::Supplier},
    model::id::SupplierId,
    stock::{StockError, sold},
    units::Money,
    web::{
        at::Path,
        clash::{Clash, Field, tick_words},
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page, page_with},
        places::refused,
    },
};

struct Row {
    id: SupplierId,
    name: String,
    days: u32,
    delivery: String,
    retired: bool,
}

#[derive(Template)]
#[template(path = "settings/suppliers.html")]
struct ListPage {
    chrome: Chrome,
    rows: Vec<Row>,
}

/// GET: every supplier.
pub async fn list(cx: Cx) -> Answer {
    let suppliers = db::offer::list_suppliers(&mut *cx.read().await?).await?;
    let rows = suppliers
        .into_iter()
        .map(|supplier| Row {
            id: supplier.id,
            delivery: delivery_words(&cx, &supplier),
            name: supplier.name.to_string(),
            days: supplier.delivery_days,
            retired: supplier.retired,
        })
        .collect();
    let chrome = cx.chrome(Section::Settings, "Suppliers");
    Ok(page(&ListPage { chrome, rows }))
}

fn delivery_words(cx: &Cx, supplier: &Supplier) -> String {
    if supplier.delivery_minor == Money::ZERO {
        return "delivers free".into();
    }
    let charge = cx.money(supplier.delivery_minor);
    match supplier.free_above_minor {
        Some(above) => format!("{charge} a delivery, free from {}", cx.money(above)),
        None => format!("{charge} a delivery"),
    }
}

#[derive(Template)]
#[template(path = "settings/supplier.html")]
struct FormPage {
    chrome: Chrome,
    form: Form,
    action: Link,
    known: bool,
    clash: Option<Clash>,
}

fn show(
    cx: &Cx,
    id: Option<SupplierId>,
    form: Form,
    clash: Option<Clash>,
    status: StatusCode,
) -> Answer {
    let title = if id.is_some() {
        "Supplier"
    } else {
        "New supplier"
    };
    let page = FormPage {
        chrome: cx.chrome(Section::Settings, title),
        form,
        action: id.map_or(Link::SupplierNew, Link::Supplier),
        known: id.is_some(),
        clash,
    };
    Ok(page_with(status, &page))
}

const FIELDS: &[Field] = &[
    ("name", "Name"),
    ("delivery_days", "Days from order to delivery"),
    ("delivery", "Charge for a delivery"),
    ("free_above", "Free from"),
    ("note", "Notes"),
    ("retired", "No longer used"),
];

fn filled(cx: &Cx, supplier: &Supplier) -> Form {
    let free = supplier
        .free_above_minor
        .map(|above| cx.money(above))
        .unwrap_or_default();
    Form::filled([
        ("name", supplier.name.to_string()),
        ("delivery_days", supplier.delivery_days.to_string()),
        ("delivery", cx.money(supplier.delivery_minor)),
        ("free_above", free),
        ("note", supplier.note.as_str().to_owned()),
        (
            "retired",
            if supplier.retired {
                "on".into()
            } else {
                String::new()
            },
        ),
        ("version", supplier.version.to_string()),
    ])
}

fn read(cx: &Cx, id: SupplierId, form: &mut Form) -> Option<Supplier> {
    let name = form.name("name");
    let days = form.count("delivery_days", 0, 365);
    let charge = form.take("delivery", |text| {
        if text.trim().is_empty() {
            return Err("Type what a delivery costs, or 0 if it is free.".to_owned());
        }
        Money::parse(text, &cx.venue.currency).map_err(|why| why.to_string())
    });
    let free = form.optional("free_above", |text| Money::parse(text, &cx.venue.currency));
    let note = form.note("note");
    for (field, sum) in [("delivery", charge), ("free_above", free.flatten())] {
        if sum.is_some_and(|sum| sum < Money::ZERO) {
            form.fail(field, "Type a sum of zero or more.");
        }
    }
    if !form.ok() {
        return None;
    }
    Some(Supplier {
        id,
        name: name?,
        delivery_days: u32::try_from(days?).unwrap_or(0),
        delivery_minor: charge?,
        free_above_minor: free?,
        note: note?,
        retired: form.ticked("retired"),
        version: form.value("version").parse().unwrap_or(0),
    })
}

/// GET: the form of a new one.
pub async fn new(cx: Cx) -> Answer {
    show(&cx, None, Form::default(), None, StatusCode::OK)
}

/// POST: adds one.
pub async fn add(cx: Cx, mut form: Form) -> Answer {
    let Some(supplier) = read(&cx, SupplierId(0), &mut form) else {
        return show(&cx, None, form, None, StatusCode::UNPROCESSABLE_ENTITY);
    };
    if let Err(why) = sold::add_supplier(&cx.act(&form), &supplier).await {
        let status = refused(&mut form, why)?;
        return show(&cx, None, form, None, status);
    }
    let said = format!(
        "{} is added. Type its prices on the shopping page.",
        supplier.name
    );
    Ok(go_with(&Link::Suppliers, &Flash::good(said)))
}

/// GET: one supplier.
pub async fn get(cx: Cx, Path(id): Path<SupplierId>) -> Answer {
    let supplier = db::offer::lookup_supplier(&mut *cx.read().await?, id)
        .await?
        .ok_or_else(|| Trouble::not_found("supplier"))?;
    let form = filled(&cx, &supplier);
    show(&cx, Some(id), form, None, StatusCode::OK)
}

/// POST: saves one.
pub async fn post(cx: Cx, Path(id): Path<SupplierId>, mut form: Form) -> Answer {
    let Some(supplier) = read(&cx, id, &mut form) else {
        return show(&cx, Some(id), form, None, StatusCode::UNPROCESSABLE_ENTITY);
    };
    match sold::change_supplier(&cx.act(&form), &supplier).await {
        Ok(()) => {}
        Err(StockError::Changed) => {
            let stored = db::offer::lookup_supplier(&mut *cx.read().await?, id)
                .await?
                .ok_or_else(|| Trouble::not_found("supplier"))?;
            let clash = Clash::meet(&mut form, &filled(&cx, &stored), FIELDS, |name, value| {
                if name == "retired" {
                    tick_words(value)
                } else {
                    value.to_owned()
                }
            });
            return show(
                &cx,
                Some(id),
                form,
                Some(clash),
                StatusCode::PRECONDITION_FAILED,
            );
        }
        Err(why) => {
            let status = refused(&mut form, why)?;
            return show(&cx, Some(id), form, None, status);
        }
    }
    Ok(go_with(
        &Link::Suppliers,
        &Flash::good(format!("{} is saved.", supplier.name)),
    ))
}
