//! The completion report of an order: what was required, why, what was shown, who did it and when.

mod attempt;
mod refusals;
mod shown;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use contract::tasks::Because;
use domain::lifecycle::TaskState;
use domain::vehicle::FactValue;
use evidence::identity;
use evidence::sample::Sample;
use paper::report::task::{Caution, Limit, Precondition, Reason, Task};
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
use crate::limits;
use crate::refusal::Refusal;
use crate::verdicts;
use attempt::attempt;
use refusals::refusals;
use shown::samples;

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
    /// What another vehicle than the order's gave.
    foreign: BTreeSet<Uuid>,
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
        let evidence = store::attempts::evidence(step.conn(), id, &tasks).await?;
        let sources = Sources {
            foreign: foreign(&case, &evidence),
            evidence,
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
        refusals: refusals(case, sources),
        addenda: Vec::new(),
        catalogue: Catalogue { version: order.catalogue_version.clone(), basis: notice },
    }
}

/// What another vehicle gave, in each attempt for itself.
fn foreign(case: &Case, evidence: &[EvidenceRow]) -> BTreeSet<Uuid> {
    let mut attempts: BTreeMap<(Uuid, i32), Vec<Sample>> = BTreeMap::new();
    for row in evidence {
        attempts.entry((row.task, row.attempt)).or_default().extend(samples(row));
    }
    let expected = verdicts::expected(case);
    attempts.values().flat_map(|samples| identity::foreign(&expected, samples)).collect()
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
