//! Pins: the dispatcher keeps a task at a bay, with a technician, or at a time.

use contract::list::{Page, PageQuery};
use contract::plan::{NewPin, PinView};
use contract::problem::ProblemKind;
use serde_json::json;
use store::plans::PinRow;
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::checks::fault;
use crate::flow::Flow;
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Pins a task; an earlier pin of it gives way.
pub async fn pin(flow: &Flow, call: &Call, new: &NewPin) -> Result<PinView, Refusal> {
    flow.write(call, "plan.pin", async |step| {
        let case = step.lock_case_of_task(new.task).await?;
        let task = case.task(new.task)?;
        if task.state.is_over() {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!("the task is {}", task.state.word()),
            ));
        }
        let shop = step.shop();
        let mut faults = Vec::new();
        if new.bay.is_none() && new.technician.is_none() && new.starts_at.is_none() {
            faults.push(fault("", "pin a bay, a technician or a time"));
        }
        if let Some(bay) = new.bay
            && store::bays::find(step.conn(), shop, bay).await?.is_none()
        {
            faults.push(fault("/bay", "there is no such bay"));
        }
        if let Some(person) = new.technician
            && store::means::person(step.conn(), shop, person).await?.is_none()
        {
            faults.push(fault("/technician", "there is no such technician"));
        }
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let row = PinRow {
            id: step.new_id().await?,
            task: new.task,
            bay: new.bay,
            technician: new.technician,
            starts_at: new.starts_at,
        };
        let by = step.caller.subject.clone();
        store::plans::pin(step.conn(), shop, &row, &by, case.now).await?;
        step.record(Happening {
            kind: "pin.set",
            order: Some(case.order.id),
            subject: ("task", new.task.to_string()),
            data: json!(new),
        })
        .await?;
        Ok(view(&row))
    })
    .await
}

/// The pins in force.
pub async fn pins(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<PinView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let all = store::plans::pins(step.conn(), shop).await?.iter().map(view).collect();
        list::page(all, query, |pin: &PinView| pin.id.to_string())
    })
    .await
}

/// Removes a pin.
pub async fn unpin(flow: &Flow, call: &Call, id: Uuid) -> Result<(), Refusal> {
    flow.write(call, "plan.unpin", async |step| {
        let shop = step.shop();
        let now = step.now().await?;
        if !store::plans::unpin(step.conn(), shop, id, now).await? {
            return Err(Refusal::not_found("pin"));
        }
        step.record(Happening {
            kind: "pin.removed",
            order: None,
            subject: ("pin", id.to_string()),
            data: json!({}),
        })
        .await
    })
    .await
}

fn view(row: &PinRow) -> PinView {
    PinView {
        id: row.id,
        task: row.task,
        bay: row.bay,
        technician: row.technician,
        starts_at: row.starts_at,
    }
}
