//! What is read from a solved network: volts, amps, light and losses.

use super::{
    circuit::{Circuit, Field, LoadModel, Mix, Place, Refused},
    network::{Network, Owner, Row},
    solve,
};

/// Two voltages nearer than this, in V, count as the same: the first cut unit is named then.
const SAME_V: f64 = 1e-9;
/// How exactly what is given must be what is lost and lit.
const BALANCE: f64 = 1e-6;

/// One colour of one bar.
#[derive(Debug, Clone, PartialEq)]
pub struct StripFigures {
    /// Its place in [`Circuit::channels`].
    pub channel: usize,
    /// Current of all its cut units, in A.
    pub current_a: f64,
    /// What these take, LEDs and resistors together, in W.
    pub power_w: f64,
    /// Voltage between common and channel at the driver's output, in V.
    pub driver_v: f64,
    /// The same at the bar's start, in V.
    pub start_v: f64,
    /// The same at the end that feeds it: the start, unless no current comes in there.
    pub fed_v: f64,
    /// Whether it is fed at its start.
    pub fed_at_start: bool,
    /// The cut unit with the lowest voltage, counted from 1 at the start.
    pub worst_unit: usize,
    /// The voltage there, in V.
    pub worst_v: f64,
    /// Supply voltage less that, in percent of the nominal voltage.
    pub drop_percent: f64,
    /// What supply, feed cable and driver lose of it.
    pub drop_source_percent: f64,
    /// What is lost of it from the driver's output to the end that feeds the bar.
    pub drop_cable_percent: f64,
    /// What is lost of it in the tape.
    pub drop_tape_percent: f64,
    /// Current of the best cut unit, in percent of that at the nominal voltage.
    pub light_best_percent: f64,
    /// Current of the worst cut unit, in percent of that at the nominal voltage.
    pub light_worst_percent: f64,
    /// Cut units without any current.
    pub dark_units: usize,
    /// Voltage of every cut unit, from start to end, in V.
    pub volts: Vec<f64>,
}

/// A bar.
#[derive(Debug, Clone, PartialEq)]
pub struct BarFigures {
    /// The colours of it that are on, in the bar's order.
    pub strips: Vec<StripFigures>,
}

/// A cable. A current is positive where its common leads from the supply towards `to`.
#[derive(Debug, Clone, PartialEq)]
pub struct CableFigures {
    /// Current of its common, in A.
    pub common_a: f64,
    /// Current of each channel that it carries to something, in A.
    pub channels: Vec<(usize, f64)>,
    /// What it loses, contacts included, in W.
    pub lost_w: f64,
}

/// Where power is lost, in W.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Losses {
    /// In the supply's own resistance.
    pub source_w: f64,
    /// In the feed cable.
    pub feed_w: f64,
    /// In the driver's channels.
    pub driver_w: f64,
    /// In all cables with their contacts.
    pub cables_w: f64,
    /// In the traces of the tape.
    pub tape_w: f64,
}

impl Losses {
    /// Together.
    pub fn total_w(&self) -> f64 {
        self.source_w + self.feed_w + self.driver_w + self.cables_w + self.tape_w
    }
}

/// A cut unit of one colour of a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// The bar, by its place in [`Circuit::bars`].
    pub bar: usize,
    /// Its channel, by its place in [`Circuit::channels`].
    pub channel: usize,
    /// The cut unit, counted from 1 at the start.
    pub unit: usize,
    /// Volts, or light in percent.
    pub value: f64,
}

/// A solved circuit.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Which channels are on.
    pub on: Mix,
    /// By bar.
    pub bars: Vec<BarFigures>,
    /// By cable.
    pub cables: Vec<CableFigures>,
    /// Current of the supply, in A.
    pub supply_a: f64,
    /// What the supply gives, what its own resistance takes included, in W.
    pub supply_w: f64,
    /// What is lost on the way.
    pub lost: Losses,
    /// What the loads take, in W.
    pub lit_w: f64,
    /// Where the voltage is lowest, in V.
    pub lowest: Spot,
    /// Where there is least light, in percent: often another colour than the one of the lowest
    /// voltage.
    pub dimmest: Spot,
}

pub(super) fn read(
    circuit: &Circuit,
    network: &Network,
    lost: &[f64],
    on: Mix,
) -> Result<Figures, Refused> {
    let mut bars: Vec<BarFigures> = circuit
        .bars
        .iter()
        .map(|_| BarFigures { strips: Vec::new() })
        .collect();
    let mut lit_w = 0.0;
    let mut spots: Option<(Spot, Spot)> = None;
    for row in &network.rows {
        let strip = strip(circuit, network, lost, *row)?;
        lit_w += strip.power_w;
        let spot = |value| Spot {
            bar: row.bar,
            channel: strip.channel,
            unit: strip.worst_unit,
            value,
        };
        let (low, dim) = (spot(strip.worst_v), spot(strip.light_worst_percent));
        let (lowest, dimmest) = spots.get_or_insert((low, dim));
        if low.value < lowest.value - SAME_V {
            *lowest = low;
        }
        if dim.value < dimmest.value - SAME_V {
            *dimmest = dim;
        }
        bars[row.bar].strips.push(strip);
    }
    let Some((lowest, dimmest)) = spots else {
        return Err(Refused::NothingOn {
            field: Field::ChannelsOn,
        });
    };
    let mut cables: Vec<CableFigures> = circuit
        .cables
        .iter()
        .map(|_| CableFigures {
            common_a: 0.0,
            channels: Vec::new(),
            lost_w: 0.0,
        })
        .collect();
    let wanted = wanted(circuit, on);
    let mut sums = Losses::default();
    let mut supply_a = 0.0;
    for branch in &network.branches {
        let volts = solve::at(branch.to, lost) - solve::at(branch.from, lost);
        let amps = volts * branch.siemens;
        let watts = volts * amps;
        match branch.owner {
            Owner::Source => {
                supply_a += amps;
                sums.source_w += watts;
            }
            Owner::Feed => sums.feed_w += watts,
            Owner::Driver => sums.driver_w += watts,
            Owner::Tape => sums.tape_w += watts,
            Owner::CableCommon(at) => {
                cables[at].common_a = amps;
                cables[at].lost_w += watts;
                sums.cables_w += watts;
            }
            Owner::CableChannel(at, channel) => {
                if wanted[at].has(channel) {
                    cables[at].channels.push((channel, amps));
                }
                cables[at].lost_w += watts;
                sums.cables_w += watts;
            }
        }
    }
    let supply_w = circuit.supply_v * supply_a;
    let gap = (supply_w - sums.total_w() - lit_w).abs();
    if gap.is_nan() || gap > BALANCE * supply_w {
        return Err(Refused::Unbalanced {
            field: Field::Cables,
        });
    }
    Ok(Figures {
        on,
        bars,
        cables,
        supply_a,
        supply_w,
        lost: sums,
        lit_w,
        lowest,
        dimmest,
    })
}

fn strip(
    circuit: &Circuit,
    network: &Network,
    lost: &[f64],
    row: Row,
) -> Result<StripFigures, Refused> {
    let bar = &circuit.bars[row.bar];
    let channel = bar.strips[row.strip].channel;
    let loads = &network.loads[row.first..row.first + bar.units];
    let across = |place: Place| {
        let end = |conductor| solve::at(network.end(circuit, place, conductor), lost);
        circuit.supply_v - end(0) - end(channel + 1)
    };
    let mut volts = Vec::with_capacity(loads.len());
    let (mut current_a, mut power_w) = (0.0, 0.0);
    let (mut worst, mut worst_v, mut best_v) = (0, f64::INFINITY, f64::NEG_INFINITY);
    let mut dark_units = 0;
    for (unit, load) in loads.iter().enumerate() {
        let v = solve::volts(circuit, load, lost);
        let amps = load.current(v);
        if circuit.model == LoadModel::ConstantCurrent && v <= 0.0 {
            return Err(Refused::NothingLeft {
                field: Field::BarLength(row.bar),
                bar: bar.name.clone(),
                channel: circuit.channels[channel].0.clone(),
                unit: unit + 1,
            });
        }
        current_a += amps;
        power_w += v * amps;
        dark_units += usize::from(amps <= 0.0);
        if v < worst_v - SAME_V {
            (worst, worst_v) = (unit, v);
        }
        best_v = best_v.max(v);
        volts.push(v);
    }
    let percent = |volts: f64| 100.0 * volts / circuit.nominal_v;
    let light = |volts: f64| 100.0 * loads[worst].current(volts) / loads[worst].nominal_a;
    let (driver_v, start_v) = (across(Place::Driver), across(Place::Start(row.bar)));
    // What comes in at the start is what is lost there on the first half of a trace.
    let start = solve::at(
        network.end(circuit, Place::Start(row.bar), channel + 1),
        lost,
    );
    let half_ohm = bar.strips[row.strip].trace_ohm_per_m * bar.pitch_m / 2.0;
    let comes_in = (lost[loads[0].channel] - start) / half_ohm;
    let fed_at_start = comes_in > 1e-6 * current_a;
    let fed_v = if fed_at_start {
        start_v
    } else {
        across(Place::End(row.bar))
    };
    Ok(StripFigures {
        channel,
        current_a,
        power_w,
        driver_v,
        start_v,
        fed_v,
        fed_at_start,
        worst_unit: worst + 1,
        worst_v,
        drop_percent: percent(circuit.supply_v - worst_v),
        drop_source_percent: percent(circuit.supply_v - driver_v),
        drop_cable_percent: percent(driver_v - fed_v),
        drop_tape_percent: percent(fed_v - worst_v),
        light_best_percent: light(best_v),
        light_worst_percent: light(worst_v),
        dark_units,
        volts,
    })
}

/// For each cable the channels on that are wanted beyond it: what is left of a channel's wires when
/// those that lead nowhere are taken away.
fn wanted(circuit: &Circuit, on: Mix) -> Vec<Mix> {
    let mut wanted = vec![Mix::NONE; circuit.cables.len()];
    for channel in 0..circuit.channels.len() {
        if !on.has(channel) {
            continue;
        }
        let mut left: Vec<usize> = (0..circuit.cables.len())
            .filter(|&at| circuit.cables[at].channels.has(channel))
            .collect();
        let has = |bar: usize| {
            let mut strips = circuit.bars[bar].strips.iter();
            strips.any(|strip| strip.channel == channel)
        };
        loop {
            let holds = |place: Place, but: usize, left: &[usize]| match place {
                Place::Driver => true,
                Place::Start(bar) | Place::End(bar) if has(bar) => true,
                _ => left.iter().any(|&at| {
                    let cable = &circuit.cables[at];
                    at != but && (cable.from == place || cable.to == place)
                }),
            };
            let kept: Vec<usize> = left
                .iter()
                .copied()
                .filter(|&at| {
                    let cable = &circuit.cables[at];
                    holds(cable.from, at, &left) && holds(cable.to, at, &left)
                })
                .collect();
            if kept.len() == left.len() {
                break;
            }
            left = kept;
        }
        for at in left {
            wanted[at] = wanted[at].with(channel);
        }
    }
    wanted
}
