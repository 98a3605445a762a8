//! A short way to write samples, preconditions and moments.

use std::cell::Cell;

use chrono::{DateTime, Utc};
use domain::precondition::{Condition, Precondition, Range};
use domain::verdict::Finding;
use evidence::judge::{Phase, Window, judge};
use evidence::sample::{Code, CodeList, Kind, Mark, RoutineAnswer, Sample};
use uuid::Uuid;

thread_local! {
    static NEXT: Cell<u128> = const { Cell::new(1) };
}

/// So many seconds after the task was taken.
pub(crate) fn at(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_800_000_000 + seconds, 0).unwrap()
}

pub(crate) fn sample(seconds: i64, kind: Kind) -> Sample {
    let id = NEXT.with(|next| next.replace(next.get() + 1));
    let at = at(seconds);
    Sample {
        id: Uuid::from_u128(id),
        taken_at: at,
        received_at: at,
        kind,
        marks: std::collections::BTreeSet::new(),
    }
}

pub(crate) fn marked(mark: Mark, mut sample: Sample) -> Sample {
    sample.marks.insert(mark);
    sample
}

pub(crate) fn number(seconds: i64, signal: &str, value: &str, unit: &str) -> Sample {
    at_place(seconds, signal, None, value, unit)
}

pub(crate) fn at_place(
    seconds: i64,
    signal: &str,
    place: Option<&str>,
    value: &str,
    unit: &str,
) -> Sample {
    sample(
        seconds,
        Kind::Number {
            signal: signal.to_owned(),
            place: place.map(str::to_owned),
            value: value.parse().unwrap(),
            unit: unit.to_owned(),
        },
    )
}

pub(crate) fn coolant(seconds: i64, celsius: &str) -> Sample {
    number(seconds, "engine_coolant_temperature", celsius, "Cel")
}

pub(crate) fn state(seconds: i64, signal: &str, is: &str) -> Sample {
    sample(seconds, Kind::State { signal: signal.to_owned(), is: is.to_owned() })
}

pub(crate) fn word(seconds: i64, statement: &str, holds: bool, second_person: bool) -> Sample {
    sample(
        seconds,
        Kind::Attested {
            statement: statement.to_owned(),
            holds,
            by: "a person".to_owned(),
            second_person,
        },
    )
}

pub(crate) fn codes(seconds: i64, list: CodeList, codes: &[(&str, Option<u8>)]) -> Sample {
    let code =
        |(code, status): &(&str, Option<u8>)| Code { code: (*code).to_owned(), status: *status };
    sample(seconds, Kind::Codes { list, codes: codes.iter().map(code).collect() })
}

pub(crate) fn routine(seconds: i64, id: &str, sub: RoutineAnswer, status: &str) -> Sample {
    sample(seconds, Kind::Routine { identifier: id.to_owned(), sub, status: status.to_owned() })
}

pub(crate) fn refused(seconds: i64, service: u8, nrc: u8) -> Sample {
    sample(seconds, Kind::Refused { service, nrc })
}

pub(crate) fn precondition(condition: Condition) -> Precondition {
    Precondition {
        id: "it".to_owned(),
        text: "It must be so".to_owned(),
        condition,
        max_age: None,
        hold_for: 0,
        throughout: false,
        while_running: None,
        unverified_allowed: false,
        may_differ: None,
        waiver: None,
        source: "common_practice".to_owned(),
    }
}

pub(crate) fn range(
    signal: &str,
    least: Option<&str>,
    most: Option<&str>,
    unit: &str,
) -> Condition {
    let limit = |text: Option<&str>| text.map(|text| text.parse().unwrap());
    Condition::Range(Range {
        signal: signal.to_owned(),
        at_least: limit(least),
        at_most: limit(most),
        unit: unit.to_owned(),
    })
}

/// Coolant between 200 and 210 degrees Fahrenheit, the throttle relearn's window (common practice, no source).
pub(crate) fn warm() -> Condition {
    range("engine_coolant_temperature", Some("200"), Some("210"), "[degF]")
}

pub(crate) fn is(signal: &str, word: &str) -> Condition {
    Condition::State { signal: signal.to_owned(), is: word.to_owned() }
}

pub(crate) fn window(running_from: Option<i64>, now: i64) -> Window {
    Window {
        attempt_from: at(0),
        running_from: running_from.map(at),
        now: at(now),
        holder: None,
        place: None,
        routine: None,
    }
}

pub(crate) fn starting(precondition: Precondition, samples: &[Sample], now: i64) -> Finding {
    judge(&[precondition], samples, &window(None, now), Phase::Starting).remove(0)
}

/// Running since second 100.
pub(crate) fn running(precondition: Precondition, samples: &[Sample], now: i64) -> Option<Finding> {
    judge(&[precondition], samples, &window(Some(100), now), Phase::Running).pop()
}

/// Running since second 100.
pub(crate) fn finishing(proof: Precondition, samples: &[Sample], now: i64) -> Finding {
    judge(&[proof], samples, &window(Some(100), now), Phase::Finishing).remove(0)
}
