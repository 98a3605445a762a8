//! `/v1/absences`.

use actix_web::{HttpRequest, HttpResponse, get, post, web};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use contract::resources::{AbsenceView, EndAbsence, NewAbsence};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::Checked;
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{Allowed, ChangeMeans, ReadMeans};
use crate::problem::Rejection;

/// Add an absence.
#[utoipa::path(
    tag = "means",
    request_body = NewAbsence,
    responses((status = CREATED, body = AbsenceView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/absences")]
pub(crate) async fn add_absence(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    new: Checked<NewAbsence>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let added = workflow::absences::add(&flow, &call, &new.body).await?;
    let location = format!("/v1/absences/{}", added.id);
    Ok(HttpResponse::Created()
        .insert_header(etag::of(added.version))
        .insert_header(("location", location))
        .json(added))
}

/// Every one that has not ended.
#[utoipa::path(
    tag = "means",
    params(PageQuery),
    responses((status = OK, body = Page<AbsenceView>), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/absences")]
pub(crate) async fn list_absences(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::absences::list(&flow, &allowed.caller, &query).await?))
}

/// An absence.
#[utoipa::path(
    tag = "means",
    responses((status = OK, body = AbsenceView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/absences/{id}")]
pub(crate) async fn get_absence(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::absences::get(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(found.version)).json(found))
}

/// Say when an absence ends or ended.
#[utoipa::path(
    tag = "means",
    request_body = EndAbsence,
    responses((status = OK, body = AbsenceView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/absences/{id}/end")]
pub(crate) async fn end_absence(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    end: Checked<EndAbsence>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, end.fingerprint);
    let ended = workflow::absences::end(&flow, &call, *id, &end.body).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(ended.version)).json(ended))
}
