//! The question: a document, and what it becomes.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        KnownFormat, RefOr, Schema, SchemaFormat, Type,
        schema::{ArrayBuilder, ObjectBuilder, OneOfBuilder},
    },
};

use crate::{
    calc::document::{Refused, within},
    model::text::words,
    plan::cut::{Aim, End, Fed, Joints, Problem, Roll, SolderWeights, Stock, Want},
    units::CutPitch,
};

words! {
    /// What an end of a piece is.
    CutsEnd {
        /// With a factory lead.
        Lead = "lead", "lead";
        /// Cut.
        Bare = "bare", "bare";
    }
}

words! {
    /// Where a bar is fed.
    CutsFed {
        /// At one end, whichever is easier.
        OneEnd = "one_end", "one end";
        /// At both.
        BothEnds = "both_ends", "both ends";
    }
}

words! {
    /// What is made least, after the bars left short.
    CutsObjective {
        /// Money.
        Money = "money", "money";
        /// Soldering work.
        Solder = "solder", "soldering";
        /// What is left over: least scrap, then fewest usable offcuts, then the greatest sum of
        /// squared lengths, untouched pieces counted.
        Rest = "rest", "rest";
    }
}

/// How long a unit is: in whole micrometres, or as micrometres and the units in them, such as
/// `[50000, 3]` for three units in 50 mm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(
    untagged,
    expecting = "send whole micrometres, or [micrometres, units]"
)]
pub enum CutsUnit {
    /// Micrometres of one unit.
    Um(u32),
    /// Micrometres, and how many units are in them.
    Ratio([u32; 2]),
}

// By hand, since the derive takes no ranges for what has no name.
impl PartialSchema for CutsUnit {
    fn schema() -> RefOr<Schema> {
        let number = |most: u32| {
            ObjectBuilder::new()
                .schema_type(Type::Integer)
                .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int32)))
                .minimum(Some(1))
                .maximum(Some(most))
        };
        let ratio = ArrayBuilder::new()
            .items(number(CutPitch::MOST_UM))
            .min_items(Some(2))
            .max_items(Some(2));
        OneOfBuilder::new()
            .item(number(CutPitch::MOST_UM))
            .item(ratio)
            .description(Some(
                "Whole micrometres of one unit, or micrometres and how many units are in them, \
                 such as [50000, 3].",
            ))
            .into()
    }
}

impl ToSchema for CutsUnit {}

/// A piece on hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutsPiece {
    /// What it is called; no two pieces alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Its length in units.
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub units: u32,
    /// What it has at its start, where measuring begins.
    pub start: CutsEnd,
    /// What it has at its other end.
    pub end: CutsEnd,
    /// Units from one pre-tinned joint to the next; left out where it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000, nullable = false)]
    pub joint_every_units: Option<u32>,
    /// Units from its start to a joint; 0 where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000, nullable = false)]
    pub joint_offset_units: Option<u32>,
}

/// A roll that can be bought.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutsRoll {
    /// What it is called; no two rolls alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Its length in units.
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub units: u32,
    /// What it has at its start.
    pub start: CutsEnd,
    /// What it has at its other end.
    pub end: CutsEnd,
    /// Units from one pre-tinned joint to the next; left out where it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000, nullable = false)]
    pub joint_every_units: Option<u32>,
    /// Units from its start to a joint; 0 where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000, nullable = false)]
    pub joint_offset_units: Option<u32>,
    /// What one costs, in minor units of the currency.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub price_minor: i64,
    /// How many can be had; as many as wanted where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000, nullable = false)]
    pub quantity: Option<u32>,
}

/// Bars wanted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutsBar {
    /// What they are called; no two lines alike.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// The length of each in units.
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub units: u32,
    /// How many; all lines together at most 10,000.
    #[schema(minimum = 1, maximum = 10_000)]
    pub quantity: u32,
    /// Where each is fed.
    pub fed: CutsFed,
}

/// What soldering counts, by what a fed end lies on; it may not fall from lead to joint to mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutsWeights {
    /// At a factory lead.
    #[schema(minimum = 0, maximum = 1_000)]
    pub lead: u32,
    /// At a pre-tinned joint.
    #[schema(minimum = 0, maximum = 1_000)]
    pub joint: u32,
    /// At any other cut mark.
    #[schema(minimum = 0, maximum = 1_000)]
    pub mark: u32,
}

/// What to cut from what. All lengths are whole units.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutsBody {
    /// How long a unit is.
    pub unit_um: CutsUnit,
    /// Pieces on hand, each used at most once.
    #[serde(default)]
    #[schema(max_items = 2_000)]
    pub pieces: Vec<CutsPiece>,
    /// Rolls that can be bought.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub rolls: Vec<CutsRoll>,
    /// Bars wanted.
    #[schema(max_items = 500)]
    pub bars: Vec<CutsBar>,
    /// From which length on a rest is worth keeping.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub usable_offcut_units: u32,
    /// What soldering counts.
    pub solder_weights: CutsWeights,
    /// What each saw cut turns into dust; 0 where it is left out. Pieces with joints have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000, nullable = false)]
    pub kerf_units: Option<u32>,
    /// What is taken off at both ends of a piece before it is used, that saw cut included; 0 where
    /// it is left out. Pieces with leads have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1_000_000, nullable = false)]
    pub end_trim_units: Option<u32>,
    /// How far down the list of what matters: a beginning of `["money", "solder", "rest"]`, all of
    /// it where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 3, nullable = false)]
    pub objectives: Option<Vec<CutsObjective>>,
    /// Whether to answer what soldering saves too: the least money for each number of soldered ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub trade_off: Option<bool>,
    /// How long to search at most, in milliseconds; 5,000 where it is left out. What was found by
    /// then comes back with its bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20_000, nullable = false)]
    pub time_limit_ms: Option<u64>,
}

/// A piece or roll, without what only one of them has.
struct Tape<'a> {
    list: &'static str,
    at: usize,
    name: &'a str,
    units: u32,
    ends: [CutsEnd; 2],
    every: Option<u32>,
    offset: Option<u32>,
}

impl CutsBody {
    /// The longest piece or bar, in units.
    pub const MOST_UNITS: u32 = 1_000_000;
    /// The most pieces on hand.
    pub const MOST_PIECES: usize = 2_000;
    /// The most kinds of rolls.
    pub const MOST_ROLLS: usize = 100;
    /// The most lines of bars.
    pub const MOST_LINES: usize = 500;
    /// The most bars, and the most rolls of a kind.
    pub const MOST_BARS: u32 = 10_000;
    /// The highest price of a roll, in minor units.
    pub const MOST_PRICE: i64 = 1_000_000_000;
    /// The highest weight of soldering.
    pub const MOST_WEIGHT: u32 = 1_000;
    /// The longest name, in characters.
    pub const MOST_NAME: usize = 120;
    /// The time limit where none is given, in milliseconds.
    pub const USUAL_LIMIT_MS: u64 = 5_000;
    /// The longest time limit, in milliseconds.
    pub const MOST_LIMIT_MS: u64 = 20_000;

    /// The cut pitch that the document's lengths are counted in.
    pub fn pitch(&self) -> Result<CutPitch, Refused> {
        let (um, units) = match self.unit_um {
            CutsUnit::Um(um) => (um, 1),
            CutsUnit::Ratio([um, units]) => (um, units),
        };
        CutPitch::new(units, um).map_err(|why| Refused::at("/unit_um", why.to_string()))
    }

    /// The last objective asked for.
    pub(super) fn aim(&self) -> Aim {
        let asked = self.objectives.as_deref();
        match asked.map_or(Some(CutsObjective::Rest), |list| list.last().copied()) {
            None => Aim::Short,
            Some(CutsObjective::Money) => Aim::Money,
            Some(CutsObjective::Solder) => Aim::Solder,
            Some(CutsObjective::Rest) => Aim::Rest,
        }
    }

    fn tapes(&self) -> impl Iterator<Item = Tape<'_>> {
        let pieces = self.pieces.iter().enumerate().map(|(at, piece)| Tape {
            list: "pieces",
            at,
            name: &piece.name,
            units: piece.units,
            ends: [piece.start, piece.end],
            every: piece.joint_every_units,
            offset: piece.joint_offset_units,
        });
        let rolls = self.rolls.iter().enumerate().map(|(at, roll)| Tape {
            list: "rolls",
            at,
            name: &roll.name,
            units: roll.units,
            ends: [roll.start, roll.end],
            every: roll.joint_every_units,
            offset: roll.joint_offset_units,
        });
        pieces.chain(rolls)
    }

    /// Checks every field, and gives the question to the planner's words.
    pub(super) fn problem(&self) -> Result<Problem, Refused> {
        self.pitch()?;
        for (list, length, most) in [
            ("/pieces", self.pieces.len(), Self::MOST_PIECES),
            ("/rolls", self.rolls.len(), Self::MOST_ROLLS),
            ("/bars", self.bars.len(), Self::MOST_LINES),
        ] {
            if length > most {
                let detail = format!("Send at most {most}; these are {length}.");
                return Err(Refused::at(list, detail));
            }
        }
        let kerf = self.kerf_units.unwrap_or(0);
        let trim = self.end_trim_units.unwrap_or(0);
        for (field, value) in [
            ("/usable_offcut_units", self.usable_offcut_units),
            ("/kerf_units", kerf),
            ("/end_trim_units", trim),
        ] {
            within(|| field.into(), value, 0, Self::MOST_UNITS)?;
        }
        self.check_tapes(kerf, trim)?;
        self.check_rolls()?;
        self.check_bars()?;
        self.check_rest()?;
        Ok(Problem {
            stock: self
                .tapes()
                .filter(|tape| tape.list == "pieces")
                .map(|tape| tape.stock())
                .collect(),
            rolls: self
                .tapes()
                .filter(|tape| tape.list == "rolls")
                .zip(&self.rolls)
                .map(|(tape, roll)| Roll {
                    piece: tape.stock(),
                    price_minor: roll.price_minor,
                    quantity: roll.quantity,
                })
                .collect(),
            wants: self
                .bars
                .iter()
                .map(|bar| Want {
                    units: bar.units.into(),
                    quantity: bar.quantity,
                    fed: match bar.fed {
                        CutsFed::OneEnd => Fed::OneEnd,
                        CutsFed::BothEnds => Fed::BothEnds,
                    },
                })
                .collect(),
            usable_units: self.usable_offcut_units.into(),
            kerf_units: kerf.into(),
            trim_units: trim.into(),
            weights: SolderWeights {
                lead: self.solder_weights.lead,
                joint: self.solder_weights.joint,
                mark: self.solder_weights.mark,
            },
        })
    }

    fn check_tapes(&self, kerf: u32, trim: u32) -> Result<(), Refused> {
        let mut names = BTreeSet::new();
        for tape in self.tapes() {
            let at = |field: &str| format!("/{}/{}/{field}", tape.list, tape.at);
            check_name(&mut names, (tape.list, tape.name), || at("name"))?;
            within(|| at("units"), tape.units, 1, Self::MOST_UNITS)?;
            if let Some(every) = tape.every {
                within(|| at("joint_every_units"), every, 1, Self::MOST_UNITS)?;
                if kerf > 0 {
                    let detail = "A saw cut through a joint leaves none: send no joints with a \
                                  kerf.";
                    return Err(Refused::at(at("joint_every_units"), detail));
                }
            }
            if let Some(offset) = tape.offset {
                within(|| at("joint_offset_units"), offset, 0, Self::MOST_UNITS)?;
            }
            for (field, end) in ["start", "end"].into_iter().zip(tape.ends) {
                if trim > 0 && end == CutsEnd::Lead {
                    let detail = "Trimming would take the lead off: send bare, or no \
                                  end_trim_units.";
                    return Err(Refused::at(at(field), detail));
                }
            }
        }
        Ok(())
    }

    fn check_rolls(&self) -> Result<(), Refused> {
        for (index, roll) in self.rolls.iter().enumerate() {
            let at = |field: &str| format!("/rolls/{index}/{field}");
            within(|| at("price_minor"), roll.price_minor, 0, Self::MOST_PRICE)?;
            let quantity = roll.quantity.unwrap_or(0);
            within(|| at("quantity"), quantity, 0, Self::MOST_BARS)?;
        }
        Ok(())
    }

    fn check_bars(&self) -> Result<(), Refused> {
        let mut names = BTreeSet::new();
        let mut all = 0;
        for (index, bar) in self.bars.iter().enumerate() {
            let at = |field: &str| format!("/bars/{index}/{field}");
            check_name(&mut names, ("bars", &bar.name), || at("name"))?;
            within(|| at("units"), bar.units, 1, Self::MOST_UNITS)?;
            within(|| at("quantity"), bar.quantity, 1, Self::MOST_BARS)?;
            all += bar.quantity;
            if all > Self::MOST_BARS {
                let detail = format!("Ask for at most {} bars in all.", Self::MOST_BARS);
                return Err(Refused::at(at("quantity"), detail));
            }
        }
        Ok(())
    }

    fn check_rest(&self) -> Result<(), Refused> {
        let CutsWeights { lead, joint, mark } = self.solder_weights;
        let at = |field: &str| format!("/solder_weights/{field}");
        within(|| at("lead"), lead, 0, Self::MOST_WEIGHT)?;
        within(|| at("joint"), joint, lead, Self::MOST_WEIGHT)?;
        within(|| at("mark"), mark, joint, Self::MOST_WEIGHT)?;
        if let Some(objectives) = &self.objectives
            && *objectives != CutsObjective::ALL[..objectives.len().min(CutsObjective::ALL.len())]
        {
            let detail = "Send a beginning of [\"money\", \"solder\", \"rest\"].";
            return Err(Refused::at("/objectives", detail));
        }
        if let Some(limit) = self.time_limit_ms {
            within(|| "/time_limit_ms".into(), limit, 1, Self::MOST_LIMIT_MS)?;
        }
        Ok(())
    }
}

impl Tape<'_> {
    fn stock(&self) -> Stock {
        let [start, end] = self.ends.map(|end| match end {
            CutsEnd::Lead => End::Lead,
            CutsEnd::Bare => End::Bare,
        });
        Stock {
            units: self.units.into(),
            start,
            end,
            joints: self.every.map(|every| Joints {
                every: every.into(),
                offset: self.offset.unwrap_or(0).into(),
            }),
        }
    }
}

/// Refuses a name that is empty, too long, or taken in its list.
fn check_name<'a>(
    names: &mut BTreeSet<(&'static str, &'a str)>,
    name: (&'static str, &'a str),
    pointer: impl FnOnce() -> String,
) -> Result<(), Refused> {
    let length = name.1.chars().count();
    if name.1.trim().is_empty() || length > CutsBody::MOST_NAME {
        let detail = format!("Send a name of 1 to {} characters.", CutsBody::MOST_NAME);
        return Err(Refused::at(pointer(), detail));
    }
    if !names.insert(name) {
        return Err(Refused::at(
            pointer(),
            "This name is taken in the same list; send another.",
        ));
    }
    Ok(())
}
