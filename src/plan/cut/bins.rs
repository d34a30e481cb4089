//! Packing into given pieces: whether all bars fit, tried by filling pieces anew.
//!
//! # Method
//! Pieces are filled from the shortest on with the best subset sums, then a few at a time are emptied
//! and filled again in another order, so that what is wasted gathers in few pieces until the bars that
//! are left fit there. It finds and never refutes.

use std::rc::Rc;

use super::{
    dice::Dice,
    pattern::{Counts, Instance},
    start::Bits,
};

/// Beyond this many steps of length pieces are not filled by subset sums.
const MOST_POSITIONS: i64 = 20_000;
/// Words of positions looked at that count as one step.
const PER_STEP: usize = 400;

/// A piece with what is in it.
#[derive(Debug, Clone)]
struct Bin {
    class: usize,
    room: usize,
    counts: Vec<u32>,
    filled: usize,
}

impl Bin {
    fn waste(&self) -> usize {
        self.room - self.filled
    }
}

/// What emptying a few pieces costs beside filling them.
const LOOK: usize = 40;

/// Bars not packed yet, and pieces.
pub(super) struct Bins {
    takes: Vec<usize>,
    pieces: Vec<Bin>,
    /// By kind: bars that are in no piece.
    out: Vec<u32>,
    dice: Dice,
    work: usize,
}

impl Bins {
    /// So many pieces of each class; `None` where they are too long.
    pub fn new(instance: &Instance, many: &[u32]) -> Option<Self> {
        let step = instance.step();
        let longest = instance.classes.iter().map(|class| instance.room(class));
        if longest.max().unwrap_or(0) / step > MOST_POSITIONS {
            return None;
        }
        let steps = |length: i64| usize::try_from(length / step).unwrap_or(0);
        let bars: u32 = instance.demand.iter().sum();
        let mut bins = Vec::new();
        for (class, (of, &many)) in instance.classes.iter().zip(many).enumerate() {
            for _ in 0..many.min(bars) {
                bins.push(Bin {
                    class,
                    room: steps(instance.room(of)),
                    counts: vec![0; instance.kinds.len()],
                    filled: 0,
                });
            }
        }
        bins.sort_by_key(|bin| bin.room);
        Some(Self {
            takes: (0..instance.kinds.len())
                .map(|kind| steps(instance.takes(kind)))
                .collect(),
            out: instance.demand.clone(),
            pieces: bins,
            dice: Dice::default(),
            work: 0,
        })
    }

    /// Steps taken.
    pub fn steps(&self) -> u64 {
        (self.work / PER_STEP) as u64 + 1
    }

    /// Tries until all is packed, for so many steps; tells whether it is.
    pub fn pack(&mut self, most_steps: u64, stop: &dyn Fn() -> bool) -> bool {
        let longest_first: Vec<usize> = (0..self.takes.len()).collect();
        for bin in 0..self.pieces.len() {
            self.fill(bin, &longest_first);
        }
        let size = |takes: &[usize], out: &[u32]| -> usize {
            out.iter()
                .zip(takes)
                .map(|(&many, takes)| many as usize * takes)
                .sum()
        };
        let mut left = size(&self.takes, &self.out);
        let room: usize = self.pieces.iter().map(Bin::waste).sum();
        if left > room {
            return false;
        }
        while left > 0 && self.steps() < most_steps && !stop() {
            self.work += LOOK;
            let chosen = self.chosen();
            let before: Vec<Bin> = chosen.iter().map(|&bin| self.pieces[bin].clone()).collect();
            let out = self.out.clone();
            let gathered = |bins: &[Bin], chosen: &[usize]| -> usize {
                chosen
                    .iter()
                    .map(|&bin| bins[bin].waste() * bins[bin].waste())
                    .sum()
            };
            let squares = gathered(&self.pieces, &chosen);
            for &bin in &chosen {
                let bin = &mut self.pieces[bin];
                for (out, count) in self.out.iter_mut().zip(&mut bin.counts) {
                    *out += std::mem::take(count);
                }
                bin.filled = 0;
            }
            let mut order: Vec<usize> = (0..self.takes.len())
                .filter(|&kind| self.out[kind] > 0)
                .collect();
            // Mostly the longest first: short bars fill gaps in the end.
            if self.dice.below(3) > 0 {
                for at in (1..order.len()).rev() {
                    order.swap(at, self.dice.below(at + 1));
                }
            }
            for &bin in &chosen {
                self.fill(bin, &order);
            }
            let now = size(&self.takes, &self.out);
            let better = now < left
                || now == left
                    && (gathered(&self.pieces, &chosen) >= squares || self.dice.below(8) == 0);
            if better {
                left = now;
            } else {
                for (bin, before) in chosen.into_iter().zip(before) {
                    self.pieces[bin] = before;
                }
                self.out = out;
            }
        }
        left == 0
    }

    /// A few pieces in the order in which they are filled again: at least one that has room.
    fn chosen(&mut self) -> Vec<usize> {
        let many = (2 + self.dice.below(3)).min(self.pieces.len());
        let roomy: Vec<usize> = (0..self.pieces.len())
            .filter(|&bin| self.pieces[bin].waste() > 0)
            .collect();
        let mut chosen: Vec<usize> = Vec::with_capacity(many);
        if !roomy.is_empty() {
            chosen.push(roomy[self.dice.below(roomy.len())]);
        }
        while chosen.len() < many {
            let bin = if roomy.len() >= many && self.dice.below(2) == 0 {
                roomy[self.dice.below(roomy.len())]
            } else {
                self.dice.below(self.pieces.len())
            };
            if !chosen.contains(&bin) {
                chosen.push(bin);
            }
        }
        for at in (1..chosen.len()).rev() {
            chosen.swap(at, self.dice.below(at + 1));
        }
        chosen
    }

    /// Fills an empty piece as far as it goes from what is out, by kinds in this order.
    fn fill(&mut self, bin: usize, order: &[usize]) {
        let room = self.pieces[bin].room;
        let length = room + 1;
        let mut last: Vec<(u32, u32)> = vec![(0, 0); length];
        let mut filled = Bits::new(length);
        filled.set(0);
        for (place, &kind) in (0_u32..).zip(order) {
            let takes = self.takes[kind];
            if takes > room {
                continue;
            }
            let mut from = filled.clone();
            for count in 1..=self.out[kind] {
                self.work += 2 * length / 64 + 4;
                from = from.moved(takes, &filled);
                if from.is_empty() {
                    break;
                }
                from.each(|at| last[at] = (place, count));
                filled.join(&from);
            }
            // It can't be fuller than full.
            if filled.has(room) {
                break;
            }
        }
        self.work += length / 2;
        let mut at = filled.last();
        let of = &mut self.pieces[bin];
        of.filled = at;
        while at > 0 {
            let (place, count) = last[at];
            let kind = order[place as usize];
            of.counts[kind] += count;
            self.out[kind] -= count;
            at -= self.takes[kind] * count as usize;
        }
    }

    /// Pieces that give anything, and the bars that are left.
    pub fn packed(&self) -> (Vec<(usize, Counts)>, Vec<u32>) {
        let used = self.pieces.iter().filter(|bin| bin.filled > 0);
        let pieces = used
            .map(|bin| (bin.class, Rc::from(bin.counts.as_slice())))
            .collect();
        (pieces, self.out.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{End, Fed, Problem, SolderWeights, Stock, Want, pattern::Instance};
    use super::*;

    fn packed(pieces: &[u64], bars: &[(u64, u32)]) -> bool {
        let stock = pieces.iter().map(|&units| Stock {
            units,
            start: End::Bare,
            end: End::Bare,
            joints: None,
        });
        let wants = bars.iter().map(|&(units, quantity)| Want {
            units,
            quantity,
            fed: Fed::OneEnd,
        });
        let problem = Problem {
            stock: stock.collect(),
            rolls: Vec::new(),
            wants: wants.collect(),
            usable_units: 1,
            kerf_units: 0,
            trim_units: 0,
            weights: SolderWeights::NONE,
        };
        let instance = Instance::new(&problem);
        let many: Vec<u32> = (instance.classes.iter())
            .map(|class| class.available.unwrap_or(0))
            .collect();
        let mut bins = Bins::new(&instance, &many).expect("short");
        let whole = bins.pack(2_000, &|| false);
        // What is packed and what is out are the bars wanted, and nothing is too full.
        let (pieces, out) = bins.packed();
        for (kind, &wanted) in instance.demand.iter().enumerate() {
            let cut: u32 = pieces.iter().map(|(_, counts)| counts[kind]).sum();
            assert_eq!(cut + out[kind], wanted);
        }
        for (class, counts) in &pieces {
            let takes =
                (0..counts.len()).map(|kind| instance.takes(kind) * i64::from(counts[kind]));
            assert!(takes.sum::<i64>() <= instance.room(&instance.classes[*class]));
        }
        assert_eq!(whole, out.iter().all(|&out| out == 0));
        whole
    }

    // By hand: 5+5 from the ten and 3+3+3 from the nine; 10+2 and 7+5 from two twelves, where the
    // longest first into the first would leave none for the 5.
    #[test]
    fn full_pieces_are_found() {
        assert!(packed(&[10, 9], &[(5, 2), (3, 3)]));
        assert!(packed(&[12, 12], &[(10, 1), (7, 1), (5, 1), (2, 1)]));
        assert!(!packed(&[10, 9], &[(6, 3)]));
    }
}
