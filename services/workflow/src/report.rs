//! The completion report of an order: what was required, why, what was shown, who did it and when.

use std::collections::BTreeMap;

use contract::tasks::Because;
use domain::lifecycle::TaskState;
use domain::vehicle::FactValue;
use domain::verdict::Finding;
use evidence::sample::{Kind, Sample};
use paper::report::task::{Attempt, Caution, Event, Evidence, Precondition, Reason, Task};
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
use crate::verdicts;

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
            store::means::people(step.conn(), id).await?.into_iter().map(|p| (p.id, p.name)),
        );
        names.extend(
            store::means::units(step.conn(), id).await?.into_iter().map(|u| (u.id, u.name)),
        );
        names.extend(store::bays::list(step.conn(), id).await?.into_iter().map(|b| (b.id, b.name)));
        let sources = Sources {
            evidence: store::attempts::evidence(step.conn(), id, &tasks).await?,
            entries: store::journal::of_order(step.conn(), id, order).await?,
            names,
        };
        let row = store::catalogues::find(step.conn(), id, &case.order.catalogue_version).await?;
        let notice = row
            .and_then(|row| serde_json::from_str::<Json>(&row.document).ok())
            .and_then(|document| document["notice"].as_str().map(str::to_owned));
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
        .filter(|l| l.authorisation == domain::order::Authorisation::Declined)
        .map(|l| format!("line {} was declined by the customer; what it would have made necessary was not done", l.line));
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
            remarks: said("reason").into_iter().chain(declined).chain(learning).collect(),
        },
        findings: serde_json::from_value::<Vec<contract::orders::FindingView>>(
            order.findings.clone(),
        )
        .unwrap_or_default()
        .into_iter()
        .map(|f| paper::report::Finding { code: f.code, detail: f.detail })
        .collect(),
        lines: case.lines.iter().map(line).collect(),
        tasks: case.tasks.iter().map(|row| task(case, row, sources)).collect(),
        waivers: case
            .waivers
            .iter()
            .map(|w| Waiver {
                scope: case
                    .tasks
                    .iter()
                    .find(|t| t.id == w.task)
                    .map_or(String::new(), |t| t.definition.title.clone()),
                reason: w.reason.clone(),
                by: w.given_by.clone(),
                at: w.given_at,
                approved_by: w.approved_by.clone(),
                customer_told: w.customer_told.clone(),
                restriction: w.restriction.clone(),
                revoked_at: None,
            })
            .collect(),
        refusals: Vec::new(),
        addenda: Vec::new(),
        catalogue: Catalogue { version: order.catalogue_version.clone(), basis: notice },
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
        title: if row.place.is_empty() {
            row.definition.title.clone()
        } else {
            format!("{} ({})", row.definition.title, row.place.replace('_', " "))
        },
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
                    acknowledged_by: by.map(|a| a.by_person.clone()),
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
    let identity = items.iter().find_map(|e| {
        samples(e).into_iter().find_map(|s| match s.kind {
            Kind::Vin { vin } => Some(format!("VIN read from the vehicle: {vin}")),
            Kind::TypedIdentity { last_six } => Some(format!("typed beside a photo: {last_six}")),
            _ => None,
        })
    });
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
        people: vec![name(attempt.technician)],
        bay: attempt.bay.map(name),
        equipment: attempt
            .equipment
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(crate::start::uuid_of)
            .map(name)
            .collect(),
        identity,
        taken_at: attempt.taken_at,
        started_at: attempt.started_at,
        ended_at: attempt.ended_at,
        outcome: attempt.outcome.clone().unwrap_or_else(|| "going on".to_owned()),
        preconditions: findings("start")
            .iter()
            .map(|finding| Precondition {
                text: finding.text.clone(),
                verdict: serde_json::json!(finding.verdict).as_str().unwrap_or_default().to_owned(),
                detail: finding
                    .contradiction
                    .clone()
                    .or_else(|| Some(finding.detail.clone()))
                    .filter(|d| !d.is_empty()),
                evidence: shown(&finding.evidence),
            })
            .collect(),
        results: proof.iter().flat_map(|finding| shown(&finding.evidence)).collect(),
        events: sources
            .entries
            .iter()
            .filter(span)
            .map(|entry| Event { at: entry.at, by: entry.by.clone(), text: told(entry) })
            .collect(),
    }
}

fn told(entry: &EntryRow) -> String {
    let text = |member: &str| entry.data[member].as_str().unwrap_or_default().to_owned();
    match entry.kind.as_str() {
        "task.held" => format!(
            "broke off: {}",
            entry.data["detail"]["vehicle_condition"].as_str().unwrap_or("the lease ended")
        ),
        "task.decided" => format!("decided: {} ({})", text("decision"), text("reason")),
        "handover.offered" => format!("offered to another technician: {}", text("note")),
        "handover.accepted" => "taken over by another technician".to_owned(),
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
        _ => Value { value: said.join("; "), unit: None },
    };
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
        source: instrument.unwrap_or_else(|| row.observed_by.clone()),
        marks: row.marks.clone(),
    }
}
