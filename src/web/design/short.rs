//! What the set needs, what of it is there, and what is short.

use std::collections::BTreeMap;

use askama::Template;

use super::{
    Head, Tab, Whole, day, head, load,
    ordered::{Left, Spent},
};
use crate::{
    db,
    model::{id::DesignId, part::StockBy},
    plan::{
        outcome::{Need, Plan, Serve},
        shopping::OnOrder,
    },
    units::Money,
    web::{
        at::Path,
        cx::Cx,
        error::Answer,
        link::Link,
        page::{Chrome, page},
    },
};

/// What is needed of one part.
pub struct NeedRow {
    /// Its name.
    pub name: String,
    /// Its page.
    pub href: Option<Link>,
    /// Where a price is noted.
    pub price: Option<Link>,
    /// Rolls, reels or bars without a price, in words.
    pub rolls: String,
    /// What for.
    pub used_for: String,
    /// How much is needed.
    pub needed: String,
    /// What of it is there.
    pub there: String,
    /// What of it is ordered; empty for nothing.
    pub due: String,
    /// What is short; empty for nothing.
    pub short: String,
    /// What is still to buy, in words.
    pub buy: Vec<String>,
    /// Whether nothing is left to buy, since all of it is on order.
    pub covered: bool,
    /// Rolls, reels, bars or units that stand in orders already, in words.
    pub ordered: Vec<String>,
}

#[derive(Template)]
#[template(path = "design/short.html")]
struct ShortPage {
    chrome: Chrome,
    head: Head,
    short: Vec<NeedRow>,
    enough: Vec<NeedRow>,
    bars: Vec<(Link, String, String)>,
    money: MoneyWords,
    any_bars: bool,
    /// The fuses that its power asks for and that the plan counts as no part, and how many.
    fuses: Vec<String>,
    /// Whether the plan is the one that was held, not one made of what is there now.
    by_held: bool,
}

/// How the set stands against its budget, in words.
pub struct MoneyWords {
    /// What is still to be bought, neither on order nor come on one: a sum, or that there is none.
    pub figure: String,
    /// What is said beside that figure: deliveries, and parts without a price.
    pub beside: String,
    /// The same as one figure beside which nothing is said of parts without a price.
    pub alone: String,
    /// Whether no other mix of packs costs less.
    pub proven: bool,
    /// The budget, and what is left of it.
    pub budget: Option<String>,
    /// What of it was ordered, where anything was.
    pub ordered: Option<String>,
    /// Whether it is overrun.
    pub over: bool,
    /// Parts to buy without a price.
    pub unpriced: usize,
}

/// The money of a set: what is ordered and what is still to buy, against its budget.
pub fn money(cx: &Cx, whole: &Whole) -> MoneyWords {
    let cost = &whole.plan().cost;
    let spent = whole.spent(cx);
    let ordered = spent.ordered.get() + spent.listed.get();
    let left = |budget: Money| budget.get() - ordered - spent.rest.get();
    let budget = cost.budget_minor.map(|budget| {
        let left = left(budget);
        let show = |minor: i64| {
            Money::new(minor.abs()).map_or_else(|_| String::new(), |sum| cx.money(sum))
        };
        let over = if left < 0 {
            format!("overrun by {}", show(left))
        } else {
            format!("{} left", show(left))
        };
        if ordered > 0 {
            format!(
                "{}: {} ordered, {} still to buy, {over}",
                cx.money(budget),
                show(ordered),
                cx.money(spent.rest)
            )
        } else {
            format!("{}; {over}", cx.money(budget))
        }
    });
    let (figure, beside) = to_buy_words(cx, &spent);
    MoneyWords {
        figure,
        beside,
        alone: match (cost.unpriced, cost.planned_minor) {
            (0, planned) => cx.money(planned),
            (_, Money::ZERO) => "not known yet".to_owned(),
            (_, planned) => format!("from {}", cx.money(planned)),
        },
        // Proven of all that the plan buys, not of what is left of it.
        proven: cost.proof.is_proven() && !spent.some,
        over: cost.budget_minor.is_some_and(|budget| left(budget) < 0),
        budget,
        ordered: Money::new(ordered)
            .ok()
            .filter(|ordered| *ordered > Money::ZERO)
            .map(|ordered| cx.money(ordered)),
        unpriced: spent.unpriced,
    }
}

/// What is still to be bought as a figure, and what is said beside it.
fn to_buy_words(cx: &Cx, spent: &Spent) -> (String, String) {
    match (spent.rest, spent.unpriced) {
        (Money::ZERO, 0) => ("nothing".to_owned(), String::new()),
        (Money::ZERO, without) => (
            format!("{without} without a price yet"),
            ", so the sum is not known".to_owned(),
        ),
        (rest, without) => {
            let delivery = match spent.delivery {
                Money::ZERO => ", delivered free".to_owned(),
                more => format!(", with {} for delivery", cx.money(more)),
            };
            let without = match without {
                0 => String::new(),
                without => format!(", and {without} without a price"),
            };
            (cx.money(rest), delivery + &without)
        }
    }
}

/// One need as people read it.
pub fn row(cx: &Cx, whole: &Whole, need: &Need, left: &Left) -> NeedRow {
    let amount = |amount: i64| whole.amount(cx, need.part, amount);
    let some = |value: i64| {
        if value == 0 {
            String::new()
        } else {
            amount(value)
        }
    };
    NeedRow {
        name: need.name.clone(),
        href: need.part.map(Link::Part),
        price: need.part.map(Link::OfferNew),
        rolls: cx.rolls(&need.unpriced),
        used_for: need.used_for.clone(),
        needed: amount(need.needed),
        there: amount(need.there),
        due: some(need.due),
        short: some(need.short),
        buy: need
            .buy
            .iter()
            .zip(left.packs.iter().zip(&left.costs))
            .filter(|(_, (packs, _))| **packs > 0)
            .map(|(buy, (packs, cost))| {
                format!(
                    "{packs} × {} from {}, {}; order by {}",
                    whole.pack_words(cx, need.part, buy.pack_amount),
                    buy.supplier_name,
                    cx.money(*cost),
                    day(buy.order_by)
                )
            })
            .collect(),
        covered: left.covered,
        ordered: Vec::new(),
    }
}

/// The fuses that the power of a plan asks for: `8 × 2 A blade fuse`.
pub fn fuses(plan: &Plan) -> Vec<String> {
    fuse_words(&plan.asked_fuses())
}

/// Those of them that the plan counts as no part of the catalogue. Nobody looks for fuses for a set that
/// is over.
pub fn uncounted_fuses(whole: &Whole) -> Vec<String> {
    if whole.design().state.is_over() {
        return Vec::new();
    }
    fuse_words(&whole.plan().uncounted_fuses())
}

fn fuse_words(list: &BTreeMap<&str, usize>) -> Vec<String> {
    list.iter()
        .map(|(fuse, many)| format!("{many} × {fuse}"))
        .collect()
}

/// What stands in orders of something that is planned piece by piece: it serves once it has come.
/// Counts that are due in are counted as due.
fn ordered(cx: &Cx, whole: &Whole, need: &Need, open: &OnOrder) -> Vec<String> {
    let by_piece = need
        .part
        .and_then(|id| whole.part(id))
        .filter(|part| need.short > 0 && part.stock_by() != StockBy::Count);
    let Some(part) = by_piece else {
        return Vec::new();
    };
    open.iter()
        .filter(|((of, _), packs)| *of == part.id && **packs > 0)
        .map(|((_, pack), packs)| {
            format!("{packs} × {}", whole.pack_words(cx, Some(part.id), *pack))
        })
        .collect()
}

impl Whole {
    /// What one pack holds: a count, or one roll, reel or bar of a length.
    pub fn pack_words(&self, cx: &Cx, part: Option<crate::model::id::PartId>, pack: i64) -> String {
        let by_length = part
            .and_then(|id| self.part(id))
            .is_some_and(|part| part.stock_by() == StockBy::Length);
        if by_length {
            crate::units::Length::new(pack)
                .map_or_else(|_| pack.to_string(), |length| length.say_sold(cx.unit()))
        } else if pack == 1 {
            "single".to_owned()
        } else {
            format!("pack of {}", self.amount(cx, part, pack))
        }
    }
}

impl ShortPage {
    fn some_due(&self) -> bool {
        self.enough.iter().any(|row| !row.due.is_empty())
    }

    /// Whether nothing of what is short is still to be ordered.
    fn all_ordered(&self) -> bool {
        self.short.iter().all(|row| row.covered)
    }

    fn some_ordered(&self) -> bool {
        self.short.iter().any(|row| !row.ordered.is_empty())
    }
}

/// GET: the page.
pub async fn get(cx: Cx, Path(id): Path<DesignId>) -> Answer {
    let whole = load::whole(&cx, id).await?;
    let (chrome, head) = head(&cx, &whole, Tab::Short);
    let (mut short, mut enough) = (Vec::new(), Vec::new());
    let open = db::purchase::list_open(&mut *cx.read().await?, None).await?;
    for (need, left) in whole.plan().needs.iter().zip(whole.left(&cx)) {
        let row = NeedRow {
            ordered: ordered(&cx, &whole, need, &open),
            ..row(&cx, &whole, need, &left)
        };
        if need.short > 0 {
            short.push(row);
        } else {
            enough.push(row);
        }
    }
    let bars = whole
        .plan()
        .bars
        .iter()
        .filter_map(|bar| match &bar.serve {
            Serve::Short { why } => Some((Link::Bar(id, bar.bar), bar.label.clone(), why.clone())),
            _ => None,
        })
        .collect();
    let by_held = !whole.is_open() && !short.is_empty();
    Ok(page(&ShortPage {
        chrome,
        short,
        enough,
        bars,
        money: money(&cx, &whole),
        by_held,
        fuses: uncounted_fuses(&whole),
        any_bars: !whole.design().bars.is_empty(),
        head,
    }))
}
