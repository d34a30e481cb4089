use proptest::prelude::*;

use super::{Bar, Cable, Circuit, Field, LoadModel, Mix, Place, Refused, Strip, solve, worst};

fn strip(channel: usize, watts_per_m: f64) -> Strip {
    Strip {
        channel,
        watts_per_m,
        trace_ohm_per_m: 0.2,
        string_v: Some(16.8),
    }
}

fn bar(units: usize, strips: Vec<Strip>) -> Bar {
    Bar {
        name: "a bar".to_owned(),
        units,
        pitch_m: 0.05,
        common_ohm_per_m: 0.1,
        strips,
    }
}

fn cable(from: Place, to: Place, channel_ohm: f64, common_ohm: f64) -> Cable {
    Cable {
        name: "a cable".to_owned(),
        from,
        to,
        channel_ohm,
        common_ohm,
        channels: Mix::first(8),
    }
}

fn circuit(channels: usize, cables: Vec<Cable>, bars: Vec<Bar>) -> Circuit {
    Circuit {
        nominal_v: 24.0,
        model: LoadModel::ResistorString,
        supply_v: 24.0,
        source_ohm: 0.0,
        feed_ohm: 0.0,
        channels: (0..channels)
            .map(|at| (format!("channel {at}"), 0.0))
            .collect(),
        junctions: 1,
        cables,
        bars,
    }
}

#[test]
fn sets_of_channels_are_told_one_by_one() {
    let sets: Vec<Mix> = Mix::first(3).each_of().collect();
    assert_eq!(sets.len(), 7);
    assert_eq!(sets[0], Mix::first(3));
    assert!(sets.contains(&Mix::only(1)));
    assert!(!Mix::NONE.with(8).has(8));
    assert_eq!(Mix::first(8).each_of().count(), 255);
}

/// Two bars share a thin red wire. Green lights only the first, behind a thin common: it takes red
/// current from the first bar, so that the second sees less loss on the shared wire.
#[test]
fn all_at_full_is_not_always_the_worst() {
    let fork = Place::Junction(0);
    let circuit = circuit(
        2,
        vec![
            cable(Place::Driver, fork, 1.0, 0.001),
            cable(fork, Place::Start(0), 0.001, 0.6),
            cable(fork, Place::Start(1), 2.0, 2.0),
        ],
        vec![
            bar(60, vec![strip(0, 4.0), strip(1, 4.0)]),
            bar(60, vec![strip(0, 4.0)]),
        ],
    );
    let (full, alone, worst) = worst(&circuit).expect("it is solved");
    assert_eq!(alone.len(), 2);
    assert_eq!(worst.lowest.0, Mix::only(0));
    assert_eq!(worst.lowest.1.bar, 1);
    assert!(worst.lowest.1.value < full.lowest.value);
    let red = solve(&circuit, Mix::only(0)).expect("it is solved");
    assert_eq!(red.lowest, worst.lowest.1);
    assert_eq!(alone[0], red);
}

#[test]
fn what_is_off_draws_nothing_and_shows_nothing() {
    let circuit = circuit(
        3,
        vec![cable(Place::Driver, Place::Start(0), 0.1, 0.1)],
        vec![bar(10, vec![strip(0, 4.0), strip(2, 4.0)])],
    );
    let found = solve(&circuit, Mix::only(2)).expect("it is solved");
    let strips = &found.bars[0].strips;
    assert_eq!(strips.len(), 1);
    assert_eq!(strips[0].channel, 2);
    assert!((found.supply_a - strips[0].current_a).abs() < 1e-9);
    assert_eq!(found.cables[0].channels.len(), 1);
    let nothing = solve(&circuit, Mix::only(1)).map_err(|why| why.field().clone());
    assert_eq!(nothing, Err(Field::ChannelsOn));
}

#[test]
fn wrong_numbers_are_refused_at_their_field() {
    let good = circuit(
        1,
        vec![cable(Place::Driver, Place::Start(0), 0.1, 0.1)],
        vec![bar(10, vec![strip(0, 4.0)])],
    );
    let refused = |change: fn(&mut Circuit)| {
        let mut circuit = good.clone();
        change(&mut circuit);
        let why = solve(&circuit, circuit.all()).expect_err("it is wrong");
        (why.field().to_string(), why)
    };
    assert!(solve(&good, good.all()).is_ok());
    for nothing in [0.0, -1.0, f64::NAN] {
        let mut circuit = good.clone();
        circuit.nominal_v = nothing;
        let why = solve(&circuit, circuit.all()).expect_err("no voltage");
        assert_eq!(*why.field(), Field::NominalVoltage);
    }
    for (pointer, change) in [
        (
            "/supply/voltage_v",
            (|it| it.supply_v = f64::INFINITY) as fn(&mut Circuit),
        ),
        ("/supply/source_resistance_ohm", |it| it.source_ohm = -0.1),
        ("/feed_cable", |it| it.feed_ohm = f64::NAN),
        ("/driver/on_resistance_ohm_per_channel", |it| {
            it.channels[0].1 = -1.0;
        }),
        ("/cables/0/channel_conductor", |it| {
            it.cables[0].channel_ohm = -1.0;
        }),
        ("/cables/0/to", |it| it.cables[0].to = Place::End(1)),
        ("/bars/0", |it| it.cables[0].from = Place::Junction(0)),
        ("/bars/0/length_m", |it| it.bars[0].units = 0),
        ("/bars/0/length_m", |it| it.bars[0].units = 1_000_000),
        ("/bars/0/channels", |it| it.bars[0].strips[0].channel = 1),
        ("/bars/0/leds_in_series", |it| {
            it.bars[0].strips[0].string_v = Some(24.0);
        }),
        ("/bars/0/led_forward_voltage_v/channel 0", |it| {
            it.bars[0].strips[0].string_v = None;
        }),
    ] {
        assert_eq!(refused(change).0, pointer);
    }
    let dark = refused(|it| it.supply_v = 16.0).1;
    assert!(matches!(dark, Refused::LightsNothing { .. }));
}

prop_compose! {
    fn any_circuit()(
        channels in 1_usize..5,
        units in prop::collection::vec(1_usize..30, 1..4),
        ohms in prop::collection::vec((0_u8..4, 0.0_f64..2.0, 0.0_f64..2.0), 4..9),
        ways in prop::collection::vec((0_usize..8, 0_usize..8), 0..4),
        watts in 0.5_f64..40.0,
        supply_v in 12.0_f64..30.0,
        constant in any::<bool>(),
    ) -> Circuit {
        let bars: Vec<Bar> = units
            .iter()
            .map(|&units| bar(units, (0..channels).map(|at| strip(at, watts)).collect()))
            .collect();
        let place = |at: usize| match at {
            0 => Place::Driver,
            1 => Place::Junction(0),
            at if at % 2 == 0 => Place::Start((at / 2 - 1) % bars.len()),
            at => Place::End((at / 2 - 1) % bars.len()),
        };
        // Every bar hangs on the junction; further cables make loops of any kind.
        let tree = std::iter::once((0, 1)).chain((0..bars.len()).map(|at| (1, 2 + 2 * at)));
        let cables = tree
            .chain(ways)
            .map(|(from, to)| (place(from), place(to)))
            .filter(|(from, to)| from != to)
            .zip(ohms.iter().cycle())
            .map(|((from, to), (scale, channel, common))| {
                let scale = [0.0, 1e-5, 1e-2, 1.0][usize::from(*scale)];
                cable(from, to, channel * scale, common * scale)
            })
            .collect();
        let mut circuit = circuit(channels, cables, bars);
        circuit.supply_v = supply_v;
        if constant {
            circuit.model = LoadModel::ConstantCurrent;
        }
        circuit
    }
}

proptest! {
    #[test]
    fn every_circuit_balances_or_is_refused_for_a_reason(circuit in any_circuit()) {
        match solve(&circuit, circuit.all()) {
            Ok(found) => {
                let gap = found.supply_w - found.lost.total_w() - found.lit_w;
                prop_assert!(gap.abs() <= 1e-6 * found.supply_w);
                for strip in found.bars.iter().flat_map(|bar| &bar.strips) {
                    let sum = strip.drop_source_percent
                        + strip.drop_cable_percent
                        + strip.drop_tape_percent;
                    prop_assert!((strip.drop_percent - sum).abs() < 1e-9);
                    prop_assert!(strip.light_worst_percent.is_finite());
                }
            }
            Err(Refused::LightsNothing { .. }) => prop_assert!(circuit.supply_v <= 16.8),
            Err(Refused::NothingLeft { .. }) => {
                prop_assert_eq!(circuit.model, LoadModel::ConstantCurrent);
            }
            Err(why) => prop_assert!(false, "{}", why),
        }
    }

    /// A constant current loses at least as much as the resistors: it is the upper bound.
    #[test]
    fn constant_current_is_the_upper_bound(circuit in any_circuit()) {
        let mut circuit = circuit;
        circuit.supply_v = 24.0;
        circuit.model = LoadModel::ConstantCurrent;
        let bound = solve(&circuit, circuit.all());
        circuit.model = LoadModel::ResistorString;
        let real = solve(&circuit, circuit.all()).expect("it is solved");
        if let Ok(bound) = bound {
            prop_assert!(bound.lowest.value <= real.lowest.value + 1e-9);
        }
    }
}

proptest! {
    /// What [`worst`] leaves out for one bar fed at one end: no other set of channels has a lower
    /// voltage or less light anywhere.
    #[test]
    fn one_bar_fed_at_one_end_is_worst_with_everything_on(
        watts in proptest::collection::vec(0.5..30.0_f64, 2..5),
        units in 1_usize..60,
        ohms in (0.001..2.0_f64, 0.001..2.0_f64, 0.01..2.0_f64),
    ) {
        let strips = watts.iter().enumerate().map(|(at, watts)| {
            let mut strip = strip(at, *watts);
            strip.string_v = Some(if at == 0 { 11.1 } else { 16.8 });
            strip
        });
        let mut circuit = circuit(
            watts.len(),
            vec![cable(Place::Driver, Place::Start(0), ohms.0, ohms.1)],
            vec![bar(units, strips.collect())],
        );
        circuit.bars[0].common_ohm_per_m = ohms.2;
        let (full, _, worst) = worst(&circuit).expect("it is solved");
        for on in circuit.all().each_of() {
            let figures = solve(&circuit, on).expect("it is solved");
            prop_assert!(figures.lowest.value >= full.lowest.value - 1e-6);
            prop_assert!(figures.dimmest.value >= full.dimmest.value - 1e-6);
        }
        prop_assert_eq!(worst.lowest.1, full.lowest);
        prop_assert_eq!(worst.dimmest.1, full.dimmest);
    }
}
