//! Lower bounds: what no plan can do better than.
//!
//! # Method
//! Give every kind of bar a whole-number weight. Whatever a piece is cut into, the bars
//! from it weigh at most the piece's *capacity*, the greatest weight of a set of bars that
//! fits; so all pieces used must have capacity for all bars served. Any weights give a
//! valid bound. Used are the lengths themselves, one for every bar, and the dual feasible
//! functions of G. S. Lueker and of S. P. Fekete and J. Schepers (*New classes of fast
//! lower bounds for bin packing problems*, Mathematical Programming 91, 2001), taken over
//! every piece length, and the prices of a linear relaxation ([`super::column`]). All
//! arithmetic is in whole numbers, so no margin is needed.
//!
//! Soldering is bounded by counting ends that need a feed against leads that can be had, two
//! of them for one bar only where it takes a whole piece;
//! the squares by what must be cut from stock at least.

use std::collections::BTreeSet;

use super::{
    Fed,
    pattern::{Class, Cost, Instance, gcd},
};

/// Capacities are found for pieces up to this many steps of length; beyond it the
/// capacity is estimated from above by weight per length.
const MOST_POSITIONS: i64 = 20_000;
/// The weight up to which the cheapest rolls are tabulated exactly.
const MOST_TABLE: i64 = 50_000;
/// Weights that are tried whatever the time: lengths, and numbers.
const PLAINEST: usize = 2;
/// Weightings kept for the search.
const MOST_WEIGHTINGS: usize = 6;

/// One set of weights with what follows from it.
#[derive(Debug)]
pub(super) struct Weighting {
    /// By kind.
    pub weight: Vec<i64>,
    /// By class of pieces.
    pub capacity: Vec<i64>,
    heaviest: i64,
    /// Capacity of all limited rolls together; `None` when some roll has no limit.
    rolls: Option<i64>,
    /// Least money by weight that rolls must carry, as far as it is tabulated.
    table: Vec<i64>,
    /// Price and capacity of each roll that can carry anything.
    offers: Vec<(i64, i64)>,
}

impl Weighting {
    fn new(instance: &Instance, weight: Vec<i64>) -> Self {
        let capacity = capacities(instance, &weight);
        let mut offers = Vec::new();
        let mut rolls = Some(0_i64);
        for (class, &capacity) in instance.classes.iter().zip(&capacity) {
            if let Some(price) = class.price_minor.filter(|_| capacity > 0) {
                offers.push((price, capacity));
                rolls = rolls.zip(class.available).map(|(sum, many)| {
                    sum.saturating_add(capacity.saturating_mul(i64::from(many)))
                });
            }
        }
        let total = total(&weight, &instance.demand);
        let mut table = Vec::new();
        if total <= MOST_TABLE && !offers.is_empty() {
            table.push(0);
            for load in 1..=total {
                let least = offers
                    .iter()
                    .map(|&(price, capacity)| {
                        price + table[usize::try_from(load - capacity).unwrap_or(0)]
                    })
                    .min();
                table.push(least.unwrap_or(0));
            }
        }
        Self {
            heaviest: weight.iter().copied().max().unwrap_or(0),
            weight,
            capacity,
            rolls,
            table,
            offers,
        }
    }

    /// The fewest bars left short when bars of weight `demand` meet stock of capacity
    /// `stock`.
    fn short(&self, demand: i64, stock: i64) -> i64 {
        match self.rolls {
            Some(rolls) if self.heaviest > 0 => {
                let over = demand - stock.saturating_add(rolls);
                ceil(over.max(0), self.heaviest)
            }
            _ => 0,
        }
    }

    /// The least money for rolls, when `short` bars are left out.
    pub fn money(&self, demand: i64, stock: i64, short: i64) -> i64 {
        let load = demand - stock - self.heaviest.saturating_mul(short);
        if load <= 0 || self.offers.is_empty() {
            return 0;
        }
        if let Some(&least) = usize::try_from(load)
            .ok()
            .and_then(|load| self.table.get(load))
        {
            return least;
        }
        if let [(price, capacity)] = self.offers[..] {
            return ceil(load, capacity).saturating_mul(price);
        }
        let least = self
            .offers
            .iter()
            .map(|&(price, capacity)| {
                let least = i128::from(load) * i128::from(price);
                let capacity = i128::from(capacity);
                i64::try_from((least + capacity - 1) / capacity).unwrap_or(i64::MAX)
            })
            .min()
            .unwrap_or(0);
        // Whatever is bought costs a multiple of what all prices are multiples of.
        let coin = self
            .offers
            .iter()
            .map(|&(price, _)| price)
            .fold(0, gcd)
            .max(1);
        ceil(least, coin).saturating_mul(coin)
    }
}

fn ceil(amount: i64, by: i64) -> i64 {
    (amount + by - 1) / by
}

fn total(weight: &[i64], demand: &[u32]) -> i64 {
    weight
        .iter()
        .zip(demand)
        .map(|(&weight, &count)| weight * i64::from(count))
        .sum()
}

/// What a state of the search still has and needs, summed once and kept up to date.
#[derive(Debug, Clone)]
pub(super) struct Load {
    /// By weighting: weight of the bars still wanted, capacity of the stock still there.
    weighed: [(i64, i64); MOST_WEIGHTINGS],
    /// Fed ends of the bars still wanted.
    ends: i64,
    /// How many of these ends leads could serve if there were enough of them.
    leadable: i64,
    /// Leads of the stock still there.
    leads: i64,
    /// Units of the bars still wanted.
    units: i64,
}

/// The bounds for one instance.
#[derive(Debug)]
pub(super) struct Bounds {
    weightings: Vec<Weighting>,
    /// Weight of a fed end where there is no lead, at least.
    without_lead: i64,
    lead: i64,
    /// Price and leads of the rolls.
    rolls: Vec<(i64, i64)>,
    fed: Vec<i64>,
    /// Ends of a bar that can lie on leads, by kind: both only where a bar takes a whole piece.
    leadable: Vec<i64>,
    kind_units: Vec<i64>,
    most_fed: i64,
    shortest_stock: i64,
    longest_roll: i64,
}

impl Bounds {
    pub fn new(instance: &Instance, stop: &dyn Fn() -> bool) -> Self {
        let jointed = instance.classes.iter().any(|class| class.jointed);
        let fed: Vec<i64> = instance
            .kinds
            .iter()
            .map(|kind| match kind.fed {
                Fed::OneEnd => 1,
                Fed::BothEnds => 2,
            })
            .collect();
        let stock = instance
            .classes
            .iter()
            .filter(|class| class.price_minor.is_none());
        let rolls = instance
            .classes
            .iter()
            .filter(|class| class.price_minor.is_some());
        let mut bounds = Self {
            weightings: Vec::new(),
            without_lead: if jointed {
                instance.joint
            } else {
                instance.mark
            },
            lead: instance.lead,
            rolls: rolls
                .clone()
                .map(|class| (class.price_minor.unwrap_or(0), class.leads()))
                .collect(),
            leadable: instance
                .kinds
                .iter()
                .zip(&fed)
                .map(|(kind, &fed)| {
                    let whole = |class: &Class| class.leads() == 2 && class.units == kind.units;
                    if instance.classes.iter().any(whole) {
                        fed
                    } else {
                        1
                    }
                })
                .collect(),
            most_fed: fed.iter().copied().max().unwrap_or(0),
            fed,
            kind_units: instance.kinds.iter().map(|kind| kind.units).collect(),
            shortest_stock: stock.map(|class| class.units).min().unwrap_or(0),
            longest_roll: rolls.map(|class| class.units).max().unwrap_or(0),
        };
        let mut ranked: Vec<(i64, i64, Weighting)> = Vec::new();
        for (at, weight) in candidates(instance).into_iter().enumerate() {
            // Each bounds by itself: the plainest two do where there is no time for more.
            if at >= PLAINEST && stop() {
                break;
            }
            let weighting = Weighting::new(instance, weight);
            let demand = total(&weighting.weight, &instance.demand);
            let stock = stock_capacity(instance, &weighting.capacity);
            let short = weighting.short(demand, stock);
            ranked.push((short, weighting.money(demand, stock, short), weighting));
        }
        // Stable: among equal bounds the simpler weights come first.
        ranked.sort_by_key(|(short, money, _)| (-short, -money));
        ranked.truncate(MOST_WEIGHTINGS);
        bounds.weightings = ranked
            .into_iter()
            .map(|(.., weighting)| weighting)
            .collect();
        bounds
    }

    /// By kind the weights, and by class the most of them that one holds.
    pub fn weightings(&self) -> impl Iterator<Item = (&[i64], &[i64])> {
        (self.weightings.iter()).map(|of| (&of.weight[..], &of.capacity[..]))
    }

    pub fn into_weightings(self) -> Vec<Weighting> {
        self.weightings
    }

    /// Takes one more set of weights in, which stands before the others.
    pub fn add(&mut self, instance: &Instance, weight: Vec<i64>) {
        self.weightings.truncate(MOST_WEIGHTINGS - 1);
        self.weightings.insert(0, Weighting::new(instance, weight));
    }

    fn weighed(&self, of: impl Fn(usize) -> (i64, i64)) -> [(i64, i64); MOST_WEIGHTINGS] {
        let mut weighed = [(0, 0); MOST_WEIGHTINGS];
        for (index, weighed) in weighed.iter_mut().enumerate().take(self.weightings.len()) {
            *weighed = of(index);
        }
        weighed
    }

    /// The load of `demand` against `available` pieces of each class.
    pub fn load(&self, instance: &Instance, demand: &[u32], available: &[Option<u32>]) -> Load {
        let per_class = |capacity: &dyn Fn(usize) -> i64| -> i64 {
            instance
                .classes
                .iter()
                .enumerate()
                .filter(|(_, class)| class.price_minor.is_none())
                .map(|(index, _)| capacity(index) * i64::from(available[index].unwrap_or(0)))
                .sum()
        };
        Load {
            weighed: self.weighed(|index| {
                let weighting = &self.weightings[index];
                let stock = per_class(&|class| weighting.capacity[class]);
                (total(&weighting.weight, demand), stock)
            }),
            ends: total(&self.fed, demand),
            leadable: total(&self.leadable, demand),
            leads: per_class(&|class| instance.classes[class].leads()),
            units: total(&self.kind_units, demand),
        }
    }

    /// The load after a piece of `class` gave `counts`.
    pub fn after(&self, load: &Load, instance: &Instance, class: usize, counts: &[u32]) -> Load {
        let of = &instance.classes[class];
        let is_stock = i64::from(of.price_minor.is_none());
        Load {
            weighed: self.weighed(|index| {
                let weighting = &self.weightings[index];
                let (demand, stock) = load.weighed[index];
                (
                    demand - total(&weighting.weight, counts),
                    stock - is_stock * weighting.capacity[class],
                )
            }),
            ends: load.ends - total(&self.fed, counts),
            leadable: load.leadable - total(&self.leadable, counts),
            leads: load.leads - is_stock * of.leads(),
            units: load.units - total(&self.kind_units, counts),
        }
    }

    /// The load after `count` bars of `kind` were given up.
    pub fn without(&self, load: &Load, kind: usize, count: u32) -> Load {
        let count = i64::from(count);
        Load {
            weighed: self.weighed(|index| {
                let (demand, stock) = load.weighed[index];
                (demand - count * self.weightings[index].weight[kind], stock)
            }),
            ends: load.ends - count * self.fed[kind],
            leadable: load.leadable - count * self.leadable[kind],
            leads: load.leads,
            units: load.units - count * self.kind_units[kind],
        }
    }

    /// A cost that no way to serve the load is below.
    pub fn least(&self, load: &Load) -> Cost {
        let best = |of: &dyn Fn(&Weighting, i64, i64) -> i64| {
            self.weightings
                .iter()
                .zip(&load.weighed)
                .map(|(weighting, &(demand, stock))| of(weighting, demand, stock))
                .max()
                .unwrap_or(0)
        };
        let short = best(&|weighting, demand, stock| weighting.short(demand, stock));
        let money = best(&|weighting, demand, stock| weighting.money(demand, stock, short));
        Cost {
            short,
            money,
            solder: self.solder(load, short, money),
            scrap: 0,
            offcuts: 0,
            squares_lost: self.squares_lost(load, short, money),
        }
    }

    /// Least soldering for the load when exactly `short` bars are left out and exactly
    /// `money` is spent.
    pub fn solder(&self, load: &Load, short: i64, money: i64) -> i64 {
        let ends = (load.ends - short * self.most_fed).max(0);
        let mut leads = i128::from(load.leads);
        // The most leads that the money can bring, at the best leads per price.
        let mut bought = 0_i128;
        for &(price, with) in self.rolls.iter().filter(|(_, with)| *with > 0) {
            if price == 0 {
                bought = i128::MAX / 4;
                continue;
            }
            bought = bought.max(i128::from(money) * i128::from(with) / i128::from(price));
        }
        leads += bought;
        let leaded = i64::try_from(leads)
            .unwrap_or(i64::MAX)
            .min(ends)
            .min(load.leadable);
        leaded * self.lead + (ends - leaded) * self.without_lead
    }

    fn squares_lost(&self, load: &Load, short: i64, money: i64) -> i128 {
        let cheapest = self.rolls.iter().map(|&(price, _)| price).min();
        match cheapest {
            Some(0) => i128::MIN / 4,
            Some(price) if money >= price => {
                let rolls = i128::from(money / price);
                -rolls * i128::from(self.longest_roll) * i128::from(self.longest_roll)
            }
            // All comes from stock, and cutting u from a piece of U loses U² − (U − u)²,
            // which is at least u·U.
            _ if short == 0 => i128::from(load.units) * i128::from(self.shortest_stock),
            _ => 0,
        }
    }
}

fn stock_capacity(instance: &Instance, capacity: &[i64]) -> i64 {
    instance
        .classes
        .iter()
        .zip(capacity)
        .filter(|(class, _)| class.price_minor.is_none())
        .map(|(class, capacity)| capacity * i64::from(class.available.unwrap_or(0)))
        .sum()
}

/// Weights worth trying, simplest first.
fn candidates(instance: &Instance) -> Vec<Vec<i64>> {
    let takes: Vec<i64> = (0..instance.kinds.len())
        .map(|kind| instance.takes(kind))
        .collect();
    let mut all = vec![takes.clone(), vec![1; takes.len()]];
    let mut rooms: BTreeSet<i64> = BTreeSet::new();
    for class in &instance.classes {
        if class.price_minor.is_some() {
            rooms.insert(instance.room(class));
        }
    }
    if let Some(longest) = instance
        .classes
        .iter()
        .map(|class| instance.room(class))
        .max()
    {
        rooms.insert(longest);
    }
    for room in rooms.into_iter().rev().take(4) {
        for k in 1..=6_i64 {
            // u(k): as the bar where it takes a whole (k+1)-th of the piece, else rounded down
            // to k-ths; all multiplied by k × room.
            all.push(
                takes
                    .iter()
                    .map(|&bar| {
                        if (k + 1) * bar % room == 0 {
                            bar * k
                        } else {
                            (k + 1) * bar / room * room
                        }
                    })
                    .collect(),
            );
            // How many (k+1)-ths of the piece, rounded down.
            all.push(
                takes
                    .iter()
                    .map(|&bar| (k + 1) * bar / (room + 1))
                    .collect(),
            );
        }
        // Bars that leave less than `small` count as whole pieces, smaller ones not at all.
        for &small in takes.iter().filter(|&&bar| 2 * bar <= room).take(8) {
            all.push(
                takes
                    .iter()
                    .map(|&bar| match bar {
                        bar if bar > room - small => room,
                        bar if bar >= small => bar,
                        _ => 0,
                    })
                    .collect(),
            );
        }
    }
    let mut seen = BTreeSet::new();
    all.retain(|weight| weight.iter().any(|&weight| weight > 0) && seen.insert(weight.clone()));
    all
}

/// The greatest weight of bars, no more of a kind than wanted, that fits each class.
fn capacities(instance: &Instance, weight: &[i64]) -> Vec<i64> {
    let step = instance.step();
    let longest = instance
        .classes
        .iter()
        .map(|class| instance.room(class) / step)
        .max()
        .unwrap_or(0);
    if longest > MOST_POSITIONS {
        return instance
            .classes
            .iter()
            .map(|class| by_density(instance, weight, instance.room(class)))
            .collect();
    }
    let length = usize::try_from(longest).unwrap_or(0);
    let mut best = vec![0_i64; length + 1];
    for (kind, &weight) in weight.iter().enumerate().filter(|(_, weight)| **weight > 0) {
        let takes = usize::try_from(instance.takes(kind) / step).unwrap_or(usize::MAX);
        // In binary shares, so that any number up to the demand can be made up.
        let mut left = instance.demand[kind] as usize;
        let mut share = 1;
        while left > 0 {
            let many = share.min(left);
            left -= many;
            share *= 2;
            let Some(span) = takes.checked_mul(many).filter(|&span| span <= length) else {
                continue;
            };
            let gain = weight * super::pattern::signed(many as u64);
            for at in (span..=length).rev() {
                best[at] = best[at].max(best[at - span] + gain);
            }
        }
    }
    instance
        .classes
        .iter()
        .map(|class| best[usize::try_from(instance.room(class) / step).unwrap_or(0)])
        .collect()
}

/// From above: the room filled with the bars of most weight per length, in parts if need be.
fn by_density(instance: &Instance, weight: &[i64], room: i64) -> i64 {
    let mut kinds: Vec<usize> = (0..weight.len()).collect();
    kinds.sort_by(|&a, &b| {
        let by = |x: usize, y: usize| i128::from(weight[x]) * i128::from(instance.takes(y));
        by(b, a).cmp(&by(a, b))
    });
    let (mut room, mut sum) = (room, 0_i64);
    for kind in kinds {
        let takes = instance.takes(kind);
        let fit = (room / takes).min(i64::from(instance.demand[kind]));
        sum += fit * weight[kind];
        room -= fit * takes;
        if fit < i64::from(instance.demand[kind]) {
            let part = i128::from(room) * i128::from(weight[kind]) / i128::from(takes);
            return sum.saturating_add(i64::try_from(part).unwrap_or(i64::MAX));
        }
    }
    sum
}
