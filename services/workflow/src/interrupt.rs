//! A task broke off while running: the vehicle is held until a person decides.

use chrono::TimeDelta;
use contract::problem::ProblemKind;
use contract::tasks::{Decision, NewDecision, NewInterruption, TaskView};
use domain::lifecycle::{TaskEvent, TaskState};
use serde_json::json;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::take::GRACE;
use crate::view;

/// Reports that a running task broke off, and how the vehicle stands.
pub async fn interrupt(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewInterruption,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.interrupt", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.held_lease(&case, task, new.fence)?;
        let row = step.change_task(&mut case, task, TaskEvent::Interrupt, |_| {}).await?;
        let safety = if new.safe { "safe as it stands" } else { "NOT safe as it stands" };
        let reason = format!(
            "`{}` broke off: {} ({safety}); a person decides",
            row.definition.title, new.vehicle_condition
        );
        step.hold_undecided(&mut case, &row, reason).await?;
        let detail = json!({ "vehicle_condition": new.vehicle_condition, "safe": new.safe,
            "told_unsafe": !new.safe });
        step.end_attempt(&mut case, &row, "interrupted", detail.clone()).await?;
        step.record(Happening {
            kind: "task.held",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "fence": row.fence,
                "detail": detail }),
        })
        .await?;
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

/// Decides what becomes of a task that broke off or failed.
pub async fn decide(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewDecision,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.decide", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        let row = case.task(task)?.clone();
        match new.decision {
            Decision::Resume => step.resume(&mut case, &row).await?,
            Decision::Retry => step.let_go(&mut case, &row, TaskEvent::Retry).await?,
            Decision::GiveUp => step.let_go(&mut case, &row, TaskEvent::GiveUp).await?,
            Decision::RestartChain => step.restart_chain(flow, &mut case, &row).await?,
        }
        let shop = step.shop();
        let now = case.now;
        store::vehicles::clear_holds(step.conn(), shop, task, "undecided", now).await?;
        case.holds.retain(|h| h.task != Some(task) || h.kind != "undecided");
        step.record(Happening {
            kind: "task.decided",
            order: Some(case.order.id),
            subject: ("task", task.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "decision": new.decision,
                "reason": new.reason }),
        })
        .await?;
        step.settle(&mut case).await?;
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

impl Step {
    /// Goes on where it broke off: the same person, with a new fence.
    async fn resume(&mut self, case: &mut Case, task: &TaskRow) -> Result<(), Refusal> {
        if self.technician()? != task.technician.unwrap_or_default() {
            return Err(Refusal::new(
                ProblemKind::NotAble,
                "only the person who worked on it goes on with it",
            ));
        }
        if case.attempt(task).is_some_and(|attempt| attempt.detail["told_unsafe"] == true) {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "the vehicle was told not to be safe: `retry` proves everything again, `give_up` ends the attempt",
            )
            .with("state", task.state.word()));
        }
        self.go_on(case, task.id).await?;
        let until = case.now + TimeDelta::minutes(i64::from(task.definition.minutes.most) + GRACE);
        let row = self
            .change_task(case, task.id, TaskEvent::Resume, |t| {
                t.fence += 1;
                t.lease_until = Some(until);
            })
            .await?;
        if let Some(person) = row.technician {
            self.put_in_use(&store::vehicles::OccupancyRow {
                kind: "technician".to_owned(),
                thing: person,
                order_id: case.order.id,
                task: Some(task.id),
                line: None,
                from_at: case.now,
            })
            .await?;
        }
        let Some(mut attempt) = case.attempt(&row).cloned() else { return Ok(()) };
        attempt.ended_at = None;
        attempt.outcome = None;
        self.keep_attempt(case, attempt).await
    }

    /// The attempt is over: what it used is free.
    async fn let_go(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        event: TaskEvent,
    ) -> Result<(), Refusal> {
        self.change_task(case, task.id, event, |t| {
            t.technician = None;
            t.bay = None;
        })
        .await?;
        let shop = self.shop();
        let now = case.now;
        store::vehicles::free(self.conn(), shop, case.order.id, Some(task.id), None, now).await?;
        case.occupancy.retain(|o| o.task != Some(task.id));
        Ok(())
    }

    /// Every step since the service mode was entered is done again: passed ones become disturbed and are replaced.
    async fn restart_chain(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        task: &TaskRow,
    ) -> Result<(), Refusal> {
        let mine = case.brackets.iter().find(|bracket| bracket.order_id == case.order.id);
        let Some(bracket) = mine.cloned() else {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "no service mode of this order stands open on the vehicle",
            ));
        };
        let goes_on = |t: &&TaskRow| matches!(t.state, TaskState::Running | TaskState::Held);
        if let Some(other) = case.tasks.iter().filter(|t| t.id != task.id).find(goes_on) {
            return Err(Refusal::new(
                ProblemKind::VehicleBusy,
                format!(
                    "`{}` is {}; finish or decide it first",
                    other.definition.title,
                    other.state.word()
                ),
            ));
        }
        self.let_go(case, task, TaskEvent::RestartChain).await?;
        let enters: Vec<Uuid> = case.enters(&bracket).map(|t| t.id).collect();
        let since: Vec<TaskRow> = case
            .tasks
            .iter()
            .filter(|t| t.state == TaskState::Passed && t.id != task.id)
            .filter(|t| {
                enters.iter().any(|enter| t.id == *enter || comes_before(case, *enter, t.id))
            })
            .cloned()
            .collect();
        self.mark_disturbed(case, &since, "the chain is begun again").await?;
        self.derive_again(flow, case).await.map(drop)
    }
}

/// Whether one task comes before another, over any number of steps.
fn comes_before(case: &Case, first: Uuid, then: Uuid) -> bool {
    let mut reached = vec![Node::Task(first)];
    let mut next = 0;
    while next < reached.len() {
        let here = reached[next];
        next += 1;
        for edge in case.precedence.iter().filter(|e| e.before == here) {
            if !reached.contains(&edge.then) {
                reached.push(edge.then);
            }
        }
    }
    reached.contains(&Node::Task(then))
}
