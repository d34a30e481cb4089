//! Lengths in whole micrometres, read as people type them.
//!
//! 1 in = 25 400 µm and 1 ft = 304 800 µm exactly (the international yard and
//! pound agreement of 1959), so metric and imperial texts both come back as
//! they were typed.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::number::{Misread, Ratio, decimal, number_at_start, plain_spaces, quoted, strip_minus};
use super::quantity;

const UM_PER_IN: i64 = 25_400;
const IN_PER_FT: i64 = 12;
const UM_PER_FT: i64 = UM_PER_IN * IN_PER_FT;

quantity! {
    /// A length in whole micrometres, from nothing to one kilometre.
    Length, "length", "µm", from 0 to 1_000_000_000, shown "m" = 1_000_000
}

quantity! {
    /// A position along an axis in whole micrometres, up to one kilometre
    /// either way.
    SignedLength, "position", "µm", from -1_000_000_000 to 1_000_000_000, shown "m" = 1_000_000
}

/// The unit that a length is typed or shown in.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    ToSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum LengthUnit {
    /// Millimetres.
    #[default]
    Mm,
    /// Centimetres.
    Cm,
    /// Metres.
    M,
    /// Inches.
    In,
    /// Feet, shown with inches.
    Ft,
}

impl LengthUnit {
    /// Every unit, smallest first.
    pub const ALL: [Self; 5] = [Self::Mm, Self::Cm, Self::In, Self::Ft, Self::M];

    /// The unit as it is typed and stored.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Cm => "cm",
            Self::M => "m",
            Self::In => "in",
            Self::Ft => "ft",
        }
    }

    /// Whether the unit is a metric one.
    pub const fn metric(self) -> bool {
        matches!(self, Self::Mm | Self::Cm | Self::M)
    }

    /// Whole micrometres in one of the unit.
    pub const fn um(self) -> i64 {
        match self {
            Self::Mm => 1_000,
            Self::Cm => 10_000,
            Self::M => 1_000_000,
            Self::In => UM_PER_IN,
            Self::Ft => UM_PER_FT,
        }
    }

    /// The unit that a word or mark stands for.
    fn read(word: &str) -> Option<Self> {
        Some(match word {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Self::Mm,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Self::Cm,
            "m" | "metre" | "metres" | "meter" | "meters" => Self::M,
            "in" | "in." | "inch" | "inches" | "\"" | "''" => Self::In,
            "ft" | "ft." | "foot" | "feet" | "'" => Self::Ft,
            _ => return None,
        })
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A text that is no unit of length.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("“{text}” is not a unit of length. Use mm, cm, m, in or ft.")]
pub struct LengthUnitError {
    /// What was given.
    pub text: String,
}

impl FromStr for LengthUnit {
    type Err = LengthUnitError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL
            .into_iter()
            .find(|unit| unit.as_str() == text)
            .ok_or_else(|| LengthUnitError { text: quoted(text) })
    }
}

/// Why a text is not a length, and what to type instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LengthError {
    /// Nothing was typed.
    #[error("No length was typed. Type one such as 2.4 m, 2400 mm, 7' 6\" or 90 in.")]
    Empty,
    /// The text has no form that is read as a length.
    #[error(
        "“{text}” can't be read as a length. Type one such as 2.4 m, 2400 mm, 7' 6\" or 90 in."
    )]
    Unreadable {
        /// What was typed.
        text: String,
    },
    /// A number is followed by a unit that is not known.
    #[error("“{text}” has the unit “{unit}”, which is not known. Use mm, cm, m, in or ft.")]
    UnknownUnit {
        /// What was typed.
        text: String,
        /// The part taken for a unit.
        unit: String,
    },
    /// A length below nothing.
    #[error("“{text}” is negative. A length starts at 0: leave out the minus sign.")]
    Negative {
        /// What was typed.
        text: String,
    },
    /// Longer than a kilometre.
    #[error("“{text}” is beyond 1 km. Type at most 1000 m, and check the unit.")]
    TooLong {
        /// What was typed.
        text: String,
    },
    /// A comma that may part thousands or decimals.
    #[error("“{text}” has a comma that can be read in two ways. Type {instead} instead.")]
    Ambiguous {
        /// What was typed.
        text: String,
        /// The numbers to choose from.
        instead: String,
    },
    /// A whole foot or more of inches after the feet.
    #[error("“{text}” has 12 inches or more after the feet. Type {instead} instead.")]
    InchesPastFoot {
        /// What was typed.
        text: String,
        /// The same length with the feet carried.
        instead: String,
    },
}

impl Length {
    /// A length in micrometres: [`Length::new`] by the name of its unit.
    pub const fn from_um(um: i64) -> Result<Self, super::OutOfRange> {
        Self::new(um)
    }

    /// A length in whole millimetres for constants in code; held at 1 km.
    pub const fn mm(mm: u32) -> Self {
        Self::nearest(mm as i64 * 1_000)
    }

    /// Reads a length as people type it: `7 ft`, `7'6"`, `7 ft 6 1/2 in`,
    /// `2.4 m`, `2,4 m`, `90 in`, `5/8 in`. A bare number is in `bare`.
    /// Rounded once to whole micrometres, halves away from nought.
    pub fn parse(text: &str, bare: LengthUnit) -> Result<Self, LengthError> {
        let um = read_um(text, bare)?.round();
        Self::new(um).map_err(|_| LengthError::TooLong { text: quoted(text) })
    }

    /// The length in `unit`, as the shortest text that is read back as the
    /// same micrometres: `2400 mm`, `2.4 m`, `90 in`, `7' 6"`.
    pub fn show(self, unit: LengthUnit) -> String {
        show_um(self.0, unit)
    }

    /// The length in metres, for computing.
    pub fn metres(self) -> f64 {
        super::electric::float(self.0) / 1e6
    }
}

impl SignedLength {
    /// A position in micrometres: [`SignedLength::new`] by the name of its unit.
    pub const fn from_um(um: i64) -> Result<Self, super::OutOfRange> {
        Self::new(um)
    }

    /// Reads a position as [`Length::parse`] reads a length, with a minus sign
    /// in front where it lies below nought.
    pub fn parse(text: &str, bare: LengthUnit) -> Result<Self, LengthError> {
        let plain = plain_spaces(text);
        let um = match strip_minus(&plain) {
            Some(rest) => -read_um(rest, bare)?.round(),
            None => read_um(&plain, bare)?.round(),
        };
        Self::new(um).map_err(|_| LengthError::TooLong { text: quoted(text) })
    }

    /// The position in `unit`, as [`Length::show`] writes a length.
    pub fn show(self, unit: LengthUnit) -> String {
        let text = show_um(self.0.abs(), unit);
        if self.0 < 0 { format!("-{text}") } else { text }
    }

    /// The position in metres, for computing.
    pub fn metres(self) -> f64 {
        super::electric::float(self.0) / 1e6
    }
}

impl From<Length> for SignedLength {
    fn from(length: Length) -> Self {
        Self(length.0)
    }
}

/// Reads a length exactly, in micrometres; not yet rounded or held to a range.
pub(super) fn read_um(text: &str, bare: LengthUnit) -> Result<Ratio, LengthError> {
    let plain = plain_spaces(text)
        .to_lowercase()
        .replace(['′', '’', '‘'], "'")
        .replace(['″', '”', '“'], "\"");
    if plain.is_empty() {
        return Err(LengthError::Empty);
    }
    if strip_minus(&plain).is_some() {
        return Err(LengthError::Negative { text: quoted(text) });
    }
    let misread = |why| match why {
        Misread::NotANumber => LengthError::Unreadable { text: quoted(text) },
        Misread::Ambiguous(instead) => LengthError::Ambiguous {
            text: quoted(text),
            instead,
        },
    };

    let (first, rest) = number_at_start(&plain).map_err(misread)?;
    let (word, rest) = word_at_start(rest);
    if word.is_empty() {
        return if rest.is_empty() {
            Ok(first.times(bare.um().into(), 1))
        } else {
            Err(misread(Misread::NotANumber))
        };
    }
    let unit = LengthUnit::read(word).ok_or_else(|| LengthError::UnknownUnit {
        text: quoted(text),
        unit: quoted(word),
    })?;
    let um = first.times(unit.um().into(), 1);
    if rest.is_empty() {
        return Ok(um);
    }

    // Only whole feet are followed by more: by inches, with or without a mark.
    if unit != LengthUnit::Ft || first.den != 1 {
        return Err(misread(Misread::NotANumber));
    }
    let (inches, rest) = number_at_start(rest).map_err(misread)?;
    let (word, rest) = word_at_start(rest);
    let closed = word.is_empty() || LengthUnit::read(word) == Some(LengthUnit::In);
    if !closed || !rest.is_empty() {
        return Err(misread(Misread::NotANumber));
    }
    let um = um.plus(inches.times(UM_PER_IN.into(), 1));
    if inches.num >= inches.den * i128::from(IN_PER_FT) {
        return Err(LengthError::InchesPastFoot {
            text: quoted(text),
            instead: show_um(um.round(), LengthUnit::Ft),
        });
    }
    Ok(um)
}

/// Splits a unit from what follows it; both without the spaces round them.
fn word_at_start(text: &str) -> (&str, &str) {
    let text = text.trim_start();
    let end = text
        .find(|c: char| c.is_ascii_digit() || c == ' ' || c == '-')
        .unwrap_or(text.len());
    let (word, rest) = text.split_at(end);
    (word, rest.trim_start())
}

fn show_um(um: i64, unit: LengthUnit) -> String {
    match unit {
        LengthUnit::Mm | LengthUnit::Cm | LengthUnit::M => {
            format!("{} {unit}", decimal(um, unit.um()))
        }
        LengthUnit::In => {
            let (inches, scale) = inches(um);
            format!("{} in", decimal(inches, scale))
        }
        LengthUnit::Ft => {
            let (inches, scale) = inches(um);
            let (feet, rest) = (
                inches / (IN_PER_FT * scale),
                decimal(inches % (IN_PER_FT * scale), scale),
            );
            match (feet, rest.as_str()) {
                (0, _) => format!("{rest}\""),
                (_, "0") => format!("{feet}'"),
                _ => format!("{feet}' {rest}\""),
            }
        }
    }
}

/// The length in inches as a whole number over a power of ten: as few decimals
/// as name these micrometres and no others. Five always do, since a hundred
/// thousandth of an inch is about a quarter of a micrometre.
fn inches(um: i64) -> (i64, i64) {
    let mut scale = 1;
    loop {
        let inches = round_div(um, scale, UM_PER_IN);
        if round_div(inches, UM_PER_IN, scale) == um || scale == 100_000 {
            return (inches, scale);
        }
        scale *= 10;
    }
}

/// `value * num / den`, rounded once, halves up; none of them negative.
fn round_div(value: i64, num: i64, den: i64) -> i64 {
    Ratio::whole(value.into())
        .times(num.into(), den.into())
        .round()
}
