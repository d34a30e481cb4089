//! What bars are worth, whichever of them are wanted: a bound on the money for any part of a
//! problem's bars.
//!
//! # Method
//! Weights of bars bound the money whatever is wanted ([`super::bound`]): what pieces hold of them at
//! most does not grow where fewer bars are wanted. Weights that are made once, for all bars, bound
//! each choice of some of them. Rolls are bought whole: the bound is what the cheapest of them cost
//! together that hold enough ([`super::purchase`]).

use super::{
    Problem, Refusal,
    bound::{Bounds, Weighting},
    check, column,
    pattern::Instance,
    purchase::{Cut, Offer, Purchases, offers},
};

/// One set of weights, with the money that follows from what bars weigh.
#[derive(Debug)]
pub struct Worth {
    /// What one bar weighs, by want; never below nought.
    pub of_want: Vec<i64>,
    /// What pieces on hand hold at most.
    in_stock: i64,
    weighting: Weighting,
    offers: Vec<Offer>,
}

impl Worth {
    /// The least money for rolls that serve bars of so much weight together, none of them left
    /// short. The bars must be some of the problem's.
    pub fn least_money(&self, weight: i64) -> i64 {
        let bound = self.weighting.money(weight, self.in_stock, 0);
        self.cheapest(weight)
            .map_or(bound, |purchase| purchase.max(bound))
    }

    /// What the cheapest whole rolls cost that hold so much beside the pieces on hand, where that
    /// can be told.
    fn cheapest(&self, weight: i64) -> Option<i64> {
        let need = i128::from(weight) - i128::from(self.in_stock);
        let holds = self
            .offers
            .iter()
            .map(|offer| self.weighting.capacity[offer.class]);
        let holds: Vec<i128> = holds.map(i128::from).collect();
        let of_one = self
            .offers
            .iter()
            .zip(&holds)
            .filter(|(_, holds)| **holds > 0);
        let enough = of_one
            .map(|(offer, holds)| offer.price * (need.max(0) / holds + 1))
            .min()?;
        let mut purchases = Purchases::new(self.offers.clone());
        purchases.add(Cut {
            worth: 0,
            need,
            holds,
        });
        let found = purchases.cheapest(enough + 1).ok()??;
        i64::try_from(found.money).ok()
    }
}

/// Weights of a problem's bars, each good for a bound of its own.
pub fn worths(problem: &Problem) -> Result<Vec<Worth>, Refusal> {
    check(problem)?;
    let instance = Instance::new(problem);
    let mut bounds = Bounds::new(&instance, &|| false);
    if let Some(relaxation) = column::relax(&instance) {
        bounds.add(&instance, relaxation.weight);
    }
    let worth = |weighting: Weighting| {
        let mut of_want = vec![0; problem.wants.len()];
        for (wants, weight) in instance.wants_of.iter().zip(&weighting.weight) {
            for &want in wants {
                of_want[want] = *weight;
            }
        }
        let in_stock = instance.classes.iter().zip(&weighting.capacity);
        let in_stock = in_stock
            .filter(|(class, _)| class.price_minor.is_none())
            .map(|(class, capacity)| {
                capacity.saturating_mul(i64::from(class.available.unwrap_or(0)))
            })
            .fold(0, i64::saturating_add);
        Worth {
            of_want,
            in_stock,
            weighting,
            offers: offers(&instance),
        }
    };
    Ok(bounds.into_weightings().into_iter().map(worth).collect())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::plan::cut::{Budget, End, Fed, Roll, SolderWeights, Stock, Want, plan};

    fn stock(units: u64) -> Stock {
        Stock {
            units,
            start: End::Bare,
            end: End::Bare,
            joints: None,
        }
    }

    fn problem(pieces: &[u64], rolls: &[(u64, i64)], wants: &[(u64, u32)], kerf: u64) -> Problem {
        Problem {
            stock: pieces.iter().map(|&units| stock(units)).collect(),
            rolls: rolls
                .iter()
                .map(|&(units, price_minor)| Roll {
                    piece: stock(units),
                    price_minor,
                    quantity: None,
                })
                .collect(),
            wants: wants
                .iter()
                .map(|&(units, quantity)| Want {
                    units,
                    quantity,
                    fed: Fed::OneEnd,
                })
                .collect(),
            usable_units: 1,
            kerf_units: kerf,
            trim_units: 0,
            weights: SolderWeights::NONE,
        }
    }

    fn least(worths: &[Worth], served: &[u32]) -> i64 {
        let each = worths.iter().map(|worth| {
            let weights = worth.of_want.iter().zip(served);
            worth.least_money(weights.map(|(worth, many)| worth * i64::from(*many)).sum())
        });
        each.max().unwrap_or(0)
    }

    // Six of six units from rolls of ten: one from each. Three of them need three rolls.
    #[test]
    fn what_leaves_too_much_over_needs_a_roll_each() {
        let worths = worths(&problem(&[], &[(10, 7)], &[(6, 6)], 0)).unwrap();
        assert_eq!(least(&worths, &[6]), 42);
        assert_eq!(least(&worths, &[3]), 21);
        assert_eq!(least(&worths, &[0]), 0);
    }

    proptest! {
        /// No plan for some of the bars costs less than what they are worth.
        #[test]
        fn no_plan_for_some_of_the_bars_costs_less(
            pieces in prop::collection::vec(3_u64..20, 0..4),
            rolls in prop::collection::vec((12_u64..30, 1_i64..40), 1..3),
            wants in prop::collection::btree_map(2_u64..12, (1_u32..5, 0_u32..5), 1..4),
            kerf in 0_u64..2,
        ) {
            let all: Vec<_> = wants.iter().map(|(&units, &(many, _))| (units, many)).collect();
            let some: Vec<u32> = wants.values().map(|&(many, some)| some.min(many)).collect();
            let worths = worths(&problem(&pieces, &rolls, &all, kerf)).unwrap();
            let wanted: Vec<_> = (all.iter().zip(&some)).map(|((units, _), &some)| (*units, some)).collect();
            let best = plan(&problem(&pieces, &rolls, &wanted, kerf), Budget::USUAL).unwrap();
            prop_assert!(best.short.is_empty());
            prop_assert!(least(&worths, &some) <= best.purchase_minor);
        }
    }
}
