//! Bays.

use contract::problem::ProblemKind;
use contract::resources::{BayView, NewBay};
use serde_json::json;
use store::bays::{self, BayRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::Flow;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Adds a bay.
pub async fn add(flow: &Flow, call: &Call, bay: &NewBay) -> Result<BayView, Refusal> {
    flow.write(call, "bays.add", async |step| {
        let row = BayRow {
            id: step.new_id().await?,
            name: bay.name.clone(),
            zone: bay.zone.clone(),
            capabilities: bay.capabilities.clone(),
            version: 1,
            retired: false,
        };
        let shop = step.shop();
        bays::insert(step.conn(), shop, &row).await?;
        step.record(Happening {
            kind: "bay.added",
            order: None,
            subject: ("bay", row.id.to_string()),
            data: json!(bay),
        })
        .await?;
        Ok(view(row))
    })
    .await
}

/// Every bay, by name.
pub async fn list(flow: &Flow, caller: &Caller) -> Result<Vec<BayView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        Ok(bays::list(step.conn(), shop).await?.into_iter().map(view).collect())
    })
    .await
}

/// One bay.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<BayView, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let row = bays::find(step.conn(), shop, id).await?;
        row.map(view).ok_or_else(|| Refusal::not_found("bay"))
    })
    .await
}

/// Changes a bay whole.
pub async fn change(flow: &Flow, call: &Call, id: Uuid, bay: &NewBay) -> Result<BayView, Refusal> {
    flow.write(call, "bays.change", async |step| {
        let shop = step.shop();
        let old = bays::find(step.conn(), shop, id).await?;
        let old = old.ok_or_else(|| Refusal::not_found("bay"))?;
        let version = call.expects.unwrap_or(old.version);
        let row = BayRow {
            id,
            name: bay.name.clone(),
            zone: bay.zone.clone(),
            capabilities: bay.capabilities.clone(),
            version,
            retired: old.retired,
        };
        if !bays::update(step.conn(), shop, &row).await? {
            return Err(Refusal::new(
                ProblemKind::VersionStale,
                "the bay changed since it was read",
            ));
        }
        step.record(Happening {
            kind: "bay.changed",
            order: None,
            subject: ("bay", id.to_string()),
            data: json!(bay),
        })
        .await?;
        Ok(view(BayRow { version: version + 1, ..row }))
    })
    .await
}

fn view(row: BayRow) -> BayView {
    BayView {
        id: row.id,
        name: row.name,
        zone: row.zone,
        capabilities: row.capabilities,
        version: row.version,
        retired: row.retired,
    }
}
