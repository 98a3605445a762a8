//! Whether the vehicle may leave, and all that stands in the way.

use chrono::{DateTime, Utc};
use contract::orders::{LeavingBlock, LeavingConfidence, LeavingView};
use domain::lifecycle::{LineState, OrderState, TaskState};
use domain::order::Authorisation;
use domain::procedure::Ends;
use store::lines::LineRow;

use crate::case::{Case, is_on_hold, line_is_over};
use crate::departures;
use crate::disturbance::recovered_by;

/// Whether the vehicle may leave now.
pub(crate) fn leaving(case: &Case, ready_at: Option<DateTime<Utc>>) -> LeavingView {
    let blocked_by = blocks(case);
    let allowed = blocked_by.is_empty() && case.order.state == OrderState::Open;
    LeavingView {
        allowed,
        earliest_at: if blocked_by.is_empty() { None } else { ready_at },
        confidence: confidence(case, &blocked_by, ready_at.is_some()),
        blocked_by,
    }
}

fn confidence(case: &Case, blocked_by: &[LeavingBlock], is_planned: bool) -> LeavingConfidence {
    let undecided =
        |line: &LineRow| line.authorisation == Authorisation::Pending && !line_is_over(line);
    let no_plan_foresees = |code: &str| match code {
        "question_open" | "task_failed" | "vehicle_away" => true,
        "line_open" => case.lines.iter().any(undecided),
        "hold" => case.holds.iter().any(|hold| hold.until_at.is_none()),
        _ => false,
    };
    if blocked_by.is_empty() {
        LeavingConfidence::Certain
    } else if !is_planned {
        LeavingConfidence::Unknown
    } else if blocked_by.iter().any(|block| no_plan_foresees(&block.code)) {
        LeavingConfidence::Doubtful
    } else {
        LeavingConfidence::Planned
    }
}

fn blocks(case: &Case) -> Vec<LeavingBlock> {
    let mut blocks = Vec::new();
    for task in case.live().filter(|t| !t.state.is_over() && t.definition.ends == Ends::InShop) {
        let decide = matches!(task.state, TaskState::Failed | TaskState::Held);
        blocks.push(LeavingBlock {
            task: Some(task.id),
            ..block(
                if decide { "task_failed" } else { "task_open" },
                format!("`{}` is {}", task.definition.title, task.state.word()),
                if decide { &["technician", "dispatcher"] } else { &["technician"] },
            )
        });
    }
    for task in case.live().filter(|t| t.settled_at.is_some_and(|until| until > case.now)) {
        blocks.push(LeavingBlock {
            task: Some(task.id),
            ..block("settling", format!("`{}` is settling", task.definition.title), &[])
        });
    }
    for line in case.lines.iter().filter(|l| !line_is_over(l)) {
        let paused = if line.state == LineState::Paused { ", laid aside" } else { "" };
        let held = line.on_hold.filter(|_| is_on_hold(line));
        let held = held.map_or(String::new(), |kind| format!(", on hold for {}", kind.word()));
        blocks.push(LeavingBlock {
            line: Some(line.line),
            ..block(
                "line_open",
                format!("the work of line {} is {}{paused}{held}", line.line, line.state.word()),
                &["technician", "integration"],
            )
        });
    }
    for question in case.questions.iter().filter(|q| q.state == "open") {
        blocks.push(LeavingBlock {
            question: Some(question.id),
            ..block(
                "question_open",
                question.text.clone(),
                &["integration", "dispatcher", "technician", "owner"],
            )
        });
    }
    for bracket in &case.brackets {
        let lost = recovered_by(case, bracket)
            .map(|recovers| format!("; where that is lost, `{recovers}` recovers it"));
        blocks.push(LeavingBlock {
            task: Some(bracket.entered_by),
            ..block(
                "bracket_open",
                format!(
                    "`{}` stands open; `{}` leaves it{}",
                    bracket.mode,
                    bracket.left_by,
                    lost.unwrap_or_default()
                ),
                &["technician"],
            )
        });
    }
    for hold in &case.holds {
        blocks.push(LeavingBlock {
            task: hold.task,
            ..block("hold", hold.reason.clone(), &["dispatcher", "technician"])
        });
    }
    if let Some(away) = departures::away(case) {
        blocks.push(block("vehicle_away", away, &["dispatcher", "technician"]));
    }
    blocks
}

fn block(code: &str, detail: String, who: &[&str]) -> LeavingBlock {
    LeavingBlock {
        code: code.to_owned(),
        detail,
        task: None,
        line: None,
        question: None,
        who_can_clear: who.iter().map(|&role| role.to_owned()).collect(),
    }
}
