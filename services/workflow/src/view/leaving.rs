//! Whether the vehicle may leave, and all that stands in the way.

use chrono::{DateTime, Utc};
use contract::orders::{LeavingBlock, LeavingView};
use domain::lifecycle::{LineState, OrderState, TaskState};
use domain::procedure::Ends;

use crate::case::{Case, line_is_over};

/// Whether the vehicle may leave now.
pub(crate) fn leaving(case: &Case, ready_at: Option<DateTime<Utc>>) -> LeavingView {
    let blocked_by = blocks(case);
    let allowed = blocked_by.is_empty() && case.order.state == OrderState::Open;
    LeavingView {
        allowed,
        earliest_at: if blocked_by.is_empty() { None } else { ready_at },
        blocked_by,
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
        blocks.push(LeavingBlock {
            line: Some(line.line),
            ..block(
                "line_open",
                format!("the work of line {} is {}{paused}", line.line, line.state.word()),
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
        blocks.push(LeavingBlock {
            task: Some(bracket.entered_by),
            ..block(
                "bracket_open",
                format!("`{}` stands open; `{}` leaves it", bracket.mode, bracket.left_by),
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
