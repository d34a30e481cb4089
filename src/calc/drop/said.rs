//! The answer: figures by the question's names.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asked::DropBody;
use crate::plan::ladder::{Circuit, Figures, StripFigures};

/// Figures of a bar, by channel that is on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropBarAnswer {
    /// Its name.
    pub name: String,
    /// Its channels that are on.
    pub channels: Vec<String>,
    /// Current of all cut units.
    pub current_a: BTreeMap<String, f64>,
    /// What the cut units take, LEDs and resistors together.
    pub power_w: BTreeMap<String, f64>,
    /// Voltage at the driver's output.
    pub voltage_at_driver_v: BTreeMap<String, f64>,
    /// Voltage at the bar's start.
    pub voltage_at_start_v: BTreeMap<String, f64>,
    /// The cut unit with the lowest voltage, counted from 1 at the start.
    pub worst_cut_unit: BTreeMap<String, usize>,
    /// The voltage there.
    pub voltage_at_worst_v: BTreeMap<String, f64>,
    /// Supply voltage less that, in percent of the nominal voltage: the sum of the next three.
    pub drop_percent: BTreeMap<String, f64>,
    /// What the supply, the feed cable and the driver lose of it.
    pub drop_supply_feed_driver_percent: BTreeMap<String, f64>,
    /// What is lost of it from the driver's output to the bar's start, or to its end where nothing
    /// comes in at the start.
    pub drop_cable_percent: BTreeMap<String, f64>,
    /// What is lost of it from there to the worst cut unit.
    pub drop_tape_percent: BTreeMap<String, f64>,
    /// Current of the best cut unit, in percent of that at the nominal voltage.
    pub light_best_percent: BTreeMap<String, f64>,
    /// Current of the worst cut unit, in percent of that at the nominal voltage.
    pub light_worst_percent: BTreeMap<String, f64>,
    /// Cut units without light.
    pub dark_cut_units: BTreeMap<String, usize>,
}

/// A cable's currents, positive from its `from` to its `to` as the common goes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropCableAnswer {
    /// Its name.
    pub name: String,
    /// Current of the common.
    pub common_current_a: f64,
    /// Current of each channel that is on and wanted beyond it.
    pub channel_current_a: BTreeMap<String, f64>,
    /// What it loses, contacts included.
    pub lost_w: f64,
}

/// Where the voltage is lowest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropLowest {
    /// The bar.
    pub bar: String,
    /// The channel.
    pub channel: String,
    /// The cut unit, counted from 1 at the start.
    pub cut_unit: usize,
    /// The voltage.
    pub voltage_v: f64,
}

/// Where there is least light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropDimmest {
    /// The bar.
    pub bar: String,
    /// The channel.
    pub channel: String,
    /// The cut unit, counted from 1 at the start.
    pub cut_unit: usize,
    /// Light in percent of that at the nominal voltage.
    pub light_percent: f64,
}

/// Where power is lost; with what the bars take it is what the supply gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropLosses {
    /// In the supply's own resistance.
    pub supply_w: f64,
    /// In the feed cable.
    pub feed_cable_w: f64,
    /// In the driver's channels.
    pub driver_w: f64,
    /// In all cables, contacts included.
    pub cables_w: f64,
    /// In the traces of the tape.
    pub tape_w: f64,
}

/// Figures of the circuit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropAnswer {
    /// Bar by bar.
    pub bars: Vec<DropBarAnswer>,
    /// Cable by cable.
    pub cables: Vec<DropCableAnswer>,
    /// Current of the supply.
    pub supply_current_a: f64,
    /// What the supply gives, what its own resistance takes included.
    pub supply_power_w: f64,
    /// Where it is lost on the way to the LEDs.
    pub lost: DropLosses,
    /// Where the voltage is lowest.
    pub lowest_voltage: DropLowest,
    /// Where there is least light; often another colour.
    pub least_light: DropDimmest,
    /// What was rounded or assumed, a sentence each.
    pub notes: Vec<String>,
}

/// A figure to nine decimals: far finer than what is measured, and the same on every machine.
fn rounded(value: f64) -> f64 {
    // What is rounded to nothing has no sign.
    (value * 1e9).round() / 1e9 + 0.0
}

impl DropAnswer {
    pub(super) fn new(
        asked: &DropBody,
        circuit: &Circuit,
        figures: &Figures,
        mut notes: Vec<String>,
    ) -> Self {
        let channel = |at: usize| circuit.channels[at].0.clone();
        let bars = asked.bars.iter().zip(&figures.bars).map(|(bar, figures)| {
            let strips = &figures.strips;
            for strip in strips.iter().filter(|strip| !strip.fed_at_start) {
                notes.push(format!(
                    "{}: {} comes in at the end only, so its cable part ends and its tape part \
                     begins there.",
                    bar.name,
                    channel(strip.channel)
                ));
            }
            bar_answer(&bar.name, strips, &channel)
        });
        let bars = bars.collect();
        let cables = asked.cables.iter().zip(&figures.cables);
        let cables = cables.map(|(cable, figures)| DropCableAnswer {
            name: cable.name.clone(),
            common_current_a: rounded(figures.common_a),
            channel_current_a: figures
                .channels
                .iter()
                .map(|&(at, amps)| (channel(at), rounded(amps)))
                .collect(),
            lost_w: rounded(figures.lost_w),
        });
        let bar = |at: usize| asked.bars[at].name.clone();
        let (lowest, dimmest) = (figures.lowest, figures.dimmest);
        Self {
            bars,
            cables: cables.collect(),
            supply_current_a: rounded(figures.supply_a),
            supply_power_w: rounded(figures.supply_w),
            lost: DropLosses {
                supply_w: rounded(figures.lost.source_w),
                feed_cable_w: rounded(figures.lost.feed_w),
                driver_w: rounded(figures.lost.driver_w),
                cables_w: rounded(figures.lost.cables_w),
                tape_w: rounded(figures.lost.tape_w),
            },
            lowest_voltage: DropLowest {
                bar: bar(lowest.bar),
                channel: channel(lowest.channel),
                cut_unit: lowest.unit,
                voltage_v: rounded(lowest.value),
            },
            least_light: DropDimmest {
                bar: bar(dimmest.bar),
                channel: channel(dimmest.channel),
                cut_unit: dimmest.unit,
                light_percent: rounded(dimmest.value),
            },
            notes,
        }
    }
}

fn bar_answer(
    name: &str,
    strips: &[StripFigures],
    channel: &impl Fn(usize) -> String,
) -> DropBarAnswer {
    let by = |of: fn(&StripFigures) -> f64| {
        let each = strips
            .iter()
            .map(|strip| (channel(strip.channel), rounded(of(strip))));
        each.collect::<BTreeMap<_, _>>()
    };
    let count = |of: fn(&StripFigures) -> usize| {
        let each = strips
            .iter()
            .map(|strip| (channel(strip.channel), of(strip)));
        each.collect::<BTreeMap<_, _>>()
    };
    DropBarAnswer {
        name: name.to_owned(),
        channels: strips.iter().map(|strip| channel(strip.channel)).collect(),
        current_a: by(|strip| strip.current_a),
        power_w: by(|strip| strip.power_w),
        voltage_at_driver_v: by(|strip| strip.driver_v),
        voltage_at_start_v: by(|strip| strip.start_v),
        worst_cut_unit: count(|strip| strip.worst_unit),
        voltage_at_worst_v: by(|strip| strip.worst_v),
        drop_percent: by(|strip| strip.drop_percent),
        drop_supply_feed_driver_percent: by(|strip| strip.drop_source_percent),
        drop_cable_percent: by(|strip| strip.drop_cable_percent),
        drop_tape_percent: by(|strip| strip.drop_tape_percent),
        light_best_percent: by(|strip| strip.light_best_percent),
        light_worst_percent: by(|strip| strip.light_worst_percent),
        dark_cut_units: count(|strip| strip.dark_units),
    }
}
