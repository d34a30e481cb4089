//! What is short over several designs, as one list by supplier.
//!
//! Counts are added up over the designs before they are rounded up to packs, so that two sets
//! share a pack. Rolls, reels, bars and units were chosen one by one when the cuts were solved:
//! their packs are added up offer by offer. What is on open orders already is taken off, so that
//! nothing is ordered twice.

use std::collections::BTreeMap;

use super::{
    Plan, buy,
    input::Offer,
    outcome::{Need, UnpricedRolls},
};
use crate::{
    model::{
        id::{DesignId, OfferId, PartId, SupplierId},
        part::{Part, StockBy},
    },
    units::{Date, Money},
};

/// One set that wants something.
#[derive(Debug, Clone, Copy)]
pub struct Wanting<'a> {
    /// Which.
    pub design: DesignId,
    /// Its name.
    pub name: &'a str,
    /// Its build day.
    pub build_on: Date,
    /// Its plan.
    pub plan: &'a Plan,
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListLine {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// From which offer.
    pub offer: OfferId,
    /// Packs to order.
    pub packs: u32,
    /// Count in one, or its length in micrometres.
    pub pack_amount: i64,
    /// What they cost.
    pub cost_minor: Money,
    /// What is left over (count), if it can be said.
    pub left_over: Option<i64>,
    /// Packs or counts of it that are on open orders already.
    pub on_order: i64,
    /// The sets that want it.
    pub designs: Vec<(DesignId, String)>,
    /// The last day to order.
    pub order_by: Date,
}

/// What to order from one supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcel {
    /// Who sells.
    pub supplier: SupplierId,
    /// Their name.
    pub name: String,
    /// Lines, earliest day first.
    pub lines: Vec<ListLine>,
    /// What the goods cost.
    pub goods_minor: Money,
}

/// Something short that nobody is known to sell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unpriced {
    /// The part, where there is one in the catalogue.
    pub part: Option<PartId>,
    /// Its name, or what is wanted.
    pub name: String,
    /// How much, in the part's stock unit.
    pub short: i64,
    /// Rolls, reels or bars to buy, where lengths are known in which it is sold.
    pub rolls: Vec<UnpricedRolls>,
    /// The sets that want it.
    pub designs: Vec<(DesignId, String)>,
}

/// The list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ShoppingList {
    /// By supplier, in order of name.
    pub parcels: Vec<Parcel>,
    /// What has no price.
    pub unpriced: Vec<Unpriced>,
}

/// Packs on open orders, by part and what one pack holds.
pub type OnOrder = BTreeMap<(PartId, i64), i64>;

/// Adds up what the sets are short of.
pub fn gather(
    wanting: &[Wanting<'_>],
    parts: &BTreeMap<PartId, Part>,
    offers: &[Offer],
    on_order: &OnOrder,
    spare_percent: u8,
    slack_days: u16,
) -> ShoppingList {
    let by_id: BTreeMap<OfferId, &Offer> = offers.iter().map(|offer| (offer.id, offer)).collect();
    let mut counts: BTreeMap<PartId, Sum> = BTreeMap::new();
    let mut rolls: BTreeMap<OfferId, Sum> = BTreeMap::new();
    let mut unpriced: BTreeMap<(Option<PartId>, String), Unpriced> = BTreeMap::new();
    for set in wanting {
        for need in set.plan.needs.iter().filter(|need| need.short > 0) {
            let by_count = need
                .part
                .and_then(|id| parts.get(&id))
                .is_some_and(|part| part.stock_by() == StockBy::Count);
            match need.part {
                Some(part) if by_count && offers.iter().any(|offer| offer.part == part) => {
                    counts.entry(part).or_default().add(set, need, need.short);
                }
                Some(_) if !need.buy.is_empty() => {
                    for buy in &need.buy {
                        rolls
                            .entry(buy.offer)
                            .or_default()
                            .add(set, need, i64::from(buy.packs));
                    }
                }
                part => unpriced
                    .entry((part, need.name.clone()))
                    .or_insert_with(|| Unpriced {
                        part,
                        name: need.name.clone(),
                        short: 0,
                        rolls: Vec::new(),
                        designs: Vec::new(),
                    })
                    .add(set, need),
            }
        }
    }

    let mut parcels: BTreeMap<(String, SupplierId), Vec<ListLine>> = BTreeMap::new();
    for (part, sum) in counts {
        let ordered: i64 = on_order
            .iter()
            .filter(|((of, _), _)| *of == part)
            .map(|((_, pack), packs)| pack * packs)
            .sum();
        // What the plans count as due in is part of the open orders.
        let ordered = (ordered - sum.due).max(0);
        let wanted = sum.amount + spares(sum.amount, spare_percent) - ordered;
        let Ok(wanted) = u64::try_from(wanted) else {
            continue;
        };
        if wanted == 0 {
            continue;
        }
        let of_part: Vec<&Offer> = offers.iter().filter(|offer| offer.part == part).collect();
        let choices: Vec<buy::Offer> = of_part.iter().map(|offer| choice(offer)).collect();
        let Ok(best) = buy::cheapest(wanted, &choices) else {
            continue;
        };
        let Some(offer) = of_part.get(best.value.offer) else {
            continue;
        };
        let left_over = i64::try_from(best.value.left_over).ok();
        push(
            &mut parcels,
            offer,
            sum,
            best.value.packs,
            left_over,
            ordered,
            slack_days,
        );
    }
    // Packs of one length are alike, from whichever offer: an open order serves any of them.
    let mut open = on_order.clone();
    for (id, sum) in rolls {
        let Some(offer) = by_id.get(&id) else {
            continue;
        };
        let under_way = open.entry((offer.part, offer.pack_amount)).or_default();
        let ordered = (*under_way).min(sum.amount);
        *under_way -= ordered;
        let Ok(packs) = u64::try_from(sum.amount - ordered) else {
            continue;
        };
        if packs > 0 {
            push(&mut parcels, offer, sum, packs, None, ordered, slack_days);
        }
    }
    let parcels = parcels
        .into_iter()
        .map(|((name, supplier), mut lines)| {
            lines.sort_by(|a, b| (a.order_by, &a.name).cmp(&(b.order_by, &b.name)));
            let goods_minor =
                Money::sum(lines.iter().map(|line| line.cost_minor)).unwrap_or(Money::ZERO);
            Parcel {
                supplier,
                name,
                lines,
                goods_minor,
            }
        })
        .collect();
    ShoppingList {
        parcels,
        unpriced: unpriced.into_values().collect(),
    }
}

/// Spares on top of what is short, rounded up.
fn spares(short: i64, percent: u8) -> i64 {
    (short * i64::from(percent) + 99) / 100
}

fn choice(offer: &Offer) -> buy::Offer {
    buy::Offer {
        pack: u64::try_from(offer.pack_amount).unwrap_or(0),
        price_minor: offer.price_minor.get(),
        minimum_packs: u64::from(offer.minimum_packs),
    }
}

#[derive(Debug, Default)]
struct Sum {
    name: String,
    amount: i64,
    due: i64,
    first: Option<Date>,
    designs: Vec<(DesignId, String)>,
}

impl Sum {
    fn add(&mut self, set: &Wanting<'_>, need: &Need, amount: i64) {
        self.name.clone_from(&need.name);
        self.amount += amount;
        self.due += need.due;
        self.first = Some(
            self.first
                .map_or(set.build_on, |first| first.min(set.build_on)),
        );
        if !self.designs.iter().any(|(id, _)| *id == set.design) {
            self.designs.push((set.design, set.name.to_owned()));
        }
    }
}

impl Unpriced {
    fn add(&mut self, set: &Wanting<'_>, need: &Need) {
        self.short += need.short;
        for more in &need.unpriced {
            match self.rolls.iter_mut().find(|it| it.roll_um == more.roll_um) {
                Some(there) => there.rolls += more.rolls,
                None => self.rolls.push(*more),
            }
        }
        if !self.designs.iter().any(|(id, _)| *id == set.design) {
            self.designs.push((set.design, set.name.to_owned()));
        }
    }
}

fn push(
    parcels: &mut BTreeMap<(String, SupplierId), Vec<ListLine>>,
    offer: &Offer,
    sum: Sum,
    packs: u64,
    left_over: Option<i64>,
    on_order: i64,
    slack_days: u16,
) {
    let packs = packs.max(u64::from(offer.minimum_packs));
    let days = i64::from(offer.delivery_days) + i64::from(slack_days);
    let first = sum.first.unwrap_or(Date::MAX);
    parcels
        .entry((offer.supplier_name.clone(), offer.supplier))
        .or_default()
        .push(ListLine {
            part: offer.part,
            name: sum.name,
            offer: offer.id,
            packs: u32::try_from(packs).unwrap_or(u32::MAX),
            pack_amount: offer.pack_amount,
            cost_minor: offer.price_minor.times(packs).unwrap_or(Money::ZERO),
            left_over,
            on_order,
            designs: sum.designs,
            order_by: first
                .checked_sub(jiff::Span::new().days(days))
                .unwrap_or(first),
        });
}
