//! Values, limits and times in words.

use chrono::{DateTime, TimeDelta, Utc};
use domain::exact::rounded;
use domain::precondition::Range;
use domain::quantity::Decimal;
use domain::unit::Unit;

use crate::refusal;
use crate::sample::{Kind, Sample};

/// The value or state that a sample gives.
pub(super) fn value(sample: &Sample) -> String {
    match &sample.kind {
        Kind::Number { value, unit, .. } => {
            let short = value.decimal().filter(|decimal| decimal.to_string().len() <= 12);
            format!("{} {unit}", short.unwrap_or_else(|| rounded(value.ratio(), 2)))
        }
        Kind::State { is, .. } => is.clone(),
        _ => String::new(),
    }
}

/// A range in the unit of a reading, with the limit's own unit in brackets when that is another:
/// `93.33 to 98.89 Cel (200 to 210 [degF])`.
pub(super) fn range(range: &Range, reading: Option<&str>) -> String {
    let own = limits(range.at_least, range.at_most, &range.unit);
    let other = reading.filter(|unit| *unit != range.unit).and_then(|code| {
        let (from, to) = (Unit::of_code(&range.unit)?, Unit::of_code(code)?);
        let convert = |limit: Decimal| Some(rounded(from.to(to, limit.ratio())?, 2));
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
        (Some(least), Some(most)) if least.ratio() == most.ratio() => format!("{least} {unit}"),
        (Some(least), Some(most)) => format!("{least} to {most} {unit}"),
        (Some(least), None) => format!("at least {least} {unit}"),
        (None, Some(most)) => format!("at most {most} {unit}"),
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
