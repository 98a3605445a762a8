//! Waivers: a task is left undone, or a precondition unproven, by a decision with a reason, where the catalogue allows
//! it; taken back, or ended by themselves.

use contract::problem::ProblemKind;
use contract::tasks::{NewRevocation, NewWaiver, WaiverView};
use domain::lifecycle::{OrderState, TaskEvent, TaskState};
use domain::procedure::WaiverRule;
use domain::role::Role;
use serde_json::json;
use store::tasks::TaskRow;
use store::waivers::{self, WaiverRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::take::has_left;

/// Who takes a waiver back that ends by itself.
const BY_ITSELF: &str = "the end that it was given with";

/// Waives a task or one of its preconditions; where two people are needed, it takes effect with the approval of the other.
pub async fn waive(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewWaiver,
) -> Result<WaiverView, Refusal> {
    flow.write(call, "tasks.waive", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?.clone();
        if !case.goes_on(&row) {
            return Err(has_left(&case));
        }
        let rule = rule(&case, &row, new)?;
        if case.waivers.iter().any(|w| w.task == task && w.precondition == new.precondition) {
            return Err(Refusal::new(ProblemKind::AlreadyExists, "a waiver of this was given already"));
        }
        let shop = step.shop();
        let waiver = WaiverRow {
            id: step.new_id().await?,
            task,
            reason: new.reason.clone(),
            customer_told: new.customer_told.clone(),
            restriction: new.restriction.clone(),
            precondition: new.precondition.clone(),
            expires_at: new.expires_at,
            people: i32::from(rule.people.max(1)),
            given_by: step.caller.subject.clone(),
            given_at: case.now,
            approved_by: None,
            approved_at: None,
            revoked_at: None,
        };
        waivers::insert(step.conn(), shop, &waiver).await?;
        step.record(Happening {
            kind: "waiver.given",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": row.definition.id, "place": row.place, "precondition": waiver.precondition,
                "waiver": waiver.id, "reason": new.reason, "customer_told": new.customer_told,
                "restriction": new.restriction, "expires_at": waiver.expires_at, "people": waiver.people }),
        })
        .await?;
        case.waivers.push(waiver.clone());
        if waiver.people == 1 {
            step.put_in_effect(&mut case, &waiver).await?;
        }
        Ok(view(&waiver, case.task(task)?))
    })
    .await
}

/// Approves a waiver that needs two people: a different person does.
pub async fn approve(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    named: Option<Uuid>,
) -> Result<WaiverView, Refusal> {
    flow.write(call, "tasks.waiver.approve", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let waits = |w: &&WaiverRow| w.approved_by.is_none() && w.people > 1;
        let mut waiver =
            the_one(case.waivers.iter().filter(|w| w.task == task).filter(waits), named)
                .ok_or_else(|| Refusal::not_found("waiver that waits for an approval"))?;
        if !case.goes_on(case.task(task)?) {
            return Err(has_left(&case));
        }
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
        waiver.approved_by = Some(by);
        if let Some(place) = case.waivers.iter_mut().find(|w| w.id == waiver.id) {
            *place = waiver.clone();
        }
        step.put_in_effect(&mut case, &waiver).await?;
        Ok(view(&waiver, case.task(task)?))
    })
    .await
}

/// Takes a waiver back while the order is open: what it left out is to be done after all.
pub async fn revoke(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewRevocation,
) -> Result<WaiverView, Refusal> {
    flow.write(call, "tasks.waiver.revoke", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let mut waiver = the_one(case.waivers.iter().filter(|w| w.task == task), new.waiver)
            .ok_or_else(|| Refusal::not_found("waiver of this task"))?;
        if case.order.state != OrderState::Open {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "the vehicle has left with this waiver; a new order follows this one",
            )
            .with("state", case.order.state.word()));
        }
        let by = step.caller.subject.clone();
        step.lift_waiver(&mut case, &waiver, &by, &new.reason).await?;
        step.settle(&mut case).await?;
        waiver.revoked_at = Some(case.now);
        Ok(view(&waiver, case.task(task)?))
    })
    .await
}

/// Whether a waiver in force leaves this precondition out.
pub(crate) fn is_left_out(case: &Case, task: &TaskRow, precondition: &str) -> bool {
    case.waivers.iter().any(|w| {
        w.task == task.id
            && w.precondition.as_deref() == Some(precondition)
            && w.is_in_force(case.now)
    })
}

impl Step {
    async fn put_in_effect(&mut self, case: &mut Case, waiver: &WaiverRow) -> Result<(), Refusal> {
        if waiver.precondition.is_some() {
            return Ok(());
        }
        let before = case.task(waiver.task)?.clone();
        let taken = before.state == TaskState::Taken;
        self.change_task(case, waiver.task, TaskEvent::Waive, |t| {
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
            subject: ("task", waiver.task.to_string()),
            data: json!({ "procedure": before.definition.id }),
        })
        .await?;
        self.settle(case).await
    }

    /// Ends waivers whose time is over. A vehicle that has left keeps its report; the journal tells the end.
    pub(crate) async fn end_waivers(&mut self, case: &mut Case) -> Result<(), Refusal> {
        let over = |w: &&WaiverRow| w.expires_at.is_some_and(|until| until <= case.now);
        let over: Vec<WaiverRow> = case.waivers.iter().filter(over).cloned().collect();
        for waiver in over {
            self.lift_waiver(case, &waiver, BY_ITSELF, BY_ITSELF).await?;
        }
        Ok(())
    }

    async fn lift_waiver(
        &mut self,
        case: &mut Case,
        waiver: &WaiverRow,
        by: &str,
        because: &str,
    ) -> Result<(), Refusal> {
        let shop = self.shop();
        let now = case.now;
        if !waivers::revoke(self.conn(), shop, waiver.id, by, because, now).await? {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "the waiver was taken back meanwhile",
            ));
        }
        case.waivers.retain(|w| w.id != waiver.id);
        self.record(Happening {
            kind: if by == BY_ITSELF { "waiver.ended" } else { "waiver.revoked" },
            order: Some(case.order.id),
            subject: ("task", waiver.task.to_string()),
            data: json!({ "waiver": waiver.id, "precondition": waiver.precondition, "reason": because }),
        })
        .await?;
        let waived = case.task(waiver.task)?.state == TaskState::Waived;
        if waiver.precondition.is_none() && waived && case.order.state == OrderState::Open {
            self.change_task(case, waiver.task, TaskEvent::RevokeWaiver, |_| {}).await?;
        }
        Ok(())
    }
}

/// What the catalogue says of leaving this out, or why it is not left out.
fn rule(case: &Case, row: &TaskRow, new: &NewWaiver) -> Result<WaiverRule, Refusal> {
    if new.place.as_ref().is_some_and(|place| *place != row.place) {
        return Err(Refusal::field("/place", "the task is for another place on the vehicle"));
    }
    if new.expires_at.is_some_and(|until| until <= case.now) {
        return Err(Refusal::field("/expires_at", "a waiver ends after it was given"));
    }
    if let Some(name) = &new.precondition {
        let found = row.definition.preconditions.iter().find(|one| one.id == *name);
        let one = found.ok_or_else(|| {
            Refusal::field("/precondition", "this task has no precondition of that name")
        })?;
        let open = !row.state.is_over() && row.state != TaskState::Running;
        return match &one.waiver {
            Some(rule) if rule.allowed && open => Ok(*rule),
            Some(rule) if rule.allowed => Err(Refusal::new(
                ProblemKind::WrongState,
                "a precondition is left out before the task is started",
            )
            .with("state", row.state.word())),
            _ => Err(Refusal::new(
                ProblemKind::NotWaivable,
                format!("`{}` is never left out: {}", one.id, one.text),
            )),
        };
    }
    if !row.definition.waiver.allowed {
        let detail = format!("`{}` is never waived", row.definition.title);
        return Err(Refusal::new(ProblemKind::NotWaivable, detail));
    }
    if case.is_bound_by_bracket(row) {
        return Err(Refusal::new(
            ProblemKind::NotWaivable,
            "the service mode was entered; its leaving and its tests cannot be waived",
        ));
    }
    if row.state.after(TaskEvent::Waive).is_none() {
        return Err(crate::case::wrong_state(row, TaskEvent::Waive));
    }
    Ok(row.definition.waiver)
}

/// The one named, or the only one.
fn the_one<'a>(
    mut waivers: impl Iterator<Item = &'a WaiverRow>,
    named: Option<Uuid>,
) -> Option<WaiverRow> {
    match named {
        Some(id) => waivers.find(|w| w.id == id).cloned(),
        None => waivers.next().filter(|_| waivers.next().is_none()).cloned(),
    }
}

fn view(waiver: &WaiverRow, task: &TaskRow) -> WaiverView {
    WaiverView {
        id: waiver.id,
        task: waiver.task,
        place: (!task.place.is_empty()).then(|| task.place.clone()),
        precondition: waiver.precondition.clone(),
        reason: waiver.reason.clone(),
        customer_told: waiver.customer_told.clone(),
        restriction: waiver.restriction.clone(),
        expires_at: waiver.expires_at,
        revoked_at: waiver.revoked_at,
        given_by: waiver.given_by.clone(),
        given_at: waiver.given_at,
        approved_by: waiver.approved_by.clone(),
        approval_needed: waiver.people > 1 && waiver.approved_by.is_none(),
        task_state: task.state,
    }
}
