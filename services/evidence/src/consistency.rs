//! What several items say against each other, whatever any precondition asks: shown, not resolved.

use chrono::{DateTime, TimeDelta, Utc};
use domain::exact::rounded;
use domain::unit::Unit;
use num_rational::Ratio;
use uuid::Uuid;

use crate::sample::{Kind, Mark, Sample};

/// Items that do not go together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inconsistency {
    /// Stable word for programs: `odometer_decreased`, `codes_cleared_unrecorded`.
    pub code: &'static str,
    /// What does not go together, in words.
    pub detail: String,
    /// The items, the earlier first.
    pub evidence: [Uuid; 2],
}

/// Everything in these samples that does not go together. They may be of several attempts and tasks of a vehicle.
pub fn check(samples: &[Sample]) -> Vec<Inconsistency> {
    let spoiled = |mark: &Mark| {
        !matches!(mark, Mark::BeforeAttempt | Mark::Late) && mark.objection().is_some()
    };
    let mut sorted: Vec<&Sample> =
        samples.iter().filter(|sample| !sample.marks.iter().any(spoiled)).collect();
    sorted.sort_by_key(|sample| (sample.taken_at, sample.received_at, sample.id));
    let mut found = odometer(&sorted);
    found.extend(cleared(&sorted));
    found
}

/// A vehicle does not drive backwards through its odometer.
fn odometer(sorted: &[&Sample]) -> Vec<Inconsistency> {
    let read: Vec<(&Sample, Ratio<i128>)> = values(sorted, "odometer").collect();
    let decreased = read.windows(2).filter(|pair| pair[1].1 < pair[0].1);
    decreased
        .map(|pair| Inconsistency {
            code: "odometer_decreased",
            detail: format!(
                "the odometer read {} km and later {} km",
                rounded(pair[0].1 / 1_000, 1),
                rounded(pair[1].1 / 1_000, 1)
            ),
            evidence: [pair[0].0.id, pair[1].0.id],
        })
        .collect()
}

/// A module counts the minutes since codes were cleared (SAE J1979 parameter 4E; from memory: engine running, so the
/// counter never exceeds the time that has passed): a smaller count than before means that codes were cleared in
/// between. If nobody recorded that, what was on record before may have been wiped.
fn cleared(sorted: &[&Sample]) -> Vec<Inconsistency> {
    let read: Vec<(&Sample, Ratio<i128>)> = values(sorted, "time_since_codes_cleared").collect();
    let recorded = |from: DateTime<Utc>, to: DateTime<Utc>| {
        let clearing = |sample: &&&Sample| matches!(sample.kind, Kind::CodesCleared);
        sorted.iter().filter(clearing).any(|s| s.taken_at >= from && s.taken_at <= to)
    };
    let reset = read.windows(2).filter(|pair| pair[1].1 < pair[0].1);
    reset
        .filter(|pair| !recorded(pair[0].0.taken_at, pair[1].0.taken_at + TimeDelta::seconds(1)))
        .map(|pair| Inconsistency {
            code: "codes_cleared_unrecorded",
            detail: format!(
                "{} and later {} minutes had passed since codes were cleared, and no clearing is on record between",
                rounded(pair[0].1 / 60, 0),
                rounded(pair[1].1 / 60, 0)
            ),
            evidence: [pair[0].0.id, pair[1].0.id],
        })
        .collect()
}

/// Values of a signal in the base unit of its dimension.
fn values<'a>(
    sorted: &[&'a Sample],
    name: &str,
) -> impl Iterator<Item = (&'a Sample, Ratio<i128>)> {
    sorted.iter().filter_map(move |sample| match &sample.kind {
        Kind::Number { signal, value, unit, .. } if signal == name => {
            Some((*sample, Unit::of_code(unit)?.to_base(value.ratio())))
        }
        _ => None,
    })
}
