//! `/v1/clock`: the service's time, against which clients check their own.

use actix_web::{HttpResponse, get, web};
use chrono::{DateTime, Utc};
use contract::problem::Problem;
use serde::Serialize;
use utoipa::ToSchema;
use workflow::flow::Flow;

use crate::permits::{Allowed, ReadOrders};
use crate::problem::Rejection;

/// The service's time.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ClockView {
    /// Now, by the service's clock.
    now: DateTime<Utc>,
}

/// The service's time.
#[utoipa::path(
    tag = "service",
    responses(
        (status = OK, body = ClockView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/clock")]
pub(crate) async fn get_clock(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
) -> Result<HttpResponse, Rejection> {
    let now = workflow::orders::clock(&flow, &allowed.caller).await?;
    Ok(HttpResponse::Ok().json(ClockView { now }))
}
