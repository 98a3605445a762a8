//! `/v1/events/stream`: the events as they get their positions (server-sent events, WHATWG HTML 9.2).

use std::fmt::Write as _;
use std::time::Duration;

use actix_web::http::header;
use actix_web::rt::time::Instant;
use actix_web::web::Bytes;
use actix_web::{Error, HttpRequest, HttpResponse, get, web};
use contract::journal::{Event, EventQuery};
use contract::problem::{FieldFault, Problem};
use futures::stream;
use serde::Deserialize;
use utoipa::IntoParams;
use workflow::caller::Caller;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadEvents};
use crate::problem::Rejection;

/// Seconds without news after which a comment shows that the connection lives.
const HEARTBEAT: u32 = 15;
/// A stream ends after this long, so that its token is looked at again; clients come back by themselves.
const LIFE: Duration = Duration::from_mins(30);
/// Milliseconds after which a client that lost the connection comes back.
const COME_BACK: u32 = 2_000;

/// Where a stream begins.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(crate) struct StreamQuery {
    /// Events behind this position, -1 for all of them; `Last-Event-ID` comes before it. Nothing: from now on.
    after: Option<i64>,
}

/// The events as they happen (`text/event-stream`).
///
/// Each has its position as `id` and the event of `GET /v1/events` as `data`. A client that comes back with
/// `Last-Event-ID` misses nothing. Comments keep the connection alive; it ends when the service stops, and after half
/// an hour.
#[utoipa::path(
    tag = "events",
    params(StreamQuery, ("Last-Event-ID" = Option<i64>, Header, description = "the last position that was seen")),
    responses(
        (status = OK, body = String, content_type = "text/event-stream"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/events/stream")]
pub(crate) async fn stream_events(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadEvents>,
    request: HttpRequest,
    query: web::Query<StreamQuery>,
) -> Result<HttpResponse, Rejection> {
    let after = match last_seen(&request)?.or(query.after) {
        Some(after) => after,
        None => workflow::events::last(&flow, &allowed.caller).await?,
    };
    // An id without data: a client that loses the connection before the first event knows where it was.
    let opening = format!("retry: {COME_BACK}\nid: {after}\n\n");
    let ends = Instant::now() + LIFE;
    let feed = Feed { flow, caller: allowed.caller, after, opening: Some(opening), ends };
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header(("x-accel-buffering", "no"))
        .streaming(stream::unfold(feed, Feed::next)))
}

/// A stream on its way.
struct Feed {
    flow: web::Data<Flow>,
    caller: Caller,
    after: i64,
    opening: Option<String>,
    ends: Instant,
}

impl Feed {
    /// The next piece: events, or a sign of life. `None`: the stream ends.
    async fn next(mut self) -> Option<(Result<Bytes, Error>, Self)> {
        if let Some(opening) = self.opening.take() {
            return Some((Ok(opening.into()), self));
        }
        if self.flow.is_stopping() || Instant::now() >= self.ends {
            return None;
        }
        let query = EventQuery { after: Some(self.after), limit: None, wait: Some(HEARTBEAT) };
        let page = match workflow::events::events(&self.flow, &self.caller, &query).await {
            Ok(page) => page,
            Err(refusal) => {
                tracing::warn!(error = ?refusal, "a stream of events breaks off");
                return None;
            }
        };
        self.after = page.after;
        let text = if page.events.is_empty() {
            ": nothing new\n\n".to_owned()
        } else {
            page.events.iter().fold(String::new(), written)
        };
        Some((Ok(text.into()), self))
    }
}

fn written(mut text: String, event: &Event) -> String {
    let data = serde_json::to_string(event).unwrap_or_default();
    let _ = write!(text, "id: {}\ndata: {data}\n\n", event.position);
    text
}

fn last_seen(request: &HttpRequest) -> Result<Option<i64>, Rejection> {
    let Some(value) = request.headers().get("last-event-id") else { return Ok(None) };
    let position = value.to_str().ok().and_then(|text| text.trim().parse().ok());
    position.map(Some).ok_or_else(|| {
        let detail = "a position of the journal, a whole number".to_owned();
        Rejection::invalid(vec![FieldFault { pointer: "Last-Event-ID".to_owned(), detail }])
    })
}
