//! What is said of each output, bar and colour: volts, amps, light and losses, as they print.
//!
//! Names carry their units. Figures are rounded to thousandths, far finer than the real inputs
//! allow (a drop is good to about 15 % of itself).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    model::{channel::Channel, id::BarId, text::words},
    plan::{
        ladder::{Figures, StripFigures},
        outcome::OutputRef,
    },
    units::Money,
};

/// The solved circuits of a plan.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VoltsPlan {
    /// What is taken alike for every output, since no catalogue tells it.
    pub assumed: Vec<Assumed>,
    /// Output by output.
    pub outputs: Vec<OutputVolts>,
}

/// A figure that is taken where none is noted.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
pub struct Assumed {
    /// What.
    pub what: String,
    /// What it is taken as.
    pub value: String,
    /// What that rests on.
    pub why: String,
    /// Whether the catalogue asks for it: a check that rests on it is not passed.
    pub missing: bool,
}

/// One driver output with the bars on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OutputVolts {
    /// Which.
    pub output: OutputRef,
    /// What the tape is made for.
    pub nominal_voltage_v: f64,
    /// What the supply gives.
    pub supply_voltage_v: f64,
    /// Why the circuit could not be solved, as a sentence; then there is no figure.
    pub unsolved: Option<String>,
    /// Bars, paralleled if several.
    pub bars: Vec<BarVolts>,
    /// Current and power of all channels at full.
    pub total: Option<OutputTotal>,
}

/// What an output takes, all channels at full. What is given is what is lost and lit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OutputTotal {
    /// Current that it draws from the supply.
    pub current_a: f64,
    /// Power that it draws.
    pub power_w: f64,
    /// What of it is lost in the driver's channels.
    pub lost_driver_w: f64,
    /// What of it is lost in cables, leads and contacts.
    pub lost_cables_w: f64,
    /// What of it is lost in the traces of the tape.
    pub lost_tape_w: f64,
    /// What the LEDs with their resistors take.
    pub lit_w: f64,
}

/// One bar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BarVolts {
    /// The bar.
    pub bar: BarId,
    /// Whole cut units.
    pub cut_units: usize,
    /// Length of these.
    pub lit_m: f64,
    /// Ways from the driver to it: one for each fed end.
    pub runs: Vec<RunVolts>,
    /// Colour by colour.
    pub channels: Vec<ChannelVolts>,
    /// Where the voltage is lowest, over every mix of channels.
    pub lowest: SpotVolts,
    /// Where there is least light, over every mix of channels.
    pub dimmest: SpotVolts,
    /// Drop at the lowest voltage of all mixes.
    pub worst_drop_percent: f64,
    /// Light at the dimmest cut unit of all mixes.
    pub worst_light_percent: f64,
    /// Between what the worst drop and the least light lie, over the plausible range of what is
    /// missing; `None` where nothing is.
    pub range: Option<RangeVolts>,
    /// How the colour of a white mix shifts towards the far end, in words; `None` for one colour.
    pub colour_shift: Option<String>,
    /// What is taken for this bar.
    pub assumed: Vec<Assumed>,
    /// What would mend it, each solved as the changed design; empty where it is good enough.
    pub mends: Vec<Mend>,
}

words! {
    /// How a drop is mended.
    How {
        /// A second run to the other end, from the same output.
        BothEnds = "both_ends", "feed both ends";
        /// The run leads to the middle, which feeds both ways.
        MiddleFeed = "middle_feed", "feed the middle";
        /// Another cable of the catalogue.
        ThickerCable = "thicker_cable", "thicker cable";
        /// Another cable from supply to driver.
        ThickerFeed = "thicker_feed", "thicker feed";
        /// Two conductors for the common.
        DoubledCommon = "doubled_common", "double the common";
        /// The longest bar that is good enough.
        ShorterRun = "shorter_run", "shorter bar";
        /// The longest cable that is good enough.
        DriverNearer = "driver_nearer", "driver nearer";
        /// A tape of higher voltage.
        HigherVoltage = "higher_voltage", "higher voltage";
    }
}

/// What would mend a bar, with what comes of it over every mix of channels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Mend {
    /// How.
    pub how: How,
    /// What to do, as a sentence.
    pub words: String,
    /// The worst drop then.
    pub drop_percent: f64,
    /// The least light then.
    pub light_percent: f64,
    /// Whether both are then good enough.
    pub good: bool,
    /// What has to be got for it, by the catalogue's offers; `None` where something has no price.
    pub cost_minor: Option<Money>,
}

/// A way from the driver to an end of a bar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RunVolts {
    /// Whether it leads to the bar's end, and not to its start.
    pub to_end: bool,
    /// Length of its cable.
    pub cable_m: f64,
    /// Resistance of the conductor of one colour, contacts included.
    pub channel_ohm: f64,
    /// Resistance of the common, contacts included.
    pub common_ohm: f64,
    /// Plug contacts and terminals in series in each conductor.
    pub contacts: u32,
    /// Current of the common, all channels at full.
    pub common_current_a: f64,
    /// What it loses then.
    pub lost_w: f64,
}

/// One colour of a bar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChannelVolts {
    /// The colour.
    pub channel: Channel,
    /// All channels at full.
    pub full: DropVolts,
    /// This one alone.
    pub alone: DropVolts,
    /// All channels at full, if the tape took its nominal current at any voltage: the upper bound
    /// of the drop. `None` where the wires would then lose all of the voltage.
    pub bound_drop_percent: Option<f64>,
    /// Voltage along the bar, all channels at full: at a few cut units from the first to the last.
    pub along: Vec<AlongVolts>,
}

/// Voltage at a cut unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AlongVolts {
    /// The cut unit, counted from 1 at the start.
    pub cut_unit: usize,
    /// The voltage.
    pub voltage_v: f64,
}

/// What one colour of one bar sees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DropVolts {
    /// Current of all its cut units.
    pub current_a: f64,
    /// What these take.
    pub power_w: f64,
    /// Voltage at the driver's output.
    pub voltage_at_driver_v: f64,
    /// Voltage where the bar begins.
    pub voltage_at_start_v: f64,
    /// The cut unit with the lowest voltage, counted from 1 at the start.
    pub worst_cut_unit: usize,
    /// The voltage there.
    pub voltage_at_worst_v: f64,
    /// Supply voltage less that, in percent of the nominal voltage: the sum of the next three.
    pub drop_percent: f64,
    /// What supply, feed and driver lose of it.
    pub drop_source_percent: f64,
    /// What cable, leads and contacts lose of it.
    pub drop_cable_percent: f64,
    /// What the tape loses of it.
    pub drop_tape_percent: f64,
    /// Light of the best cut unit, in percent of that at the nominal voltage.
    pub light_best_percent: f64,
    /// Light of the worst one.
    pub light_worst_percent: f64,
    /// Cut units that stay dark.
    pub dark_cut_units: usize,
}

/// The worst place of a bar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SpotVolts {
    /// The colour.
    pub channel: Channel,
    /// The cut unit, counted from 1 at the start.
    pub cut_unit: usize,
    /// Channels that are on then.
    pub on: Vec<Channel>,
    /// The voltage, or the light in percent of that at the nominal voltage.
    pub value: f64,
}

/// Best and worst over the plausible range of what is missing, all channels at full.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RangeVolts {
    /// Drop where what is missing is as good as it plausibly is.
    pub drop_best_percent: f64,
    /// Drop where it is as bad; 100 where nothing would light.
    pub drop_worst_percent: f64,
    /// Least light where what is missing is as good as it plausibly is.
    pub light_best_percent: f64,
    /// Least light where it is as bad.
    pub light_worst_percent: f64,
}

/// A figure as it is kept: thousandths.
pub(super) fn rounded(value: f64) -> f64 {
    // What is rounded to nothing has no sign.
    (value * 1e3).round() / 1e3 + 0.0
}

impl From<&StripFigures> for DropVolts {
    fn from(strip: &StripFigures) -> Self {
        Self {
            current_a: rounded(strip.current_a),
            power_w: rounded(strip.power_w),
            voltage_at_driver_v: rounded(strip.driver_v),
            voltage_at_start_v: rounded(strip.start_v),
            worst_cut_unit: strip.worst_unit,
            voltage_at_worst_v: rounded(strip.worst_v),
            drop_percent: rounded(strip.drop_percent),
            drop_source_percent: rounded(strip.drop_source_percent),
            drop_cable_percent: rounded(strip.drop_cable_percent),
            drop_tape_percent: rounded(strip.drop_tape_percent),
            light_best_percent: rounded(strip.light_best_percent),
            light_worst_percent: rounded(strip.light_worst_percent),
            dark_cut_units: strip.dark_units,
        }
    }
}

impl From<&Figures> for OutputTotal {
    fn from(figures: &Figures) -> Self {
        Self {
            current_a: rounded(figures.supply_a),
            power_w: rounded(figures.supply_w),
            lost_driver_w: rounded(figures.lost.driver_w),
            lost_cables_w: rounded(figures.lost.cables_w),
            lost_tape_w: rounded(figures.lost.tape_w),
            lit_w: rounded(figures.lit_w),
        }
    }
}

/// Most cut units of which the voltage is kept.
const MOST_ALONG: usize = 9;

/// A few of a row of voltages, evenly spread, the first and the last among them.
pub(super) fn along(volts: &[f64]) -> Vec<AlongVolts> {
    let count = volts.len().min(MOST_ALONG);
    let last = volts.len().saturating_sub(1);
    (0..count)
        .map(|nth| {
            let at = if count < 2 {
                0
            } else {
                nth * last / (count - 1)
            };
            AlongVolts {
                cut_unit: at + 1,
                voltage_v: rounded(volts[at]),
            }
        })
        .collect()
}

/// Light in percent of two colours less apart than this shows no shift.
const SHIFT: f64 = 3.0;

/// Towards which colours a white mix shifts where it is dimmest, in words.
pub(super) fn shift(channels: &[ChannelVolts]) -> Option<String> {
    if channels.len() < 2 {
        return None;
    }
    let light = |one: &ChannelVolts| one.full.light_worst_percent;
    let least = channels.iter().map(light).fold(f64::INFINITY, f64::min);
    let most = channels.iter().map(light).fold(0.0, f64::max);
    if most - least < SHIFT {
        return Some("With all colours at full, no shift of colour shows at the far end.".into());
    }
    let middle = f64::midpoint(least, most);
    let names = |kept: bool| {
        let list = channels.iter().filter(|one| (light(one) >= middle) == kept);
        list.map(|one| format!("{} {:.0} %", one.channel.label(), light(one)))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let towards: Vec<&str> = channels
        .iter()
        .filter(|one| light(one) >= middle)
        .map(|one| one.channel.label())
        .collect();
    Some(format!(
        "With all colours at full the far end shifts towards {}: {} of its light is left there, of {}.",
        towards.join(" and "),
        names(true),
        names(false)
    ))
}
