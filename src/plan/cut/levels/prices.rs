//! Pricing rounds, and the prices of the program in whole numbers with the bound that they give.

use std::rc::Rc;

use super::{
    super::{
        price::{Priced, Weights},
        simplex::Ended,
    },
    Dual, Level, Levels, Run, float, nearest,
};

impl Levels<'_> {
    /// Adds patterns until none promises anything, or `rounds` are over; the best bound is kept in `best` where the whole demand is asked for.
    pub(super) fn generate(&mut self, left: &[u32], rounds: u32, best: &mut Option<Dual>) -> Run {
        for round in 0.. {
            if self.spent() || round >= rounds {
                return Run::Cut;
            }
            let before = self.lp.steps;
            let ended = self.lp.primal(20_000);
            let rows = self.lp.rhs.len() as u64;
            self.steps += 1 + (self.lp.steps - before) * (1 + rows * rows / 1_024);
            if ended != Ended::Best {
                return Run::Stuck;
            }
            let Some(mut dual) = self.dual() else {
                return Run::Stuck;
            };
            let priced = self
                .pricer
                .price(self.instance, &dual.weights, left, |_| true);
            self.steps += 1 + self.pricer.work(&dual.weights) / 1_024;
            self.bound(&mut dual, &priced);
            let scale = float(dual.scale.into());
            let whole = left == self.instance.demand;
            if whole {
                self.hear(&dual);
            }
            if whole
                && best.as_ref().is_none_or(|known| {
                    dual.bound * i128::from(known.scale) > known.bound * i128::from(dual.scale)
                })
            {
                *best = Some(dual);
            }
            if whole
                && best
                    .as_ref()
                    .is_some_and(|dual| self.least(dual) >= self.goal())
            {
                return Run::Whole;
            }
            let mut added = false;
            for (class, priced) in priced.into_iter().enumerate() {
                let Some(priced) = priced else { continue };
                let own = self.class_row[class].map_or(0.0, |row| self.lp.prices[row]);
                let reduced = float(priced.reduced.into()) / scale / self.unit - own;
                if reduced > -1e-7 {
                    continue;
                }
                if !priced.bars.is_empty() {
                    self.arrangements
                        .offer(self.instance, class, &priced.counts, &priced.bars);
                }
                let proper: Vec<u32> = priced
                    .counts
                    .iter()
                    .zip(left)
                    .map(|(&count, &left)| count.min(left))
                    .collect();
                if proper != priced.counts && proper.iter().any(|&count| count > 0) {
                    added |= self.pattern(class, &Rc::from(proper)).1;
                }
                added |= self.pattern(class, &Rc::from(priced.counts)).1;
            }
            if !added {
                return Run::Whole;
            }
        }
        Run::Cut
    }

    /// Solves the program again where what is `left` has changed; gives what it costs.
    pub(super) fn again(&mut self, left: &[u32]) -> f64 {
        self.lp.revalue();
        let before = self.lp.steps;
        let ended = self.lp.dual(5_000);
        let rows = self.lp.rhs.len() as u64;
        self.steps += 1 + (self.lp.steps - before) * (1 + rows * rows / 1_024);
        if ended != Ended::Best {
            return f64::INFINITY;
        }
        self.generate(left, 6, &mut None);
        self.lp.cost() * self.unit
    }

    /// The prices of the program in whole numbers.
    fn dual(&self) -> Option<Dual> {
        let instance = self.instance;
        let unit = self.unit;
        let prices = &self.lp.prices;
        let longest = instance.classes.iter().map(|class| class.whole).max()?;
        let shortest = instance.kinds.iter().map(|kind| kind.units).min()?;
        let most = longest / shortest.max(1) + 1;
        let size = |level: Level| -> f64 {
            float(match level {
                Level::Short => 1,
                Level::Money => instance
                    .classes
                    .iter()
                    .filter_map(|class| class.price_minor)
                    .max()
                    .unwrap_or(0)
                    .into(),
                Level::Solder => i128::from(2 * instance.mark) * i128::from(most),
                Level::Scrap => longest.into(),
                Level::Offcuts => most.into(),
                Level::Squares => 4 * i128::from(longest) * i128::from(longest),
            })
        };
        // Held objectives may weigh something, never less than nought.
        let held: Vec<(Level, f64)> = self
            .held
            .iter()
            .filter(|(level, _)| *level != self.level)
            .map(|&(level, row)| (level, (-prices[row] * unit).max(0.0)))
            .chain([(self.level, 1.0)])
            .collect();
        let dearest = prices
            .iter()
            .take(instance.kinds.len())
            .fold(0.0_f64, |most, price| most.max(price.abs()))
            * unit;
        let largest = held
            .iter()
            .map(|&(level, weight)| weight * size(level))
            .sum::<f64>()
            + dearest * float(most.into())
            + 1.0;
        let mut scale = 1_i64 << 24;
        while scale > 1 && largest * float(scale.into()) > 2e17 {
            scale /= 2;
        }
        if largest * float(scale.into()) > 2e17 {
            return None;
        }
        let scaled = float(scale.into());
        let mut dual = Dual {
            weights: Weights {
                worth: prices
                    .iter()
                    .take(instance.kinds.len())
                    .map(|price| nearest(price * unit * scaled))
                    // Where too many bars do no harm, no bar is worth less than nothing.
                    .map(|worth| match self.level {
                        Level::Short | Level::Money => worth.max(0),
                        _ => worth,
                    })
                    .collect(),
                ..Weights::default()
            },
            short: 0,
            scale,
            bound: 0,
            least: Vec::new(),
            holds: Vec::new(),
        };
        for (level, weight) in held {
            let weight = if level == self.level {
                scale
            } else {
                nearest(weight * scaled)
            };
            match level {
                Level::Short => dual.short = weight,
                Level::Money => dual.weights.money = weight,
                Level::Solder => dual.weights.solder = weight,
                Level::Scrap => dual.weights.scrap = weight,
                Level::Offcuts => dual.weights.offcuts = weight,
                Level::Squares => dual.weights.squares = weight,
            }
        }
        Some(dual)
    }

    /// Lagrange's bound from what was priced.
    fn bound(&self, dual: &mut Dual, priced: &[Option<Priced>]) {
        let bars: u32 = self.instance.demand.iter().sum();
        let mut bound = dual.weights.worth_of(&self.instance.demand);
        for &(level, _) in &self.held {
            if level != self.level {
                bound -= dual.weight_of(level) * self.most(level);
            }
        }
        if self.may_be_short {
            for (&worth, &many) in dual.weights.worth.iter().zip(&self.instance.demand) {
                bound += i128::from(many) * i128::from((dual.short - worth).min(0));
            }
        }
        dual.least = priced
            .iter()
            .map(|priced| priced.as_ref().map_or(0, |priced| priced.reduced.min(0)))
            .collect();
        dual.holds = (priced.iter().enumerate())
            .map(|(class, priced)| {
                let own = dual.weights.piece(self.instance, class);
                priced
                    .as_ref()
                    .map_or(0, |priced| (own - priced.reduced).max(0))
            })
            .collect();
        for (class, &least) in self.instance.classes.iter().zip(&dual.least) {
            let most = class.available.map_or(bars, |many| many.min(bars));
            bound += i128::from(most) * i128::from(least);
        }
        dual.bound = bound;
    }
}
