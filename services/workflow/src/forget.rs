//! A duty: answers stored for repeated requests are forgotten after a day.

use chrono::TimeDelta;
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::Flow;
use crate::refusal::Refusal;

/// How long an answer is kept for a request that comes again.
pub const KEPT: TimeDelta = TimeDelta::hours(24);

/// Forgets the answers of a shop that are older than [`KEPT`], and says how many.
pub async fn answers(flow: &Flow, shop: Uuid) -> Result<u64, Refusal> {
    let call = Call { caller: Caller::duty(shop, "answers"), once: None, expects: None };
    flow.write(&call, "answers.forget", async |step| {
        let before = step.now().await? - KEPT;
        Ok(store::stored_answers::forget_before(step.conn(), shop, before).await?)
    })
    .await
}
