//! Where a load can go.

use std::collections::HashSet;

use super::{Move, Search, Which};

impl Search<'_> {
    pub(super) fn moves(&self, load: usize) -> Vec<Move> {
        let mut moves = Vec::new();
        self.shares(load, &mut moves);
        let (mut kept, mut hooked, mut fresh) = (Vec::new(), Vec::new(), Vec::new());
        let mut met: HashSet<Vec<i64>> = HashSet::new();
        let ma = self.room.loads[load].total_ma;
        for (at, driver) in self.drivers.iter().enumerate() {
            let kind = self.room.driver(driver.kind);
            if !self.room.loads[load].alone[driver.kind]
                || kind.whole_ma.is_some_and(|most| driver.ma + ma > most)
            {
                continue;
            }
            let by = driver.inlets.iter().find_map(|inlet| inlet.supply);
            for (number, inlet) in driver.inlets.iter().enumerate() {
                if inlet.used == inlet.outputs
                    || kind.inlet_ma.is_some_and(|most| inlet.ma + ma > most)
                {
                    continue;
                }
                if let Some(supply) = inlet.supply {
                    let slack = self.usable(self.supplies[supply].kind) - self.supplies[supply].ma;
                    if slack >= ma {
                        kept.push((slack, Move::Put(Which::Open(at), number, None)));
                    }
                    continue;
                }
                // Of inlets that are alike the first stands for all.
                let twin = (driver.inlets[..number].iter())
                    .any(|it| it.supply.is_none() && it.outputs == inlet.outputs);
                if twin || self.inlets == 0 {
                    continue;
                }
                let only = if kind.isolated { None } else { by };
                self.hooks(ma, only, &mut |supply, slack| {
                    hooked.push((slack, Move::Put(Which::Open(at), number, Some(supply))));
                });
            }
        }
        if self.inlets > 0 {
            for kind in 0..self.room.drivers.len() {
                if self.left[kind] == 0 || !self.room.loads[load].alone[kind] {
                    continue;
                }
                let spec = self.room.driver(kind);
                if spec.whole_ma.is_some_and(|most| ma > most)
                    || spec.inlet_ma.is_some_and(|most| ma > most)
                {
                    continue;
                }
                for (number, outputs) in spec.inlets.iter().enumerate() {
                    if *outputs > 0 && !spec.inlets[..number].contains(outputs) {
                        self.hooks(ma, None, &mut |supply, slack| {
                            fresh.push((slack, Move::Put(Which::New(kind), number, Some(supply))));
                        });
                    }
                }
            }
        }
        kept.sort_by_key(|(slack, _)| *slack);
        kept.retain(|(_, step)| met.insert(self.likeness(*step)));
        let open = |(_, step): &(i64, Move)| matches!(step, Move::Put(_, _, Some(Which::New(_))));
        hooked.sort_by_key(|one| (open(one), one.0));
        fresh.sort_by_key(open);
        for (_, step) in kept.into_iter().chain(hooked).chain(fresh) {
            moves.push(step);
        }
        if self.skips > 0 {
            moves.push(Move::Skip);
        }
        moves
    }

    /// Moves onto an inlet in use that do the same; without groups alone, where outputs are alike.
    fn likeness(&self, step: Move) -> Vec<i64> {
        let Move::Put(Which::Open(at), number, None) = step else {
            return Vec::new();
        };
        let driver = &self.drivers[at];
        let mut key = vec![i64::try_from(driver.kind).unwrap_or(-1)];
        let inlet = &driver.inlets[number];
        let name = |it: Option<usize>| it.map_or(-1, |it| i64::try_from(it).unwrap_or(-1));
        if self.room.shares() {
            key.extend([
                i64::try_from(at).unwrap_or(-1),
                i64::try_from(number).unwrap_or(-1),
            ]);
            return key;
        }
        key.extend([
            i64::from(inlet.outputs),
            i64::from(inlet.used),
            inlet.ma,
            name(inlet.supply),
        ]);
        let mut others: Vec<[i64; 4]> = (driver.inlets.iter().enumerate())
            .filter(|(other, _)| *other != number)
            .map(|(_, it)| {
                [
                    i64::from(it.outputs),
                    i64::from(it.used),
                    it.ma,
                    name(it.supply),
                ]
            })
            .collect();
        others.sort_unstable();
        key.extend(others.into_iter().flatten());
        key
    }

    /// Supplies that could feed a further inlet with this load; `only` one where the driver has one.
    fn hooks(&self, ma: i64, only: Option<usize>, each: &mut dyn FnMut(Which, i64)) {
        let mut met: Vec<(usize, i64, u32)> = Vec::new();
        for (at, supply) in self.supplies.iter().enumerate() {
            let kind = self.room.supply(supply.kind);
            let slack = kind.usable_ma - supply.ma;
            if only.is_some_and(|only| only != at)
                || slack < ma
                || kind.pairs.is_some_and(|pairs| supply.pairs >= pairs)
            {
                continue;
            }
            each(Which::Open(at), slack);
            met.push((supply.kind, supply.ma, supply.pairs));
        }
        if only.is_some() {
            return;
        }
        for kind in 0..self.room.supplies.len() {
            let spec = self.room.supply(kind);
            let left = self.left[self.room.drivers.len() + kind];
            if left > 0 && spec.usable_ma >= ma && spec.pairs != Some(0) {
                each(Which::New(kind), spec.usable_ma);
            }
        }
    }

    fn shares(&self, load: usize, moves: &mut Vec<Move>) {
        let wanted = &self.room.loads[load];
        let Some(group) = wanted.group else { return };
        for (at, out) in self.outs.iter().enumerate() {
            let driver = &self.drivers[out.driver];
            let kind = self.room.driver(driver.kind);
            let Some(most) = kind.shared.get(group).copied().flatten() else {
                continue;
            };
            let first = &self.room.loads[out.loads[0]];
            if !wanted.alone[driver.kind]
                || first.group != wanted.group
                || wanted.channels.is_empty()
                || first.channels.is_empty()
            {
                continue;
            }
            let mut sums = wanted.channels.clone();
            let mut total = wanted.total_ma;
            for &other in &out.loads {
                total += self.room.loads[other].total_ma;
                for (sum, ma) in sums.iter_mut().zip(&self.room.loads[other].channels) {
                    *sum += ma;
                }
            }
            let ma = wanted.total_ma;
            let inlet = &driver.inlets[out.inlet];
            let slack = inlet.supply.map_or(0, |it| {
                self.usable(self.supplies[it].kind) - self.supplies[it].ma
            });
            if total <= most.output_ma
                && sums.iter().all(|sum| *sum <= most.channel_ma)
                && kind.inlet_ma.is_none_or(|most| inlet.ma + ma <= most)
                && kind.whole_ma.is_none_or(|most| driver.ma + ma <= most)
                && slack >= ma
            {
                moves.push(Move::Share(at));
            }
        }
    }
}
