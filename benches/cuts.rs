//! Times the cut planner: sets as venues build them, proven in money, soldering and rest, and the
//! bin packing classes of E. Falkenauer (Journal of Heuristics 2, 1996), proven in money.
//!
//! `cargo bench --bench cuts` prints medians and the slowest of some questions of each class, how
//! many were proven, how time grows with bars and with the length of rolls, how well a time limit is
//! kept, and the most memory of the process (0 where the system does not say). Ratios are to the
//! first row of a table; only ratios of one run mean anything. `tests/solvers/compare_speed.py`
//! holds the same classes against a general solver.

use std::time::{Duration, Instant};

use tapewright::plan::cut::{
    Aim, CutPlan, Effort, End, Fed, Joints, Problem, Roll, SolderWeights, Stock, Want, plan_within,
};

/// Questions of each class.
const EACH: u64 = 5;

/// A fixed sequence that looks thrown.
struct Dice(u64);

impl Dice {
    /// From one number to another, both included.
    fn within(&mut self, least: u64, most: u64) -> u64 {
        self.0 = (self.0)
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        least + (self.0 >> 33) % (most - least + 1)
    }
}

fn piece(units: u64, leads: [bool; 2], joints: Option<Joints>) -> Stock {
    let [start, end] = leads.map(|lead| if lead { End::Lead } else { End::Bare });
    Stock {
        units,
        start,
        end,
        joints,
    }
}

/// Bars of some lengths, offcuts on hand and rolls of three lengths, all times a scale; every other
/// question has pre-tinned joints.
fn venue(dice: &mut Dice, bars: u32, lengths: u32, pieces: u32, scale: u64) -> Problem {
    let jointed = dice.within(0, 1) == 1;
    let joints = |offset| {
        jointed.then_some(Joints {
            every: 9 * scale,
            offset,
        })
    };
    let stock = (0..pieces).map(|_| {
        let units = dice.within(6 * scale, 95 * scale);
        let lead = dice.within(0, 4) < 2;
        let offset = if lead {
            0
        } else {
            dice.within(0, 9 * scale - 1)
        };
        piece(units, [lead, false], joints(offset))
    });
    let stock = stock.collect();
    let prices = [
        (100, 2_300, 2_700),
        (200, 4_200, 5_000),
        (300, 6_000, 6_900),
    ];
    let rolls = prices.map(|(units, least, most)| Roll {
        piece: piece(units * scale, [true, true], joints(0)),
        price_minor: i64::try_from(dice.within(least, most)).expect("small"),
        quantity: None,
    });
    let wants = (0..lengths).map(|at| Want {
        units: dice.within(8 * scale, 60 * scale),
        quantity: bars / lengths + u32::from(at < bars % lengths),
        fed: if dice.within(0, 2) == 0 {
            Fed::BothEnds
        } else {
            Fed::OneEnd
        },
    });
    let wants = wants.collect();
    Problem {
        stock,
        rolls: rolls.to_vec(),
        wants,
        usable_units: 12 * scale,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    }
}

/// A set whose bars nearly all differ: 0.6 to 1.8 m in units of 5 mm, offcuts with leads and joints,
/// rolls of 5, 10 and 20 m.
fn lengths(dice: &mut Dice, bars: u32, pieces: u32) -> Problem {
    let joints = |offset| Some(Joints { every: 100, offset });
    let stock = (0..pieces).map(|_| {
        let units = dice.within(50, 350);
        let lead = dice.within(0, 2) == 0;
        piece(units, [lead, false], joints(dice.within(0, 99)))
    });
    let stock = stock.collect();
    let prices = [
        (1_000, 2_700, 3_000),
        (2_000, 5_100, 5_700),
        (4_000, 9_900, 10_800),
    ];
    let rolls = prices.map(|(units, least, most)| Roll {
        piece: piece(units, [true, true], joints(0)),
        price_minor: i64::try_from(dice.within(least, most)).expect("small"),
        quantity: None,
    });
    let wants = (0..bars).map(|_| Want {
        units: dice.within(120, 360),
        quantity: 1,
        fed: if dice.within(0, 2) == 0 {
            Fed::BothEnds
        } else {
            Fed::OneEnd
        },
    });
    let wants = wants.collect();
    Problem {
        stock,
        rolls: rolls.to_vec(),
        wants,
        usable_units: 100,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::USUAL,
    }
}

/// Rolls of one length at price one.
fn one_length(roll: u64, lengths: &[u64]) -> Problem {
    Problem {
        stock: Vec::new(),
        rolls: vec![Roll {
            piece: piece(roll, [false, false], None),
            price_minor: 1,
            quantity: None,
        }],
        wants: lengths
            .iter()
            .map(|&units| Want {
                units,
                quantity: 1,
                fed: Fed::OneEnd,
            })
            .collect(),
        usable_units: 1,
        kerf_units: 0,
        trim_units: 0,
        weights: SolderWeights::NONE,
    }
}

fn uniform(dice: &mut Dice, items: usize) -> Problem {
    let lengths: Vec<u64> = (0..items).map(|_| dice.within(20, 100)).collect();
    one_length(150, &lengths)
}

fn triplets(dice: &mut Dice, items: usize) -> Problem {
    let mut lengths = Vec::new();
    while lengths.len() < items {
        let first = dice.within(380, 490);
        let second = dice.within(250, (1_000 - first) / 2 - 1);
        lengths.extend([first, second, 1_000 - first - second]);
    }
    one_length(1_000, &lengths)
}

fn solved(problem: &Problem, aim: Aim, limit: Duration) -> (Duration, CutPlan) {
    let begun = Instant::now();
    let effort = Effort {
        steps: u64::MAX / 4,
        aim,
        stop: &|| begun.elapsed() >= limit,
    };
    let plan = plan_within(problem, &effort).expect("in range");
    (begun.elapsed(), plan)
}

/// Prints a row, and gives its median in milliseconds.
fn row(
    name: &str,
    aim: Aim,
    limit: Duration,
    first: f64,
    make: impl Fn(&mut Dice) -> Problem,
) -> f64 {
    let mut times = Vec::new();
    let mut proven = [0; 3];
    for seed in 1..=EACH {
        let problem = make(&mut Dice(seed * 7_919));
        let (time, plan) = solved(&problem, aim, limit);
        times.push(time.as_secs_f64() * 1e3);
        let proof = &plan.proof;
        let of = [
            proof.short.is_proven() && proof.money.is_proven(),
            proof.solder.is_proven(),
            proof.rest.is_proven(),
        ];
        for (count, proven) in proven.iter_mut().zip(of) {
            *count += u64::from(proven);
        }
    }
    times.sort_by(f64::total_cmp);
    let median = times[times.len() / 2];
    let slowest = times[times.len() - 1];
    let ratio = if first > 0.0 { median / first } else { 1.0 };
    let [money, solder, rest] = proven;
    let below = if aim == Aim::Rest {
        format!("{solder:>7} {rest:>6}")
    } else {
        format!("{:>7} {:>6}", "", "")
    };
    println!("{name:<30} {median:>10.2} {slowest:>10.2} {ratio:>8.1} {money:>6} {below}");
    median
}

fn head(what: &str) {
    println!(
        "{what:<30} {:>10} {:>10} {:>8} {:>6} {:>7} {:>6}",
        "median ms", "slowest", "ratio", "money", "solder", "rest"
    );
}

/// The most memory that the process has had, in megabytes.
fn memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    let number = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
    number.unwrap_or(0) / 1_024
}

fn main() {
    let limit = Duration::from_secs(10);
    println!("{EACH} questions each, of which so many are proven; limit {limit:?}");
    head("sets");
    let mut first = 0.0;
    for (bars, lengths, pieces) in [(8, 3, 6), (60, 6, 40), (300, 10, 60), (500, 12, 100)] {
        let name = format!("{bars} bars, {lengths} lengths, {pieces} pieces");
        let make = |dice: &mut Dice| venue(dice, bars, lengths, pieces, 1);
        let median = row(&name, Aim::Rest, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    head("the same, money alone");
    first = 0.0;
    for (bars, lengths, pieces) in [(8, 3, 6), (60, 6, 40), (300, 10, 60), (500, 12, 100)] {
        let name = format!("{bars} bars, {lengths} lengths, {pieces} pieces");
        let make = |dice: &mut Dice| venue(dice, bars, lengths, pieces, 1);
        let median = row(&name, Aim::Money, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    head("lengths that differ, money alone");
    first = 0.0;
    for (bars, pieces) in [(60, 40), (300, 60)] {
        let make = |dice: &mut Dice| lengths(dice, bars, pieces);
        let name = format!("{bars} bars, {pieces} pieces");
        let median = row(&name, Aim::Money, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    head("60 bars on longer rolls");
    first = 0.0;
    for scale in [1, 3, 10, 30] {
        let name = format!("rolls of {}", 300 * scale);
        let make = |dice: &mut Dice| venue(dice, 60, 6, 40, scale);
        let median = row(&name, Aim::Money, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    head("uniform, rolls of 150");
    first = 0.0;
    for items in [120, 250, 500, 1_000] {
        let make = |dice: &mut Dice| uniform(dice, items);
        let median = row(&format!("{items} items"), Aim::Money, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    head("triplets, rolls of 1000");
    first = 0.0;
    for items in [60, 120, 249, 501] {
        let make = |dice: &mut Dice| triplets(dice, items);
        let median = row(&format!("{items} items"), Aim::Money, limit, first, make);
        first = if first > 0.0 { first } else { median };
    }
    let mut worst = 0.0_f64;
    for milliseconds in [50, 200, 1_000] {
        for seed in 1..=EACH {
            let problem = venue(&mut Dice(seed * 7_919), 500, 12, 100, 1);
            let limit = Duration::from_millis(milliseconds);
            let (time, _) = solved(&problem, Aim::Rest, limit);
            worst = worst.max(time.as_secs_f64() / limit.as_secs_f64());
        }
    }
    println!("longest time over a limit of 50, 200 or 1000 ms: {worst:.2} of it");
    println!("most memory: {} MB", memory());
}
