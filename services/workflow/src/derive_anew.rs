//! Derive anew, on purpose: an order goes over to the catalogue in force.

use std::collections::BTreeSet;

use contract::orders::OrderView;
use derivation::compare::Key;
use domain::lifecycle::{LineState, TaskEvent, TaskState};
use domain::order::Reading;
use serde_json::json;
use store::lines::LineRow;
use store::tasks::HeldRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::checks::fault;
use crate::flow::{Flow, Step};
use crate::foretell::Pair;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::view;

/// Derives an open order anew with the catalogue in force. Lines that nobody understood are read again with the
/// shop's words of today; tasks that nobody tried get the new wording; what was tried keeps its own. Refused while the
/// catalogue does not know an operation of the order that its old one knows.
pub async fn derive_anew(flow: &Flow, call: &Call, order: Uuid) -> Result<OrderView, Refusal> {
    flow.write(call, "orders.derive_anew", async |step| {
        let mut case = step.lock_open(call, order).await?;
        let old = step.catalogue_of(flow, &case).await?;
        let (version, new) = step.catalogue_in_force(flow).await?;
        let pair = Pair::new(&old, &new);
        let unknown = pair.unknown(&case.lines);
        if !unknown.is_empty() {
            let unknown = unknown.into_iter().map(|(line, words)| {
                fault(
                    &format!("lines.{line}"),
                    format!("the catalogue {version} does not know `{words}`"),
                )
            });
            return Err(Refusal::unprocessable(unknown.collect()));
        }
        let from = std::mem::replace(&mut case.order.catalogue_version, version.clone());
        step.record(Happening {
            kind: "order.derived_anew",
            order: Some(order),
            subject: ("order", order.to_string()),
            data: json!({ "from": from, "catalogue": version }),
        })
        .await?;
        step.read_open_lines(flow, &mut case).await?;
        let held: Vec<HeldRow> = case.tasks.iter().map(HeldRow::from).collect();
        let undone = pair.undone(&held, &case.lines);
        let undone = step.undo(&mut case, &undone, &version).await?;
        let mut changes = step.derive_again(flow, &mut case).await?;
        step.save_order(&mut case).await?;
        changes.disturbed.extend(undone);
        changes.disturbed = BTreeSet::from_iter(changes.disturbed).into_iter().collect();
        let mut shown = view::order(&case);
        shown.changes = Some(changes);
        Ok(shown)
    })
    .await
}

impl Step {
    /// Reads the lines again that are still a question.
    async fn read_open_lines(&mut self, flow: &Flow, case: &mut Case) -> Result<(), Refusal> {
        let reader = self.reader(flow).await?;
        let shop = self.shop();
        let open: Vec<LineRow> = case
            .lines
            .iter()
            .filter(|line| line.state != LineState::Removed && line.operations.is_empty())
            .filter(|line| matches!(line.reading.reading, Reading::Unsure | Reading::Unread))
            .cloned()
            .collect();
        for line in open {
            let code = line.labour_code.as_deref().unwrap_or_default();
            let reading = reader.read_words(line.line, &[], &line.text, code);
            if reading != line.reading {
                let line = LineRow { reading, ..line };
                store::lines::put(self.conn(), shop, &line).await?;
                case.keep_line(line);
            }
        }
        Ok(())
    }

    /// Marks passed tasks as disturbed by what was begun since, as this catalogue sees it.
    async fn undo(
        &mut self,
        case: &mut Case,
        undone: &[Key],
        version: &str,
    ) -> Result<Vec<Uuid>, Refusal> {
        let is_undone = |procedure: &str, place: &str| {
            undone.iter().any(|key| {
                key.procedure == procedure && key.place.as_deref().unwrap_or_default() == place
            })
        };
        let rows: Vec<(Uuid, String)> = case
            .tasks
            .iter()
            .filter(|t| t.state == TaskState::Passed && is_undone(&t.definition.id, &t.place))
            .map(|t| (t.id, t.definition.id.clone()))
            .collect();
        for (id, procedure) in &rows {
            self.change_task(case, *id, TaskEvent::Disturb, |_| {}).await?;
            self.record(Happening {
                kind: "task.disturbed",
                order: Some(case.order.id),
                subject: ("task", id.to_string()),
                data: json!({ "procedure": procedure, "by": format!("the catalogue {version}") }),
            })
            .await?;
        }
        Ok(rows.into_iter().map(|(id, _)| id).collect())
    }
}
