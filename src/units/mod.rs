//! Quantities as whole numbers: lengths, electrics, conductor sizes, cut
//! pitches, money and dates.
//!
//! Every quantity is a newtype over an `i64` in one stated unit, declared once
//! by [`quantity!`] with its range and name. The range is checked wherever a
//! value comes in, so code that holds one need not check it again. Text that
//! people type is read here and nowhere else.

mod conductor;
mod electric;
mod length;
mod money;
mod number;
mod pitch;
mod window;

pub use conductor::{ConductorError, ConductorSize, Strand};
pub use electric::{
    Current, Frequency, Power, PowerPerLength, QuantityError, ResistancePerLength, Voltage,
};
pub use length::{Length, LengthError, LengthUnit, LengthUnitError, SignedLength};
pub use money::{Currency, CurrencyError, Money, MoneyError};
pub use pitch::{CutPitch, PitchError};
pub use window::{
    Date, DateError, FOREVER, ShowDates, ShowDatesError, Window, WindowError, parse_date, say_day,
};

/// A whole number that lies outside its quantity's range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "The {quantity} must be from {} to {} {unit}, but {} {unit} was given.",
    number::decimal(*min, *per_unit),
    number::decimal(*max, *per_unit),
    number::decimal(*found, *per_unit)
)]
pub struct OutOfRange {
    /// The quantity's name, as in a sentence.
    pub quantity: &'static str,
    /// The unit that people read.
    pub unit: &'static str,
    /// How many stored units make one unit that people read; a power of ten.
    pub per_unit: i64,
    /// The least value allowed, in stored units.
    pub min: i64,
    /// The greatest value allowed, in stored units.
    pub max: i64,
    /// The value refused, in stored units.
    pub found: i64,
}

/// Declares a quantity: a whole number of one unit, within a range.
///
/// `shown` is the unit that people read and how many stored units it holds.
macro_rules! quantity {
    (
        $(#[$doc:meta])*
        $type:ident, $name:literal, $unit:literal,
        from $min:literal to $max:literal,
        shown $shown:literal = $per_unit:literal
    ) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash,
            serde::Serialize, serde::Deserialize,
        )]
        #[serde(try_from = "i64", into = "i64")]
        pub struct $type(i64);

        impl $type {
            /// The quantity's name, as in a sentence.
            pub const NAME: &'static str = $name;
            /// The unit of the whole number inside.
            pub const UNIT: &'static str = $unit;
            /// The least value, in that unit.
            pub const MIN: i64 = $min;
            /// The greatest value, in that unit.
            pub const MAX: i64 = $max;
            /// Nothing of it.
            pub const ZERO: Self = Self(0);

            #[doc = concat!("A value in ", $unit, "; refused outside the range.")]
            pub const fn new(value: i64) -> Result<Self, $crate::units::OutOfRange> {
                if value < Self::MIN || value > Self::MAX {
                    return Err($crate::units::OutOfRange {
                        quantity: $name,
                        unit: $shown,
                        per_unit: $per_unit,
                        min: Self::MIN,
                        max: Self::MAX,
                        found: value,
                    });
                }
                Ok(Self(value))
            }

            #[doc = concat!("The value in ", $unit, ".")]
            pub const fn get(self) -> i64 {
                self.0
            }

            /// The sum, or `None` outside the range.
            pub const fn checked_add(self, other: Self) -> Option<Self> {
                Self::within(self.0 + other.0)
            }

            /// The difference, or `None` outside the range.
            pub const fn checked_sub(self, other: Self) -> Option<Self> {
                Self::within(self.0 - other.0)
            }

            /// The difference, held at the ends of the range.
            pub const fn saturating_sub(self, other: Self) -> Self {
                Self::nearest(self.0 - other.0)
            }

            /// The value, or `None` outside the range.
            const fn within(value: i64) -> Option<Self> {
                match Self::new(value) {
                    Ok(found) => Some(found),
                    Err(_) => None,
                }
            }

            /// The value, held at the ends of the range.
            const fn nearest(value: i64) -> Self {
                if value < Self::MIN {
                    Self(Self::MIN)
                } else if value > Self::MAX {
                    Self(Self::MAX)
                } else {
                    Self(value)
                }
            }
        }

        impl TryFrom<i64> for $type {
            type Error = $crate::units::OutOfRange;

            fn try_from(value: i64) -> Result<Self, Self::Error> {
                Self::new(value)
            }
        }

        impl From<$type> for i64 {
            fn from(value: $type) -> Self {
                value.0
            }
        }

        // By hand, since the derive takes only literals for the bounds.
        impl utoipa::PartialSchema for $type {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
                use utoipa::openapi::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
                ObjectBuilder::new()
                    .schema_type(Type::Integer)
                    .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int64)))
                    .description(Some(concat!("The ", $name, " in ", $unit)))
                    .minimum(Some(Self::MIN))
                    .maximum(Some(Self::MAX))
                    .into()
            }
        }

        impl utoipa::ToSchema for $type {}

        #[cfg(test)]
        impl proptest::arbitrary::Arbitrary for $type {
            type Parameters = ();
            type Strategy = proptest::strategy::BoxedStrategy<Self>;

            fn arbitrary_with((): ()) -> Self::Strategy {
                use proptest::strategy::Strategy as _;
                (Self::MIN..=Self::MAX).prop_map(Self).boxed()
            }
        }
    };
}
pub(crate) use quantity;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_value_outside_its_range_is_refused_with_name_limit_and_found() {
        let refused = Voltage::new(1_000_001).map_err(|error| error.to_string());
        assert_eq!(
            refused,
            Err("The voltage must be from 0 to 1000 V, but 1000.001 V was given.".to_owned())
        );
        assert!(Length::new(-1).is_err());
        assert!(Length::new(Length::MAX).is_ok());
        assert!(SignedLength::new(SignedLength::MIN).is_ok());
        assert!(SignedLength::new(SignedLength::MIN - 1).is_err());
    }

    #[test]
    fn json_is_a_whole_number_checked_on_the_way_in() {
        let length: Result<Length, _> = serde_json::from_str("2400000");
        assert_eq!(length.ok(), Some(Length::mm(2_400)));
        for refused in ["-1", "1000000001", "2.4", "\"2400\"", "null"] {
            assert!(
                serde_json::from_str::<Length>(refused).is_err(),
                "{refused}"
            );
        }
        assert_eq!(
            serde_json::to_string(&Length::mm(5)).ok().as_deref(),
            Some("5000")
        );
    }

    #[test]
    fn the_schema_states_the_range() {
        let schema = <Current as utoipa::PartialSchema>::schema();
        let json = serde_json::to_value(&schema).unwrap_or_default();
        assert_eq!(json["type"], "integer");
        assert_eq!(json["format"], "int64");
        assert_eq!(json["minimum"], 0);
        assert_eq!(json["maximum"], 1_000_000);
    }

    proptest! {
        #[test]
        fn sums_and_differences_stay_in_range(a: Power, b: Power) {
            let sum = a.checked_add(b);
            prop_assert_eq!(sum.is_some(), a.get() + b.get() <= Power::MAX);
            if let Some(sum) = sum {
                prop_assert_eq!(sum.checked_sub(b), Some(a));
            }
            prop_assert_eq!(a.saturating_sub(b).get(), (a.get() - b.get()).max(0));
        }

        #[test]
        fn json_comes_back(length: Length, place: SignedLength) {
            let text = serde_json::to_string(&(length, place)).unwrap_or_default();
            prop_assert_eq!(serde_json::from_str(&text).ok(), Some((length, place)));
        }
    }
}
