//! `/v1/tasks/{id}/readiness`.

use actix_web::{HttpResponse, get, web};
use contract::problem::Problem;
use contract::readiness::{ReadinessQuery, ReadinessView};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadOrders};
use crate::problem::Rejection;

/// Whether a task may start now, or pass while it runs; with `wait`, as soon as that changes.
///
/// Time alone changes it too: evidence grows too old, a wait ends. `changes_at` tells the earliest such moment.
#[utoipa::path(
    tag = "tasks",
    params(ReadinessQuery),
    responses(
        (status = OK, body = ReadinessView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/tasks/{id}/readiness")]
pub(crate) async fn get_readiness(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
    query: web::Query<ReadinessQuery>,
) -> Result<HttpResponse, Rejection> {
    let seen = workflow::readiness::readiness(&flow, &allowed.caller, *id, &query).await?;
    Ok(HttpResponse::Ok().json(seen))
}
