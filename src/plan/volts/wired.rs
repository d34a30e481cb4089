//! An output with its bars as they are wired: what a circuit is made from, and what a mend changes.

use super::assumed::ON_OHM;
use crate::{
    model::{channel::Channel, id::BarId},
    plan::ladder::{Bar, Cable, Circuit, LoadModel, Mix, Place, Strip},
};

/// An output as wired.
#[derive(Debug, Clone)]
pub(super) struct Wired {
    pub(super) nominal_v: f64,
    pub(super) supply_v: f64,
    /// Resistance of one conductor from supply to driver, in Ω.
    pub(super) feed_ohm: f64,
    pub(super) channels: Vec<Channel>,
    pub(super) bars: Vec<WiredBar>,
}

/// A bar as wired.
#[derive(Debug, Clone)]
pub(super) struct WiredBar {
    pub(super) bar: BarId,
    pub(super) units: usize,
    pub(super) pitch_m: f64,
    pub(super) common_ohm_per_m: f64,
    pub(super) channel_ohm_per_m: f64,
    /// Colours: place among the output's channels, W/m at nominal, volts of the LEDs in series.
    pub(super) strips: Vec<(usize, f64, f64)>,
    pub(super) runs: Vec<WiredRun>,
}

/// Where a run ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum To {
    Start,
    End,
    /// The middle, from which the bar is fed both ways; then it is the only run.
    Middle,
}

/// Cable from the driver to an end of a bar.
#[derive(Debug, Clone)]
pub(super) struct WiredRun {
    pub(super) to: To,
    pub(super) cable_m: f64,
    /// Of one conductor, in Ω/m.
    pub(super) ohm_per_m: f64,
    /// Conductors of the cable that carry the common side by side.
    pub(super) commons: u32,
    /// Leads and contacts, in Ω.
    pub(super) joints_ohm: f64,
    /// Contacts in series.
    pub(super) contacts: u32,
}

impl WiredRun {
    pub(super) fn channel_ohm(&self) -> f64 {
        self.cable_m * self.ohm_per_m + self.joints_ohm
    }

    pub(super) fn common_ohm(&self) -> f64 {
        self.cable_m * self.ohm_per_m / f64::from(self.commons) + self.joints_ohm
    }
}

impl WiredBar {
    pub(super) fn lit_m(&self) -> f64 {
        float(self.units) * self.pitch_m
    }

    fn bar_of(&self, units: usize) -> Bar {
        let strips = self.strips.iter();
        Bar {
            name: "the bar".to_owned(),
            units,
            pitch_m: self.pitch_m,
            common_ohm_per_m: self.common_ohm_per_m,
            strips: strips
                .map(|&(channel, watts_per_m, string_v)| Strip {
                    channel,
                    watts_per_m,
                    trace_ohm_per_m: self.channel_ohm_per_m,
                    string_v: Some(string_v),
                })
                .collect(),
        }
    }

    /// Whether it is fed in its middle: then it is two halves in the circuit, each from there.
    fn halved(&self) -> bool {
        self.units > 1 && self.runs.iter().any(|run| run.to == To::Middle)
    }
}

/// A count of cut units as a number to compute with.
pub(super) fn float(units: usize) -> f64 {
    // More cut units than the circuit takes are refused there.
    f64::from(u32::try_from(units).unwrap_or(u32::MAX))
}

impl Wired {
    /// Which bars of the circuit one of these is: itself, or its two halves.
    pub(super) fn bars_of(&self, at: usize) -> std::ops::Range<usize> {
        let count = |bar: &WiredBar| 1 + usize::from(bar.halved());
        let before: usize = self.bars[..at].iter().map(count).sum();
        before..before + count(&self.bars[at])
    }

    /// The circuit. Names in it are the same for all, so that like circuits are alike.
    pub(super) fn circuit(&self, model: LoadModel) -> Circuit {
        let cable = |from, to, channel_ohm, common_ohm| Cable {
            name: "the cable".to_owned(),
            from,
            to,
            channel_ohm,
            common_ohm,
            channels: Mix::first(self.channels.len()),
        };
        let mut cables = Vec::new();
        let mut bars = Vec::new();
        for wired in &self.bars {
            let at = bars.len();
            for run in &wired.runs {
                let to = match run.to {
                    To::Start | To::Middle => Place::Start(at),
                    To::End => Place::End(at),
                };
                cables.push(cable(
                    Place::Driver,
                    to,
                    run.channel_ohm(),
                    run.common_ohm(),
                ));
            }
            if wired.halved() {
                let near = wired.units / 2;
                bars.push(wired.bar_of(near));
                bars.push(wired.bar_of(wired.units - near));
                cables.push(cable(Place::Start(at), Place::Start(at + 1), 0.0, 0.0));
            } else {
                bars.push(wired.bar_of(wired.units));
            }
        }
        Circuit {
            nominal_v: self.nominal_v,
            model,
            supply_v: self.supply_v,
            source_ohm: 0.0,
            feed_ohm: self.feed_ohm,
            channels: self
                .channels
                .iter()
                .map(|channel| (channel.label().to_owned(), ON_OHM))
                .collect(),
            junctions: 0,
            cables,
            bars,
        }
    }

    /// Everything that makes a circuit another one, as numbers.
    pub(super) fn key(&self, model: LoadModel) -> Vec<u64> {
        let mut key = vec![
            u64::from(model == LoadModel::ConstantCurrent),
            self.nominal_v.to_bits(),
            self.supply_v.to_bits(),
            self.feed_ohm.to_bits(),
        ];
        key.extend(
            self.channels
                .iter()
                .map(|channel| u64::from(channel.letter())),
        );
        for bar in &self.bars {
            key.extend([
                u64::MAX,
                bar.units as u64,
                bar.pitch_m.to_bits(),
                bar.common_ohm_per_m.to_bits(),
                bar.channel_ohm_per_m.to_bits(),
                bar.strips.len() as u64,
            ]);
            for &(channel, watts, string_v) in &bar.strips {
                key.extend([channel as u64, watts.to_bits(), string_v.to_bits()]);
            }
            for run in &bar.runs {
                key.extend([
                    run.to as u64,
                    run.channel_ohm().to_bits(),
                    run.common_ohm().to_bits(),
                ]);
            }
        }
        key
    }
}
