//! `/v1/orders/{id}/report`: the completion report.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, get, web};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::accept::{Offer, choose};
use crate::permits::{Allowed, ReadReports};
use crate::problem::Rejection;

const JSON: Offer = Offer("application/json");
const HTML: Offer = Offer("text/html");

/// The completion report: what was required, why, what was shown, who did it and when.
#[utoipa::path(
    tag = "reports",
    responses(
        (status = OK, content((Object = "application/json"), (String = "text/html"))),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders/{id}/report")]
pub(crate) async fn get_report(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadReports>,
    request: HttpRequest,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let chosen = choose(&request, &[JSON, HTML])?;
    let mut answer = HttpResponse::Ok();
    answer.insert_header((header::VARY, "accept"));
    Ok(if chosen == HTML {
        answer
            .content_type("text/html; charset=utf-8")
            .body(workflow::report::page(&flow, &allowed.caller, *id).await?)
    } else {
        answer
            .content_type("application/json")
            .body(workflow::report::json(&flow, &allowed.caller, *id).await?)
    })
}
