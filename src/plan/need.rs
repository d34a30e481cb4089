//! What is needed of each part, what of it is there, what rests on ordered goods, what is short,
//! and what to buy for it.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    basket::{self, Basket, Lot, Want, Way},
    bench::{Bench, LengthNeed},
    book::Book,
    check::{Checks, Finding},
    cutting::Bought,
    outcome::{Becomes, Buy, Cost, CutSource, Need, PlannedHold, UnpricedRolls, not_asked},
    pin,
};
use crate::{
    model::{
        id::{PartId, PurchaseLineId},
        part::{Kind, Part, StockUnit},
        piece::length_of,
        reservation::{Held, HoldUse},
    },
    units::{Money, say_day},
};

#[derive(Default, Clone)]
struct CountNeed {
    used_up: i64,
    comes_back: i64,
    used_for: BTreeSet<String>,
}

#[derive(Default, Clone)]
struct UnitNeed {
    there: i64,
    short: i64,
    used_for: BTreeSet<String>,
}

/// Gathers what is needed.
#[derive(Default, Clone)]
pub(super) struct Needs {
    counts: BTreeMap<PartId, CountNeed>,
    units: BTreeMap<PartId, UnitNeed>,
    unheard: BTreeMap<String, (i64, BTreeSet<String>)>,
}

impl Needs {
    /// Needs a count (or a length without pieces) of a part.
    pub(super) fn count(&mut self, part: PartId, amount: i64, becomes: HoldUse, used_for: &str) {
        if amount <= 0 {
            return;
        }
        let need = self.counts.entry(part).or_default();
        match becomes {
            HoldUse::Consumed => need.used_up += amount,
            HoldUse::Returns => need.comes_back += amount,
        }
        need.used_for.insert(used_for.to_owned());
    }

    /// Needs one thing by unit, which is there or not.
    pub(super) fn unit(&mut self, part: PartId, there: bool, used_for: &str) {
        let need = self.units.entry(part).or_default();
        if there {
            need.there += 1;
        } else {
            need.short += 1;
        }
        need.used_for.insert(used_for.to_owned());
    }

    /// Needs something that no part of the catalogue is.
    pub(super) fn unheard(&mut self, what: impl Into<String>, amount: i64, used_for: &str) {
        let entry = self.unheard.entry(what.into()).or_default();
        entry.0 += amount;
        entry.1.insert(used_for.to_owned());
    }

    /// How many of a part are asked for so far.
    pub(super) fn asked(&self, part: PartId) -> i64 {
        self.counts
            .get(&part)
            .map_or(0, |need| need.used_up + need.comes_back)
    }

    /// Sums up: needs by kind and name, what reserving holds of counts, and money.
    pub(super) fn finish(
        self,
        book: &Book<'_>,
        bench: &Bench,
        checks: &mut Checks,
    ) -> (Vec<Need>, Vec<PlannedHold>, Cost) {
        let mut needs = Vec::new();
        let mut holds = Vec::new();
        for (part, need) in &self.counts {
            needs.push(count_need(book, *part, need, &mut holds));
        }
        for (&part, need) in &self.units {
            needs.push(Need {
                part: Some(part),
                name: book.name(part),
                needed: need.there + need.short,
                there: need.there,
                due: 0,
                short: need.short,
                buy: Vec::new(),
                unpriced: Vec::new(),
                used_for: words(&need.used_for),
            });
        }
        for (&part, need) in &bench.needs {
            needs.push(Need {
                part: Some(part),
                name: book.name(part),
                needed: need.needed,
                there: need.there,
                due: 0,
                short: need.needed - need.there,
                buy: Vec::new(),
                unpriced: unpriced_rolls(need),
                used_for: words(&need.used_for),
            });
        }
        for (name, (amount, used_for)) in self.unheard {
            needs.push(Need {
                part: None,
                name,
                needed: amount,
                there: 0,
                due: 0,
                short: amount,
                buy: Vec::new(),
                unpriced: Vec::new(),
                used_for: words(&used_for),
            });
        }
        let kind = |need: &Need| -> (bool, Option<Kind>) {
            let part = need.part.and_then(|part| book.part(part));
            (part.is_none(), part.map(|part| part.spec.kind()))
        };
        needs.sort_by(|a, b| (kind(a), &a.name, a.part).cmp(&(kind(b), &b.name, b.part)));
        let basket = buy(book, bench, &mut needs);
        let short = needs.iter().filter(|need| need.short > 0);
        let short = short.filter_map(|need| Some((need.part?, need.name.as_str())));
        pin::check_unsold(book, short, checks);
        let cost = cost(book, &needs, basket.as_ref(), checks);
        order_dates(book, &needs, checks);
        (needs, holds, cost)
    }
}

fn words(set: &BTreeSet<String>) -> String {
    set.iter()
        .map(String::as_str)
        .collect::<Vec<_>>()
        .join(", ")
}

fn count_need(
    book: &Book<'_>,
    part: PartId,
    need: &CountNeed,
    holds: &mut Vec<PlannedHold>,
) -> Need {
    let needed = need.used_up + need.comes_back;
    // What is mounted on a frame of this set is held with the frame.
    let mounted = need.comes_back.min(book.mounted(part));
    let mut used_up = need.used_up;
    let mut comes_back = need.comes_back - mounted;
    let mut hold = |most: i64, due: Option<PurchaseLineId>| -> i64 {
        let mut held = 0;
        for (open, becomes) in [
            (&mut used_up, HoldUse::Consumed),
            (&mut comes_back, HoldUse::Returns),
        ] {
            let amount = (most - held).min(*open);
            if amount > 0 {
                *open -= amount;
                held += amount;
                holds.push(PlannedHold {
                    bar: None,
                    held: Held::Count { part, amount, due },
                    becomes,
                });
            }
        }
        held
    };
    let there = mounted + hold(book.available(part), None);
    let mut lines: Vec<(PurchaseLineId, i64)> = book
        .count(part)
        .map(|count| count.due.clone())
        .unwrap_or_default();
    lines.sort_unstable();
    let due: i64 = lines
        .into_iter()
        .map(|(line, amount)| hold(amount.max(0), Some(line)))
        .sum();
    let short = needed - there - due;
    Need {
        part: Some(part),
        name: book.name(part),
        needed,
        there,
        due,
        short,
        buy: Vec::new(),
        unpriced: Vec::new(),
        used_for: words(&need.used_for),
    }
}

/// Chooses packs for everything that is short and sold, with the venue's spares of counts.
fn buy<'a>(book: &Book<'a>, bench: &Bench, needs: &mut [Need]) -> Option<Basket<'a>> {
    let (mut wants, mut of_need) = (Vec::new(), Vec::new());
    for (at, need) in needs.iter().enumerate() {
        let (Some(part), Ok(short)) = (need.part, u64::try_from(need.short)) else {
            continue;
        };
        if let Some(lengths) = bench.needs.get(&part) {
            for (roll_um, rolls) in rolls(book, part, lengths) {
                wants.push(Want {
                    part,
                    lot: Lot::Rolls(roll_um),
                    needed: rolls.into(),
                    not_from: BTreeSet::new(),
                });
                of_need.push(at);
            }
        } else if short > 0 {
            let percent = u64::from(book.input.venue.spare_percent);
            wants.push(Want {
                part,
                lot: Lot::Amount,
                needed: short.saturating_add(short.saturating_mul(percent).div_ceil(100)),
                not_from: BTreeSet::new(),
            });
            of_need.push(at);
        }
    }
    let way = Way {
        without: book.not_from.clone(),
        ..Way::default()
    };
    let basket = basket::fill(&wants, &book.input.offers, &way)?;
    for line in &basket.lines {
        let need = &mut needs[of_need[line.want]];
        need.buy.push(Buy {
            offer: line.offer.id,
            supplier: line.offer.supplier,
            supplier_name: line.offer.supplier_name.clone(),
            packs: line.packs,
            pack_amount: line.offer.pack_amount,
            cost_minor: line.cost_minor,
            left_over: 0,
            order_by: book.order_by(line.offer.delivery_days),
        });
    }
    for need in needs {
        let left = match need.part.filter(|part| bench.needs.contains_key(part)) {
            Some(part) => kept_of_bought(book, bench, part, &need.buy),
            None => need
                .buy
                .iter()
                .map(|buy| buy.pack_amount.saturating_mul(buy.packs.into()))
                .fold(0, i64::saturating_add)
                .saturating_sub(need.short),
        };
        if let Some(last) = need.buy.last_mut() {
            last.left_over = left;
        }
    }
    Some(basket)
}

/// The rolls that the cut list takes at a price, by length.
fn rolls(book: &Book<'_>, part: PartId, need: &LengthNeed) -> BTreeMap<i64, u32> {
    let mut rolls = BTreeMap::new();
    for (which, &taken) in &need.bought {
        let Bought::Offer(id) = *which else {
            continue;
        };
        if let Some(offer) = book.offers(part).iter().find(|offer| offer.id == id) {
            *rolls.entry(offer.pack_amount).or_default() += taken;
        }
    }
    rolls
}

/// The rolls of the cut list that have no price.
fn unpriced_rolls(need: &LengthNeed) -> Vec<UnpricedRolls> {
    let rolls = need
        .bought
        .iter()
        .filter_map(|(which, &rolls)| match which {
            Bought::Offer(_) => None,
            Bought::Length(roll_um) => Some(UnpricedRolls {
                roll_um: *roll_um,
                rolls,
            }),
        });
    rolls.collect()
}

/// Micrometres of the rests that the cut list keeps, of the rolls of a part that are bought.
fn kept_of_bought(book: &Book<'_>, bench: &Bench, part: PartId, buy: &[Buy]) -> i64 {
    let unit = book.part(part).map_or(StockUnit::Micrometres, Part::unit);
    let bought = |source: &CutSource| match source {
        CutSource::Buy { roll_um, .. } => buy.iter().any(|it| it.pack_amount == roll_um.get()),
        CutSource::Piece { .. } => false,
    };
    bench
        .cuts
        .iter()
        .filter(|cut| cut.part == part && bought(&cut.source))
        .flat_map(|cut| &cut.segments)
        .filter(|segment| matches!(segment.becomes, Becomes::Offcut))
        .map(|segment| length_of(unit, segment.to - segment.from, 0).get())
        .sum()
}

fn cost(book: &Book<'_>, needs: &[Need], basket: Option<&Basket<'_>>, checks: &mut Checks) -> Cost {
    let planned = basket.map(|basket| basket.cost_minor);
    let deliveries = basket.map(|basket| basket.sent.iter().map(|sent| sent.delivery_minor));
    let unpriced = needs
        .iter()
        .filter(|need| need.short > 0 && need.buy.is_empty())
        .count();
    let budget = book.input.design.budget_minor;
    let currency = &book.input.venue.currency;
    match (planned, budget) {
        (None, _) => checks.add(
            "budget",
            "sum",
            "budget",
            Finding::broken(
                "What is to be bought costs more than can be counted.",
                "Check the prices and the amounts.",
            ),
            [],
        ),
        (Some(planned), Some(budget)) => {
            let figures = format!(
                "{} is to be spent, {} is agreed",
                planned.show(currency),
                budget.show(currency)
            );
            let finding = if planned > budget {
                Finding::warned(format!("{figures}."), "Ask for more, or change the set.")
            } else if unpriced > 0 {
                Finding::warned(
                    format!(
                        "{figures}; what is short of {} has no price.",
                        match unpriced {
                            1 => "one part".to_owned(),
                            more => format!("{more} parts"),
                        }
                    ),
                    "Enter offers for them.",
                )
            } else {
                Finding::passed(format!("{figures}."))
            };
            checks.add("budget", "sum", "budget", finding, []);
        }
        (Some(_), None) => {}
    }
    Cost {
        planned_minor: planned.unwrap_or_default(),
        delivery_minor: deliveries.and_then(Money::sum).unwrap_or_default(),
        proof: basket.map_or_else(not_asked, |basket| basket.proof),
        budget_minor: budget,
        unpriced: u32::try_from(unpriced).unwrap_or(u32::MAX),
    }
}

/// Warns of what can no longer be ordered in time.
fn order_dates(book: &Book<'_>, needs: &[Need], checks: &mut Checks) {
    for need in needs {
        for buy in need
            .buy
            .iter()
            .filter(|buy| buy.order_by < book.input.today)
        {
            let finding = Finding::warned(
                format!(
                    "{} from {} should have been ordered by {} to be there on the build day.",
                    need.name,
                    buy.supplier_name,
                    say_day(buy.order_by)
                ),
                "Ask for faster delivery, or move the build day.",
            );
            checks.add(
                "order",
                format_args!("offer-{}", buy.offer),
                &need.name,
                finding,
                [],
            );
        }
    }
}
