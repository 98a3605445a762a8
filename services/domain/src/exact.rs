//! Exact fractions: what a control module's scaling gives need not be a finite decimal (100/255 of a byte).

use std::fmt;
use std::str::FromStr;

use num_rational::Ratio;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::quantity::Decimal;

/// An exact fraction.
///
/// Written as a decimal when it is one (`12.9`), otherwise as a fraction in lowest terms (`1280/17`); in JSON a
/// string of that form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Exact(Ratio<i64>);

/// The text is not a fraction that can be kept exactly.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is neither a decimal number nor a fraction of whole numbers")]
pub struct NotExact(pub String);

impl Exact {
    /// `over` divided by `under`; `None` for a division by zero.
    pub fn new(over: i64, under: i64) -> Option<Self> {
        let fits = under != 0 && over != i64::MIN && under != i64::MIN;
        fits.then(|| Self(Ratio::new(over, under)))
    }

    /// A whole number.
    pub fn whole(value: i64) -> Self {
        Self(Ratio::from_integer(value))
    }

    /// The fraction, wide enough to convert between units.
    pub fn ratio(self) -> Ratio<i128> {
        Ratio::new_raw(i128::from(*self.0.numer()), i128::from(*self.0.denom()))
    }

    /// The decimal that it is, if it is one.
    pub fn decimal(self) -> Option<Decimal> {
        (0..=18_u8).find_map(|scale| {
            let scaled = self.ratio() * 10_i128.pow(u32::from(scale));
            let digits = i64::try_from(scaled.to_integer()).ok();
            digits.filter(|_| scaled.is_integer()).and_then(|digits| Decimal::new(digits, scale))
        })
    }

    /// The nearest double, for displays and charts only.
    pub fn approximate(self) -> f64 {
        self.decimal().unwrap_or_else(|| rounded(self.ratio(), 9)).approximate()
    }
}

impl From<Decimal> for Exact {
    fn from(value: Decimal) -> Self {
        let ratio = value.ratio();
        // A decimal has at most 18 digits and a power of ten of at most 18, so both parts fit.
        let part = |part: &i128| i64::try_from(*part).unwrap_or(i64::MAX);
        Self(Ratio::new(part(ratio.numer()), part(ratio.denom())))
    }
}

/// A fraction to the nearest decimal with at most this many places, without trailing zeros; halves away from zero.
///
/// For sentences and tables, never for comparisons. Where that needs more than 18 digits it has fewer places; what
/// is larger than any decimal is cut to the largest.
pub fn rounded(value: Ratio<i128>, places: u8) -> Decimal {
    let (whole, rest) = (value.to_integer(), approachable(value.fract()));
    let with = |scale: u8| {
        let unit = 10_i128.pow(u32::from(scale));
        let part = (rest * unit).round().to_integer();
        let digits = i64::try_from(whole.checked_mul(unit)?.checked_add(part)?).ok()?;
        let zeros = (0..scale).take_while(|zeros| digits % 10_i64.pow(u32::from(*zeros) + 1) == 0);
        let zeros = u8::try_from(zeros.count()).ok()?;
        Decimal::new(digits / 10_i64.pow(u32::from(zeros)), scale - zeros)
    };
    let largest = if whole < 0 { -999_999_999_999_999_999 } else { 999_999_999_999_999_999 };
    (0..=places.min(18)).rev().find_map(with).unwrap_or(Decimal::whole(largest))
}

/// The same fraction below one, with few enough digits that multiplying it cannot overflow.
fn approachable(rest: Ratio<i128>) -> Ratio<i128> {
    let (mut over, mut under) = (*rest.numer(), *rest.denom());
    while under > 1_000_000_000_000_000_000 {
        over /= 10;
        under /= 10;
    }
    Ratio::new(over, under)
}

impl fmt::Display for Exact {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.decimal() {
            Some(decimal) => decimal.fmt(out),
            None => write!(out, "{}/{}", self.0.numer(), self.0.denom()),
        }
    }
}

impl FromStr for Exact {
    type Err = NotExact;

    fn from_str(text: &str) -> Result<Self, NotExact> {
        let refuse = || NotExact(text.chars().take(60).collect());
        let Some((over, under)) = text.split_once('/') else {
            return text.parse::<Decimal>().map(Self::from).map_err(|_| refuse());
        };
        let part = |part: &str| part.parse::<i64>().map_err(|_| refuse());
        Self::new(part(over)?, part(under)?).ok_or_else(refuse)
    }
}

impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        out.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Exact {
    fn deserialize<D: Deserializer<'de>>(input: D) -> Result<Self, D::Error> {
        String::deserialize(input)?.parse().map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fraction_reads_back_as_the_same_number() {
        for (over, under, text) in
            [(129, 10, "12.9"), (128_000, 1_700, "1280/17"), (-80, 2, "-40"), (1, -8, "-0.125")]
        {
            let exact = Exact::new(over, under).expect("a fraction");
            assert_eq!(exact.to_string(), text);
            assert_eq!(text.parse(), Ok(exact));
            let json = serde_json::to_string(&exact).expect("writes");
            assert_eq!(serde_json::from_str::<Exact>(&json).expect("reads"), exact);
        }
        for bad in ["1/0", "", "/", "1/", "NaN", "1/2/3", "-9223372036854775808/1"] {
            assert!(bad.parse::<Exact>().is_err(), "{bad}");
        }
    }

    #[test]
    fn people_read_a_rounded_decimal() {
        let read = |over, under, places| rounded(Ratio::new(over, under), places).to_string();
        assert_eq!(read(280, 3, 2), "93.33");
        assert_eq!(read(890, 9, 2), "98.89");
        assert_eq!(read(-1, 3, 2), "-0.33");
        assert_eq!(read(13, 1, 2), "13");
        assert_eq!(read(1, 8, 2), "0.13");
        assert_eq!(read(-1, 8, 2), "-0.13");
        assert_eq!(read(120, 1, 2), "120");
        assert_eq!(read(99_999, 1_000, 2), "100");
        assert_eq!(read(123_456_789_012_345_678 * 9 + 1, 9, 2), "123456789012345678");
        assert_eq!(read(i128::MAX, 1, 2), "999999999999999999");
        assert_eq!(read(-i128::MAX, 1, 2), "-999999999999999999");
        assert_eq!(read(i128::MAX - 1, i128::MAX, 2), "1");
    }
}
