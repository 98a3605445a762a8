//! Whether the service lives and is ready.

use actix_web::{HttpResponse, get, web};
use contract::problem::ProblemKind;
use workflow::flow::Flow;
use workflow::refusal::Refusal;

use crate::problem::Rejection;

/// The process lives.
#[utoipa::path(tag = "service", security(()), responses((status = OK, description = "it lives")))]
#[get("/healthz")]
pub(crate) async fn healthz() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain").body("ok\n")
}

/// The database answers.
#[utoipa::path(
    tag = "service",
    security(()),
    responses((status = OK, description = "it can serve"), (status = SERVICE_UNAVAILABLE, description = "it can't"))
)]
#[get("/readyz")]
pub(crate) async fn readyz(flow: web::Data<Flow>) -> Result<HttpResponse, Rejection> {
    let ready = flow.db().ready().await.map_err(Refusal::from)?;
    if ready.role_too_strong {
        return Err(Rejection::new(
            ProblemKind::Unavailable,
            "the service role passes by row security",
        ));
    }
    Ok(HttpResponse::Ok().content_type("text/plain").body("ready\n"))
}
