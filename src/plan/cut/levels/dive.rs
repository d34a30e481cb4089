//! Plans from the relaxation: patterns are fixed one after the other and the rest solved again.

use std::rc::Rc;

use super::{
    super::{
        pattern::{Cost, Counts},
        search::finish,
        start::complete,
    },
    Dives, Level, Levels, Solution, WHOLE, What, float, nearest,
};

/// The most steps for what a dive leaves over.
const STEPS_REST: u64 = 20_000;
/// Patterns that a dive takes back because nothing better can come of them.
const MOST_TAKEN_BACK: u32 = 8;

impl Levels<'_> {
    /// Fixes patterns one after the other until all is served, and keeps the plan if it is better.
    /// `unlucky` says which of several it fixes first.
    pub(super) fn dive(&mut self, bound: Option<i128>, unlucky: usize) {
        let saved = self.lp.snapshot();
        let mut left = self.instance.demand.clone();
        let mut pieces: Vec<(usize, Counts)> = Vec::new();
        let mut fixed = Cost::default();
        let mut skip = unlucky;
        let mut taken_back = 0;
        loop {
            if self.spent() {
                break;
            }
            let before = (self.lp.snapshot(), left.clone(), pieces.len(), fixed);
            let mut used: Vec<(usize, f64)> = self
                .lp
                .basis
                .iter()
                .zip(&self.lp.value)
                .filter(|&(&column, &value)| {
                    value > WHOLE && matches!(self.what[column], What::Cut { .. })
                })
                .map(|(&column, &value)| (column, value))
                .collect();
            if used.is_empty() {
                break;
            }
            used.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let whole: Vec<(usize, f64)> = used
                .iter()
                .copied()
                .filter(|(_, value)| *value >= 1.0 - WHOLE)
                .collect();
            let chosen = if whole.is_empty() {
                used.sort_by(|a, b| (b.1.fract()).total_cmp(&a.1.fract()).then(a.0.cmp(&b.0)));
                let at = skip.min(used.len() - 1);
                skip = 0;
                vec![(used[at].0, 1.0)]
            } else {
                whole
            };
            let mut moved = false;
            let only = match chosen[..] {
                [(column, value)] if value <= 1.0 => Some(column),
                _ => None,
            };
            for (column, value) in chosen {
                let What::Cut {
                    class,
                    counts,
                    cost,
                } = self.what[column].clone()
                else {
                    continue;
                };
                for _ in 0..nearest((value + WHOLE).floor()) {
                    let fits = counts.iter().zip(&left).all(|(count, left)| count <= left)
                        && self.class_row[class].is_none_or(|row| self.lp.rhs[row] > 0.5)
                        && self
                            .held
                            .iter()
                            .all(|&(level, row)| float(level.of(cost)) <= self.lp.rhs[row] + 0.5);
                    if !fits {
                        self.lp.forbidden[column] = true;
                        break;
                    }
                    moved = true;
                    for &(row, entry) in &self.lp.columns[column].entries {
                        self.lp.rhs[row] -= entry;
                    }
                    for (left, count) in left.iter_mut().zip(&*counts) {
                        *left -= count;
                    }
                    fixed = fixed.plus(cost);
                    pieces.push((class, Rc::clone(&counts)));
                }
            }
            if left.iter().all(|&left| left == 0) {
                break;
            }
            // What does not fit any more can't be used.
            for (column, what) in self.what.iter().enumerate() {
                if let What::Cut { class, counts, .. } = what {
                    let fits = counts.iter().zip(&left).all(|(count, left)| count <= left)
                        && self.class_row[*class].is_none_or(|row| self.lp.rhs[row] > 0.5);
                    if !fits {
                        self.lp.forbidden[column] = true;
                    }
                }
            }
            let mut reached = self.again(&left) + float(self.level.of(fixed));
            let most = float(self.goal()) - 1.0 + 1e-3;
            if let Some(column) = only
                && bound.is_some()
                && reached > most
                && taken_back < MOST_TAKEN_BACK
            {
                // Another pattern instead.
                taken_back += 1;
                self.lp.restore(&before.0);
                left = before.1;
                pieces.truncate(before.2);
                fixed = before.3;
                self.lp.forbidden[column] = true;
                reached = self.again(&left) + float(self.level.of(fixed));
                moved = true;
            }
            if !moved || (bound.is_some() && reached > most) {
                break;
            }
        }
        let mut rest = self.rest_of(&left, &pieces);
        rest.pieces.extend(pieces);
        // Patterns found on the way stay; the rest is as it was.
        self.lp.restore(&saved);
        self.offer(rest);
    }

    /// What is left beside some pieces, planned: as well as a few steps allow where that decides whether
    /// the plan is as cheap as the best, else quickly.
    fn rest_of(&mut self, left: &[u32], pieces: &[(usize, Counts)]) -> Solution {
        let available: Vec<Option<u32>> = self
            .instance
            .classes
            .iter()
            .enumerate()
            .map(|(class, of)| {
                of.available.map(|many| {
                    let used = pieces.iter().filter(|(of, _)| *of == class).count();
                    many.saturating_sub(u32::try_from(used).unwrap_or(u32::MAX))
                })
            })
            .collect();
        if self.dives == Dives::Quick || self.level != Level::Solder || self.order != Level::ALL {
            let (instance, stop) = (self.instance, self.stop);
            return complete(instance, self.arrangements, left, &available, stop);
        }
        let mut part = self.instance.clone();
        part.demand = left.to_vec();
        for (class, available) in part.classes.iter_mut().zip(available) {
            class.available = available;
        }
        let most = (self.most_steps.saturating_sub(self.steps) / 8).min(STEPS_REST);
        let (rest, steps) = finish(&part, self.arrangements, most, self.stop);
        self.steps += steps;
        rest
    }
}
