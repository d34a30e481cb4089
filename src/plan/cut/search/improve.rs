//! Improvement: a few pieces are taken apart and solved again.

use super::{
    super::{
        dice::Dice,
        pattern::{Cost, Counts},
    },
    MOST_PATTERNS_PART, Search, Solution, total_cost,
};

/// Steps for one small case.
const STEPS_PART: u64 = 375;

impl Search<'_> {
    /// Takes two or three pieces apart, with a few unused ones beside them, and solves them
    /// again; keeps what is better, until the steps are used up.
    pub(super) fn improve(&mut self, solution: &mut Solution, least_money: i64, most_steps: u64) {
        let mut dice = Dice::default();
        let stock: Vec<usize> = (0..self.instance.classes.len())
            .filter(|&class| self.instance.classes[class].price_minor.is_none())
            .collect();
        // Going through all classes once costs about as much as a few patterns.
        let overhead = (self.instance.classes.len() as u64).div_ceil(16);
        while self.steps < most_steps && !solution.pieces.is_empty() && !(self.stop)() {
            self.steps += overhead;
            let mut left: Vec<Option<u32>> = self
                .instance
                .classes
                .iter()
                .map(|class| class.available)
                .collect();
            for (class, _) in &solution.pieces {
                left[*class] = left[*class].map(|many| many - 1);
            }
            // Only rolls may be used freely; of the stock, a few kinds of piece at a time.
            let mut available: Vec<Option<u32>> = self
                .instance
                .classes
                .iter()
                .zip(&left)
                .map(|(class, left)| class.price_minor.map_or(Some(0), |_| *left))
                .collect();
            for _ in 0..dice.below(5) {
                if let Some(&class) = stock.get(dice.below(stock.len())) {
                    available[class] = left[class].map(|many| many.min(2));
                }
            }
            let mut demand = solution.short.clone();
            let mut beat = Cost {
                short: solution.short.iter().map(|&count| i64::from(count)).sum(),
                ..Cost::default()
            };
            let many = (2 + dice.below(2)).min(solution.pieces.len());
            let mut chosen: Vec<usize> = Vec::new();
            // Where money may still be saved, every other time begins with a roll.
            if solution.cost.money > least_money && dice.below(2) == 0 {
                let bought = |(class, _): &(usize, Counts)| {
                    self.instance.classes[*class].price_minor.is_some()
                };
                let rolls: Vec<usize> = (0..solution.pieces.len())
                    .filter(|&index| bought(&solution.pieces[index]))
                    .collect();
                chosen.extend(rolls.get(dice.below(rolls.len())));
            }
            while chosen.len() < many {
                let index = dice.below(solution.pieces.len());
                if !chosen.contains(&index) {
                    chosen.push(index);
                }
            }
            for &index in &chosen {
                let (class, counts) = &solution.pieces[index];
                available[*class] = available[*class].map(|many| many + 1);
                beat = beat.plus(self.arrangements.best(self.instance, *class, counts).cost);
                for (demand, count) in demand.iter_mut().zip(&**counts) {
                    *demand += count;
                }
            }
            let outcome = self.branch(&demand, &available, beat, MOST_PATTERNS_PART, STEPS_PART);
            let Some(better) = outcome.found else {
                continue;
            };
            chosen.sort_unstable();
            for index in chosen.into_iter().rev() {
                solution.pieces.swap_remove(index);
            }
            solution.pieces.extend(better.pieces);
            solution.short = better.short;
            solution.cost = total_cost(self.instance, &mut self.arrangements, solution);
        }
    }
}
