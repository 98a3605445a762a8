//! Files of evidence: read, and replaced where they show what must not be kept.

use contract::attachments::{NewRedaction, RedactionView};
use contract::problem::ProblemKind;
use serde_json::json;
use store::attachments::{KeptFile, RedactionRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::Flow;
use crate::record::{Happening, hex};
use crate::refusal::Refusal;
use crate::said;

/// The file of an item of evidence, the redacted one where there is one.
pub async fn get(flow: &Flow, caller: &Caller, evidence: Uuid) -> Result<KeptFile, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let file = store::attachments::find(step.conn(), shop, evidence).await?;
        file.ok_or_else(|| Refusal::not_found("attachment"))
    })
    .await
}

/// Puts a redacted file in place of one. What was judged by the first stays judged: its digest is in the journal, and so
/// is the other's.
pub async fn redact(
    flow: &Flow,
    call: &Call,
    evidence: Uuid,
    new: &NewRedaction,
) -> Result<RedactionView, Refusal> {
    let file = said::file(&new.media_type, &new.sha256, &new.data)
        .map_err(|detail| Refusal::field("/data", detail))?;
    flow.write(call, "attachments.redact", async |step| {
        let shop = step.shop();
        let kept = store::attachments::find(step.conn(), shop, evidence).await?;
        let kept = kept.ok_or_else(|| Refusal::not_found("attachment"))?;
        let order = store::tasks::order_of(step.conn(), shop, kept.task).await?;
        let order = order.ok_or_else(|| Refusal::not_found("task"))?;
        step.lock_order(order).await?;
        if kept.redacted.is_some() {
            return Err(Refusal::new(ProblemKind::WrongState, "this file was redacted before"));
        }
        let (at, by) = (step.now().await?, step.caller.subject.clone());
        let row = RedactionRow {
            evidence,
            media_type: &file.media_type,
            sha256: &file.sha256,
            bytes: &file.bytes,
            reason: &new.reason,
            by: &by,
            at,
        };
        store::attachments::redact(step.conn(), shop, &row).await?;
        let view = RedactionView {
            attachment: evidence,
            sha256: hex(&kept.sha256),
            redacted_sha256: hex(&file.sha256),
            reason: new.reason.clone(),
            at,
        };
        step.record(Happening {
            kind: "attachment.redacted",
            order: Some(order),
            subject: ("task", kept.task.to_string()),
            data: json!(view),
        })
        .await?;
        Ok(view)
    })
    .await
}
