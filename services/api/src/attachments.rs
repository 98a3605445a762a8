//! `/v1/attachments`: the files of evidence.

use actix_web::http::header;
use actix_web::{HttpResponse, get, post, web};
use contract::attachments::{NewRedaction, RedactionView};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::Checked;
use crate::call::CallHeaders;
use crate::permits::{Allowed, ReadFiles, RedactFile};
use crate::problem::Rejection;

/// The file of an item of evidence, by the item's id; the redacted one where there is one.
#[utoipa::path(
    tag = "reports",
    responses(
        (status = OK, description = "the file, in its own media type", content_type = "application/octet-stream"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/attachments/{id}")]
pub(crate) async fn get_attachment(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadFiles>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let file = workflow::attachments::get(&flow, &allowed.caller, *id).await?;
    // A file from outside is saved, never shown as a page of this service.
    Ok(HttpResponse::Ok()
        .content_type(file.media_type)
        .insert_header((header::CONTENT_DISPOSITION, format!("attachment; filename=\"{id}\"")))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(file.bytes))
}

/// Put a redacted file in place of one; the first's digest stays in the journal, its bytes go.
#[utoipa::path(
    tag = "reports",
    request_body = NewRedaction,
    responses(
        (status = OK, body = RedactionView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/attachments/{id}/redaction")]
pub(crate) async fn redact_attachment(
    flow: web::Data<Flow>,
    allowed: Allowed<RedactFile>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewRedaction>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::attachments::redact(&flow, &call, *id, &new.body).await?))
}
