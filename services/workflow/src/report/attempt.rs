//! An attempt at a task: who worked on it with what, what was shown, and what happened.

use std::collections::{BTreeMap, BTreeSet};

use contract::resources::Certificate;
use domain::verdict::Finding;
use evidence::sample::{Kind, Mark};
use paper::report::task::{Attempt, Event, Evidence, Precondition};
use store::attempts::EvidenceRow;
use store::journal::EntryRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use super::Sources;
use super::shown::{evidence, instrument, samples};
use crate::skills::Counted;

/// The units, the target set and the routine that an attempt was made with.
fn worked_with(attempt: &store::attempts::AttemptRow, sources: &Sources) -> Vec<String> {
    let units = attempt.equipment.as_array().into_iter().flatten();
    units
        .filter_map(crate::start::uuid_of)
        .map(|id| instrument(id, attempt.taken_at, sources))
        .chain(attempt.detail["target_set"].as_str().map(|set| format!("target set {set}")))
        .chain(attempt.detail["routine"].as_str().map(|id| format!("routine {id}")))
        .collect()
}

/// An attempt as the report tells it.
pub(super) fn attempt(
    row: &TaskRow,
    attempt: &store::attempts::AttemptRow,
    sources: &Sources,
) -> Attempt {
    let name = |id: Uuid| sources.names.get(&id).cloned().unwrap_or_else(|| id.to_string());
    let items: Vec<&EvidenceRow> = sources
        .evidence
        .iter()
        .filter(|e| e.task == row.id && e.attempt == attempt.number)
        .collect();
    let shown = |ids: &[Uuid]| -> Vec<Evidence> {
        items.iter().filter(|e| ids.contains(&e.id)).map(|e| evidence(e, sources)).collect()
    };
    let findings = |member: &str| -> Vec<Finding> {
        serde_json::from_value(attempt.detail[member].clone()).unwrap_or_default()
    };
    let proof = findings("proof");
    let judged = [findings("start"), findings("while_running"), proof.clone()].concat();
    let rests: BTreeSet<Uuid> = judged.iter().flat_map(|f| f.evidence.iter().copied()).collect();
    let identity = items.iter().find_map(|e| {
        samples(e).into_iter().find_map(|s| match s.kind {
            Kind::Vin { vin } => Some(format!("VIN read from the vehicle: {vin}")),
            Kind::TypedIdentity { last_six } => Some(format!("typed beside a photo: {last_six}")),
            _ => None,
        })
    });
    let told_of = |e: &&EntryRow| {
        e.subject == row.id.to_string()
            && e.data["attempt"] == attempt.number
            && match e.kind.as_str() {
                "precondition.broken" | "evidence.late" => true,
                "evidence.received" => e.data["clock_off_seconds"].is_i64(),
                "task.started" | "task.passed" => e.data["late_seconds"].is_i64(),
                _ => false,
            }
    };
    let span = |e: &&EntryRow| {
        e.subject == row.id.to_string()
            && e.at >= attempt.taken_at
            && attempt.ended_at.is_none_or(|end| e.at <= end)
            && matches!(
                e.kind.as_str(),
                "task.held"
                    | "task.decided"
                    | "handover.offered"
                    | "handover.accepted"
                    | "task.failed"
                    | "lease.returned"
            )
    };
    Attempt {
        number: u32::try_from(attempt.number).unwrap_or_default(),
        people: people(attempt, &items, sources),
        bay: attempt.bay.map(|bay| where_it_was(name(bay), attempt)),
        equipment: worked_with(attempt, sources),
        identity,
        taken_at: attempt.taken_at,
        started_at: attempt.started_at,
        ended_at: attempt.ended_at,
        outcome: attempt.outcome.clone().unwrap_or_else(|| "going on".to_owned()),
        preconditions: findings("start")
            .iter()
            .chain(&findings("while_running"))
            .map(|finding| Precondition {
                text: finding.text.clone(),
                verdict: if finding.waived {
                    "waived".to_owned()
                } else {
                    serde_json::json!(finding.verdict).as_str().unwrap_or_default().to_owned()
                },
                detail: finding
                    .contradiction
                    .clone()
                    .or_else(|| Some(finding.detail.clone()))
                    .filter(|d| !d.is_empty()),
                evidence: marked(shown(&finding.evidence), finding.by_alternative),
            })
            .collect(),
        // What proves the result, then the files and the answers that nothing rests on.
        results: proof
            .iter()
            .flat_map(|finding| marked(shown(&finding.evidence), finding.by_alternative))
            .chain(shown(&unused(&items, &rests)))
            .collect(),
        events: sources
            .entries
            .iter()
            .filter(|entry| span(entry) || told_of(entry))
            .map(|entry| Event { at: entry.at, by: entry.by.clone(), text: told(entry, name) })
            .chain(set_aside(&items, sources))
            .collect(),
    }
}

/// Files and diagnostic answers on which no verdict rests; the same answer once.
fn unused(items: &[&EvidenceRow], rests: &BTreeSet<Uuid>) -> Vec<Uuid> {
    let mut answers = BTreeSet::new();
    let others = items.iter().filter(|item| !rests.contains(&item.id));
    let told = others.filter(|item| match item.kind.as_str() {
        "attachment" => true,
        "frame" => answers.insert((item.given["bytes"].to_string(), &item.marks)),
        _ => false,
    });
    told.map(|item| item.id).collect()
}

/// The holder, those who worked with them, and the second person who gave their word.
fn people(
    attempt: &store::attempts::AttemptRow,
    items: &[&EvidenceRow],
    sources: &Sources,
) -> Vec<String> {
    let certified: Vec<Counted> =
        serde_json::from_value(attempt.detail["certified"].clone()).unwrap_or_default();
    let name = |id: Uuid| {
        let name = sources.names.get(&id).cloned().unwrap_or_else(|| id.to_string());
        certified
            .iter()
            .filter(|one| one.person == id)
            .fold(name, |name, one| format!("{name}; {}", certificate(&one.certificate)))
    };
    let named = attempt.detail["people"].as_array().into_iter().flatten();
    let with = named.filter_map(crate::start::uuid_of).map(|id| format!("{} (with)", name(id)));
    let mut all: Vec<String> = std::iter::once(name(attempt.technician)).chain(with).collect();
    for sample in items.iter().flat_map(|item| samples(item)) {
        if let Kind::Attested { statement, holds: true, second_person: true, by } = sample.kind
            && statement == domain::start::SECOND_PERSON
        {
            let who = by.parse().map_or(by, name);
            all.push(format!("{who} (second person)"));
        }
    }
    all.dedup();
    all
}

/// A certificate in words.
fn certificate(one: &Certificate) -> String {
    let by = one.issued_by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
    let until = one.valid_until.map(|until| format!(", valid until {}", until.format("%F")));
    format!("certified for {}: {}{by}{}", one.skill, one.document, until.unwrap_or_default())
}

/// The bay with what was measured of it and counted.
fn where_it_was(bay: String, attempt: &store::attempts::AttemptRow) -> String {
    let measured: Vec<contract::resources::BayMeasurement> =
        serde_json::from_value(attempt.detail["bay_measured"].clone()).unwrap_or_default();
    measured.iter().fold(bay, |bay, one| {
        let (signal, on) = (one.signal.replace('_', " "), one.measured_at.format("%F"));
        let until = one.valid_until.format("%F");
        format!(
            "{bay}; {signal} {} {}, measured on {on} with {}, valid until {until}",
            one.value, one.unit, one.instrument
        )
    })
}

/// Evidence of an alternative that the catalogue names is marked as such.
fn marked(mut shown: Vec<Evidence>, by_alternative: bool) -> Vec<Evidence> {
    for item in shown.iter_mut().filter(|_| by_alternative) {
        item.marks.push("alternative".to_owned());
    }
    shown
}

/// Values of one instrument that are told one by one.
const MOST_TOLD: usize = 5;

/// What was sent and proves nothing, by signal, instrument and reason.
fn set_aside(items: &[&EvidenceRow], sources: &Sources) -> Vec<Event> {
    let mut by_reason: BTreeMap<(String, String, &str), (&EvidenceRow, Vec<String>)> =
        BTreeMap::new();
    for item in items {
        let marks = item.marks.iter().filter_map(|mark| Mark::of_word(mark));
        let mut reasons: Vec<&str> = marks.filter_map(Mark::objection).collect();
        reasons.extend(sources.foreign.contains(&item.id).then_some(ELSEWHERE));
        let shown = (!reasons.is_empty()).then(|| evidence(item, sources));
        for (why, shown) in reasons.iter().zip(shown.iter().cycle()) {
            let unit = shown.given.unit.as_deref().unwrap_or_default();
            let value = format!("{} {unit}", shown.given.value).trim().to_owned();
            let kept = by_reason
                .entry((shown.what.clone(), shown.source.clone(), why))
                .or_insert_with(|| (item, Vec::new()));
            kept.1.push(value);
        }
    }
    let told = by_reason.into_iter().map(|((what, source, why), (first, values))| {
        let some = values[..values.len().min(MOST_TOLD)].join(", ");
        let more = values.len().saturating_sub(MOST_TOLD);
        let more = if more == 0 { String::new() } else { format!(" and {more} more") };
        Event {
            at: first.received_at,
            by: first.observed_by.clone(),
            text: format!("`{what}` {some}{more} from {source} does not count: {why}"),
        }
    });
    told.collect()
}

/// Why what another vehicle gave is set aside.
const ELSEWHERE: &str = "another vehicle was shown when it was taken";

fn told(entry: &EntryRow, name: impl Fn(Uuid) -> String) -> String {
    let text = |member: &str| entry.data[member].as_str().unwrap_or_default().to_owned();
    let late = |what: &str, member: &str| {
        let seconds = entry.data["late_seconds"].as_i64().unwrap_or_default();
        format!("{what} at {} by the client's word, reported {seconds} s later", text(member))
    };
    match entry.kind.as_str() {
        "task.started" => late("started", "started_at"),
        "task.passed" => late("ended", "ended_at"),
        "precondition.broken" => format!("did not hold throughout: {}", text("detail")),
        "evidence.late" => {
            let count = entry.data["items"].as_array().map_or(0, Vec::len);
            format!(
                "{count} item(s) of evidence arrived after the lease had ended; they prove nothing"
            )
        }
        "evidence.received" => {
            let off = entry.data["clock_off_seconds"].as_i64().unwrap_or_default();
            let side = if off > 0 { "ahead" } else { "behind" };
            format!("the client's clock was {} s {side}", off.abs())
        }
        "task.held" => format!(
            "broke off: {}",
            entry.data["detail"]["vehicle_condition"].as_str().unwrap_or("the lease ended")
        ),
        "task.decided" => format!("decided: {} ({})", text("decision"), text("reason")),
        "handover.offered" => {
            let to = entry.data["to"].as_str().and_then(|id| id.parse().ok());
            let to = to.map_or_else(|| "another technician".to_owned(), name);
            format!("offered to {to}: {}", text("note"))
        }
        "handover.accepted" => "taken over by another technician".to_owned(),
        "task.failed" if entry.data["late_seconds"].is_i64() => {
            format!("{}: {}", late("failed", "ended_at"), text("note"))
        }
        "task.failed" => format!("failed: {}", text("note")),
        other => format!("{other} {}", text("note")),
    }
}
