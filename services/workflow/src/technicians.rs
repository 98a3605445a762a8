//! Technicians.

use std::ops::RangeInclusive;

use chrono::{DateTime, Datelike as _, Utc};
use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use contract::resources::{Certificate, NewTechnician, TechnicianView};
use serde_json::{Value, json};
use store::technicians::{self, TechnicianRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::skills::certificates;

/// Years in which a certificate may end.
const YEARS: RangeInclusive<i32> = 1970..=2200;

/// Adds a technician.
pub async fn add(flow: &Flow, call: &Call, new: &NewTechnician) -> Result<TechnicianView, Refusal> {
    flow.write(call, "technicians.add", async |step| {
        let row = row(step.new_id().await?, new, 1, false)?;
        let shop = step.shop();
        technicians::insert(step.conn(), shop, &row).await?;
        record(step, "technician.added", row.id, told(new)).await?;
        let now = step.now().await?;
        let findings = step.unknown_words(flow, |words| &words.skills, &new.skills).await?;
        Ok(TechnicianView { findings, ..view(row, now) })
    })
    .await
}

/// Every one, retired ones too, in a stable order.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<TechnicianView>, Refusal> {
    flow.read(caller, async |step| {
        let (shop, now) = (step.shop(), step.now().await?);
        let all = technicians::list(step.conn(), shop).await?;
        let all = all.into_iter().map(|row| view(row, now)).collect();
        list::page(all, query, |one: &TechnicianView| one.id.to_string())
    })
    .await
}

/// One.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<TechnicianView, Refusal> {
    flow.read(caller, async |step| {
        let now = step.now().await?;
        Ok(view(find(step, id).await?, now))
    })
    .await
}

/// Changes a technician whole.
pub async fn change(
    flow: &Flow,
    call: &Call,
    id: Uuid,
    new: &NewTechnician,
) -> Result<TechnicianView, Refusal> {
    flow.write(call, "technicians.change", async |step| {
        let old = find(step, id).await?;
        let row = row(id, new, call.expects.unwrap_or(old.version), old.retired)?;
        let findings = step.unknown_words(flow, |words| &words.skills, &new.skills).await?;
        let changed = update(step, row, "technician.changed", told(new)).await?;
        Ok(TechnicianView { findings, ..changed })
    })
    .await
}

/// Retires a technician: nothing new is planned with it, and what was done with it stays told.
pub async fn retire(flow: &Flow, call: &Call, id: Uuid) -> Result<TechnicianView, Refusal> {
    flow.write(call, "technicians.retire", async |step| {
        let old = find(step, id).await?;
        let version = call.expects.unwrap_or(old.version);
        let row = TechnicianRow { version, retired: true, ..old };
        update(step, row, "technician.retired", json!({})).await
    })
    .await
}

async fn find(step: &mut Step, id: Uuid) -> Result<TechnicianRow, Refusal> {
    let shop = step.shop();
    let row = technicians::find(step.conn(), shop, id).await?;
    row.ok_or_else(|| Refusal::not_found("technician"))
}

async fn update(
    step: &mut Step,
    row: TechnicianRow,
    kind: &'static str,
    data: Value,
) -> Result<TechnicianView, Refusal> {
    let shop = step.shop();
    if !technicians::update(step.conn(), shop, &row).await? {
        return Err(Refusal::new(
            ProblemKind::VersionStale,
            "the technician changed since it was read",
        ));
    }
    record(step, kind, row.id, data).await?;
    let now = step.now().await?;
    Ok(view(TechnicianRow { version: row.version + 1, ..row }, now))
}

async fn record(step: &mut Step, kind: &'static str, id: Uuid, data: Value) -> Result<(), Refusal> {
    step.record(Happening { kind, order: None, subject: ("technician", id.to_string()), data })
        .await
}

/// What the journal keeps of it.
fn told(new: &NewTechnician) -> Value {
    if new.certificates.is_empty() {
        return json!({ "skills": new.skills });
    }
    json!({ "skills": new.skills, "certificates": new.certificates })
}

fn row(
    id: Uuid,
    new: &NewTechnician,
    version: i64,
    retired: bool,
) -> Result<TechnicianRow, Refusal> {
    let foreign =
        new.certificates.iter().enumerate().filter(|(_, c)| !new.skills.contains(&c.skill));
    let mut faults: Vec<FieldFault> = foreign
        .map(|(at, c)| FieldFault {
            pointer: format!("/certificates/{at}/skill"),
            detail: format!("`{}` is none of the technician's skills", c.skill),
        })
        .collect();
    // The database reads the moment out of the document, and knows no year of five digits there.
    let beyond =
        |c: &Certificate| c.valid_until.is_some_and(|until| !YEARS.contains(&until.year()));
    faults.extend(new.certificates.iter().enumerate().filter(|(_, c)| beyond(c)).map(|(at, _)| {
        FieldFault {
            pointer: format!("/certificates/{at}/valid_until"),
            detail: "the moment lies outside the years 1970 to 2200".to_owned(),
        }
    }));
    if !faults.is_empty() {
        return Err(Refusal::unprocessable(faults));
    }
    Ok(TechnicianRow {
        id,
        name: new.name.clone(),
        skills: new.skills.clone(),
        certificates: json!(new.certificates),
        version,
        retired,
    })
}

fn view(row: TechnicianRow, now: DateTime<Utc>) -> TechnicianView {
    let certificates = certificates(&row.certificates);
    let lapsed = |skill: &&String| {
        let mut of = certificates.iter().filter(|c| c.skill == **skill).peekable();
        of.peek().is_some() && of.all(|c| c.valid_until.is_some_and(|until| until <= now))
    };
    TechnicianView {
        id: row.id,
        name: row.name,
        lapsed: row.skills.iter().filter(lapsed).cloned().collect(),
        skills: row.skills,
        certificates,
        version: row.version,
        retired: row.retired,
        findings: Vec::new(),
    }
}
