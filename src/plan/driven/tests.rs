//! Against all ways to feed a few loads, gone through one by one, and against what a checker that
//! knows only the rules says of an answer.

use proptest::{prelude::*, test_runner::FileFailurePersistence};

use super::*;

/// A unit that there is, or that could be bought.
struct Unit {
    kind: usize,
    origin: Origin,
}

fn units(stocks: impl Iterator<Item = Stock>, most: usize) -> Vec<Unit> {
    let mut list = Vec::new();
    for (kind, stock) in stocks.enumerate() {
        let buy = stock.buy.map_or(0, |buy| {
            buy.most.map_or(most, |most| most as usize).min(most)
        });
        for (origin, count) in [
            (Origin::Mounted, stock.mounted as usize),
            (Origin::Shelf, stock.shelf as usize),
            (Origin::Bought, buy),
        ] {
            list.extend((0..count.min(most)).map(|_| Unit { kind, origin }));
        }
    }
    list
}

/// All ways, one by one.
struct All<'q> {
    question: &'q Question,
    drivers: Vec<Unit>,
    supplies: Vec<Unit>,
    /// By load: driver and output.
    on: Vec<Option<(usize, usize)>>,
    best: Option<[i128; LEVELS]>,
}

impl All<'_> {
    fn inlet(&self, driver: usize, output: usize) -> usize {
        let sizes = &self.question.drivers[self.drivers[driver].kind].inlets;
        let mut first = 0;
        for (inlet, size) in sizes.iter().enumerate() {
            first += usize::from(*size);
            if output < first {
                return inlet;
            }
        }
        unreachable!("an output has an inlet")
    }

    fn place(&mut self, load: usize) {
        if load == self.question.loads.len() {
            self.feed();
            return;
        }
        self.on[load] = None;
        self.place(load + 1);
        for driver in 0..self.drivers.len() {
            let sizes = &self.question.drivers[self.drivers[driver].kind].inlets;
            let outputs: u16 = sizes.iter().sum();
            for output in 0..usize::from(outputs) {
                self.on[load] = Some((driver, output));
                if self.allowed(load, driver, output) {
                    self.place(load + 1);
                }
            }
        }
        self.on[load] = None;
    }

    fn allowed(&self, load: usize, driver: usize, output: usize) -> bool {
        let loads = &self.question.loads;
        let kind = &self.question.drivers[self.drivers[driver].kind];
        let so_far = |wanted: &dyn Fn(usize, usize) -> bool| -> Vec<usize> {
            (0..=load)
                .filter(|&it| self.on[it].is_some_and(|(d, o)| wanted(d, o)))
                .collect()
        };
        let sum = |list: &[usize]| list.iter().map(|&it| loads[it].total_ma).sum::<i64>();
        let here = so_far(&|d, o| (d, o) == (driver, output));
        let alone = loads[load].alone[self.drivers[driver].kind];
        let shared = here.len() == 1
            || loads[load].group.is_some_and(|group| {
                let width = loads[load].channels.len();
                kind.shared[group].is_some_and(|most| {
                    here.iter().all(|&it| loads[it].group == Some(group))
                        && sum(&here) <= most.output_ma
                        && (0..width).all(|channel| {
                            let all = here.iter().map(|&it| loads[it].channels[channel]);
                            all.sum::<i64>() <= most.channel_ma
                        })
                })
            });
        let all = so_far(&|d, _| d == driver);
        let inlet = self.inlet(driver, output);
        let behind = so_far(&|d, o| d == driver && self.inlet(d, o) == inlet);
        alone
            && shared
            && all.iter().all(|&it| loads[it].room == loads[load].room)
            && kind.whole_ma.is_none_or(|most| sum(&all) <= most)
            && kind.inlet_ma.is_none_or(|most| sum(&behind) <= most)
    }

    fn feed(&mut self) {
        let mut inlets: Vec<(usize, usize, usize, i64)> = Vec::new();
        for (load, on) in self.question.loads.iter().zip(&self.on) {
            let Some((driver, output)) = *on else {
                continue;
            };
            let inlet = self.inlet(driver, output);
            match inlets.iter_mut().find(|it| (it.0, it.1) == (driver, inlet)) {
                Some(it) => it.3 += load.total_ma,
                None => inlets.push((driver, inlet, load.room, load.total_ma)),
            }
        }
        let mut given = vec![0; inlets.len()];
        self.hook(&inlets, &mut given, 0);
    }

    fn hook(&mut self, inlets: &[(usize, usize, usize, i64)], given: &mut [usize], at: usize) {
        if at == inlets.len() {
            self.value(inlets, given);
            return;
        }
        let (driver, _, room, ma) = inlets[at];
        for supply in 0..self.supplies.len() {
            let kind = &self.question.supplies[self.supplies[supply].kind];
            let isolated = self.question.drivers[self.drivers[driver].kind].isolated;
            let mine: Vec<usize> = (0..at).filter(|&it| given[it] == supply).collect();
            let load: i64 = mine.iter().map(|&it| inlets[it].3).sum();
            let kept = kind.rooms[room]
                && load + ma <= kind.usable_ma
                && kind.pairs.is_none_or(|pairs| mine.len() < pairs as usize)
                && mine.iter().all(|&it| inlets[it].2 == room)
                && (isolated || (0..at).all(|it| inlets[it].0 != driver || given[it] == supply));
            if kept {
                given[at] = supply;
                self.hook(inlets, given, at + 1);
            }
        }
    }

    fn value(&mut self, inlets: &[(usize, usize, usize, i64)], given: &[usize]) {
        let mut value = [0; LEVELS];
        value[0] = self.on.iter().filter(|on| on.is_none()).count() as i128;
        let mut count = |unit: &Unit, stock: &Stock| match unit.origin {
            Origin::Mounted => {}
            Origin::Shelf => value[4] += 1,
            Origin::Bought => {
                value[1] += stock.buy.expect("it is bought").cost;
                value[2] += 1;
            }
        };
        for (at, unit) in self.drivers.iter().enumerate() {
            if inlets.iter().any(|it| it.0 == at) {
                count(unit, &self.question.drivers[unit.kind].stock);
            }
        }
        let mut loads = Vec::new();
        for (at, unit) in self.supplies.iter().enumerate() {
            if given.contains(&at) {
                count(unit, &self.question.supplies[unit.kind].stock);
                let mine = inlets.iter().zip(given).filter(|(_, it)| **it == at);
                loads.push(mine.map(|(inlet, _)| inlet.3).sum::<i64>());
            }
        }
        value[3] = inlets.len() as i128 * i128::from(self.question.feed_um);
        value[5] = loads
            .iter()
            .map(|ma| i128::from((ma + 99) / 100).pow(2))
            .sum();
        if self.best.is_none_or(|best| value < best) {
            self.best = Some(value);
        }
    }
}

pub(super) fn brute(question: &Question) -> [i128; LEVELS] {
    let most = question.loads.len();
    let mut all = All {
        question,
        drivers: units(question.drivers.iter().map(|it| it.stock), most.min(2)),
        supplies: units(question.supplies.iter().map(|it| it.stock), most.min(2)),
        on: vec![None; most],
        best: None,
    };
    all.place(0);
    all.best.expect("leaving all out is a way")
}

/// Holds an answer against every rule; gives what it comes to.
pub(super) fn checked(question: &Question, answer: &Answer) -> [i128; LEVELS] {
    let mut value = [0; LEVELS];
    let mut served = vec![0; question.loads.len()];
    let mut on_supply: Vec<(i64, u32, Vec<usize>)> =
        answer.supplies.iter().map(|_| (0, 0, Vec::new())).collect();
    let mut used: std::collections::BTreeMap<(bool, usize, Origin), u32> =
        std::collections::BTreeMap::default();
    for driver in &answer.drivers {
        let kind = &question.drivers[driver.kind];
        *used.entry((true, driver.kind, driver.origin)).or_default() += 1;
        let mut whole = 0;
        for (inlet, &size) in kind.inlets.iter().enumerate() {
            let mine: Vec<&Output> = driver
                .outputs
                .iter()
                .filter(|it| it.inlet == inlet)
                .collect();
            assert!(
                mine.len() <= usize::from(size),
                "no more outputs than there are"
            );
            let mut ma = 0;
            for output in &mine {
                let total: i64 = output
                    .loads
                    .iter()
                    .map(|&it| question.loads[it].total_ma)
                    .sum();
                ma += total;
                for &load in &output.loads {
                    served[load] += 1;
                    assert_eq!(question.loads[load].room, driver.room);
                    assert!(question.loads[load].alone[driver.kind]);
                }
                if output.loads.len() > 1 {
                    let group = question.loads[output.loads[0]]
                        .group
                        .expect("a group shares");
                    let most = kind.shared[group].expect("it may be shared");
                    assert!(total <= most.output_ma);
                    for channel in 0..question.loads[output.loads[0]].channels.len() {
                        let all = output.loads.iter();
                        let sum: i64 = all.map(|&it| question.loads[it].channels[channel]).sum();
                        assert!(sum <= most.channel_ma);
                    }
                    assert!(
                        output
                            .loads
                            .iter()
                            .all(|&it| question.loads[it].group == Some(group))
                    );
                }
            }
            assert!(kind.inlet_ma.is_none_or(|most| ma <= most));
            whole += ma;
            assert_eq!(driver.feeds[inlet].is_some(), !mine.is_empty());
            if let Some(supply) = driver.feeds[inlet] {
                on_supply[supply].0 += ma;
                on_supply[supply].1 += 1;
                on_supply[supply].2.push(driver.room);
                value[3] += i128::from(question.feed_um);
            }
        }
        assert!(kind.whole_ma.is_none_or(|most| whole <= most));
        let mut supplies: Vec<usize> = driver.feeds.iter().copied().flatten().collect();
        supplies.sort_unstable();
        supplies.dedup();
        assert!(
            kind.isolated || supplies.len() == 1,
            "one supply where inlets are not isolated"
        );
    }
    for (supply, (ma, pairs, rooms)) in answer.supplies.iter().zip(on_supply) {
        let kind = &question.supplies[supply.kind];
        *used.entry((false, supply.kind, supply.origin)).or_default() += 1;
        assert_eq!(supply.load_ma, ma);
        assert!(ma <= kind.usable_ma);
        assert!(kind.pairs.is_none_or(|most| pairs <= most));
        assert!(
            rooms
                .iter()
                .all(|room| *room == rooms[0] && kind.rooms[*room])
        );
        value[5] += i128::from((ma + 99) / 100).pow(2);
    }
    for ((driver, kind, origin), count) in used {
        let stock = if driver {
            question.drivers[kind].stock
        } else {
            question.supplies[kind].stock
        };
        match origin {
            Origin::Mounted => assert!(count <= stock.mounted),
            Origin::Shelf => {
                assert!(count <= stock.shelf);
                value[4] += i128::from(count);
            }
            Origin::Bought => {
                let buy = stock.buy.expect("it is sold");
                assert!(buy.most.is_none_or(|most| count <= most));
                value[1] += buy.cost * i128::from(count);
                value[2] += i128::from(count);
            }
        }
    }
    for (load, times) in served.iter().enumerate() {
        assert_eq!(
            *times,
            usize::from(!answer.unserved.contains(&load)),
            "each load once"
        );
    }
    value[0] = answer.unserved.len() as i128;
    value
}

fn stock() -> impl Strategy<Value = Stock> {
    let buy = prop_oneof![
        2 => Just(None),
        3 => (1_i128..6, 0_u32..3).prop_map(|(cost, most)| Some(Buy { cost, most: Some(most) })),
    ];
    (0_u32..2, 0_u32..2, buy).prop_map(|(mounted, shelf, buy)| Stock {
        mounted: mounted * shelf,
        shelf: shelf.max(mounted),
        buy,
    })
}

pub(super) fn cases() -> impl Strategy<Value = Question> {
    let load = (
        0_usize..2,
        1_i64..9,
        1_i64..9,
        0_usize..6,
        any::<[bool; 2]>(),
        any::<bool>(),
    );
    let driver = (
        prop_oneof![
            Just(vec![2]),
            Just(vec![1, 1]),
            Just(vec![2, 1]),
            Just(vec![1])
        ],
        proptest::option::of(6_i64..20),
        proptest::option::of(8_i64..30),
        any::<bool>(),
        proptest::option::of((4_i64..12, 6_i64..16)),
        stock(),
    );
    let supply = (
        6_i64..30,
        proptest::option::of(1_u32..3),
        any::<[bool; 2]>(),
        stock(),
    );
    (
        proptest::collection::vec(load, 1..5),
        proptest::collection::vec(driver, 1..3),
        proptest::collection::vec(supply, 1..3),
        0_i64..2,
        any::<bool>(),
    )
        .prop_map(|(loads, drivers, supplies, feed_um, rooms)| Question {
            loads: loads
                .into_iter()
                .map(|(room, a, b, group, alone, both)| {
                    let room = if rooms { room } else { 0 };
                    Load {
                        room,
                        channels: vec![a * 100, b * 100],
                        total_ma: (a + b) * 100,
                        // Most kinds take most loads.
                        alone: alone.iter().map(|it| *it || both).collect(),
                        group: (group < 2).then_some(group * 2 + room),
                    }
                })
                .collect(),
            drivers: drivers
                .into_iter()
                .map(
                    |(inlets, inlet, whole, isolated, shared, stock)| DriverKind {
                        inlets,
                        inlet_ma: inlet.map(|it| it * 100),
                        whole_ma: whole.map(|it| it * 100),
                        isolated,
                        shared: vec![
                            shared.map(|(channel, output)| Shared {
                                channel_ma: channel * 100,
                                output_ma: output * 100,
                            });
                            4
                        ],
                        stock,
                    },
                )
                .collect(),
            supplies: supplies
                .into_iter()
                .map(|(usable, pairs, rooms, stock)| SupplyKind {
                    usable_ma: usable * 100,
                    pairs,
                    rooms: rooms.iter().map(|it| *it || usable > 12).collect(),
                    stock,
                })
                .collect(),
            feed_um,
        })
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 300,
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(
            "tests/proptest-regressions/driven.txt"
        ))),
        ..ProptestConfig::default()
    })]

    #[test]
    fn nothing_is_better_at_any_level(question in cases()) {
        let answer = solve(&question, STEPS);
        prop_assert_eq!(checked(&question, &answer), answer.values, "it says what it comes to");
        prop_assert_eq!(answer.values, brute(&question));
        prop_assert!(answer.proofs.iter().all(Proof::is_proven), "{:?}", answer.proofs);
    }

    #[test]
    fn a_bound_without_steps_is_no_better_than_the_best(question in cases(), steps in 0_u64..40) {
        let answer = solve(&question, steps);
        prop_assert_eq!(checked(&question, &answer), answer.values);
        let best = brute(&question);
        prop_assert!(answer.values >= best);
        for (level, proof) in answer.proofs.iter().enumerate() {
            match proof {
                Proof::Proven => prop_assert_eq!(answer.values[level], best[level]),
                Proof::Within { bound } => {
                    prop_assert!(*bound <= best[level], "{} {} {:?}", level, bound, best);
                    break;
                }
                Proof::Open { .. } => break,
            }
        }
    }
}
