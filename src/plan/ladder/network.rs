//! Nodes, branches and loads of a circuit with some channels on.
//!
//! Each node is one conductor at one place; its unknown is the voltage lost there, counted from the
//! supply: on the way to it along the common, on the way back along a channel. A load then sees the
//! supply's voltage less both. Nodes are numbered along the wires from the far ends to the driver, so
//! that the matrix is a narrow band; only where wires join is there a long row for each conductor.

use super::circuit::{Circuit, Field, LoadModel, Mix, Place, Refused};

/// What stands in for no resistance at all, in Ω: at 10 A it loses a microvolt.
const LEAST_OHM: f64 = 1e-7;

/// A node; the supply's own terminals are none.
pub(super) type Node = Option<usize>;

/// What a branch belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Owner {
    Source,
    Feed,
    Driver,
    CableCommon(usize),
    /// A cable and a channel.
    CableChannel(usize, usize),
    /// A bar.
    Tape,
}

/// A resistance between two nodes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Branch {
    pub(super) from: Node,
    pub(super) to: Node,
    /// Conductance in S.
    pub(super) siemens: f64,
    pub(super) owner: Owner,
}

/// One colour of one cut unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Load {
    pub(super) common: usize,
    pub(super) channel: usize,
    /// Current at the nominal voltage, in A.
    pub(super) nominal_a: f64,
    /// Change of current with voltage, in S; 0 for a constant current.
    pub(super) siemens: f64,
    /// Below this voltage it is dark, in V.
    pub(super) knee_v: f64,
}

impl Load {
    /// Current at a voltage, in A.
    pub(super) fn current(&self, volts: f64) -> f64 {
        if self.siemens > 0.0 {
            ((volts - self.knee_v) * self.siemens).max(0.0)
        } else {
            self.nominal_a
        }
    }

    /// Change of current with voltage there, in S.
    pub(super) fn slope(&self, volts: f64) -> f64 {
        if volts > self.knee_v {
            self.siemens
        } else {
            0.0
        }
    }
}

/// Where the loads of one colour of a bar are.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    pub(super) bar: usize,
    pub(super) strip: usize,
    /// Its loads are `first..first + units` in [`Network::loads`], from start to end.
    pub(super) first: usize,
}

/// The network.
pub(super) struct Network {
    pub(super) nodes: usize,
    pub(super) branches: Vec<Branch>,
    pub(super) loads: Vec<Load>,
    pub(super) rows: Vec<Row>,
    /// By place and conductor.
    ends: Vec<Node>,
    conductors: usize,
}

impl Network {
    pub(super) fn new(circuit: &Circuit, on: Mix) -> Result<Self, Refused> {
        let layout = Layout::new(circuit, on);
        layout.check()?;
        Ok(layout.build())
    }

    /// A conductor at a place, if it is reached: 0 is the common, then the channels.
    pub(super) fn end(&self, circuit: &Circuit, place: Place, conductor: usize) -> Node {
        self.ends[index(circuit, place) * self.conductors + conductor]
    }

    /// For each row of the matrix, the column of its first entry.
    pub(super) fn first_columns(&self) -> Vec<usize> {
        let mut first: Vec<usize> = (0..self.nodes).collect();
        let mut join = |a: usize, b: usize| {
            let (low, high) = if a < b { (a, b) } else { (b, a) };
            first[high] = first[high].min(low);
        };
        for branch in &self.branches {
            if let (Some(a), Some(b)) = (branch.from, branch.to) {
                join(a, b);
            }
        }
        for load in &self.loads {
            join(load.common, load.channel);
        }
        first
    }
}

/// A place as a number: the driver, the junctions, then both ends of each bar.
fn index(circuit: &Circuit, place: Place) -> usize {
    match place {
        Place::Driver => 0,
        Place::Junction(number) => 1 + number,
        Place::Start(bar) => 1 + circuit.junctions + 2 * bar,
        Place::End(bar) => 2 + circuit.junctions + 2 * bar,
    }
}

/// A way between two places.
#[derive(Debug, Clone, Copy)]
enum Way {
    Cable(usize),
    Bar(usize),
}

struct Layout<'a> {
    circuit: &'a Circuit,
    on: Mix,
    /// The common and every channel of the driver.
    conductors: usize,
    /// By place: ways from it, with the place at their other end.
    ways: Vec<Vec<(Way, usize)>>,
    /// By place and conductor.
    reached: Vec<bool>,
}

impl<'a> Layout<'a> {
    fn new(circuit: &'a Circuit, on: Mix) -> Self {
        let places = 1 + circuit.junctions + 2 * circuit.bars.len();
        let mut ways = vec![Vec::new(); places];
        let mut join = |way: Way, a: Place, b: Place| {
            let (a, b) = (index(circuit, a), index(circuit, b));
            ways[a].push((way, b));
            ways[b].push((way, a));
        };
        for (at, cable) in circuit.cables.iter().enumerate() {
            join(Way::Cable(at), cable.from, cable.to);
        }
        for at in 0..circuit.bars.len() {
            join(Way::Bar(at), Place::Start(at), Place::End(at));
        }
        let mut layout = Self {
            circuit,
            on,
            conductors: 1 + circuit.channels.len(),
            ways,
            reached: Vec::new(),
        };
        layout.reached = layout.reach();
        layout
    }

    /// Whether a way has a conductor that matters: the common, or a channel that is on.
    fn has(&self, way: Way, conductor: usize) -> bool {
        let Some(channel) = conductor.checked_sub(1) else {
            return true;
        };
        self.on.has(channel)
            && match way {
                Way::Cable(at) => self.circuit.cables[at].channels.has(channel),
                Way::Bar(at) => self.circuit.bars[at]
                    .strips
                    .iter()
                    .any(|strip| strip.channel == channel),
            }
    }

    fn reach(&self) -> Vec<bool> {
        let mut reached = vec![false; self.ways.len() * self.conductors];
        let mut stack = Vec::new();
        for conductor in 0..self.conductors {
            if conductor > 0 && !self.on.has(conductor - 1) {
                continue;
            }
            reached[conductor] = true;
            stack.push(0);
            while let Some(place) = stack.pop() {
                for &(way, other) in &self.ways[place] {
                    let seen = &mut reached[other * self.conductors + conductor];
                    if !*seen && self.has(way, conductor) {
                        *seen = true;
                        stack.push(other);
                    }
                }
            }
        }
        reached
    }

    fn reaches(&self, place: Place, conductor: usize) -> bool {
        self.reached[index(self.circuit, place) * self.conductors + conductor]
    }

    /// Refuses what is not joined to the driver, and circuits in which nothing can light.
    fn check(&self) -> Result<(), Refused> {
        for (at, bar) in self.circuit.bars.iter().enumerate() {
            if !self.reaches(Place::Start(at), 0) {
                return Err(Refused::NotJoined {
                    field: Field::Bar(at),
                    what: bar.name.clone(),
                });
            }
            for strip in &bar.strips {
                let conductor = strip.channel + 1;
                if self.on.has(strip.channel) && !self.reaches(Place::Start(at), conductor) {
                    return Err(Refused::ChannelNotJoined {
                        field: Field::BarChannels(at),
                        bar: bar.name.clone(),
                        channel: self.circuit.channels[strip.channel].0.clone(),
                    });
                }
            }
        }
        for (at, cable) in self.circuit.cables.iter().enumerate() {
            if !self.reaches(cable.from, 0) {
                return Err(Refused::NotJoined {
                    field: Field::CableFrom(at),
                    what: cable.name.clone(),
                });
            }
        }
        let lit = || {
            let strips = self.circuit.bars.iter().flat_map(|bar| &bar.strips);
            strips.filter(|strip| self.on.has(strip.channel))
        };
        if lit().next().is_none() {
            return Err(Refused::NothingOn {
                field: Field::ChannelsOn,
            });
        }
        let needed_v = lit()
            .map(|strip| strip.string_v.unwrap_or(0.0))
            .fold(f64::INFINITY, f64::min);
        if self.circuit.supply_v <= needed_v {
            return Err(Refused::LightsNothing {
                field: Field::SupplyVoltage,
                supply_v: self.circuit.supply_v,
                needed_v,
            });
        }
        Ok(())
    }

    fn build(self) -> Network {
        let mut made = Made {
            circuit: self.circuit,
            on: self.on,
            conductors: self.conductors,
            nodes: 0,
            branches: Vec::new(),
            loads: Vec::new(),
            rows: Vec::new(),
            ends: vec![None; self.reached.len()],
        };
        made.head(&self.reached);
        // Depth first, so that a bar follows at once on what feeds it.
        let mut done = (
            vec![false; self.circuit.cables.len()],
            vec![false; self.circuit.bars.len()],
        );
        let mut numbered = vec![false; self.ways.len()];
        numbered[0] = true;
        let mut stack: Vec<(Way, usize, usize)> = Vec::new();
        let push = |stack: &mut Vec<(Way, usize, usize)>, place: usize| {
            let ways = self.ways[place].iter().rev();
            stack.extend(ways.map(|&(way, to)| (way, place, to)));
        };
        push(&mut stack, 0);
        while let Some((way, from, to)) = stack.pop() {
            let done = match way {
                Way::Cable(at) => &mut done.0[at],
                Way::Bar(at) => &mut done.1[at],
            };
            if std::mem::replace(done, true) {
                continue;
            }
            let near = match way {
                Way::Bar(at) => Some((at, made.units(at, from))),
                Way::Cable(_) => None,
            };
            if !std::mem::replace(&mut numbered[to], true) {
                made.place(to, &self.reached);
                push(&mut stack, to);
            }
            match (way, near) {
                (Way::Cable(at), _) => made.cable(at),
                (_, Some((at, last))) => made.join_far(at, to, &last),
                (Way::Bar(_), None) => {}
            }
        }
        made.finish()
    }
}

/// What is being made.
struct Made<'a> {
    circuit: &'a Circuit,
    on: Mix,
    conductors: usize,
    nodes: usize,
    branches: Vec<Branch>,
    loads: Vec<Load>,
    rows: Vec<Row>,
    ends: Vec<Node>,
}

impl Made<'_> {
    fn node(&mut self) -> usize {
        self.nodes += 1;
        self.nodes - 1
    }

    fn branch(&mut self, from: Node, to: Node, ohm: f64, owner: Owner) {
        self.branches.push(Branch {
            from,
            to,
            siemens: 1.0 / ohm.max(LEAST_OHM),
            owner,
        });
    }

    /// Supply, feed cable and driver.
    fn head(&mut self, reached: &[bool]) {
        let circuit = self.circuit;
        let terminal = Some(self.node());
        self.branch(None, terminal, circuit.source_ohm, Owner::Source);
        let back = Some(self.node());
        self.branch(None, back, circuit.feed_ohm, Owner::Feed);
        self.place(0, reached);
        self.branch(terminal, self.ends[0], circuit.feed_ohm, Owner::Feed);
        for (channel, (_, ohm)) in circuit.channels.iter().enumerate() {
            if self.on.has(channel) {
                self.branch(back, self.ends[channel + 1], *ohm, Owner::Driver);
            }
        }
    }

    /// Numbers what is reached of a place.
    fn place(&mut self, place: usize, reached: &[bool]) {
        let from = place * self.conductors;
        for (at, _) in (from..from + self.conductors)
            .zip(&reached[from..])
            .filter(|(_, on)| **on)
        {
            self.ends[at] = Some(self.node());
        }
    }

    fn cable(&mut self, at: usize) {
        let cable = &self.circuit.cables[at];
        let (from, to) = (
            index(self.circuit, cable.from),
            index(self.circuit, cable.to),
        );
        for conductor in 0..self.conductors {
            let (ohm, owner) = match conductor.checked_sub(1) {
                None => (cable.common_ohm, Owner::CableCommon(at)),
                Some(channel) if cable.channels.has(channel) => {
                    (cable.channel_ohm, Owner::CableChannel(at, channel))
                }
                Some(_) => continue,
            };
            let ends = (
                self.ends[from * self.conductors + conductor],
                self.ends[to * self.conductors + conductor],
            );
            if let (Some(from), Some(to)) = ends {
                self.branch(Some(from), Some(to), ohm, owner);
            }
        }
    }

    /// Conductors of a bar that are on: the common, then strips with their channel.
    fn strips_on(&self, at: usize) -> Vec<(usize, f64)> {
        let bar = &self.circuit.bars[at];
        let strips = bar.strips.iter().filter(|strip| self.on.has(strip.channel));
        std::iter::once((0, bar.common_ohm_per_m))
            .chain(strips.map(|strip| (strip.channel + 1, strip.trace_ohm_per_m)))
            .collect()
    }

    /// Numbers a bar's cut units from the end that is reached first; gives back the nodes of the
    /// last of them, in the order of [`Self::strips_on`].
    fn units(&mut self, at: usize, from: usize) -> Vec<usize> {
        let bar = &self.circuit.bars[at];
        let traces = self.strips_on(at);
        let mut before: Vec<usize> = traces
            .iter()
            .filter_map(|(conductor, _)| self.ends[from * self.conductors + conductor])
            .collect();
        let width = traces.len();
        let mut nodes = Vec::with_capacity(width);
        let first_node = self.nodes;
        for unit in 0..bar.units {
            // Half a trace from the terminal, then the second half of one unit with the first of
            // the next.
            let length = if unit == 0 {
                bar.pitch_m / 2.0
            } else {
                bar.pitch_m
            };
            nodes.clear();
            for (&(_, ohm_per_m), &before) in traces.iter().zip(&before) {
                let node = self.node();
                self.branch(Some(before), Some(node), ohm_per_m * length, Owner::Tape);
                nodes.push(node);
            }
            std::mem::swap(&mut before, &mut nodes);
        }
        let backwards = from == index(self.circuit, Place::End(at));
        let lit = bar.strips.iter().enumerate();
        let lit = lit.filter(|(_, strip)| self.on.has(strip.channel));
        for (lane, (strip, colour)) in (1..).zip(lit) {
            let nominal_v = self.circuit.nominal_v;
            let nominal_a = colour.watts_per_m * bar.pitch_m / nominal_v;
            let (siemens, knee_v) = match (self.circuit.model, colour.string_v) {
                (LoadModel::ResistorString, Some(knee)) => (nominal_a / (nominal_v - knee), knee),
                _ => (0.0, 0.0),
            };
            self.rows.push(Row {
                bar: at,
                strip,
                first: self.loads.len(),
            });
            for unit in 0..bar.units {
                let unit = if backwards {
                    bar.units - 1 - unit
                } else {
                    unit
                };
                let common = first_node + unit * width;
                self.loads.push(Load {
                    common,
                    channel: common + lane,
                    nominal_a,
                    siemens,
                    knee_v,
                });
            }
        }
        before
    }

    /// Joins a bar's last cut unit to the terminal there.
    fn join_far(&mut self, at: usize, to: usize, last: &[usize]) {
        let half = self.circuit.bars[at].pitch_m / 2.0;
        for ((conductor, ohm_per_m), &node) in self.strips_on(at).into_iter().zip(last) {
            let end = self.ends[to * self.conductors + conductor];
            self.branch(Some(node), end, ohm_per_m * half, Owner::Tape);
        }
    }

    fn finish(mut self) -> Network {
        // Bars in the order of the document, however they were reached.
        self.rows.sort_by_key(|row| (row.bar, row.strip));
        // Numbered from the driver outwards so far; the other way round, what branches off is done
        // with before the place where it does.
        let last = self.nodes - 1;
        for branch in &mut self.branches {
            branch.from = branch.from.map(|node| last - node);
            branch.to = branch.to.map(|node| last - node);
        }
        for load in &mut self.loads {
            load.common = last - load.common;
            load.channel = last - load.channel;
        }
        for end in &mut self.ends {
            *end = end.map(|node| last - node);
        }
        Network {
            nodes: self.nodes,
            branches: self.branches,
            loads: self.loads,
            rows: self.rows,
            ends: self.ends,
            conductors: self.conductors,
        }
    }
}
