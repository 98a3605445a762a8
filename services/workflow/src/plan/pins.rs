//! Pins: the dispatcher keeps a task at a bay, with a technician, or at a time.

use chrono::{DateTime, Utc};
use contract::list::{Page, PageQuery};
use contract::plan::{NewPin, PinView};
use contract::problem::{FieldFault, ProblemKind};
use serde_json::json;
use store::plans::PinRow;
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::checks::fault;
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Pins a task; an earlier pin of it gives way.
pub async fn pin(flow: &Flow, call: &Call, new: &NewPin) -> Result<PinView, Refusal> {
    flow.write(call, "plan.pin", async |step| Ok(view(&step.set_pin(new, "").await?))).await
}

/// What a pin can't be, whatever the shop has; `at` is its place in the body.
pub(super) fn faults(new: &NewPin, at: &str, now: DateTime<Utc>) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    if new.bay.is_none() && new.technician.is_none() && new.starts_at.is_none() {
        faults.push(fault(at, "pin a bay, a technician or a time"));
    }
    if new.starts_at.is_some_and(|start| start < now) {
        faults.push(fault(&format!("{at}/starts_at"), "this time is past"));
    }
    faults
}

impl Step {
    /// Pins a task; `at` is the pin's place in the body.
    pub(super) async fn set_pin(&mut self, new: &NewPin, at: &str) -> Result<PinRow, Refusal> {
        let case = self.lock_case_of_task(new.task).await?;
        let task = case.task(new.task)?;
        if task.state.is_over() {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!("the task is {}", task.state.word()),
            ));
        }
        let shop = self.shop();
        let mut faults = faults(new, at, case.now);
        if let Some(bay) = new.bay
            && store::bays::find(self.conn(), shop, bay).await?.is_none_or(|bay| bay.retired)
        {
            faults.push(fault(&format!("{at}/bay"), "there is no such bay"));
        }
        if let Some(person) = new.technician
            && store::means::person(self.conn(), shop, person).await?.is_none()
        {
            faults.push(fault(&format!("{at}/technician"), "there is no such technician"));
        }
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let row = PinRow {
            id: self.new_id().await?,
            task: new.task,
            bay: new.bay,
            technician: new.technician,
            starts_at: new.starts_at,
        };
        let by = self.caller.subject.clone();
        store::plans::pin(self.conn(), shop, &row, &by, case.now).await?;
        self.record(Happening {
            kind: "pin.set",
            order: Some(case.order.id),
            subject: ("task", new.task.to_string()),
            data: json!(new),
        })
        .await?;
        Ok(row)
    }
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
