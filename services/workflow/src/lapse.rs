//! A duty: leases and waivers that ran out end, even when nobody asks.

use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Ends the leases and waivers of a shop that ran out, and says on how many orders. Every step ends those of its own order besides.
pub async fn end_leases(flow: &Flow, shop: Uuid) -> Result<usize, Refusal> {
    let caller = Caller::duty(shop, "leases");
    let over = flow
        .read(&caller, async |step| {
            let now = step.now().await?;
            let mut over = store::leases::lapsed(step.conn(), shop, now).await?;
            over.extend(store::waivers::ended(step.conn(), shop, now).await?);
            over.sort_unstable();
            over.dedup();
            Ok(over)
        })
        .await?;
    for order in &over {
        let call = Call { caller: caller.clone(), once: None, expects: None };
        flow.write(&call, "leases.lapse", async |step| {
            let mut case = step.lock_case(*order).await?;
            step.settle(&mut case).await
        })
        .await?;
    }
    Ok(over.len())
}
