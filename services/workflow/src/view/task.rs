//! A task as everybody sees it.

use contract::tasks::{
    Because, CautionView, DEFERENCE, NeedsView, PlannedView, PreconditionView, QuickCheckView,
    TaskView, WaitsFor,
};
use domain::lifecycle::TaskState;
use domain::order::OnHold;
use domain::precondition::Precondition;
use domain::procedure::{PlaceOfWork, Procedure};
use domain::start::Obstacle;
use domain::verdict::{Finding, Verdict};
use evidence::judge::Phase;
use store::tasks::{Node, TaskRow};
use uuid::Uuid;

use super::result_fields::result_fields;
use crate::case::{Case, hold_ends, is_on_hold};
use crate::{limits, reported, verdicts};

/// A stored task with its present verdicts.
pub(crate) fn task(case: &Case, task: &TaskRow) -> TaskView {
    let procedure = &task.definition;
    let waits = case.waits(Node::Task(task.id));
    let over = task.state.is_over();
    let mut waits_for: Vec<WaitsFor> = case
        .open_before(Node::Task(task.id))
        .into_iter()
        .map(|node| WaitsFor { task: node.task(), line: node.line(), until: None })
        .collect();
    waits_for.extend(waits.iter().map(|(earlier, until)| WaitsFor {
        task: Some(earlier.id),
        line: None,
        until: Some(*until),
    }));
    let settling =
        task.settled_at.filter(|until| task.state == TaskState::Passed && *until > case.now);
    let preconditions = verdicts::present(case, task);
    let proof = verdicts::of_proof(case, task);
    let acknowledged = case.acknowledged_by_holder(task);
    let planned =
        case.plan.iter().find(|item| item.task == Some(task.id)).map(|item| PlannedView {
            bay: item.bay,
            technicians: item.technicians.clone(),
            starts_at: item.starts_at,
            ends_at: item.ends_at,
        });
    let mut view = dry_task(
        task.id,
        procedure,
        &task.place,
        serde_json::from_value(task.because.clone()).unwrap_or_default(),
    );
    for caution in &mut view.cautions {
        caution.acknowledged = acknowledged.contains(&caution.caution.id);
    }
    view.next_action = next_action(task, &view.cautions, &preconditions, &waits_for);
    TaskView {
        order: Some(task.order_id),
        state: task.state,
        until: settling.or_else(|| waits.iter().map(|(_, until)| *until).max().filter(|_| !over)),
        waits_for: if over { Vec::new() } else { waits_for },
        preconditions: with_verdicts(
            &limits::in_force(case, task, &procedure.preconditions),
            &preconditions,
        ),
        proof: with_verdicts(&limits::in_force(case, task, &procedure.proof), &proof),
        quick_check: procedure.quick_check.as_ref().filter(|_| !over).map(|check| QuickCheckView {
            text: check.text.clone(),
            proof: with_verdicts(
                &limits::in_force(case, task, &check.proof),
                &verdicts::of(case, task, &check.proof, Phase::Starting),
            ),
        }),
        attempt: task.attempt,
        fence: task.fence,
        technician: task.technician,
        bay: task.bay,
        lease_until: task.lease_until,
        started_at: task.started_at,
        ended_at: task.ended_at,
        reported_late: reported::late_steps(case.attempt(task)),
        replaces: task.replaces,
        no_longer_needed: task.no_longer_needed,
        planned: planned.filter(|_| !over),
        ..view
    }
}

/// A task as a procedure says it, before anything happened.
pub(crate) fn dry_task(
    id: Uuid,
    procedure: &Procedure,
    place: &str,
    because: Vec<Because>,
) -> TaskView {
    TaskView {
        id,
        order: None,
        procedure: procedure.id.clone(),
        place: (!place.is_empty()).then(|| place.to_owned()),
        title: procedure.title.clone(),
        kind: procedure.kind,
        phase: procedure.phase,
        state: TaskState::Waiting,
        until: None,
        waits_for: Vec::new(),
        settle: procedure.settle,
        needs: NeedsView {
            bay: match &procedure.place_of_work {
                PlaceOfWork::Bay(capabilities) => Some(capabilities.clone()),
                PlaceOfWork::Road => None,
            },
            skills: procedure.skills.clone(),
            equipment: procedure.equipment.keys().cloned().collect(),
            people: procedure.people,
        },
        minutes: procedure.minutes,
        ends: procedure.ends,
        because,
        cautions: procedure
            .cautions
            .iter()
            .map(|caution| CautionView { caution: caution.clone(), acknowledged: false })
            .collect(),
        preconditions: with_verdicts(&procedure.preconditions, &[]),
        proof: with_verdicts(&procedure.proof, &[]),
        quick_check: procedure.quick_check.as_ref().map(|check| QuickCheckView {
            text: check.text.clone(),
            proof: with_verdicts(&check.proof, &[]),
        }),
        steps: procedure.steps.clone(),
        result_fields: result_fields(&procedure.proof),
        next_action: String::new(),
        attempt: 0,
        fence: 0,
        technician: None,
        bay: None,
        lease_until: None,
        started_at: None,
        ended_at: None,
        reported_late: Vec::new(),
        replaces: None,
        no_longer_needed: false,
        planned: None,
        deference: DEFERENCE.to_owned(),
    }
}

/// What comes before a node and is open, as reasons.
pub(crate) fn obstacles_before(case: &Case, node: Node) -> Vec<Obstacle> {
    let open = case.open_before(node).into_iter().map(|earlier| match earlier {
        Node::Task(id) => {
            let row = case.tasks.iter().find(|t| t.id == id);
            let words = row.map_or(String::new(), |t| {
                format!("`{}` comes first and is {}", t.definition.title, t.state.word())
            });
            Obstacle {
                task: Some(id),
                ..Obstacle::new("earlier_task_open", words, "finish it first")
            }
        }
        Node::Line(line) if case.line(line).is_ok_and(is_on_hold) => on_hold(case, line),
        Node::Line(line) => Obstacle {
            line: Some(line),
            ..Obstacle::new(
                "line_open",
                format!("the mechanical work of line {line} is not finished"),
                "report the line finished",
            )
        },
    });
    let waits = case.waits(node);
    let waits = waits.iter().map(|(task, until)| Obstacle {
        task: Some(task.id),
        earliest_at: Some(*until),
        ..Obstacle::new("settling", format!("`{}` is settling", task.definition.title), "wait")
    });
    open.chain(waits).collect()
}

/// A line on hold, as a reason.
pub(crate) fn on_hold(case: &Case, number: i32) -> Obstacle {
    let line = case.line(number).ok();
    let kind = line.and_then(|line| line.on_hold).map_or("something", OnHold::word);
    let until = line.and_then(hold_ends);
    let until = until.map_or(String::new(), |at| format!(", expected at {}", at.to_rfc3339()));
    Obstacle {
        line: Some(number),
        ..Obstacle::new(
            "line_on_hold",
            format!("line {number} is on hold for {kind}{until}"),
            "put the line without `on_hold` when it may go on",
        )
    }
}

fn with_verdicts(conditions: &[Precondition], findings: &[Finding]) -> Vec<PreconditionView> {
    conditions
        .iter()
        .map(|condition| {
            let finding = findings.iter().find(|finding| finding.id == condition.id);
            PreconditionView {
                id: condition.id.clone(),
                text: condition.text.clone(),
                may_differ: condition.may_differ.clone(),
                by_alternative: finding.is_some_and(|f| f.by_alternative),
                waived: finding.is_some_and(|f| f.waived),
                condition: condition.condition.clone(),
                verdict: finding.map_or(Verdict::Missing, |f| f.verdict),
                detail: finding.map(|f| f.detail.clone()).unwrap_or_default(),
                accepts: finding.map(|f| f.accepts.clone()).unwrap_or_default(),
                throughout: condition.throughout || condition.while_running.is_some(),
                while_running: condition.while_running.clone(),
                hold_for: (condition.hold_for > 0).then_some(condition.hold_for),
                max_age: condition.max_age,
                source: condition.source.clone(),
            }
        })
        .collect()
}

/// The next thing to do, in words.
fn next_action(
    task: &TaskRow,
    cautions: &[CautionView],
    preconditions: &[Finding],
    waits_for: &[WaitsFor],
) -> String {
    match task.state {
        TaskState::Waiting => format!("wait for {} earlier thing(s)", waits_for.len()),
        TaskState::Ready if !waits_for.is_empty() => {
            "wait until what came before has settled".to_owned()
        }
        TaskState::Ready => "take it".to_owned(),
        TaskState::Taken => {
            if let Some(open) = cautions.iter().find(|c| !c.acknowledged) {
                return format!("read and acknowledge the caution `{}`", open.caution.id);
            }
            match preconditions.iter().find(|f| f.verdict != Verdict::Met && !f.waived) {
                Some(finding) => format!("prove `{}`: {}", finding.id, finding.text),
                None => "show the vehicle's identity if it was not shown, then start".to_owned(),
            }
        }
        TaskState::Running
            if preconditions.iter().any(|f| f.verdict == Verdict::Violated && !f.waived) =>
        {
            "something did not hold that must hold throughout: end the attempt as failed".to_owned()
        }
        TaskState::Running => "do the steps, send what proves the result, then finish".to_owned(),
        TaskState::Held | TaskState::Failed => "a person decides how it goes on".to_owned(),
        TaskState::Passed | TaskState::Disturbed | TaskState::Withdrawn | TaskState::Waived => {
            "nothing".to_owned()
        }
    }
}
