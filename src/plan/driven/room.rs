//! One room: the best way to feed its loads from so many units of each kind, level by level.

use super::{
    Bought, DriverKind, LEVELS, Load, Origin, Question, SupplyKind, UsedDriver, UsedSupply,
    cover::{self, Cost, Covers, Item, Row, What, minus, plus},
    pack::{self, Found, Given, Packed},
    settle,
    share::{even, even_of_many},
};
use crate::plan::answer::{Proof, Why};

/// Steps of one search for a packing.
const PACK_STEPS: u64 = 6_000;
/// The same where there are many loads.
const TRY_STEPS: u64 = 120;
/// Steps to find one set that covers.
const COVER_STEPS: u64 = 500;
/// Sets that are tried.
const SETS: usize = 60;
/// Sets of equal cost that are looked at.
const TIES: usize = 24;
/// Loads up to which the most even way is searched for through all ways.
pub(super) const FEW_LOADS: usize = 12;

/// How many of a kind a room may have: mounted, on the shelf, to be bought.
pub(super) type Cap = [u32; 3];

/// The loads of a room, and the kinds that may serve them.
pub(super) struct Room<'q> {
    question: &'q Question,
    number: usize,
    /// Places in the question's list.
    ids: Vec<usize>,
    /// Loads that something can serve; by place in [`Room::drivers`] whether it does alone.
    pub(super) loads: Vec<Load>,
    /// Loads that nothing serves, by place in the question's list.
    pub(super) impossible: Vec<usize>,
    pub(super) drivers: Vec<usize>,
    pub(super) supplies: Vec<usize>,
    /// Of each kind, drivers and then supplies.
    caps: Vec<Cap>,
}

/// What came out for a room.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    pub(super) drivers: Vec<UsedDriver>,
    /// With their places in [`Solved::drivers`] feeding from them.
    pub(super) supplies: Vec<UsedSupply>,
    pub(super) unserved: Vec<usize>,
    pub(super) values: [i128; LEVELS],
    pub(super) bounds: [Option<i128>; LEVELS],
    pub(super) why: [Option<Bought>; 2],
    /// How many of each kind of the question it has, drivers and then supplies.
    pub(super) uses: Vec<Cap>,
}

impl<'q> Room<'q> {
    /// All rooms as one, where loads of different rooms share as if they stood together: what that
    /// costs at least, the rooms cost at least.
    pub(super) fn merged(question: &'q Question, all: &[Cap]) -> Self {
        Self::of(question, None, all)
    }

    /// Takes the kinds that may serve from what the room may have of each kind of the question.
    pub(super) fn new(question: &'q Question, number: usize, all: &[Cap]) -> Self {
        Self::of(question, Some(number), all)
    }

    fn of(question: &'q Question, number: Option<usize>, all: &[Cap]) -> Self {
        let some = |cap: &Cap| cap.iter().any(|it| *it > 0);
        let ids: Vec<usize> = (0..question.loads.len())
            .filter(|&at| number.is_none_or(|number| question.loads[at].room == number))
            .collect();
        let supplies: Vec<usize> = (0..question.supplies.len())
            .filter(|&at| {
                let kind = &question.supplies[at];
                number.is_none_or(|number| kind.rooms.get(number) == Some(&true))
                    && kind.pairs != Some(0)
                    && some(&all[question.drivers.len() + at])
            })
            .collect();
        let largest = supplies
            .iter()
            .map(|&at| question.supplies[at].usable_ma)
            .max();
        let carries = |kind: usize, load: usize| {
            let (driver, load) = (&question.drivers[kind], &question.loads[load]);
            load.alone.get(kind) == Some(&true)
                && driver.inlets.iter().any(|outputs| *outputs > 0)
                && driver.inlet_ma.is_none_or(|most| load.total_ma <= most)
                && driver.whole_ma.is_none_or(|most| load.total_ma <= most)
                && largest.is_some_and(|most| load.total_ma <= most)
        };
        let drivers: Vec<usize> = (0..question.drivers.len())
            .filter(|&kind| some(&all[kind]) && ids.iter().any(|&load| carries(kind, load)))
            .collect();
        let (can, impossible): (Vec<usize>, Vec<usize>) =
            (ids.iter()).partition(|&&load| drivers.iter().any(|&kind| carries(kind, load)));
        let loads: Vec<Load> = can
            .iter()
            .map(|&load| Load {
                alone: drivers.iter().map(|&kind| carries(kind, load)).collect(),
                ..question.loads[load].clone()
            })
            .collect();
        let most = u32::try_from(loads.len()).unwrap_or(u32::MAX);
        let caps = (drivers.iter().copied())
            .chain(supplies.iter().map(|at| question.drivers.len() + at))
            .map(|at| all[at].map(|count| count.min(most)))
            .collect();
        let number = number.unwrap_or(usize::MAX);
        Self {
            question,
            number,
            ids: can,
            loads,
            impossible,
            drivers,
            supplies,
            caps,
        }
    }

    pub(super) fn driver(&self, at: usize) -> &DriverKind {
        &self.question.drivers[self.drivers[at]]
    }

    pub(super) fn supply(&self, at: usize) -> &SupplyKind {
        &self.question.supplies[self.supplies[at]]
    }

    /// Outputs of one driver of a kind.
    pub(super) fn places(&self, at: usize) -> usize {
        self.driver(at)
            .inlets
            .iter()
            .map(|outputs| usize::from(*outputs))
            .sum()
    }

    pub(super) fn largest_supply(&self) -> i64 {
        let all = (0..self.supplies.len()).map(|at| self.supply(at).usable_ma);
        all.max().unwrap_or(0)
    }

    /// Loads that few kinds take, and large ones, are hard to place.
    pub(super) fn hardness(&self, load: usize) -> (usize, i64) {
        let load = &self.loads[load];
        let cannot = load.alone.iter().filter(|alone| !**alone).count();
        (cannot, load.total_ma)
    }

    /// What an output of any kind carries at most that loads of a group share.
    fn shared(&self, group: usize) -> Option<i64> {
        let all = 0..self.drivers.len();
        all.filter_map(|at| self.driver(at).shared.get(group).copied().flatten())
            .map(|most| most.output_ma)
            .max()
    }

    /// Whether any two loads may share an output.
    pub(super) fn shares(&self) -> bool {
        let groups = self.loads.iter().filter_map(|load| load.group);
        let mut met = std::collections::BTreeSet::new();
        groups
            .into_iter()
            .any(|group| !met.insert(group) && self.shared(group).is_some())
    }

    /// Outputs that some of the loads need at least.
    pub(super) fn outputs_at_least(&self, among: &dyn Fn(&Load) -> bool) -> i64 {
        let mut single = 0;
        let mut groups: std::collections::BTreeMap<usize, i64> = std::collections::BTreeMap::new();
        for load in self.loads.iter().filter(|load| among(load)) {
            let group = load.group.filter(|_| !load.channels.is_empty());
            match group.and_then(|group| Some((group, self.shared(group)?))) {
                Some((group, most)) if load.total_ma <= most => {
                    *groups.entry(group).or_insert(0) += load.total_ma;
                }
                _ => single += 1,
            }
        }
        let shared = groups.into_iter().map(|(group, sum)| {
            let most = self.shared(group).unwrap_or(0).max(1);
            ((sum + most - 1) / most).max(1)
        });
        single + shared.sum::<i64>()
    }

    /// By place in [`Room::supplies`]: whether it may feed the load.
    pub(super) fn fed_by(&self, load: &Load) -> Vec<bool> {
        let kinds = self.supplies.iter().map(|&at| &self.question.supplies[at]);
        kinds
            .map(|kind| kind.rooms.get(load.room) == Some(&true))
            .collect()
    }

    /// The least cost and then the fewest units bought that any set comes to that covers all but so
    /// many of the loads, as far as the steps reach.
    pub(super) fn cost_at_least(&self, skips: usize, steps: &mut u64) -> Cost {
        let rows = cover::rows(self, skips);
        let items = self.items(Origin::Bought);
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let mut covers = Covers::new(&rows, &items, self.drivers.len(), &there);
        let floor = covers.floor();
        match covers.next(steps) {
            Ok(Some((cost, _))) => cost,
            Ok(None) => floor.unwrap_or_default(),
            Err(()) => covers.floor().unwrap_or_default(),
        }
    }

    fn item(&self, kind: usize, origin: Origin) -> Item {
        let stock = match kind.checked_sub(self.drivers.len()) {
            None => self.driver(kind).stock,
            Some(supply) => self.supply(supply).stock,
        };
        let cost = match origin {
            Origin::Mounted => [0; 3],
            Origin::Shelf => [0, 0, 1],
            Origin::Bought => [stock.buy.map_or(0, |buy| buy.cost), 1, 0],
        };
        Item {
            kind,
            cost,
            most: self.caps[kind][origin as usize],
        }
    }

    fn items(&self, origin: Origin) -> Vec<Item> {
        (0..self.caps.len())
            .map(|kind| self.item(kind, origin))
            .filter(|item| item.most > 0)
            .collect()
    }

    fn there(&self, origins: &[Origin]) -> Vec<u32> {
        let sum = |cap: &Cap| origins.iter().map(|it| cap[*it as usize]).sum();
        self.caps.iter().map(sum).collect()
    }

    /// What a packing comes to.
    fn values(&self, packed: &Packed) -> [i128; LEVELS] {
        let mut counts = vec![0_u32; self.caps.len()];
        for driver in &packed.drivers {
            counts[driver.kind] += 1;
        }
        for (kind, _) in &packed.supplies {
            counts[self.drivers.len() + kind] += 1;
        }
        let mut cost: Cost = [0; 3];
        for (kind, &count) in counts.iter().enumerate() {
            let mut left = count;
            for origin in [Origin::Mounted, Origin::Shelf, Origin::Bought] {
                let item = self.item(kind, origin);
                let take = left.min(item.most);
                left -= take;
                for (sum, each) in cost.iter_mut().zip(item.cost) {
                    *sum += each * i128::from(take);
                }
            }
        }
        let inlets = i128::from(inlets(packed));
        let unserved = packed.left.len() + self.impossible.len();
        [
            i128::try_from(unserved).unwrap_or(i128::MAX),
            cost[0],
            cost[1],
            inlets * i128::from(self.question.feed_um),
            cost[2],
            even(packed.supplies.iter().map(|(_, ma)| *ma)),
        ]
    }

    /// Steps that it may always take: a search that goes straight through ends in them.
    pub(super) fn sure(&self) -> u64 {
        let loads = u64::try_from(self.loads.len()).unwrap_or(0);
        if self.loads.len() > FEW_LOADS {
            1_000 + 20 * loads
        } else {
            2 * loads + 10
        }
    }

    /// The best way, level by level; that of evenness only where it is asked for.
    pub(super) fn solve(&self, even: bool, steps: &mut u64) -> Solved {
        let nothing = Packed {
            left: (0..self.loads.len()).collect(),
            ..Packed::default()
        };
        let mut best = Best {
            packed: nothing,
            bounds: [None; LEVELS],
        };
        // Many loads are served some cheap way first: a limit to every search after it.
        let star = (self.loads.len() > FEW_LOADS)
            .then(|| self.cheap(&cover::rows(self, 0), &mut best, steps))
            .flatten();
        let (skips, least) = if star.is_some() {
            (0, None)
        } else {
            self.fewest_out(&mut best, steps)
        };
        let unserved = least.unwrap_or(skips).min(skips) + self.impossible.len();
        best.bounds[0] = i128::try_from(unserved).ok();
        let rows = cover::rows(self, skips);
        let ties = self.cheapest(&rows, skips, star, &mut best, steps);
        self.shortest(&ties, skips, &mut best, steps);
        self.fewest(&rows, &ties, skips, &mut best, steps);
        if even {
            self.evenest(&rows, &ties, skips, &mut best, steps);
        }
        self.write(&rows, best)
    }

    /// The fewest loads left out, with everything that could be had; and fewer, where that is not
    /// refuted.
    fn fewest_out(&self, best: &mut Best, steps: &mut u64) -> (usize, Option<usize>) {
        let everything = self.there(&[Origin::Mounted, Origin::Shelf, Origin::Bought]);
        let mut least = None;
        for skips in 0..=self.loads.len() {
            let rows = cover::rows(self, skips);
            if rows
                .iter()
                .any(|row| cover::given(row, &everything) < row.need)
            {
                continue;
            }
            let given = Given {
                counts: everything.clone(),
                inlets: u32::MAX,
                skips,
            };
            match pack::pack(self, &given, steps, PACK_STEPS) {
                Found::Never => {}
                Found::Stopped => least = least.or(Some(skips)),
                Found::Packed(packed) => {
                    let skips = packed.left.len();
                    best.packed = packed;
                    return (skips, least);
                }
            }
        }
        (self.loads.len(), least)
    }

    /// The least cost and the fewest bought; gives the sets of that cost that are not refuted.
    fn cheapest(
        &self,
        rows: &[Row],
        skips: usize,
        mut star: Option<(Cost, Vec<u32>)>,
        best: &mut Best,
        steps: &mut u64,
    ) -> Ties {
        let items = self.items(Origin::Bought);
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let given = |counts: &[u32]| Given {
            counts: with(&there, &items, counts),
            inlets: u32::MAX,
            skips,
        };
        let mut covers = Covers::new(rows, &items, self.drivers.len(), &there);
        let mut ties = Ties {
            sets: Vec::new(),
            complete: false,
        };
        // The cheapest set that may serve though nobody knows.
        let mut open: Option<Cost> = None;
        let mut looked = 0;
        let mut met = false;
        loop {
            let floor = covers.floor();
            if floor.is_none() || star.as_ref().is_some_and(|star| floor > Some(star.0)) {
                ties.complete = open.is_none();
                break;
            }
            if ties.sets.len() >= TIES || looked >= SETS {
                open = open.or(floor.filter(|_| !met));
                break;
            }
            let Ok(next) = covers.next(steps) else {
                open = open.or(floor.filter(|_| !met));
                break;
            };
            let Some((cost, counts)) = next else {
                ties.complete = open.is_none();
                break;
            };
            if star.as_ref().is_some_and(|star| cost > star.0) {
                ties.complete = open.is_none();
                break;
            }
            looked += 1;
            let given = given(&counts);
            match pack::pack(self, &given, steps, self.pack_steps()) {
                Found::Never => {}
                Found::Stopped if star.as_ref().is_some_and(|star| star.0 == cost) => {
                    ties.sets.push(given.counts);
                }
                Found::Stopped => open = open.or(Some(cost)),
                Found::Packed(packed) => {
                    if star.as_ref().is_none_or(|star| cost < star.0) {
                        best.packed = packed;
                        star = Some((cost, counts));
                        ties.sets.clear();
                    }
                    met = true;
                    ties.sets.push(given.counts);
                }
            }
        }
        if let Some((_, counts)) = &star {
            let set = with(&there, &items, counts);
            if !ties.sets.contains(&set) {
                ties.sets.push(set);
            }
        } else {
            ties.sets
                .push(self.there(&[Origin::Mounted, Origin::Shelf, Origin::Bought]));
            ties.complete = false;
        }
        let value = self.values(&best.packed);
        let found: Cost = [value[1], value[2], 0];
        let least = open.map_or(found, |open| open.min(found));
        best.bounds[1] = Some(least[0]);
        if least[0] >= value[1] {
            best.bounds[2] = Some(least[1].min(value[2]));
        }
        ties
    }

    /// A cheap way, found quickly: the cheapest set that has more of everything than it must, the
    /// less the better; then without one of its units, or with a cheaper one in its place.
    fn cheap(&self, rows: &[Row], best: &mut Best, steps: &mut u64) -> Option<(Cost, Vec<u32>)> {
        let items = &self.items(Origin::Bought);
        let there = &self.there(&[Origin::Mounted, Origin::Shelf]);
        let given = |counts: &[u32]| Given {
            counts: with(there, items, counts),
            inlets: u32::MAX,
            skips: 0,
        };
        let mut found: Option<(Cost, Vec<u32>)> = None;
        for percent in [0, 1, 2, 4, 7, 11, 16, 25, 40, 60, 100] {
            let mut more = rows.to_vec();
            for row in &mut more {
                if row.what != What::Places {
                    row.need += row.need * percent / 100;
                }
            }
            let mut covers = Covers::new(&more, items, self.drivers.len(), there);
            let mut own = COVER_STEPS.min(*steps);
            let before = own;
            let next = covers.next(&mut own);
            *steps -= before - own;
            let next = next
                .ok()
                .flatten()
                .or_else(|| cover::some(&more, items, there));
            let Some((cost, counts)) = next else { continue };
            if let Some(packed) = settle::settle(self, &given(&counts), steps) {
                best.packed = packed;
                found = Some((cost, counts));
                break;
            }
        }
        let (mut cost, mut counts) = found?;
        let mut better = true;
        while better && *steps > 0 {
            better = false;
            'all: for one in 0..items.len() {
                for other in std::iter::once(None).chain((0..items.len()).map(Some)) {
                    let mut set = counts.clone();
                    if set[one] == 0 || other.is_some_and(|it| items[it].cost >= items[one].cost) {
                        continue;
                    }
                    set[one] -= 1;
                    let mut worth = minus(cost, items[one].cost);
                    if let Some(other) = other {
                        if set[other] == items[other].most {
                            continue;
                        }
                        set[other] += 1;
                        worth = plus(worth, items[other].cost);
                    }
                    let all = given(&set);
                    *steps = steps.saturating_sub(1);
                    if rows
                        .iter()
                        .any(|row| cover::given(row, &all.counts) < row.need)
                    {
                        continue;
                    }
                    if let Some(packed) = settle::settle(self, &all, steps) {
                        best.packed = packed;
                        (cost, counts, better) = (worth, set, true);
                        break 'all;
                    }
                }
            }
        }
        Some((cost, counts))
    }

    /// Steps of one search for a packing: all ways where there are few, a try where there are many.
    fn pack_steps(&self) -> u64 {
        if self.loads.len() > FEW_LOADS {
            TRY_STEPS
        } else {
            PACK_STEPS
        }
    }

    /// The fewest inlets, which is the shortest cable.
    fn shortest(&self, ties: &Ties, skips: usize, best: &mut Best, steps: &mut u64) {
        if self.question.feed_um == 0 {
            best.bounds[3] = Some(0);
            return;
        }
        let most = inlets(&best.packed);
        let floors: Vec<u32> = ties
            .sets
            .iter()
            .map(|set| self.inlets_at_least(set, skips))
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
    fn inlets_at_least(&self, set: &[u32], skips: usize) -> u32 {
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
        let outputs = self.outputs_at_least(&|_| true);
        let skipped = i64::try_from(skips).unwrap_or(0);
        let mut least = fewest(outputs - skipped, &|inlet| inlet.0);
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
    fn fewest(&self, rows: &[Row], ties: &Ties, skips: usize, best: &mut Best, steps: &mut u64) {
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
    fn evenest(&self, rows: &[Row], ties: &Ties, skips: usize, best: &mut Best, steps: &mut u64) {
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
            super::share::improve(self, &mut best.packed, bound, steps);
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

    /// Why what is there was not enough on one side.
    fn why(&self, rows: &[Row], supplies: bool) -> Bought {
        let drivers = self.drivers.len();
        let there = self.there(&[Origin::Mounted, Origin::Shelf]);
        let side = if supplies {
            drivers..self.caps.len()
        } else {
            0..drivers
        };
        if there[side.clone()].iter().all(|count| *count == 0) {
            return Bought::NoneThere;
        }
        let mut short: Vec<(&Row, i64)> = rows
            .iter()
            .filter(|row| row.gives[side.clone()].iter().any(|gives| *gives > 0))
            .map(|row| (row, cover::given(row, &there)))
            .filter(|(row, there)| *there < row.need)
            .collect();
        if short
            .iter()
            .any(|(row, there)| row.what == What::Places && *there == 0)
        {
            return Bought::NoneThere;
        }
        short.sort_by_key(|(row, there)| {
            let order = match row.what {
                What::Places => 0,
                What::Current => 1,
                What::Terminals => 2,
                What::Large(_) => 3,
            };
            (order, there - row.need)
        });
        match short.first() {
            None => Bought::Together,
            Some((row, there)) => match row.what {
                What::Places | What::Terminals => Bought::Places {
                    wanted: row.need,
                    there: *there,
                },
                What::Current => Bought::Current {
                    wanted_ma: row.need,
                    there_ma: *there,
                },
                What::Large(from_ma) => Bought::Large {
                    from_ma,
                    wanted: row.need,
                    there: *there,
                },
            },
        }
    }

    fn write(&self, rows: &[Row], best: Best) -> Solved {
        let Best { packed, bounds } = best;
        let values = self.values(&packed);
        let question = self.question;
        let mut uses = vec![[0; 3]; question.drivers.len() + question.supplies.len()];
        let mut origin_of = |local: usize, global: usize| {
            for origin in [Origin::Mounted, Origin::Shelf, Origin::Bought] {
                if uses[global][origin as usize] < self.caps[local][origin as usize] {
                    uses[global][origin as usize] += 1;
                    return origin;
                }
            }
            Origin::Bought
        };
        let global = |load: &usize| self.ids[*load];
        let mut drivers: Vec<UsedDriver> = packed
            .drivers
            .iter()
            .map(|driver| {
                let mut outputs = driver.outputs.clone();
                for output in &mut outputs {
                    output.loads = output.loads.iter().map(global).collect();
                }
                outputs.sort_by(|a, b| (a.inlet, &a.loads).cmp(&(b.inlet, &b.loads)));
                UsedDriver {
                    kind: self.drivers[driver.kind],
                    origin: Origin::Bought,
                    room: self.number,
                    outputs,
                    feeds: driver.feeds.clone(),
                }
            })
            .collect();
        for driver in &mut drivers {
            self.in_order(driver);
        }
        drivers.sort_by_key(|driver| driver.outputs.iter().flat_map(|it| it.loads.clone()).min());
        for driver in &mut drivers {
            let local = self.drivers.iter().position(|it| *it == driver.kind);
            driver.origin = origin_of(local.unwrap_or(0), driver.kind);
        }
        let mut order: Vec<usize> = Vec::new();
        for driver in &mut drivers {
            for feed in driver.feeds.iter_mut().flatten() {
                let place = order.iter().position(|it| it == feed).unwrap_or_else(|| {
                    order.push(*feed);
                    order.len() - 1
                });
                *feed = place;
            }
        }
        let supplies: Vec<UsedSupply> = order
            .iter()
            .map(|&at| {
                let (kind, load_ma) = packed.supplies[at];
                let global = self.supplies[kind];
                UsedSupply {
                    kind: global,
                    origin: origin_of(self.drivers.len() + kind, question.drivers.len() + global),
                    load_ma,
                }
            })
            .collect();
        let bought = |any: bool, side: bool| any.then(|| self.why(rows, side));
        let why = [
            bought(drivers.iter().any(|it| it.origin == Origin::Bought), false),
            bought(supplies.iter().any(|it| it.origin == Origin::Bought), true),
        ];
        let mut unserved: Vec<usize> = packed.left.iter().map(global).collect();
        unserved.extend(&self.impossible);
        unserved.sort_unstable();
        Solved {
            drivers,
            supplies,
            unserved,
            values,
            bounds,
            why,
            uses,
        }
    }

    /// Inlets that feed as many outputs trade places, so that loads stand in their order.
    fn in_order(&self, driver: &mut UsedDriver) {
        let sizes = &self.question.drivers[driver.kind].inlets;
        let first = |driver: &UsedDriver, inlet: usize| {
            let own = driver.outputs.iter().filter(|output| output.inlet == inlet);
            own.flat_map(|output| output.loads.iter().copied())
                .min()
                .unwrap_or(usize::MAX)
        };
        for one in 0..sizes.len() {
            let least = (one..sizes.len())
                .filter(|&other| sizes[other] == sizes[one])
                .min_by_key(|&other| (first(driver, other), other));
            let Some(other) = least.filter(|other| *other != one) else {
                continue;
            };
            driver.feeds.swap(one, other);
            for output in &mut driver.outputs {
                if output.inlet == one {
                    output.inlet = other;
                } else if output.inlet == other {
                    output.inlet = one;
                }
            }
        }
        driver
            .outputs
            .sort_by(|a, b| (a.inlet, &a.loads).cmp(&(b.inlet, &b.loads)));
    }
}

/// The best so far, and the bounds that are known.
struct Best {
    packed: Packed,
    bounds: [Option<i128>; LEVELS],
}

/// Sets of equal cost.
struct Ties {
    sets: Vec<Vec<u32>>,
    /// Whether these are all of them.
    complete: bool,
}

fn inlets(packed: &Packed) -> u32 {
    let feeds = packed.drivers.iter().flat_map(|driver| &driver.feeds);
    u32::try_from(feeds.flatten().count()).unwrap_or(u32::MAX)
}

fn with(base: &[u32], items: &[Item], counts: &[u32]) -> Vec<u32> {
    let mut set = base.to_vec();
    for (item, count) in items.iter().zip(counts) {
        set[item.kind] += count;
    }
    set
}

impl Solved {
    /// What is known about each level.
    pub(super) fn proofs(
        values: &[i128; LEVELS],
        bounds: &[Option<i128>; LEVELS],
    ) -> [Proof<i128>; LEVELS] {
        let mut open = false;
        let mut at = 0;
        [(); LEVELS].map(|()| {
            let level = at;
            at += 1;
            let proof = match bounds[level] {
                _ if open => Proof::Open {
                    why: Why::EarlierOpen,
                },
                None => Proof::Open {
                    why: Why::StepBudget,
                },
                Some(bound) if bound >= values[level] => Proof::Proven,
                Some(bound) => Proof::Within { bound },
            };
            open = !proof.is_proven();
            proof
        })
    }
}
