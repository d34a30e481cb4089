//! What is short over several designs, as one list by supplier.
//!
//! Counts are added up over the designs before they are rounded up to packs, so that two sets
//! share a pack. Rolls, reels and bars were chosen set by set when the cuts were solved: they are
//! added up by length, or what is cut from them is cut together, where that costs less or where
//! those who sell a length are left out ([`joint`]). What is on open orders already is taken off, so
//! that nothing is ordered twice; for the rest the packs are chosen all together, deliveries
//! included ([`basket`]).

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Plan,
    answer::{Proof, Why},
    basket::{self, Basket, Lot, Want, Way},
    input::Offer,
    joint::{self, Sold},
    outcome::{Becomes, CutSource, Need, UnpricedRolls},
};
use crate::{
    model::{
        id::{DesignId, OfferId, PartId, SupplierId},
        part::{Part, StockBy},
        purchase::Share,
        venue::Venue,
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
    /// From whom nothing is bought for it.
    pub not_from: &'a BTreeSet<SupplierId>,
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
    /// What of the part is short, of which the spares are a share; zero where none are bought.
    pub spare_of: i64,
    /// Packs or counts of it that are on open orders already.
    pub on_order: i64,
    /// The sets that want it.
    pub designs: Vec<(DesignId, String)>,
    /// How much of it each of them needs, by which what it costs is shared.
    pub shares: Vec<Share>,
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
    /// What the delivery costs.
    pub delivery_minor: Money,
}

/// Something that only those sell from whom nothing is to be bought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsold {
    /// The part.
    pub part: PartId,
    /// Its name.
    pub name: String,
    /// How much: an amount in its stock unit, or rolls of `roll_um`.
    pub needed: i64,
    /// The length of a roll, reel or bar in micrometres.
    pub roll_um: Option<i64>,
    /// The sets that want it.
    pub designs: Vec<(DesignId, String)>,
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

/// Another way to buy, to compare.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Beside {
    /// Which way.
    pub way: Way,
    /// Whose goods it does without that the list has: id and name.
    pub without: Option<(SupplierId, String)>,
    /// What it costs and how many parcels it is; `None` where not everything can be bought so.
    pub cost: Option<(Money, usize)>,
}

/// The list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShoppingList {
    /// By supplier, in order of name.
    pub parcels: Vec<Parcel>,
    /// Goods and deliveries together; `None` where that is more than can be counted, and then there
    /// are no parcels.
    pub cost_minor: Option<Money>,
    /// What is known about its being the least, in minor units.
    pub proof: Proof<i64>,
    /// What has a price, but not from those one wants to buy from.
    pub unsold: Vec<Unsold>,
    /// Other ways to buy all of it.
    pub beside: Vec<Beside>,
    /// What has no price.
    pub unpriced: Vec<Unpriced>,
    /// From whom nothing is bought that a set wants, and which sets say so.
    pub not_from: BTreeMap<SupplierId, Vec<(DesignId, String)>>,
}

/// Packs on open orders, by part and what one pack holds.
pub type OnOrder = BTreeMap<(PartId, i64), i64>;

/// Adds up what the sets are short of, and buys it in one of the ways.
pub fn gather(
    wanting: &[Wanting<'_>],
    parts: &BTreeMap<PartId, Part>,
    offers: &[Offer],
    on_order: &OnOrder,
    venue: &Venue,
    way: &Way,
) -> ShoppingList {
    let mut short = Short::default();
    let mut not_from: BTreeMap<SupplierId, Vec<(DesignId, String)>> = BTreeMap::new();
    for set in wanting {
        short.add(set, parts, offers);
        for supplier in set.not_from {
            let sets = not_from.entry(*supplier).or_default();
            sets.push((set.design, set.name.to_owned()));
        }
    }
    let asked = |way: &Way| {
        let mut short = short.clone();
        let proven = short.cut_together(parts, offers, on_order, &way.without);
        let (wants, sums) = short.wants(on_order, venue.spare_percent);
        (wants, sums, proven)
    };
    let (wants, sums, together) = asked(way);
    let basket = basket::fill(&wants, offers, way);
    let Some(basket) = basket else {
        return ShoppingList {
            parcels: Vec::new(),
            cost_minor: None,
            proof: Proof::Open { why: Why::NotAsked },
            unsold: Vec::new(),
            beside: Vec::new(),
            unpriced: short.unpriced.into_values().collect(),
            not_from,
        };
    };
    let mut parcels: Vec<Parcel> = basket
        .sent
        .iter()
        .map(|sent| Parcel {
            supplier: sent.supplier,
            name: sent.name.clone(),
            lines: Vec::new(),
            goods_minor: sent.goods_minor,
            delivery_minor: sent.delivery_minor,
        })
        .collect();
    for (at, line) in basket.lines.iter().enumerate() {
        let sum = &sums[line.want];
        let last = basket
            .lines
            .get(at + 1)
            .is_none_or(|next| next.want != line.want);
        let amount = wants[line.want].lot == Lot::Amount;
        let slack = i64::from(line.offer.delivery_days) + i64::from(venue.order_slack_days);
        let parcel = parcels
            .iter_mut()
            .find(|parcel| parcel.supplier == line.offer.supplier);
        let (Some(parcel), Some(first)) = (parcel, sum.first) else {
            continue;
        };
        parcel.lines.push(ListLine {
            part: line.offer.part,
            name: sum.name.clone(),
            offer: line.offer.id,
            packs: line.packs,
            pack_amount: line.offer.pack_amount,
            cost_minor: line.cost_minor,
            left_over: (amount && last)
                .then(|| i64::try_from(basket.left_over[line.want]).ok())
                .flatten()
                // Spares are bought to be left over.
                .map(|left| left.saturating_add(sum.spare)),
            spare_of: if amount && last && sum.spare > 0 {
                sum.amount
            } else {
                0
            },
            on_order: sum.ordered,
            designs: sum.designs.clone(),
            shares: sum.shares.clone(),
            order_by: days_before(first, slack),
        });
    }
    for parcel in &mut parcels {
        let lines = &mut parcel.lines;
        lines.sort_by(|a, b| (a.order_by, &a.name, a.offer).cmp(&(b.order_by, &b.name, b.offer)));
    }
    let unsold = basket.unsold.iter().map(|at| Unsold {
        part: wants[*at].part,
        name: sums[*at].name.clone(),
        needed: i64::try_from(wants[*at].needed).unwrap_or(i64::MAX),
        roll_um: match wants[*at].lot {
            Lot::Amount => None,
            Lot::Rolls(roll_um) => Some(roll_um),
        },
        designs: sums[*at].designs.clone(),
    });
    ShoppingList {
        unsold: unsold.collect(),
        beside: beside(&|way| asked(way).0, offers, way, &basket),
        parcels,
        cost_minor: Some(basket.cost_minor),
        proof: if together {
            basket.proof
        } else {
            Proof::Open {
                why: Why::StepBudget,
            }
        },
        unpriced: short.unpriced.into_values().collect(),
        not_from,
    }
}

/// What everything costs the other way round, and without each supplier that sends something; `asked`
/// says what is to be bought then.
fn beside(
    asked: &dyn Fn(&Way) -> Vec<Want>,
    offers: &[Offer],
    way: &Way,
    chosen: &Basket<'_>,
) -> Vec<Beside> {
    let other = Way {
        aim: way.aim.other(),
        without: way.without.clone(),
    };
    let mut ways = vec![(other, None)];
    if chosen.sent.len() > 1 {
        ways.extend(chosen.sent.iter().map(|sent| {
            let mut without = way.without.clone();
            without.insert(sent.supplier);
            let aim = way.aim;
            (
                Way { aim, without },
                Some((sent.supplier, sent.name.clone())),
            )
        }));
    }
    let fill = |way: &Way| {
        let wants = asked(way);
        let basket = basket::fill(&wants, offers, way)?;
        (basket.unsold.len() == chosen.unsold.len())
            .then_some((basket.cost_minor, basket.sent.len()))
    };
    let same = (chosen.cost_minor, chosen.sent.len());
    ways.into_iter()
        .map(|(way, without)| Beside {
            cost: fill(&way),
            way,
            without,
        })
        // Another way to the same parcels is none.
        .filter(|it| it.without.is_some() || it.cost != Some(same))
        .collect()
}

/// What is short, by what it is bought as.
#[derive(Clone, Default)]
struct Short {
    counts: BTreeMap<PartId, Sum>,
    rolls: BTreeMap<(PartId, i64), Sum>,
    /// What is cut from those, in the part's stock unit.
    runs: BTreeMap<PartId, Runs>,
    unpriced: BTreeMap<(Option<PartId>, String), Unpriced>,
}

impl Short {
    fn add(&mut self, set: &Wanting<'_>, parts: &BTreeMap<PartId, Part>, offers: &[Offer]) {
        for need in set.plan.needs.iter().filter(|need| need.short > 0) {
            let by_count = need
                .part
                .and_then(|id| parts.get(&id))
                .is_some_and(|part| part.stock_by() != StockBy::Length);
            match need.part {
                Some(part) if by_count && offers.iter().any(|offer| offer.part == part) => {
                    let sum = self.counts.entry(part).or_default();
                    sum.add(set, need, need.short);
                }
                Some(part) if !need.buy.is_empty() => {
                    let runs = self.runs.entry(part).or_default();
                    runs.sets += 1;
                    let lengths = || cut_from_bought(set.plan, part);
                    runs.lengths.extend(lengths());
                    add_share(&mut runs.shares, set.design, lengths().sum());
                    for buy in &need.buy {
                        let sum = self.rolls.entry((part, buy.pack_amount)).or_default();
                        sum.add(set, need, i64::from(buy.packs));
                    }
                }
                part => self
                    .unpriced
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

    /// Cuts the rolls of several sets together where that costs less, and those of one anew where
    /// nobody sells their length. Whether it is known that nothing costs less.
    fn cut_together(
        &mut self,
        parts: &BTreeMap<PartId, Part>,
        offers: &[Offer],
        on_order: &OnOrder,
        without: &BTreeSet<SupplierId>,
    ) -> bool {
        let mut proven = true;
        for (id, runs) in std::mem::take(&mut self.runs) {
            let Some(part) = parts.get(&id) else { continue };
            let of_part = (id, i64::MIN)..=(id, i64::MAX);
            let mut all = Sum::default();
            for sum in self.rolls.range(of_part.clone()).map(|(_, sum)| sum) {
                all.join(sum);
            }
            let mut price: BTreeMap<i64, i64> = BTreeMap::new();
            for offer in offers.iter().filter(|offer| {
                offer.part == id
                    && !without.contains(&offer.supplier)
                    && !all.not_from.contains(&offer.supplier)
            }) {
                let least = price.entry(offer.pack_amount).or_insert(i64::MAX);
                *least = offer.price_minor.get().min(*least);
            }
            let open = |roll_um: i64| on_order.get(&(id, roll_um)).copied().unwrap_or(0);
            // What the rolls cost that the sets ask for; nothing where one of them can't be had.
            let apart: Option<i128> = self
                .rolls
                .range(of_part.clone())
                .map(|(&(_, roll_um), sum)| match sum.amount - open(roll_um) {
                    ..=0 => Some(0),
                    more => Some(i128::from(more) * i128::from(*price.get(&roll_um)?)),
                })
                .sum();
            if apart == Some(0) || (apart.is_some() && runs.sets < 2) {
                continue;
            }
            let ordered = on_order.range(of_part.clone());
            let ordered = ordered.map(|((_, roll_um), packs)| Sold {
                roll_um: *roll_um,
                price_minor: 0,
                most: Some(u32::try_from(*packs).unwrap_or(0)),
            });
            let bought = price.iter().map(|(&roll_um, &price_minor)| Sold {
                roll_um,
                price_minor,
                most: None,
            });
            let sold: Vec<Sold> = ordered.chain(bought).collect();
            let Some(found) = joint::cheapest(part, &runs.lengths, &sold) else {
                continue;
            };
            proven &= found.proven;
            if apart.is_some_and(|apart| apart <= found.cost_minor) {
                continue;
            }
            self.rolls.retain(|(of, _), _| *of != id);
            for (roll_um, count) in found.rolls {
                let amount = count.into();
                self.rolls.insert(
                    (id, roll_um),
                    Sum {
                        amount,
                        // Which length is whose is not said any more: by what each cuts of them all.
                        shares: runs.shares.clone(),
                        ..all.clone()
                    },
                );
            }
        }
        proven
    }

    /// What is still to be bought once the open orders have come, with the sum behind each.
    fn wants(&mut self, on_order: &OnOrder, spare_percent: u8) -> (Vec<Want>, Vec<Sum>) {
        let (mut wants, mut sums) = (Vec::new(), Vec::new());
        let mut add = |part, lot, mut sum: Sum, ordered: i64, wanted: i64| {
            if let Some(needed) = u64::try_from(wanted).ok().filter(|needed| *needed > 0) {
                sum.ordered = ordered;
                let not_from = sum.not_from.clone();
                wants.push(Want {
                    part,
                    lot,
                    needed,
                    not_from,
                });
                sums.push(sum);
            }
        };
        for (part, sum) in std::mem::take(&mut self.counts) {
            let open = on_order.iter().filter(|((of, _), _)| *of == part);
            let open: i64 = open.map(|((_, pack), packs)| pack * packs).sum();
            // What the plans count as due in is part of the open orders.
            let ordered = (open - sum.due).max(0);
            let spare = spares(sum.amount, spare_percent);
            let wanted = sum.amount + spare - ordered;
            add(part, Lot::Amount, Sum { spare, ..sum }, ordered, wanted);
        }
        for ((part, roll_um), sum) in std::mem::take(&mut self.rolls) {
            // Rolls of one length are alike, from whichever offer.
            let open = on_order.get(&(part, roll_um)).copied().unwrap_or(0);
            let ordered = open.min(sum.amount);
            let wanted = sum.amount - ordered;
            add(part, Lot::Rolls(roll_um), sum, ordered, wanted);
        }
        (wants, sums)
    }
}

/// What a plan cuts from rolls of a part that are bought, in its stock unit.
fn cut_from_bought(plan: &Plan, part: PartId) -> impl Iterator<Item = i64> {
    let bought = (plan.cuts.iter())
        .filter(move |cut| cut.part == part && matches!(cut.source, CutSource::Buy { .. }));
    let used = bought.flat_map(|cut| &cut.segments).filter(|segment| {
        matches!(
            segment.becomes,
            Becomes::Bar { .. } | Becomes::Extra { .. } | Becomes::Feed
        )
    });
    used.map(|segment| segment.to - segment.from)
}

/// Spares on top of what is short, rounded up.
pub fn spares(short: i64, percent: u8) -> i64 {
    (short * i64::from(percent) + 99) / 100
}

/// What sets cut from rolls of one part that are to be bought.
#[derive(Debug, Clone, Default)]
struct Runs {
    sets: usize,
    lengths: Vec<i64>,
    /// How much of them each set cuts.
    shares: Vec<Share>,
}

/// Adds what one more need of a set takes.
fn add_share(shares: &mut Vec<Share>, design: DesignId, amount: i64) {
    let amount = amount.max(1);
    match shares.iter_mut().find(|share| share.design == design) {
        Some(share) => share.amount = share.amount.saturating_add(amount),
        None => shares.push(Share { design, amount }),
    }
}

#[derive(Debug, Clone, Default)]
struct Sum {
    name: String,
    amount: i64,
    due: i64,
    ordered: i64,
    spare: i64,
    first: Option<Date>,
    designs: Vec<(DesignId, String)>,
    /// How much each of them needs.
    shares: Vec<Share>,
    /// Packs are shared by the sets, so that what one does not buy there the others do not either.
    not_from: BTreeSet<SupplierId>,
}

impl Sum {
    fn add(&mut self, set: &Wanting<'_>, need: &Need, amount: i64) {
        self.name.clone_from(&need.name);
        self.amount += amount;
        self.due += need.due;
        add_share(&mut self.shares, set.design, amount);
        self.not_from.extend(set.not_from);
        self.first = Some(
            self.first
                .map_or(set.build_on, |first| first.min(set.build_on)),
        );
        if !self.designs.iter().any(|(id, _)| *id == set.design) {
            self.designs.push((set.design, set.name.to_owned()));
        }
    }

    /// Takes another length of the same part in.
    fn join(&mut self, other: &Self) {
        self.name.clone_from(&other.name);
        self.not_from.extend(&other.not_from);
        self.first = [self.first, other.first].into_iter().flatten().min();
        for set in &other.designs {
            if !self.designs.contains(set) {
                self.designs.push(set.clone());
            }
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

fn days_before(day: Date, days: i64) -> Date {
    let span = jiff::Span::new().try_days(days).unwrap_or_default();
    day.checked_sub(span).unwrap_or(Date::MIN)
}
