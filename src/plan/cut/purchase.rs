//! Which rolls can be enough: from the least money on, purchases that no price vector refutes.
//!
//! # Method
//! Whatever bars are worth, the rolls bought must hold what the pieces on hand can't (J. F. Benders,
//! Numerische Mathematik 4, 1962: a cut of the feasible purchases for each price vector). The cheapest
//! purchase that all cuts allow is searched depth first in whole numbers; its money is a bound on all
//! plans, which is often higher than the linear program's: it is a sum of prices. What one purchase is
//! known not to hold, no smaller one does.

use super::pattern::Instance;

/// Purchases looked at in one search before it gives up.
const MOST_LOOKED: u64 = 100_000;

/// Purchases given one after the other before a list of them is given up.
const MOST_PASSED: usize = 100;

/// A kind of roll.
#[derive(Debug, Clone, Copy)]
pub(super) struct Offer {
    pub class: usize,
    pub price: i128,
    pub most: u32,
}

/// What rolls must hold in a price vector, and what each kind of roll holds at most.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    /// How good it is among the others.
    pub worth: i128,
    pub need: i128,
    /// By offer; never below nought.
    pub holds: Vec<i128>,
}

/// The rolls that can be bought, longer ones first, which leave the least beside each other.
pub(super) fn offers(instance: &Instance) -> Vec<Offer> {
    let bars: u32 = instance.demand.iter().sum();
    let mut offers: Vec<Offer> = (instance.classes.iter().enumerate())
        .filter_map(|(class, of)| {
            Some(Offer {
                class,
                price: of.price_minor?.into(),
                most: of.available.map_or(bars, |many| many.min(bars)),
            })
        })
        .collect();
    offers.sort_by_key(|offer| -instance.classes[offer.class].units);
    offers
}

impl Cut {
    /// What rolls must hold where all bars are worth so much, and a class holds so much at most.
    pub fn new(
        instance: &Instance,
        worth: i128,
        need: i128,
        holds: &[i64],
        offers: &[Offer],
    ) -> Self {
        let in_stock: i128 = (instance.classes.iter().zip(holds))
            .filter(|(class, _)| class.price_minor.is_none())
            .map(|(class, &holds)| i128::from(class.available.unwrap_or(0)) * i128::from(holds))
            .sum();
        let holds = offers.iter().map(|offer| holds[offer.class].into());
        Self {
            worth,
            need: need - in_stock,
            holds: holds.collect(),
        }
    }
}

/// How many of each kind of roll, and what they cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Purchase {
    pub money: i128,
    /// By offer.
    pub many: Vec<u32>,
}

#[derive(Debug)]
pub(super) struct Purchases {
    pub offers: Vec<Offer>,
    cuts: Vec<Cut>,
    /// Neither these nor smaller ones are given again.
    pub passed: Vec<Vec<u32>>,
    /// Purchases looked at in the last search.
    pub looked: u64,
}

/// More cuts than this are not kept: the ones that were worth least give way.
const MOST_CUTS: usize = 20;

/// A search in progress.
struct Search<'a> {
    of: &'a Purchases,
    many: Vec<u32>,
    best: Option<Purchase>,
    below: i128,
    looked: u64,
}

impl Purchases {
    pub fn new(offers: Vec<Offer>) -> Self {
        Self {
            offers,
            cuts: Vec::new(),
            passed: Vec::new(),
            looked: 0,
        }
    }

    pub fn add(&mut self, cut: Cut) {
        self.cuts.push(cut);
        if self.cuts.len() > MOST_CUTS {
            let least = (0..self.cuts.len()).min_by_key(|&at| self.cuts[at].worth);
            self.cuts.remove(least.unwrap_or(0));
        }
    }

    /// The cheapest purchase below so much money; `Err` where too many would have to be looked at.
    pub fn cheapest(&mut self, below: i128) -> Result<Option<Purchase>, ()> {
        let mut search = Search {
            many: vec![0; self.offers.len()],
            best: None,
            below,
            looked: 0,
            of: self,
        };
        let needs: Vec<i128> = self.cuts.iter().map(|cut| cut.need).collect();
        search.from(0, 0, &needs);
        let Search { best, looked, .. } = search;
        self.looked = looked;
        if looked > MOST_LOOKED {
            return Err(());
        }
        Ok(best)
    }

    /// Every purchase of exactly so much money that can be enough, where none that costs less is and
    /// no roll is free; `None` where there are more than `most`, or it takes too long to tell.
    pub fn all_of(mut self, money: i128, most: usize) -> Option<Vec<Vec<u32>>> {
        let mut all = Vec::new();
        for _ in 0..MOST_PASSED {
            let Some(found) = self.cheapest(money + 1).ok()? else {
                return Some(all);
            };
            if found.money == money {
                if all.len() == most {
                    return None;
                }
                all.push(found.many.clone());
            }
            self.passed.push(found.many);
        }
        None
    }
}

impl Search<'_> {
    /// What is still needed costs so much at least that nothing better can come of it.
    fn is_dear(&self, at: usize, money: i128, needs: &[i128]) -> bool {
        let room = self.below - money;
        room <= 0
            || self.of.cuts.iter().zip(needs).any(|(cut, &need)| {
                // Every offer that is left holds too little for its price.
                need > 0
                    && (at..self.of.offers.len()).all(|offer| {
                        let holds = cut.holds[offer];
                        need.saturating_mul(self.of.offers[offer].price)
                            > holds.saturating_mul(room - 1)
                    })
            })
    }

    fn from(&mut self, at: usize, money: i128, needs: &[i128]) {
        self.looked += 1;
        if self.looked > MOST_LOOKED || self.is_dear(at, money, needs) {
            return;
        }
        let Some(&Offer { price, most, .. }) = self.of.offers.get(at) else {
            self.ended(money, needs);
            return;
        };
        // More than what is needed only where less was passed already.
        let holds = |cut: usize| self.of.cuts[cut].holds[at];
        let enough = (0..needs.len())
            .filter(|&cut| needs[cut] > 0 && holds(cut) > 0)
            .map(|cut| needs[cut].div_euclid(holds(cut)) + 1)
            .max()
            .unwrap_or(0);
        let passed = self.of.passed.iter().map(|many| i128::from(many[at]) + 1);
        let affordable = if price > 0 {
            (self.below - 1 - money) / price
        } else {
            i128::from(most)
        };
        let limit = enough
            .max(passed.max().unwrap_or(0))
            .min(affordable)
            .min(most.into());
        for many in (0..=limit).rev() {
            self.many[at] = u32::try_from(many).unwrap_or(0);
            let needs: Vec<i128> = needs
                .iter()
                .enumerate()
                .map(|(cut, need)| need - many * self.of.cuts[cut].holds[at])
                .collect();
            self.from(at + 1, money + many * price, &needs);
        }
        self.many[at] = 0;
    }

    fn ended(&mut self, money: i128, needs: &[i128]) {
        let passed = |known: &Vec<u32>| self.many.iter().zip(known).all(|(a, b)| a <= b);
        if needs.iter().any(|&need| need > 0) || self.of.passed.iter().any(passed) {
            return;
        }
        self.below = money;
        self.best = Some(Purchase {
            money,
            many: self.many.clone(),
        });
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn asked(offers: &[(i128, u32)], cuts: &[(i128, Vec<i128>)], passed: &[Vec<u32>]) -> Purchases {
        let offers = offers.iter().enumerate();
        let mut purchases = Purchases::new(
            offers
                .map(|(class, &(price, most))| Offer { class, price, most })
                .collect(),
        );
        for (need, holds) in cuts {
            purchases.add(Cut {
                worth: 0,
                need: *need,
                holds: holds.clone(),
            });
        }
        purchases.passed = passed.to_vec();
        purchases
    }

    /// Every number of every offer.
    fn every(offers: &[(i128, u32)]) -> Vec<Vec<u32>> {
        offers.iter().fold(vec![Vec::new()], |all, &(_, most)| {
            all.iter()
                .flat_map(|before| (0..=most).map(|many| [before.as_slice(), &[many]].concat()))
                .collect()
        })
    }

    fn money(offers: &[(i128, u32)], many: &[u32]) -> i128 {
        let each = offers.iter().zip(many);
        each.map(|(&(price, _), &many)| price * i128::from(many))
            .sum()
    }

    // By hand: ten at 100 and fifteen at 140 must hold 15 (two tens cost 200), then 20.
    #[test]
    fn the_cheapest_purchase_holds_what_is_needed() {
        let offers = [(140, 9), (100, 9)];
        let cheapest = |need: i128, passed: &[Vec<u32>]| {
            let cuts = [(need, vec![15, 10])];
            let found = asked(&offers, &cuts, passed).cheapest(1_000).expect("few");
            found.map(|found| (found.money, found.many))
        };
        assert_eq!(cheapest(15, &[]), Some((140, vec![1, 0])));
        assert_eq!(cheapest(20, &[]), Some((200, vec![0, 2])));
        assert_eq!(cheapest(15, &[vec![1, 0]]), Some((200, vec![0, 2])));
        assert_eq!(cheapest(300, &[]), None);
    }

    proptest! {
        #[test]
        fn all_of_the_least_money_that_are_enough_are_found(
            prices in proptest::collection::vec(1_i128..5, 1..4),
            need in 0_i128..12,
            enough in 0_i128..12,
        ) {
            let offers: Vec<_> = prices.iter().map(|&price| (price, 4)).collect();
            let holds: Vec<i128> = (1..).take(offers.len()).collect();
            let held = |many: &[u32]| -> i128 {
                holds.iter().zip(many).map(|(holds, &many)| holds * i128::from(many)).sum()
            };
            // What price vectors tell may be less than what is truly needed.
            let (need, enough) = (need.min(enough), need.max(enough));
            let every = every(&offers);
            let truly = every.iter().filter(|many| held(many) >= enough);
            let Some(least) = truly.map(|many| money(&offers, many)).min() else {
                return Ok(());
            };
            let mut wanted: Vec<_> = every
                .into_iter()
                .filter(|many| money(&offers, many) == least && held(many) >= need)
                .collect();
            wanted.sort();
            let asked = asked(&offers, &[(need, holds.clone())], &[]);
            if let Some(mut found) = asked.all_of(least, usize::MAX) {
                found.sort();
                prop_assert_eq!(found, wanted);
            }
        }

        #[test]
        fn it_is_the_cheapest_of_all(
            offers in proptest::collection::vec((0_i128..9, 0_u32..5), 1..4),
            cuts in proptest::collection::vec(
                (0_i128..40, proptest::collection::vec(0_i128..9, 3)), 0..3),
            passed in proptest::collection::vec(proptest::collection::vec(0_u32..4, 3), 0..3),
            below in 0_i128..60,
        ) {
            let cuts: Vec<_> = cuts
                .into_iter()
                .map(|(need, holds)| (need, holds[..offers.len()].to_vec()))
                .collect();
            let passed: Vec<_> = passed.iter().map(|many| many[..offers.len()].to_vec()).collect();
            let found = asked(&offers, &cuts, &passed).cheapest(below).expect("few");
            let best = every(&offers)
                .into_iter()
                .filter(|many| {
                    cuts.iter().all(|(need, holds)| {
                        let held = holds.iter().zip(many);
                        held.map(|(holds, &many)| holds * i128::from(many)).sum::<i128>() >= *need
                    }) && !passed
                        .iter()
                        .any(|passed| many.iter().zip(passed).all(|(a, b)| a <= b))
                })
                .map(|many| money(&offers, &many))
                .filter(|&money| money < below)
                .min();
            prop_assert_eq!(found.map(|found| found.money), best);
        }
    }
}
