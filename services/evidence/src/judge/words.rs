//! Values, limits and times in words.

use chrono::{DateTime, TimeDelta, Utc};
use domain::exact::{Exact, rounded};
use domain::precondition::Range;
use domain::quantity::Decimal;
use domain::unit::Unit;
use num_rational::Ratio;

use crate::refusal;
use crate::sample::{Kind, Sample};

/// Decimals that are told of a value that has many.
const DECIMALS: u8 = 2;
/// Decimals that are told at most, where fewer do not show why a limit is broken.
const MOST_DECIMALS: u8 = 9;

/// The value or state that a sample gives.
pub(super) fn value(sample: &Sample) -> String {
    value_to(sample, DECIMALS)
}

/// The same to so many decimals.
pub(super) fn value_to(sample: &Sample, decimals: u8) -> String {
    match &sample.kind {
        Kind::Number { value, unit, .. } => with_unit(shown(value, decimals), unit),
        Kind::State { is, .. } => is.clone(),
        _ => String::new(),
    }
}

/// A measured value and its unit; a fraction to two decimals.
pub fn number(value: &Exact, unit: &str) -> String {
    with_unit(shown(value, DECIMALS), unit)
}

fn shown(value: &Exact, decimals: u8) -> Decimal {
    let short = value.decimal().filter(|decimal| decimal.to_string().len() <= 12);
    short.unwrap_or_else(|| rounded(value.ratio(), decimals))
}

/// The unit `1` is that of a count, which has none.
fn with_unit(value: impl std::fmt::Display, unit: &str) -> String {
    if unit == "1" { value.to_string() } else { format!("{value} {unit}") }
}

/// How many decimals show that a value lies where it lies: told to fewer, it would seem to keep a limit that it breaks.
pub(super) fn decimals(range: &Range, sample: Option<&Sample>) -> u8 {
    let Some(Kind::Number { value, unit, .. }) = sample.map(|sample| &sample.kind) else {
        return DECIMALS;
    };
    let units = Unit::of_code(&range.unit).zip(Unit::of_code(unit));
    let limit = |limit: Option<Decimal>| {
        let (from, to) = units?;
        from.to(to, limit?.ratio())
    };
    let (least, most) = (limit(range.at_least), limit(range.at_most));
    let told = |limit: Ratio<i128>, decimals| {
        if range.unit == *unit { limit } else { rounded(limit, decimals).ratio() }
    };
    let tells = |decimals: &u8| {
        let seems = shown(value, *decimals).ratio();
        let is = value.ratio();
        least.is_none_or(|least| (is < least) == (seems < told(least, *decimals)))
            && most.is_none_or(|most| (is > most) == (seems > told(most, *decimals)))
    };
    (DECIMALS..MOST_DECIMALS).find(tells).unwrap_or(MOST_DECIMALS)
}

/// A range in the unit of a reading, with the limit's own unit in brackets when that is another:
/// `93.33 to 98.89 Cel (200 to 210 [degF])`.
pub(super) fn range(range: &Range, reading: Option<&str>, decimals: u8) -> String {
    let own = limits(range.at_least, range.at_most, &range.unit);
    let other = reading.filter(|unit| *unit != range.unit).and_then(|code| {
        let (from, to) = (Unit::of_code(&range.unit)?, Unit::of_code(code)?);
        let convert = |limit: Decimal| Some(rounded(from.to(to, limit.ratio())?, decimals));
        let least = range.at_least.and_then(convert);
        let most = range.at_most.and_then(convert);
        let whole = least.is_some() == range.at_least.is_some()
            && most.is_some() == range.at_most.is_some();
        whole.then(|| limits(least, most, code))
    });
    other.map_or(own.clone(), |other| format!("{other} ({own})"))
}

fn limits(least: Option<Decimal>, most: Option<Decimal>, unit: &str) -> String {
    match (least, most) {
        (Some(least), Some(most)) if least.ratio() == most.ratio() => with_unit(least, unit),
        (Some(least), Some(most)) => with_unit(format!("{least} to {most}"), unit),
        (Some(least), None) => with_unit(format!("at least {least}"), unit),
        (None, Some(most)) => with_unit(format!("at most {most}"), unit),
        (None, None) => format!("any value in {unit}"),
    }
}

/// A moment, to the second.
pub(super) fn time(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M:%S UTC").to_string()
}

/// Whole seconds, the begun one left out.
pub(super) fn seconds(span: TimeDelta) -> String {
    format!("{} s", span.num_seconds())
}

/// Whole seconds to wait, the begun one counted; `None` when none is left.
pub(super) fn wait(span: TimeDelta) -> Option<u32> {
    let begun = i64::from(span.subsec_nanos() > 0);
    u32::try_from(span.num_seconds() + begun).ok().filter(|seconds| *seconds > 0)
}

/// A negative response: `temperatureTooLow (7F 31 87) at 2026-01-02 10:00:00 UTC`.
pub(super) fn refused(service: u8, nrc: u8, at: DateTime<Utc>) -> String {
    format!("{} (7F {service:02X} {nrc:02X}) at {}", refusal::name(nrc), time(at))
}
