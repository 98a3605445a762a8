//! `/v1/derivations`: a dry run; an order derived anew; why it does not require a procedure.

use actix_web::{HttpResponse, get, post, web};
use contract::orders::{DerivationView, NewOrder, OrderView};
use contract::problem::Problem;
use contract::why_not::{WhyNotQuery, WhyNotView};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::orders::shown;
use crate::permits::{Allowed, DeriveAnew, ReadOrders};
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

/// Derive an open order anew with the catalogue in force.
///
/// Without this an order stays on the catalogue that it was derived with. The answer tells what changed.
#[utoipa::path(
    tag = "orders",
    params(("If-Match" = Option<String>, Header, description = "the ETag that was read")),
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/derivations")]
pub(crate) async fn derive_anew(
    flow: web::Data<Flow>,
    allowed: Allowed<DeriveAnew>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, fingerprint("anew", id.as_bytes()));
    Ok(shown(&workflow::derive_anew::derive_anew(&flow, &call, *id).await?))
}

/// Why an order does not require a procedure: for each way in which it could, what is lacking.
#[utoipa::path(
    tag = "orders",
    params(WhyNotQuery),
    responses(
        (status = OK, body = WhyNotView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders/{id}/why-not")]
pub(crate) async fn why_not(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
    query: web::Query<WhyNotQuery>,
) -> Result<HttpResponse, Rejection> {
    let told = workflow::why_not::why_not(&flow, &allowed.caller, *id, &query.procedure).await?;
    Ok(HttpResponse::Ok().json(told))
}
