//! Money from below: each purchase that could be enough is packed or refuted, the cheapest first.

use super::{
    super::{
        bins::Bins,
        pattern::{Counts, Instance},
        purchase::{Cut, Offer, Purchase, Purchases, offers},
        search::Solution,
        start::complete,
    },
    Cost, Done, Dual, Level, Levels, Run, What,
};

/// Purchases tried before the rest is left to other searches.
const MOST_TRIED: usize = 24;
/// Steps for filling the pieces of one purchase: a few, then more.
const STEPS_FILLING: u64 = 6_000;
const STEPS_FILLING_EARLY: u64 = 1_500;
/// Steps for bounding and branching on one purchase.
const STEPS_REFUTING: u64 = 60_000;

/// Rounds of pricing before purchases are looked at again.
const ROUNDS: u32 = 6;

/// What is known of a purchase.
enum Tried {
    /// It holds all bars.
    Packed(Solution),
    /// It does not, by these price vectors.
    Refuted(Option<Cut>),
    Unknown,
}

impl Levels<'_> {
    /// Whether what is bought is all that counts: no bar is short and nothing else is held.
    pub(super) fn only_buys(&self) -> bool {
        self.level == Level::Money && !self.may_be_short && !self.is_laid() && self.cap.is_none()
    }

    fn cut_by(&self, dual: &Dual, offers: &[Offer]) -> Cut {
        let need = dual.weights.worth_of(&self.instance.demand);
        let worth = dual.bound.div_euclid(dual.scale.into());
        Cut::new(self.instance, worth, need, &dual.holds, offers)
    }

    /// Takes in what a price vector says of purchases.
    pub(super) fn hear(&mut self, dual: &Dual) {
        if let Some(mut purchases) = self.purchases.take() {
            purchases.add(self.cut_by(dual, &purchases.offers));
            self.purchases = Some(purchases);
        }
    }

    /// Packs the cheapest purchase that price vectors allow so far, and looks for price vectors that
    /// refute it where that does not succeed, until either does or there are no better ones. Gives
    /// what no plan is below, and whether price vectors are as good as can be.
    pub(super) fn buy_early(&mut self, best: &mut Option<Dual>) -> (i128, bool) {
        let mut purchases = Purchases::new(offers(self.instance));
        for (weight, capacity) in &self.weighings {
            let need = (self.instance.demand.iter().zip(weight))
                .map(|(&many, &weight)| i128::from(many) * i128::from(weight))
                .sum();
            // The simplest are kept.
            purchases.add(Cut::new(
                self.instance,
                i128::MAX,
                need,
                capacity,
                &purchases.offers,
            ));
        }
        self.purchases = Some(purchases);
        let demand = self.instance.demand.clone();
        let (mut least, mut converged) = (0, false);
        let mut tried: Option<Purchase> = None;
        while !self.spent() {
            let Ok(found) = self.cheapest() else {
                break;
            };
            least = least.max(found.as_ref().map_or(self.value(), |found| found.money));
            let Some(purchase) = found else {
                break;
            };
            if tried.as_ref() != Some(&purchase) {
                let fixed = self.fixed(&purchase, &offers(self.instance));
                if let Some((solution, true)) = self.filled(&fixed, STEPS_FILLING_EARLY) {
                    self.offer(solution);
                }
                tried = Some(purchase);
            } else if converged {
                break;
            } else {
                match self.generate(&demand, ROUNDS, best) {
                    Run::Whole => converged = true,
                    Run::Cut => {}
                    Run::Stuck => break,
                }
            }
        }
        (least, converged)
    }

    /// The cheapest purchase below the best plan; `Err` where that is not known.
    fn cheapest(&mut self) -> Result<Option<Purchase>, ()> {
        let value = self.value();
        let purchases = self.purchases.as_mut().ok_or(())?;
        let found = purchases.cheapest(value);
        self.steps += 1 + purchases.looked / 8;
        found
    }

    /// Tries purchases from the cheapest on; gives what no plan is below.
    pub(super) fn buy(&mut self, mut least: i128) -> i128 {
        // With one kind of roll alone that is what branching looks for anyway.
        if self.instance.classes.len() == 1 {
            return least;
        }
        let mut seeds = self.seeds();
        let mut all_refuted = true;
        for _ in 0..MOST_TRIED {
            if self.spent() {
                break;
            }
            let Ok(found) = self.cheapest() else {
                break;
            };
            let money = found.as_ref().map_or(self.value(), |found| found.money);
            if all_refuted {
                least = least.max(money);
            }
            let Some(purchase) = found else {
                break;
            };
            let Some(mut purchases) = self.purchases.take() else {
                break;
            };
            match self.tried(&purchase, &purchases.offers, &mut seeds) {
                Tried::Packed(solution) => {
                    self.offer(solution);
                }
                Tried::Refuted(cut) => {
                    if let Some(cut) = cut {
                        purchases.add(cut);
                    }
                    purchases.passed.push(purchase.many);
                }
                Tried::Unknown => {
                    all_refuted = false;
                    purchases.passed.push(purchase.many);
                }
            }
            self.purchases = Some(purchases);
        }
        least
    }

    /// The patterns made so far.
    fn seeds(&self) -> Vec<(usize, Counts)> {
        let cut = |what: &What| match what {
            What::Cut { class, counts, .. } => Some((*class, counts.clone())),
            _ => None,
        };
        self.what.iter().filter_map(cut).collect()
    }

    /// The same question where only these rolls can be bought.
    fn fixed(&self, purchase: &Purchase, offers: &[Offer]) -> Instance {
        let mut fixed = self.instance.clone();
        for (offer, &many) in offers.iter().zip(&purchase.many) {
            fixed.classes[offer.class].available = Some(many);
        }
        fixed
    }

    /// Fills the pieces that there are, as far as it goes, and tells whether all bars fit; `None` where
    /// they are too long for it.
    fn filled(&mut self, fixed: &Instance, most: u64) -> Option<(Solution, bool)> {
        let many: Vec<u32> = (fixed.classes.iter())
            .map(|class| class.available.unwrap_or(0))
            .collect();
        let mut bins = Bins::new(fixed, &many)?;
        let most = most.min(self.most_steps.saturating_sub(self.steps));
        let packed = bins.pack(most, self.stop);
        self.steps += bins.steps();
        let (pieces, short) = bins.packed();
        let solution = Solution {
            cost: Cost::default(),
            pieces,
            short,
        };
        Some((solution, packed))
    }

    /// Packs all bars into the pieces on hand and those of a purchase, or shows that they don't fit.
    fn tried(
        &mut self,
        purchase: &Purchase,
        offers: &[Offer],
        seeds: &mut Vec<(usize, Counts)>,
    ) -> Tried {
        let fixed = self.fixed(purchase, offers);
        let mut start = if let Some((filled, _)) = self.filled(&fixed, STEPS_FILLING) {
            filled
        } else {
            let available: Vec<_> = fixed.classes.iter().map(|class| class.available).collect();
            complete(
                &fixed,
                self.arrangements,
                &fixed.demand,
                &available,
                self.stop,
            )
        };
        start.cost = super::total_cost(&fixed, self.arrangements, &start);
        if start.cost.short == 0 {
            return Tried::Packed(start);
        }
        let most = (self.most_steps - self.steps.min(self.most_steps)).min(STEPS_REFUTING);
        let Some(mut levels) = Levels::new(&fixed, self.arrangements, start, most, self.stop)
        else {
            return Tried::Unknown;
        };
        for (class, counts) in seeds.iter() {
            if fixed.classes[*class].available != Some(0) {
                levels.pattern(*class, counts);
            }
        }
        levels.enough = 1;
        let done = levels.prove(Level::Short, |_, _| false);
        *seeds = levels.seeds();
        let (spent, best, duals) = (levels.steps, levels.best, levels.duals);
        self.steps += spent;
        let refuted = match done.first() {
            Some(Done::Proven) => best.cost.short > 0,
            Some(Done::Bound(least)) => *least > 0,
            _ => false,
        };
        if best.cost.short == 0 {
            Tried::Packed(best)
        } else if refuted {
            let dual = duals.last().map(|(_, dual)| dual);
            let cut = dual.map(|dual| self.cut_by(dual, offers));
            Tried::Refuted(cut)
        } else {
            Tried::Unknown
        }
    }
}
