//! Finish: passed if proven, failed with what to look at; then the wait after it.

use chrono::TimeDelta;
use contract::problem::{FieldFault, ProblemKind};
use contract::tasks::{NewFinish, Outcome, TaskView};
use domain::lifecycle::{TaskEvent, TaskState};
use domain::procedure::ThenAfterFailure;
use domain::verdict::{Finding, Verdict};
use evidence::judge::{Phase, confront};
use serde_json::json;
use store::tasks::TaskRow;
use store::vehicles::HoldRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::start::unproven;
use crate::{verdicts, view};

/// Ends a task.
pub async fn finish(
    flow: &Flow,
    call: &Call,
    task: Uuid,
    new: &NewFinish,
) -> Result<TaskView, Refusal> {
    flow.write(call, "tasks.finish", async |step| {
        let mut case = step.lock_case_of_task(task).await?;
        step.held_lease(&case, task, new.fence)?;
        let row = case.task(task)?.clone();
        if !new.evidence.is_empty()
            && let Some(attempt) = case.attempt(&row).cloned()
        {
            step.take_in(&mut case, task, &attempt, false, &new.evidence).await?;
        }
        match (new.outcome, new.quick_check) {
            (Outcome::Passed, false) => step.pass(&mut case, &row, &new.note).await?,
            (Outcome::Passed, true) => step.pass_by_check(&mut case, &row, &new.note).await?,
            (Outcome::Failed, _) => step.fail(&mut case, &row, &new.note).await?,
        }
        step.settle(&mut case).await?;
        view::task(&case, case.task(task)?)
    })
    .await
}

impl Step {
    async fn pass(&mut self, case: &mut Case, task: &TaskRow, note: &str) -> Result<(), Refusal> {
        if task.state != TaskState::Running {
            return Err(crate::case::wrong_state(task, TaskEvent::Pass));
        }
        let mut running = verdicts::of(case, task, &task.definition.preconditions, Phase::Running)?;
        let mut proof = verdicts::of(case, task, &task.definition.proof, Phase::Finishing)?;
        let held: Vec<Finding> =
            running.iter().filter(|f| f.verdict == Verdict::Violated).cloned().collect();
        let mut obstacles = unproven(&proof);
        obstacles.extend(unproven(&held));
        if !obstacles.is_empty() {
            return Err(Refusal::obstacles(obstacles));
        }
        confront(&mut running, &mut proof);
        self.conclude(
            case,
            task,
            "passed",
            json!({ "while_running": running, "proof": proof, "note": note }),
        )
        .await
    }

    async fn pass_by_check(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        note: &str,
    ) -> Result<(), Refusal> {
        let Some(check) = &task.definition.quick_check else {
            return Err(Refusal::unprocessable(vec![FieldFault {
                pointer: "/quick_check".to_owned(),
                detail: "this procedure has no quick check".to_owned(),
            }]));
        };
        if task.state != TaskState::Taken {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "a quick check closes a task that was taken, not started",
            )
            .with("state", task.state.word()));
        }
        let proof = verdicts::of(case, task, &check.proof, Phase::Starting)?;
        let mut obstacles = unproven(&proof);
        if verdicts::identity(case, task)? != domain::start::Identity::Matches {
            obstacles.push(domain::start::Obstacle::new(
                "identity_missing",
                "nothing shows in this attempt that this is the order's vehicle",
                "send the VIN read from the vehicle, or type its last six characters beside a photo",
            ));
        }
        if !obstacles.is_empty() {
            return Err(Refusal::obstacles(obstacles));
        }
        self.conclude(case, task, "passed_by_check", json!({ "proof": proof, "note": note })).await
    }

    /// Passes a task: its wait begins, what it used is free, the service mode that it leaves is closed.
    async fn conclude(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        outcome: &str,
        detail: serde_json::Value,
    ) -> Result<(), Refusal> {
        let now = case.now;
        let settle = task.definition.settle;
        let until = now + TimeDelta::seconds(i64::from(settle.seconds));
        let row = self
            .change_task(case, task.id, TaskEvent::Pass, |t| {
                t.ended_at = Some(now);
                t.settled_at = Some(until);
            })
            .await?;
        self.end_attempt(case, &row, outcome, detail.clone()).await?;
        let shop = self.shop();
        store::vehicles::free(self.conn(), shop, case.order.id, Some(task.id), None, now).await?;
        case.occupancy.retain(|o| o.task != Some(task.id));
        if settle.keeps_bay && settle.seconds > 0 {
            let hold = HoldRow {
                id: self.new_id().await?,
                kind: "must_not_move".to_owned(),
                reason: format!(
                    "`{}` is settling; the vehicle must not move",
                    task.definition.title
                ),
                task: Some(task.id),
                until_at: Some(until),
            };
            store::vehicles::open_hold(self.conn(), shop, case.vehicle.id, &hold, now).await?;
            case.holds.push(hold);
        }
        self.record(Happening {
            kind: "task.passed",
            order: Some(case.order.id),
            subject: ("task", task.id.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "outcome": outcome,
                "detail": detail, "settled_at": until }),
        })
        .await?;
        if let Some(mode) = &task.definition.closes
            && store::vehicles::close_bracket(
                self.conn(),
                shop,
                case.vehicle.id,
                mode,
                task.id,
                now,
            )
            .await?
        {
            case.brackets.retain(|b| b.mode != *mode);
            self.record(Happening {
                kind: "bracket.left",
                order: Some(case.order.id),
                subject: ("vehicle", case.vehicle.id.to_string()),
                data: json!({ "mode": mode, "task": task.id }),
            })
            .await?;
        }
        Ok(())
    }

    async fn fail(&mut self, case: &mut Case, task: &TaskRow, note: &str) -> Result<(), Refusal> {
        if note.is_empty() {
            return Err(Refusal::unprocessable(vec![FieldFault {
                pointer: "/note".to_owned(),
                detail: "a failure is told in words".to_owned(),
            }]));
        }
        let now = case.now;
        let row =
            self.change_task(case, task.id, TaskEvent::Fail, |t| t.ended_at = Some(now)).await?;
        let proof = verdicts::of(case, task, &task.definition.proof, Phase::Finishing)?;
        self.end_attempt(case, &row, "failed", json!({ "note": note, "proof": proof })).await?;
        let shop = self.shop();
        store::vehicles::free(self.conn(), shop, case.order.id, Some(task.id), None, now).await?;
        case.occupancy.retain(|o| o.task != Some(task.id));
        let after = &row.definition.after_failure;
        self.record(Happening {
            kind: "task.failed",
            order: Some(case.order.id),
            subject: ("task", task.id.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "note": note,
                "look_at": after.look_at, "then": after.then }),
        })
        .await?;
        if after.then == ThenAfterFailure::Retry {
            self.change_task(case, task.id, TaskEvent::Retry, |t| {
                t.technician = None;
                t.bay = None;
            })
            .await?;
        }
        Ok(())
    }
}
