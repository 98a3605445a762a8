//! Finish: passed if proven, failed with what to look at; then the wait after it.

use chrono::TimeDelta;
use contract::problem::ProblemKind;
use contract::tasks::{NewFinish, Outcome, TaskView};
use domain::lifecycle::{TaskEvent, TaskState};
use domain::procedure::ThenAfterFailure;
use domain::start::{Identity, Obstacle};
use domain::verdict::{Finding, Verdict};
use evidence::judge::{Phase, confront};
use serde_json::json;
use store::tasks::TaskRow;
use store::vehicles::HoldRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::evidence::Arrival;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::refused::{Asked, last_refused};
use crate::reported::{Done, done};
use crate::start::{unproven, with_hazards};
use crate::{verdicts, view};

/// What is asked for here.
const FINISH: &str = "finish";

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
        let now = case.now;
        let attempt = case.attempt(&row).cloned();
        let refused = attempt.as_ref().and_then(|attempt| last_refused(attempt, FINISH));
        let from =
            refused.or(row.started_at).or(attempt.as_ref().map(|a| a.taken_at)).unwrap_or(now);
        let done = done(new.at, from, now)?;
        if !new.evidence.is_empty()
            && let Some(attempt) = attempt
        {
            // It is kept whatever becomes of the finish.
            let items: Vec<_> = new.evidence.iter().cloned().map(Ok).collect();
            step.take_in(&mut case, task, &attempt, &Arrival::default(), &items).await?;
        }
        if done.late {
            step.look_back(&mut case, task).await?;
        }
        match (new.outcome, new.quick_check) {
            (Outcome::Passed, false) => step.pass(&mut case, &row, &new.note, done).await?,
            (Outcome::Passed, true) => step.pass_by_check(&mut case, &row, &new.note, done).await?,
            (Outcome::Failed, _) => step.fail(&mut case, &row, &new.note, done).await?,
        }
        if row.definition.closes.is_some() {
            // A line that was added meanwhile asks for the service mode again.
            step.derive_again(flow, &mut case).await?;
        } else {
            step.settle(&mut case).await?;
        }
        Ok(view::task(&case, case.task(task)?))
    })
    .await
}

/// What stands in the way of passing: a result that is not proven, and what did not hold throughout or was not shown to.
/// A stretch without readings, longer than the signal allows, proves nothing; readings that were taken meanwhile may
/// still be sent.
pub(crate) fn against_passing(running: &[Finding], proof: &[Finding]) -> Vec<Obstacle> {
    let mut obstacles = unproven(proof);
    obstacles.extend(unproven(running).into_iter().map(|mut gap| {
        if gap.verdict != Some(Verdict::Violated) {
            "send the readings that were taken meanwhile, or end the attempt as failed"
                .clone_into(&mut gap.how);
        }
        gap
    }));
    obstacles
}

/// What did not hold and was shown to its sender at once decides, also when the end is told to have come before it.
fn shown_at_once(case: &Case, task: &TaskRow, running: &mut Vec<Finding>) {
    let Some(attempt) = case.attempt(task) else { return };
    let broken = &attempt.detail["broken"];
    let since = verdicts::of(case, task, &task.definition.preconditions, Phase::Running);
    let shown = since
        .into_iter()
        .filter(|now| now.verdict == Verdict::Violated && broken[&now.id]["at_once"] == true);
    for now in shown {
        // A refusal since then names what was not judged before it.
        match running.iter_mut().find(|then| then.id == now.id) {
            Some(then) if then.verdict == Verdict::Violated => {}
            Some(then) => *then = now,
            None => running.push(now),
        }
    }
}

/// The vehicle that stands there, by what was read last, is not the order's.
fn another_vehicle(case: &Case, task: &TaskRow) -> Option<Obstacle> {
    let seen = verdicts::identity(case, task);
    seen.obstacle().filter(|_| matches!(seen, Identity::Mismatch(..)))
}

impl Step {
    /// What is never waived is finished and attested by a person who signed in a short while ago.
    pub(crate) fn signed_in_for(&self, task: &TaskRow) -> Result<(), Refusal> {
        if task.definition.waiver.allowed || self.caller.freshly_signed_in {
            return Ok(());
        }
        let detail = format!(
            "`{}` is never waived: who finishes or attests it signed in within the last {} minutes",
            task.definition.title,
            crate::caller::FRESH_MINUTES
        );
        Err(Refusal::new(ProblemKind::PersonRequired, detail).with("fresh_sign_in", true))
    }

    async fn pass(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        note: &str,
        done: Done,
    ) -> Result<(), Refusal> {
        if task.state != TaskState::Running {
            return Err(crate::case::wrong_state(task, TaskEvent::Pass).keeping());
        }
        self.signed_in_for(task).map_err(Refusal::keeping)?;
        let now = std::mem::replace(&mut case.now, done.at);
        let mut running = verdicts::of(case, task, &task.definition.preconditions, Phase::Running);
        let mut proof = verdicts::of(case, task, &task.definition.proof, Phase::Finishing);
        case.now = now;
        shown_at_once(case, task, &mut running);
        let mut obstacles = against_passing(&running, &proof);
        obstacles.extend(another_vehicle(case, task));
        if !obstacles.is_empty() {
            return Err(self.refuse_finish(case, task, done, obstacles).await?);
        }
        confront(&mut running, &mut proof);
        self.conclude(
            case,
            task,
            "passed",
            json!({ "while_running": running, "proof": proof, "note": note }),
            done,
        )
        .await
    }

    async fn pass_by_check(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        note: &str,
        done: Done,
    ) -> Result<(), Refusal> {
        let Some(check) = &task.definition.quick_check else {
            let detail = "this procedure has no quick check";
            return Err(Refusal::field("/quick_check", detail).keeping());
        };
        if task.state != TaskState::Taken {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                "a quick check closes a task that was taken, not started",
            )
            .with("state", task.state.word())
            .keeping());
        }
        let now = std::mem::replace(&mut case.now, done.at);
        let proof = verdicts::of(case, task, &check.proof, Phase::Starting);
        case.now = now;
        let mut obstacles = unproven(&proof);
        obstacles.extend(verdicts::identity(case, task).obstacle());
        if !obstacles.is_empty() {
            return Err(self.refuse_finish(case, task, done, obstacles).await?);
        }
        let detail = json!({ "proof": proof, "note": note });
        self.conclude(case, task, "passed_by_check", detail, done).await
    }

    async fn refuse_finish(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        done: Done,
        obstacles: Vec<Obstacle>,
    ) -> Result<Refusal, Refusal> {
        let obstacles = with_hazards(obstacles, task);
        match case.attempt(task).cloned() {
            Some(attempt) => {
                let asked = Asked { what: FINISH, as_of: done.at };
                self.refuse(case, task, attempt, asked, obstacles).await
            }
            None => Ok(Refusal::obstacles(obstacles)),
        }
    }

    /// Passes a task: its wait begins, what it used is free, the service mode that it leaves is closed.
    async fn conclude(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        outcome: &str,
        detail: serde_json::Value,
        done: Done,
    ) -> Result<(), Refusal> {
        let now = case.now;
        self.note_late_end(case, task, done).await?;
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
                "detail": detail, "settled_at": until, "ended_at": done.at, "late_seconds": done.late_seconds(now) }),
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

    async fn note_late_end(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        done: Done,
    ) -> Result<(), Refusal> {
        let Some(mut attempt) = case.attempt(task).cloned().filter(|_| done.late) else {
            return Ok(());
        };
        done.note(&mut attempt, "finish", case.now);
        self.keep_attempt(case, attempt).await
    }

    async fn fail(
        &mut self,
        case: &mut Case,
        task: &TaskRow,
        note: &str,
        done: Done,
    ) -> Result<(), Refusal> {
        if note.trim().is_empty() {
            return Err(Refusal::field("/note", "a failure is told in words").keeping());
        }
        let now = case.now;
        self.note_late_end(case, task, done).await?;
        let row =
            self.change_task(case, task.id, TaskEvent::Fail, |t| t.ended_at = Some(now)).await?;
        let proof = verdicts::of(case, task, &task.definition.proof, Phase::Finishing);
        let running = verdicts::of(case, task, &task.definition.preconditions, Phase::Running);
        let detail = json!({ "note": note, "proof": proof, "while_running": running });
        self.end_attempt(case, &row, "failed", detail).await?;
        let shop = self.shop();
        store::vehicles::free(self.conn(), shop, case.order.id, Some(task.id), None, now).await?;
        case.occupancy.retain(|o| o.task != Some(task.id));
        let after = &row.definition.after_failure;
        self.record(Happening {
            kind: "task.failed",
            order: Some(case.order.id),
            subject: ("task", task.id.to_string()),
            data: json!({ "procedure": row.definition.id, "attempt": row.attempt, "note": note,
                "look_at": after.look_at, "then": after.then, "ended_at": done.at,
                "late_seconds": done.late_seconds(now) }),
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
