//! What is to be bought for one set, by supplier, against its budget.

use std::collections::BTreeMap;

use askama::Template;

use super::{
    Head, Tab, Whole, count_of, day, head, load,
    ordered::Coming,
    pins::{self, PinsShown, status},
    short::{MoneyWords, money, row, uncounted_fuses},
};
use crate::{
    model::id::{DesignId, SupplierId},
    plan::outcome::{Buy, Need},
    units::{Date, Money},
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        form::Form,
        link::Link,
        page::{Chrome, page_with},
        shopping::spare_words,
    },
};

/// What is bought by one offer.
pub struct Line {
    /// The part.
    pub part: String,
    /// Its page.
    pub href: Option<Link>,
    /// How many of which pack.
    pub packs: String,
    /// Why a driver or a supply is bought; empty for all else.
    pub why: String,
    /// What is short, together where it is bought in several packs.
    pub short: String,
    /// What of the part is on order beside it, in words.
    pub on_order: Vec<String>,
    /// What it costs.
    pub cost: String,
    /// What is left over of it.
    pub left_over: String,
    /// Which of that are spares, and why; empty for none.
    pub spare: String,
    /// Where it says why.
    pub ask: Option<Link>,
}

/// What is bought from one supplier.
pub struct Supplier {
    /// Their name.
    pub name: String,
    /// Their page.
    pub href: Link,
    /// Offer by offer.
    pub lines: Vec<Line>,
    /// What the goods cost together.
    pub sum: String,
    /// Of what goes to the dearest supplier, in percent.
    pub percent: i64,
    /// The day by which it is to be ordered.
    pub order_by: String,
    /// Whether that day is over.
    pub late: bool,
}

/// Something that nobody is known to sell.
pub struct Without {
    /// Its page.
    pub href: Option<Link>,
    /// Where a price is noted.
    pub price: Option<Link>,
    /// Its name, or what is wanted in words.
    pub name: String,
    /// Rolls of lengths that are sold, in words.
    pub rolls: String,
    /// What is short.
    pub short: String,
}

/// Something short of which all is on order, or has come.
pub struct Ordered {
    /// Its name.
    pub name: String,
    /// Its page.
    pub href: Option<Link>,
    /// Order by order.
    pub coming: Vec<Coming>,
}

/// What is short: still to buy, without a price, and on order.
pub struct ToBuy {
    /// By supplier.
    pub suppliers: Vec<Supplier>,
    /// What nobody is known to sell.
    pub without: Vec<Without>,
    /// What need not be bought any more.
    pub ordered: Vec<Ordered>,
}

/// What is asked of one supplier.
struct Asked {
    name: String,
    lines: Vec<Line>,
    costs: Vec<Money>,
    order_by: Date,
}

#[derive(Template)]
#[template(path = "design/shopping.html")]
struct ShoppingPage {
    chrome: Chrome,
    head: Head,
    suppliers: Vec<Supplier>,
    without: Vec<Without>,
    ordered: Vec<Ordered>,
    money: MoneyWords,
    tax: &'static str,
    /// The days in hand before the build day, in words.
    in_hand: String,
    /// The fuses that the plan counts as no part.
    fuses: Vec<String>,
    pins: PinsShown,
    /// Where it is bought by itself.
    alone: Link,
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    show(&cx, &whole, &Form::default()).await
}

/// What is still bought from whom, what nobody is known to sell, and what is on order.
pub fn to_buy(cx: &Cx, whole: &Whole) -> ToBuy {
    let id = whole.design().id;
    let mut by: BTreeMap<SupplierId, Asked> = BTreeMap::new();
    let (mut without, mut ordered) = (Vec::new(), Vec::new());
    for (need, left) in whole.plan().needs.iter().zip(whole.left(cx)) {
        let coming = match need.part {
            Some(part) if need.short <= 0 && need.due > 0 => whole.due_in(cx, part),
            _ if left.covered => left.coming.clone(),
            _ => Vec::new(),
        };
        if !coming.is_empty() {
            ordered.push(Ordered {
                name: need.name.clone(),
                href: need.part.map(Link::Part),
                coming,
            });
        }
        if need.short <= 0 || left.covered {
            continue;
        }
        let short = whole.amount(cx, need.part, left.short);
        let why = need.part.and_then(|part| whole.why_bought(part));
        if need.buy.is_empty() {
            let row = row(cx, whole, need, &left);
            without.push(Without {
                href: row.href,
                price: row.price,
                name: row.name,
                rolls: row.rolls,
                short,
            });
            continue;
        }
        let bought = need.buy.iter().zip(left.packs.iter().zip(&left.costs));
        let bought: Vec<_> = bought.filter(|(_, (packs, _))| **packs > 0).collect();
        let short = if bought.len() > 1 {
            format!("{short} in all")
        } else {
            short
        };
        for (buy, (packs, cost)) in bought {
            let entry = by.entry(buy.supplier).or_insert_with(|| Asked {
                name: buy.supplier_name.clone(),
                lines: Vec::new(),
                costs: Vec::new(),
                order_by: buy.order_by,
            });
            entry.lines.push(Line {
                part: need.name.clone(),
                href: need.part.map(Link::Part),
                packs: format!(
                    "{packs} × {}",
                    whole.pack_words(cx, need.part, buy.pack_amount)
                ),
                why: why.unwrap_or_default().to_owned(),
                short: short.clone(),
                on_order: left.coming.iter().map(|it| it.words.clone()).collect(),
                cost: cx.money(*cost),
                left_over: left_over(cx, whole, need.part, buy.left_over),
                spare: spare(cx, whole, need, buy),
                ask: whole.is_open().then_some(Link::ShoppingWhy(id, buy.offer)),
            });
            entry.costs.push(*cost);
            entry.order_by = entry.order_by.min(buy.order_by);
        }
    }
    let most = by
        .values()
        .filter_map(|asked| Money::sum(asked.costs.iter().copied()))
        .map(Money::get)
        .max()
        .unwrap_or(0)
        .max(1);
    let suppliers = by
        .into_iter()
        .map(|(supplier, asked)| (supplier, Money::sum(asked.costs.iter().copied()), asked))
        .map(|(supplier, sum, asked)| Supplier {
            name: asked.name,
            href: Link::Supplier(supplier),
            percent: sum.map_or(0, |sum| sum.get().saturating_mul(100) / most),
            sum: sum.map_or_else(|| "not known".to_owned(), |sum| cx.money(sum)),
            late: asked.order_by < cx.today,
            order_by: day(asked.order_by),
            lines: asked.lines,
        })
        .collect();
    ToBuy {
        suppliers,
        without,
        ordered,
    }
}

/// The page, with the form of its pins as it was typed.
pub async fn show(cx: &Cx, whole: &Whole, form: &Form) -> Answer {
    let pins = pins::shown(cx, whole, Tab::Shopping, form).await?;
    let (chrome, head) = head(cx, whole, Tab::Shopping);
    let ToBuy {
        suppliers,
        without,
        ordered,
    } = to_buy(cx, whole);
    let shopping = ShoppingPage {
        chrome,
        pins,
        suppliers,
        without,
        ordered,
        fuses: uncounted_fuses(whole),
        money: money(cx, whole),
        tax: if cx.venue.prices_include_tax {
            "Prices include tax."
        } else {
            "Prices are without tax."
        },
        in_hand: match cx.venue.order_slack_days {
            0 => String::new(),
            days => format!(
                ", with {} in hand before the build day",
                count_of(days as usize, "day", "days")
            ),
        },
        alone: Link::Shopping.with([("set", whole.design().id.to_string())]),
        head,
    };
    Ok(page_with(status(form), &shopping))
}

/// Which of what is bought are spares, and why; empty for none.
pub fn spare(cx: &Cx, whole: &Whole, need: &Need, buy: &Buy) -> String {
    if buy.left_over <= 0 || by_length(whole, need.part) {
        return String::new();
    }
    spare_words(cx, need.short, |amount| whole.amount(cx, need.part, amount))
}

fn by_length(whole: &Whole, part: Option<crate::model::id::PartId>) -> bool {
    part.and_then(|id| whole.part(id))
        .is_some_and(|part| part.stock_by() == crate::model::part::StockBy::Length)
}

/// What is left over of what is bought: a count, or a length.
fn left_over(
    cx: &Cx,
    whole: &Whole,
    part: Option<crate::model::id::PartId>,
    amount: i64,
) -> String {
    if amount == 0 {
        return String::new();
    }
    if by_length(whole, part) {
        crate::units::Length::new(amount)
            .map_or_else(|_| amount.to_string(), |length| cx.length(length))
    } else {
        whole.amount(cx, part, amount)
    }
}

impl ShoppingPage {
    fn count(&self) -> String {
        count_of(self.suppliers.len(), "supplier", "suppliers")
    }

    fn unpriced(&self) -> String {
        count_of(self.without.len(), "part", "parts")
    }
}
