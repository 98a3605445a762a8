//! What was done without a network and is reported later: judged as of its own moment, never taken for on time.

use chrono::{DateTime, Utc};
use contract::tasks::ReportedLate;
use domain::start::Obstacle;
use evidence::intake::CLOCK_TOLERANCE;
use serde_json::json;
use store::attempts::AttemptRow;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::refusal::Refusal;
use crate::start::uuid_of;

/// The moment at which something was done: now, or an earlier one that a client tells of.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Done {
    pub(crate) at: DateTime<Utc>,
    /// It was told later than the clocks' tolerance.
    pub(crate) late: bool,
}

/// The moment of a step by the client's word: not before `from`, not later than now.
pub(crate) fn done(
    claimed: Option<DateTime<Utc>>,
    from: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Done, Refusal> {
    let Some(at) = claimed else { return Ok(Done { at: now, late: false }) };
    let refuse = |detail: &str| Err(Refusal::field("/at", detail));
    if at > now + CLOCK_TOLERANCE {
        return refuse("it lies in the future by the service's clock");
    }
    if at < from - CLOCK_TOLERANCE {
        return refuse(
            "it lies before the attempt or its start, or before it was asked for and refused",
        );
    }
    let late = now - at > CLOCK_TOLERANCE;
    Ok(Done { at: if late { at.max(from) } else { now }, late })
}

impl Done {
    /// Puts a late step into the attempt's record.
    pub(crate) fn note(self, attempt: &mut AttemptRow, step: &str, now: DateTime<Utc>) {
        if self.late {
            attempt.detail["reported_late"][step] =
                json!({ "done_at": self.at, "reported_at": now });
        }
    }

    /// Seconds from doing to telling, when it was told late.
    pub(crate) fn late_seconds(self, now: DateTime<Utc>) -> Option<i64> {
        self.late.then(|| (now - self.at).num_seconds())
    }
}

/// The late steps of an attempt.
pub(crate) fn late_steps(attempt: Option<&AttemptRow>) -> Vec<ReportedLate> {
    let moment = |value: &serde_json::Value| value.as_str().and_then(|text| text.parse().ok());
    let noted = attempt.and_then(|attempt| attempt.detail["reported_late"].as_object());
    let mut steps: Vec<ReportedLate> = noted
        .into_iter()
        .flatten()
        .filter_map(|(step, times)| {
            Some(ReportedLate {
                step: step.clone(),
                done_at: moment(&times["done_at"])?,
                reported_at: moment(&times["reported_at"])?,
            })
        })
        .collect();
    steps.sort_by_key(|step| step.done_at);
    steps
}

impl Step {
    /// What stood in the way at an earlier moment and no longer does: what came first and had not ended, what was in use.
    pub(crate) async fn in_the_way_at(
        &mut self,
        case: &Case,
        task: &TaskRow,
        at: DateTime<Utc>,
    ) -> Result<Vec<Obstacle>, Refusal> {
        let mut found = Vec::new();
        let node = Node::Task(task.id);
        for edge in case.precedence.iter().filter(|edge| edge.then == node) {
            match edge.before {
                Node::Task(id) => {
                    let earlier = case.tasks.iter().find(|t| t.id == id);
                    if let Some(earlier) =
                        earlier.filter(|t| t.ended_at.is_some_and(|end| end > at))
                    {
                        found.push(Obstacle {
                            task: Some(id),
                            ..Obstacle::new(
                                "earlier_task_open",
                                format!(
                                    "`{}` comes first and had not ended then",
                                    earlier.definition.title
                                ),
                                "do it again, now that it has",
                            )
                        });
                    }
                }
                Node::Line(number) => {
                    let line = case.lines.iter().find(|l| l.line == number);
                    if line.is_some_and(|l| l.finished_at.is_some_and(|end| end > at)) {
                        found.push(Obstacle {
                            line: Some(number),
                            ..Obstacle::new(
                                "line_open",
                                format!(
                                    "the mechanical work of line {number} was not finished then"
                                ),
                                "do it again, now that it is",
                            )
                        });
                    }
                }
            }
        }
        let attempt = case.attempt(task);
        let units = attempt.map(|a| a.equipment.clone()).unwrap_or_default();
        let units = units.as_array().into_iter().flatten().filter_map(uuid_of);
        let things: Vec<Uuid> =
            units.chain(task.bay).chain(task.technician).chain([case.vehicle.id]).collect();
        let shop = self.shop();
        let used = store::vehicles::used_since(self.conn(), shop, &things, at).await?;
        found.extend(used.into_iter().filter(|row| row.task != Some(task.id)).map(|row| {
            let code = if row.kind == "vehicle" { "vehicle_busy" } else { "resource_missing" };
            Obstacle::new(
                code,
                format!("the {} was in use for another task or line since then", row.kind),
                "do it again, now that it is free",
            )
        }));
        Ok(found)
    }
}
