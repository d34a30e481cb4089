//! What stands in orders for a set, against what its plan buys: what is still to buy, and the money
//! that is left.

use std::collections::BTreeMap;

use super::{Whole, day};
use crate::{
    db::offer::Supplier,
    model::{
        id::{DesignId, PartId, PurchaseLineId, SupplierId},
        part::StockBy,
        purchase::{Purchase, PurchaseLine, PurchaseState},
        reservation::Held,
    },
    plan::outcome::Need,
    units::Money,
    web::{cx::Cx, link::Link},
};

/// The orders that may serve a set, and those who sell.
#[derive(Debug, Clone, Default)]
pub struct Orders {
    /// Orders with lines for the set, and those under way with lines for no set in particular.
    pub list: Vec<Purchase>,
    /// Suppliers, for what a delivery of the rest costs.
    pub suppliers: Vec<Supplier>,
    /// Packs of its lines that came after the plan was made that it is built by.
    pub since: BTreeMap<PurchaseLineId, i64>,
}

/// A part of which something is on order, or has come for a set that is built by an older plan.
#[derive(Debug, Clone)]
pub struct Coming {
    /// The order.
    pub href: Link,
    /// How much, from whom and when, in words.
    pub words: String,
}

/// What is left to buy of one need.
pub struct Left {
    /// Packs still to buy, offer by offer.
    pub packs: Vec<u32>,
    /// What they cost, offer by offer.
    pub costs: Vec<Money>,
    /// What is still short of something that is counted; what is planned piece by piece stays short
    /// until it has come.
    pub short: i64,
    /// Whether nothing of it is left to buy.
    pub covered: bool,
    /// What is on order of it.
    pub coming: Vec<Coming>,
}

/// What was spent on a set and what is still to be.
pub struct Spent {
    /// Its lines of orders that were sent, of those that other sets need too its share, with the
    /// deliveries of orders that are its own alone.
    /// What was sent back is not among it, nor what never came on an order that is closed.
    pub ordered: Money,
    /// The same of orders that are written down and not sent yet.
    pub listed: Money,
    /// What is noted as paid on the sent ones, wholly: nobody notes it line by line.
    pub paid: Money,
    /// Whether one of these orders has lines of other sets, or of none.
    pub shared: bool,
    /// Whether other sets need some of these lines too, so that a share of each is counted.
    pub shares: bool,
    /// What is still to buy, deliveries included.
    pub rest: Money,
    /// What of it is for deliveries.
    pub delivery: Money,
    /// Parts that are still to buy and have no price.
    pub unpriced: usize,
    /// Whether anything that the plan buys stands in an order.
    pub some: bool,
}

/// What was ordered for a set of one part.
pub struct OrderedPart {
    /// From whom.
    pub supplier: String,
    /// Which part.
    pub part: PartId,
    /// What it costs, without deliveries.
    pub cost: Money,
}

/// Packs of a line that are paid for: those that came or are to come, of a closed order what came.
const fn paid_for(order: &Purchase, line: &PurchaseLine) -> i64 {
    if matches!(order.state, PurchaseState::Closed) {
        line.received_packs
    } else {
        line.packs - line.refused_packs
    }
}

/// What these packs of a line cost.
fn cost_of(order: &Purchase, line: &PurchaseLine) -> Option<Money> {
    (line.price_minor).times(u64::try_from(paid_for(order, line)).unwrap_or(0))
}

/// What of these packs falls on a set, by what it and the other sets of the line need.
fn share_of(order: &Purchase, line: &PurchaseLine, design: DesignId) -> Option<Money> {
    line.share_of(design, cost_of(order, line)?)
}

/// Packs of one order's line that can still serve a need.
struct Open<'a> {
    order: &'a Purchase,
    line: PurchaseLineId,
    part: PartId,
    pack_amount: i64,
    packs: i64,
    came: i64,
}

/// Every line that serves the set, its own before those of no set, the oldest first.
fn open<'a>(cx: &Cx, whole: &'a Whole) -> Vec<Open<'a>> {
    let own = whole.design().id;
    let built_by = !whole.is_replanned();
    let build_on = whole.design().dates.build_on();
    let mut lines = Vec::new();
    for order in &whole.orders.list {
        let under_way = matches!(order.state, PurchaseState::List | PurchaseState::Ordered);
        for line in &order.lines {
            let mine = line.is_for(own);
            if !mine && (!line.shares.is_empty() || !under_way) {
                continue;
            }
            // A new plan finds in the cupboard what has come; one that is built by found only what
            // came before it was made.
            let came = if mine && built_by {
                whole.orders.since.get(&line.id).copied().unwrap_or(0)
            } else {
                0
            };
            let to_come = if under_way { line.open_packs() } else { 0 };
            let counted = whole
                .part(line.part)
                .is_some_and(|part| part.stock_by() == StockBy::Count);
            let mut packs = to_come + came;
            if counted {
                // Counts that are due in by the build day are in the plan already.
                let due_in = order.state == PurchaseState::Ordered
                    && order
                        .expected_on
                        .is_some_and(|day| (cx.today..=build_on).contains(&day));
                packs = if built_by {
                    packs - rests_on(whole, line.id) / line.pack_amount.max(1)
                } else if due_in {
                    0
                } else {
                    packs
                };
            }
            if packs > 0 {
                lines.push((
                    !mine,
                    Open {
                        order,
                        line: line.id,
                        part: line.part,
                        pack_amount: line.pack_amount,
                        packs,
                        came: came.min(packs),
                    },
                ));
            }
        }
    }
    lines.sort_by_key(|(shared, open)| (*shared, open.line));
    lines.into_iter().map(|(_, open)| open).collect()
}

/// How much the plan holds of a line that was still to come.
pub(super) fn rests_on(whole: &Whole, line: PurchaseLineId) -> i64 {
    let holds = whole.plan().holds.iter();
    holds
        .filter_map(|hold| match hold.held {
            Held::Count {
                amount,
                due: Some(due),
                ..
            } if due == line => Some(amount),
            _ => None,
        })
        .sum()
}

impl Coming {
    fn new(cx: &Cx, whole: &Whole, open: &Open<'_>) -> Self {
        let came = open.came == open.packs;
        let of = (open.part, open.pack_amount, open.packs);
        Self::of(cx, whole, open.order, of, came)
    }

    fn of(
        cx: &Cx,
        whole: &Whole,
        order: &Purchase,
        (part, pack_amount, packs): (PartId, i64, i64),
        came: bool,
    ) -> Self {
        let packs = format!(
            "{packs} × {}",
            whole.pack_words(cx, Some(part), pack_amount)
        );
        let when = if came {
            "has come".to_owned()
        } else {
            match (order.state, order.expected_on) {
                (PurchaseState::List, _) => "written down, not sent yet".to_owned(),
                (_, Some(due)) => format!("expected on {}", day(due)),
                _ => "ordered".to_owned(),
            }
        };
        Self {
            href: Link::Purchase(order.id),
            words: format!("{packs} from {}, {when}", order.supplier_name),
        }
    }
}

/// What is left to buy of one need, once the lines that serve it are taken off.
fn left(cx: &Cx, whole: &Whole, need: &Need, open: &[Open<'_>]) -> Left {
    let by_length = need
        .part
        .and_then(|id| whole.part(id))
        .is_some_and(|part| part.stock_by() == StockBy::Length);
    let mut packs: Vec<u32> = need.buy.iter().map(|buy| buy.packs).collect();
    let mut short = need.short;
    let mut coming = Vec::new();
    for line in open.iter().filter(|line| Some(line.part) == need.part) {
        if short <= 0 {
            break;
        }
        coming.push(Coming::new(cx, whole, line));
        if by_length {
            take_rolls(need, &mut packs, line.pack_amount, line.packs);
        } else {
            short -= line.pack_amount.saturating_mul(line.packs);
        }
    }
    if !by_length && !coming.is_empty() {
        let mut rest = short.max(0);
        for (packs, buy) in packs.iter_mut().zip(&need.buy) {
            let pack = buy.pack_amount.max(1);
            let wanted = rest.saturating_add(pack - 1) / pack;
            *packs = u32::try_from(wanted).unwrap_or(*packs).min(*packs);
            rest -= pack.saturating_mul(i64::from(*packs));
        }
    }
    let costs = packs.iter().zip(&need.buy).map(|(packs, buy)| {
        let each = buy.cost_minor.get() / i64::from(buy.packs.max(1));
        Money::new(each.saturating_mul(i64::from(*packs))).unwrap_or(buy.cost_minor)
    });
    let covered = !coming.is_empty()
        && packs.iter().all(|packs| *packs == 0)
        && (!need.buy.is_empty() || short <= 0);
    Left {
        costs: costs.collect(),
        packs,
        short: short.max(0),
        covered,
        coming,
    }
}

/// Takes rolls on order off those to buy: first of those just as long, then of those from which
/// they can be cut.
fn take_rolls(need: &Need, packs: &mut [u32], roll_um: i64, mut rolls: i64) {
    for just in [true, false] {
        for (packs, buy) in packs.iter_mut().zip(&need.buy) {
            let pack = buy.pack_amount.max(1);
            if (pack == roll_um) != just || pack > roll_um {
                continue;
            }
            let each = roll_um / pack;
            let used = i64::from(*packs).min(rolls.saturating_mul(each));
            *packs -= u32::try_from(used).unwrap_or(*packs).min(*packs);
            rolls -= (used + each - 1) / each;
        }
    }
}

impl Whole {
    /// What is left to buy, need by need of the plan.
    pub fn left(&self, cx: &Cx) -> Vec<Left> {
        let open = open(cx, self);
        let needs = self.plan().needs.iter();
        needs.map(|need| left(cx, self, need, &open)).collect()
    }

    /// What is short and all on order.
    fn on_order(&self, cx: &Cx) -> impl Iterator<Item = &Need> {
        let needs = self.plan().needs.iter().zip(self.left(cx));
        needs
            .filter(|(need, left)| need.short > 0 && left.covered)
            .map(|(need, _)| need)
    }

    /// Parts of which all that is short is on order.
    pub fn parts_on_order(&self, cx: &Cx) -> Vec<PartId> {
        self.on_order(cx).filter_map(|need| need.part).collect()
    }

    /// What is under way of a part that the plan counts as due in.
    pub fn due_in(&self, cx: &Cx, part: PartId) -> Vec<Coming> {
        let own = self.design().id;
        let orders = self.orders.list.iter();
        let sent = orders.filter(|order| order.state == PurchaseState::Ordered);
        sent.flat_map(|order| order.lines.iter().map(move |line| (order, line)))
            .filter(|(_, line)| line.part == part && line.open_packs() > 0)
            .filter(|(_, line)| line.shares.is_empty() || line.is_for(own))
            .map(|(order, line)| {
                let of = (part, line.pack_amount, line.open_packs());
                Coming::of(cx, self, order, of, false)
            })
            .collect()
    }

    /// What was spent on the set and what is still to be.
    pub fn spent(&self, cx: &Cx) -> Spent {
        let own = self.design().id;
        let (mut ordered, mut listed, mut paid) = (Vec::new(), Vec::new(), Vec::new());
        let (mut shared, mut in_part) = (false, false);
        for order in &self.orders.list {
            let mine: Vec<_> = (order.lines.iter())
                .filter(|line| line.is_for(own))
                .collect();
            if mine.is_empty() {
                continue;
            }
            let alone = order.lines.iter().all(|line| line.only_for() == Some(own));
            in_part |= mine.iter().any(|line| line.only_for().is_none());
            let sum = if order.state == PurchaseState::List {
                &mut listed
            } else {
                shared |= !alone;
                paid.push(order.paid_minor);
                &mut ordered
            };
            let closed = order.state == PurchaseState::Closed;
            for line in &mine {
                sum.extend(share_of(order, line, own));
            }
            if alone && mine.iter().any(|line| !closed || line.received_packs > 0) {
                sum.push(order.delivery_minor);
            }
        }
        let left = self.left(cx);
        let some = left.iter().any(|left| !left.coming.is_empty());
        let needs = self.plan().needs.iter().zip(&left);
        let unpriced = needs
            .filter(|(need, left)| need.short > 0 && need.buy.is_empty() && !left.covered)
            .count();
        let cost = &self.plan().cost;
        let (rest, delivery) = if some {
            self.rest(&left)
        } else {
            (cost.planned_minor, cost.delivery_minor)
        };
        let sum = |sums: Vec<Money>| Money::sum(sums).unwrap_or(Money::ZERO);
        Spent {
            ordered: sum(ordered),
            listed: sum(listed),
            paid: sum(paid),
            shared,
            shares: in_part,
            rest,
            delivery,
            unpriced,
            some,
        }
    }

    /// What was ordered for the set, part by part, deliveries left out; of what other sets need too its
    /// share.
    pub fn ordered_parts(&self) -> Vec<OrderedPart> {
        let own = self.design().id;
        let orders = self.orders.list.iter();
        let lines = orders.flat_map(|order| order.lines.iter().map(move |line| (order, line)));
        lines
            .filter_map(|(order, line)| {
                Some(OrderedPart {
                    supplier: order.supplier_name.clone(),
                    part: line.part,
                    cost: share_of(order, line, own).filter(|cost| *cost > Money::ZERO)?,
                })
            })
            .collect()
    }

    /// How many of the parts that are short are on order wholly; of a set that is over nothing is short.
    pub fn short_on_order(&self, cx: &Cx) -> usize {
        if self.design().state.is_over() {
            return 0;
        }
        self.on_order(cx).count()
    }

    /// What the rest costs with its deliveries, and what of it they are.
    fn rest(&self, left: &[Left]) -> (Money, Money) {
        let mut goods: BTreeMap<SupplierId, Vec<Money>> = BTreeMap::new();
        for (need, left) in self.plan().needs.iter().zip(left) {
            for ((buy, cost), packs) in need.buy.iter().zip(&left.costs).zip(&left.packs) {
                if *packs > 0 {
                    goods.entry(buy.supplier).or_default().push(*cost);
                }
            }
        }
        let (mut sums, mut deliveries) = (Vec::new(), Vec::new());
        for (supplier, costs) in goods {
            let sum = Money::sum(costs).unwrap_or(Money::ZERO);
            let known = self.orders.suppliers.iter().find(|it| it.id == supplier);
            deliveries.extend(known.map(|it| it.delivery(sum)));
            sums.push(sum);
        }
        let delivery = Money::sum(deliveries).unwrap_or(Money::ZERO);
        let goods = Money::sum(sums).unwrap_or(Money::ZERO);
        (goods.checked_add(delivery).unwrap_or(goods), delivery)
    }

    /// Whether the plan shown is made of what is there now, rather than the one that it is built by.
    pub fn is_replanned(&self) -> bool {
        self.kept.is_none()
    }
}
