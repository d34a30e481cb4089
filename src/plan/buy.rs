//! What a shortfall costs in the packs that are sold.
//!
//! # Contract
//! A shortfall is an amount of one part: a count, or a length in µm that may be made up
//! from any lengths (cable by the reel; bars that must be cut from one piece belong to
//! [`crate::plan::cut`]). It is covered from **one** offer: its amount is rounded up to
//! whole packs, to no fewer than the offer's least order. Among the offers the cheapest is
//! taken, then the one that leaves least over, then the one listed first.
//!
//! The answer says how far it can be from the best mix of offers: any mix pays at least the
//! lowest price per amount, so that price for the amount needed is the bound. Money is in
//! whole minor units; time is linear in the number of offers.
//!
//! # Example
//! Common practice, no source: leads sold five to a pack; six needed, ten bought.
//! ```
//! use tapewright::plan::buy::{Offer, cheapest};
//!
//! let fives = Offer { pack: 5, price_minor: 450, minimum_packs: 1 };
//! let bought = cheapest(6, &[fives]).unwrap().value;
//! assert_eq!((bought.packs, bought.cost_minor, bought.left_over), (2, 900, 4));
//! ```

use thiserror::Error;

use super::answer::{Bounded, Proof};

/// One way to buy a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Offer {
    /// What one pack holds: a count, or µm.
    pub pack: u64,
    /// What one pack costs, in minor units.
    pub price_minor: i64,
    /// The fewest packs that are sold at once; nought and one mean the same.
    pub minimum_packs: u64,
}

/// What to buy for one shortfall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Purchase {
    /// Which offer, by its place in the list given.
    pub offer: usize,
    /// How many packs of it.
    pub packs: u64,
    /// What they cost together, in minor units.
    pub cost_minor: i64,
    /// What remains after the shortfall is covered, in the offer's unit.
    pub left_over: u64,
}

/// Why a shortfall can't be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refusal {
    /// There is no offer for the part.
    #[error("nobody is known to sell this part; add an offer for it")]
    NoOffer,
    /// An offer makes no sense.
    #[error("offer {offer} holds nothing or has a price below nought; correct it")]
    BadOffer {
        /// Its place in the list given.
        offer: usize,
    },
    /// The sum is beyond what a price can be.
    #[error("the cost is beyond what can be counted; check the amount and the prices")]
    TooLarge,
}

/// The cheapest single offer that covers `needed`. Nothing needed costs nothing, but still
/// needs an offer to say what it would be bought from.
pub fn cheapest(needed: u64, offers: &[Offer]) -> Result<Bounded<Purchase, i64>, Refusal> {
    let mut best: Option<(i64, u64, usize, u64)> = None;
    let mut bound: Option<i64> = None;
    for (index, offer) in offers.iter().enumerate() {
        if offer.pack == 0 || offer.price_minor < 0 {
            return Err(Refusal::BadOffer { offer: index });
        }
        let Some((packs, cost_minor)) = price(needed, offer) else {
            continue;
        };
        let Some(bought) = packs.checked_mul(offer.pack) else {
            continue;
        };
        let candidate = (cost_minor, bought - needed, index, packs);
        if best.is_none_or(|best| candidate < best) {
            best = Some(candidate);
        }
        let share = i128::from(needed) * i128::from(offer.price_minor);
        let share = (share + i128::from(offer.pack) - 1) / i128::from(offer.pack);
        // Never above this offer's own cost, which is a sum of money that fits.
        let share = i64::try_from(share).unwrap_or(cost_minor);
        bound = Some(bound.map_or(share, |bound| bound.min(share)));
    }
    match (best, bound) {
        (Some((cost_minor, left_over, offer, packs)), Some(bound)) => Ok(Bounded {
            value: Purchase {
                offer,
                packs,
                cost_minor,
                left_over,
            },
            proof: Proof::from_bound(&cost_minor, bound),
        }),
        _ if offers.is_empty() => Err(Refusal::NoOffer),
        _ => Err(Refusal::TooLarge),
    }
}

/// Packs and cost of `needed` from one offer; `None` when they can't be counted.
fn price(needed: u64, offer: &Offer) -> Option<(u64, i64)> {
    if needed == 0 {
        return Some((0, 0));
    }
    let packs = needed.div_ceil(offer.pack).max(offer.minimum_packs);
    let cost = i64::try_from(packs).ok()?.checked_mul(offer.price_minor)?;
    Some((packs, cost))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn offer(pack: u64, price_minor: i64, minimum_packs: u64) -> Offer {
        Offer {
            pack,
            price_minor,
            minimum_packs,
        }
    }

    #[test]
    fn packs_are_rounded_up_and_the_rest_is_named() {
        // Common practice, no source: leads come in packs.
        let answer = cheapest(6, &[offer(5, 450, 1)]).expect("there is an offer");
        assert_eq!(
            answer.value,
            Purchase {
                offer: 0,
                packs: 2,
                cost_minor: 900,
                left_over: 4
            }
        );
        // One pack and a fifth is the least that any mix could cost.
        assert_eq!(answer.proof, Proof::Within { bound: 540 });
    }

    #[test]
    fn the_least_order_counts_and_equal_costs_leave_less_over() {
        let offers = [offer(10, 300, 3), offer(5, 450, 0), offer(6, 900, 1)];
        let answer = cheapest(6, &offers).expect("there is an offer").value;
        assert_eq!(
            (answer.offer, answer.cost_minor, answer.left_over),
            (2, 900, 0)
        );
    }

    #[test]
    fn what_cannot_be_bought_says_why() {
        assert_eq!(cheapest(1, &[]), Err(Refusal::NoOffer));
        assert_eq!(
            cheapest(1, &[offer(1, 1, 1), offer(0, 1, 1)]),
            Err(Refusal::BadOffer { offer: 1 })
        );
        assert_eq!(
            cheapest(u64::MAX, &[offer(1, i64::MAX, 1)]),
            Err(Refusal::TooLarge)
        );
    }

    /// The cheapest mix of offers that covers the amount, by trying every one.
    fn cheapest_mix(needed: u64, offers: &[Offer]) -> i64 {
        if needed == 0 {
            return 0;
        }
        let Some((first, others)) = offers.split_first() else {
            return i64::MAX;
        };
        (0..=needed.div_ceil(first.pack).max(first.minimum_packs))
            .filter(|&packs| packs == 0 || packs >= first.minimum_packs)
            .filter_map(|packs| {
                let cost = i64::try_from(packs).ok()?.checked_mul(first.price_minor)?;
                cheapest_mix(needed.saturating_sub(packs * first.pack), others).checked_add(cost)
            })
            .min()
            .unwrap_or(i64::MAX)
    }

    proptest! {
        #[test]
        fn covers_the_need_and_its_bound_holds_for_every_mix(
            needed in 0_u64..30,
            offers in proptest::collection::vec((1_u64..8, 0_i64..20, 0_u64..4), 1..4),
        ) {
            let offers: Vec<_> = offers.into_iter().map(|(p, m, l)| offer(p, m, l)).collect();
            let answer = cheapest(needed, &offers).expect("there is an offer");
            let chosen = offers[answer.value.offer];
            prop_assert_eq!(answer.value.packs * chosen.pack, needed + answer.value.left_over);
            let mix = cheapest_mix(needed, &offers);
            prop_assert!(mix <= answer.value.cost_minor);
            match answer.proof {
                Proof::Proven => prop_assert_eq!(mix, answer.value.cost_minor),
                Proof::Within { bound } => prop_assert!(bound <= mix),
                Proof::Open { .. } => prop_assert!(false, "there is always a bound"),
            }
        }
    }
}
