//! A start for the search: pieces filled one after the other with the best subset sums.

use std::rc::Rc;

use super::{
    pattern::{Arrangements, Cost, Counts, Instance},
    search::{Solution, total_cost},
};

/// Beyond this many steps of length a piece is filled longest bar first instead.
const MOST_POSITIONS: i64 = 20_000;

/// In which order pieces of stock are filled before the longest-bar rule takes over.
#[derive(Clone, Copy)]
enum Order {
    None,
    Ascending,
    Descending,
}

/// The best of a few simple ways to cut all that is wanted.
pub(super) fn starts(
    instance: &Instance,
    arrangements: &mut Arrangements,
    stop: &dyn Fn() -> bool,
) -> Solution {
    let available: Vec<_> = instance
        .classes
        .iter()
        .map(|class| class.available)
        .collect();
    complete(instance, arrangements, &instance.demand, &available, stop)
}

/// The best of a few simple ways to cut `demand` from what is `available`; of the first alone where it
/// is to stop.
pub(super) fn complete(
    instance: &Instance,
    arrangements: &mut Arrangements,
    demand: &[u32],
    available: &[Option<u32>],
    stop: &dyn Fn() -> bool,
) -> Solution {
    let ways = [
        (Order::None, false),
        (Order::None, true),
        (Order::Ascending, false),
        (Order::Descending, false),
    ];
    let mut best: Option<Solution> = None;
    for (order, leads_first) in ways {
        if best.is_some() && stop() {
            break;
        }
        let mut solution = Start::new(instance, demand, available).run(order, leads_first);
        solution.cost = total_cost(instance, arrangements, &solution);
        if best.as_ref().is_none_or(|best| solution.cost < best.cost) {
            best = Some(solution);
        }
    }
    best.unwrap_or_else(|| Solution {
        cost: Cost::default(),
        pieces: Vec::new(),
        short: demand.to_vec(),
    })
}

struct Start<'a> {
    instance: &'a Instance,
    demand: Vec<u32>,
    left: Vec<Option<u32>>,
    pieces: Vec<(usize, Counts)>,
    short: Vec<u32>,
}

impl<'a> Start<'a> {
    fn new(instance: &'a Instance, demand: &[u32], available: &[Option<u32>]) -> Self {
        Self {
            instance,
            demand: demand.to_vec(),
            left: available.to_vec(),
            pieces: Vec::new(),
            short: vec![0; instance.demand.len()],
        }
    }

    fn run(mut self, order: Order, leads_first: bool) -> Solution {
        let mut stock: Vec<usize> = (0..self.left.len())
            .filter(|&class| self.instance.classes[class].price_minor.is_none())
            .collect();
        stock.sort_by_key(|&class| self.instance.classes[class].units);
        match order {
            Order::None => stock.clear(),
            Order::Ascending => {}
            Order::Descending => stock.reverse(),
        }
        for class in stock {
            while self.left[class] != Some(0) {
                let room = self.instance.room(&self.instance.classes[class]);
                let counts = Fill::new(self.instance, &self.demand, room).best(room);
                if counts.iter().all(|&count| count == 0) {
                    break;
                }
                self.take(class, &Rc::from(counts));
            }
        }
        while let Some(kind) = self.demand.iter().position(|&count| count > 0) {
            match self.choose(kind, leads_first) {
                Some((class, counts)) => {
                    let counts: Counts = Rc::from(counts);
                    let enough = |demand: &[u32]| {
                        counts
                            .iter()
                            .zip(demand)
                            .all(|(count, demand)| count <= demand)
                    };
                    while self.left[class] != Some(0) && enough(&self.demand) {
                        self.take(class, &counts);
                    }
                }
                None => self.short[kind] += std::mem::take(&mut self.demand[kind]),
            }
        }
        Solution {
            cost: Cost::default(),
            pieces: self.pieces,
            short: self.short,
        }
    }

    fn take(&mut self, class: usize, counts: &Counts) {
        for (demand, count) in self.demand.iter_mut().zip(&**counts) {
            *demand -= count;
        }
        self.left[class] = self.left[class].map(|many| many - 1);
        self.pieces.push((class, Rc::clone(counts)));
    }

    /// A piece for one bar of `kind`, filled up: stock before rolls; of stock what leaves
    /// the best rest, of rolls what costs least for what it gives.
    fn choose(&self, kind: usize, leads_first: bool) -> Option<(usize, Vec<u32>)> {
        let mut others = self.demand.clone();
        others[kind] -= 1;
        let left = self.instance.classes.iter().zip(&self.left);
        let rooms = left
            .filter(|(_, left)| **left != Some(0))
            .map(|(class, _)| self.instance.room(class));
        let fill = Fill::new(self.instance, &others, rooms.max().unwrap_or(0));
        let takes = self.instance.takes(kind);
        let mut best: Option<((i64, i64, i128, Cost), usize)> = None;
        for (index, class) in self.instance.classes.iter().enumerate() {
            let room = self.instance.room(class) - takes;
            if self.left[index] == Some(0) || room < 0 {
                continue;
            }
            let rest = room - fill.reach(room);
            let usable = rest >= self.instance.usable;
            let units = i128::from(class.units);
            let cost = Cost {
                scrap: if usable { 0 } else { rest },
                offcuts: i64::from(usable && rest > 0),
                squares_lost: units * units - i128::from(rest) * i128::from(rest),
                ..Cost::default()
            };
            let used = i128::from(class.units - rest).max(1);
            let price = i128::from(class.price_minor.unwrap_or(0));
            let key = (
                i64::from(class.price_minor.is_some()),
                if leads_first { -class.leads() } else { 0 },
                price * 1_000_000 / used,
                cost,
            );
            if best.is_none_or(|(known, _)| key < known) {
                best = Some((key, index));
            }
        }
        let (_, class) = best?;
        let room = self.instance.room(&self.instance.classes[class]) - takes;
        let mut counts = fill.best(room);
        counts[kind] += 1;
        Some((class, counts))
    }
}

/// A set of positions.
#[derive(Clone)]
pub(super) struct Bits {
    words: Vec<u64>,
    length: usize,
}

impl Bits {
    pub fn new(length: usize) -> Self {
        Self {
            words: vec![0; length.div_ceil(64)],
            length,
        }
    }

    pub fn set(&mut self, at: usize) {
        self.words[at / 64] |= 1 << (at % 64);
    }

    pub fn has(&self, at: usize) -> bool {
        self.words[at / 64] >> (at % 64) & 1 == 1
    }

    /// The last position, nought if there is none.
    pub fn last(&self) -> usize {
        let at = self.words.iter().rposition(|word| *word != 0);
        at.map_or(0, |at| at * 64 + self.words[at].ilog2() as usize)
    }

    pub fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    pub fn join(&mut self, other: &Self) {
        for (word, other) in self.words.iter_mut().zip(&other.words) {
            *word |= other;
        }
    }

    /// All positions moved up by so many, but for those in `except` and beyond the end.
    pub fn moved(&self, by: usize, except: &Self) -> Self {
        let mut moved = Self::new(self.length);
        if by >= self.length {
            return moved;
        }
        let (skip, shift) = (by / 64, by % 64);
        for (at, word) in moved.words.iter_mut().enumerate().skip(skip) {
            *word = self.words[at - skip] << shift;
            if shift > 0 && at > skip {
                *word |= self.words[at - skip - 1] >> (64 - shift);
            }
            *word &= !except.words[at];
        }
        let beyond = self.length % 64;
        if beyond > 0
            && let Some(last) = moved.words.last_mut()
        {
            *last &= (1 << beyond) - 1;
        }
        moved
    }

    pub fn each(&self, mut of: impl FnMut(usize)) {
        for (at, word) in self.words.iter().enumerate() {
            let mut left = *word;
            while left != 0 {
                of(at * 64 + left.trailing_zeros() as usize);
                left &= left - 1;
            }
        }
    }
}

/// No kind: a position that can't be filled exactly.
const NONE: u32 = u32::MAX;

/// Which lengths can be made up from the bars wanted.
struct Fill<'a> {
    instance: &'a Instance,
    demand: &'a [u32],
    step: i64,
    /// By position: the last kind that fills up to it and how many of it, none where it can't be
    /// filled exactly; empty when pieces are too long to tabulate.
    last: Vec<(u32, u32)>,
    /// For each room the fullest position within it.
    fullest: Vec<usize>,
}

impl<'a> Fill<'a> {
    /// Up to a room of `most`.
    fn new(instance: &'a Instance, demand: &'a [u32], most: i64) -> Self {
        let step = instance.step();
        let longest = most / step;
        let mut fill = Self {
            instance,
            demand,
            step,
            last: Vec::new(),
            fullest: Vec::new(),
        };
        if longest > MOST_POSITIONS {
            return fill;
        }
        let length = usize::try_from(longest).unwrap_or(0) + 1;
        // The start is filled by none of the first kind.
        fill.last = vec![(NONE, 0); length];
        fill.last[0] = (0, 0);
        let mut filled = Bits::new(length);
        filled.set(0);
        for (kind, &most) in (0_u32..).zip(demand).filter(|(_, most)| **most > 0) {
            let takes = usize::try_from(instance.takes(kind as usize) / step);
            let takes = takes.unwrap_or(usize::MAX);
            // One bar more from all that earlier kinds fill, then from what that gave, and so on.
            let mut from = filled.clone();
            for count in 1..=most {
                from = from.moved(takes, &filled);
                if from.is_empty() {
                    break;
                }
                from.each(|at| fill.last[at] = (kind, count));
                filled.join(&from);
            }
        }
        let mut fullest = 0;
        let positions = fill.last.iter().enumerate();
        fill.fullest = positions
            .map(|(at, (kind, _))| {
                if *kind != NONE {
                    fullest = at;
                }
                fullest
            })
            .collect();
        fill
    }

    /// How much of `room` can be filled.
    fn reach(&self, room: i64) -> i64 {
        let at = usize::try_from(room / self.step).unwrap_or(0);
        if let Some(&at) = self.fullest.get(at) {
            return super::pattern::signed(at as u64) * self.step;
        }
        self.longest_first(room)
            .iter()
            .enumerate()
            .map(|(kind, &count)| i64::from(count) * self.instance.takes(kind))
            .sum()
    }

    /// The bars that fill `room` as far as it can be.
    fn best(&self, room: i64) -> Vec<u32> {
        let at = usize::try_from(room / self.step).unwrap_or(0);
        let Some(&fullest) = self.fullest.get(at) else {
            return self.longest_first(room);
        };
        let mut at = fullest;
        let mut counts = vec![0; self.demand.len()];
        while at > 0 {
            // What is before it was filled by earlier kinds alone.
            let (kind, count) = self.last[at];
            let kind = kind as usize;
            let takes = usize::try_from(self.instance.takes(kind) / self.step).unwrap_or(0);
            counts[kind] = count;
            at -= takes * count as usize;
        }
        counts
    }

    fn longest_first(&self, mut room: i64) -> Vec<u32> {
        self.demand
            .iter()
            .enumerate()
            .map(|(kind, &most)| {
                let takes = self.instance.takes(kind);
                let fit = u32::try_from(room / takes).unwrap_or(u32::MAX).min(most);
                room -= takes * i64::from(fit);
                fit
            })
            .collect()
    }
}
