//! The completion report of an order: what was required, why, what was shown, who did it and when.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use contract::resources::Certificate;
use contract::tasks::Because;
use domain::lifecycle::TaskState;
use domain::vehicle::FactValue;
use domain::verdict::Finding;
use evidence::sample::{Kind, Mark, Sample};
use paper::report::task::{Attempt, Caution, Event, Evidence, Limit, Precondition, Reason, Task};
use paper::report::{
    Catalogue, DEFERENCE, Fact, Line, Order, Release, Report, Shop, Value, Vehicle, Waiver, html,
};
use serde_json::Value as Json;
use store::attempts::EvidenceRow;
use store::journal::EntryRow;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::caller::Caller;
use crate::case::Case;
use crate::flow::Flow;
use crate::refusal::Refusal;
use crate::skills::Counted;
use crate::{limits, verdicts};

/// The report as JSON.
pub async fn json(flow: &Flow, caller: &Caller, order: Uuid) -> Result<Vec<u8>, Refusal> {
    Ok(paper::report::json(&report(flow, caller, order).await?))
}

/// The report as a page (HTML).
pub async fn page(flow: &Flow, caller: &Caller, order: Uuid) -> Result<String, Refusal> {
    Ok(html::page(&report(flow, caller, order).await?, None))
}

/// What a report is drawn from, besides the case.
struct Sources {
    evidence: Vec<EvidenceRow>,
    entries: Vec<EntryRow>,
    names: BTreeMap<Uuid, String>,
    calibrated: BTreeMap<Uuid, DateTime<Utc>>,
    redacted: BTreeMap<Uuid, Vec<u8>>,
    waivers: Vec<store::waivers::WaiverRow>,
    departures: Vec<store::departures::DepartureRow>,
}

async fn report(flow: &Flow, caller: &Caller, order: Uuid) -> Result<Report, Refusal> {
    flow.read(caller, async |step| {
        let case = step.see_case(order).await?;
        let id = step.shop();
        let shop =
            store::shops::find(step.conn(), id).await?.ok_or_else(|| Refusal::not_found("shop"))?;
        let tasks: Vec<Uuid> = case.tasks.iter().map(|t| t.id).collect();
        let mut names: BTreeMap<Uuid, String> = BTreeMap::new();
        names.extend(
            // Whoever left since is named too.
            store::technicians::list(step.conn(), id).await?.into_iter().map(|p| (p.id, p.name)),
        );
        let units = store::equipment::list(step.conn(), id).await?;
        let calibrated = units.iter().filter_map(|u| Some((u.id, u.calibrated_until?))).collect();
        names.extend(units.into_iter().map(|u| (u.id, u.name)));
        names.extend(store::bays::list(step.conn(), id).await?.into_iter().map(|b| (b.id, b.name)));
        let mut entries = store::journal::of_order(step.conn(), id, order).await?;
        if let Some(from) = case.order.split_from {
            // What its tasks went through before they went over.
            let earlier = store::journal::of_order(step.conn(), id, from).await?;
            let own = |entry: &EntryRow| tasks.iter().any(|task| entry.subject == task.to_string());
            entries.splice(0..0, earlier.into_iter().filter(own));
        }
        let sources = Sources {
            evidence: store::attempts::evidence(step.conn(), id, &tasks).await?,
            entries,
            names,
            waivers: store::waivers::history(step.conn(), id, &tasks).await?,
            departures: store::departures::of_vehicle(step.conn(), id, case.vehicle.id).await?,
            calibrated,
            redacted: store::attachments::redacted(step.conn(), id, &tasks)
                .await?
                .into_iter()
                .collect(),
        };
        let catalogue = step.catalogue_of(flow, &case).await?;
        let notice = Some(catalogue.catalogue().notice.clone());
        Ok(draw(&case, shop, notice, &sources))
    })
    .await
}

fn draw(
    case: &Case,
    shop: store::shops::ShopRow,
    notice: Option<String>,
    sources: &Sources,
) -> Report {
    let order = &case.order;
    let facts = &order.facts;
    let known = |text: &Option<String>| text.clone().unwrap_or_default();
    let year = facts.model_year.map(|y| y.to_string()).unwrap_or_default();
    let odometer =
        |km: Option<i32>| km.map(|km| Value { value: km.to_string(), unit: Some("km".to_owned()) });
    let release = order.release.as_ref();
    let said = |member: &str| release.and_then(|r| r[member].as_str()).map(str::to_owned);
    let declined = case
        .lines
        .iter()
        .filter(|l| l.authorisation == domain::order::Authorisation::Declined && !l.state.was_begun())
        .map(|l| format!("line {} was declined by the customer; what it would have made necessary was not done", l.line));
    let sublet = case.lines.iter().filter_map(|l| {
        let (sublet, document) = (l.sublet.as_ref()?, l.document.as_ref()?);
        Some(format!(
            "line {} was done by {}; their document `{}` (SHA-256 {}) and the work were looked at by {}",
            l.line,
            sublet.provider,
            document.name,
            crate::record::hex(&document.sha256),
            document.attested_by
        ))
    });
    let learning = case
        .live()
        .filter(|t| !t.state.is_over() && order.released_at.is_some())
        .map(|t| format!("`{}` was open when the vehicle left", t.definition.title));
    Report {
        v: 1,
        made_at: case.now,
        deference: DEFERENCE.to_owned(),
        shop: Shop { name: shop.name, address: None, time_zone: shop.time_zone },
        order: Order {
            id: order.id.to_string(),
            number: order.number.clone(),
            state: order.state.word().to_owned(),
            taken_at: order.created_at,
            promised_at: order.promised_at,
            follows: order.follows.map(|id| id.to_string()),
            complaints: order.complaints.clone(),
            trouble_codes: order.trouble_codes.clone(),
        },
        vehicle: Vehicle {
            vin: case.vehicle.vin.clone(),
            plate: case.vehicle.plate.clone(),
            description: format!("{} {} {year}", known(&facts.make), known(&facts.model))
                .trim()
                .to_owned(),
            facts: facts.features.iter().map(|(name, value)| fact(name, value)).collect(),
            odometer_in: odometer(order.odometer_in),
            odometer_out: odometer(order.odometer_out),
        },
        release: Release {
            kind: said("kind"),
            at: order.released_at,
            by: said("by"),
            remarks: said("reason")
                .into_iter()
                .chain(declined)
                .chain(sublet)
                .chain(learning)
                .chain(sources.departures.iter().filter(|d| d.order_id == order.id).map(departure))
                .collect(),
        },
        findings: serde_json::from_value::<Vec<contract::orders::FindingView>>(
            order.findings.clone(),
        )
        .unwrap_or_default()
        .into_iter()
        .map(|f| paper::report::Finding { code: f.code, detail: f.detail })
        .chain(inconsistent(&sources.evidence))
        .collect(),
        lines: case.lines.iter().map(line).collect(),
        tasks: case.tasks.iter().map(|row| task(case, row, sources)).collect(),
        waivers: sources
            .waivers
            .iter()
            .map(|w| Waiver {
                scope: case
                    .tasks
                    .iter()
                    .find(|t| t.id == w.task)
                    .map_or(String::new(), |t| scope(t, w.precondition.as_deref())),
                reason: w.reason.clone(),
                by: w.given_by.clone(),
                at: w.given_at,
                approved_by: w.approved_by.clone(),
                customer_told: w.customer_told.clone(),
                restriction: w.restriction.clone(),
                expires_at: w.expires_at,
                revoked_at: w.revoked_at,
            })
            .collect(),
        refusals: Vec::new(),
        addenda: Vec::new(),
        catalogue: Catalogue { version: order.catalogue_version.clone(), basis: notice },
    }
}

/// What the evidence of all attempts says against itself.
fn inconsistent(evidence: &[EvidenceRow]) -> Vec<paper::report::Finding> {
    let all: Vec<Sample> = evidence.iter().flat_map(samples).collect();
    let found = evidence::consistency::check(&all).into_iter();
    found.map(|f| paper::report::Finding { code: f.code.to_owned(), detail: f.detail }).collect()
}

/// A departure in words.
fn departure(row: &store::departures::DepartureRow) -> String {
    let km = |km: Option<i32>| km.map(|km| format!(" at {km} km")).unwrap_or_default();
    let with = row.provider.as_ref().map(|who| format!(", {who}")).unwrap_or_default();
    let back = match row.returned_at {
        Some(at) => format!("back {}{}", at.format("%F %T UTC"), km(row.odometer_in)),
        None => "not back".to_owned(),
    };
    let kind = row.kind.replace('_', " ");
    let left = row.left_at.format("%F %T UTC");
    format!("{kind}{with}: {}; left {left}{}, {back}", row.reason, km(row.odometer_out))
}

/// What a waiver leaves out: a task with its place, or a precondition of one.
fn scope(task: &TaskRow, precondition: Option<&str>) -> String {
    let title = titled(task);
    let words = precondition
        .and_then(|id| task.definition.preconditions.iter().find(|one| one.id == id))
        .map(|one| one.text.as_str());
    words.map_or(title.clone(), |words| format!("{title}: {words}"))
}

fn titled(task: &TaskRow) -> String {
    if task.place.is_empty() {
        task.definition.title.clone()
    } else {
        format!("{} ({})", task.definition.title, task.place.replace('_', " "))
    }
}

fn limit(task: &TaskRow, row: &store::limits::LimitRow, sources: &Sources) -> Limit {
    let reader = row.read_by.parse().ok().and_then(|id: Uuid| sources.names.get(&id).cloned());
    let named = |subject: &String| {
        let id: Option<Uuid> = subject.parse().ok();
        id.and_then(|id| sources.names.get(&id)).unwrap_or(subject).clone()
    };
    Limit {
        precondition: row.precondition.clone(),
        text: limits::words(task, row),
        read_by: reader.unwrap_or_else(|| row.read_by.clone()),
        at: row.given_at,
        approved_by: row.approved_by.as_ref().map(named),
        in_force: row.is_in_force(),
    }
}

fn fact(name: &str, value: &FactValue) -> Fact {
    let value = match value {
        FactValue::Flag(true) => "yes".to_owned(),
        FactValue::Flag(false) => "no".to_owned(),
        FactValue::Word(word) => word.clone(),
        FactValue::Unknown => "unknown".to_owned(),
    };
    Fact { name: name.to_owned(), value }
}

fn line(row: &store::lines::LineRow) -> Line {
    let word = |value: Json| value.as_str().unwrap_or_default().to_owned();
    Line {
        line: u32::try_from(row.line).unwrap_or_default(),
        text: row.text.clone(),
        reading: word(serde_json::json!(row.reading.reading)),
        operations: row
            .reading
            .operations
            .iter()
            .map(|o| format!("{} {}", o.action, o.component).replace('_', " "))
            .collect(),
        state: row.state.word().to_owned(),
        authorisation: Some(word(serde_json::json!(row.authorisation))),
    }
}

fn task(case: &Case, row: &TaskRow, sources: &Sources) -> Task {
    let word = |value: Json| value.as_str().unwrap_or_default().to_owned();
    let because: Vec<Because> = serde_json::from_value(row.because.clone()).unwrap_or_default();
    let of_task = |entry: &&EntryRow| entry.subject == row.id.to_string();
    let disturbed = sources.entries.iter().filter(of_task).find(|e| e.kind == "task.disturbed");
    Task {
        id: row.id.to_string(),
        procedure: row.definition.id.clone(),
        title: titled(row),
        kind: word(serde_json::json!(row.definition.kind)),
        phase: word(serde_json::json!(row.definition.phase)),
        state: row.state.word().to_owned(),
        because: because.iter().map(reason).collect(),
        cautions: row
            .definition
            .cautions
            .iter()
            .map(|caution| {
                let by =
                    case.acknowledged.iter().rfind(|a| a.task == row.id && a.caution == caution.id);
                Caution {
                    text: caution.text.clone(),
                    acknowledged_by: by.map(|a| {
                        let id = a.by_person.parse().ok();
                        let name = id.and_then(|id: Uuid| sources.names.get(&id));
                        name.unwrap_or(&a.by_person).clone()
                    }),
                    acknowledged_at: by.map(|a| a.at),
                }
            })
            .collect(),
        preconditions: if row.attempt == 0 && !row.state.is_over() {
            row.definition
                .preconditions
                .iter()
                .map(|p| Precondition {
                    text: p.text.clone(),
                    verdict: "missing".to_owned(),
                    ..Precondition::default()
                })
                .collect()
        } else {
            Vec::new()
        },
        attempts: case
            .attempts
            .iter()
            .filter(|a| a.task == row.id)
            .map(|a| attempt(row, a, sources))
            .collect(),
        limits: limits::of(case, row).map(|l| limit(row, l, sources)).collect(),
        settled_at: row.settled_at.filter(|_| row.definition.settle.seconds > 0),
        disturbed_by: disturbed
            .and_then(|e| e.data["by"].as_str().map(str::to_owned))
            .filter(|_| row.state == TaskState::Disturbed),
        replaces: row.replaces.map(|id| id.to_string()),
    }
}

fn reason(because: &Because) -> Reason {
    let mut chain = Vec::new();
    match (because.line, &because.words, &because.operation) {
        (Some(line), Some(words), _) => chain.push(format!("line {line}: {words}")),
        (Some(line), None, Some(o)) => {
            chain.push(format!("line {line}: {} {}", o.action, o.component).replace('_', " "));
        }
        (Some(line), None, None) => chain.push(format!("line {line}")),
        (None, ..) => {}
    }
    chain.extend(because.trouble_code.iter().map(|code| format!("trouble code {code}")));
    chain.extend(because.complaint.iter().map(|complaint| format!("complaint {complaint}")));
    chain.extend(because.via.iter().cloned());
    chain.extend(because.rule.iter().map(|rule| format!("rule {rule}")));
    chain.push(because.why.clone());
    Reason { chain, source: Some(because.source.clone()) }
}

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

fn attempt(row: &TaskRow, attempt: &store::attempts::AttemptRow, sources: &Sources) -> Attempt {
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
    let rests: BTreeSet<Uuid> =
        proof.iter().chain(&findings("start")).flat_map(|f| f.evidence.iter().copied()).collect();
    let other_files: Vec<Uuid> = items
        .iter()
        .filter(|e| e.kind == "attachment" && !rests.contains(&e.id))
        .map(|e| e.id)
        .collect();
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
        // What proves the result, then the files that nothing rests on.
        results: proof
            .iter()
            .flat_map(|finding| marked(shown(&finding.evidence), finding.by_alternative))
            .chain(shown(&other_files))
            .collect(),
        events: sources
            .entries
            .iter()
            .filter(|entry| span(entry) || told_of(entry))
            .map(|entry| Event { at: entry.at, by: entry.by.clone(), text: told(entry) })
            .chain(set_aside(&items, sources))
            .collect(),
    }
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

/// What was sent and proves nothing, by instrument and reason.
fn set_aside(items: &[&EvidenceRow], sources: &Sources) -> Vec<Event> {
    let mut by_reason: BTreeMap<(String, &str), (Event, usize)> = BTreeMap::new();
    for item in items {
        let marks = item.marks.iter().filter_map(|mark| Mark::of_word(mark));
        let reasons: Vec<&str> = marks.filter_map(Mark::objection).collect();
        let shown = (!reasons.is_empty()).then(|| evidence(item, sources));
        for (why, shown) in reasons.iter().zip(shown.iter().cycle()) {
            let unit = shown.given.unit.as_deref().unwrap_or_default();
            let event = || Event {
                at: item.received_at,
                by: item.observed_by.clone(),
                text: format!(
                    "`{}` {} {unit} from {} does not count: {why}",
                    shown.what, shown.given.value, shown.source
                ),
            };
            let kept = by_reason.entry((shown.source.clone(), why)).or_insert_with(|| (event(), 0));
            kept.1 += 1;
        }
    }
    by_reason
        .into_values()
        .map(|(event, count)| match count {
            1 => event,
            _ => Event { text: format!("{} ({count} items)", event.text), ..event },
        })
        .collect()
}

/// An instrument with its calibration.
fn instrument(id: Uuid, at: DateTime<Utc>, sources: &Sources) -> String {
    let name = sources.names.get(&id).cloned().unwrap_or_else(|| id.to_string());
    match sources.calibrated.get(&id) {
        Some(until) if *until < at => {
            format!("{name} (calibration had run out on {})", until.format("%F"))
        }
        Some(until) => format!("{name} (calibrated until {})", until.format("%F")),
        None => name,
    }
}

fn told(entry: &EntryRow) -> String {
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
        "handover.offered" => format!("offered to another technician: {}", text("note")),
        "handover.accepted" => "taken over by another technician".to_owned(),
        "task.failed" if entry.data["late_seconds"].is_i64() => {
            format!("{}: {}", late("failed", "ended_at"), text("note"))
        }
        "task.failed" => format!("failed: {}", text("note")),
        other => format!("{other} {}", text("note")),
    }
}

fn samples(row: &EvidenceRow) -> Vec<Sample> {
    serde_json::from_value(row.content.clone()).unwrap_or_default()
}

fn evidence(row: &EvidenceRow, sources: &Sources) -> Evidence {
    let said: Vec<String> = samples(row).iter().map(|s| verdicts::words(&s.kind)).collect();
    let given = &row.given;
    let text = |member: &str| given[member].as_str().map(str::to_owned);
    let value = match row.kind.as_str() {
        "reading" => Value {
            value: given["value"]
                .as_f64()
                .map(|v| v.to_string())
                .or(text("is"))
                .unwrap_or_default(),
            unit: text("unit"),
        },
        "attestation" => Value {
            value: if given["holds"].as_bool() == Some(true) { "yes" } else { "no" }.to_owned(),
            unit: None,
        },
        "attachment" => Value {
            value: format!(
                "{}, {} bytes{}, /v1/attachments/{}{}",
                text("media_type").unwrap_or_default(),
                given["bytes"],
                if given["place_data"] == "removed" { ", place data removed" } else { "" },
                row.id,
                sources.redacted.get(&row.id).map_or(String::new(), |sha256| format!(
                    "; replaced by a redacted file with the SHA-256 {}",
                    crate::record::hex(sha256)
                )),
            ),
            unit: None,
        },
        _ => Value { value: said.join("; "), unit: None },
    };
    let mut marks = row.marks.clone();
    marks.extend(sources.redacted.contains_key(&row.id).then(|| "redacted".to_owned()));
    let named = |who: &str| {
        let id = who.parse().ok();
        id.and_then(|id: Uuid| sources.names.get(&id).cloned()).unwrap_or_else(|| who.to_owned())
    };
    if row.entered_by != row.observed_by {
        marks.push(format!("entered by {}", named(&row.entered_by)));
    }
    marks.extend(row.device.as_ref().map(|device| format!("entered on {device}")));
    let instrument = given["equipment"].as_str().and_then(|id| id.parse().ok()).map(|id: Uuid| {
        sources.names.get(&id).cloned().unwrap_or_else(|| format!("unregistered instrument {id}"))
    });
    Evidence {
        what: match row.kind.as_str() {
            "reading" => text("signal"),
            "attestation" => text("statement"),
            "attachment" => text("shows"),
            _ => Some("diagnostic answer".to_owned()),
        }
        .unwrap_or_default(),
        given: value,
        raw: text("bytes").or(text("sha256")),
        taken_at: row.taken_at,
        source: instrument.unwrap_or_else(|| named(&row.observed_by)),
        marks,
    }
}
