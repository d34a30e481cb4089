//! What to buy, by supplier, with boxes to tick.

use askama::Template;

use crate::web::{
    cx::Cx,
    design::{
        Whole,
        shopping::{Supplier, Without, by_supplier},
        short::{MoneyWords, money},
    },
};

#[derive(Template)]
#[template(path = "design/sheets/shopping.html")]
struct Shopping {
    suppliers: Vec<Supplier>,
    without: Vec<Without>,
    money: MoneyWords,
}

pub(super) fn body(cx: &Cx, whole: &Whole) -> askama::Result<String> {
    let (suppliers, without) = by_supplier(cx, whole);
    Shopping {
        suppliers,
        without,
        money: money(cx, whole),
    }
    .render()
}
