//! One page for whoever approves the money.

use std::collections::BTreeMap;

use askama::Template;

use crate::{
    model::{id::PartId, part::Kind},
    units::Money,
    web::{
        cx::Cx,
        design::{
            Whole,
            shopping::to_buy,
            short::{MoneyWords, money},
        },
    },
};

#[derive(Template)]
#[template(path = "design/sheets/cost.html")]
struct Cost {
    money: MoneyWords,
    suppliers: Vec<Row>,
    kinds: Vec<Row>,
    /// Whether anything is ordered for it.
    some: bool,
    ordered: String,
    /// In orders that are not sent yet, where there are such.
    listed: Option<String>,
    paid: String,
    shared: bool,
    /// Whether of some lines only a share is counted here.
    shares: bool,
    reused: usize,
    built: usize,
    tax: &'static str,
    unpriced: Vec<String>,
}

/// One line of money: what is still to buy, and what is ordered.
struct Row {
    name: String,
    /// By when to order; empty where nothing is left to.
    order_by: String,
    rest: String,
    ordered: String,
}

/// Money by a name: still to buy, ordered.
type Sums<K> = BTreeMap<K, (Vec<Money>, Vec<Money>)>;

fn shown(cx: &Cx, sums: Vec<Money>) -> String {
    let sum = Money::sum(sums).unwrap_or(Money::ZERO);
    if sum == Money::ZERO {
        String::new()
    } else {
        cx.money(sum)
    }
}

/// What is still to be bought of each kind of part, and what is ordered.
fn kinds(cx: &Cx, whole: &Whole) -> Vec<Row> {
    let kind = |part: Option<PartId>| Some(whole.part(part?)?.spec.kind());
    let mut sums: Sums<Kind> = BTreeMap::new();
    for (need, left) in whole.plan().needs.iter().zip(whole.left(cx)) {
        let costs = left.costs.into_iter().filter(|cost| *cost > Money::ZERO);
        let costs: Vec<_> = costs.collect();
        if let Some(kind) = kind(need.part)
            && !costs.is_empty()
        {
            sums.entry(kind).or_default().0.extend(costs);
        }
    }
    for line in whole.ordered_parts() {
        if let Some(kind) = kind(Some(line.part)) {
            sums.entry(kind).or_default().1.push(line.cost);
        }
    }
    sums.into_iter()
        .map(|(kind, (rest, ordered))| Row {
            name: kind.label().to_owned(),
            order_by: String::new(),
            rest: shown(cx, rest),
            ordered: shown(cx, ordered),
        })
        .collect()
}

/// The same by who sells it.
fn suppliers(cx: &Cx, whole: &Whole) -> Vec<Row> {
    let mut ordered: BTreeMap<String, Vec<Money>> = BTreeMap::new();
    for line in whole.ordered_parts() {
        ordered.entry(line.supplier).or_default().push(line.cost);
    }
    let mut rows = Vec::new();
    for supplier in to_buy(cx, whole).suppliers {
        let ordered = ordered.remove(&supplier.name).unwrap_or_default();
        rows.push(Row {
            name: supplier.name,
            order_by: supplier.order_by,
            rest: supplier.sum,
            ordered: shown(cx, ordered),
        });
    }
    rows.extend(ordered.into_iter().map(|(name, sums)| Row {
        name,
        order_by: String::new(),
        rest: String::new(),
        ordered: shown(cx, sums),
    }));
    rows
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let spent = whole.spent(cx);
    let counts = whole.counts();
    let short = whole.plan().needs.iter().zip(whole.left(cx));
    let unpriced = short
        .filter(|(need, left)| need.short > 0 && need.buy.is_empty() && !left.covered)
        .map(|(need, _)| need.name.clone());
    Cost {
        money: money(cx, whole),
        suppliers: suppliers(cx, whole),
        kinds: kinds(cx, whole),
        some: !whole.ordered_parts().is_empty(),
        ordered: cx.money(spent.ordered),
        listed: (spent.listed > Money::ZERO).then(|| cx.money(spent.listed)),
        paid: cx.money(spent.paid),
        shared: spent.shared,
        shares: spent.shares,
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
