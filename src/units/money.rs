//! Money in whole minor units of the venue's one currency. Never a float.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::number::{Misread, decimal_at_start, instead, plain_spaces, quoted, strip_minus};
use super::quantity;

quantity! {
    /// An amount in whole minor units (cents, say), owed either way.
    Money, "amount", "minor units", from -1_000_000_000_000 to 1_000_000_000_000,
    shown "minor units" = 1
}

/// A currency: its code of three capitals and how many decimals it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "RawCurrency", into = "RawCurrency")]
#[schema(as = Currency)]
pub struct Currency {
    /// Three capitals.
    #[schema(value_type = String, pattern = "^[A-Z]{3}$")]
    code: [u8; 3],
    /// Decimals of the major unit.
    #[schema(minimum = 0, maximum = 3)]
    digits: u8,
}

/// A currency as it is sent.
#[derive(Serialize, Deserialize)]
struct RawCurrency {
    code: String,
    digits: u8,
}

impl TryFrom<RawCurrency> for Currency {
    type Error = CurrencyError;

    fn try_from(raw: RawCurrency) -> Result<Self, Self::Error> {
        Self::new(&raw.code, raw.digits)
    }
}

impl From<Currency> for RawCurrency {
    fn from(currency: Currency) -> Self {
        Self {
            code: currency.code().to_owned(),
            digits: currency.digits,
        }
    }
}

/// Why there is no such currency.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CurrencyError {
    /// Not three capitals.
    #[error("“{text}” is not a currency code. Type three capital letters such as EUR.")]
    NotACode {
        /// What was typed.
        text: String,
    },
    /// More decimals than money has here.
    #[error("{code} with {digits} decimals is not kept here. A currency has 0 to 3 decimals.")]
    Digits {
        /// The code.
        code: String,
        /// Decimals asked for.
        digits: u8,
    },
}

impl Currency {
    /// A currency with decimals of one's own choice.
    pub fn new(code: &str, digits: u8) -> Result<Self, CurrencyError> {
        let letters = <[u8; 3]>::try_from(code.as_bytes())
            .ok()
            .filter(|letters| letters.iter().all(u8::is_ascii_uppercase))
            .ok_or_else(|| CurrencyError::NotACode { text: quoted(code) })?;
        if digits > 3 {
            return Err(CurrencyError::Digits {
                code: code.to_owned(),
                digits,
            });
        }
        Ok(Self {
            code: letters,
            digits,
        })
    }

    /// Reads a code such as `EUR`; its decimals are those of ISO 4217, list
    /// one, and two for a code that is not singled out there.
    pub fn parse(text: &str) -> Result<Self, CurrencyError> {
        let code = text.trim();
        let digits = match code {
            "BIF" | "CLP" | "DJF" | "GNF" | "ISK" | "JPY" | "KMF" | "KRW" | "PYG" | "RWF"
            | "UGX" | "UYI" | "VND" | "VUV" | "XAF" | "XOF" | "XPF" => 0,
            "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 3,
            "CLF" | "UYW" => 4,
            _ => 2,
        };
        Self::new(code, digits)
    }

    /// The code of three capitals.
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.code).unwrap_or_default()
    }

    /// Decimals of the major unit.
    pub const fn digits(&self) -> u8 {
        self.digits
    }

    /// The sign that people write for it, where it is plain which; another's is never read as this one.
    fn sign(self) -> Option<char> {
        Some(match self.code() {
            "EUR" => '€',
            "GBP" => '£',
            "USD" | "CAD" | "AUD" | "NZD" | "SGD" | "HKD" | "MXN" => '$',
            "JPY" | "CNY" => '¥',
            "INR" => '₹',
            "KRW" => '₩',
            _ => return None,
        })
    }

    /// Minor units in a major one.
    const fn per_major(self) -> i64 {
        10_i64.pow(self.digits as u32)
    }
}

impl FromStr for Currency {
    type Err = CurrencyError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// Why a text is not an amount of money, and what to type instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    /// Nothing was typed.
    #[error("No amount was typed. Type one such as {example}.")]
    Empty {
        /// A text that would be read.
        example: String,
    },
    /// The text has no form that is read.
    #[error("“{text}” can't be read as an amount of money. Type one such as {example}.")]
    Unreadable {
        /// What was typed.
        text: String,
        /// A text that would be read.
        example: String,
    },
    /// Another currency than the venue's.
    #[error("“{text}” is not in {currency}, the venue's currency. Type one such as {example}.")]
    OtherCurrency {
        /// What was typed.
        text: String,
        /// The venue's currency.
        currency: Currency,
        /// A text that would be read.
        example: String,
    },
    /// More decimals than the currency has.
    #[error("“{text}” has more decimals than {currency} has, which is {}. Type one such as {example}.", currency.digits())]
    TooManyDecimals {
        /// What was typed.
        text: String,
        /// The venue's currency.
        currency: Currency,
        /// A text that would be read.
        example: String,
    },
    /// Beyond the amounts kept here.
    #[error("“{text}” is more money than is kept here. Type at most {most}.")]
    TooLarge {
        /// What was typed.
        text: String,
        /// The greatest amount.
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

impl Money {
    /// Reads `12.50`, `12,50`, `12`, `€12.50` or `12.50 EUR` in the venue's currency.
    pub fn parse(text: &str, currency: &Currency) -> Result<Self, MoneyError> {
        let plain = plain_spaces(text);
        let example = || Self(12 * currency.per_major()).show(currency);
        if plain.is_empty() {
            return Err(MoneyError::Empty { example: example() });
        }
        let (sign, unsigned) = match strip_minus(&plain) {
            Some(rest) => (-1, rest),
            None => (1, plain.as_str()),
        };
        let unsigned = match currency.sign() {
            Some(sign) => unsigned
                .trim_start_matches(sign)
                .trim_end_matches(sign)
                .trim(),
            None => unsigned,
        };
        let (bare, code) = split_code(unsigned);
        let (amount, rest) = decimal_at_start(bare).map_err(|why| match why {
            Misread::NotANumber => MoneyError::Unreadable {
                text: quoted(text),
                example: example(),
            },
            Misread::Ambiguous { raw, mut readings } => {
                // A reading with more decimals than the currency has is none.
                let digits = usize::from(currency.digits);
                readings.retain(|reading| {
                    reading
                        .split_once('.')
                        .is_none_or(|(_, decimals)| decimals.len() <= digits)
                });
                MoneyError::Ambiguous {
                    text: quoted(text),
                    instead: instead(text, &raw, &readings),
                }
            }
        })?;
        if !rest.is_empty() {
            return Err(MoneyError::Unreadable {
                text: quoted(text),
                example: example(),
            });
        }
        if !code.is_empty() && !code.eq_ignore_ascii_case(currency.code()) {
            return Err(MoneyError::OtherCurrency {
                text: quoted(text),
                currency: *currency,
                example: example(),
            });
        }
        let minor = amount.times(currency.per_major().into(), 1).reduced();
        if minor.den != 1 {
            return Err(MoneyError::TooManyDecimals {
                text: quoted(text),
                currency: *currency,
                example: example(),
            });
        }
        Self::new(sign * minor.round()).map_err(|_| MoneyError::TooLarge {
            text: quoted(text),
            most: Self(Self::MAX).show(currency),
        })
    }

    /// The amount with all its decimals and the code: `12.50 EUR`.
    pub fn show(self, currency: &Currency) -> String {
        let sign = if self.0 < 0 { "-" } else { "" };
        let per_major = currency.per_major().unsigned_abs();
        let (major, minor) = (
            self.0.unsigned_abs() / per_major,
            self.0.unsigned_abs() % per_major,
        );
        let width = usize::from(currency.digits);
        if width == 0 {
            format!("{sign}{major} {currency}")
        } else {
            format!("{sign}{major}.{minor:0width$} {currency}")
        }
    }

    /// So many times the amount, or `None` beyond the range.
    pub fn times(self, count: u64) -> Option<Self> {
        let minor = i128::from(self.0) * i128::from(count);
        i64::try_from(minor).ok().and_then(Self::within)
    }

    /// The sum of the amounts, or `None` beyond the range.
    pub fn sum(amounts: impl IntoIterator<Item = Self>) -> Option<Self> {
        amounts.into_iter().try_fold(Self::ZERO, Self::checked_add)
    }
}

/// Parts an amount from a code of three letters before or after it; the code
/// is empty where there is none.
fn split_code(text: &str) -> (&str, &str) {
    let letters = |code: &str| code.len() == 3 && code.bytes().all(|c| c.is_ascii_alphabetic());
    if let Some((code, amount)) = text.split_at_checked(3)
        && letters(code)
    {
        return (amount.trim(), code);
    }
    let after = text.len().saturating_sub(3);
    match text.split_at_checked(after) {
        Some((amount, code)) if letters(code) => (amount.trim(), code),
        _ => (text, ""),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn currency(code: &str) -> Currency {
        match Currency::parse(code) {
            Ok(currency) => currency,
            Err(error) => panic!("{error}"),
        }
    }

    fn minor(text: &str, code: &str) -> Result<i64, MoneyError> {
        Money::parse(text, &currency(code)).map(Money::get)
    }

    #[test]
    fn amounts_are_read_as_people_type_them() {
        for (text, expected) in [
            ("12.50", 1_250),
            ("12,50", 1_250),
            ("12.5", 1_250),
            ("12", 1_200),
            ("12.50 EUR", 1_250),
            ("eur 12.50", 1_250),
            ("12.500", 1_250),
            ("-3.20", -320),
            ("0", 0),
        ] {
            assert_eq!(minor(text, "EUR"), Ok(expected), "{text}");
        }
        assert_eq!(minor("500", "JPY"), Ok(500));
        assert_eq!(minor("1.234", "KWD"), Ok(1_234));
    }

    #[test]
    fn what_is_no_amount_is_refused_with_what_to_type() {
        let message = |text| match Money::parse(text, &currency("EUR")) {
            Ok(money) => format!("read as {money:?}"),
            Err(error) => error.to_string(),
        };
        assert_eq!(
            message(" "),
            "No amount was typed. Type one such as 12.00 EUR."
        );
        assert_eq!(
            message("cheap"),
            "“cheap” can't be read as an amount of money. Type one such as 12.00 EUR."
        );
        assert_eq!(
            message("5 CHF"),
            "“5 CHF” is not in EUR, the venue's currency. Type one such as 12.00 EUR."
        );
        assert_eq!(
            message("12.505"),
            "“12.505” has more decimals than EUR has, which is 2. Type one such as 12.00 EUR."
        );
        assert_eq!(
            message("1,234"),
            "“1,234” has a comma or point that may part thousands or decimals. Type 1234 instead."
        );
        assert_eq!(
            message("1,234.50"),
            "“1,234.50” has a comma or point that may part thousands or decimals. \
             Type 1234.50 instead."
        );
        assert_eq!(
            message("10000000000.01"),
            "“10000000000.01” is more money than is kept here. Type at most 10000000000.00 EUR."
        );
        assert!(matches!(
            minor("0.5", "JPY"),
            Err(MoneyError::TooManyDecimals { .. })
        ));
        assert!(matches!(
            minor("12.000000000000000001", "EUR"),
            Err(MoneyError::TooManyDecimals { .. })
        ));
    }

    #[test]
    fn currencies_have_the_decimals_of_iso_4217() {
        for (code, digits) in [("EUR", 2), ("JPY", 0), ("KWD", 3)] {
            assert_eq!(
                Currency::parse(code).map(|currency| currency.digits()),
                Ok(digits)
            );
        }
        for refused in ["eur", "EURO", "E1R", "", "€"] {
            assert!(
                matches!(
                    Currency::parse(refused),
                    Err(CurrencyError::NotACode { .. })
                ),
                "{refused}"
            );
        }
        assert!(matches!(
            Currency::parse("CLF"),
            Err(CurrencyError::Digits { digits: 4, .. })
        ));
        let json = serde_json::to_string(&currency("EUR")).unwrap_or_default();
        assert_eq!(json, r#"{"code":"EUR","digits":2}"#);
        assert_eq!(serde_json::from_str(&json).ok(), Some(currency("EUR")));
    }

    #[test]
    fn sums_and_multiples_are_refused_beyond_the_range() {
        let most = Money(Money::MAX);
        assert_eq!(Money(250).times(4), Some(Money(1_000)));
        assert_eq!(most.times(2), None);
        assert_eq!(Money(-1).times(u64::MAX), None);
        assert_eq!(Money::sum([Money(1), Money(2), Money(-4)]), Some(Money(-1)));
        assert_eq!(Money::sum([]), Some(Money::ZERO));
        assert_eq!(Money::sum([most, Money(1)]), None);
    }

    #[test]
    fn the_sign_of_the_currency_is_read_and_no_other() {
        for (text, code) in [
            ("£32.50", "GBP"),
            ("32.50 £", "GBP"),
            ("€ 32,50", "EUR"),
            ("$32.50", "AUD"),
        ] {
            assert_eq!(minor(text, code), Ok(3250), "{text}");
        }
        assert_eq!(minor("-£1", "GBP"), Ok(-100));
        for (text, code) in [("€5", "GBP"), ("$5", "EUR"), ("£", "GBP"), ("£5", "CHF")] {
            minor(text, code).unwrap_err();
        }
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_as_the_same(money: Money, digits in 0_u8..=3) {
            let Ok(currency) = Currency::new("XTS", digits) else {
                return Err(TestCaseError::fail("a currency within its bounds"));
            };
            prop_assert_eq!(Money::parse(&money.show(&currency), &currency), Ok(money));
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,40}", number in "[-0-9.,]{0,40}[A-Z]{0,3}") {
            let eur = currency("EUR");
            let _ = Money::parse(&text, &eur);
            let _ = Money::parse(&number, &eur);
            let _ = Currency::parse(&text);
        }
    }
}
