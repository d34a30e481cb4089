//! Times a whole plan of 60 bars from 500 fixtures and 300 pieces against the assignment alone by
//! the `pathfinding` crate, in the same run.
//!
//! `cargo bench --bench plan` prints medians for three sets: one that the fixtures serve, one that
//! is half built, and one that is all built; only ratios of one run mean anything.

#[path = "../tests/published/house.rs"]
#[expect(dead_code, reason = "a bench needs only some of it")]
mod house;

use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use house::{House, RGB, RGBW, at, driver, lead, supply, tape};
use pathfinding::{kuhn_munkres::kuhn_munkres_min, matrix::Matrix};
use serde_json::json;
use tapewright::plan::outcome::Serve;

const BARS: i64 = 60;
const FIXTURES: i64 = 500;
const PIECES: i64 = 300;
const ROUNDS: usize = 21;

/// A fixed sequence that looks thrown.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: i64) -> i64 {
        self.0 = (self.0)
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        i64::try_from(self.0 >> 33).unwrap_or(0) % most
    }
}

/// A catalogue, the stock, and 60 bars of which so many in a hundred are as long as fixtures are.
fn house(served: i64) -> House {
    let mut dice = Dice(7);
    let mut house = House::new();
    let pins = ["common", "red", "green", "blue", "white"];
    let tapes = [
        house.part(1, "tape 3", tape(RGB)),
        house.part(2, "tape 4", tape(RGBW)),
    ];
    let profile = house.part(
        3,
        "profile",
        json!({"kind": "profile", "inner_width_um": 12_000, "diffuser": "opal", "may_cut": true,
               "kerf_um": 2_000, "heat_mw_per_m": 30_000}),
    );
    let plug = house.part(4, "lead", lead("male", &pins));
    let socket = house.part(5, "socket", lead("female", &pins));
    let cable = house.part(
        6,
        "cable",
        json!({"kind": "cable", "conductors": 5, "rating_ma": 9_000}),
    );
    let driver = house.part(7, "driver", driver(8, 4, "isolated"));
    let supply = house.part(8, "supply", supply(15_000, Some(3)));
    for (part, pack, price) in [
        (tapes[0], 5_000_000, 5_000),
        (tapes[1], 5_000_000, 7_000),
        (profile, 2_000_000, 700),
        (cable, 25_000_000, 3_000),
        (plug, 5, 400),
        (socket, 5, 400),
        (driver, 1, 9_000),
        (supply, 1, 8_000),
    ] {
        house.offer(part, pack, price);
    }
    house.count(plug, 100);
    house.count(socket, 100);
    let mut id = 1000;
    for number in 0..PIECES {
        id += 1;
        match number % 5 {
            0 => house.piece(id, profile, 300_000 + dice.below(1_700_000), json!({})),
            1 => house.piece(id, cable, 1_000_000 + dice.below(9_000_000), json!({})),
            tape => {
                let tape = tapes[usize::from(tape == 2)];
                house.piece(id, tape, 4 + dice.below(96), json!({"batch": "A"}))
            }
        };
        let last = house.input.stock.pieces.last_mut().expect("just added");
        let last = Arc::make_mut(last);
        last.place = at(dice.below(40));
    }
    for number in 0..FIXTURES {
        let four = dice.below(2) == 1;
        house.fixture(
            10_000 + number,
            (8 + dice.below(24)) * 50_000,
            if four { RGBW } else { RGB },
            json!({"tape": 1 + i64::from(four)}),
        );
        let last = house.input.stock.fixtures.last_mut().expect("just added");
        last.place = at(dice.below(40));
    }
    for number in 0..12 {
        house.unit(20_000 + number, &format!("D-{number}"), driver, None);
        house.unit(30_000 + number, &format!("S-{number}"), supply, None);
    }
    for number in 1..=BARS {
        let four = dice.below(2) == 1;
        // Longer than every fixture where it is to be built.
        let longer = if number * 100 > served * BARS {
            1_500_000
        } else {
            0
        };
        house.bar(
            number,
            450_000 + dice.below(1_000_000) + longer,
            if four { RGBW } else { RGB },
            json!({"cable_um": 500_000 + dice.below(3_000_000),
                   "group": if number % 2 == 0 { "left" } else { "right" }}),
        );
    }
    house
}

fn median(mut work: impl FnMut()) -> Duration {
    work();
    let mut times: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[times.len() / 2]
}

/// The assignment alone, on the differences in length, by an implementation that we did not write.
fn assignment(house: &House) -> i128 {
    let (bars, fixtures) = (&house.input.design.bars, &house.input.stock.fixtures);
    let matrix = Matrix::from_fn(bars.len(), fixtures.len() + bars.len(), |(row, column)| {
        let unserved = 1_i128 << 60;
        let (bar, Some(spare)) = (&bars[row], fixtures.get(column)) else {
            return unserved;
        };
        let shorter = bar.length_um.get() - spare.fixture.make.lit_um.get();
        if bar.channels == spare.fixture.make.channels && (0..=50_000).contains(&shorter) {
            i128::from(shorter)
        } else {
            unserved
        }
    });
    kuhn_munkres_min(&matrix).0
}

fn main() {
    println!("{BARS} bars, {FIXTURES} fixtures, {PIECES} pieces; medians of {ROUNDS}");
    println!(
        "{:<14} {:>7} {:>6} {:>9} {:>14} {:>6}",
        "fixtures for", "reused", "built", "plan ms", "assignment ms", "ratio"
    );
    for served in [100, 50, 0] {
        let house = house(served);
        let plan = house.plan();
        let count =
            |wanted: fn(&Serve) -> bool| plan.bars.iter().filter(|bar| wanted(&bar.serve)).count();
        let reused = count(|serve| matches!(serve, Serve::Reuse { .. }));
        let built = count(|serve| matches!(serve, Serve::Build(_)));
        let whole = median(|| {
            std::hint::black_box(house.plan());
        });
        let alone = median(|| {
            std::hint::black_box(assignment(&house));
        });
        println!(
            "{:<14} {reused:>7} {built:>6} {:>9.2} {:>14.2} {:>6.2}",
            format!("{served} in 100"),
            whole.as_secs_f64() * 1e3,
            alone.as_secs_f64() * 1e3,
            whole.as_secs_f64() / alone.as_secs_f64()
        );
    }
}
