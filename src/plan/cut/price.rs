//! Pricing: the cheapest way to cut a piece when bars are worth something, in whole numbers.
//!
//! # Method
//! A piece is a path through its positions (J. M. Valério de Carvalho, EJOR 141, 2002): a bar is an
//! arc that costs its soldering where it lies and gains what it is worth, a rest is an arc that costs
//! what it is. The shortest path prices leads and joints exactly. A usable rest of length r costs
//! −r² times a weight, which is a line in where it ends for each place where it begins: the least
//! of them is kept in a tree of lines. Pieces without joints need no positions but how much is
//! taken and how many leads are used, and share one table.
//!
//! Any whole-number weights and worths give a bound on all plans (J. Desrosiers, M. E. Lübbecke, in
//! *Column Generation*, Springer 2005, section 2.1), and nothing here is rounded.

use std::collections::VecDeque;

use super::{
    Fed,
    pattern::{Cost, Instance},
};

/// Beyond any cost; two of them still add up.
const NEVER: i64 = i64::MAX / 4;

/// What each objective weighs in a sum, and what a bar of each kind is worth in it.
#[derive(Debug, Clone, Default)]
pub(super) struct Weights {
    pub money: i64,
    pub solder: i64,
    pub scrap: i64,
    pub offcuts: i64,
    pub squares: i64,
    pub worth: Vec<i64>,
}

impl Weights {
    /// The weighted sum of a cost, without what bars are worth.
    pub fn of(&self, cost: Cost) -> i128 {
        i128::from(self.money) * i128::from(cost.money)
            + i128::from(self.solder) * i128::from(cost.solder)
            + i128::from(self.scrap) * i128::from(cost.scrap)
            + i128::from(self.offcuts) * i128::from(cost.offcuts)
            + i128::from(self.squares) * cost.squares_lost
    }

    /// Rests weigh nothing.
    pub fn rests_are_free(&self) -> bool {
        self.scrap == 0 && self.offcuts == 0 && self.squares == 0
    }

    /// What bars are worth together.
    pub fn worth_of(&self, counts: &[u32]) -> i128 {
        self.worth
            .iter()
            .zip(counts)
            .map(|(&worth, &count)| i128::from(worth) * i128::from(count))
            .sum()
    }

    /// A rest left in one piece.
    pub fn rest(&self, instance: &Instance, rest: i64) -> i64 {
        if rest <= 0 {
            0
        } else if rest >= instance.usable {
            self.offcuts - self.squares * rest * rest
        } else {
            self.scrap * rest
        }
    }

    /// A piece before anything is cut from it.
    pub fn piece(&self, instance: &Instance, class: usize) -> i64 {
        let class = &instance.classes[class];
        match class.price_minor {
            Some(price) => self.money * price,
            None => self.squares * class.whole * class.whole,
        }
    }
}

/// The cheapest way to cut a piece of a class.
#[derive(Debug, Clone)]
pub(super) struct Priced {
    /// What it costs less what its bars are worth.
    pub reduced: i64,
    /// Bars by kind.
    pub counts: Vec<u32>,
    /// Where they lie, for a piece with joints.
    pub bars: Vec<(usize, i64)>,
}

/// What pricing needs of an instance, worked out once.
#[derive(Debug)]
pub(super) struct Pricer {
    step: i64,
    takes: Vec<usize>,
    /// By class: its room in steps.
    room: Vec<usize>,
    /// By class with joints: what a fed end weighs at each position.
    weight_at: Vec<Vec<i64>>,
    /// The longest room of a class.
    longest: usize,
    /// Positions of pieces with joints, together.
    jointed: u64,
}

/// The longest piece that is priced, in steps of length.
const MOST_POSITIONS: i64 = 50_000;

fn index(units: i64) -> usize {
    usize::try_from(units).unwrap_or(0)
}

/// Counts bars by kind.
fn counted(kinds: usize, bars: impl Iterator<Item = usize>) -> Vec<u32> {
    let mut counts = vec![0; kinds];
    for kind in bars {
        counts[kind] += 1;
    }
    counts
}

impl Pricer {
    /// `None` where pieces are too long to be looked at by position.
    pub fn new(instance: &Instance) -> Option<Self> {
        let step = instance.step();
        let mut longest = 0;
        let mut jointed = 0;
        let mut room = Vec::new();
        let mut weight_at = Vec::new();
        for class in &instance.classes {
            if class.jointed && class.units > MOST_POSITIONS {
                return None;
            }
            let steps = instance.room(class) / step;
            if steps > MOST_POSITIONS {
                return None;
            }
            longest = longest.max(index(steps));
            room.push(index(steps));
            if class.jointed {
                jointed += class.units.unsigned_abs();
                weight_at.push(
                    (0..=class.units)
                        .map(|at| instance.weight_at(class, at))
                        .collect(),
                );
            } else {
                weight_at.push(Vec::new());
            }
        }
        Some(Self {
            step,
            takes: (0..instance.kinds.len())
                .map(|kind| index(instance.takes(kind) / step))
                .collect(),
            room,
            weight_at,
            longest,
            jointed,
        })
    }

    /// Positions looked at in one round over all classes.
    pub fn work(&self, weights: &Weights) -> u64 {
        let tables = if weights.solder == 0 { 1 } else { 3 };
        let jointed = if weights.solder == 0 && weights.rests_are_free() {
            0
        } else {
            self.jointed
        };
        (jointed + tables * self.longest as u64).saturating_mul(self.takes.len() as u64)
    }

    /// Prices each class that is `wanted`; bars of which nothing is `left` are not cut.
    pub fn price(
        &self,
        instance: &Instance,
        weights: &Weights,
        left: &[u32],
        wanted: impl Fn(usize) -> bool,
    ) -> Vec<Option<Priced>> {
        // Where neither soldering nor rests weigh anything, it does not matter where bars lie.
        let by_joints = weights.solder != 0 || !weights.rests_are_free();
        let jointed = |class: usize| by_joints && instance.classes[class].jointed;
        let plain = (0..instance.classes.len())
            .any(|class| wanted(class) && !jointed(class))
            .then(|| Table::new(self, instance, weights, left));
        (0..instance.classes.len())
            .map(|class| {
                if !wanted(class) {
                    None
                } else if jointed(class) {
                    self.on_joints(instance, weights, left, class)
                } else {
                    plain.as_ref()?.priced(self, instance, weights, left, class)
                }
            })
            .collect()
    }

    /// The shortest path through a piece with joints.
    fn on_joints(
        &self,
        instance: &Instance,
        weights: &Weights,
        left: &[u32],
        class: usize,
    ) -> Option<Priced> {
        let of = &instance.classes[class];
        let at = &self.weight_at[class];
        let length = index(of.units);
        let usable = index(instance.usable.max(1));
        // After a bar that ends here, and after a rest that ends here.
        let mut cut = vec![NEVER; length + 1];
        let mut cut_from = vec![(0_usize, false); length + 1];
        let mut rest_from = vec![0_usize; length + 1];
        let mut scraps: VecDeque<(i64, usize)> = VecDeque::new();
        let mut lines = Lines::new(if weights.squares > 0 { length + 1 } else { 1 });
        let kinds: Vec<(usize, usize, bool)> = (0..instance.kinds.len())
            .filter(|&kind| left[kind] > 0)
            .map(|kind| {
                let Fed::BothEnds = instance.kinds[kind].fed else {
                    return (kind, index(instance.kinds[kind].units), false);
                };
                (kind, index(instance.kinds[kind].units), true)
            })
            .collect();
        cut[0] = 0;
        let square = |at: usize| {
            let at = super::pattern::signed(at as u64);
            weights.squares * at * at
        };
        let signed = |at: usize| super::pattern::signed(at as u64);
        // Without a weight on squares a rest costs the same wherever it begins.
        let mut nearest: Option<(i64, usize)> = None;
        for here in 0..=length {
            if let Some(from) = here.checked_sub(usable)
                && cut[from] < NEVER
            {
                if weights.squares > 0 {
                    lines.add(Line {
                        slope: 2 * weights.squares * signed(from),
                        at_nought: cut[from] - square(from),
                        from,
                    });
                } else if nearest.is_none_or(|(known, _)| cut[from] < known) {
                    nearest = Some((cut[from], from));
                }
            }
            // A rest lies only before a bar that touches a joint or a lead, see `pattern`.
            let touches = |units: usize| {
                here + units <= length && at[here].min(at[here + units]) < instance.mark
            };
            let mut rested_here = NEVER;
            if kinds.iter().any(|&(_, units, _)| touches(units)) {
                // Rests that end here: scrap from nearby, offcuts from further off.
                while scraps
                    .front()
                    .is_some_and(|&(_, from)| here - from >= usable)
                {
                    scraps.pop_front();
                }
                let mut rest = (NEVER, 0);
                if let Some(&(known, from)) = scraps.front() {
                    rest = (known + weights.scrap * signed(here), from);
                }
                let offcut = if weights.squares > 0 {
                    lines
                        .least(here)
                        .map(|(least, from)| (least - square(here), from))
                } else {
                    nearest
                };
                if let Some((cost, from)) = offcut
                    && cost + weights.offcuts < rest.0
                {
                    rest = (cost + weights.offcuts, from);
                }
                rested_here = rest.0;
                rest_from[here] = rest.1;
            }
            if cut[here] < NEVER {
                let key = cut[here] - weights.scrap * signed(here);
                while scraps.back().is_some_and(|&(known, _)| known >= key) {
                    scraps.pop_back();
                }
                scraps.push_back((key, here));
            }
            if rested_here.min(cut[here]) >= NEVER {
                continue;
            }
            for &(kind, units, both) in &kinds {
                let to = here + units;
                if to > length {
                    continue;
                }
                let after_rest = rested_here < cut[here] && touches(units);
                let so_far = if after_rest { rested_here } else { cut[here] };
                if so_far >= NEVER {
                    continue;
                }
                let solder = if both {
                    at[here] + at[to]
                } else {
                    at[here].min(at[to])
                };
                let cost = so_far + weights.solder * solder - weights.worth[kind];
                if cost < cut[to] {
                    cut[to] = cost;
                    cut_from[to] = (kind, after_rest);
                }
            }
        }
        let (reduced, mut place) = (1..=length)
            .filter(|&place| cut[place] < NEVER)
            .map(|place| {
                let rest = weights.rest(instance, signed(length - place));
                (cut[place] + rest, place)
            })
            .min()?;
        let mut bars = Vec::new();
        while place > 0 {
            let (kind, after_rest) = cut_from[place];
            place -= index(instance.kinds[kind].units);
            bars.push((kind, signed(place)));
            if after_rest {
                place = rest_from[place];
            }
        }
        bars.reverse();
        Some(Priced {
            reduced: reduced + weights.piece(instance, class),
            counts: counted(left.len(), bars.iter().map(|&(kind, _)| kind)),
            bars,
        })
    }
}

/// For pieces without joints: the cheapest bars by how much they take and how many leads they use.
struct Table {
    /// By leads used at most, by steps taken: the cost, and the bar laid last with whether it took a
    /// lead.
    cheapest: [Vec<(i64, u32)>; 3],
    most_leads: usize,
}

impl Table {
    fn new(pricer: &Pricer, instance: &Instance, weights: &Weights, left: &[u32]) -> Self {
        let size = pricer.longest + 1;
        let most_leads = instance
            .classes
            .iter()
            .filter(|class| !class.jointed && weights.solder != 0)
            .map(super::pattern::Class::leads)
            .max()
            .unwrap_or(0);
        let saved = weights.solder * (instance.mark - instance.lead);
        let bars: Vec<(u32, usize, i64)> = (0..left.len())
            .filter(|&kind| left[kind] > 0)
            .map(|kind| {
                let ends = match instance.kinds[kind].fed {
                    Fed::OneEnd => 1,
                    Fed::BothEnds => 2,
                };
                let cost = weights.solder * instance.mark * ends - weights.worth[kind];
                (u32::try_from(kind).unwrap_or(0), pricer.takes[kind], cost)
            })
            .collect();
        let mut cheapest: [Vec<(i64, u32)>; 3] = Default::default();
        for leads in 0..=index(most_leads) {
            let mut table: Vec<(i64, u32)> = match leads {
                0 => vec![(NEVER, 0); size],
                _ => cheapest[leads - 1].clone(),
            };
            table[0].0 = 0;
            for at in 1..size {
                let mut best = (NEVER, 0);
                for &(kind, takes, cost) in &bars {
                    let Some(before) = at.checked_sub(takes) else {
                        continue;
                    };
                    let plain = table[before].0 + cost;
                    if plain < best.0 {
                        best = (plain, 2 * kind);
                    }
                    if leads > 0 {
                        let leaded = cheapest[leads - 1][before].0 + cost - saved;
                        if leaded < best.0 {
                            best = (leaded, 2 * kind + 1);
                        }
                    }
                }
                if best.0 < NEVER / 2 {
                    table[at] = best;
                }
            }
            cheapest[leads] = table;
        }
        Self {
            cheapest,
            most_leads: index(most_leads),
        }
    }

    fn priced(
        &self,
        pricer: &Pricer,
        instance: &Instance,
        weights: &Weights,
        left: &[u32],
        class: usize,
    ) -> Option<Priced> {
        let of = &instance.classes[class];
        let leads = index(of.leads()).min(self.most_leads);
        let table = &self.cheapest[leads];
        let mut best: Option<(i64, usize)> = None;
        for (at, &(cost, _)) in table
            .iter()
            .enumerate()
            .take(pricer.room[class] + 1)
            .skip(1)
        {
            if cost < NEVER / 2 {
                let taken = super::pattern::signed(at as u64) * pricer.step;
                let reduced = cost + weights.rest(instance, of.units - taken);
                if best.is_none_or(|(known, _)| reduced < known) {
                    best = Some((reduced, at));
                }
            }
        }
        let mut cheapest = best.map(|(reduced, mut at)| {
            let mut counts = vec![0; left.len()];
            let mut leads = leads;
            while at > 0 {
                let last = self.cheapest[leads][at].1;
                let kind = (last / 2) as usize;
                counts[kind] += 1;
                at -= pricer.takes[kind];
                if last % 2 == 1 {
                    leads -= 1;
                }
            }
            Priced {
                reduced,
                counts,
                bars: Vec::new(),
            }
        });
        // A bar that is the whole piece lies on both of its leads.
        for kind in 0..left.len() {
            let whole = instance.kinds[kind].units == of.units
                && instance.kinds[kind].fed == Fed::BothEnds
                && leads == 2
                && left[kind] > 0;
            let reduced =
                2 * weights.solder * instance.lead - weights.worth.get(kind).copied().unwrap_or(0);
            if whole
                && cheapest
                    .as_ref()
                    .is_none_or(|known| reduced < known.reduced)
            {
                cheapest = Some(Priced {
                    reduced,
                    counts: counted(left.len(), std::iter::once(kind)),
                    bars: Vec::new(),
                });
            }
        }
        let mut cheapest = cheapest?;
        cheapest.reduced += weights.piece(instance, class);
        Some(cheapest)
    }
}

/// A rest that begins at `from`, by where it ends.
#[derive(Debug, Clone, Copy)]
struct Line {
    slope: i64,
    at_nought: i64,
    from: usize,
}

impl Line {
    fn at(self, place: usize) -> i64 {
        self.at_nought + self.slope * super::pattern::signed(place as u64)
    }
}

/// The least of many lines at whole places from 0 on, by a tree over the places.
struct Lines {
    size: usize,
    tree: Vec<Option<Line>>,
}

impl Lines {
    fn new(places: usize) -> Self {
        let size = places.next_power_of_two();
        Self {
            size,
            tree: vec![None; 2 * size],
        }
    }

    fn add(&mut self, mut line: Line) {
        let (mut node, mut from, mut to) = (1, 0, self.size);
        loop {
            let Some(known) = &mut self.tree[node] else {
                self.tree[node] = Some(line);
                return;
            };
            let middle = usize::midpoint(from, to);
            if line.at(middle) < known.at(middle) {
                std::mem::swap(known, &mut line);
            }
            if to - from == 1 {
                return;
            }
            // The one that lost in the middle can win on one side only.
            if line.at(from) < known.at(from) {
                (node, to) = (2 * node, middle);
            } else if line.at(to - 1) < known.at(to - 1) {
                (node, from) = (2 * node + 1, middle);
            } else {
                return;
            }
        }
    }

    fn least(&self, place: usize) -> Option<(i64, usize)> {
        let (mut node, mut from, mut to) = (1, 0, self.size);
        let mut best: Option<(i64, usize)> = None;
        loop {
            // Where a node is empty, so are all below it.
            let line = self.tree[node]?;
            let _ = line;
            let value = line.at(place);
            if best.is_none_or(|(known, _)| value < known) {
                best = Some((value, line.from));
            }
            if to - from == 1 {
                return best;
            }
            let middle = usize::midpoint(from, to);
            if place < middle {
                (node, to) = (2 * node, middle);
            } else {
                (node, from) = (2 * node + 1, middle);
            }
            if self.tree[node].is_none() {
                return best;
            }
        }
    }
}
