//! Exact decimals: limits are compared as fractions, never as binary floats.

use std::fmt;
use std::str::FromStr;

use num_rational::Ratio;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use utoipa::openapi::schema::{ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// An exact decimal number with at most 18 digits, as people and meters write it.
///
/// In JSON it is a number; a reader takes the shortest decimal that gives the same double, which is what the
/// sender wrote for up to 15 significant digits. A string such as `"12.90"` is taken as it stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Decimal {
    digits: i64,
    scale: u8,
}

/// The text or number is not a decimal that can be kept exactly.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a decimal number of at most 18 digits")]
pub struct NotADecimal(pub String);

impl Decimal {
    /// A whole number.
    pub const fn whole(value: i64) -> Self {
        Self { digits: value, scale: 0 }
    }

    /// `digits` divided by ten to the power of `scale`; `None` beyond 18 digits.
    pub fn new(digits: i64, scale: u8) -> Option<Self> {
        (scale <= 18 && digits.unsigned_abs() < 1_000_000_000_000_000_000)
            .then_some(Self { digits, scale })
    }

    /// The number as an exact fraction.
    pub fn ratio(self) -> Ratio<i128> {
        Ratio::new(i128::from(self.digits), 10_i128.pow(u32::from(self.scale)))
    }

    /// The nearest double, for displays and charts only.
    #[expect(
        clippy::cast_precision_loss,
        reason = "for displays only; comparisons use the fraction"
    )]
    pub fn approximate(self) -> f64 {
        self.to_string().parse().unwrap_or(self.digits as f64)
    }

    /// The shortest decimal that gives this double; `None` for NaN, infinities and what needs more than 18 digits.
    pub fn shortest(value: f64) -> Option<Self> {
        value.is_finite().then(|| format!("{value}")).and_then(|text| text.parse().ok())
    }
}

impl FromStr for Decimal {
    type Err = NotADecimal;

    fn from_str(text: &str) -> Result<Self, NotADecimal> {
        let refuse = || NotADecimal(text.chars().take(40).collect());
        let (sign, body) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text.strip_prefix('+').unwrap_or(text)),
        };
        let (whole, part) = body.split_once('.').unwrap_or((body, ""));
        let all = format!("{whole}{part}");
        if all.is_empty() || whole.is_empty() || !all.bytes().all(|b| b.is_ascii_digit()) {
            return Err(refuse());
        }
        let digits: i64 = all.parse().map_err(|_| refuse())?;
        let scale = u8::try_from(part.len()).map_err(|_| refuse())?;
        Self::new(sign * digits, scale).ok_or_else(refuse)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.scale == 0 {
            return write!(out, "{}", self.digits);
        }
        let sign = if self.digits < 0 { "-" } else { "" };
        let width = usize::from(self.scale) + 1;
        let text = format!("{:0>width$}", self.digits.unsigned_abs());
        let (whole, part) = text.split_at(text.len() - usize::from(self.scale));
        write!(out, "{sign}{whole}.{part}")
    }
}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.ratio().cmp(&other.ratio()))
    }
}

impl Serialize for Decimal {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        if self.scale == 0 {
            out.serialize_i64(self.digits)
        } else {
            out.serialize_f64(self.approximate())
        }
    }
}

impl<'de> Deserialize<'de> for Decimal {
    fn deserialize<D: Deserializer<'de>>(input: D) -> Result<Self, D::Error> {
        struct Reader;
        impl de::Visitor<'_> for Reader {
            type Value = Decimal;

            fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                out.write_str("a decimal number")
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Decimal, E> {
                Decimal::new(value, 0).ok_or_else(|| E::custom(NotADecimal(value.to_string())))
            }

            fn visit_u64<E: de::Error>(self, value: u64) -> Result<Decimal, E> {
                i64::try_from(value)
                    .ok()
                    .and_then(|value| Decimal::new(value, 0))
                    .ok_or_else(|| E::custom(NotADecimal(value.to_string())))
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Decimal, E> {
                Decimal::shortest(value).ok_or_else(|| E::custom(NotADecimal(value.to_string())))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Decimal, E> {
                text.parse().map_err(E::custom)
            }
        }
        input.deserialize_any(Reader)
    }
}

impl PartialSchema for Decimal {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new().schema_type(SchemaType::Type(Type::Number)).into()
    }
}

impl ToSchema for Decimal {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_kept_as_it_was_written() {
        for text in ["0", "-40", "12.9", "93.33", "0.001", "-0.5", "12.90"] {
            assert_eq!(text.parse::<Decimal>().expect("reads").to_string(), text);
        }
        assert_eq!(Decimal::shortest(12.9).map(|d| d.to_string()).as_deref(), Some("12.9"));
        assert_eq!(
            serde_json::from_str::<Decimal>("12.9").expect("reads"),
            "12.9".parse().expect("reads")
        );
    }

    #[test]
    fn what_is_not_a_decimal_is_refused() {
        for text in ["", ".", ".5", "1e5", "NaN", "1.2.3", "--1", "1234567890123456789"] {
            assert!(text.parse::<Decimal>().is_err(), "{text}");
        }
        assert!(
            Decimal::shortest(f64::NAN).is_none() && Decimal::shortest(f64::INFINITY).is_none()
        );
    }

    #[test]
    fn order_is_by_value_not_by_spelling() {
        let read = |text: &str| text.parse::<Decimal>().expect("reads");
        assert!(read("12.90") >= read("12.9") && read("12.90") <= read("12.9"));
        assert!(read("-40") < read("-39.9"));
    }
}
