//! What an operation undoes: passed tasks, and service modes that stand open.

use std::collections::BTreeSet;

use domain::catalogue::Catalogue;
use domain::lifecycle::{TaskEvent, TaskState};
use domain::operation::{Operation, OperationPattern};
use serde_json::json;
use store::lines::LineRow;
use store::tasks::TaskRow;
use store::vehicles::BracketRow;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::{Flow, Step};
use crate::record::Happening;
use crate::refusal::Refusal;

/// Operations with all that they amount to on any vehicle: what could be disturbed counts as disturbed.
pub(crate) fn amounts_to(catalogue: &Catalogue, operations: &[Operation]) -> Vec<Operation> {
    let mut all: Vec<Operation> = operations.to_vec();
    let mut seen: BTreeSet<Operation> = all.iter().cloned().collect();
    let mut next = 0;
    while next < all.len() {
        let here = all[next].clone();
        next += 1;
        for implication in &catalogue.implications {
            if implication.when.iter().any(|pattern| matches(catalogue, pattern, &here)) {
                for emitted in &implication.emits {
                    let placed = Operation {
                        place: emitted.place.clone().or(here.place.clone()),
                        ..emitted.clone()
                    };
                    if seen.insert(placed.clone()) {
                        all.push(placed);
                    }
                }
            }
        }
    }
    all
}

/// Whether the pattern matches the operation: its component or any parent of it, and its action.
pub(crate) fn matches(
    catalogue: &Catalogue,
    pattern: &OperationPattern,
    operation: &Operation,
) -> bool {
    if !pattern.actions.is_empty() && !pattern.actions.contains(&operation.action) {
        return false;
    }
    let components = &catalogue.vocabulary.components;
    let mut here = Some(operation.component.as_str());
    for _ in 0..=components.len() {
        let Some(name) = here else { return false };
        if name == pattern.component {
            return true;
        }
        here = components.iter().find(|c| c.id == name).and_then(|c| c.parent.as_deref());
    }
    false
}

/// The operations of a line that were not ruled out.
pub(crate) fn operations_of_line(line: &LineRow) -> Vec<Operation> {
    let ruled_out: Vec<Operation> = line
        .operations
        .iter()
        .filter(|o| o.done == domain::order::Done::NotDone)
        .map(domain::order::LineOperation::operation)
        .collect();
    line.reading
        .operations
        .iter()
        .map(|o| Operation {
            action: o.action.clone(),
            component: o.component.clone(),
            place: o.place.clone(),
        })
        .filter(|o| !ruled_out.contains(o))
        .collect()
}

/// Service modes that these operations would disturb, other than those that their own work belongs into.
pub(crate) fn disturbed_brackets(
    catalogue: &Catalogue,
    case: &Case,
    operations: &[Operation],
    inside: impl Fn(&BracketRow) -> bool,
) -> Vec<domain::start::OpenBracket> {
    let all = amounts_to(catalogue, operations);
    case.brackets
        .iter()
        .filter(|bracket| !inside(bracket))
        .filter(|bracket| {
            bracket.disturbed_by.iter().any(|p| all.iter().any(|o| matches(catalogue, p, o)))
        })
        .map(|bracket| domain::start::OpenBracket {
            mode: bracket.mode.clone(),
            entered_by: bracket.entered_by,
            order: bracket.order_id,
            left_by: bracket.left_by.clone(),
            recovered_by: recovered_by(case, bracket),
        })
        .collect()
}

/// The procedure that recovers a service mode which was lost, as the task told that entered it.
pub(crate) fn recovered_by(case: &Case, bracket: &BracketRow) -> Option<String> {
    let mut all = case.tasks.iter().chain(&case.beside);
    let entered = all.find(|task| task.id == bracket.entered_by)?;
    entered.definition.opens.as_ref()?.recovered_by.clone()
}

/// Whether a task belongs into a service mode: it entered it, leaves it, or follows its leaving.
pub(crate) fn task_inside(case: &Case, task: &TaskRow, bracket: &BracketRow) -> bool {
    task.id == bracket.entered_by
        || task.definition.closes.as_deref() == Some(bracket.mode.as_str())
        || task.definition.opens.as_ref().is_some_and(|opens| opens.mode == bracket.mode)
        || (bracket.order_id == case.order.id && case.is_bound_by_bracket(task))
}

/// Whether a line belongs into a service mode: the task that entered it was required by this line.
pub(crate) fn line_inside(case: &Case, line: &LineRow, bracket: &BracketRow) -> bool {
    bracket.order_id == case.order.id && case.enters(bracket).any(|t| t.lines.contains(&line.line))
}

impl Step {
    /// Marks what these operations undo: passed tasks become disturbed. The next derivation puts new tasks in their place;
    /// the vehicle's other open orders are derived again here.
    pub(crate) async fn disturb(
        &mut self,
        flow: &Flow,
        case: &mut Case,
        catalogue: &Catalogue,
        operations: &[Operation],
        by: &str,
        inside: impl Fn(&TaskRow) -> bool,
    ) -> Result<Vec<Uuid>, Refusal> {
        let all = amounts_to(catalogue, operations);
        let undone: Vec<TaskRow> = case
            .tasks
            .iter()
            .filter(|t| t.state == TaskState::Passed && !inside(t))
            .filter(|t| all.iter().any(|o| undoes(catalogue, t, o)))
            .cloned()
            .collect();
        self.mark_disturbed(case, &undone, by).await?;
        self.disturb_beside(flow, case, catalogue, &all, by).await?;
        Ok(undone.into_iter().map(|t| t.id).collect())
    }

    /// The same on the other open orders of the vehicle, which is locked.
    async fn disturb_beside(
        &mut self,
        flow: &Flow,
        case: &Case,
        catalogue: &Catalogue,
        all: &[Operation],
        by: &str,
    ) -> Result<(), Refusal> {
        let undone = |t: &TaskRow| {
            t.state == TaskState::Passed && all.iter().any(|o| undoes(catalogue, t, o))
        };
        let orders: BTreeSet<Uuid> =
            case.beside.iter().filter(|t| undone(t)).map(|t| t.order_id).collect();
        for order in orders {
            let mut other = self.lock_case(order).await?;
            let tasks: Vec<TaskRow> = other.tasks.iter().filter(|t| undone(t)).cloned().collect();
            let by = format!("{by}, on order {}", case.order.number);
            self.mark_disturbed(&mut other, &tasks, &by).await?;
            self.derive_again(flow, &mut other).await?;
        }
        Ok(())
    }

    /// Marks passed tasks as disturbed, and records by what. The next derivation puts new ones in their place.
    pub(crate) async fn mark_disturbed(
        &mut self,
        case: &mut Case,
        passed: &[TaskRow],
        by: &str,
    ) -> Result<(), Refusal> {
        for task in passed {
            self.change_task(case, task.id, TaskEvent::Disturb, |_| {}).await?;
            self.record(Happening {
                kind: "task.disturbed",
                order: Some(case.order.id),
                subject: ("task", task.id.to_string()),
                data: json!({ "procedure": task.definition.id, "by": by }),
            })
            .await?;
        }
        Ok(())
    }
}

/// Whether an operation undoes a passed task.
fn undoes(catalogue: &Catalogue, task: &TaskRow, operation: &Operation) -> bool {
    let here = |pattern: &OperationPattern| matches(catalogue, pattern, operation);
    let elsewhere = !task.place.is_empty()
        && operation.place.as_deref().is_some_and(|place| place != task.place);
    !elsewhere
        && task.definition.disturbed_by.iter().any(here)
        && !task.definition.survives.iter().any(|s| here(&s.operation))
}
