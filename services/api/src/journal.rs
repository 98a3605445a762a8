//! `/v1/events`, `/v1/journal`.

use actix_web::{HttpResponse, get, web};
use contract::journal::{CheckpointView, EntryView, EventQuery, EventsView, ProofQuery, ProofView};
use contract::problem::Problem;
use serde::Deserialize;
use utoipa::IntoParams;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadEvents, ReadJournal};
use crate::problem::Rejection;

/// Which entries.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(crate) struct EntryQuery {
    /// Entries behind this position; nothing: from the beginning.
    after: Option<i64>,
    /// How many at the most, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u32>,
}

/// All changes in the journal's order, from a position on; waits for the next one up to `wait` seconds.
#[utoipa::path(
    tag = "events",
    params(EventQuery),
    responses(
        (status = OK, body = EventsView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/events")]
pub(crate) async fn list_events(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadEvents>,
    query: web::Query<EventQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::events::events(&flow, &allowed.caller, &query).await?))
}

/// Entries of the journal with their canonical bytes.
#[utoipa::path(
    tag = "journal",
    params(EntryQuery),
    responses(
        (status = OK, body = Vec<EntryView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/journal")]
pub(crate) async fn list_entries(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadJournal>,
    query: web::Query<EntryQuery>,
) -> Result<HttpResponse, Rejection> {
    let (after, limit) = (query.after.unwrap_or(-1), query.limit.unwrap_or(100));
    Ok(HttpResponse::Ok()
        .json(workflow::seal::entries(&flow, &allowed.caller, after, limit).await?))
}

/// Signed statements of the journal's size and root, newest first.
#[utoipa::path(
    tag = "journal",
    params(EntryQuery),
    responses(
        (status = OK, body = Vec<CheckpointView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/journal/checkpoints")]
pub(crate) async fn list_checkpoints(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadJournal>,
    query: web::Query<EntryQuery>,
) -> Result<HttpResponse, Rejection> {
    let limit = query.limit.unwrap_or(10);
    Ok(HttpResponse::Ok().json(workflow::seal::checkpoints(&flow, &allowed.caller, limit).await?))
}

/// A proof that an entry is in the journal, or that it only grew (RFC 9162 2.1.3, 2.1.4).
#[utoipa::path(
    tag = "journal",
    params(ProofQuery),
    responses(
        (status = OK, body = ProofView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/journal/proofs")]
pub(crate) async fn get_proof(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadJournal>,
    query: web::Query<ProofQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::seal::prove(&flow, &allowed.caller, &query).await?))
}
