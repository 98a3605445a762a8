//! `/v1/vehicles`.

use actix_web::{HttpResponse, get, web};
use contract::problem::Problem;
use contract::vehicles::VehicleView;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadOrders};
use crate::problem::Rejection;

/// One vehicle: what stands open on it, and its orders.
#[utoipa::path(
    tag = "orders",
    responses(
        (status = OK, body = VehicleView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/vehicles/{id}")]
pub(crate) async fn get_vehicle(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::orders::get_vehicle(&flow, &allowed.caller, *id).await?))
}
