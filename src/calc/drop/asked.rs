//! The question: what the document says.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::by_channel::ByChannel;
use crate::{
    model::text::words,
    units::{ConductorSize, Strand},
};

words! {
    /// How the current of a cut unit depends on its voltage.
    DropLoadModel {
        /// LEDs in series with a resistor.
        ResistorString = "resistor_string", "LEDs with a resistor";
        /// The same current at any voltage: the upper bound of the drop.
        ConstantCurrent = "constant_current", "constant current";
    }
}

/// The supply.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropSupply {
    /// What it gives without load.
    pub voltage_v: f64,
    /// Its own resistance; taken as none where it is not known, and said so.
    #[serde(default)]
    #[schema(minimum = 0)]
    pub source_resistance_ohm: Option<f64>,
}

/// The cable from supply to driver; go and return both count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropFeed {
    /// Its length, one way.
    #[schema(minimum = 0, maximum = 1_000)]
    pub length_m: f64,
    /// Resistance of one conductor.
    pub resistance_ohm_per_m: f64,
}

/// The driver output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropDriver {
    /// Names of its channels, such as red, each once.
    #[schema(min_items = 1, max_items = 8)]
    pub channels: Vec<String>,
    /// Channels at full, the others dark; all where it is left out.
    #[serde(default)]
    pub channels_on: Option<Vec<String>>,
    /// Resistance of a channel that is on.
    pub on_resistance_ohm_per_channel: ByChannel,
}

/// One conductor: its resistance, or its size and temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropConductor {
    /// Its resistance, one way.
    #[serde(default)]
    pub resistance_ohm_per_m: Option<f64>,
    /// Its size, if the resistance is not given; copper.
    #[serde(default)]
    pub size: Option<ConductorSize>,
    /// Solid (class 1 and 2) or stranded (class 5), beside a size; solid where it is left out, and
    /// said so.
    #[serde(default)]
    pub strand: Option<Strand>,
    /// Its temperature, beside a size.
    #[serde(default)]
    #[schema(minimum = -40, maximum = 150)]
    pub temperature_c: Option<f64>,
    /// How many of it lie side by side, each with contacts of its own; 1 where it is left out.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub conductors_in_parallel: Option<u32>,
}

/// A cable. It carries the channels that are wanted beyond it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropCable {
    /// What it is called.
    pub name: String,
    /// Where it begins: `driver_output`, the name of a bar with `_start` or `_end`, or any other
    /// name for a junction.
    pub from: String,
    /// Where it ends.
    pub to: String,
    /// Its length, one way.
    #[schema(minimum = 0, maximum = 1_000)]
    pub length_m: f64,
    /// The conductor of each channel.
    pub channel_conductor: DropConductor,
    /// The conductor of the common.
    pub common_conductor: DropConductor,
    /// Resistance of one contact.
    #[schema(minimum = 0)]
    pub contact_resistance_ohm_per_contact: f64,
    /// Contacts that follow one another in each conductor.
    #[schema(minimum = 0, maximum = 1_000)]
    pub contacts_in_series_per_conductor: u32,
    /// Channels that it has conductors for, if not all that are wanted.
    #[serde(default)]
    pub channels: Option<Vec<String>>,
}

/// A bar of tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropBar {
    /// What it is called, no two alike.
    pub name: String,
    /// Its colours, by the driver's names.
    #[schema(min_items = 1, max_items = 8)]
    pub channels: Vec<String>,
    /// Its length; rounded down to whole cut units, and said so.
    pub length_m: f64,
    /// Length of a cut unit.
    pub cut_pitch_m: f64,
    /// Power at the nominal voltage, by channel.
    pub power_w_per_m: ByChannel,
    /// Resistance of a channel's trace, one way, by channel.
    pub trace_resistance_ohm_per_m: ByChannel,
    /// Resistance of the common's trace, one way.
    pub trace_resistance_common_ohm_per_m: f64,
    /// LEDs in series; may be left out at a constant current.
    #[serde(default)]
    pub leds_in_series: Option<ByChannel>,
    /// Forward voltage of one LED, by channel; may be left out at a constant current.
    #[serde(default)]
    pub led_forward_voltage_v: Option<ByChannel>,
}

/// A driver output with what feeds it and what hangs on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropBody {
    /// What the tape is made for.
    pub nominal_voltage_v: f64,
    /// How the tape behaves.
    pub load_model: DropLoadModel,
    /// The supply.
    pub supply: DropSupply,
    /// The cable from supply to driver, or null where there is none.
    #[serde(default)]
    pub feed_cable: Option<DropFeed>,
    /// The driver output.
    pub driver: DropDriver,
    /// Cables beyond it, in any tree or loop.
    #[schema(min_items = 1, max_items = 500)]
    pub cables: Vec<DropCable>,
    /// Bars, each with the same tape from start to end.
    #[schema(min_items = 1, max_items = 500)]
    pub bars: Vec<DropBar>,
}
