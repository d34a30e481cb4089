//! What is short, bought: whose packs for everything together, deliveries included.
//!
//! Packs of rolls, reels and bars were chosen by length when the cuts were solved; here it is
//! decided from whom each is bought. Counts are made up from any packs.

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;

use super::{
    answer::Proof,
    input::Offer,
    packs::{self, AMOUNT_LIMIT, Aim, Question, SUPPLIER_LIMIT, Supplier, cheapest},
};
use crate::{
    model::id::{PartId, SupplierId},
    units::Money,
};

/// In what a part is bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Lot {
    /// In packs of any size; the amount is what counts.
    Amount,
    /// In rolls, reels or bars of this length in micrometres; their number is what counts.
    Rolls(i64),
}

/// Something to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Want {
    /// The part.
    pub part: PartId,
    /// In what.
    pub lot: Lot,
    /// How much, above nought.
    pub needed: u64,
    /// From whom it is not bought, beside those of whom nothing is.
    pub not_from: BTreeSet<SupplierId>,
}

/// How one wants to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// What counts first.
    pub aim: Aim,
    /// From whom nothing is to be bought.
    pub without: BTreeSet<SupplierId>,
}

/// A list of suppliers that can't be read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("“{0}” is no supplier’s number. Send numbers with commas between, such as 2,5.")]
pub struct NoSupplier(String);

impl Way {
    /// Reads what is asked for in an address: what counts first, and the numbers of the suppliers
    /// to do without, with commas between.
    pub fn read(aim: Option<Aim>, without: &str) -> Result<Self, NoSupplier> {
        let without = without
            .split(',')
            .map(str::trim)
            .filter(|id| !id.is_empty())
            .map(|id| {
                id.parse()
                    .map_err(|_| NoSupplier(id.chars().take(40).collect()))
            })
            .collect::<Result<_, _>>()?;
        let aim = aim.unwrap_or(Aim::Money);
        Ok(Self { aim, without })
    }

    /// The suppliers to do without, as [`Way::read`] reads them.
    pub fn without(&self) -> String {
        let ids: Vec<String> = self.without.iter().map(ToString::to_string).collect();
        ids.join(",")
    }
}

impl Default for Way {
    fn default() -> Self {
        Self {
            aim: Aim::Money,
            without: BTreeSet::new(),
        }
    }
}

/// Packs of one offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line<'a> {
    /// For which want, by its place.
    pub want: usize,
    /// Which offer.
    pub offer: &'a Offer,
    /// How many packs.
    pub packs: u32,
    /// What they cost.
    pub cost_minor: Money,
}

/// What one supplier sends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sent {
    /// Who.
    pub supplier: SupplierId,
    /// Their name.
    pub name: String,
    /// What the goods cost.
    pub goods_minor: Money,
    /// What the delivery costs.
    pub delivery_minor: Money,
}

/// What is bought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Basket<'a> {
    /// The packs, in the order of the wants.
    pub lines: Vec<Line<'a>>,
    /// The parcels, by the supplier's name.
    pub sent: Vec<Sent>,
    /// What is left over of each want, in its own measure.
    pub left_over: Vec<u64>,
    /// The wants that nobody sells, by their places.
    pub unsold: Vec<usize>,
    /// Goods and deliveries together.
    pub cost_minor: Money,
    /// What is known about the cost, in minor units.
    pub proof: Proof<i64>,
}

/// Work that a page's list may take: about a tenth of a second.
const STEPS: u64 = 40_000;

/// Buys everything that somebody sells. `None` where it costs more than can be counted.
pub fn fill<'a>(wants: &[Want], offers: &'a [Offer], way: &Way) -> Option<Basket<'a>> {
    let serving: Vec<Vec<&Offer>> = wants
        .iter()
        .map(|want| {
            let mut of_want: Vec<&Offer> = offers
                .iter()
                .filter(|offer| serves(offer, want) && !way.without.contains(&offer.supplier))
                .filter(|offer| !want.not_from.contains(&offer.supplier))
                .collect();
            of_want.sort_by_key(|offer| offer.id);
            of_want
        })
        .collect();
    let sellers = sellers(&serving);
    let place: BTreeMap<SupplierId, usize> = sellers
        .iter()
        .enumerate()
        .map(|(at, (id, _))| (*id, at))
        .collect();
    let mut question = Question {
        suppliers: sellers.iter().map(|(_, seller)| *seller).collect(),
        wants: Vec::new(),
    };
    let (mut asked, mut unsold) = (Vec::new(), Vec::new());
    for (at, want) in wants.iter().enumerate() {
        let of_want: Vec<&Offer> = serving[at]
            .iter()
            .copied()
            .filter(|offer| place.contains_key(&offer.supplier))
            .collect();
        if of_want.is_empty() {
            unsold.push(at);
            continue;
        }
        question.wants.push(packs::Want {
            needed: want.needed,
            offers: of_want
                .iter()
                .map(|offer| packs::Offer {
                    supplier: place[&offer.supplier],
                    pack: held(offer, want.lot),
                    price_minor: offer.price_minor.get(),
                    minimum_packs: offer.minimum_packs.into(),
                })
                .collect(),
        });
        asked.push((at, of_want));
    }
    let best = cheapest(&question, way.aim, STEPS).ok()?;
    let lines = best.value.lines.iter().map(|line| {
        let (want, of_want) = asked.get(line.want)?;
        let offer = *of_want.get(line.offer)?;
        Some(Line {
            want: *want,
            offer,
            packs: u32::try_from(line.packs).ok()?,
            cost_minor: offer.price_minor.times(line.packs)?,
        })
    });
    let lines: Vec<Line<'_>> = lines.collect::<Option<_>>()?;
    let mut left_over = vec![0; wants.len()];
    for ((at, _), left) in asked.iter().zip(&best.value.left_over) {
        left_over[*at] = *left;
    }
    let mut names: BTreeMap<(&str, SupplierId), usize> = BTreeMap::new();
    for line in &lines {
        let supplier = line.offer.supplier;
        names.insert((&line.offer.supplier_name, supplier), place[&supplier]);
    }
    let sent = names.into_iter().map(|((name, supplier), at)| {
        Some(Sent {
            supplier,
            name: name.to_owned(),
            goods_minor: Money::new(best.value.goods_minor[at]).ok()?,
            delivery_minor: Money::new(best.value.delivery_minor[at]).ok()?,
        })
    });
    Some(Basket {
        sent: sent.collect::<Option<_>>()?,
        cost_minor: Money::new(best.value.cost_minor).ok()?,
        proof: best.proof,
        left_over,
        unsold,
        lines,
    })
}

/// What one pack of an offer holds, in the measure of the want.
fn held(offer: &Offer, lot: Lot) -> u64 {
    match lot {
        Lot::Amount => u64::try_from(offer.pack_amount).unwrap_or(0),
        Lot::Rolls(_) => 1,
    }
}

fn serves(offer: &Offer, want: &Want) -> bool {
    let alike = match want.lot {
        Lot::Amount => offer.pack_amount > 0,
        Lot::Rolls(roll_um) => offer.pack_amount == roll_um,
    };
    // The whole of it from this offer must be a sum that can be counted.
    let whole = || {
        if want.needed > AMOUNT_LIMIT || held(offer, want.lot) > AMOUNT_LIMIT {
            return false;
        }
        let packs = want.needed.div_ceil(held(offer, want.lot).max(1));
        let packs = packs.max(offer.minimum_packs.into());
        u32::try_from(packs).is_ok() && offer.price_minor.times(packs).is_some()
    };
    offer.part == want.part && alike && offer.price_minor.get() >= 0 && whole()
}

/// Who sells anything of it, in order of their ids: where they are more than can be compared, those
/// who sell most of it.
fn sellers(serving: &[Vec<&Offer>]) -> Vec<(SupplierId, Supplier)> {
    let mut sells: BTreeMap<SupplierId, (usize, Supplier)> = BTreeMap::new();
    for of_want in serving {
        for offer in of_want {
            let seller = Supplier {
                delivery_minor: offer.delivery_minor.get().max(0),
                free_from_minor: offer.free_from_minor.map(Money::get),
            };
            sells.entry(offer.supplier).or_insert((0, seller)).0 += 1;
        }
    }
    let mut most: Vec<_> = sells.into_iter().collect();
    if most.len() > SUPPLIER_LIMIT {
        most.sort_by_key(|(id, (offers, _))| (std::cmp::Reverse(*offers), *id));
        most.truncate(SUPPLIER_LIMIT);
        most.sort_by_key(|(id, _)| *id);
    }
    most.into_iter()
        .map(|(id, (_, seller))| (id, seller))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::id::OfferId;

    const TAPE: PartId = PartId(1);
    const LEAD: PartId = PartId(2);

    fn money(minor: i64) -> Money {
        Money::new(minor).expect("a sum")
    }

    fn offer(id: i64, part: PartId, supplier: i64, pack_amount: i64, price: i64) -> Offer {
        Offer {
            id: OfferId(id),
            part,
            supplier: SupplierId(supplier),
            supplier_name: format!("Supplier {supplier}"),
            pack_amount,
            price_minor: money(price),
            minimum_packs: 1,
            delivery_days: 3,
            delivery_minor: money(500),
            free_from_minor: None,
        }
    }

    fn wants() -> Vec<Want> {
        vec![
            Want {
                part: TAPE,
                lot: Lot::Rolls(5_000_000),
                needed: 2,
                not_from: BTreeSet::new(),
            },
            Want {
                part: LEAD,
                lot: Lot::Amount,
                needed: 6,
                not_from: BTreeSet::new(),
            },
        ]
    }

    #[test]
    fn one_delivery_is_cheaper_than_two_and_rolls_keep_their_length() {
        let offers = [
            offer(1, TAPE, 1, 5_000_000, 2_000),
            offer(2, TAPE, 2, 5_000_000, 2_100),
            // Cheaper by the metre, but not of the length that the cuts take.
            offer(3, TAPE, 2, 10_000_000, 2_200),
            offer(4, LEAD, 2, 5, 300),
        ];
        let basket = fill(&wants(), &offers, &Way::default()).expect("a sum");
        // By hand: 2 × 21.00 + 2 × 3.00 + 5.00; from two suppliers 46.00 + 10.00.
        assert_eq!(basket.cost_minor, money(5_300));
        assert!(basket.proof.is_proven());
        let taken: Vec<(i64, u32)> = basket
            .lines
            .iter()
            .map(|line| (line.offer.id.0, line.packs))
            .collect();
        assert_eq!(taken, [(2, 2), (4, 2)]);
        assert_eq!(basket.left_over, [0, 4]);
        assert_eq!(basket.sent.len(), 1);
        assert_eq!(basket.sent[0].delivery_minor, money(500));
    }

    #[test]
    fn what_only_a_supplier_left_out_sells_is_not_bought() {
        let offers = [
            offer(1, TAPE, 1, 5_000_000, 2_000),
            offer(2, LEAD, 2, 5, 300),
        ];
        let way = Way::read(None, " 2,").expect("readable");
        let basket = fill(&wants(), &offers, &way).expect("a sum");
        assert_eq!(basket.unsold, [1]);
        assert_eq!(basket.cost_minor, money(4_500));
        assert_eq!(way.without(), "2");
        assert!(Way::read(None, "two").is_err());
    }

    #[test]
    fn more_suppliers_than_can_be_compared_still_sell() {
        let offers: Vec<Offer> = (1..=200)
            .map(|id| offer(id, LEAD, id, 1, 100 + id))
            .collect();
        let basket = fill(&wants()[1..], &offers, &Way::default()).expect("a sum");
        assert_eq!(basket.lines[0].packs, 6);
        assert_eq!(basket.cost_minor, money(6 * 101 + 500));
    }

    #[test]
    fn what_can_not_be_counted_is_not_bought() {
        let offers = [offer(1, LEAD, 1, 1, Money::MAX)];
        let basket = fill(&wants()[1..], &offers, &Way::default()).expect("a sum");
        assert_eq!(basket.unsold, [0]);
        assert_eq!(basket.cost_minor, Money::ZERO);
    }
}
