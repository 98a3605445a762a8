//! `/v1/orders/{id}/lines`.

use actix_web::http::header;
use actix_web::{HttpResponse, delete, get, post, put, web};
use contract::orders::{LineProgress, NewLine, OrderView};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::Checked;
use crate::call::CallHeaders;
use crate::orders::shown;
use crate::permits::{Allowed, AmendOrder, ReadFiles, ReportProgress};
use crate::problem::Rejection;

/// Add a line, or change it whole.
#[utoipa::path(
    tag = "orders",
    request_body = NewLine,
    params(("If-Match" = Option<String>, Header, description = "the order's ETag, to be sure that nothing changed")),
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[put("/orders/{id}/lines/{line}")]
pub(crate) async fn put_line(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    headers: CallHeaders,
    path: web::Path<(Uuid, i32)>,
    new: Checked<NewLine>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (order, line) = *path;
    Ok(shown(&workflow::amend::put_line(&flow, &call, order, line, &new.body).await?))
}

/// Take a line off the order.
#[utoipa::path(
    tag = "orders",
    params(("If-Match" = Option<String>, Header, description = "the order's ETag, to be sure that nothing changed")),
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[delete("/orders/{id}/lines/{line}")]
pub(crate) async fn remove_line(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    headers: CallHeaders,
    path: web::Path<(Uuid, i32)>,
) -> Result<HttpResponse, Rejection> {
    let (order, line) = *path;
    let call =
        headers.call(allowed.caller, crate::body::fingerprint(&format!("{order}/{line}"), &[]));
    Ok(shown(&workflow::amend::remove_line(&flow, &call, order, line).await?))
}

/// Report how the mechanical work of a line goes on.
#[utoipa::path(
    tag = "orders",
    request_body = LineProgress,
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/lines/{line}/progress")]
pub(crate) async fn report_progress(
    flow: web::Data<Flow>,
    allowed: Allowed<ReportProgress>,
    headers: CallHeaders,
    path: web::Path<(Uuid, i32)>,
    new: Checked<LineProgress>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (order, line) = *path;
    Ok(shown(&workflow::progress::progress(&flow, &call, order, line, &new.body).await?))
}

/// The document of the business that a line was sublet to, as a file.
#[utoipa::path(
    tag = "orders",
    responses(
        (status = OK, description = "the file, in its own media type", content_type = "application/octet-stream"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders/{id}/lines/{line}/document")]
pub(crate) async fn get_line_document(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadFiles>,
    path: web::Path<(Uuid, i32)>,
) -> Result<HttpResponse, Rejection> {
    let (order, line) = *path;
    let file = workflow::sublet::document(&flow, &allowed.caller, order, line).await?;
    // A file from outside is saved, never shown as a page of this service.
    Ok(HttpResponse::Ok()
        .content_type(file.media_type)
        .insert_header((
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"line-{line}\""),
        ))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(file.bytes))
}
