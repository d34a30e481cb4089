//! What need not be looked at.

use super::{Goal, Search};
use crate::plan::driven::share::even_at_least;

impl Search<'_> {
    /// Whether what is left cannot take the loads that are left.
    pub(super) fn hopeless(&self, at: usize) -> bool {
        let drivers = self.room.drivers.len();
        if self.skips == 0 {
            let open = self.supplies.iter().fold(0_i64, |sum, supply| {
                sum.saturating_add(self.usable(supply.kind) - supply.ma)
            });
            let all = (self.left[drivers..].iter().enumerate()).fold(open, |sum, (kind, &left)| {
                sum.saturating_add(self.usable(kind).saturating_mul(i64::from(left)))
            });
            if all < self.rest[at] {
                return true;
            }
        }
        if !self.room.shares() {
            let open: usize = (self.drivers.iter().flat_map(|driver| &driver.inlets))
                .map(|inlet| usize::from(inlet.outputs - inlet.used))
                .sum();
            let new: usize = (0..drivers)
                .map(|kind| self.room.places(kind) * self.left[kind] as usize)
                .sum();
            if open + new + self.skips < self.order.len() - at {
                return true;
            }
        }
        if let Goal::Even(below) = self.goal {
            let new = self.left[drivers..].iter().map(|left| *left as usize).sum();
            let loads: Vec<i64> = self.supplies.iter().map(|supply| supply.ma).collect();
            // What may still be left out weighs nothing.
            let rest = if self.skips == 0 { self.rest[at] } else { 0 };
            return even_at_least(&loads, new, rest) >= below;
        }
        false
    }

    /// Whether no state like this one was looked at before.
    pub(super) fn is_new(&mut self, at: usize) -> bool {
        let Some(seen) = &mut self.seen else {
            return true;
        };
        let mut drivers: Vec<(Vec<i64>, Vec<Option<usize>>)> = self
            .drivers
            .iter()
            .map(|driver| {
                let mut inlets: Vec<([i64; 6], Option<usize>)> = driver
                    .inlets
                    .iter()
                    .map(|inlet| {
                        let supply = inlet.supply.map(|it| &self.supplies[it]);
                        let key = [
                            i64::from(inlet.outputs),
                            i64::from(inlet.used),
                            inlet.ma,
                            supply.map_or(-1, |it| i64::try_from(it.kind).unwrap_or(-1)),
                            supply.map_or(0, |it| it.ma),
                            supply.map_or(0, |it| i64::from(it.pairs)),
                        ];
                        (key, inlet.supply)
                    })
                    .collect();
                inlets.sort_unstable();
                let mut key = vec![i64::try_from(driver.kind).unwrap_or(-1)];
                key.extend(inlets.iter().flat_map(|(key, _)| *key));
                (key, inlets.into_iter().map(|(_, supply)| supply).collect())
            })
            .collect();
        drivers.sort_unstable();
        let mut names: Vec<usize> = Vec::new();
        let mut state = vec![
            i64::try_from(at).unwrap_or(-1),
            i64::try_from(self.skips).unwrap_or(-1),
        ];
        for (key, supplies) in drivers {
            state.extend(key);
            for supply in supplies {
                let name = supply.map(|supply| {
                    names
                        .iter()
                        .position(|it| *it == supply)
                        .unwrap_or_else(|| {
                            names.push(supply);
                            names.len() - 1
                        })
                });
                state.push(name.map_or(-1, |name| i64::try_from(name).unwrap_or(-1)));
            }
        }
        seen.insert(state)
    }
}
