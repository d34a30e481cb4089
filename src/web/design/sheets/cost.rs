//! One page for whoever approves the money.

use std::collections::BTreeMap;

use askama::Template;

use crate::{
    model::part::Kind,
    units::Money,
    web::{
        cx::Cx,
        design::{
            Whole,
            shopping::{Supplier, to_buy},
            short::{MoneyWords, money},
        },
    },
};

#[derive(Template)]
#[template(path = "design/sheets/cost.html")]
struct Cost {
    money: MoneyWords,
    suppliers: Vec<Supplier>,
    kinds: Vec<(Kind, String)>,
    ordered: String,
    /// In orders that are not sent yet, where there are such.
    listed: Option<String>,
    paid: String,
    shared: bool,
    reused: usize,
    built: usize,
    tax: &'static str,
    unpriced: Vec<String>,
}

/// What is still to be bought of each kind of part.
fn kinds(cx: &Cx, whole: &Whole) -> Vec<(Kind, String)> {
    let mut sums: BTreeMap<Kind, Vec<Money>> = BTreeMap::new();
    for (need, left) in whole.plan().needs.iter().zip(whole.left(cx)) {
        let kind = need
            .part
            .and_then(|id| whole.part(id))
            .map(|part| part.spec.kind());
        if let Some(kind) = kind {
            let costs = left.costs.into_iter().filter(|cost| *cost > Money::ZERO);
            sums.entry(kind).or_default().extend(costs);
        }
    }
    sums.into_iter()
        .filter(|(_, costs)| !costs.is_empty())
        .filter_map(|(kind, costs)| Some((kind, cx.money(Money::sum(costs)?))))
        .collect()
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let spent = whole.spent(cx);
    let counts = whole.counts();
    let short = whole.plan().needs.iter();
    let unpriced = short
        .filter(|need| need.short > 0 && need.buy.is_empty())
        .map(|need| need.name.clone());
    Cost {
        money: money(cx, whole),
        suppliers: to_buy(cx, whole).suppliers,
        kinds: kinds(cx, whole),
        ordered: cx.money(spent.ordered),
        listed: (spent.listed > Money::ZERO).then(|| cx.money(spent.listed)),
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
    .render()
}
