//! Reading numbers exactly as people type them, and writing them back.
//!
//! Nothing here is a float: a number is a ratio until it is rounded, once.

/// Most digits kept on either side of the point: beyond any range here and
/// finer than any unit, and few enough that no product below overflows.
const DIGITS: usize = 13;
/// The least number of more digits than are kept.
const LARGE: i128 = 10_000_000_000_000;
/// Most digits in either part of a fraction such as `5/8`.
const FRACTION_DIGITS: usize = 6;

/// A number of nought or more, exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Ratio {
    pub(super) num: i128,
    pub(super) den: i128,
}

impl Ratio {
    /// A whole number.
    pub(super) const fn whole(num: i128) -> Self {
        Self { num, den: 1 }
    }

    /// The product with `num / den`.
    pub(super) const fn times(self, num: i128, den: i128) -> Self {
        Self {
            num: self.num * num,
            den: self.den * den,
        }
    }

    /// The sum.
    pub(super) const fn plus(self, other: Self) -> Self {
        Self {
            num: self.num * other.den + other.num * self.den,
            den: self.den * other.den,
        }
    }

    /// The nearest whole number, halves away from nought; held at the greatest
    /// `i64`, which every range here refuses.
    pub(super) fn round(self) -> i64 {
        i64::try_from(div_round(self.num, self.den)).unwrap_or(i64::MAX)
    }

    /// The same number in lowest terms.
    pub(super) fn reduced(self) -> Self {
        let (mut a, mut b) = (self.num, self.den);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let common = a.max(1);
        Self {
            num: self.num / common,
            den: self.den / common,
        }
    }
}

/// `num / den` to the nearest whole number, halves away from nought. Neither
/// may be negative.
pub(super) const fn div_round(num: i128, den: i128) -> i128 {
    (2 * num + den) / (2 * den)
}

/// Why no number could be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Misread {
    /// There is no number at this place, or not in a form that is read.
    NotANumber,
    /// A comma or point that may part thousands or decimals.
    Ambiguous {
        /// The number as it was typed.
        raw: String,
        /// What it may stand for.
        readings: Vec<String>,
    },
}

/// The texts to type instead of one whose number `raw` has several readings.
pub(super) fn instead(text: &str, raw: &str, readings: &[String]) -> String {
    let texts: Vec<_> = readings
        .iter()
        .map(|reading| quoted(&text.replacen(raw, reading, 1)))
        .collect();
    texts.join(" or ")
}

/// Reads a decimal number from the start of `text` and returns what follows.
/// Point and comma both part the decimals.
pub(super) fn decimal_at_start(text: &str) -> Result<(Ratio, &str), Misread> {
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
        .unwrap_or(text.len());
    let (raw, rest) = text.split_at(end);
    let parts: Vec<&str> = raw.split(['.', ',']).collect();
    let (whole, fraction) = match parts[..] {
        [whole] => (whole, ""),
        [whole, fraction] => {
            let thousands = raw.contains(',')
                && fraction.len() == 3
                && (1..=3).contains(&whole.len())
                && !whole.starts_with('0');
            if thousands {
                return Err(Misread::Ambiguous {
                    raw: raw.to_owned(),
                    readings: vec![format!("{whole}.{fraction}"), format!("{whole}{fraction}")],
                });
            }
            if fraction.is_empty() {
                return Err(Misread::NotANumber);
            }
            (whole, fraction)
        }
        _ => return Err(grouped(raw, &parts)),
    };
    if whole.is_empty() && fraction.is_empty() {
        return Err(Misread::NotANumber);
    }
    let whole = whole.trim_start_matches('0');
    let fraction = fraction.trim_end_matches('0');
    // Beyond every range here: kept as a large number, so that the caller says
    // 'too large' and not 'unreadable'.
    if whole.len() > DIGITS {
        return Ok((Ratio::whole(LARGE), rest));
    }
    // Decimals too many to keep, as calculators give them, become one last
    // digit: a number just above a half still rounds up, and is never taken
    // for a shorter one.
    let (kept, cut) = fraction.split_at(fraction.len().min(DIGITS));
    let kept = if cut.is_empty() {
        kept.to_owned()
    } else {
        format!("{kept}1")
    };
    let den = kept.bytes().fold(1, |den, _| den * 10);
    let num = digits(whole) * den + digits(&kept);
    Ok((Ratio { num, den }, rest))
}

/// Reads a decimal number, a fraction (`5/8`, `⅝`) or a whole number with a
/// fraction (`6 1/2`, `6-1/2`, `6½`) from the start of `text`.
pub(super) fn number_at_start(text: &str) -> Result<(Ratio, &str), Misread> {
    if let Some((fraction, rest)) = vulgar_at_start(text) {
        return Ok((fraction, rest));
    }
    if let Some((fraction, rest)) = fraction_at_start(text)? {
        return Ok((fraction, rest));
    }
    let (first, rest) = decimal_at_start(text)?;
    if first.den != 1 {
        return Ok((first, rest));
    }
    let next = rest.trim_start();
    if let Some((fraction, rest)) = vulgar_at_start(next) {
        return Ok((first.plus(fraction), rest));
    }
    // A fraction needs something between it and the whole number.
    if next.len() == rest.len() && !rest.starts_with('-') {
        return Ok((first, rest));
    }
    match fraction_at_start(next.strip_prefix('-').unwrap_or(next))? {
        Some((fraction, rest)) if fraction.num < fraction.den => Ok((first.plus(fraction), rest)),
        Some(_) => Err(Misread::NotANumber),
        None => Ok((first, rest)),
    }
}

/// Reads `5/8` from the start, if there is such a thing.
fn fraction_at_start(text: &str) -> Result<Option<(Ratio, &str)>, Misread> {
    let (num, rest) = digits_at_start(text);
    let Some(rest) = rest.strip_prefix(['/', '⁄']) else {
        return Ok(None);
    };
    let (den, rest) = digits_at_start(rest);
    let readable = (1..=FRACTION_DIGITS).contains(&num.len())
        && (1..=FRACTION_DIGITS).contains(&den.len())
        && digits(den) != 0;
    if !readable {
        return Err(Misread::NotANumber);
    }
    let (num, den) = (digits(num), digits(den));
    Ok(Some((Ratio { num, den }, rest)))
}

/// Reads a fraction that is one character.
fn vulgar_at_start(text: &str) -> Option<(Ratio, &str)> {
    let mut chars = text.chars();
    let (num, den) = match chars.next()? {
        '½' => (1, 2),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        _ => return None,
    };
    Some((Ratio { num, den }, chars.as_str()))
}

fn digits_at_start(text: &str) -> (&str, &str) {
    let end = text
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(text.len());
    text.split_at(end)
}

/// The value of a run of digits; an empty run is nought.
fn digits(text: &str) -> i128 {
    text.bytes()
        .fold(0, |sum, digit| sum * 10 + i128::from(digit - b'0'))
}

/// What to say of a number with several separators: `1,234.5` or `1.234.567`.
fn grouped(raw: &str, parts: &[&str]) -> Misread {
    let seps: Vec<char> = raw.chars().filter(|c| !c.is_ascii_digit()).collect();
    let (Some(first), Some(last)) = (seps.first(), seps.last()) else {
        return Misread::NotANumber;
    };
    let decimals = usize::from(first != last);
    let (groups, fraction) = parts.split_at(parts.len() - decimals);
    let in_threes = (1..=3).contains(&groups[0].len())
        && groups[1..].iter().all(|group| group.len() == 3)
        && seps[..seps.len() - decimals].iter().all(|c| c == first);
    if !in_threes || fraction.iter().any(|part| part.is_empty()) {
        return Misread::NotANumber;
    }
    let point = if decimals == 1 { "." } else { "" };
    Misread::Ambiguous {
        raw: raw.to_owned(),
        readings: vec![format!("{}{point}{}", groups.concat(), fraction.concat())],
    }
}

/// Writes `value / per_unit` as the shortest decimal number; `per_unit` is a
/// power of ten.
pub(super) fn decimal(value: i64, per_unit: i64) -> String {
    let width = per_unit.unsigned_abs().checked_ilog10().unwrap_or(0) as usize;
    let sign = if value < 0 { "-" } else { "" };
    let value = value.unsigned_abs();
    let per_unit = per_unit.unsigned_abs();
    let whole = value / per_unit;
    let fraction = format!("{:0width$}", value % per_unit);
    let fraction = fraction.trim_end_matches('0');
    if fraction.is_empty() {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{fraction}")
    }
}

/// The text as it is quoted back to people: trimmed, and cut when very long.
pub(super) fn quoted(text: &str) -> String {
    const MOST: usize = 40;
    let text = text.trim();
    if text.chars().count() <= MOST {
        return text.to_owned();
    }
    let start: String = text.chars().take(MOST).collect();
    format!("{start}…")
}

/// Trims the text and makes all its spaces plain ones.
pub(super) fn plain_spaces(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text without its leading minus, if it has one.
pub(super) fn strip_minus(text: &str) -> Option<&str> {
    text.strip_prefix(['-', '−', '–']).map(str::trim_start)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn halves_round_away_from_nought() {
        assert_eq!(div_round(1, 2), 1);
        assert_eq!(div_round(3, 2), 2);
        assert_eq!(div_round(1, 3), 0);
        assert_eq!(div_round(2, 3), 1);
    }

    #[test]
    fn surplus_decimals_neither_round_early_nor_vanish() {
        let read = |text| decimal_at_start(text).map(|(number, _)| number);
        let just_above = read("0.50000000000000000001");
        assert_eq!(just_above.map(Ratio::round), Ok(1));
        let just_below = read("0.49999999999999999999");
        assert_eq!(just_below.map(Ratio::round), Ok(0));
        assert_ne!(read("12.000000000000000001"), read("12"));
    }

    #[test]
    fn a_decimal_is_written_with_no_more_digits_than_it_has() {
        assert_eq!(decimal(2_400, 1_000), "2.4");
        assert_eq!(decimal(-50, 1_000), "-0.05");
        assert_eq!(decimal(7, 1), "7");
        assert_eq!(decimal(0, 1_000), "0");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "[0-9.,/⁄ ½⅝-]{0,40}") {
            if let Ok((number, rest)) = number_at_start(&text) {
                prop_assert!(text.ends_with(rest));
                prop_assert!(number.num >= 0 && number.den > 0);
            }
        }

        #[test]
        fn a_written_decimal_is_read_as_the_same(value in 0..i64::MAX / 1_000_000, digits in 0_u32..=6) {
            let per_unit = 10_i64.pow(digits);
            let value = value % (per_unit * 1_000_000);
            // A point is never taken for a thousands mark.
            let text = decimal(value, per_unit);
            let read = decimal_at_start(&text).map(|(number, _)| number.times(per_unit.into(), 1).round());
            prop_assert_eq!(read, Ok(value));
        }
    }
}
