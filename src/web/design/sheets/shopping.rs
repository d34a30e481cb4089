//! What to buy, by supplier, with boxes to tick.

use askama::Template;

use crate::{
    db,
    units::Money,
    web::{
        cx::Cx,
        design::{
            Whole,
            shopping::{Supplier, Without, by_supplier},
            short::{MoneyWords, fuses, money},
        },
        error::Trouble,
    },
};

#[derive(Template)]
#[template(path = "design/sheets/shopping.html")]
struct Shopping {
    suppliers: Vec<Supplier>,
    without: Vec<Without>,
    money: MoneyWords,
    /// The fuses to have at hand.
    fuses: Vec<String>,
    /// What was ordered for the set so far.
    ordered: Option<String>,
}

pub(super) async fn body(cx: &Cx, whole: &Whole) -> Result<askama::Result<String>, Trouble> {
    let id = whole.design().id;
    let spent = db::purchase::spent_on(&mut *cx.read().await?, id).await?;
    let (suppliers, without) = by_supplier(cx, whole);
    Ok(Shopping {
        suppliers,
        without,
        fuses: fuses(whole.plan()),
        money: money(cx, whole),
        ordered: (spent.ordered > Money::ZERO).then(|| cx.money(spent.ordered)),
    }
    .render())
}
