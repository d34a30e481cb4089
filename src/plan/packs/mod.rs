//! The cheapest set of packs for everything that is short, delivery included.
//!
//! # Contract
//! Each [`Want`] is an amount of one part (a count, or a length made up from any lengths) and the
//! offers that serve it, which may be mixed. A [`Supplier`] charges for a delivery unless the goods
//! bought there reach the sum from which it is free. [`cheapest`] covers every want for the least
//! money, goods and deliveries together ([`Aim::Money`]), or with the fewest parcels and then the
//! least money ([`Aim::Parcels`]); of equal answers the one with fewer parcels, then the one found
//! first in the order of the suppliers given. Money is in whole minor units.
//!
//! # Method
//! Each supplier is left out, paid for its delivery, or filled up to its free sum; the ways are
//! gone through by branch and bound, bounded from below by what the wants cost at the suppliers
//! that are still open and by the deliveries that are decided. Where nobody is filled up the wants
//! part from each other: each is a covering problem of its own, solved by branch and bound over
//! its offers. Where somebody is, the mixes of each want that the money allows are joined want by
//! want, one label for each sum spent at those suppliers (a shortest path over sums).
//!
//! # Proof
//! The answer is proven when the search ended; a search that used up its steps keeps the best
//! found (at worst the cheapest single offer of each want), and the bound of the root where that
//! was reached: no set of packs can cost less.
//!
//! # Example
//! Two parts, each a penny dearer at the second supplier: one delivery is cheaper than two.
//! ```
//! use tapewright::plan::packs::{Aim, Offer, Question, Supplier, Want, cheapest};
//!
//! let charge = Supplier { delivery_minor: 500, free_from_minor: None };
//! let offer = |supplier, price_minor| Offer { supplier, pack: 1, price_minor, minimum_packs: 1 };
//! let want = |first, second| Want {
//!     needed: 1,
//!     offers: vec![offer(0, first), offer(1, second)],
//! };
//! let asked = Question {
//!     suppliers: vec![charge, charge],
//!     wants: vec![want(100, 101), want(200, 199)],
//! };
//! let best = cheapest(&asked, Aim::Money, 10_000).unwrap();
//! assert!(best.proof.is_proven());
//! assert_eq!((best.value.cost_minor, best.value.parcels), (800, 1));
//! ```

mod one;
mod several;
#[cfg(test)]
mod tests;

use thiserror::Error;

use super::answer::Bounded;
use crate::model::text::words;

/// The most suppliers in one question.
pub const SUPPLIER_LIMIT: usize = 64;

/// The largest amount and sum of money that is reckoned with.
pub const AMOUNT_LIMIT: u64 = 1_000_000_000_000;

/// Who sells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Supplier {
    /// The charge of one delivery, in minor units.
    pub delivery_minor: i64,
    /// From which sum of goods on the delivery is free, if it ever is.
    pub free_from_minor: Option<i64>,
}

impl Supplier {
    /// What the delivery of goods of this worth costs.
    pub fn delivery(&self, goods_minor: i64) -> i64 {
        match self.free_from_minor {
            Some(from) if goods_minor >= from => 0,
            _ => self.delivery_minor,
        }
    }
}

/// A pack that a supplier sells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Offer {
    /// Who, by place in the list of suppliers.
    pub supplier: usize,
    /// What one pack holds: a count, or µm.
    pub pack: u64,
    /// What one costs, in minor units.
    pub price_minor: i64,
    /// The fewest that are sold at once; nought and one mean the same.
    pub minimum_packs: u64,
}

/// An amount of one part, and who sells it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Want {
    /// How much, in the unit of the packs; above nought.
    pub needed: u64,
    /// The offers, which may be mixed.
    pub offers: Vec<Offer>,
}

/// What is to be bought, and where it can be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Who sells.
    pub suppliers: Vec<Supplier>,
    /// What is short.
    pub wants: Vec<Want>,
}

words! {
    /// What counts first.
    Aim {
        /// The least money.
        Money = "money", "least money";
        /// The fewest parcels, then the least money.
        Parcels = "parcels", "fewest parcels";
    }
}

impl Aim {
    /// The other one, to compare.
    pub const fn other(self) -> Self {
        match self {
            Self::Money => Self::Parcels,
            Self::Parcels => Self::Money,
        }
    }
}

/// Packs of one offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Line {
    /// Which want, by its place.
    pub want: usize,
    /// Which of its offers, by its place.
    pub offer: usize,
    /// How many packs.
    pub packs: u64,
}

/// What to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// Packs, in the order of the wants and of their offers.
    pub lines: Vec<Line>,
    /// What the goods of each supplier cost.
    pub goods_minor: Vec<i64>,
    /// What the delivery of each supplier costs; nought where nothing is bought.
    pub delivery_minor: Vec<i64>,
    /// Goods and deliveries together.
    pub cost_minor: i64,
    /// How many suppliers send something.
    pub parcels: usize,
    /// What is left over of each want.
    pub left_over: Vec<u64>,
}

/// Why a question has no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refusal {
    /// Nobody sells it.
    #[error("nobody sells what is wanted in place {want}; add an offer for it")]
    NoOffer {
        /// Its place.
        want: usize,
    },
    /// A want makes no sense.
    #[error("the amount wanted in place {want} is nought or beyond what can be counted")]
    BadAmount {
        /// Its place.
        want: usize,
    },
    /// An offer makes no sense.
    #[error(
        "offer {offer} of place {want} holds nothing, has a price below nought, or nobody sells it"
    )]
    BadOffer {
        /// Its want.
        want: usize,
        /// Its place.
        offer: usize,
    },
    /// A supplier makes no sense.
    #[error("the delivery of supplier {supplier} costs less than nothing")]
    BadSupplier {
        /// Its place.
        supplier: usize,
    },
    /// Too many suppliers.
    #[error("at most {SUPPLIER_LIMIT} suppliers can be compared at once; leave some out")]
    TooMany,
}

/// The cheapest packs for everything wanted. `steps` bounds the work, which is counted and not
/// timed, so that the same question has the same answer on every machine.
pub fn cheapest(asked: &Question, aim: Aim, steps: u64) -> Result<Bounded<Choice, i64>, Refusal> {
    check(asked)?;
    // Each want was found to have an offer.
    several::solve(asked, aim, steps).ok_or(Refusal::NoOffer { want: 0 })
}

fn check(asked: &Question) -> Result<(), Refusal> {
    if asked.suppliers.len() > SUPPLIER_LIMIT {
        return Err(Refusal::TooMany);
    }
    let money = 0..=i64::try_from(AMOUNT_LIMIT).unwrap_or(i64::MAX);
    for (supplier, it) in asked.suppliers.iter().enumerate() {
        if !money.contains(&it.delivery_minor) || it.free_from_minor.is_some_and(|from| from < 0) {
            return Err(Refusal::BadSupplier { supplier });
        }
    }
    for (want, it) in asked.wants.iter().enumerate() {
        if !(1..=AMOUNT_LIMIT).contains(&it.needed) {
            return Err(Refusal::BadAmount { want });
        }
        if it.offers.is_empty() {
            return Err(Refusal::NoOffer { want });
        }
        for (offer, sold) in it.offers.iter().enumerate() {
            let sound = (1..=AMOUNT_LIMIT).contains(&sold.pack)
                && money.contains(&sold.price_minor)
                && sold.minimum_packs <= 1_000_000
                && sold.supplier < asked.suppliers.len();
            // The whole of it from this offer must be a sum of money.
            let packs = it.needed.div_ceil(sold.pack.max(1)).max(sold.minimum_packs);
            let sum = i128::from(packs) * i128::from(sold.price_minor);
            if !sound || sum > i128::from(AMOUNT_LIMIT) {
                return Err(Refusal::BadOffer { want, offer });
            }
        }
    }
    Ok(())
}

/// Steps that are still to be used.
struct Steps {
    left: u64,
}

impl Steps {
    /// Takes one; `false` when none is left.
    fn take(&mut self) -> bool {
        let some = self.left > 0;
        self.left = self.left.saturating_sub(1);
        some
    }

    /// Takes several; `false` when none is left.
    fn take_many(&mut self, many: u64) -> bool {
        let some = self.left > 0;
        self.left = self.left.saturating_sub(many);
        some
    }

    fn used_up(&self) -> bool {
        self.left == 0
    }
}
