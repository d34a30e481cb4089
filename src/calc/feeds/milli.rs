//! Amperes and volts of a document in whole thousandths, exactly, and back.

/// A number of nought or more in whole thousandths, as it is written: the shortest decimal number
/// that stands for it. Also whether something is left beyond them.
pub(super) fn thousandths(value: f64) -> (i64, bool) {
    let text = value.to_string();
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let (kept, cut) = fraction.split_at(fraction.len().min(3));
    let number = |digits: &str| digits.parse::<i64>().unwrap_or(0);
    let milli = number(whole) * 1_000 + number(&format!("{kept:0<3}"));
    (milli, cut.bytes().any(|digit| digit != b'0'))
}

/// Rounded up: what something takes.
pub(super) fn up(value: f64) -> i64 {
    let (milli, left) = thousandths(value);
    milli + i64::from(left)
}

/// Rounded down: what something may carry.
pub(super) fn down(value: f64) -> i64 {
    thousandths(value).0
}

/// Whole thousandths as a number of the document.
pub(super) fn whole(milli: i64) -> f64 {
    // A question's currents add up to less than this.
    let milli = i32::try_from(milli).unwrap_or(i32::MAX);
    f64::from(milli) / 1_000.0
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    // Multiplied as floating point, 1.009 gives 1008.9999999999999, and 2.007 gives
    // 2007.0000000000002.
    #[test]
    fn decimals_count_as_they_are_written() {
        for (value, down_to, up_to) in [
            (0.0, 0, 0),
            (2.007, 2_007, 2_007),
            (1.009, 1_009, 1_009),
            (16.033, 16_033, 16_033),
            (0.1, 100, 100),
            (5.0, 5_000, 5_000),
            (0.0004, 0, 1),
            (1e-300, 0, 1),
            (0.333_333, 333, 334),
            (99.999_9, 99_999, 100_000),
        ] {
            assert_eq!((down(value), up(value)), (down_to, up_to), "{value}");
        }
    }

    proptest! {
        #[test]
        fn whole_thousandths_come_back(milli in 0..=1_000_000_i64) {
            prop_assert_eq!(up(whole(milli)), milli);
            prop_assert_eq!(down(whole(milli)), milli);
        }
    }
}
