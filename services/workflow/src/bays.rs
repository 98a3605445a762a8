//! Bays.

use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use contract::resources::{BayView, NewBay};
use domain::signal::{Signal, Values};
use domain::unit::Unit;
use serde_json::{Value, json};
use store::bays::{self, BayRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::{Flow, Step};
use crate::list;
use crate::measured_bay::SIGNALS;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Adds a bay.
pub async fn add(flow: &Flow, call: &Call, new: &NewBay) -> Result<BayView, Refusal> {
    flow.write(call, "bays.add", async |step| {
        check(step, new).await?;
        let row = row(step.new_id().await?, new, 1, false);
        let shop = step.shop();
        bays::insert(step.conn(), shop, &row).await?;
        record(step, "bay.added", row.id, json!(new)).await?;
        let findings =
            step.unknown_words(flow, |words| &words.bay_capabilities, &new.capabilities).await?;
        Ok(BayView { findings, ..view(row) })
    })
    .await
}

/// Every one, retired ones too, in a stable order.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<BayView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let all = bays::list(step.conn(), shop).await?.into_iter().map(view).collect();
        list::page(all, query, |one: &BayView| one.id.to_string())
    })
    .await
}

/// One.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<BayView, Refusal> {
    flow.read(caller, async |step| Ok(view(find(step, id).await?))).await
}

/// Changes a bay whole.
pub async fn change(flow: &Flow, call: &Call, id: Uuid, new: &NewBay) -> Result<BayView, Refusal> {
    flow.write(call, "bays.change", async |step| {
        check(step, new).await?;
        let old = find(step, id).await?;
        let row = row(id, new, call.expects.unwrap_or(old.version), old.retired);
        let findings =
            step.unknown_words(flow, |words| &words.bay_capabilities, &new.capabilities).await?;
        let changed = update(step, row, "bay.changed", json!(new)).await?;
        Ok(BayView { findings, ..changed })
    })
    .await
}

/// Retires a bay: nothing new is planned with it, and what was done with it stays told.
pub async fn retire(flow: &Flow, call: &Call, id: Uuid) -> Result<BayView, Refusal> {
    flow.write(call, "bays.retire", async |step| {
        let old = find(step, id).await?;
        let version = call.expects.unwrap_or(old.version);
        let row = BayRow { version, retired: true, ..old };
        update(step, row, "bay.retired", json!({})).await
    })
    .await
}

async fn find(step: &mut Step, id: Uuid) -> Result<BayRow, Refusal> {
    let shop = step.shop();
    let row = bays::find(step.conn(), shop, id).await?;
    row.ok_or_else(|| Refusal::not_found("bay"))
}

async fn update(
    step: &mut Step,
    row: BayRow,
    kind: &'static str,
    data: Value,
) -> Result<BayView, Refusal> {
    let shop = step.shop();
    if !bays::update(step.conn(), shop, &row).await? {
        return Err(Refusal::new(ProblemKind::VersionStale, "the bay changed since it was read"));
    }
    record(step, kind, row.id, data).await?;
    Ok(view(BayRow { version: row.version + 1, ..row }))
}

async fn record(step: &mut Step, kind: &'static str, id: Uuid, data: Value) -> Result<(), Refusal> {
    step.record(Happening { kind, order: None, subject: ("bay", id.to_string()), data }).await
}

/// What was measured fits its signal, lies in the past, and was valid for some time.
async fn check(step: &mut Step, new: &NewBay) -> Result<(), Refusal> {
    let now = step.now().await?;
    let fault = |at: usize, member: &str, detail: &str| FieldFault {
        pointer: format!("/measured/{at}/{member}"),
        detail: detail.to_owned(),
    };
    let mut faults = Vec::new();
    for (at, one) in new.measured.iter().enumerate() {
        let base = Signal::of_name(&one.signal).and_then(|signal| match signal.values {
            Values::Number { unit, .. } if SIGNALS.contains(&signal.name) => Unit::of_code(unit),
            _ => None,
        });
        let unit = Unit::of_code(&one.unit);
        match (base, unit) {
            (None, _) => faults.push(fault(
                at,
                "signal",
                "no signal that is a bay's: floor_slope, illuminance",
            )),
            (Some(base), Some(unit)) if unit.dimension == base.dimension => {}
            _ => faults.push(fault(at, "unit", "no unit of this signal")),
        }
        if one.measured_at > now {
            faults.push(fault(at, "measured_at", "it is yet to come"));
        }
        if one.valid_until <= one.measured_at {
            faults.push(fault(at, "valid_until", "it ends before it was measured"));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}

fn row(id: Uuid, new: &NewBay, version: i64, retired: bool) -> BayRow {
    BayRow {
        id,
        name: new.name.clone(),
        zone: new.zone.clone(),
        capabilities: new.capabilities.clone(),
        measured: json!(new.measured),
        version,
        retired,
    }
}

fn view(row: BayRow) -> BayView {
    BayView {
        id: row.id,
        name: row.name,
        zone: row.zone,
        capabilities: row.capabilities,
        measured: serde_json::from_value(row.measured).unwrap_or_default(),
        version: row.version,
        retired: row.retired,
        findings: Vec::new(),
    }
}
