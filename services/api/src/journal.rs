//! `/v1/events`, `/v1/journal`.

use actix_web::{HttpRequest, HttpResponse, get, web};
use contract::journal::{CheckpointView, EntryView, EventQuery, EventsView, ProofQuery, ProofView};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use workflow::flow::Flow;

use crate::list::with_next;
use crate::permits::{Allowed, ReadEvents, ReadJournal};
use crate::problem::Rejection;

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
    params(PageQuery),
    responses(
        (status = OK, body = Page<EntryView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/journal")]
pub(crate) async fn list_entries(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadJournal>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::seal::entries(&flow, &allowed.caller, &query).await?))
}

/// Signed statements of the journal's size and root, newest first.
#[utoipa::path(
    tag = "journal",
    params(PageQuery),
    responses(
        (status = OK, body = Page<CheckpointView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/journal/checkpoints")]
pub(crate) async fn list_checkpoints(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadJournal>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::seal::checkpoints(&flow, &allowed.caller, &query).await?))
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
