//! One page for whoever approves the money.

use std::collections::BTreeMap;

use askama::Template;

use crate::{
    db,
    model::part::Kind,
    units::Money,
    web::{
        cx::Cx,
        design::{
            Whole,
            shopping::{Supplier, by_supplier},
            short::{MoneyWords, money},
        },
        error::Trouble,
    },
};

#[derive(Template)]
#[template(path = "design/sheets/cost.html")]
struct Cost {
    money: MoneyWords,
    suppliers: Vec<Supplier>,
    kinds: Vec<(Kind, String)>,
    ordered: String,
    paid: String,
    shared: bool,
    reused: usize,
    built: usize,
    tax: &'static str,
    unpriced: Vec<String>,
}

/// What is to be bought of each kind of part.
fn kinds(cx: &Cx, whole: &Whole) -> Vec<(Kind, String)> {
    let mut sums: BTreeMap<Kind, Vec<Money>> = BTreeMap::new();
    for need in &whole.plan().needs {
        let kind = need
            .part
            .and_then(|id| whole.part(id))
            .map(|part| part.spec.kind());
        if let Some(kind) = kind {
            let costs = need.buy.iter().map(|buy| buy.cost_minor);
            sums.entry(kind).or_default().extend(costs);
        }
    }
    sums.into_iter()
        .filter(|(_, costs)| !costs.is_empty())
        .filter_map(|(kind, costs)| Some((kind, cx.money(Money::sum(costs)?))))
        .collect()
}

pub(super) async fn body(cx: &Cx, whole: &Whole) -> Result<askama::Result<String>, Trouble> {
    let id = whole.design().id;
    let spent = db::purchase::spent_on(&mut *cx.read().await?, id).await?;
    let counts = whole.counts();
    let short = whole.plan().needs.iter();
    let unpriced = short
        .filter(|need| need.short > 0 && need.buy.is_empty())
        .map(|need| need.name.clone());
    Ok(Cost {
        money: money(cx, whole),
        suppliers: by_supplier(cx, whole).0,
        kinds: kinds(cx, whole),
        ordered: cx.money(spent.ordered),
        paid: cx.money(spent.paid),
        shared: spent.shared,
        reused: counts.reused,
        built: counts.built + counts.build,
        tax: if cx.venue.prices_include_tax {
            "Prices include tax."
        } else {
            "Prices are without tax."
        },
        unpriced: unpriced.collect(),
    }
    .render())
}
