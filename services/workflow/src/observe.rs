//! What the floor sees and the order does not say.

use contract::orders::{NewObservation, OrderView};
use domain::order::LineOperation;
use serde::{Deserialize, Serialize};
use serde_json::json;
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
        let mut case = step.lock_case(order).await?;
        let compiled = step.catalogue_of(flow, &case).await?;
        let mut faults = Vec::new();
        if let Some(code) = &new.trouble_code {
            faults.extend(checks::trouble_code(code, "/trouble_code"));
        }
        if let Some(operation) = &new.operation {
            faults.extend(checks::operation(&compiled, operation, "/operation"));
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
                &mut case,
                compiled.catalogue(),
                &operations,
                "an observation on the floor",
                |_| false,
            )
            .await?;
        }
        let changes = step.derive_again(flow, &mut case).await?;
        step.save_order(&mut case).await?;
        let mut order = view::order(&case)?;
        order.changes = Some(changes);
        Ok(order)
    })
    .await
}
