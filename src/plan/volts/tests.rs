use proptest::prelude::*;

use super::{
    Solver,
    wired::{To, Wired, WiredBar, WiredRun},
};
use crate::{
    model::{channel::Channel, id::BarId},
    plan::ladder::LoadModel,
};

fn run(to: To, cable_m: f64) -> WiredRun {
    WiredRun {
        to,
        cable_m,
        ohm_per_m: 0.034,
        commons: 1,
        joints_ohm: 0.05,
        contacts: 3,
    }
}

fn bar(units: usize, colours: usize, watts_per_m: f64, cable_m: f64, both: bool) -> WiredBar {
    let mut runs = vec![run(To::Start, cable_m)];
    if both {
        runs.push(run(To::End, cable_m + 1.0));
    }
    WiredBar {
        bar: BarId(1),
        units,
        pitch_m: 0.05,
        common_ohm_per_m: 0.1,
        channel_ohm_per_m: 0.14,
        strips: (0..colours).map(|at| (at, watts_per_m, 16.8)).collect(),
        runs,
    }
}

fn wired(bars: Vec<WiredBar>, colours: usize) -> Wired {
    Wired {
        nominal_v: 24.0,
        supply_v: 24.0,
        feed_ohm: 0.0,
        channels: Channel::ALL[..colours].to_vec(),
        bars,
    }
}

proptest! {
    /// Kirchhoff: what the supply gives is what is lost and lit, to a millionth; and so is every
    /// current, bar by bar and cable by cable.
    #[test]
    fn what_is_given_is_what_is_lost_and_lit(
        bars in proptest::collection::vec(
            (1_usize..80, 1.0..15.0_f64, 0.0..20.0_f64, any::<bool>()), 1..4),
        colours in 1_usize..5,
    ) {
        let bars = bars
            .into_iter()
            .map(|(units, watts, cable_m, both)| bar(units, colours, watts, cable_m, both))
            .collect();
        let wired = wired(bars, colours);
        let solved = Solver::default().mixes(&wired);
        let (full, alone, _) = solved.as_ref().as_ref().expect("it is solved");
        for figures in std::iter::once(full).chain(alone) {
            let told = figures.lost.total_w() + figures.lit_w;
            prop_assert!((figures.supply_w - told).abs() <= 1e-6 * figures.supply_w);
            let strips = figures.bars.iter().flat_map(|bar| &bar.strips);
            let amps: f64 = strips.map(|strip| strip.current_a).sum();
            prop_assert!((figures.supply_a - amps).abs() <= 1e-6 * amps);
            let cables: f64 = figures.cables.iter().map(|cable| cable.common_a).sum();
            prop_assert!((cables - amps).abs() <= 1e-6 * amps);
        }
    }
}

#[test]
fn like_circuits_are_solved_once_and_others_are_told_apart() {
    let mut solver = Solver::default();
    let one = wired(vec![bar(20, 3, 4.8, 3.0, false)], 3);
    let like = one.clone();
    solver.mixes(&one);
    solver.mixes(&like);
    assert_eq!(solver.mixes.len(), 1);
    let changes: [fn(&mut Wired); 8] = [
        |it| it.bars[0].units = 21,
        |it| it.bars[0].runs[0].cable_m = 3.5,
        |it| it.bars[0].runs[0].commons = 2,
        |it| it.bars[0].runs[0].to = To::End,
        |it| it.bars[0].strips[1].1 = 4.9,
        |it| it.bars[0].common_ohm_per_m = 0.2,
        |it| it.supply_v = 23.0,
        |it| it.feed_ohm = 0.1,
    ];
    for (nth, change) in changes.into_iter().enumerate() {
        let mut other = one.clone();
        change(&mut other);
        solver.mixes(&other);
        assert_eq!(solver.mixes.len(), nth + 2, "change {nth}");
    }
    let model = LoadModel::ConstantCurrent;
    assert_ne!(one.key(model), one.key(LoadModel::ResistorString));
}
