//! Cautions, acknowledged by name before the first preparation.

use contract::problem::FieldFault;
use contract::tasks::{NewAcknowledgement, TaskView};
use serde_json::json;
use store::attempts::AcknowledgementRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::reported::{Done, done};
use crate::view;

/// Acknowledges cautions of the present attempt.
pub async fn acknowledge(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewAcknowledgement,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.acknowledge", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.held_lease(&case, task, new.fence)?;
        let row = case.task(task)?;
        let from = case.attempt(row).map_or(case.now, |a| a.taken_at);
        let read = done(new.at, from, case.now)?;
        step.read_cautions(&mut case, task, &new.cautions, read).await?;
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

impl Step {
    /// Notes that the caller has read these cautions of the present attempt, and when.
    pub(crate) async fn read_cautions(
        &mut self,
        case: &mut Case,
        task: Uuid,
        cautions: &[String],
        read: Done,
    ) -> Result<(), Refusal> {
        let row = case.task(task)?.clone();
        let faults: Vec<FieldFault> = cautions
            .iter()
            .enumerate()
            .filter(|(_, name)| !row.definition.cautions.iter().any(|c| c.id == **name))
            .map(|(at, name)| FieldFault {
                pointer: format!("/cautions/{at}"),
                detail: format!("`{name}` is no caution of this procedure"),
            })
            .collect();
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        let (shop, by, at) = (self.shop(), self.caller.person(), read.at);
        store::attempts::acknowledge(self.conn(), shop, task, row.attempt, cautions, &by, at)
            .await?;
        for caution in cautions {
            case.acknowledged.push(AcknowledgementRow {
                task,
                attempt: row.attempt,
                caution: caution.clone(),
                by_person: by.clone(),
                at,
            });
        }
        self.record(Happening {
            kind: "cautions.acknowledged",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "attempt": row.attempt, "cautions": cautions, "read_at": at,
                "late_seconds": read.late_seconds(case.now) }),
        })
        .await
    }
}
