//! What is given: supply, driver, cables and bars, and what of it can't be solved.

use std::fmt;

/// The most cut units, counted once for each colour, that are solved at once.
pub const MOST_LOADS: usize = 50_000;
/// The most channels of a driver output.
pub const MOST_CHANNELS: usize = 8;
/// The most cables and the most bars of one circuit.
pub const MOST_PARTS: usize = 500;

/// How the current of a cut unit depends on its voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadModel {
    /// LEDs in series with a resistor: i = max(0, (v − Vf)/R), with R from the power at the
    /// nominal voltage.
    ResistorString,
    /// The current at the nominal voltage, whatever the voltage is: the upper bound of the drop.
    ConstantCurrent,
}

/// A set of channels, by their place in [`Circuit::channels`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mix(u8);

impl Mix {
    /// No channel.
    pub const NONE: Self = Self(0);

    /// The first `count` channels, at most eight.
    pub fn first(count: usize) -> Self {
        (0..count).fold(Self::NONE, Self::with)
    }

    /// One channel alone.
    pub fn only(channel: usize) -> Self {
        Self::NONE.with(channel)
    }

    /// These and one more; a channel beyond the eighth is never on.
    #[must_use]
    pub fn with(self, channel: usize) -> Self {
        let bit = u32::try_from(channel)
            .ok()
            .and_then(|at| 1_u8.checked_shl(at));
        Self(self.0 | bit.unwrap_or(0))
    }

    /// Whether a channel is on.
    pub fn has(self, channel: usize) -> bool {
        channel < MOST_CHANNELS && self.0 & (1 << channel) != 0
    }

    /// Every set of some of these channels, all of them first.
    pub fn each_of(self) -> impl Iterator<Item = Self> {
        (1..=self.0)
            .rev()
            .filter(move |set| set & !self.0 == 0)
            .map(Self)
    }
}

/// Where the end of a cable is joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// The driver's output.
    Driver,
    /// A junction, by its number.
    Junction(usize),
    /// The start of a bar, by its place in [`Circuit::bars`].
    Start(usize),
    /// The end of a bar.
    End(usize),
}

/// Cable from one place to another, contacts included.
#[derive(Debug, Clone, PartialEq)]
pub struct Cable {
    /// Its name.
    pub name: String,
    /// One end.
    pub from: Place,
    /// The other end.
    pub to: Place,
    /// Resistance of the conductor of one channel, one way, in Ω.
    pub channel_ohm: f64,
    /// Resistance of the common, one way, in Ω.
    pub common_ohm: f64,
    /// Channels that it has conductors for.
    pub channels: Mix,
}

/// One colour of a bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Its place in [`Circuit::channels`].
    pub channel: usize,
    /// Power at the nominal voltage, in W/m.
    pub watts_per_m: f64,
    /// Resistance of its trace, one way, in Ω/m.
    pub trace_ohm_per_m: f64,
    /// Forward voltage of its LEDs in series, in V. Constant-current tape needs none.
    pub string_v: Option<f64>,
}

/// A bar of whole cut units.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// Its name.
    pub name: String,
    /// Whole cut units.
    pub units: usize,
    /// Length of one, in m.
    pub pitch_m: f64,
    /// Resistance of the trace of the common, in Ω/m.
    pub common_ohm_per_m: f64,
    /// Its colours, each once.
    pub strips: Vec<Strip>,
}

/// A driver output with what feeds it and what hangs on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Circuit {
    /// What the tape is made for, in V.
    pub nominal_v: f64,
    /// How the tape behaves.
    pub model: LoadModel,
    /// What the supply gives without load, in V.
    pub supply_v: f64,
    /// The supply's own resistance, in Ω.
    pub source_ohm: f64,
    /// Resistance of one conductor of the cable from supply to driver, in Ω; go and return count.
    pub feed_ohm: f64,
    /// The driver output's channels by name, each with its on-resistance in Ω.
    pub channels: Vec<(String, f64)>,
    /// How many junctions there are.
    pub junctions: usize,
    /// Cables.
    pub cables: Vec<Cable>,
    /// Bars.
    pub bars: Vec<Bar>,
}

/// A field of the document that a circuit is written in, shown as a JSON pointer.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(missing_docs, reason = "each is named as the field it stands for")]
pub enum Field {
    NominalVoltage,
    SupplyVoltage,
    SourceResistance,
    Feed,
    Channels,
    ChannelsOn,
    OnResistance(String),
    Cables,
    CableFrom(usize),
    CableTo(usize),
    CableChannel(usize),
    CableCommon(usize),
    Bars,
    Bar(usize),
    BarChannels(usize),
    BarLength(usize),
    BarPitch(usize),
    BarPower(usize, String),
    BarTrace(usize, String),
    BarCommon(usize),
    BarSeries(usize),
    BarForward(usize, String),
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let keyed = |f: &mut fmt::Formatter<'_>, at: usize, field: &str, key: &str| {
            let key = key.replace('~', "~0").replace('/', "~1");
            write!(f, "/bars/{at}/{field}/{key}")
        };
        match self {
            Self::NominalVoltage => f.write_str("/nominal_voltage_v"),
            Self::SupplyVoltage => f.write_str("/supply/voltage_v"),
            Self::SourceResistance => f.write_str("/supply/source_resistance_ohm"),
            Self::Feed => f.write_str("/feed_cable"),
            Self::Channels => f.write_str("/driver/channels"),
            Self::ChannelsOn => f.write_str("/driver/channels_on"),
            Self::OnResistance(_) => f.write_str("/driver/on_resistance_ohm_per_channel"),
            Self::Cables => f.write_str("/cables"),
            Self::CableFrom(at) => write!(f, "/cables/{at}/from"),
            Self::CableTo(at) => write!(f, "/cables/{at}/to"),
            Self::CableChannel(at) => write!(f, "/cables/{at}/channel_conductor"),
            Self::CableCommon(at) => write!(f, "/cables/{at}/common_conductor"),
            Self::Bars => f.write_str("/bars"),
            Self::Bar(at) => write!(f, "/bars/{at}"),
            Self::BarChannels(at) => write!(f, "/bars/{at}/channels"),
            Self::BarLength(at) => write!(f, "/bars/{at}/length_m"),
            Self::BarPitch(at) => write!(f, "/bars/{at}/cut_pitch_m"),
            Self::BarPower(at, name) => keyed(f, *at, "power_w_per_m", name),
            Self::BarTrace(at, name) => keyed(f, *at, "trace_resistance_ohm_per_m", name),
            Self::BarCommon(at) => write!(f, "/bars/{at}/trace_resistance_common_ohm_per_m"),
            Self::BarSeries(at) => write!(f, "/bars/{at}/leds_in_series"),
            Self::BarForward(at, name) => keyed(f, *at, "led_forward_voltage_v", name),
        }
    }
}

/// Why a circuit can't be solved, and what to type instead.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    /// A quantity that must be above nothing is not.
    #[error("Type {what} above 0, such as {example}.")]
    NotAboveZero {
        /// The field.
        field: Field,
        /// What it is.
        what: &'static str,
        /// A value that would be taken.
        example: &'static str,
    },
    /// A resistance is below nothing, or no number.
    #[error("Type {what} of 0 Ω or more, such as {example}.")]
    Negative {
        /// The field.
        field: Field,
        /// What it is.
        what: &'static str,
        /// A value that would be taken.
        example: &'static str,
    },
    /// A quantity is beyond anything at low voltage.
    #[error("Type {what} of at most {most}, and check the unit.")]
    TooLarge {
        /// The field.
        field: Field,
        /// What it is.
        what: &'static str,
        /// The greatest value taken.
        most: f64,
    },
    /// A list is empty, or longer than what is solved.
    #[error("Give 1 to {most} {what}; there are {found}.")]
    Number {
        /// The field.
        field: Field,
        /// What is counted.
        what: &'static str,
        /// The most.
        most: usize,
        /// What was given.
        found: usize,
    },
    /// A bar names a channel twice, or one that the driver lacks.
    #[error("The driver output has no channel for a colour of {bar}, or {bar} names it twice.")]
    NoSuchChannel {
        /// The field.
        field: Field,
        /// The bar.
        bar: String,
    },
    /// A place that does not exist.
    #[error("{cable} leads to a bar or junction that is not there.")]
    NoSuchPlace {
        /// The field.
        field: Field,
        /// The cable.
        cable: String,
    },
    /// A cable that ends where it begins.
    #[error("{cable} ends where it begins: let it lead from one place to another.")]
    NowhereTo {
        /// The field.
        field: Field,
        /// The cable.
        cable: String,
    },
    /// No bar has a channel that is on.
    #[error("No bar has a channel that is on: name at least one that a bar has.")]
    NothingOn {
        /// The field.
        field: Field,
    },
    /// No way leads from the driver to a place.
    #[error("No cable leads from driver_output to {what}: join it, or leave it out.")]
    NotJoined {
        /// The field.
        field: Field,
        /// What is not reached.
        what: String,
    },
    /// A bar is reached by the common, but not by a channel that is on.
    #[error(
        "No cable brings {channel} from driver_output to {bar}: add it to the channels of the cables on the way."
    )]
    ChannelNotJoined {
        /// The field.
        field: Field,
        /// The bar.
        bar: String,
        /// The channel.
        channel: String,
    },
    /// The LEDs in series need the whole nominal voltage, so no resistor fits.
    #[error(
        "The LEDs in series of {channel} need {string_v:.2} V together, which leaves nothing of the nominal {nominal_v} V for their resistor: type fewer in series or a lower forward voltage."
    )]
    StringTooLong {
        /// The field.
        field: Field,
        /// The channel.
        channel: String,
        /// Forward voltage of the string, in V.
        string_v: f64,
        /// The nominal voltage, in V.
        nominal_v: f64,
    },
    /// The forward voltage is not given.
    #[error("Type the forward voltage of {channel}'s LEDs in series, such as 3.1 V each.")]
    StringUnknown {
        /// The field.
        field: Field,
        /// The channel.
        channel: String,
    },
    /// The supply is below the forward voltage of every string.
    #[error("At {supply_v} V no LED lights: type a supply voltage above {needed_v:.2} V.")]
    LightsNothing {
        /// The field.
        field: Field,
        /// What the supply gives, in V.
        supply_v: f64,
        /// What the least string needs, in V.
        needed_v: f64,
    },
    /// Constant-current loads that the wires cannot carry.
    #[error(
        "The wires to {bar} would lose all of the voltage: at a constant current {channel} has nothing left at cut unit {unit}. Shorten it, thicken its cable, or take load_model resistor_string."
    )]
    NothingLeft {
        /// The field.
        field: Field,
        /// The bar.
        bar: String,
        /// The channel.
        channel: String,
        /// The cut unit, counted from 1.
        unit: usize,
    },
    /// More loops than are solved at once.
    #[error(
        "So many cut units in so many loops are not solved at once: leave out some cables or bars."
    )]
    Tangled {
        /// The field.
        field: Field,
    },
    /// Rounding leaves no answer that balances.
    #[error(
        "These resistances are too far apart for an answer that balances. Check the smallest and the greatest of them."
    )]
    Unbalanced {
        /// The field.
        field: Field,
    },
}

impl Refused {
    /// The field to mend.
    pub const fn field(&self) -> &Field {
        match self {
            Self::NotAboveZero { field, .. }
            | Self::Negative { field, .. }
            | Self::TooLarge { field, .. }
            | Self::Number { field, .. }
            | Self::NoSuchChannel { field, .. }
            | Self::NoSuchPlace { field, .. }
            | Self::NowhereTo { field, .. }
            | Self::NothingOn { field }
            | Self::NotJoined { field, .. }
            | Self::ChannelNotJoined { field, .. }
            | Self::StringTooLong { field, .. }
            | Self::StringUnknown { field, .. }
            | Self::LightsNothing { field, .. }
            | Self::NothingLeft { field, .. }
            | Self::Tangled { field }
            | Self::Unbalanced { field } => field,
        }
    }
}

/// A quantity above nothing and not beyond `most`.
fn above_zero(
    field: impl Fn() -> Field,
    what: &'static str,
    example: &'static str,
    most: f64,
    value: f64,
) -> Result<(), Refused> {
    // What is no number is not above nothing either.
    if value.is_nan() || value <= 0.0 {
        return Err(Refused::NotAboveZero {
            field: field(),
            what,
            example,
        });
    }
    at_most(field, what, most, value)
}

/// A resistance, nothing included.
fn resistance(
    field: impl Fn() -> Field,
    what: &'static str,
    example: &'static str,
    value: f64,
) -> Result<(), Refused> {
    if value.is_nan() || value < 0.0 {
        return Err(Refused::Negative {
            field: field(),
            what,
            example,
        });
    }
    at_most(field, what, MOST_OHM, value)
}

fn at_most(
    field: impl Fn() -> Field,
    what: &'static str,
    most: f64,
    value: f64,
) -> Result<(), Refused> {
    if value > most {
        return Err(Refused::TooLarge {
            field: field(),
            what,
            most,
        });
    }
    Ok(())
}

/// The most volts of a supply or tape: the range of [`crate::units::Voltage`].
const MOST_VOLT: f64 = 1_000.0;
/// The most ohms of anything that should conduct.
const MOST_OHM: f64 = 10_000.0;

impl Circuit {
    /// Every channel of the driver output.
    pub fn all(&self) -> Mix {
        Mix::first(self.channels.len())
    }

    /// Refuses what can't be solved, whatever is on.
    pub fn check(&self) -> Result<(), Refused> {
        let volts = "a voltage";
        above_zero(
            || Field::NominalVoltage,
            volts,
            "24",
            MOST_VOLT,
            self.nominal_v,
        )?;
        above_zero(
            || Field::SupplyVoltage,
            volts,
            "24",
            MOST_VOLT,
            self.supply_v,
        )?;
        resistance(
            || Field::SourceResistance,
            "a resistance of the supply",
            "0.01",
            self.source_ohm,
        )?;
        resistance(
            || Field::Feed,
            "a resistance of the feed cable",
            "0.01",
            self.feed_ohm,
        )?;
        number(
            || Field::Channels,
            "channels",
            MOST_CHANNELS,
            self.channels.len(),
        )?;
        for (name, ohm) in &self.channels {
            let field = || Field::OnResistance(name.clone());
            resistance(field, "an on-resistance", "0.02", *ohm)?;
        }
        number(|| Field::Cables, "cables", MOST_PARTS, self.cables.len())?;
        number(|| Field::Bars, "bars", MOST_PARTS, self.bars.len())?;
        for (at, cable) in self.cables.iter().enumerate() {
            self.check_cable(at, cable)?;
        }
        let mut loads = 0_usize;
        for (at, bar) in self.bars.iter().enumerate() {
            self.check_bar(at, bar)?;
            loads = loads.saturating_add(bar.units.saturating_mul(bar.strips.len()));
            if loads > MOST_LOADS {
                return Err(Refused::Number {
                    field: Field::BarLength(at),
                    what: "cut units in all, counted once for each colour",
                    most: MOST_LOADS,
                    found: loads,
                });
            }
        }
        Ok(())
    }

    fn check_cable(&self, at: usize, cable: &Cable) -> Result<(), Refused> {
        for (place, field) in [
            (cable.from, Field::CableFrom(at)),
            (cable.to, Field::CableTo(at)),
        ] {
            let there = match place {
                Place::Driver => true,
                Place::Junction(number) => number < self.junctions,
                Place::Start(bar) | Place::End(bar) => bar < self.bars.len(),
            };
            if !there {
                let cable = cable.name.clone();
                return Err(Refused::NoSuchPlace { field, cable });
            }
        }
        if cable.from == cable.to {
            return Err(Refused::NowhereTo {
                field: Field::CableTo(at),
                cable: cable.name.clone(),
            });
        }
        let what = "a resistance of the conductor";
        resistance(|| Field::CableChannel(at), what, "0.1", cable.channel_ohm)?;
        resistance(|| Field::CableCommon(at), what, "0.1", cable.common_ohm)
    }

    fn check_bar(&self, at: usize, bar: &Bar) -> Result<(), Refused> {
        if bar.units == 0 {
            return Err(Refused::NotAboveZero {
                field: Field::BarLength(at),
                what: "a length of at least one cut unit, so well",
                example: "2.5",
            });
        }
        above_zero(
            || Field::BarPitch(at),
            "a cut pitch",
            "0.05",
            10.0,
            bar.pitch_m,
        )?;
        above_zero(
            || Field::BarCommon(at),
            "a resistance of the common's trace",
            "0.1",
            MOST_OHM,
            bar.common_ohm_per_m,
        )?;
        number(
            || Field::BarChannels(at),
            "channels",
            MOST_CHANNELS,
            bar.strips.len(),
        )?;
        let mut seen = Mix::NONE;
        for strip in &bar.strips {
            let Some((name, _)) = self
                .channels
                .get(strip.channel)
                .filter(|_| !seen.has(strip.channel))
            else {
                return Err(Refused::NoSuchChannel {
                    field: Field::BarChannels(at),
                    bar: bar.name.clone(),
                });
            };
            seen = seen.with(strip.channel);
            let field = || Field::BarPower(at, name.clone());
            above_zero(
                field,
                "a power per metre",
                "4.8",
                10_000.0,
                strip.watts_per_m,
            )?;
            let field = || Field::BarTrace(at, name.clone());
            let what = "a resistance of the channel's trace";
            above_zero(field, what, "0.2", MOST_OHM, strip.trace_ohm_per_m)?;
            self.check_string(at, name, strip.string_v)?;
        }
        Ok(())
    }

    fn check_string(&self, at: usize, name: &str, string_v: Option<f64>) -> Result<(), Refused> {
        let Some(string_v) = string_v else {
            return match self.model {
                LoadModel::ConstantCurrent => Ok(()),
                LoadModel::ResistorString => Err(Refused::StringUnknown {
                    field: Field::BarForward(at, name.to_owned()),
                    channel: name.to_owned(),
                }),
            };
        };
        let field = || Field::BarForward(at, name.to_owned());
        above_zero(field, "a forward voltage", "3.1", MOST_VOLT, string_v)?;
        if string_v >= self.nominal_v {
            return Err(Refused::StringTooLong {
                field: Field::BarSeries(at),
                channel: name.to_owned(),
                string_v,
                nominal_v: self.nominal_v,
            });
        }
        Ok(())
    }
}

/// A list with at least one entry and not beyond `most`.
fn number(
    field: impl Fn() -> Field,
    what: &'static str,
    most: usize,
    found: usize,
) -> Result<(), Refused> {
    if (1..=most).contains(&found) {
        return Ok(());
    }
    Err(Refused::Number {
        field: field(),
        what,
        most,
        found,
    })
}
