//! Conductor sizes, AWG and mm² kept apart, and their resistance.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::electric::ResistancePerLength;
use super::number::{Misread, decimal, decimal_at_start, plain_spaces, quoted};

/// The size of one conductor. 'mm²' and AWG are never turned into each other:
/// pairs such as 0.75 mm² and 18 AWG are conventions, and about 20 % apart in
/// resistance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum ConductorSize {
    /// American wire gauge.
    Awg {
        /// The gauge number; 0 AWG is 0, 00 is −1, 000 is −2, 0000 is −3.
        awg: i8,
    },
    /// A metric nominal size.
    Metric {
        /// Thousandths of a square millimetre.
        mm2_thousandths: u32,
    },
}

/// How a conductor is made.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Strand {
    /// One wire: not where it flexes.
    Solid,
    /// Many wires twisted.
    Stranded,
}

impl Strand {
    /// Both kinds.
    pub const ALL: [Self; 2] = [Self::Solid, Self::Stranded];

    /// The word that is stored and shown.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::Stranded => "stranded",
        }
    }
}

impl fmt::Display for Strand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Strand {
    type Err = ConductorError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL
            .into_iter()
            .find(|strand| strand.as_str() == text)
            .ok_or_else(|| ConductorError::NotAStrand { text: quoted(text) })
    }
}

/// Why there is no such conductor, or no resistance for it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ConductorError {
    /// Nothing was typed.
    #[error("No conductor size was typed. Type one such as 18 AWG or 0.75 mm².")]
    Empty,
    /// The text has no form that is read.
    #[error("“{text}” can't be read as a conductor size. Type one such as 18 AWG or 0.75 mm².")]
    Unreadable {
        /// What was typed.
        text: String,
    },
    /// A number without AWG or mm².
    #[error("“{text}” has no unit. Say which one is meant: {text} AWG or {text} mm².")]
    NoUnit {
        /// What was typed.
        text: String,
    },
    /// A gauge outside the range.
    #[error("{text} is outside the gauges kept here. Type one from 0000 AWG to 40 AWG.")]
    Gauge {
        /// The gauge.
        text: String,
    },
    /// A metric size outside the range, or too fine.
    #[error(
        "{text} is outside the sizes kept here. Type one from 0.001 to 1000 mm², with up to three decimals."
    )]
    Area {
        /// The size.
        text: String,
    },
    /// Neither solid nor stranded.
    #[error("“{text}” is not a kind of conductor. Use solid or stranded.")]
    NotAStrand {
        /// What was given.
        text: String,
    },
    /// A metric size that the table does not list.
    #[error(
        "There is no resistance at hand for {size}: the table has 0.5, 0.75, 1, 1.5, 2.5 and 4 mm². Give the maker's figure in Ω/m."
    )]
    NotInTable {
        /// The size.
        size: ConductorSize,
    },
    /// A temperature that no insulation here stands.
    #[error(
        "A conductor at {celsius} °C is outside what is computed here. Give a temperature from -40 to 150 °C."
    )]
    Temperature {
        /// The temperature.
        celsius: f64,
    },
}

/// Thickest gauge kept: 0000.
const THICKEST_AWG: i8 = -3;
/// Thinnest gauge kept.
const THINNEST_AWG: i8 = 40;
/// Largest metric size kept, in thousandths of a square millimetre.
const LARGEST_METRIC: u32 = 1_000_000;

/// Copper at 20 °C in Ω·mm²/m: 100 % IACS, IEC 60028.
const COPPER: f64 = 0.017_241;
/// Change of copper's resistance per kelvin, from 20 °C: IEC 60028.
const PER_KELVIN: f64 = 0.003_93;
/// What the twist of strands adds to their length, and so to the resistance of
/// a stranded gauge: 2 % (ASTM B8).
const STRANDING: f64 = 1.02;
/// Nominal size in thousandths of a square millimetre, and the greatest
/// resistance at 20 °C in µΩ/m of class 1 and 2, and of class 5 (IEC 60228).
const METRIC: [(u32, f64, f64); 6] = [
    (500, 36_000.0, 39_000.0),
    (750, 24_500.0, 26_000.0),
    (1_000, 18_100.0, 19_500.0),
    (1_500, 12_100.0, 13_300.0),
    (2_500, 7_410.0, 7_980.0),
    (4_000, 4_610.0, 4_950.0),
];

impl ConductorSize {
    /// A gauge from 0000 (−3) to 40.
    pub fn awg(awg: i8) -> Result<Self, ConductorError> {
        if (THICKEST_AWG..=THINNEST_AWG).contains(&awg) {
            Ok(Self::Awg { awg })
        } else {
            Err(ConductorError::Gauge {
                text: format!("{awg} AWG"),
            })
        }
    }

    /// A metric size in thousandths of a square millimetre, up to 1000 mm².
    pub fn metric(mm2_thousandths: u32) -> Result<Self, ConductorError> {
        if (1..=LARGEST_METRIC).contains(&mm2_thousandths) {
            Ok(Self::Metric { mm2_thousandths })
        } else {
            Err(ConductorError::Area {
                text: format!("{} mm²", decimal(mm2_thousandths.into(), 1_000)),
            })
        }
    }

    /// Reads `18 AWG`, `AWG 18`, `2/0 AWG`, `0.75 mm²` or `0.75 mm2`. A bare
    /// number is refused: it may be either.
    pub fn parse(text: &str) -> Result<Self, ConductorError> {
        let plain = plain_spaces(text).to_lowercase();
        if plain.is_empty() {
            return Err(ConductorError::Empty);
        }
        let gauge = plain
            .strip_prefix("awg")
            .or_else(|| plain.strip_suffix("awg"));
        if let Some(gauge) = gauge {
            return Self::parse_gauge(text, gauge.trim());
        }
        let (number, rest) = decimal_at_start(&plain).map_err(|why| match why {
            Misread::NotANumber | Misread::Ambiguous { .. } => {
                ConductorError::Unreadable { text: quoted(text) }
            }
        })?;
        match rest.trim_start() {
            "" => Err(ConductorError::NoUnit { text: quoted(text) }),
            "mm²" | "mm2" | "mm^2" | "sq mm" | "sqmm" => {
                let thousandths = number.times(1_000, 1).reduced();
                u32::try_from(thousandths.num)
                    .ok()
                    .filter(|_| thousandths.den == 1)
                    .and_then(|thousandths| Self::metric(thousandths).ok())
                    .ok_or_else(|| ConductorError::Area { text: quoted(text) })
            }
            _ => Err(ConductorError::Unreadable { text: quoted(text) }),
        }
    }

    /// Reads the number of a gauge: `18`, `0`, `00`, `2/0`.
    fn parse_gauge(text: &str, gauge: &str) -> Result<Self, ConductorError> {
        let refused = || ConductorError::Gauge { text: quoted(text) };
        if gauge.is_empty() || !gauge.bytes().all(|c| c.is_ascii_digit() || c == b'/') {
            return Err(ConductorError::Unreadable { text: quoted(text) });
        }
        let noughts = match gauge.strip_suffix("/0") {
            Some(count) => Some(count.parse::<i8>().map_err(|_| refused())?),
            None if gauge.bytes().all(|c| c == b'0') => {
                Some(i8::try_from(gauge.len()).map_err(|_| refused())?)
            }
            None => None,
        };
        let awg = match noughts {
            Some(0) => return Err(refused()),
            Some(count) => 1 - count,
            None => gauge.parse().map_err(|_| refused())?,
        };
        Self::awg(awg).map_err(|_| refused())
    }

    /// Whether this conductor is as thick as `other` or thicker; `None` where
    /// one is AWG and the other mm², which are not compared.
    pub const fn at_least(self, other: Self) -> Option<bool> {
        match (self, other) {
            (Self::Awg { awg: this }, Self::Awg { awg: other }) => Some(this <= other),
            (
                Self::Metric {
                    mm2_thousandths: this,
                },
                Self::Metric {
                    mm2_thousandths: other,
                },
            ) => Some(this >= other),
            _ => None,
        }
    }

    /// The resistance of one conductor of copper at a temperature, one way.
    ///
    /// AWG by its diameter (ASTM B258) and copper's resistivity (IEC 60028),
    /// stranded 2 % more (ASTM B8). Metric sizes by their greatest resistance
    /// (IEC 60228): class 1 and 2 for solid, class 5 for stranded; a size that
    /// is not in the table is refused, never worked out from its area.
    pub fn resistance(
        self,
        strand: Strand,
        celsius: impl Into<f64>,
    ) -> Result<ResistancePerLength, ConductorError> {
        let celsius = celsius.into();
        if !(-40.0..=150.0).contains(&celsius) {
            return Err(ConductorError::Temperature { celsius });
        }
        let at_20 = match self {
            Self::Awg { awg } => {
                Self::awg(awg)?;
                let diameter_mm = 0.005 * 25.4 * 92_f64.powf(f64::from(36 - i16::from(awg)) / 39.0);
                let area_mm2 = std::f64::consts::FRAC_PI_4 * diameter_mm * diameter_mm;
                let solid = COPPER / area_mm2 * 1e6;
                match strand {
                    Strand::Solid => solid,
                    Strand::Stranded => solid * STRANDING,
                }
            }
            Self::Metric { mm2_thousandths } => {
                let (_, solid, stranded) = METRIC
                    .into_iter()
                    .find(|row| row.0 == mm2_thousandths)
                    .ok_or(ConductorError::NotInTable { size: self })?;
                match strand {
                    Strand::Solid => solid,
                    Strand::Stranded => stranded,
                }
            }
        };
        Ok(ResistancePerLength::nearest_to(
            at_20 * (1.0 + PER_KELVIN * (celsius - 20.0)),
        ))
    }
}

// By hand: it is sent as its text, which the derive can't say of an enum.
impl utoipa::PartialSchema for ConductorSize {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        utoipa::openapi::ObjectBuilder::new()
            .schema_type(utoipa::openapi::Type::String)
            .description(Some("A conductor size with its unit, AWG or mm²"))
            .examples(["18 AWG", "0.75 mm²"])
            .into()
    }
}

impl ToSchema for ConductorSize {}

impl fmt::Display for ConductorSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Awg { awg } if awg < 0 => {
                let noughts = usize::from(awg.unsigned_abs()) + 1;
                write!(f, "{:0<noughts$} AWG", 0)
            }
            Self::Awg { awg } => write!(f, "{awg} AWG"),
            Self::Metric { mm2_thousandths } => {
                write!(f, "{} mm²", decimal(mm2_thousandths.into(), 1_000))
            }
        }
    }
}

impl FromStr for ConductorSize {
    type Err = ConductorError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}

impl TryFrom<String> for ConductorSize {
    type Error = ConductorError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::parse(&text)
    }
}

impl From<ConductorSize> for String {
    fn from(size: ConductorSize) -> Self {
        size.to_string()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// 1000 ft in metres.
    const THOUSAND_FEET: f64 = 304.8;

    fn ohms_per_m(size: ConductorSize, strand: Strand, celsius: f64) -> f64 {
        match size.resistance(strand, celsius) {
            Ok(resistance) => resistance.ohms_per_m(),
            Err(error) => panic!("{error}"),
        }
    }

    fn awg(awg: i8) -> ConductorSize {
        ConductorSize::Awg { awg }
    }

    #[test]
    fn sizes_are_read_as_people_type_them() {
        for (text, expected) in [
            ("18 AWG", awg(18)),
            ("AWG 18", awg(18)),
            ("18awg", awg(18)),
            ("0 AWG", awg(0)),
            ("1/0 AWG", awg(0)),
            ("00 AWG", awg(-1)),
            ("2/0 AWG", awg(-1)),
            ("AWG 4/0", awg(-3)),
        ] {
            assert_eq!(ConductorSize::parse(text), Ok(expected), "{text}");
        }
        for text in ["0.75 mm²", "0.75 mm2", "0.75mm2", "0,75 mm^2", "0.75 sq mm"] {
            let expected = ConductorSize::Metric {
                mm2_thousandths: 750,
            };
            assert_eq!(ConductorSize::parse(text), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_size_is_refused_with_what_to_type() {
        let message = |text| match ConductorSize::parse(text) {
            Ok(size) => format!("read as {size:?}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(
            message("0.75"),
            "“0.75” has no unit. Say which one is meant: 0.75 AWG or 0.75 mm²."
        );
        assert_eq!(
            message("thin"),
            "“thin” can't be read as a conductor size. Type one such as 18 AWG or 0.75 mm²."
        );
        assert_eq!(
            message("41 AWG"),
            "41 AWG is outside the gauges kept here. Type one from 0000 AWG to 40 AWG."
        );
        for text in ["5/0 AWG", "0/0 AWG", "00000 AWG", "999 AWG"] {
            assert!(
                matches!(
                    ConductorSize::parse(text),
                    Err(ConductorError::Gauge { .. })
                ),
                "{text}"
            );
        }
        for text in ["0 mm2", "0.7555 mm2", "1001 mm2"] {
            assert!(
                matches!(ConductorSize::parse(text), Err(ConductorError::Area { .. })),
                "{text}"
            );
        }
        for text in ["", "18 mm", "-18 AWG", "18.5 AWG", "AWG"] {
            assert!(ConductorSize::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn solid_gauges_agree_with_copper_wire_tables() {
        // Ω per 1000 ft at 20 °C: NBS Handbook 100, copper wire tables.
        for (gauge, expected) in [
            (10, 0.9988),
            (12, 1.588),
            (14, 2.525),
            (16, 4.016),
            (18, 6.385),
            (20, 10.15),
            (22, 16.14),
            (24, 25.67),
            (26, 40.81),
        ] {
            let found = ohms_per_m(awg(gauge), Strand::Solid, 20.0) * THOUSAND_FEET;
            assert!(
                (found / expected - 1.0).abs() < 0.006,
                "{gauge} AWG: {found}"
            );
        }
    }

    #[test]
    #[expect(
        clippy::approx_constant,
        reason = "a resistance of 3.14 Ω is not a circle's ratio"
    )]
    fn warm_gauges_agree_with_the_conductor_table() {
        // Ω per 1000 ft at 75 °C, uncoated copper, solid and 7-strand: NFPA 70,
        // chapter 9, table 8.
        for (gauge, solid, stranded) in [
            (18, 7.77, 7.95),
            (16, 4.89, 4.99),
            (14, 3.07, 3.14),
            (12, 1.93, 1.98),
            (10, 1.21, 1.24),
        ] {
            let found = ohms_per_m(awg(gauge), Strand::Solid, 75.0) * THOUSAND_FEET;
            assert!(
                (found / solid - 1.0).abs() < 0.006,
                "{gauge} AWG solid: {found}"
            );
            let found = ohms_per_m(awg(gauge), Strand::Stranded, 75.0) * THOUSAND_FEET;
            assert!(
                (found / stranded - 1.0).abs() < 0.01,
                "{gauge} AWG stranded: {found}"
            );
        }
    }

    #[test]
    fn metric_sizes_have_the_greatest_resistance_of_their_class() {
        // Ω/km at 20 °C, class 1 and 2, class 5: IEC 60228.
        for (size, solid, stranded) in [
            ("0.5 mm²", 36.0, 39.0),
            ("0.75 mm²", 24.5, 26.0),
            ("1 mm²", 18.1, 19.5),
            ("1.5 mm²", 12.1, 13.3),
            ("2.5 mm²", 7.41, 7.98),
            ("4 mm²", 4.61, 4.95),
        ] {
            let Ok(size) = ConductorSize::parse(size) else {
                panic!("{size} is a size");
            };
            let found = ohms_per_m(size, Strand::Solid, 20.0) * 1000.0;
            assert!((found - solid).abs() < 1e-9, "{size} solid: {found}");
            let found = ohms_per_m(size, Strand::Stranded, 20.0) * 1000.0;
            assert!((found - stranded).abs() < 1e-9, "{size} stranded: {found}");
            // The standard's figures lie above resistivity over area, which is
            // why the area is never used.
            let ConductorSize::Metric { mm2_thousandths } = size else {
                panic!("{size} is metric");
            };
            assert!(solid > COPPER * 1e6 / f64::from(mm2_thousandths));
        }
    }

    #[test]
    fn a_size_without_a_figure_is_refused_rather_than_worked_out() {
        let size = ConductorSize::Metric {
            mm2_thousandths: 350,
        };
        assert_eq!(
            size.resistance(Strand::Solid, 20),
            Err(ConductorError::NotInTable { size })
        );
        for celsius in [f64::NAN, -41.0, 151.0] {
            assert!(awg(18).resistance(Strand::Solid, celsius).is_err());
        }
        assert!(awg(100).resistance(Strand::Solid, 20).is_err());
    }

    #[test]
    fn gauges_and_metric_sizes_are_never_compared() {
        let metric = |mm2_thousandths| ConductorSize::Metric { mm2_thousandths };
        assert_eq!(awg(18).at_least(awg(20)), Some(true));
        assert_eq!(awg(18).at_least(awg(18)), Some(true));
        assert_eq!(awg(18).at_least(awg(-1)), Some(false));
        assert_eq!(metric(750).at_least(metric(500)), Some(true));
        assert_eq!(metric(500).at_least(metric(750)), Some(false));
        assert_eq!(awg(18).at_least(metric(750)), None);
        assert_eq!(metric(750).at_least(awg(18)), None);
    }

    fn size() -> impl Strategy<Value = ConductorSize> {
        prop_oneof![
            (THICKEST_AWG..=THINNEST_AWG).prop_map(|awg| ConductorSize::Awg { awg }),
            (1..=LARGEST_METRIC)
                .prop_map(|mm2_thousandths| ConductorSize::Metric { mm2_thousandths }),
        ]
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_as_the_same(size in size()) {
            prop_assert_eq!(ConductorSize::parse(&size.to_string()), Ok(size));
            let json = serde_json::to_string(&size).unwrap_or_default();
            prop_assert_eq!(serde_json::from_str(&json).ok(), Some(size));
        }

        #[test]
        fn thicker_and_cooler_conducts_better(thin in -2_i8..=THINNEST_AWG, celsius in -40.0..149.0) {
            let at = |gauge, celsius| ohms_per_m(awg(gauge), Strand::Stranded, celsius);
            prop_assert!(at(thin - 1, celsius) < at(thin, celsius));
            prop_assert!(at(thin, celsius) <= at(thin, celsius + 1.0));
            prop_assert!(at(thin, celsius) >= ohms_per_m(awg(thin), Strand::Solid, celsius));
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,40}", likely in "(AWG )?[0-9/.,]{0,30} ?(AWG|mm2)?") {
            let _ = ConductorSize::parse(&text);
            let _ = ConductorSize::parse(&likely);
        }
    }
}
