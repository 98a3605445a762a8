//! The event feed: the journal's entries in their order, as `CloudEvents` 1.0.

use std::time::Duration;

use contract::journal::{Event, EventQuery, EventsView};
use serde_json::Value;
use store::journal::SealedRow;

use crate::caller::Caller;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Events of a page when nobody says otherwise.
const PAGE: u32 = 100;
/// How often a waiting reader looks again; positions are given beside the requests.
const LOOK_AGAIN: Duration = Duration::from_millis(50);

/// Events behind a position, at once or as soon as there are any, within the seconds of `wait`.
pub async fn events(
    flow: &Flow,
    caller: &Caller,
    query: &EventQuery,
) -> Result<EventsView, Refusal> {
    let after = query.after.unwrap_or(-1);
    let limit = i64::from(query.limit.unwrap_or(PAGE).clamp(1, 500));
    let patience = Duration::from_secs(u64::from(query.wait.unwrap_or(0).min(30)));
    let deadline = tokio::time::Instant::now() + patience;
    loop {
        let rows = flow
            .read(caller, async |step| {
                let shop = step.shop();
                Ok(store::journal::sealed(step.conn(), shop, after, limit).await?)
            })
            .await?;
        if !rows.is_empty() || tokio::time::Instant::now() >= deadline {
            let events: Vec<Event> = rows.iter().map(|row| event(caller, row)).collect();
            let after = events.last().map_or(after, |event| event.position);
            return Ok(EventsView { events, after });
        }
        tokio::time::sleep(LOOK_AGAIN).await;
    }
}

fn event(caller: &Caller, row: &SealedRow) -> Event {
    let entry: Value = serde_json::from_slice(&row.bytes).unwrap_or_default();
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    Event {
        specversion: "1.0".to_owned(),
        id: row.id,
        source: format!("/shops/{}", caller.shop),
        kind: row.kind.clone(),
        subject: format!("{}/{}", text(&entry["subject"]["type"]), text(&entry["subject"]["id"])),
        time: row.at,
        datacontenttype: "application/json".to_owned(),
        position: row.position,
        data: serde_json::json!({ "order": entry["order"], "order_seq": entry["order_seq"], "data": entry["data"] }),
    }
}
