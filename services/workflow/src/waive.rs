//! Waivers: a task is left undone by a decision with a reason, where the procedure allows it.

use contract::problem::ProblemKind;
use contract::tasks::{NewWaiver, WaiverView};
use domain::lifecycle::{TaskEvent, TaskState};
use domain::role::Role;
use serde_json::json;
use store::waivers::{self, WaiverRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;

/// Waives a task; where two people are needed, it takes effect with the approval of the other.
pub async fn waive(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewWaiver,
) -> Result<WaiverView, Refusal> {
    flow.write(call, "tasks.waive", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?.clone();
        if !row.definition.waiver.allowed {
            return Err(Refusal::new(ProblemKind::NotWaivable, format!("`{}` is never waived", row.definition.title)));
        }
        if case.is_bound_by_bracket(&row) {
            return Err(Refusal::new(
                ProblemKind::NotWaivable,
                "the service mode was entered; its leaving and its tests cannot be waived",
            ));
        }
        if row.state.after(TaskEvent::Waive).is_none() {
            return Err(crate::case::wrong_state(&row, TaskEvent::Waive));
        }
        let shop = step.shop();
        let waiver = WaiverRow {
            id: step.new_id().await?,
            task,
            reason: new.reason.clone(),
            customer_told: new.customer_told.clone(),
            restriction: new.restriction.clone(),
            people: i32::from(row.definition.waiver.people.max(1)),
            given_by: step.caller.subject.clone(),
            given_at: case.now,
            approved_by: None,
            approved_at: None,
        };
        if case.waivers.iter().any(|w| w.task == task) {
            return Err(Refusal::new(ProblemKind::AlreadyExists, "a waiver of this task was given already"));
        }
        waivers::insert(step.conn(), shop, &waiver).await?;
        step.record(Happening {
            kind: "waiver.given",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": row.definition.id, "waiver": waiver.id, "reason": new.reason,
                "customer_told": new.customer_told, "restriction": new.restriction, "people": waiver.people }),
        })
        .await?;
        case.waivers.push(waiver.clone());
        if waiver.people == 1 {
            step.put_in_effect(&mut case, task).await?;
        }
        Ok(view(&waiver, case.task(task)?.state))
    })
    .await
}

/// Approves a waiver that needs two people: a different person does.
pub async fn approve(flow: &Flow, call: &Call, task: Uuid) -> Result<WaiverView, Refusal> {
    flow.write(call, "tasks.waiver.approve", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let waiver =
            case.waivers.iter().find(|w| w.task == task && w.approved_by.is_none() && w.people > 1);
        let mut waiver = waiver
            .cloned()
            .ok_or_else(|| Refusal::not_found("waiver that waits for an approval"))?;
        let by = step.caller.subject.clone();
        if by == waiver.given_by
            || !(step.caller.has(Role::Owner) || step.caller.has(Role::Dispatcher))
        {
            return Err(Refusal::new(
                ProblemKind::SecondPersonRequired,
                "another person than the giver approves",
            ));
        }
        let shop = step.shop();
        let now = case.now;
        if !waivers::approve(step.conn(), shop, waiver.id, &by, now).await? {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "the waiver was approved or revoked meanwhile",
            ));
        }
        step.record(Happening {
            kind: "waiver.approved",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "waiver": waiver.id }),
        })
        .await?;
        step.put_in_effect(&mut case, task).await?;
        waiver.approved_by = Some(by);
        Ok(view(&waiver, case.task(task)?.state))
    })
    .await
}

impl Step {
    async fn put_in_effect(&mut self, case: &mut Case, task: Uuid) -> Result<(), Refusal> {
        let before = case.task(task)?.clone();
        let taken = before.state == TaskState::Taken;
        self.change_task(case, task, TaskEvent::Waive, |t| {
            t.fence += i64::from(taken);
            t.technician = None;
            t.bay = None;
        })
        .await?;
        if taken {
            self.end_attempt(case, &before, "waived", json!({})).await?;
        }
        self.record(Happening {
            kind: "task.waived",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": before.definition.id }),
        })
        .await?;
        self.settle(case).await
    }
}

fn view(waiver: &WaiverRow, task_state: TaskState) -> WaiverView {
    WaiverView {
        id: waiver.id,
        task: waiver.task,
        reason: waiver.reason.clone(),
        given_by: waiver.given_by.clone(),
        given_at: waiver.given_at,
        approved_by: waiver.approved_by.clone(),
        approval_needed: waiver.people > 1 && waiver.approved_by.is_none(),
        task_state,
    }
}
