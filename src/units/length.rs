//! Lengths in whole micrometres, read as people type them.
//!
//! 1 in = 25 400 µm and 1 ft = 304 800 µm exactly (the international yard and
//! pound agreement of 1959), so metric and imperial texts both come back as
//! they were typed.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::number::{
    Misread, Ratio, decimal, instead, number_at_start, plain_spaces, quoted, strip_minus,
};
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
    /// Every unit, the metric ones first.
    pub const ALL: [Self; 5] = [Self::Mm, Self::Cm, Self::M, Self::In, Self::Ft];

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

    /// The one of two examples that a venue with this unit would type.
    pub const fn such<'a>(self, metric: &'a str, in_feet: &'a str) -> &'a str {
        if self.metric() { metric } else { in_feet }
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
    /// A comma or point that may part thousands or decimals.
    #[error(
        "“{text}” has a comma or point that may part thousands or decimals. Type {instead} instead."
    )]
    Ambiguous {
        /// What was typed.
        text: String,
        /// The texts to choose from.
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

    /// The length in `unit` for reading: as [`Length::show`], but inches to a sixteenth. Forms hold what
    /// [`Length::typed`] writes.
    pub fn say(self, unit: LengthUnit) -> String {
        say_um(self.0, unit)
    }

    /// The length for a field that is read back as the same micrometres: as [`Length::say`] writes it
    /// where that is exact, else with decimals.
    pub fn typed(self, unit: LengthUnit) -> String {
        typed_um(self.0, unit)
    }

    /// The length of something that shops sell, for a field: as [`Length::typed`], but in metric where
    /// that is shorter.
    pub fn typed_sold(self, unit: LengthUnit) -> String {
        let own = self.typed(unit);
        if unit.metric() || self.0 * 16 % UM_PER_IN == 0 {
            return own;
        }
        let metric = [LengthUnit::M, LengthUnit::Mm].map(|unit| self.show(unit));
        let shortest = metric.into_iter().min_by_key(String::len);
        shortest
            .filter(|metric| metric.len() < own.len())
            .unwrap_or(own)
    }

    /// The length of something that shops sell, for reading: what is sold by the metre has no round
    /// number of feet, and is asked for in metres.
    pub fn say_sold(self, unit: LengthUnit) -> String {
        let (own, metres) = (self.say(unit), self.show(LengthUnit::M));
        if !unit.metric() && metres.len() < self.show(unit).len() {
            format!("{metres} ({own})")
        } else {
            own
        }
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
            Some(rest) if strip_minus(rest).is_none() => -read_um(rest, bare)?.round(),
            Some(_) => return Err(LengthError::Unreadable { text: quoted(text) }),
            None => read_um(&plain, bare)?.round(),
        };
        Self::new(um).map_err(|_| LengthError::TooLong { text: quoted(text) })
    }

    /// The position in `unit`, as [`Length::show`] writes a length.
    pub fn show(self, unit: LengthUnit) -> String {
        let text = show_um(self.0.abs(), unit);
        if self.0 < 0 { format!("-{text}") } else { text }
    }

    /// The position for a field, as [`Length::typed`] writes a length.
    pub fn typed(self, unit: LengthUnit) -> String {
        let text = typed_um(self.0.abs(), unit);
        if self.0 < 0 { format!("-{text}") } else { text }
    }

    /// The position in `unit` for reading, as [`Length::say`] writes a length.
    pub fn say(self, unit: LengthUnit) -> String {
        let text = say_um(self.0.abs(), unit);
        // What rounds to nothing has no sign.
        if self.0 < 0 && text != say_um(0, unit) {
            format!("-{text}")
        } else {
            text
        }
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
    if let Some(rest) = strip_minus(&plain) {
        let text = quoted(text);
        let negative = strip_minus(rest).is_none() && read_um(rest, bare).is_ok();
        return Err(if negative {
            LengthError::Negative { text }
        } else {
            LengthError::Unreadable { text }
        });
    }
    let misread = |why| match why {
        Misread::NotANumber => LengthError::Unreadable { text: quoted(text) },
        Misread::Ambiguous { raw, readings } => {
            // A number alone is not clear by the number: each reading says its unit.
            let whole = if plain == raw {
                format!("{raw} {bare}")
            } else {
                text.to_owned()
            };
            LengthError::Ambiguous {
                text: quoted(text),
                instead: instead(&whole, &raw, &readings),
            }
        }
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
    let unit = LengthUnit::read(word).ok_or_else(|| {
        let text = quoted(text);
        if word.starts_with(char::is_alphabetic) {
            let unit = quoted(word);
            LengthError::UnknownUnit { text, unit }
        } else {
            LengthError::Unreadable { text }
        }
    })?;
    let um = first.times(unit.um().into(), 1);
    if rest.is_empty() {
        return Ok(um);
    }

    // Only whole feet are followed by more: by inches, with or without a mark,
    // after a space or a dash (`7'-6"`).
    if unit != LengthUnit::Ft || first.den != 1 {
        return Err(misread(Misread::NotANumber));
    }
    let rest = rest.strip_prefix('-').unwrap_or(rest.trim_start());
    let (inches, rest) = number_at_start(rest).map_err(misread)?;
    let (word, rest) = word_at_start(rest);
    let closed = word.is_empty() || LengthUnit::read(word) == Some(LengthUnit::In);
    if !closed || !rest.is_empty() {
        return Err(misread(Misread::NotANumber));
    }
    let um = um.plus(inches.times(UM_PER_IN.into(), 1));
    let past = inches.num >= inches.den * i128::from(IN_PER_FT);
    // What is too long besides is told so by the caller.
    if past && um.round() <= Length::MAX {
        return Err(LengthError::InchesPastFoot {
            text: quoted(text),
            instead: show_um(um.round(), LengthUnit::Ft),
        });
    }
    Ok(um)
}

/// Splits a unit, without the spaces before it, from what follows it.
fn word_at_start(text: &str) -> (&str, &str) {
    let text = text.trim_start();
    let end = text
        .find(|c: char| c.is_numeric() || c == ' ' || c == '-')
        .unwrap_or(text.len());
    text.split_at(end)
}

fn show_um(um: i64, unit: LengthUnit) -> String {
    in_words(um, unit, inches(um))
}

fn typed_um(um: i64, unit: LengthUnit) -> String {
    if !unit.metric() && um * 16 % UM_PER_IN == 0 {
        say_um(um, unit)
    } else {
        show_um(um, unit)
    }
}

/// Sixteenths are what tape measures show, and about as fine as one cuts at the bench.
fn say_um(um: i64, unit: LengthUnit) -> String {
    let sixteenths = round_div(um, 16, UM_PER_IN);
    match unit {
        LengthUnit::Mm | LengthUnit::Cm | LengthUnit::M => show_um(um, unit),
        LengthUnit::In => format!("{} in", in_sixteenths(sixteenths)),
        LengthUnit::Ft => {
            let a_foot = 16 * IN_PER_FT;
            let (feet, rest) = (sixteenths / a_foot, sixteenths % a_foot);
            match (feet, rest) {
                (0, _) => format!("{}\"", in_sixteenths(rest)),
                (_, 0) => format!("{feet}'"),
                // `1' 5/8"` would be read as 1 5/8 inches.
                (_, ..16) => format!("{feet}'\u{a0}0\u{a0}{}\"", in_sixteenths(rest)),
                _ => format!("{feet}'\u{a0}{}\"", in_sixteenths(rest)),
            }
        }
    }
}

/// Inches with the fraction that a tape measure shows, such as `10 7/8`.
fn in_sixteenths(sixteenths: i64) -> String {
    let (whole, mut part, mut of) = (sixteenths / 16, sixteenths % 16, 16);
    while part > 0 && part % 2 == 0 {
        (part, of) = (part / 2, of / 2);
    }
    match (whole, part) {
        (_, 0) => whole.to_string(),
        (0, _) => format!("{part}/{of}"),
        // No line ends within a measure: half of it would be cut.
        _ => format!("{whole}\u{a0}{part}/{of}"),
    }
}

/// A length in a unit; in inches as a whole number over a power of ten.
fn in_words(um: i64, unit: LengthUnit, (inches, scale): (i64, i64)) -> String {
    match unit {
        LengthUnit::Mm | LengthUnit::Cm | LengthUnit::M => {
            format!("{} {unit}", decimal(um, unit.um()))
        }
        LengthUnit::In => format!("{} in", decimal(inches, scale)),
        LengthUnit::Ft => {
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::LengthUnit::{Cm, Ft, In, M, Mm};
    use super::*;

    fn um(text: &str, bare: LengthUnit) -> Result<i64, LengthError> {
        Length::parse(text, bare).map(Length::get)
    }

    #[test]
    fn lengths_are_read_as_people_type_them() {
        // Micrometres by 1 in = 25.4 mm and 1 ft = 0.3048 m exactly (NIST
        // SP 811, appendix B).
        for (text, expected) in [
            ("7 ft", 2_133_600),
            ("7'", 2_133_600),
            ("7ft", 2_133_600),
            ("7 feet", 2_133_600),
            ("7'6\"", 2_286_000),
            ("7' 6\"", 2_286_000),
            ("7'-6\"", 2_286_000),
            ("7 ft 6 in", 2_286_000),
            ("7ft6", 2_286_000),
            ("7ft6in", 2_286_000),
            ("7′6″", 2_286_000),
            ("7’6”", 2_286_000),
            ("7' 6''", 2_286_000),
            ("7' 6 1/2\"", 2_298_700),
            ("7' 6-1/2\"", 2_298_700),
            ("7' 6½\"", 2_298_700),
            ("7'-6 1/2\"", 2_298_700),
            ("7.5 ft", 2_286_000),
            ("90 in", 2_286_000),
            ("90\"", 2_286_000),
            ("90 inches", 2_286_000),
            ("5/8 in", 15_875),
            ("⅝ in", 15_875),
            ("11/2 in", 139_700),
            ("0' 3\"", 76_200),
            ("2.4 m", 2_400_000),
            ("2,4 m", 2_400_000),
            ("2.4m", 2_400_000),
            ("2.4 metres", 2_400_000),
            (".5 m", 500_000),
            ("0,125 m", 125_000),
            ("2400 mm", 2_400_000),
            ("2400MM", 2_400_000),
            ("240 cm", 2_400_000),
            ("  240\u{a0}cm ", 2_400_000),
            ("16.6667 mm", 16_667),
            ("0 mm", 0),
            ("1000 m", 1_000_000_000),
        ] {
            assert_eq!(um(text, Mm), Ok(expected), "{text}");
        }
    }

    #[test]
    fn a_bare_number_takes_the_venues_unit() {
        for (unit, expected) in [
            (Mm, 3_500),
            (Cm, 35_000),
            (M, 3_500_000),
            (In, 88_900),
            (Ft, 1_066_800),
        ] {
            assert_eq!(um("3.5", unit), Ok(expected), "{unit}");
            assert_eq!(um("3 1/2", unit), Ok(expected), "{unit}");
        }
    }

    #[test]
    fn rounding_is_once_and_halves_go_up() {
        assert_eq!(um("0.0005 mm", Mm), Ok(1));
        assert_eq!(um("0.0004999 mm", Mm), Ok(0));
        // A third of an inch twice over is 16 933.3 µm: rounding each third
        // first would give 16 934.
        assert_eq!(um("2/3 in", Mm), Ok(16_933));
        assert_eq!(
            SignedLength::parse("-0.0005 mm", Mm).map(SignedLength::get),
            Ok(-1)
        );
    }

    #[test]
    fn what_is_no_length_is_refused_with_what_to_type() {
        let message = |text| match Length::parse(text, Mm) {
            Ok(length) => format!("read as {length:?}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(
            message("  "),
            "No length was typed. Type one such as 2.4 m, 2400 mm, 7' 6\" or 90 in."
        );
        assert_eq!(
            message("-5 mm"),
            "“-5 mm” is negative. A length starts at 0: leave out the minus sign."
        );
        assert_eq!(
            message("1,234 mm"),
            "“1,234 mm” has a comma or point that may part thousands or decimals. \
             Type 1.234 mm or 1234 mm instead."
        );
        assert_eq!(
            message("1,234"),
            "“1,234” has a comma or point that may part thousands or decimals. \
             Type 1.234 mm or 1234 mm instead."
        );
        assert_eq!(
            message("1,234.5 mm"),
            "“1,234.5 mm” has a comma or point that may part thousands or decimals. \
             Type 1234.5 mm instead."
        );
        assert_eq!(
            message("3 yd"),
            "“3 yd” has the unit “yd”, which is not known. Use mm, cm, m, in or ft."
        );
        assert_eq!(
            message("2 km"),
            "“2 km” has the unit “km”, which is not known. Use mm, cm, m, in or ft."
        );
        assert_eq!(
            message("1000.1 m"),
            "“1000.1 m” is beyond 1 km. Type at most 1000 m, and check the unit."
        );
        assert_eq!(
            message("7' 14\""),
            "“7' 14\"” has 12 inches or more after the feet. Type 8' 2\" instead."
        );
        for text in [
            "long",
            "7.",
            "7 6",
            "1/0 in",
            "7' 6 cm",
            "7.5 ft 6 in",
            "2 m 40 cm",
            "7'6\" 3",
            "1.2.3 m",
            "--5 mm",
            "-",
            "7 ft - 6 in",
            "5 //",
            "1 m²",
            "6 1/2/3 in",
        ] {
            assert_eq!(
                um(text, Mm),
                Err(LengthError::Unreadable {
                    text: text.to_owned()
                }),
                "{text}"
            );
        }
        assert!(matches!(
            um(&"9".repeat(300), Ft),
            Err(LengthError::TooLong { .. })
        ));
    }

    #[test]
    fn lengths_are_shown_as_short_as_they_can_be() {
        let show = |um, unit| Length::new(um).map(|length| length.show(unit));
        for (um, unit, text) in [
            (2_400_000, Mm, "2400 mm"),
            (2_400_000, Cm, "240 cm"),
            (2_400_000, M, "2.4 m"),
            (62_500, Mm, "62.5 mm"),
            (2_286_000, In, "90 in"),
            (2_286_000, Ft, "7' 6\""),
            (2_298_700, Ft, "7' 6.5\""),
            (2_133_600, Ft, "7'"),
            (76_200, Ft, "3\""),
            (0, Ft, "0\""),
            (2_133_599, Ft, "6' 11.99996\""),
            (15_875, In, "0.625 in"),
            (2_400_000, In, "94.4882 in"),
        ] {
            assert_eq!(show(um, unit), Ok(text.to_owned()));
        }
        let left = SignedLength::new(-2_286_000).map(|place| place.show(Ft));
        assert_eq!(left, Ok("-7' 6\"".to_owned()));
    }

    #[test]
    fn inches_are_said_to_a_sixteenth() {
        let say = |um, unit| Length::new(um).map(|length| length.say(unit));
        let left = SignedLength::new(-1_800_000).map(|place| place.say(Ft));
        assert_eq!(left, Ok("-5'\u{a0}10\u{a0}7/8\"".to_owned()));
        for (um, unit, text) in [
            (1_800_000, Ft, "5'\u{a0}10\u{a0}7/8\""),
            (320_675, Ft, "1'\u{a0}0\u{a0}5/8\""),
            (20_000, Ft, "13/16\""),
            (2_133_599, Ft, "7'"),
            (2_400_000, In, "94\u{a0}1/2 in"),
            (15_875, In, "5/8 in"),
            (2_298_700, Ft, "7'\u{a0}6\u{a0}1/2\""),
            (1, In, "0 in"),
            (62_500, Mm, "62.5 mm"),
        ] {
            assert_eq!(say(um, unit), Ok(text.to_owned()));
            // What was copied from a page is read.
            let again = Length::parse(text, unit).map(|length| length.say(unit));
            assert_eq!(again, Ok(text.to_owned()));
        }
    }

    #[test]
    fn a_field_holds_sixteenths_or_decimals_of_an_inch() {
        let typed = |um, unit| Length::new(um).map(|length| length.typed(unit));
        for (um, unit, text) in [
            (2_298_700, Ft, "7'\u{a0}6\u{a0}1/2\""),
            (609_600, Ft, "2'"),
            (2_133_599, Ft, "6' 11.99996\""),
            (2_400_000, In, "94.4882 in"),
            (2_540, In, "0.1 in"),
            (62_500, Mm, "62.5 mm"),
        ] {
            assert_eq!(typed(um, unit), Ok(text.to_owned()));
        }
        let left = SignedLength::new(-2_133_599).map(|place| place.typed(Ft));
        assert_eq!(left, Ok("-6' 11.99996\"".to_owned()));
    }

    #[test]
    fn an_example_is_in_the_units_own_kind() {
        let examples = LengthUnit::ALL.map(|unit| unit.such("15 m", "50 ft"));
        assert_eq!(examples, ["15 m", "15 m", "15 m", "50 ft", "50 ft"]);
    }

    #[test]
    fn a_field_holds_what_is_sold_by_the_metre_in_metres() {
        let sold = |um, unit| Length::new(um).map(|length| length.typed_sold(unit));
        for (um, unit, text) in [
            (5_000_000, Ft, "5 m"),
            (62_500, In, "62.5 mm"),
            (2_298_700, Ft, "7'\u{a0}6\u{a0}1/2\""),
            (5_000_000, Mm, "5000 mm"),
        ] {
            assert_eq!(sold(um, unit), Ok(text.to_owned()));
        }
    }

    #[test]
    fn units_come_back_from_their_text() {
        for unit in LengthUnit::ALL {
            assert_eq!(unit.to_string().parse(), Ok(unit));
            let json = serde_json::to_string(&unit).unwrap_or_default();
            assert_eq!(json, format!("\"{unit}\""));
        }
        assert!("yd".parse::<LengthUnit>().is_err());
        assert_eq!(
            LengthUnit::ALL.map(LengthUnit::metric),
            [true, true, true, false, false]
        );
    }

    #[test]
    fn constants_in_code_are_held_at_a_kilometre() {
        assert_eq!(Length::mm(2_400).get(), 2_400_000);
        assert_eq!(Length::mm(u32::MAX).get(), Length::MAX);
    }

    fn unit() -> impl Strategy<Value = LengthUnit> {
        proptest::sample::select(LengthUnit::ALL.to_vec())
    }

    #[test]
    fn what_is_sold_by_the_metre_is_said_in_metres() {
        let sold = |mm, unit| Length::mm(mm).say_sold(unit);
        assert_eq!(sold(5_000, Ft), "5 m (16'\u{a0}4\u{a0}7/8\")");
        assert_eq!(sold(5_000, Cm), "500 cm");
        assert_eq!(Length::new(2_133_600).unwrap().say_sold(Ft), "7'");
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_as_the_same(length: Length, unit in unit(), bare in unit()) {
            prop_assert_eq!(Length::parse(&length.show(unit), bare), Ok(length));
            let typed = length.typed(unit);
            prop_assert_eq!(Length::parse(&typed, bare), Ok(length));
            prop_assert_eq!(Length::parse(&length.typed_sold(unit), bare), Ok(length));
            // A field of a venue in feet is in feet.
            prop_assert!(unit.metric() || !typed.ends_with('m'), "{}", typed);
        }

        // Half a sixteenth of an inch is 794 µm.
        #[test]
        fn what_is_said_is_near(length: Length, unit in unit()) {
            let near = Length::parse(&length.say(unit), Mm).map(|said| (said.get() - length.get()).abs());
            prop_assert!(near.is_ok_and(|off| off <= 794));
        }

        #[test]
        fn a_position_shown_is_read_as_the_same(place: SignedLength, unit in unit(), bare in unit()) {
            prop_assert_eq!(SignedLength::parse(&place.show(unit), bare), Ok(place));
            prop_assert_eq!(SignedLength::parse(&place.typed(unit), bare), Ok(place));
        }

        // Four decimals of an inch and fewer come back as they were typed.
        #[test]
        fn inches_come_back_as_typed(tenthousandths in 0_i64..300_000_000) {
            let typed = format!("{} in", decimal(tenthousandths, 10_000));
            let shown = Length::parse(&typed, Mm).map(|length| length.show(In));
            prop_assert_eq!(shown, Ok(typed));
        }

        #[test]
        fn feet_and_inches_agree_with_inches(feet in 0_i64..3_000, sixteenths in 0_i64..192) {
            let both = format!("{feet}' {} {}/16\"", sixteenths / 16, sixteenths % 16);
            let inches = format!("{}/16 in", (feet * 12) * 16 + sixteenths);
            prop_assert_eq!(Length::parse(&both, Mm), Length::parse(&inches, Mm));
        }

        #[test]
        fn a_longer_number_is_never_a_shorter_length(a in 0_u32..1_000_000, b in 0_u32..1_000_000, unit in unit()) {
            let read = |n: u32| Length::parse(&decimal(n.into(), 1_000), unit);
            prop_assert_eq!(read(a).is_ok() && read(b).is_ok(), true);
            if a <= b {
                prop_assert!(read(a).ok() <= read(b).ok());
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,60}", unit in unit()) {
            if let Err(error) = Length::parse(&text, unit) {
                prop_assert!(error.to_string().ends_with('.'));
            }
            let _ = SignedLength::parse(&text, unit);
        }

        #[test]
        fn any_likely_text_is_read_or_refused(text in "[-−]?[0-9]{0,20}[.,/ ']?[0-9]{0,20} ?(ft|in|m|mm|')? ?[0-9/ ½-]{0,20}[\"”]?", unit in unit()) {
            let signed = SignedLength::parse(&text, unit);
            if let Ok(length) = Length::parse(&text, unit) {
                prop_assert_eq!(signed, Ok(length.into()));
            }
        }
    }
}
