//! What the best way of all comes to, by trying every way: each load on each output or on none, and
//! each inlet on each supply. It reads the question alone, and shares nothing with the planner.

use serde_json::Value;

use super::checker::milli;

struct Load {
    room: (String, i64),
    channels: Vec<i64>,
    group: Option<String>,
}

impl Load {
    fn ma(&self) -> i64 {
        self.channels.iter().sum()
    }
}

/// Something that there is, or that can be bought.
struct Unit<'a> {
    kind: &'a Value,
    bought: bool,
    /// Whether the one before it is the same: then it is used only after that one.
    again: bool,
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn units(kinds: &Value, loads: u64) -> Vec<Unit<'_>> {
    let mut all = Vec::new();
    for kind in list(kinds) {
        let on_hand = kind["on_hand"].as_u64().unwrap_or(0);
        let most = kind["most"].as_u64().unwrap_or(loads);
        let buy = kind["price_minor"].as_u64().map_or(0, |_| most);
        for (bought, count) in [(false, on_hand), (true, buy)] {
            let count = count.min(loads);
            all.extend((0..count).map(|at| Unit {
                kind,
                bought,
                again: at > 0,
            }));
        }
    }
    all
}

/// An output in use: its driver, the inlet, and what it feeds.
struct Output {
    driver: usize,
    inlet: usize,
    loads: Vec<usize>,
}

/// An inlet in use.
struct Inlet {
    driver: usize,
    room: (String, i64),
    ma: i64,
}

struct Search<'a> {
    loads: Vec<Load>,
    drivers: Vec<Unit<'a>>,
    supplies: Vec<Unit<'a>>,
    outputs: Vec<Output>,
    short: i64,
    best: Option<[i64; 6]>,
}

/// The fewest loads short, then the least money, the fewest units bought, inlets in use and units
/// taken, and the least unevenness.
pub(super) fn best(asked: &Value) -> [i64; 6] {
    let loads: Vec<Load> = (list(&asked["loads"]).iter())
        .flat_map(|load| {
            let count = load["quantity"].as_u64().unwrap_or(1);
            (0..count).map(|_| Load {
                room: (
                    load["place"].as_str().unwrap_or("").to_owned(),
                    milli(&load["voltage_v"]).expect("volts"),
                ),
                channels: list(&load["channels_a"]).iter().filter_map(milli).collect(),
                group: load["group"].as_str().map(str::to_owned),
            })
        })
        .collect();
    let most = loads.len() as u64;
    let mut search = Search {
        loads,
        drivers: units(&asked["drivers"], most),
        supplies: units(&asked["supplies"], most),
        outputs: Vec::new(),
        short: 0,
        best: None,
    };
    search.place(0);
    search.best.expect("leaving all out is a way")
}

impl Search<'_> {
    fn place(&mut self, load: usize) {
        if self.best.is_some_and(|best| self.short > best[0]) {
            return;
        }
        if load == self.loads.len() {
            self.feed();
            return;
        }
        for at in 0..self.outputs.len() {
            self.outputs[at].loads.push(load);
            if self.holds(at) {
                self.place(load + 1);
            }
            self.outputs[at].loads.pop();
        }
        for driver in 0..self.drivers.len() {
            let used = |driver: usize| self.outputs.iter().any(|it| it.driver == driver);
            if self.drivers[driver].again && !used(driver - 1) {
                continue;
            }
            for (inlet, size) in list(&self.drivers[driver].kind["inlets"])
                .iter()
                .enumerate()
            {
                let mine = |it: &&Output| (it.driver, it.inlet) == (driver, inlet);
                if self.outputs.iter().filter(mine).count() as u64 == size.as_u64().unwrap_or(0) {
                    continue;
                }
                self.outputs.push(Output {
                    driver,
                    inlet,
                    loads: vec![load],
                });
                if self.holds(self.outputs.len() - 1) {
                    self.place(load + 1);
                }
                self.outputs.pop();
            }
        }
        self.short += 1;
        self.place(load + 1);
        self.short -= 1;
    }

    fn ma<'o>(&self, outputs: impl Iterator<Item = &'o Output>) -> i64 {
        let loads = outputs.flat_map(|output| &output.loads);
        loads.map(|&load| self.loads[load].ma()).sum()
    }

    /// Whether an output to which something was just added, its inlet and its driver keep to all.
    fn holds(&self, at: usize) -> bool {
        let output = &self.outputs[at];
        let kind = self.drivers[output.driver].kind;
        let limit = |field: &str| milli(&kind[field]);
        let first = &self.loads[output.loads[0]];
        let volts = milli(&kind["voltage_min_v"]).expect("volts")
            ..=milli(&kind["voltage_max_v"]).expect("volts");
        let known = limit("channel_limit_a").is_some() && limit("output_limit_a").is_some();
        let together = output.loads.len() == 1
            || known
                && first.group.is_some()
                && output.loads.iter().all(|&load| {
                    let load = &self.loads[load];
                    load.group == first.group && load.channels.len() == first.channels.len()
                });
        let channel = |channel: usize| -> i64 {
            let loads = output.loads.iter();
            loads.map(|&load| self.loads[load].channels[channel]).sum()
        };
        let driver = || self.outputs.iter().filter(|it| it.driver == output.driver);
        let inlet = driver().filter(|it| it.inlet == output.inlet);
        let within = |field: &str, ma: i64| limit(field).is_none_or(|most| ma <= most);
        let room = driver().all(|it| self.loads[it.loads[0]].room == first.room);
        volts.contains(&first.room.1)
            && first.channels.len() as u64 <= kind["channels_per_output"].as_u64().unwrap_or(0)
            && together
            && room
            && output
                .loads
                .iter()
                .all(|&load| self.loads[load].room == first.room)
            && (0..first.channels.len()).all(|at| within("channel_limit_a", channel(at)))
            && within("output_limit_a", self.ma([output].into_iter()))
            && within("inlet_limit_a", self.ma(inlet))
            && within("whole_limit_a", self.ma(driver()))
    }

    fn feed(&mut self) {
        let mut keys: Vec<(usize, usize)> = Vec::new();
        for output in &self.outputs {
            if !keys.contains(&(output.driver, output.inlet)) {
                keys.push((output.driver, output.inlet));
            }
        }
        let inlets: Vec<Inlet> = (keys.iter())
            .map(|&(driver, inlet)| {
                let mine = |it: &&Output| (it.driver, it.inlet) == (driver, inlet);
                let first = self.outputs.iter().find(mine).expect("one made the key");
                Inlet {
                    driver,
                    room: self.loads[first.loads[0]].room.clone(),
                    ma: self.ma(self.outputs.iter().filter(mine)),
                }
            })
            .collect();
        self.hook(&inlets, &mut Vec::new());
    }

    fn hook(&mut self, inlets: &[Inlet], on: &mut Vec<usize>) {
        let Some(inlet) = inlets.get(on.len()) else {
            self.weigh(inlets, on);
            return;
        };
        let isolated = self.drivers[inlet.driver].kind["isolated"] == "isolated";
        for at in 0..self.supplies.len() {
            let supply = &self.supplies[at];
            if supply.again && !on.contains(&(at - 1)) {
                continue;
            }
            let mine = || {
                inlets
                    .iter()
                    .zip(&*on)
                    .filter(|(_, on)| **on == at)
                    .map(|(it, _)| it)
            };
            let percent = supply.kind["usable_percent"].as_i64().unwrap_or(80);
            let usable = milli(&supply.kind["rated_a"]).expect("amperes") * percent / 100;
            let pairs = supply.kind["terminal_pairs"].as_u64().unwrap_or(u64::MAX);
            let one = inlets
                .iter()
                .zip(&*on)
                .all(|(it, on)| it.driver != inlet.driver || *on == at);
            let holds = milli(&supply.kind["voltage_v"]) == Some(inlet.room.1)
                && mine().all(|it| it.room == inlet.room)
                && mine().map(|it| it.ma).sum::<i64>() + inlet.ma <= usable
                && (mine().count() as u64) < pairs
                && (isolated || one);
            if holds {
                on.push(at);
                self.hook(inlets, on);
                on.pop();
            }
        }
    }

    fn weigh(&mut self, inlets: &[Inlet], on: &[usize]) {
        let drivers = (0..self.drivers.len())
            .filter(|&at| inlets.iter().any(|it| it.driver == at))
            .map(|at| &self.drivers[at]);
        let supplies = (0..self.supplies.len())
            .filter(|at| on.contains(at))
            .map(|at| &self.supplies[at]);
        let (mut cost, mut bought, mut taken) = (0, 0, 0);
        for unit in drivers.chain(supplies) {
            if unit.bought {
                cost += unit.kind["price_minor"].as_i64().expect("a price");
                bought += 1;
            } else {
                taken += 1;
            }
        }
        let uneven = (0..self.supplies.len())
            .map(|at| {
                let mine = inlets.iter().zip(on).filter(|(_, on)| **on == at);
                let ma: i64 = mine.map(|(inlet, _)| inlet.ma).sum();
                ((ma + 99) / 100).pow(2)
            })
            .sum();
        let count = i64::try_from(inlets.len()).expect("a few");
        let value = [self.short, cost, bought, count, taken, uneven];
        if self.best.is_none_or(|best| value < best) {
            self.best = Some(value);
        }
    }
}
