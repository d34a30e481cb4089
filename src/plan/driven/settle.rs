//! A quick way to serve many loads from a set of units: everything is hooked up and filled evenly,
//! limits or not, and then loads and feeds trade places until no limit is broken.

use super::{
    Output,
    pack::{Given, Packed, PackedDriver},
    room::Room,
};

/// Rounds of trades before it is given up.
const ROUNDS: usize = 60;
/// Where loads share outputs: into how many parts the largest sharing is divided at most.
const MOST_PARTS: i64 = 4;

/// An inlet of a driver.
struct Bucket {
    driver: usize,
    inlet: usize,
    feed: usize,
    free: usize,
    most: i64,
    ma: i64,
}

struct Holder {
    kind: usize,
    most: i64,
    ma: i64,
}

/// Inlets that one supply feeds: one, or all of a driver whose inlets are not isolated.
struct Feed {
    supply: usize,
    inlets: usize,
    ma: i64,
}

/// Loads that share an output, in one bucket.
struct Item {
    loads: Vec<usize>,
    ma: i64,
    bucket: usize,
}

struct Table<'r> {
    room: &'r Room<'r>,
    drivers: Vec<Holder>,
    buckets: Vec<Bucket>,
    feeds: Vec<Feed>,
    supplies: Vec<Holder>,
    pairs: Vec<usize>,
    items: Vec<Item>,
}

/// Serves all loads from a set of units, if that is found quickly; a round takes as many steps as
/// there are thousands of trades to be weighed.
pub(super) fn settle(room: &Room<'_>, given: &Given, steps: &mut u64) -> Option<Packed> {
    if given.skips > 0 || *steps == 0 {
        return None;
    }
    let fullest = items(room, given, i64::MAX);
    let largest = fullest.iter().map(|loads| current(room, loads)).max()?;
    let shares = fullest.iter().any(|loads| loads.len() > 1);
    attempt(room, given, fullest, steps).or_else(|| {
        // Fewer loads to an output are easier to spread over supplies.
        (2..=MOST_PARTS)
            .filter(|_| shares)
            .map(|parts| items(room, given, largest / parts))
            .find_map(|items| attempt(room, given, items, steps))
    })
}

fn current(room: &Room<'_>, loads: &[usize]) -> i64 {
    loads.iter().map(|&it| room.loads[it].total_ma).sum()
}

fn attempt(
    room: &Room<'_>,
    given: &Given,
    items: Vec<Vec<usize>>,
    steps: &mut u64,
) -> Option<Packed> {
    let mut table = Table::new(room, given, items.len())?;
    table.fill(items)?;
    let round = 1 + table.items.len() * (table.items.len() + table.buckets.len()) / 1_000;
    for _ in 0..ROUNDS {
        *steps = steps.saturating_sub(u64::try_from(round).unwrap_or(u64::MAX));
        if table.over() == 0 {
            return Some(table.write());
        }
        if !table.trade() && !table.rehook() {
            return None;
        }
    }
    None
}

/// One output for each load, or for several of a group that take no more than `most` together, where
/// every kind of the set allows it.
fn items(room: &Room<'_>, given: &Given, most_ma: i64) -> Vec<Vec<usize>> {
    let mut items: Vec<Vec<usize>> = Vec::new();
    let kinds: Vec<usize> = (0..room.drivers.len())
        .filter(|&it| given.counts[it] > 0)
        .collect();
    for (at, load) in room.loads.iter().enumerate() {
        let Some(group) = load.group.filter(|_| !load.channels.is_empty()) else {
            items.push(vec![at]);
            continue;
        };
        let fits = |others: &[usize]| {
            let all = || others.iter().map(|&it| &room.loads[it]).chain([load]);
            let total: i64 = all().map(|it| it.total_ma).sum();
            total <= most_ma
                && room.loads[others[0]].group == load.group
                && room.loads[others[0]].channels.len() == load.channels.len()
                && kinds.iter().all(|&kind| {
                    room.driver(kind)
                        .shared
                        .get(group)
                        .copied()
                        .flatten()
                        .is_some_and(|most| {
                            total <= most.output_ma
                                && total <= room.driver(kind).inlet_ma.unwrap_or(i64::MAX)
                                && (0..load.channels.len()).all(|channel| {
                                    let sum: i64 = all()
                                        .map(|it| it.channels.get(channel).copied().unwrap_or(0))
                                        .sum();
                                    sum <= most.channel_ma
                                })
                        })
                })
        };
        match items.iter_mut().find(|others| fits(others)) {
            Some(others) => others.push(at),
            None => items.push(vec![at]),
        }
    }
    items
}

fn over(ma: i64, most: i64) -> i64 {
    (ma - most).max(0)
}

impl<'r> Table<'r> {
    /// Hooks the widest inlets up, each to the supply with the most left.
    fn new(room: &'r Room<'r>, given: &Given, wanted: usize) -> Option<Self> {
        let mut table = Self {
            room,
            drivers: Vec::new(),
            buckets: Vec::new(),
            feeds: Vec::new(),
            supplies: Vec::new(),
            pairs: Vec::new(),
            items: Vec::new(),
        };
        // More units than loads have no use.
        let some = |count: u32| (count as usize).min(room.loads.len());
        for kind in 0..room.supplies.len() {
            for _ in 0..some(given.counts[room.drivers.len() + kind]) {
                table.supplies.push(Holder {
                    kind,
                    most: room.supply(kind).usable_ma,
                    ma: 0,
                });
                table.pairs.push(0);
            }
        }
        let mut inlets: Vec<(usize, usize, usize)> = Vec::new();
        for kind in 0..room.drivers.len() {
            let spec = room.driver(kind);
            for _ in 0..some(given.counts[kind]) {
                let driver = table.drivers.len();
                let most = spec.whole_ma.unwrap_or(i64::MAX);
                table.drivers.push(Holder { kind, most, ma: 0 });
                let outputs = spec.inlets.iter().enumerate();
                inlets.extend(outputs.map(|(inlet, &it)| (driver, inlet, usize::from(it))));
            }
        }
        if (given.inlets as usize) < inlets.len() {
            inlets.sort_by_key(|&(driver, inlet, outputs)| {
                (std::cmp::Reverse(outputs), driver, inlet)
            });
            inlets.truncate(given.inlets as usize);
            inlets.sort_unstable();
        }
        if inlets.iter().map(|(_, _, outputs)| outputs).sum::<usize>() < wanted {
            return None;
        }
        table.hook(&inlets);
        Some(table)
    }

    fn hook(&mut self, inlets: &[(usize, usize, usize)]) {
        let room = self.room;
        let mut groups: Vec<Vec<(usize, usize, usize)>> = Vec::new();
        for &inlet in inlets {
            let isolated = room.driver(self.drivers[inlet.0].kind).isolated;
            match groups.last_mut() {
                Some(group) if !isolated && group[0].0 == inlet.0 => group.push(inlet),
                _ => groups.push(vec![inlet]),
            }
        }
        let places = |group: &[(usize, usize, usize)]| -> usize {
            group.iter().map(|(_, _, outputs)| outputs).sum()
        };
        let all: usize = groups.iter().map(|group| places(group)).sum();
        let sum: i64 = room.loads.iter().map(|load| load.total_ma).sum();
        let usable: i64 = self
            .supplies
            .iter()
            .fold(0, |sum: i64, it| sum.saturating_add(it.most));
        groups.sort_by_key(|group| (std::cmp::Reverse(places(group)), group[0]));
        // What each supply has left, if every output carried the same.
        let mut left: Vec<i64> = self.supplies.iter().map(|it| it.most.min(usable)).collect();
        for group in groups {
            let share = i64::try_from(places(&group))
                .unwrap_or(0)
                .saturating_mul(sum)
                / i64::try_from(all.max(1)).unwrap_or(1);
            let to = (0..self.supplies.len())
                .filter(|&it| self.has_pairs(it, group.len()))
                .max_by_key(|&it| (left[it], std::cmp::Reverse(it)));
            let Some(to) = to else { continue };
            left[to] = left[to].saturating_sub(share);
            self.pairs[to] += group.len();
            let feed = self.feeds.len();
            self.feeds.push(Feed {
                supply: to,
                inlets: group.len(),
                ma: 0,
            });
            for (driver, inlet, free) in group {
                let most = room
                    .driver(self.drivers[driver].kind)
                    .inlet_ma
                    .unwrap_or(i64::MAX);
                self.buckets.push(Bucket {
                    driver,
                    inlet,
                    feed,
                    free,
                    most,
                    ma: 0,
                });
            }
        }
        self.buckets
            .sort_by_key(|bucket| (bucket.driver, bucket.inlet));
    }

    fn has_pairs(&self, supply: usize, more: usize) -> bool {
        let pairs = self.room.supply(self.supplies[supply].kind).pairs;
        pairs.is_none_or(|most| self.pairs[supply] + more <= most as usize)
    }

    fn alone(&self, loads: &[usize], bucket: usize) -> bool {
        let kind = self.drivers[self.buckets[bucket].driver].kind;
        loads.iter().all(|&load| self.room.loads[load].alone[kind])
    }

    fn slack(&self, bucket: usize) -> i64 {
        let it = &self.buckets[bucket];
        let (driver, supply) = (
            &self.drivers[it.driver],
            &self.supplies[self.feeds[it.feed].supply],
        );
        (it.most.saturating_sub(it.ma))
            .min(driver.most.saturating_sub(driver.ma))
            .min(supply.most.saturating_sub(supply.ma))
    }

    /// Puts each load where the most is left, the largest first.
    fn fill(&mut self, items: Vec<Vec<usize>>) -> Option<()> {
        let room = self.room;
        let mut items: Vec<(Vec<usize>, i64)> = items
            .into_iter()
            .map(|loads| {
                let ma = current(room, &loads);
                (loads, ma)
            })
            .collect();
        items.sort_by_key(|(loads, ma)| {
            let hardest = loads.iter().map(|&it| room.hardness(it).0).max();
            (std::cmp::Reverse((hardest, *ma)), loads[0])
        });
        for (loads, ma) in items {
            let bucket = (0..self.buckets.len())
                .filter(|&it| self.buckets[it].free > 0 && self.alone(&loads, it))
                .max_by_key(|&it| (self.slack(it), std::cmp::Reverse(it)))?;
            self.buckets[bucket].free -= 1;
            self.carry(bucket, ma);
            self.items.push(Item { loads, ma, bucket });
        }
        Some(())
    }

    fn carry(&mut self, bucket: usize, ma: i64) {
        let it = &mut self.buckets[bucket];
        it.ma += ma;
        self.drivers[it.driver].ma += ma;
        self.feeds[it.feed].ma += ma;
        let supply = self.feeds[it.feed].supply;
        self.supplies[supply].ma += ma;
    }

    /// By how much limits are broken.
    fn over(&self) -> i64 {
        let buckets = self.buckets.iter().map(|it| over(it.ma, it.most));
        let holders = self.drivers.iter().chain(&self.supplies);
        buckets.chain(holders.map(|it| over(it.ma, it.most))).sum()
    }

    fn is_over(&self, bucket: usize) -> bool {
        self.slack(bucket) < 0
    }

    /// How much less is broken after a current went from one bucket to another.
    fn gain(&self, from: usize, to: usize, ma: i64) -> i64 {
        let (a, b) = (&self.buckets[from], &self.buckets[to]);
        let pair = |x: (i64, i64), y: (i64, i64)| {
            over(x.0, x.1) + over(y.0, y.1) - over(x.0 - ma, x.1) - over(y.0 + ma, y.1)
        };
        let mut gain = pair((a.ma, a.most), (b.ma, b.most));
        let holder = |it: &Holder| (it.ma, it.most);
        if a.driver != b.driver {
            gain += pair(
                holder(&self.drivers[a.driver]),
                holder(&self.drivers[b.driver]),
            );
        }
        let (x, y) = (self.feeds[a.feed].supply, self.feeds[b.feed].supply);
        if x != y {
            gain += pair(holder(&self.supplies[x]), holder(&self.supplies[y]));
        }
        gain
    }

    /// The best trade of two loads, or move of one, out of what is over a limit.
    fn trade(&mut self) -> bool {
        let mut best: Option<(i64, usize, Option<usize>, usize)> = None;
        let mut keep = |gain: i64, one: usize, other: Option<usize>, to: usize| {
            if gain > 0 && best.is_none_or(|(so_far, ..)| gain > so_far) {
                best = Some((gain, one, other, to));
            }
        };
        for one in 0..self.items.len() {
            let from = self.items[one].bucket;
            if !self.is_over(from) {
                continue;
            }
            for to in 0..self.buckets.len() {
                if to != from && self.buckets[to].free > 0 && self.alone(&self.items[one].loads, to)
                {
                    keep(self.gain(from, to, self.items[one].ma), one, None, to);
                }
            }
            for other in 0..self.items.len() {
                let to = self.items[other].bucket;
                if to != from && self.items[other].ma < self.items[one].ma {
                    let gain = self.gain(from, to, self.items[one].ma - self.items[other].ma);
                    if gain > 0
                        && self.alone(&self.items[one].loads, to)
                        && self.alone(&self.items[other].loads, from)
                    {
                        keep(gain, one, Some(other), to);
                    }
                }
            }
        }
        let Some((_, one, other, to)) = best else {
            return false;
        };
        let (from, ma) = (self.items[one].bucket, self.items[one].ma);
        self.carry(from, -ma);
        self.carry(to, ma);
        self.items[one].bucket = to;
        if let Some(other) = other {
            let ma = self.items[other].ma;
            self.carry(to, -ma);
            self.carry(from, ma);
            self.items[other].bucket = from;
        } else {
            self.buckets[from].free += 1;
            self.buckets[to].free -= 1;
        }
        true
    }

    /// The best move of a feed to another supply, or trade of two, out of what is over its limit.
    fn rehook(&mut self) -> bool {
        let mut best: Option<(i64, usize, Option<usize>, usize)> = None;
        for one in 0..self.feeds.len() {
            let from = self.feeds[one].supply;
            if over(self.supplies[from].ma, self.supplies[from].most) == 0 {
                continue;
            }
            let gain = |to: usize, ma: i64| {
                let (a, b) = (&self.supplies[from], &self.supplies[to]);
                over(a.ma, a.most) + over(b.ma, b.most)
                    - over(a.ma - ma, a.most)
                    - over(b.ma + ma, b.most)
            };
            let mut keep = |gain: i64, other: Option<usize>, to: usize| {
                if gain > 0 && best.is_none_or(|(so_far, ..)| gain > so_far) {
                    best = Some((gain, one, other, to));
                }
            };
            for to in 0..self.supplies.len() {
                if to != from && self.has_pairs(to, self.feeds[one].inlets) {
                    keep(gain(to, self.feeds[one].ma), None, to);
                }
            }
            for other in 0..self.feeds.len() {
                let to = self.feeds[other].supply;
                if to != from && self.feeds[other].inlets == self.feeds[one].inlets {
                    keep(
                        gain(to, self.feeds[one].ma - self.feeds[other].ma),
                        Some(other),
                        to,
                    );
                }
            }
        }
        let Some((_, one, other, to)) = best else {
            return false;
        };
        let from = self.feeds[one].supply;
        let back = other.map_or(0, |it| self.feeds[it].ma);
        let moved = self.feeds[one].ma - back;
        self.supplies[from].ma -= moved;
        self.supplies[to].ma += moved;
        self.feeds[one].supply = to;
        if let Some(other) = other {
            self.feeds[other].supply = from;
        } else {
            self.pairs[from] -= self.feeds[one].inlets;
            self.pairs[to] += self.feeds[one].inlets;
        }
        true
    }

    fn write(self) -> Packed {
        let mut packed = Packed::default();
        let mut supplies: Vec<Option<usize>> = vec![None; self.supplies.len()];
        for (at, driver) in self.drivers.iter().enumerate() {
            let inlets = self.room.driver(driver.kind).inlets.len();
            let mut feeds = vec![None; inlets];
            let mut outputs = Vec::new();
            for item in &self.items {
                let bucket = &self.buckets[item.bucket];
                if bucket.driver != at {
                    continue;
                }
                let from = self.feeds[bucket.feed].supply;
                let supply = *supplies[from].get_or_insert_with(|| {
                    packed
                        .supplies
                        .push((self.supplies[from].kind, self.supplies[from].ma));
                    packed.supplies.len() - 1
                });
                feeds[bucket.inlet] = Some(supply);
                outputs.push(Output {
                    inlet: bucket.inlet,
                    loads: item.loads.clone(),
                });
            }
            if !outputs.is_empty() {
                packed.drivers.push(PackedDriver {
                    kind: driver.kind,
                    outputs,
                    feeds,
                });
            }
        }
        packed
    }
}
