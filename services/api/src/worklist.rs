//! `/v1/orders/{id}/worklist`.

use actix_web::{HttpResponse, get, web};
use contract::problem::Problem;
use contract::worklist::WorklistView;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadOrders};
use crate::problem::Rejection;

/// What is left to do on an order: groups that share a set-up, in an order that works.
#[utoipa::path(
    tag = "orders",
    responses(
        (status = OK, body = WorklistView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders/{id}/worklist")]
pub(crate) async fn get_worklist(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let list = workflow::worklist::worklist(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().json(list))
}
