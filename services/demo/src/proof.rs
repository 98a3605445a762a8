//! What a technician sends to show that a condition holds.

use base64::Engine as _;
use chrono::{DateTime, TimeDelta, Utc};
use contract::evidence::{EvidenceItem, Protocol};
use contract::tasks::PreconditionView;
use domain::precondition::{Condition, Range};
use domain::quantity::Decimal;
use domain::signal::{Signal, Values};
use sha2::{Digest as _, Sha256};

/// The routine that the invented vehicles know.
pub const ROUTINE: &str = "0203";
/// A person read the status record of a routine and takes it for passed.
const STATUS_PASSED: &str = "routine_status_passed";

/// When and on which vehicle things are shown.
#[derive(Debug, Clone)]
pub struct Moment {
    /// Nothing counts from before this moment: the taking of the task, for a proof its start.
    pub from: DateTime<Utc>,
    /// Now, by the service's clock.
    pub now: DateTime<Utc>,
    /// The place that the task is for.
    pub place: Option<String>,
    /// Trouble codes that the vehicle has, as bytes of an OBD answer; `00` is none.
    pub codes: String,
}

/// What is shown for one condition.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Shown {
    /// Items of the technician who holds the task.
    pub own: Vec<EvidenceItem>,
    /// Statements that a second person makes.
    pub second: Vec<String>,
}

/// Items that show that all of these hold.
pub fn all_of(views: &[PreconditionView], moment: &Moment) -> Shown {
    let mut shown = Shown::default();
    // A list of codes speaks to every condition on codes, so it holds none where one of them wants none.
    let clean = views.iter().any(|view| {
        leaves(&view.condition).iter().any(|leaf| matches!(leaf, Condition::NoCode { .. }))
    });
    let codes = if clean { "00".to_owned() } else { moment.codes.clone() };
    let moment = Moment { codes, ..moment.clone() };
    for view in views {
        show(&view.condition, longest_hold(std::slice::from_ref(view)), &moment, &mut shown);
    }
    shown
}

/// Readings over the whole run of what must hold throughout it, none further apart than their signals allow.
pub fn through_the_run(views: &[PreconditionView], moment: &Moment) -> Vec<EvidenceItem> {
    let mut shown = Shown::default();
    let run = moment.now - moment.from;
    for view in views.iter().filter(|view| view.throughout) {
        show(view.while_running.as_ref().unwrap_or(&view.condition), run, moment, &mut shown);
    }
    shown.own.retain(|item| matches!(item, EvidenceItem::Reading { .. }));
    shown.own
}

/// The vehicle's number as the engine control module answers (SAE J1979 service 09).
pub fn identity(vin: &str, at: DateTime<Utc>) -> EvidenceItem {
    frame(Protocol::Obd, format!("490201{}", hex::encode(vin)), at)
}

/// A measured value.
pub fn reading(signal: &str, value: &str, unit: &str, at: DateTime<Utc>) -> EvidenceItem {
    EvidenceItem::Reading {
        signal: signal.to_owned(),
        value: value.parse().ok(),
        unit: Some(unit.to_owned()),
        is: None,
        place: None,
        taken_at: at,
        equipment: None,
    }
}

/// A person's word.
pub fn attestation(statement: &str, at: DateTime<Utc>) -> EvidenceItem {
    EvidenceItem::Attestation {
        statement: statement.to_owned(),
        holds: true,
        text: None,
        taken_at: at,
    }
}

/// How long readings must reach back before anything can be shown: the longest hold among these.
pub fn longest_hold(views: &[PreconditionView]) -> TimeDelta {
    TimeDelta::seconds(views.iter().filter_map(|view| view.hold_for).max().unwrap_or(0).into())
}

fn show(wanted: &Condition, hold: TimeDelta, moment: &Moment, shown: &mut Shown) {
    let now = moment.now;
    match wanted {
        Condition::Range(range) => {
            for at in moments(&range.signal, hold, moment) {
                shown.own.extend(places(&range.signal, moment).into_iter().map(|place| {
                    EvidenceItem::Reading {
                        signal: range.signal.clone(),
                        value: Some(inside(range)),
                        unit: Some(range.unit.clone()),
                        is: None,
                        place,
                        taken_at: at,
                        equipment: None,
                    }
                }));
            }
        }
        Condition::State { signal, is } => {
            let read = |at| state(signal, is, at);
            shown.own.extend(moments(signal, hold, moment).into_iter().map(read));
        }
        Condition::Attested { statement, second_person: true } => {
            shown.second.push(statement.clone());
        }
        Condition::Attested { statement, second_person: false } => {
            shown.own.push(attestation(statement, now));
        }
        Condition::NoCode { .. } | Condition::CodesRecorded { .. } => {
            shown.own.push(frame(Protocol::Obd, format!("43{}", moment.codes), now));
        }
        Condition::Elapsed { since, .. } => {
            // As early as it can have been: when the task was taken.
            shown.own.push(match state_of(since) {
                Some((signal, word)) => state(signal, word, moment.from),
                None => attestation(since, moment.from),
            });
        }
        Condition::Routine { identifier, passes } => {
            let routine = identifier.as_deref().unwrap_or(ROUTINE);
            let status = passes.as_deref().unwrap_or("00").replace("..", "00");
            shown.own.push(frame(Protocol::Uds, format!("7103{routine}{status}"), now));
            if passes.is_none() {
                shown.own.push(attestation(STATUS_PASSED, now));
            }
        }
        Condition::Attachment { shows } => shown.own.push(attachment(shows, now)),
        Condition::All(parts) => {
            for part in parts {
                show(part, hold, moment, shown);
            }
        }
        Condition::Any(parts) => {
            // The first that takes no waiting, as a technician would choose.
            let waits = |part: &&Condition| matches!(part, Condition::Elapsed { .. });
            let chosen = parts.iter().find(|part| !waits(part)).or(parts.first());
            if let Some(part) = chosen {
                show(part, hold, moment, shown);
            }
        }
    }
}

/// A file, as an instrument prints it.
fn attachment(shows: &str, at: DateTime<Utc>) -> EvidenceItem {
    let file = format!("{shows}\nprinted {at}\n");
    EvidenceItem::Attachment {
        shows: shows.to_owned(),
        media_type: "text/plain".to_owned(),
        sha256: hex::encode(Sha256::digest(&file)),
        data: base64::engine::general_purpose::STANDARD.encode(&file),
        taken_at: at,
    }
}

fn frame(protocol: Protocol, bytes: String, at: DateTime<Utc>) -> EvidenceItem {
    EvidenceItem::Frame { protocol, bytes, taken_at: at, equipment: None }
}

fn state(signal: &str, is: &str, at: DateTime<Utc>) -> EvidenceItem {
    EvidenceItem::Reading {
        signal: signal.to_owned(),
        value: None,
        unit: None,
        is: Some(is.to_owned()),
        place: None,
        taken_at: at,
        equipment: None,
    }
}

/// When readings are taken: now, and for a hold back over its time, closer together than the signal's gap.
fn moments(signal: &str, hold: TimeDelta, moment: &Moment) -> Vec<DateTime<Utc>> {
    let gap = Signal::of_name(signal).map_or(1, |signal| i64::from(signal.allowed_gap));
    let step = TimeDelta::milliseconds(gap * 600);
    let mut at = moment.now;
    let mut all = vec![at];
    while hold > TimeDelta::zero() && moment.now - at < hold && at - step > moment.from {
        at -= step;
        all.push(at);
    }
    all
}

/// Where a signal is read: at the task's place, at every place, or once.
fn places(signal: &str, moment: &Moment) -> Vec<Option<String>> {
    let known = Signal::of_name(signal).map_or(&[] as &[&str], Signal::places);
    let own = moment.place.as_deref().filter(|place| known.contains(place));
    match (own, known) {
        (Some(place), _) => vec![Some(place.to_owned())],
        (None, []) => vec![None],
        (None, places) => places.iter().map(|place| Some((*place).to_owned())).collect(),
    }
}

/// A value inside a range: its middle, or its one end.
fn inside(range: &Range) -> Decimal {
    match (range.at_least, range.at_most) {
        (Some(least), Some(most)) => {
            let middle = f64::midpoint(least.approximate(), most.approximate());
            format!("{middle:.3}").parse().unwrap_or(least)
        }
        (Some(end), None) | (None, Some(end)) => end,
        (None, None) => Decimal::whole(0),
    }
}

/// The signal and state that a name such as `engine_off` stands for.
fn state_of(name: &str) -> Option<(&'static str, &'static str)> {
    domain::signal::TABLE.iter().find_map(|signal| {
        let word = name.strip_prefix(signal.name)?.strip_prefix('_')?;
        match signal.values {
            Values::Words(words) => {
                words.iter().find(|one| **one == word).map(|one| (signal.name, *one))
            }
            Values::Number { .. } => None,
        }
    })
}

fn leaves(condition: &Condition) -> Vec<&Condition> {
    match condition {
        Condition::All(parts) | Condition::Any(parts) => parts.iter().flat_map(leaves).collect(),
        leaf => vec![leaf],
    }
}
