//! What the floor sees and the order does not say.

use contract::orders::{NewObservation, OrderView};
use domain::lifecycle::TaskState;
use domain::order::LineOperation;
use domain::precondition::Condition;
use domain::procedure::Procedure;
use evidence::judge::codes;
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::tasks::TaskRow;
use uuid::Uuid;

use crate::caller::Call;
use crate::flow::Flow;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::{checks, view};

/// An observation as the order keeps it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Observation {
    #[serde(default)]
    pub(crate) trouble_code: Option<String>,
    #[serde(default)]
    pub(crate) complaint: Option<String>,
    #[serde(default)]
    pub(crate) operation: Option<LineOperation>,
}

/// Takes an observation in; the order is derived again.
pub async fn observe(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    new: &NewObservation,
) -> Result<OrderView, Refusal> {
    flow.write(call, "orders.observe", async |step| {
        let mut case = step.lock_open(call, order).await?;
        let compiled = step.catalogue_of(flow, &case).await?;
        let mut faults = Vec::new();
        if let Some(code) = &new.trouble_code {
            faults.extend(checks::trouble_code(code, "/trouble_code"));
        }
        if let Some(operation) = &new.operation {
            faults.extend(checks::operation(&compiled, &operation.operation(), "/operation"));
        }
        if !faults.is_empty() {
            return Err(Refusal::unprocessable(faults));
        }
        if let Some(list) = case.order.observations.as_array_mut() {
            list.push(json!(new));
        }
        step.record(Happening {
            kind: "order.observed",
            order: Some(order),
            subject: ("order", order.to_string()),
            data: json!(new),
        })
        .await?;
        if let Some(operation) =
            new.operation.as_ref().filter(|o| o.done != domain::order::Done::NotDone)
        {
            let operations = [operation.operation()];
            step.disturb(
                flow,
                &mut case,
                compiled.catalogue(),
                &operations,
                "an observation on the floor",
                |_| false,
            )
            .await?;
        }
        if let Some(code) = &new.trouble_code {
            let cured: Vec<TaskRow> = case
                .tasks
                .iter()
                .filter(|t| t.state == TaskState::Passed && cures(&t.definition, code))
                .cloned()
                .collect();
            let by = format!("{code}, which is there again");
            step.mark_disturbed(&mut case, &cured, &by).await?;
        }
        let changes = step.derive_again(flow, &mut case).await?;
        step.save_order(&mut case).await?;
        let mut order = view::order(&case);
        order.changes = Some(changes);
        Ok(order)
    })
    .await
}

/// Whether a code is of the class that a procedure is to cure: its preconditions except it for that reason.
fn cures(procedure: &Procedure, code: &str) -> bool {
    procedure.preconditions.iter().any(|precondition| {
        excepted(&precondition.condition).iter().any(|pattern| codes::matches(pattern, code))
    })
}

fn excepted(condition: &Condition) -> Vec<&str> {
    match condition {
        Condition::NoCode { except, .. } => except.iter().map(String::as_str).collect(),
        Condition::All(all) | Condition::Any(all) => all.iter().flat_map(excepted).collect(),
        _ => Vec::new(),
    }
}
