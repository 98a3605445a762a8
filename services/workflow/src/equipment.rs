//! Units of shared equipment.

use contract::list::{Page, PageQuery};
use contract::problem::ProblemKind;
use contract::resources::{EquipmentView, NewEquipment};
use serde_json::{Value, json};
use store::equipment::{self, EquipmentRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Adds a unit of equipment.
pub async fn add(flow: &Flow, call: &Call, new: &NewEquipment) -> Result<EquipmentView, Refusal> {
    flow.write(call, "equipment.add", async |step| {
        let row = row(step.new_id().await?, new, 1, false);
        let shop = step.shop();
        equipment::insert(step.conn(), shop, &row).await?;
        record(step, "equipment.added", row.id, json!(new)).await?;
        let findings = step
            .unknown_words(flow, |words| &words.equipment, std::slice::from_ref(&new.kind))
            .await?;
        Ok(EquipmentView { findings, ..view(row) })
    })
    .await
}

/// Every one, retired ones too, in a stable order.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<EquipmentView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let all = equipment::list(step.conn(), shop).await?.into_iter().map(view).collect();
        list::page(all, query, |one: &EquipmentView| one.id.to_string())
    })
    .await
}

/// One.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<EquipmentView, Refusal> {
    flow.read(caller, async |step| Ok(view(find(step, id).await?))).await
}

/// Changes a unit of equipment whole.
pub async fn change(
    flow: &Flow,
    call: &Call,
    id: Uuid,
    new: &NewEquipment,
) -> Result<EquipmentView, Refusal> {
    flow.write(call, "equipment.change", async |step| {
        let old = find(step, id).await?;
        let row = row(id, new, call.expects.unwrap_or(old.version), old.retired);
        let findings = step
            .unknown_words(flow, |words| &words.equipment, std::slice::from_ref(&new.kind))
            .await?;
        let changed = update(step, row, "equipment.changed", json!(new)).await?;
        Ok(EquipmentView { findings, ..changed })
    })
    .await
}

/// Retires a unit of equipment: nothing new is planned with it, and what was done with it stays told.
pub async fn retire(flow: &Flow, call: &Call, id: Uuid) -> Result<EquipmentView, Refusal> {
    flow.write(call, "equipment.retire", async |step| {
        let old = find(step, id).await?;
        let version = call.expects.unwrap_or(old.version);
        let row = EquipmentRow { version, retired: true, ..old };
        update(step, row, "equipment.retired", json!({})).await
    })
    .await
}

async fn find(step: &mut Step, id: Uuid) -> Result<EquipmentRow, Refusal> {
    let shop = step.shop();
    let row = equipment::find(step.conn(), shop, id).await?;
    row.ok_or_else(|| Refusal::not_found("unit of equipment"))
}

async fn update(
    step: &mut Step,
    row: EquipmentRow,
    kind: &'static str,
    data: Value,
) -> Result<EquipmentView, Refusal> {
    let shop = step.shop();
    if !equipment::update(step.conn(), shop, &row).await? {
        return Err(Refusal::new(
            ProblemKind::VersionStale,
            "the unit of equipment changed since it was read",
        ));
    }
    record(step, kind, row.id, data).await?;
    Ok(view(EquipmentRow { version: row.version + 1, ..row }))
}

async fn record(step: &mut Step, kind: &'static str, id: Uuid, data: Value) -> Result<(), Refusal> {
    step.record(Happening { kind, order: None, subject: ("equipment", id.to_string()), data }).await
}

fn row(id: Uuid, new: &NewEquipment, version: i64, retired: bool) -> EquipmentRow {
    EquipmentRow {
        id,
        name: new.name.clone(),
        kind: new.kind.clone(),
        calibrated_until: new.calibrated_until,
        version,
        retired,
    }
}

fn view(row: EquipmentRow) -> EquipmentView {
    EquipmentView {
        id: row.id,
        name: row.name,
        kind: row.kind,
        calibrated_until: row.calibrated_until,
        version: row.version,
        retired: row.retired,
        findings: Vec::new(),
    }
}
