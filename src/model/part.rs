//! Kinds of parts and their attributes. Unknown is `None`, never zero.
//!
//! One type per kind, joined in [`PartSpec`], which is also the form in JSON and in the database:
//! field names carry their unit (`voltage_mv`). How an attribute is typed in a form or in CSV is
//! in [`super::attribute`].

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    channel::{Channel, Channels, RoleOrder},
    connector::Connector,
    id::PartId,
    text::{Name, Note, words},
};
use crate::units::{
    ConductorSize, Current, CutPitch, Frequency, Length, PowerPerLength, ResistancePerLength,
    Strand, Voltage,
};

words! {
    /// The kinds of parts.
    Kind {
        /// LED tape on rolls.
        Tape = "tape", "tape";
        /// Diffuser profile in bars.
        Profile = "profile", "profile";
        /// A plug or socket with a bare tail.
        Lead = "lead", "lead";
        /// A coupler or gender changer.
        Coupler = "coupler", "coupler";
        /// A terminal block.
        Block = "block", "terminal block";
        /// Cable on reels.
        Cable = "cable", "cable";
        /// A DMX driver.
        Driver = "driver", "driver";
        /// A low-voltage supply.
        Supply = "supply", "supply";
        /// DMX cable, terminator, splitter.
        Data = "data", "data";
        /// Solder, heat-shrink, clips, screws, fuses, labels.
        Sundry = "sundry", "sundry";
    }
}

words! {
    /// How a part is kept in stock.
    StockBy {
        /// A number in a place.
        Count = "count", "by count";
        /// Every roll, reel, bar and offcut by itself.
        Length = "length", "by length";
        /// Each with a tag.
        Unit = "unit", "by unit";
    }
}

impl Kind {
    /// How parts of this kind are kept.
    pub const fn stock_by(self) -> StockBy {
        match self {
            Self::Tape | Self::Profile | Self::Cable => StockBy::Length,
            Self::Driver | Self::Supply => StockBy::Unit,
            Self::Lead | Self::Coupler | Self::Block | Self::Data | Self::Sundry => StockBy::Count,
        }
    }
}

impl Kind {
    /// Whether every roll, reel, bar and offcut of it is a piece of its own.
    pub const fn by_length(self) -> bool {
        matches!(self.stock_by(), StockBy::Length)
    }
}

words! {
    /// Which side all colours share.
    Polarity {
        /// Common positive (anode).
        Positive = "positive", "common positive";
        /// Common negative (cathode).
        Negative = "negative", "common negative";
    }
}

words! {
    /// How tape is protected.
    Coating {
        /// Nothing over the LEDs.
        Bare = "bare", "bare";
        /// A layer over the LEDs.
        Coated = "coated", "coated";
        /// In a sleeve.
        Sleeved = "sleeved", "sleeved";
    }
}

/// One colour of a tape.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TapeChannel {
    /// The colour.
    pub channel: Channel,
    /// Colour temperature in kelvin, for whites.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 65_535)]
    pub kelvin: Option<u16>,
    /// Power at full, at the nominal voltage.
    #[serde(default)]
    pub power_mw_per_m: Option<PowerPerLength>,
}

/// Pre-tinned joints, by cut units from the roll's start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JointPitch {
    /// Cut units from one joint to the next, at least 1.
    #[schema(minimum = 1, maximum = 4_294_967_295_u32)]
    pub every_units: u32,
    /// Cut units from the roll's start to its first joint.
    #[schema(minimum = 0, maximum = 4_294_967_294_u32)]
    pub offset_units: u32,
}

/// LED tape.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Tape {
    /// Nominal supply voltage.
    pub voltage_mv: Voltage,
    /// Width of the circuit board.
    pub width_um: Length,
    /// Colours, in channel order, each once.
    #[schema(min_items = 1, max_items = 7)]
    pub channels: Vec<TapeChannel>,
    /// Protection.
    #[serde(default)]
    pub coating: Option<Coating>,
    /// Pads from one edge to the other.
    #[serde(default)]
    pub pads: Option<RoleOrder>,
    /// Which side is common.
    #[serde(default)]
    pub common: Option<Polarity>,
    /// Distance of cut marks.
    pub pitch: CutPitch,
    /// Pre-tinned joints, if any.
    #[serde(default)]
    pub joints: Option<JointPitch>,
    /// LEDs per metre.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 4_294_967_295_u32)]
    pub leds_per_m: Option<u32>,
    /// LEDs in series in one group.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 255)]
    pub leds_in_series: Option<u8>,
    /// Trace resistance of the common.
    #[serde(default)]
    pub trace_common_uohm_per_m: Option<ResistancePerLength>,
    /// Trace resistance of one colour.
    #[serde(default)]
    pub trace_channel_uohm_per_m: Option<ResistancePerLength>,
    /// Lengths of the rolls sold.
    #[serde(default)]
    pub rolls_um: Vec<Length>,
    /// Factory connector at a new roll's marked start.
    #[serde(default)]
    pub roll_start: Option<Connector>,
    /// Factory connector at a new roll's end.
    #[serde(default)]
    pub roll_end: Option<Connector>,
    /// Longest run from one feed.
    #[serde(default)]
    pub longest_run_um: Option<Length>,
}

impl Tape {
    /// The colours as a set.
    pub fn colours(&self) -> Option<Channels> {
        Channels::new(self.channels.iter().map(|c| c.channel).collect()).ok()
    }

    /// Power per metre with everything at full, unknown if any channel's is.
    pub fn power_per_m(&self) -> Option<PowerPerLength> {
        self.channels
            .iter()
            .try_fold(PowerPerLength::ZERO, |sum, channel| {
                sum.checked_add(channel.power_mw_per_m?)
            })
    }
}

words! {
    /// What lies over the tape in a profile.
    Diffuser {
        /// Nothing.
        Open = "open", "open";
        /// A clear cover.
        Clear = "clear", "clear";
        /// A frosted cover.
        Frosted = "frosted", "frosted";
        /// An opal cover, in which single LEDs no longer show.
        Opal = "opal", "opal";
    }
}

impl Diffuser {
    /// Whether a bar in it counts as diffused.
    pub const fn diffuses(self) -> bool {
        matches!(self, Self::Frosted | Self::Opal)
    }
}

/// Diffuser profile.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Lengths of the bars sold.
    #[serde(default)]
    pub bars_um: Vec<Length>,
    /// Widest tape that lies inside.
    pub inner_width_um: Length,
    /// Cover.
    pub diffuser: Diffuser,
    /// Heat it can take.
    #[serde(default)]
    pub heat_mw_per_m: Option<PowerPerLength>,
    /// Whether it may be cut.
    pub may_cut: bool,
    /// Lost at each saw cut.
    #[serde(default)]
    pub kerf_um: Option<Length>,
}

/// A plug or socket with a bare tail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Lead {
    /// Its connector.
    pub connector: Connector,
    /// Length of the bare tail.
    #[serde(default)]
    pub tail_um: Option<Length>,
    /// Size of its conductors.
    #[serde(default)]
    pub conductor: Option<ConductorSize>,
    /// Rating of one conductor or contact.
    #[serde(default)]
    pub rating_ma: Option<Current>,
}

/// A coupler or gender changer; where its two pin orders differ it crosses conductors.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Coupler {
    /// One side.
    pub a: Connector,
    /// The other side.
    pub b: Connector,
    /// Rating of one contact.
    #[serde(default)]
    pub rating_ma: Option<Current>,
}

/// A terminal block.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// Ways: conductors that pass through.
    #[schema(minimum = 1, maximum = 65_535)]
    pub ways: u16,
    /// Thinnest conductor it holds.
    #[serde(default)]
    pub thinnest: Option<ConductorSize>,
    /// Thickest conductor it holds.
    #[serde(default)]
    pub thickest: Option<ConductorSize>,
    /// Rating of one way.
    #[serde(default)]
    pub rating_ma: Option<Current>,
}

/// Cable on reels.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Cable {
    /// Number of conductors.
    #[schema(minimum = 1, maximum = 12)]
    pub conductors: u8,
    /// Size of one conductor.
    #[serde(default)]
    pub conductor: Option<ConductorSize>,
    /// Solid (not where it flexes) or stranded.
    #[serde(default)]
    pub strand: Option<Strand>,
    /// Colours of the conductors, in order.
    #[serde(default)]
    pub colours: Vec<Name>,
    /// Lengths of the reels sold.
    #[serde(default)]
    pub reels_um: Vec<Length>,
    /// Rating of one conductor.
    #[serde(default)]
    pub rating_ma: Option<Current>,
}

words! {
    /// Whether a driver's inlets are separate inside.
    Isolation {
        /// Nothing joins them: each may have a supply of its own.
        Isolated = "isolated", "isolated";
        /// Joined inside: one supply only.
        Bonded = "bonded", "bonded";
        /// Nobody has measured.
        Unknown = "unknown", "unknown";
    }
}

words! {
    /// How a driver's start address is set.
    AddressBy {
        /// Nine switches that show the start address.
        Switches = "switches", "switches show start";
        /// Nine switches that show the start address less one.
        SwitchesLessOne = "switches_less_one", "switches show start − 1";
        /// A menu.
        Menu = "menu", "menu";
        /// Over the data line (ANSI E1.20).
        Rdm = "rdm", "RDM";
        /// Not known.
        Unknown = "unknown", "unknown";
    }
}

/// A supply inlet of a driver.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Inlet {
    /// Outputs that it feeds, counted from 1.
    pub outputs: Vec<u16>,
}

/// A DMX driver.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Driver {
    /// Outputs.
    #[schema(minimum = 1, maximum = 128)]
    pub outputs: u16,
    /// Channels of each output.
    #[schema(minimum = 1, maximum = 8)]
    pub channels_per_output: u8,
    /// Order of the terminals of an output.
    #[serde(default)]
    pub terminals: Option<RoleOrder>,
    /// Which side is common.
    #[serde(default)]
    pub common: Option<Polarity>,
    /// Lowest supply voltage.
    pub voltage_min_mv: Voltage,
    /// Highest supply voltage.
    pub voltage_max_mv: Voltage,
    /// Limit of a channel.
    #[serde(default)]
    pub channel_limit_ma: Option<Current>,
    /// Limit of an output.
    #[serde(default)]
    pub output_limit_ma: Option<Current>,
    /// Limit of an inlet.
    #[serde(default)]
    pub inlet_limit_ma: Option<Current>,
    /// Limit of the whole driver.
    #[serde(default)]
    pub whole_limit_ma: Option<Current>,
    /// Inlets and the outputs that each feeds; together they feed every output once.
    pub inlets: Vec<Inlet>,
    /// Whether the inlets are separate.
    pub isolation: Isolation,
    /// DMX slots used.
    #[schema(minimum = 1, maximum = 512)]
    pub slots: u16,
    /// Order of the slots, in words.
    #[serde(default)]
    pub slot_order: Option<Name>,
    /// 8 or 16 bit.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 255)]
    pub bits: Option<u8>,
    /// How its address is set.
    pub address_by: AddressBy,
    /// Data connector, in words.
    #[serde(default)]
    pub data_connector: Option<Name>,
    /// Dimming frequency.
    #[serde(default)]
    pub pwm_hz: Option<Frequency>,
}

/// A low-voltage supply. Only its extra-low-voltage side is planned.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Supply {
    /// Output voltage.
    pub voltage_mv: Voltage,
    /// Rated output current.
    pub rated_ma: Current,
    /// Pairs of output terminals.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 255)]
    pub terminal_pairs: Option<u8>,
    /// Lowest mains voltage.
    #[serde(default)]
    pub mains_min_mv: Option<Voltage>,
    /// Highest mains voltage.
    #[serde(default)]
    pub mains_max_mv: Option<Voltage>,
    /// Mains current at full load.
    #[serde(default)]
    pub input_ma: Option<Current>,
    /// Inrush current.
    #[serde(default)]
    pub inrush_ma: Option<Current>,
    /// Power factor in percent.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub power_factor_percent: Option<u8>,
    /// Efficiency in percent.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub efficiency_percent: Option<u8>,
    /// Whether its output is of a limited-power class.
    #[serde(default)]
    pub limited_power: Option<bool>,
    /// How far it may be loaded, in percent of its rating; 80 where nothing is stated.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub load_percent: Option<u8>,
}

impl Supply {
    /// The load in percent that is planned with where the maker states none (common practice, no
    /// source).
    pub const USUAL_LOAD_PERCENT: u8 = 80;

    /// The current it may be loaded with.
    pub fn usable(&self) -> Current {
        let percent = i64::from(self.load_percent.unwrap_or(Self::USUAL_LOAD_PERCENT));
        Current::new(self.rated_ma.get() * percent / 100).unwrap_or(Current::ZERO)
    }
}

words! {
    /// What a data part is.
    DataUse {
        /// A cable of one length.
        Cable = "cable", "cable";
        /// A terminator for the line's end.
        Terminator = "terminator", "terminator";
        /// A splitter.
        Splitter = "splitter", "splitter";
    }
}

/// DMX cable, terminator, splitter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Data {
    /// What it is.
    #[serde(rename = "use")]
    pub used_as: DataUse,
    /// Length, for a cable.
    #[serde(default)]
    pub length_um: Option<Length>,
    /// Outputs, for a splitter.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 255)]
    pub outputs: Option<u8>,
    /// Connector, in words.
    #[serde(default)]
    pub connector: Option<Name>,
}

words! {
    /// What a sundry is counted in.
    Measure {
        /// Single things.
        Each = "each", "each";
        /// A length without pieces of its own, such as solder.
        Length = "length", "length";
    }
}

words! {
    /// For each what a sundry is used.
    Per {
        /// Each new bar.
        Bar = "bar", "bar";
        /// Each soldered joint.
        Joint = "joint", "soldered joint";
        /// Each metre of new bar.
        Metre = "metre", "metre";
        /// Each new bar that lies in a profile.
        Profile = "profile", "bar in profile";
        /// Each metre of new bar that lies in a profile.
        ProfileMetre = "profile_metre", "metre in profile";
    }
}

/// How much of a sundry is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UseRate {
    /// For each what.
    pub per: Per,
    /// Thousandths of one, or of a millimetre where it is measured by length.
    #[schema(minimum = 0, maximum = 4_294_967_295_u32)]
    pub thousandths: u32,
}

words! {
    /// How a fuse is made.
    FuseFamily {
        /// Blade fuse, for at most 32 V dc.
        Blade = "blade", "blade";
        /// Cartridge fuse of 5 × 20 mm (IEC 60127).
        Cartridge = "cartridge", "cartridge";
    }
}

/// What a sundry is that is a fuse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Fuse {
    /// How it is made.
    pub family: FuseFamily,
    /// Its rating, above zero.
    pub rating_ma: Current,
}

/// Solder, heat-shrink, clips, screws, fuses, labels, end caps.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sundry {
    /// What it is counted in.
    pub measure: Measure,
    /// How it is used up, if the planner should count it.
    #[serde(default)]
    pub use_rate: Option<UseRate>,
    /// The profile that it goes with, if only with one.
    #[serde(default)]
    pub goes_with: Option<PartId>,
    /// What it is as a fuse, if it is one. A fuse is not used up: it comes back with its set.
    #[serde(default)]
    pub fuse: Option<Fuse>,
}

impl Sundry {
    fn check(&self) -> Result<(), SpecError> {
        let fail = |field, message: &str| {
            Err(SpecError {
                field,
                message: message.to_owned(),
            })
        };
        match self.fuse {
            Some(fuse) if fuse.rating_ma == Current::ZERO => {
                fail("fuse", "Type a rating above zero, such as 5 A blade.")
            }
            Some(_) if self.measure == Measure::Length => fail(
                "measure",
                "Fuses are counted each. Choose that, or leave the fuse empty.",
            ),
            Some(_) if self.use_rate.is_some() => fail(
                "use_rate",
                "A fuse is not used up by bars: the plan counts those that its feeds and outputs \
                 ask for. Leave this empty.",
            ),
            _ => Ok(()),
        }
    }
}

/// A kind with its attributes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[expect(missing_docs, reason = "each variant is named as the type it holds")]
pub enum PartSpec {
    Tape(Tape),
    Profile(Profile),
    Lead(Lead),
    Coupler(Coupler),
    Block(Block),
    Cable(Cable),
    Driver(Driver),
    Supply(Supply),
    Data(Data),
    Sundry(Sundry),
}

/// Attributes that disagree with each other.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct SpecError {
    /// The attribute to mend, by its JSON name.
    pub field: &'static str,
    /// The sentence for people.
    pub message: String,
}

impl PartSpec {
    /// The connectors that it has: a lead's, both of a coupler, those of a tape's factory leads.
    pub fn connectors(&self) -> Vec<&Connector> {
        match self {
            Self::Tape(tape) => tape.roll_start.iter().chain(&tape.roll_end).collect(),
            Self::Lead(lead) => vec![&lead.connector],
            Self::Coupler(coupler) => vec![&coupler.a, &coupler.b],
            _ => Vec::new(),
        }
    }

    /// The kind.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Tape(_) => Kind::Tape,
            Self::Profile(_) => Kind::Profile,
            Self::Lead(_) => Kind::Lead,
            Self::Coupler(_) => Kind::Coupler,
            Self::Block(_) => Kind::Block,
            Self::Cable(_) => Kind::Cable,
            Self::Driver(_) => Kind::Driver,
            Self::Supply(_) => Kind::Supply,
            Self::Data(_) => Kind::Data,
            Self::Sundry(_) => Kind::Sundry,
        }
    }

    /// The lengths in which rolls, bars or reels of it are sold; empty where none is noted, and for
    /// what is not kept by length.
    pub fn sold_um(&self) -> &[Length] {
        match self {
            Self::Tape(tape) => &tape.rolls_um,
            Self::Profile(profile) => &profile.bars_um,
            Self::Cable(cable) => &cable.reels_um,
            _ => &[],
        }
    }

    /// The sold length that a typed one means: inches are shown to a sixteenth, so what is typed as
    /// it was read may be half of that off.
    pub fn sold_as(&self, typed: Length) -> Option<Length> {
        const HALF_A_SIXTEENTH_UM: u64 = 794;
        let off = |sold: &&Length| sold.get().abs_diff(typed.get());
        let nearest = self.sold_um().iter().min_by_key(off)?;
        (off(&nearest) <= HALF_A_SIXTEENTH_UM).then_some(*nearest)
    }

    /// Checks what single attributes cannot: that they agree with each other.
    pub fn check(&self) -> Result<(), SpecError> {
        let fail = |field, message: String| Err(SpecError { field, message });
        match self {
            Self::Tape(tape) => {
                if let Err(why) = Channels::new(tape.channels.iter().map(|c| c.channel).collect()) {
                    return fail("channels", why.to_string());
                }
                if tape.voltage_mv == Voltage::ZERO {
                    return fail(
                        "voltage_mv",
                        "Type the tape's voltage, such as 24 V.".into(),
                    );
                }
                if tape.width_um == Length::ZERO {
                    return fail("width_um", "Type the tape's width, such as 10 mm.".into());
                }
                if let (Some(pads), Some(colours)) = (&tape.pads, tape.colours())
                    && !pads.carries(&colours)
                {
                    return fail(
                        "pads",
                        format!("The pads must name the common and every colour of {colours}."),
                    );
                }
                if let Some(joints) = tape.joints
                    && (joints.every_units == 0 || joints.offset_units >= joints.every_units)
                {
                    return fail(
                        "joints",
                        "Joints stand at least one cut unit apart, and the first lies before the \
                         second: type an offset smaller than the distance."
                            .into(),
                    );
                }
            }
            Self::Profile(profile) => {
                if profile.inner_width_um == Length::ZERO {
                    return fail(
                        "inner_width_um",
                        "Type the inner width, such as 12 mm.".into(),
                    );
                }
            }
            Self::Block(block) => {
                if block.ways == 0 {
                    return fail("ways", "A terminal block has at least one way.".into());
                }
            }
            Self::Cable(cable) => {
                if !(1..=12).contains(&cable.conductors) {
                    return fail("conductors", "A cable has 1 to 12 conductors.".into());
                }
                if cable
                    .colours
                    .iter()
                    .any(|c| c.as_str().contains([',', ';']))
                {
                    return fail(
                        "colours",
                        "A conductor's colour is named without comma or semicolon, such as \
                         green/yellow."
                            .into(),
                    );
                }
                if !cable.colours.is_empty() && cable.colours.len() != usize::from(cable.conductors)
                {
                    return fail(
                        "colours",
                        format!(
                            "Name {} colours, one for each conductor, or none; this names {}.",
                            cable.conductors,
                            cable.colours.len()
                        ),
                    );
                }
            }
            Self::Driver(driver) => return driver.check(),
            Self::Supply(supply) => {
                if supply.voltage_mv == Voltage::ZERO || supply.rated_ma == Current::ZERO {
                    return fail(
                        "rated_ma",
                        "Type the output voltage and the rated current, both above zero.".into(),
                    );
                }
                for (field, percent) in [
                    ("load_percent", supply.load_percent),
                    ("power_factor_percent", supply.power_factor_percent),
                    ("efficiency_percent", supply.efficiency_percent),
                ] {
                    if percent.is_some_and(|percent| !(1..=100).contains(&percent)) {
                        return fail(field, "Type a percentage from 1 to 100.".into());
                    }
                }
            }
            Self::Sundry(sundry) => return sundry.check(),
            Self::Lead(_) | Self::Coupler(_) | Self::Data(_) => {}
        }
        Ok(())
    }
}

impl Driver {
    fn check(&self) -> Result<(), SpecError> {
        let fail = |field, message: String| Err(SpecError { field, message });
        if !(1..=128).contains(&self.outputs) {
            return fail("outputs", "A driver has 1 to 128 outputs.".into());
        }
        if !(1..=8).contains(&self.channels_per_output) {
            return fail(
                "channels_per_output",
                "An output has 1 to 8 channels.".into(),
            );
        }
        if !(1..=512).contains(&self.slots) {
            return fail(
                "slots",
                "A driver uses 1 to 512 DMX slots; a universe has no more.".into(),
            );
        }
        if self.voltage_min_mv > self.voltage_max_mv {
            return fail(
                "voltage_max_mv",
                "The highest voltage is below the lowest; swap them.".into(),
            );
        }
        let mut fed: Vec<u16> = self
            .inlets
            .iter()
            .flat_map(|inlet| inlet.outputs.iter().copied())
            .collect();
        fed.sort_unstable();
        if fed != (1..=self.outputs).collect::<Vec<_>>() {
            return fail(
                "inlets",
                format!(
                    "The inlets must together feed each of the outputs 1 to {} once, \
                     such as 1-{}.",
                    self.outputs, self.outputs
                ),
            );
        }
        Ok(())
    }
}

/// A part of the catalogue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Part {
    /// Its id.
    pub id: PartId,
    /// The name on pages and sheets.
    pub name: Name,
    /// The maker's own code, if noted.
    pub code: String,
    /// Kind and attributes.
    pub spec: PartSpec,
    /// The figures are typical ones, to be replaced by the maker's.
    pub typical: bool,
    /// Notes.
    pub note: Note,
    /// No longer offered for new use.
    pub retired: bool,
    /// Raised by each change.
    pub version: i64,
}

impl Part {
    /// How it is kept.
    pub const fn stock_by(&self) -> StockBy {
        self.spec.kind().stock_by()
    }

    /// Whether it is used up where it is put, if it is kept by count: it does not come back with its
    /// set.
    pub const fn used_up(&self) -> bool {
        matches!(
            &self.spec,
            PartSpec::Lead(_) | PartSpec::Sundry(Sundry { fuse: None, .. })
        )
    }

    /// What amounts of it are counted in.
    pub const fn unit(&self) -> StockUnit {
        match &self.spec {
            PartSpec::Tape(tape) => StockUnit::CutUnits(tape.pitch),
            PartSpec::Profile(_)
            | PartSpec::Cable(_)
            | PartSpec::Sundry(Sundry {
                measure: Measure::Length,
                ..
            }) => StockUnit::Micrometres,
            _ => StockUnit::Each,
        }
    }
}

/// What an amount in the ledger counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StockUnit {
    /// Single things.
    Each,
    /// Whole micrometres.
    Micrometres,
    /// Whole cut units of a tape; a remainder is kept beside them.
    CutUnits(CutPitch),
}
