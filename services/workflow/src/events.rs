//! The event feed: the journal's entries in their order, as `CloudEvents` 1.0.

use std::pin::pin;
use std::time::Duration;

use contract::journal::{Event, EventQuery, EventsView};
use serde_json::Value;
use store::journal::SealedRow;

use crate::caller::Caller;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// Events of a page when nobody says otherwise.
const PAGE: u32 = 100;
/// How often a waiting reader looks again by itself: another process may give the positions.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// The position of the last event so far; -1 when there is none.
pub async fn last(flow: &Flow, caller: &Caller) -> Result<i64, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        Ok(store::journal::size(step.conn(), shop).await? - 1)
    })
    .await
}

/// Events behind a position, at once or as soon as there are any, within the seconds of `wait`; a service that stops
/// lets nobody wait.
pub async fn events(
    flow: &Flow,
    caller: &Caller,
    query: &EventQuery,
) -> Result<EventsView, Refusal> {
    let after = query.after.unwrap_or(-1);
    let limit = query.limit.unwrap_or(PAGE).clamp(1, 500) as usize;
    let patience = Duration::from_secs(u64::from(query.wait.unwrap_or(0).min(30)));
    let deadline = tokio::time::Instant::now() + patience;
    loop {
        let mut news = pin!(flow.sealed.notified());
        news.as_mut().enable(); // before looking, so that nothing is missed between the two
        let rows = flow
            .read(caller, async |step| {
                let shop = step.shop();
                Ok(store::journal::sealed(step.conn(), shop, after, limit).await?)
            })
            .await?;
        let waits = tokio::time::Instant::now() < deadline && !flow.is_stopping();
        if !rows.is_empty() || !waits {
            let events: Vec<Event> = rows.iter().map(|row| event(caller, row)).collect();
            let after = events.last().map_or(after, |event| event.position);
            return Ok(EventsView { events, after });
        }
        tokio::select! {
            () = news => {}
            () = tokio::time::sleep(LOOK_AGAIN) => {}
            () = tokio::time::sleep_until(deadline) => {}
            () = flow.stopped() => {}
        }
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
