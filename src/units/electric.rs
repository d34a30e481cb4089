//! Volts, amps, watts, ohms and hertz, as whole numbers of small units.

use super::number::{
    Misread, decimal, decimal_at_start, instead, plain_spaces, quoted, strip_minus,
};
use super::quantity;

quantity! {
    /// A voltage in whole millivolts, up to 1000 V.
    Voltage, "voltage", "mV", from 0 to 1_000_000, shown "V" = 1_000
}
quantity! {
    /// A current in whole milliamps, up to 1000 A.
    Current, "current", "mA", from 0 to 1_000_000, shown "A" = 1_000
}
quantity! {
    /// A power in whole milliwatts, up to 100 kW.
    Power, "power", "mW", from 0 to 100_000_000, shown "W" = 1_000
}
quantity! {
    /// A power per length in whole milliwatts per metre, up to 1000 W/m.
    PowerPerLength, "power per length", "mW/m", from 0 to 1_000_000, shown "W/m" = 1_000
}
quantity! {
    /// A resistance per length in whole microohms per metre, up to 100 Ω/m.
    ResistancePerLength, "resistance per length", "µΩ/m", from 0 to 100_000_000,
    shown "Ω/m" = 1_000_000
}
quantity! {
    /// A frequency in whole hertz, up to 1 MHz.
    Frequency, "frequency", "Hz", from 0 to 1_000_000, shown "Hz" = 1
}

/// Why a text is not the quantity asked for, and what to type instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was typed.
    #[error("No {quantity} was typed. Type one such as {example}.")]
    Empty {
        /// The quantity's name.
        quantity: &'static str,
        /// A text that would be read.
        example: &'static str,
    },
    /// The text has no form that is read.
    #[error("“{text}” can't be read as a {quantity}. Type one such as {example}.")]
    Unreadable {
        /// The quantity's name.
        quantity: &'static str,
        /// What was typed.
        text: String,
        /// A text that would be read.
        example: &'static str,
    },
    /// A number is followed by a unit of something else.
    #[error(
        "“{text}” has the unit “{unit}”, which is none of a {quantity}. Type one such as {example}."
    )]
    UnknownUnit {
        /// The quantity's name.
        quantity: &'static str,
        /// What was typed.
        text: String,
        /// The part taken for a unit.
        unit: String,
        /// A text that would be read.
        example: &'static str,
    },
    /// Below nothing.
    #[error("“{text}” is negative. A {quantity} starts at 0: leave out the minus sign.")]
    Negative {
        /// The quantity's name.
        quantity: &'static str,
        /// What was typed.
        text: String,
    },
    /// Above the range.
    #[error(
        "“{text}” is more than a {quantity} can be here. Type at most {most}, and check the unit."
    )]
    TooLarge {
        /// The quantity's name.
        quantity: &'static str,
        /// What was typed.
        text: String,
        /// The greatest value, with its unit.
        most: String,
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
}

/// A unit as it is typed, and how many stored units it holds: `num / den`.
type TypedUnit = (&'static str, i128, i128);

/// Reads a number with one of `units`; a bare number takes the first.
fn read(
    quantity: &'static str,
    example: &'static str,
    text: &str,
    units: &[TypedUnit],
) -> Result<i64, QuantityError> {
    // The ohm sign and the Greek capital look alike.
    let plain = plain_spaces(text).replace('\u{2126}', "Ω");
    if plain.is_empty() {
        return Err(QuantityError::Empty { quantity, example });
    }
    if strip_minus(&plain).is_some() {
        let text = quoted(text);
        return Err(QuantityError::Negative { quantity, text });
    }
    let (number, rest) = decimal_at_start(&plain).map_err(|why| match why {
        Misread::NotANumber => QuantityError::Unreadable {
            quantity,
            text: quoted(text),
            example,
        },
        Misread::Ambiguous { raw, readings } => QuantityError::Ambiguous {
            text: quoted(text),
            instead: instead(text, &raw, &readings),
        },
    })?;
    let word = rest.replace(' ', "");
    let unit = units.iter().find(|unit| word.is_empty() || unit.0 == word);
    match unit {
        Some((_, num, den)) => Ok(number.times(*num, *den).round()),
        None => Err(QuantityError::UnknownUnit {
            quantity,
            text: quoted(text),
            unit: quoted(rest),
            example,
        }),
    }
}

/// Gives a quantity its `parse` and `show`.
macro_rules! electric {
    ($type:ident, $example:literal, $shown:literal = $per_unit:literal, [$($unit:expr),+ $(,)?]) => {
        impl $type {
            #[doc = concat!(
                "Reads a text such as `", $example, "`; a bare number is in ", $shown,
                ". Rounded once, halves away from nought."
            )]
            pub fn parse(text: &str) -> Result<Self, QuantityError> {
                let value = read(Self::NAME, $example, text, &[$($unit),+])?;
                Self::new(value).map_err(|_| QuantityError::TooLarge {
                    quantity: Self::NAME,
                    text: quoted(text),
                    most: Self(Self::MAX).show(),
                })
            }

            #[doc = concat!("The value in ", $shown, ", with as few decimals as it has.")]
            pub fn show(self) -> String {
                format!("{} {}", decimal(self.0, $per_unit), $shown)
            }
        }
    };
}

electric!(
    Voltage,
    "24 V",
    "V" = 1_000,
    [
        ("V", 1_000, 1),
        ("v", 1_000, 1),
        ("volt", 1_000, 1),
        ("volts", 1_000, 1),
        ("Vdc", 1_000, 1),
        ("VDC", 1_000, 1),
        ("mV", 1, 1),
        ("mv", 1, 1),
        ("kV", 1_000_000, 1),
    ]
);
electric!(
    Current,
    "5 A",
    "A" = 1_000,
    [
        ("A", 1_000, 1),
        ("a", 1_000, 1),
        ("amp", 1_000, 1),
        ("amps", 1_000, 1),
        ("mA", 1, 1),
        ("ma", 1, 1),
    ]
);
electric!(
    Power,
    "60 W",
    "W" = 1_000,
    [
        ("W", 1_000, 1),
        ("w", 1_000, 1),
        ("watt", 1_000, 1),
        ("watts", 1_000, 1),
        ("mW", 1, 1),
        ("mw", 1, 1),
        ("kW", 1_000_000, 1),
        ("kw", 1_000_000, 1),
    ]
);
electric!(
    PowerPerLength,
    "14.4 W/m",
    "W/m" = 1_000,
    [
        ("W/m", 1_000, 1),
        ("w/m", 1_000, 1),
        ("mW/m", 1, 1),
        // 1 ft is 0.3048 m exactly.
        ("W/ft", 10_000_000, 3_048),
        ("w/ft", 10_000_000, 3_048),
    ]
);
electric!(
    ResistancePerLength,
    "0.12 Ω/m",
    "Ω/m" = 1_000_000,
    [
        ("Ω/m", 1_000_000, 1),
        ("ohm/m", 1_000_000, 1),
        ("ohms/m", 1_000_000, 1),
        ("mΩ/m", 1_000, 1),
        ("mohm/m", 1_000, 1),
        ("mohms/m", 1_000, 1),
        ("Ω/km", 1_000, 1),
        ("ohm/km", 1_000, 1),
        ("ohms/km", 1_000, 1),
        ("Ω/ft", 10_000_000_000, 3_048),
        ("ohm/ft", 10_000_000_000, 3_048),
        ("ohms/ft", 10_000_000_000, 3_048),
    ]
);
electric!(
    Frequency,
    "1000 Hz",
    "Hz" = 1,
    [
        ("Hz", 1, 1),
        ("hz", 1, 1),
        ("kHz", 1_000, 1),
        ("khz", 1_000, 1),
    ]
);

impl Voltage {
    /// The voltage in volts, for computing.
    pub fn volts(self) -> f64 {
        float(self.0) / 1e3
    }
}

impl Current {
    /// The current in amps, for computing.
    pub fn amps(self) -> f64 {
        float(self.0) / 1e3
    }
}

impl Power {
    /// The power of a current at a voltage, rounded up to whole milliwatts and
    /// held at the greatest power, which no supply here comes near.
    pub const fn of(voltage: Voltage, current: Current) -> Self {
        // Both are at most a million, so the product is far inside an i64.
        Self::nearest((voltage.0 * current.0 + 999) / 1_000)
    }

    /// The power in watts, for computing.
    pub fn watts(self) -> f64 {
        float(self.0) / 1e3
    }
}

impl PowerPerLength {
    /// The power per length in watts per metre, for computing.
    pub fn watts_per_m(self) -> f64 {
        float(self.0) / 1e3
    }
}

impl ResistancePerLength {
    /// The resistance per length in ohms per metre, for computing.
    pub fn ohms_per_m(self) -> f64 {
        float(self.0) / 1e6
    }

    /// The nearest whole microohms per metre to a computed figure in them,
    /// held within the range.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "held within the range first, which an i64 holds"
    )]
    pub(super) fn nearest_to(microohms_per_m: f64) -> Self {
        Self(microohms_per_m.clamp(0.0, float(Self::MAX)).round() as i64)
    }
}

impl Frequency {
    /// The frequency in hertz, for computing.
    pub fn hertz(self) -> f64 {
        float(self.0)
    }
}

/// A whole number as a float.
#[expect(
    clippy::cast_precision_loss,
    reason = "every range here lies well within the 53 bits a float holds exactly"
)]
pub(super) const fn float(value: i64) -> f64 {
    value as f64
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn quantities_are_read_with_their_units() {
        for (text, mv) in [
            ("24 V", 24_000),
            ("24", 24_000),
            ("24V", 24_000),
            ("500 mV", 500),
            ("12,5 v", 12_500),
            ("24 Vdc", 24_000),
        ] {
            assert_eq!(Voltage::parse(text).map(Voltage::get), Ok(mv), "{text}");
        }
        for (text, ma) in [("5 A", 5_000), ("500 mA", 500), ("0.02 a", 20)] {
            assert_eq!(Current::parse(text).map(Current::get), Ok(ma), "{text}");
        }
        for (text, mw) in [("60 W", 60_000), ("1.5 kW", 1_500_000)] {
            assert_eq!(Power::parse(text).map(Power::get), Ok(mw), "{text}");
        }
        // 4.4 / 0.3048 = 14.43570… W/m.
        for (text, mw_per_m) in [
            ("14.4 W/m", 14_400),
            ("14.4 W / m", 14_400),
            ("4.4 W/ft", 14_436),
        ] {
            assert_eq!(
                PowerPerLength::parse(text).map(PowerPerLength::get),
                Ok(mw_per_m),
                "{text}"
            );
        }
        for text in [
            "0.12 Ω/m",
            "0.12 \u{2126}/m",
            "120 mΩ/m",
            "0.12 ohm/m",
            "120 Ω/km",
            "0.036576 Ω/ft",
        ] {
            assert_eq!(
                ResistancePerLength::parse(text).map(ResistancePerLength::get),
                Ok(120_000),
                "{text}"
            );
        }
        for (text, hz) in [("1000 Hz", 1_000), ("1.2 kHz", 1_200)] {
            assert_eq!(Frequency::parse(text).map(Frequency::get), Ok(hz), "{text}");
        }
    }

    #[test]
    fn what_is_not_the_quantity_is_refused_with_what_to_type() {
        let message = |text| match Voltage::parse(text) {
            Ok(voltage) => format!("read as {voltage:?}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(message(""), "No voltage was typed. Type one such as 24 V.");
        assert_eq!(
            message("high"),
            "“high” can't be read as a voltage. Type one such as 24 V."
        );
        assert_eq!(
            message("24 A"),
            "“24 A” has the unit “A”, which is none of a voltage. Type one such as 24 V."
        );
        assert_eq!(
            message("-24 V"),
            "“-24 V” is negative. A voltage starts at 0: leave out the minus sign."
        );
        assert_eq!(
            message("2 kV"),
            "“2 kV” is more than a voltage can be here. Type at most 1000 V, and check the unit."
        );
        assert_eq!(
            message("1,000 mV"),
            "“1,000 mV” has a comma or point that may part thousands or decimals. \
             Type 1.000 mV or 1000 mV instead."
        );
        // Micro and mega are not milli.
        assert!(Power::parse("5 MW").is_err());
        assert!(matches!(
            ResistancePerLength::parse("9999999999999.9999999999999999 Ω/ft"),
            Err(QuantityError::TooLarge { .. })
        ));
    }

    #[test]
    fn quantities_are_shown_in_their_unit() {
        assert_eq!(
            Voltage::new(24_000).map(Voltage::show),
            Ok("24 V".to_owned())
        );
        assert_eq!(Current::new(500).map(Current::show), Ok("0.5 A".to_owned()));
        assert_eq!(
            PowerPerLength::new(14_400).map(PowerPerLength::show),
            Ok("14.4 W/m".to_owned())
        );
        assert_eq!(
            ResistancePerLength::new(120_000).map(ResistancePerLength::show),
            Ok("0.12 Ω/m".to_owned())
        );
        assert_eq!(
            Frequency::new(1_200).map(Frequency::show),
            Ok("1200 Hz".to_owned())
        );
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_as_the_same(
            v: Voltage, i: Current, p: Power, w: PowerPerLength, r: ResistancePerLength, f: Frequency,
        ) {
            prop_assert_eq!(Voltage::parse(&v.show()), Ok(v));
            prop_assert_eq!(Current::parse(&i.show()), Ok(i));
            prop_assert_eq!(Power::parse(&p.show()), Ok(p));
            prop_assert_eq!(PowerPerLength::parse(&w.show()), Ok(w));
            prop_assert_eq!(ResistancePerLength::parse(&r.show()), Ok(r));
            prop_assert_eq!(Frequency::parse(&f.show()), Ok(f));
        }

        #[test]
        fn a_power_is_never_less_than_volts_times_amps(v: Voltage, i: Current) {
            let exact = v.volts() * i.amps();
            let power = Power::of(v, i).watts();
            if exact <= 100_000.0 {
                prop_assert!(power >= exact - 1e-9 && power < exact + 0.001 + 1e-9);
            } else {
                prop_assert_eq!(Power::of(v, i).get(), Power::MAX);
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,40}", number in "[0-9.,]{0,40}", unit in "(V|W/ft|Ω/ft|kHz)") {
            let likely = format!("{number} {unit}");
            for text in [text, likely] {
                let _ = Voltage::parse(&text);
                let _ = PowerPerLength::parse(&text);
                let _ = ResistancePerLength::parse(&text);
                let _ = Frequency::parse(&text);
            }
        }
    }
}
