//! Technicians' working times.

use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use contract::resources::{NewShift, ShiftView};
use serde_json::{Value, json};
use store::shifts::{self, ShiftRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::shift_times;

/// Adds a shift.
pub async fn add(flow: &Flow, call: &Call, new: &NewShift) -> Result<ShiftView, Refusal> {
    flow.write(call, "shifts.add", async |step| {
        check(step, new).await?;
        let row = row(step.new_id().await?, new, 1, false);
        let shop = step.shop();
        shifts::insert(step.conn(), shop, &row).await?;
        record(step, "shift.added", row.id, json!(new)).await?;
        Ok(view(row))
    })
    .await
}

/// Every one, retired ones too, in a stable order.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<ShiftView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let all = shifts::list(step.conn(), shop).await?.into_iter().map(view).collect();
        list::page(all, query, |one: &ShiftView| one.id.to_string())
    })
    .await
}

/// One.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<ShiftView, Refusal> {
    flow.read(caller, async |step| Ok(view(find(step, id).await?))).await
}

/// Changes a shift whole.
pub async fn change(
    flow: &Flow,
    call: &Call,
    id: Uuid,
    new: &NewShift,
) -> Result<ShiftView, Refusal> {
    flow.write(call, "shifts.change", async |step| {
        let old = find(step, id).await?;
        check(step, new).await?;
        let row = row(id, new, call.expects.unwrap_or(old.version), old.retired);
        update(step, row, "shift.changed", json!(new)).await
    })
    .await
}

/// Retires a shift: nothing new is planned with it, and what was done with it stays told.
pub async fn retire(flow: &Flow, call: &Call, id: Uuid) -> Result<ShiftView, Refusal> {
    flow.write(call, "shifts.retire", async |step| {
        let old = find(step, id).await?;
        let version = call.expects.unwrap_or(old.version);
        let row = ShiftRow { version, retired: true, ..old };
        update(step, row, "shift.retired", json!({})).await
    })
    .await
}

async fn find(step: &mut Step, id: Uuid) -> Result<ShiftRow, Refusal> {
    let shop = step.shop();
    let row = shifts::find(step.conn(), shop, id).await?;
    row.ok_or_else(|| Refusal::not_found("shift"))
}

async fn update(
    step: &mut Step,
    row: ShiftRow,
    kind: &'static str,
    data: Value,
) -> Result<ShiftView, Refusal> {
    let shop = step.shop();
    if !shifts::update(step.conn(), shop, &row).await? {
        return Err(Refusal::new(ProblemKind::VersionStale, "the shift changed since it was read"));
    }
    record(step, kind, row.id, data).await?;
    Ok(view(ShiftRow { version: row.version + 1, ..row }))
}

async fn record(step: &mut Step, kind: &'static str, id: Uuid, data: Value) -> Result<(), Refusal> {
    step.record(Happening { kind, order: None, subject: ("shift", id.to_string()), data }).await
}

/// What a schema can't say of a shift: the technician is here, and the rule can be read.
async fn check(step: &mut Step, new: &NewShift) -> Result<(), Refusal> {
    let shop = step.shop();
    let mut faults = Vec::new();
    let technician = store::technicians::find(step.conn(), shop, new.technician).await?;
    if technician.is_none_or(|technician| technician.retired) {
        faults.push(FieldFault {
            pointer: "/technician".to_owned(),
            detail: "there is no such technician in this shop".to_owned(),
        });
    }
    if let Some(rule) = &new.rrule
        && let Err(detail) = shift_times::check(rule, new.starts_local)
    {
        faults.push(FieldFault { pointer: "/rrule".to_owned(), detail });
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}

fn row(id: Uuid, new: &NewShift, version: i64, retired: bool) -> ShiftRow {
    ShiftRow {
        id,
        technician: new.technician,
        starts_local: new.starts_local,
        minutes: new.minutes,
        rrule: new.rrule.clone(),
        except_dates: new.except_dates.clone(),
        version,
        retired,
    }
}

fn view(row: ShiftRow) -> ShiftView {
    ShiftView {
        id: row.id,
        technician: row.technician,
        starts_local: row.starts_local,
        minutes: row.minutes,
        rrule: row.rrule,
        except_dates: row.except_dates,
        version: row.version,
        retired: row.retired,
    }
}
