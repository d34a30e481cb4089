//! Money from below: each purchase that could be enough is packed or refuted, the cheapest first.

use super::{
    super::{
        bins::Bins,
        pattern::{Counts, Instance},
        purchase::{Cut, Offer, Purchase, Purchases},
        search::Solution,
        start::complete,
    },
    Cost, Done, Dual, Level, Levels, What,
};

/// Purchases tried before the rest is left to other searches.
const MOST_TRIED: usize = 24;
/// Steps for filling the pieces of one purchase.
const STEPS_FILLING: u64 = 6_000;
/// Steps for bounding and branching on one purchase.
const STEPS_REFUTING: u64 = 60_000;

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

    /// What rolls must hold in a price vector.
    fn cut(&self, dual: &Dual, offers: &[Offer]) -> Cut {
        let in_stock: i128 = (self.instance.classes.iter().zip(&dual.holds))
            .filter(|(class, _)| class.price_minor.is_none())
            .map(|(class, &holds)| i128::from(class.available.unwrap_or(0)) * i128::from(holds))
            .sum();
        Cut {
            need: dual.weights.worth_of(&self.instance.demand) - in_stock,
            holds: offers
                .iter()
                .map(|offer| dual.holds[offer.class].into())
                .collect(),
        }
    }

    /// Tries purchases from the cheapest on; gives what no plan is below.
    pub(super) fn buy(&mut self, dual: &Dual) -> i128 {
        let mut least = self.least(dual);
        let bars: u32 = self.instance.demand.iter().sum();
        let mut offers: Vec<Offer> = (self.instance.classes.iter().enumerate())
            .filter_map(|(class, of)| {
                Some(Offer {
                    class,
                    price: of.price_minor?.into(),
                    most: of.available.map_or(bars, |many| many.min(bars)),
                })
            })
            .collect();
        // Longer ones first, which leave the least beside each other.
        offers.sort_by_key(|offer| -self.instance.classes[offer.class].units);
        let mut purchases = Purchases {
            cuts: vec![self.cut(dual, &offers)],
            offers,
            passed: Vec::new(),
            looked: 0,
        };
        let mut seeds: Vec<(usize, Counts)> = Vec::new();
        for what in &self.what {
            if let What::Cut { class, counts, .. } = what {
                seeds.push((*class, counts.clone()));
            }
        }
        let mut all_refuted = true;
        for _ in 0..MOST_TRIED {
            if self.spent() {
                break;
            }
            let found = purchases.cheapest(self.value());
            self.steps += 1 + purchases.looked / 8;
            let Ok(found) = found else {
                break;
            };
            let money = found.as_ref().map_or(self.value(), |found| found.money);
            if all_refuted {
                least = least.max(money);
            }
            let Some(purchase) = found else {
                break;
            };
            match self.tried(&purchase, &purchases.offers, &mut seeds) {
                Tried::Packed(solution) => {
                    self.offer(solution);
                    break;
                }
                Tried::Refuted(cut) => {
                    purchases.cuts.extend(cut);
                    purchases.passed.push(purchase.many);
                }
                Tried::Unknown => {
                    all_refuted = false;
                    purchases.passed.push(purchase.many);
                }
            }
        }
        least
    }

    /// Packs all bars into the pieces on hand and those of a purchase, or shows that they don't fit.
    fn tried(
        &mut self,
        purchase: &Purchase,
        offers: &[Offer],
        seeds: &mut Vec<(usize, Counts)>,
    ) -> Tried {
        let mut fixed: Instance = self.instance.clone();
        for (offer, &many) in offers.iter().zip(&purchase.many) {
            fixed.classes[offer.class].available = Some(many);
        }
        let many: Vec<u32> = fixed
            .classes
            .iter()
            .map(|class| class.available.unwrap_or(0))
            .collect();
        let mut start = None;
        if let Some(mut bins) = Bins::new(&fixed, &many) {
            let most = (self.most_steps - self.steps.min(self.most_steps)).min(STEPS_FILLING);
            let packed = bins.pack(most, self.stop);
            self.steps += bins.steps();
            let (pieces, short) = bins.packed();
            let solution = Solution {
                cost: Cost::default(),
                pieces,
                short,
            };
            if packed {
                return Tried::Packed(solution);
            }
            start = Some(solution);
        }
        let mut start = start.unwrap_or_else(|| {
            let available: Vec<_> = many.iter().map(|&many| Some(many)).collect();
            complete(&fixed, self.arrangements, &fixed.demand, &available)
        });
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
            if many[*class] > 0 {
                levels.pattern(*class, counts);
            }
        }
        levels.enough = 1;
        let done = levels.prove(Level::Short, |_, _| false);
        seeds.clear();
        for what in &levels.what {
            if let What::Cut { class, counts, .. } = what {
                seeds.push((*class, counts.clone()));
            }
        }
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
            let cut = dual.map(|dual| self.cut(dual, offers));
            Tried::Refuted(cut)
        } else {
            Tried::Unknown
        }
    }
}
