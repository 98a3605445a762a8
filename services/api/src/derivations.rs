//! `/v1/derivations`: a dry run.

use actix_web::{HttpResponse, post, web};
use contract::orders::{DerivationView, NewOrder};
use contract::problem::Problem;
use workflow::flow::Flow;

use crate::body::Checked;
use crate::permits::{Allowed, ReadOrders};
use crate::problem::Rejection;

/// Derive an order without storing it.
#[utoipa::path(
    tag = "orders",
    request_body = NewOrder,
    responses(
        (status = OK, body = DerivationView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/derivations")]
pub(crate) async fn derive_order(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    new: Checked<NewOrder>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::intake::dry_run(&flow, &allowed.caller, &new.body).await?))
}
