//! What counts after the money: the shortest cable, the fewest units taken, the most even loads.

use super::{Best, FEW_LOADS, Room, TIES, Ties, inlets, with};
use crate::plan::driven::{
    LEVELS, Origin,
    cover::{Asks, Covers, Row, What},
    pack::{self, Found, Given, Packed},
    share::{even_of_many, improve},
};

impl Room<'_> {
    /// The fewest inlets, which is the shortest cable.
    pub(super) fn shortest(
        &self,
        asks: &Asks<'_>,
        ties: &Ties,
        skips: usize,
        best: &mut Best,
        steps: &mut u64,
    ) {
        if self.question.feed_um == 0 {
            best.bounds[3] = Some(0);
            return;
        }
        let most = inlets(&best.packed);
        let floors: Vec<u32> = ties
            .sets
            .iter()
            .map(|set| self.inlets_at_least(asks, set, skips))
            .collect();
        let least = floors.iter().copied().min().unwrap_or(0).min(most);
        let mut open = None;
        'all: for wanted in least..most {
            for (set, floor) in ties.sets.iter().zip(&floors) {
                if *floor > wanted {
                    continue;
                }
                let given = Given {
                    counts: set.clone(),
                    inlets: wanted,
                    skips,
                };
                match pack::pack(self, &given, steps, self.pack_steps()) {
                    Found::Never => {}
                    Found::Stopped => open = open.or(Some(wanted)),
                    Found::Packed(packed) => {
                        best.packed = packed;
                        break 'all;
                    }
                }
            }
        }
        let found = inlets(&best.packed);
        let bound = open.unwrap_or(found).min(found);
        best.bounds[3] = ties
            .complete
            .then(|| i128::from(bound) * i128::from(self.question.feed_um));
    }

    /// Inlets that any way needs at least with a set of units.
    fn inlets_at_least(&self, asks: &Asks<'_>, set: &[u32], skips: usize) -> u32 {
        let most = self.largest_supply();
        let mut list: Vec<(i64, i64)> = Vec::new();
        for (at, &count) in set.iter().enumerate().take(self.drivers.len()) {
            let kind = self.driver(at);
            let cap = kind.inlet_ma.unwrap_or(i64::MAX).min(most);
            for _ in 0..count {
                list.extend(kind.inlets.iter().map(|outputs| (i64::from(*outputs), cap)));
            }
        }
        let mut sizes: Vec<i64> = self.loads.iter().map(|load| load.total_ma).collect();
        sizes.sort_unstable_by_key(|size| std::cmp::Reverse(*size));
        let fewest = |need: i64, gives: &dyn Fn(&(i64, i64)) -> i64| -> u32 {
            let mut each: Vec<i64> = list.iter().map(gives).collect();
            each.sort_unstable_by_key(|it| std::cmp::Reverse(*it));
            let (mut sum, mut count) = (0_i64, 0);
            for give in each {
                if sum >= need {
                    break;
                }
                sum = sum.saturating_add(give);
                count += 1;
            }
            count
        };
        let shares = self.shares();
        let skipped = i64::try_from(skips).unwrap_or(0);
        let mut least = fewest(asks.outputs - skipped, &|inlet| inlet.0);
        least = least.max(fewest(sizes.iter().skip(skips).sum(), &|inlet| inlet.1));
        for (count, &size) in (1..).zip(&sizes) {
            if size > 0 {
                let gives = |inlet: &(i64, i64)| {
                    let fit = inlet.1 / size;
                    if shares { fit } else { fit.min(inlet.0) }
                };
                least = least.max(fewest(count - skipped, &gives));
            }
        }
        least
    }

    /// The fewest units from the shelf.
    pub(super) fn fewest(
        &self,
        rows: &[Row],
        ties: &Ties,
        skips: usize,
        best: &mut Best,
        steps: &mut u64,
    ) {
        let items = self.items(Origin::Shelf);
        let target = self.values(&best.packed);
        let most = self.inlets_allowed(&best.packed);
        let mut least = target[4];
        let mut bound = target[4];
        for set in &ties.sets {
            let base = self.without_shelf(set);
            let mut covers = Covers::new(rows, &items, self.drivers.len(), &base);
            while let Some(floor) = covers.floor() {
                if floor[2] >= least {
                    break;
                }
                let Ok(next) = covers.next(steps) else {
                    bound = bound.min(floor[2]);
                    break;
                };
                let Some((cost, counts)) = next else { break };
                if cost[2] >= least {
                    break;
                }
                let given = Given {
                    counts: with(&base, &items, &counts),
                    inlets: most,
                    skips,
                };
                match pack::pack(self, &given, steps, self.pack_steps()) {
                    Found::Never => {}
                    Found::Stopped => bound = bound.min(cost[2]),
                    Found::Packed(packed) => {
                        let values = self.values(&packed);
                        if values[..5] < self.values(&best.packed)[..5] {
                            best.packed = packed;
                            least = values[4];
                        }
                        break;
                    }
                }
            }
        }
        best.bounds[4] = ties.complete.then_some(bound.min(least));
    }

    /// What of a set is not from the shelf: what is mounted, and what is bought.
    fn without_shelf(&self, set: &[u32]) -> Vec<u32> {
        let there = self.there(&[Origin::Shelf]);
        set.iter()
            .zip(there)
            .map(|(all, there)| all.saturating_sub(there))
            .collect()
    }

    fn inlets_allowed(&self, packed: &Packed) -> u32 {
        if self.question.feed_um == 0 {
            u32::MAX
        } else {
            inlets(packed)
        }
    }

    /// The most even loads of the supplies.
    pub(super) fn evenest(
        &self,
        rows: &[Row],
        ties: &Ties,
        skips: usize,
        best: &mut Best,
        steps: &mut u64,
    ) {
        let sum: i64 = self.loads.iter().map(|load| load.total_ma).sum();
        let skipped: i64 = {
            let mut sizes: Vec<i64> = self.loads.iter().map(|load| load.total_ma).collect();
            sizes.sort_unstable_by_key(|size| std::cmp::Reverse(*size));
            sizes.iter().take(skips).sum()
        };
        let target = self.values(&best.packed);
        let most = self.inlets_allowed(&best.packed);
        let count = self.supplies_at_most(&best.packed, rows, &target);
        let bound = even_of_many(sum - skipped, count);
        let mut value = target[5];
        if value <= bound {
            best.bounds[5] = Some(value);
            return;
        }
        if self.loads.len() > FEW_LOADS {
            improve(self, &mut best.packed, bound, steps);
            value = self.values(&best.packed)[5];
            best.bounds[5] = Some(bound.min(value));
            return;
        }
        let items = self.items(Origin::Shelf);
        let mut ended = ties.complete;
        for set in &ties.sets {
            let base = self.without_shelf(set);
            let mut covers = Covers::new(rows, &items, self.drivers.len(), &base);
            let mut looked = 0;
            while let Some(floor) = covers.floor() {
                if floor[2] > target[4] {
                    break;
                }
                looked += 1;
                let next = covers.next(steps);
                let Ok(Some((cost, counts))) = next else {
                    ended &= next.is_ok();
                    break;
                };
                if cost[2] > target[4] {
                    break;
                }
                if looked > TIES {
                    ended = false;
                    break;
                }
                let given = Given {
                    counts: with(&base, &items, &counts),
                    inlets: most,
                    skips,
                };
                let (packed, all) = pack::most_even(self, &given, value, steps, self.pack_steps());
                ended &= all;
                if let Some(packed) = packed {
                    let values = self.values(&packed);
                    if values < self.values(&best.packed) {
                        value = values[5];
                        best.packed = packed;
                    }
                }
            }
        }
        best.bounds[5] = Some(if ended { value } else { bound.min(value) });
    }

    /// How many supplies a way of equal worth may have.
    fn supplies_at_most(&self, packed: &Packed, rows: &[Row], target: &[i128; LEVELS]) -> usize {
        let drivers = self.drivers.len();
        let mounted = self.there(&[Origin::Mounted]);
        let whole = |counts: &[u32]| counts.iter().map(|it| *it as usize).sum::<usize>();
        let widest = (0..drivers)
            .map(|at| self.places(at))
            .max()
            .unwrap_or(0)
            .max(1);
        let outputs = rows
            .iter()
            .filter(|row| row.what == What::Places && row.gives[..drivers].iter().any(|it| *it > 0))
            .map(|row| usize::try_from(row.need).unwrap_or(0).div_ceil(widest))
            .max();
        let fewest = outputs
            .unwrap_or(0)
            .saturating_sub(whole(&mounted[..drivers]));
        let units = usize::try_from(target[2] + target[4]).unwrap_or(usize::MAX);
        let supplies = units
            .saturating_sub(fewest)
            .saturating_add(whole(&mounted[drivers..]));
        let supplies = supplies.min(self.loads.len());
        if self.question.feed_um == 0 {
            supplies
        } else {
            supplies.min(inlets(packed) as usize)
        }
    }
}
