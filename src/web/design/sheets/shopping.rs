//! What to buy, by supplier, with boxes to tick.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        shopping::{Ordered, Supplier, ToBuy, Without, to_buy},
        short::{MoneyWords, money, uncounted_fuses},
    },
    link::Link,
};

#[derive(Template)]
#[template(path = "design/sheets/shopping.html")]
struct Shopping {
    suppliers: Vec<Supplier>,
    without: Vec<Without>,
    money: MoneyWords,
    /// The fuses that the plan counts as no part.
    fuses: Vec<String>,
    /// What is on order.
    ordered: Vec<Ordered>,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let ToBuy {
        suppliers,
        without,
        ordered,
    } = to_buy(cx, whole);
    Shopping {
        suppliers,
        without,
        fuses: uncounted_fuses(whole),
        money: money(cx, whole),
        ordered,
    }
    .render()
}
