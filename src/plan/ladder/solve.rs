//! The currents of a network whose loads are not linear.
//!
//! The voltages lost are where the energy Σ ½·g·x² + Σ ∫ i(v) dv is least. It is strictly convex and
//! made of parabolas, so Newton's steps, each as far along as the energy falls, end after finitely
//! many; where every load stays lit there is one. They end by the current that is missing at the
//! worst node, not by their number.

use super::{
    circuit::{Circuit, Field, Refused},
    network::{Load, Network, Node},
    skyline::Skyline,
};

/// Current that may be missing at a node, as a part of all nominal current.
const MISSING: f64 = 1e-9;
/// Steps before it is given up. The most that random circuits took is told in the tests.
const STEPS: usize = 200;

/// The voltage lost at each node, in V.
pub(super) fn lost(circuit: &Circuit, network: &Network) -> Result<Vec<f64>, Refused> {
    let enough = MISSING * network.loads.iter().map(|load| load.nominal_a).sum::<f64>();
    let Some(mut matrix) = Skyline::new(network.first_columns()) else {
        return Err(Refused::Tangled {
            field: Field::Cables,
        });
    };
    let mut lost = vec![0.0; network.nodes];
    let mut missing = vec![0.0; network.nodes];
    for _ in 0..STEPS {
        residual(circuit, network, &lost, &mut missing);
        if missing.iter().all(|amps| amps.abs() <= enough)
            || is_rounding(network, &lost, &missing, enough)
        {
            return Ok(lost);
        }
        matrix.clear();
        assemble(circuit, network, &lost, &mut matrix);
        if !matrix.factor() {
            break;
        }
        let mut step: Vec<f64> = missing.iter().map(|amps| -amps).collect();
        matrix.solve(&mut step);
        let part = how_far(circuit, network, &lost, &step, &mut missing);
        for (lost, step) in lost.iter_mut().zip(&step) {
            *lost += part * step;
        }
    }
    Err(Refused::Unbalanced {
        field: Field::Cables,
    })
}

/// The voltage across a load.
pub(super) fn volts(circuit: &Circuit, load: &Load, lost: &[f64]) -> f64 {
    circuit.supply_v - lost[load.common] - lost[load.channel]
}

/// The voltage lost at a node, in V.
pub(super) fn at(node: Node, lost: &[f64]) -> f64 {
    node.map_or(0.0, |node| lost[node])
}

/// Current that leaves each node by its branches and does not come from its loads, in A: the slope
/// of the energy.
fn residual(circuit: &Circuit, network: &Network, lost: &[f64], out: &mut [f64]) {
    out.fill(0.0);
    for branch in &network.branches {
        let amps = (at(branch.from, lost) - at(branch.to, lost)) * branch.siemens;
        if let Some(from) = branch.from {
            out[from] += amps;
        }
        if let Some(to) = branch.to {
            out[to] -= amps;
        }
    }
    for load in &network.loads {
        let amps = load.current(volts(circuit, load, lost));
        out[load.common] -= amps;
        out[load.channel] -= amps;
    }
}

/// Whether no more is missing than what rounding the voltages takes from the currents of a node;
/// wires without resistance make much of it. The balance of power is checked apart.
fn is_rounding(network: &Network, lost: &[f64], missing: &[f64], enough: f64) -> bool {
    let mut rounded = vec![enough; lost.len()];
    for branch in &network.branches {
        let amps = (at(branch.from, lost).abs() + at(branch.to, lost).abs()) * branch.siemens;
        for node in [branch.from, branch.to].into_iter().flatten() {
            rounded[node] += 2.0 * f64::EPSILON * amps;
        }
    }
    missing
        .iter()
        .zip(&rounded)
        .all(|(amps, most)| amps.abs() <= *most)
}

/// The slope's own slope.
fn assemble(circuit: &Circuit, network: &Network, lost: &[f64], matrix: &mut Skyline) {
    for branch in &network.branches {
        for node in [branch.from, branch.to].into_iter().flatten() {
            matrix.add(node, node, branch.siemens);
        }
        if let (Some(from), Some(to)) = (branch.from, branch.to) {
            matrix.add(from, to, -branch.siemens);
        }
    }
    for load in &network.loads {
        let siemens = load.slope(volts(circuit, load, lost));
        if siemens > 0.0 {
            matrix.add(load.common, load.common, siemens);
            matrix.add(load.channel, load.channel, siemens);
            matrix.add(load.common, load.channel, siemens);
        }
    }
}

/// How much of a step to go: all of it, unless the energy rises again before.
fn how_far(
    circuit: &Circuit,
    network: &Network,
    lost: &[f64],
    step: &[f64],
    scratch: &mut [f64],
) -> f64 {
    let mut slope = |part: f64| {
        let there: Vec<f64> = lost.iter().zip(step).map(|(x, d)| x + part * d).collect();
        residual(circuit, network, &there, scratch);
        scratch.iter().zip(step).map(|(f, d)| f * d).sum::<f64>()
    };
    // A slope that is only rounding is none.
    let level = slope(0.0).abs() * 1e-6;
    if slope(1.0) <= level {
        return 1.0;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..50 {
        let middle = f64::midpoint(low, high);
        if slope(middle) > 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}
