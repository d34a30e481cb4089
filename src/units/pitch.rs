//! The cut pitch of a tape: so many cut units in so many micrometres.
//!
//! A pitch is kept as a ratio because many tapes don't divide evenly: three
//! units in 50 mm have no whole micrometres each. A length is worked out from
//! the count of units and rounded once; rounded lengths are never added up.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::length::{Length, LengthError, LengthUnit, read_um};
use super::number::{Ratio, div_round, plain_spaces, quoted};

/// `units` cut units in `um` micrometres.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "RawPitch")]
pub struct CutPitch {
    /// Cut units in the length.
    #[schema(minimum = 1, maximum = 10_000)]
    units: u32,
    /// The length in micrometres.
    #[schema(minimum = 1, maximum = 10_000_000)]
    um: u32,
}

/// A pitch as it is sent, before it is checked.
#[derive(Deserialize)]
struct RawPitch {
    units: u32,
    um: u32,
}

impl TryFrom<RawPitch> for CutPitch {
    type Error = PitchError;

    fn try_from(raw: RawPitch) -> Result<Self, Self::Error> {
        Self::new(raw.units, raw.um)
    }
}

/// Why there is no such cut pitch, and what to type instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PitchError {
    /// The text has no form that is read.
    #[error("“{text}” can't be read as a cut pitch. Type one such as 3 per 150 mm, 50 mm or 1 in.")]
    Unreadable {
        /// What was typed.
        text: String,
    },
    /// The length in it can't be read.
    #[error(transparent)]
    Length(#[from] LengthError),
    /// No units, or more than are counted.
    #[error("A cut pitch counts 1 to 10000 cut units, not {units}.")]
    Units {
        /// What was given.
        units: u64,
    },
    /// No length, or more than a pitch is given over.
    #[error("A cut pitch is given over a length of up to 10 m, but not over {} mm.", super::number::decimal(*um, 1_000))]
    Over {
        /// What was given, in micrometres.
        um: i64,
    },
    /// Units shorter than a micrometre, which no length here can tell apart.
    #[error("{units} cut units in {um} µm are shorter than 1 µm each. Check the length.")]
    TooFine {
        /// Cut units given.
        units: u32,
        /// Micrometres given.
        um: u32,
    },
}

impl CutPitch {
    /// The most cut units counted in one pitch.
    pub const MOST_UNITS: u32 = 10_000;
    /// The most micrometres a pitch is given over: 10 m.
    pub const MOST_UM: u32 = 10_000_000;

    /// `units` cut units in `um` micrometres: both above nought and within
    /// their bounds, and a unit not shorter than a micrometre.
    pub const fn new(units: u32, um: u32) -> Result<Self, PitchError> {
        if units == 0 || units > Self::MOST_UNITS {
            return Err(PitchError::Units {
                units: units as u64,
            });
        }
        if um == 0 || um > Self::MOST_UM {
            return Err(PitchError::Over { um: um as i64 });
        }
        if um < units {
            return Err(PitchError::TooFine { units, um });
        }
        Ok(Self { units, um })
    }

    /// Cut units in [`Self::um`] micrometres.
    pub const fn units(self) -> u32 {
        self.units
    }

    /// Micrometres that hold [`Self::units`] cut units.
    pub const fn um(self) -> u32 {
        self.um
    }

    /// Reads `3 per 150 mm` or `3 in 150 mm`, or a plain length such as
    /// `62.5 mm` or `1 in`, which is one unit. A bare number is in `bare`.
    ///
    /// Decimals are rounded once to whole micrometres. A fraction that has no
    /// whole micrometres, such as `1/3 in`, is kept exactly: as three units in
    /// one inch.
    pub fn parse(text: &str, bare: LengthUnit) -> Result<Self, PitchError> {
        let plain = plain_spaces(text).to_lowercase();
        let digits = plain
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(plain.len());
        let (count, rest) = plain.split_at(digits);
        let over = ["per ", "units per ", "units in ", "unit in ", "in "]
            .into_iter()
            .find_map(|word| rest.trim_start().strip_prefix(word))
            .filter(|_| !count.is_empty());
        let (units, over) = match over {
            Some(over) => {
                let units = count
                    .parse()
                    .map_err(|_| PitchError::Unreadable { text: quoted(text) })?;
                (units, over)
            }
            None => (1, plain.as_str()),
        };
        if units == 0 || units > u64::from(Self::MOST_UNITS) {
            return Err(PitchError::Units { units });
        }
        let um = read_um(over, bare)?;
        let fraction = over.contains(['/', '⁄', '⅓', '⅔']);
        let Ratio { num, den } = um.reduced();
        let exact = u32::try_from(i128::from(units) * den)
            .ok()
            .zip(u32::try_from(num).ok())
            .filter(|(units, um)| *units <= Self::MOST_UNITS && *um <= Self::MOST_UM)
            .filter(|_| fraction);
        if let Some((units, um)) = exact {
            return Self::new(units, um);
        }
        let rounded = um.round();
        if rounded > Length::MAX {
            return Err(LengthError::TooLong { text: quoted(text) }.into());
        }
        let um = u32::try_from(rounded).map_err(|_| PitchError::Over { um: rounded })?;
        let units = u32::try_from(units).map_err(|_| PitchError::Units { units })?;
        Self::new(units, um)
    }

    /// The length of so many cut units, rounded once to whole micrometres,
    /// halves away from nought; held at the greatest length, 1 km.
    pub fn length_of(self, units: u64) -> Length {
        let um = div_round(
            i128::from(units) * i128::from(self.um),
            i128::from(self.units),
        );
        let um = i64::try_from(um).unwrap_or(Length::MAX).min(Length::MAX);
        Length::new(um).unwrap_or(Length::ZERO)
    }

    /// The most whole cut units whose length is within `length`, and the
    /// micrometres that are left: `length_of(units) + rest` is `length`.
    pub fn whole_units(self, length: Length) -> (u64, i64) {
        // round(k·um/units) ≤ length exactly where 2·k·um < units·(2·length + 1).
        let bound = i128::from(self.units) * (2 * i128::from(length.get()) + 1) - 1;
        let units = bound / (2 * i128::from(self.um));
        let units = u64::try_from(units).unwrap_or(0);
        (units, length.get() - self.length_of(units).get())
    }

    /// The pitch in `unit`: `3 per 150 mm`, or a plain length for one unit.
    pub fn show(self, unit: LengthUnit) -> String {
        let over = Length::new(self.um.into())
            .unwrap_or(Length::ZERO)
            .show(unit);
        if self.units == 1 {
            over
        } else {
            format!("{} per {over}", self.units)
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn parse(text: &str) -> Result<(u32, u32), PitchError> {
        CutPitch::parse(text, LengthUnit::Mm).map(|pitch| (pitch.units(), pitch.um()))
    }

    #[test]
    fn pitches_are_read_as_people_type_them() {
        for (text, expected) in [
            ("3 per 150 mm", (3, 150_000)),
            ("3 units in 150 mm", (3, 150_000)),
            ("3 in 150 mm", (3, 150_000)),
            ("3 per 2 in", (3, 50_800)),
            ("50 mm", (1, 50_000)),
            ("62.5 mm", (1, 62_500)),
            ("62.5", (1, 62_500)),
            ("1 in", (1, 25_400)),
            ("3 in", (1, 76_200)),
            // No whole micrometres, so more units.
            ("1/3 in", (3, 25_400)),
            ("2/3 in", (3, 50_800)),
            ("⅔ in", (3, 50_800)),
            ("1 1/2 in", (1, 38_100)),
            ("16.6667 mm", (1, 16_667)),
            ("2 per 1/3 in", (6, 25_400)),
        ] {
            assert_eq!(parse(text), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_pitch_is_refused() {
        assert_eq!(parse("0 per 150 mm"), Err(PitchError::Units { units: 0 }));
        assert_eq!(
            parse("10001 per 10 m"),
            Err(PitchError::Units { units: 10_001 })
        );
        assert_eq!(parse("0 mm"), Err(PitchError::Over { um: 0 }));
        assert_eq!(
            parse("3 per 11 m"),
            Err(PitchError::Over { um: 11_000_000 })
        );
        assert_eq!(
            parse("100 per 0.05 mm"),
            Err(PitchError::TooFine { units: 100, um: 50 })
        );
        assert!(matches!(parse("3 per row"), Err(PitchError::Length(_))));
        assert!(matches!(
            parse(""),
            Err(PitchError::Length(LengthError::Empty))
        ));
        assert_eq!(
            parse("3 per 11 m").map_err(|error| error.to_string()),
            Err(
                "A cut pitch is given over a length of up to 10 m, but not over 11000 mm."
                    .to_owned()
            )
        );
        for json in [r#"{"units":0,"um":5}"#, r#"{"units":1,"um":10000001}"#] {
            assert!(serde_json::from_str::<CutPitch>(json).is_err(), "{json}");
        }
    }

    #[test]
    fn lengths_are_rounded_once_and_never_summed() {
        // Three units in 50 mm: 16 666.67 µm each.
        let Ok(pitch) = CutPitch::new(3, 50_000) else {
            panic!("a pitch within its bounds");
        };
        assert_eq!(pitch.length_of(1).get(), 16_667);
        assert_eq!(pitch.length_of(2).get(), 33_333);
        assert_eq!(pitch.length_of(3).get(), 50_000);
        assert_eq!(pitch.length_of(300).get(), 5_000_000);
        assert_eq!(pitch.whole_units(Length::mm(100)), (6, 0));
        assert_eq!(pitch.whole_units(Length::mm(99)), (5, 15_667));
        assert_eq!(pitch.length_of(u64::MAX).get(), Length::MAX);
    }

    fn pitch() -> impl Strategy<Value = CutPitch> {
        (1..=CutPitch::MOST_UNITS, 1..=CutPitch::MOST_UM)
            .prop_filter_map("a unit of a micrometre or more", |(units, um)| {
                CutPitch::new(units, um).ok()
            })
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_as_the_same(pitch in pitch(), unit in proptest::sample::select(LengthUnit::ALL.to_vec())) {
            prop_assert_eq!(CutPitch::parse(&pitch.show(unit), LengthUnit::Mm), Ok(pitch));
        }

        #[test]
        fn whole_units_come_back_from_their_length(pitch in pitch(), units in 0_u64..100_000) {
            let length = pitch.length_of(units);
            prop_assume!(length.get() < Length::MAX);
            prop_assert_eq!(pitch.whole_units(length), (units, 0));
        }

        #[test]
        fn whole_units_and_rest_are_the_length(pitch in pitch(), length: Length) {
            let (units, rest) = pitch.whole_units(length);
            prop_assert!(rest >= 0);
            prop_assert_eq!(pitch.length_of(units).get() + rest, length.get());
            if length.get() < Length::MAX {
                prop_assert!(pitch.length_of(units + 1) > length);
            }
        }

        #[test]
        fn a_length_is_within_half_a_micrometre(pitch in pitch(), units in 0_u64..100_000) {
            let length = pitch.length_of(units);
            prop_assume!(length.get() < Length::MAX);
            // |length·n − k·m| ≤ n/2, in whole numbers.
            let exact = i128::from(units) * i128::from(pitch.um());
            let off = (i128::from(length.get()) * i128::from(pitch.units()) - exact).abs();
            prop_assert!(2 * off <= i128::from(pitch.units()));
        }

        #[test]
        fn any_text_is_read_or_refused(text in "[0-9]{0,25} ?(per|in|units in)? ?[0-9./]{0,25} ?(mm|in|ft)?") {
            let _ = CutPitch::parse(&text, LengthUnit::In);
        }
    }
}
