//! `/v1/shifts`.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use contract::resources::{NewShift, ShiftView};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{Allowed, ChangeMeans, ReadMeans};
use crate::problem::Rejection;

/// Add a shift.
#[utoipa::path(
    tag = "means",
    request_body = NewShift,
    responses((status = CREATED, body = ShiftView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/shifts")]
pub(crate) async fn add_shift(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    new: Checked<NewShift>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let added = workflow::shifts::add(&flow, &call, &new.body).await?;
    let location = format!("/v1/shifts/{}", added.id);
    Ok(HttpResponse::Created()
        .insert_header(etag::of(added.version))
        .insert_header(("location", location))
        .json(added))
}

/// Every one, retired ones too.
#[utoipa::path(
    tag = "means",
    params(PageQuery),
    responses((status = OK, body = Page<ShiftView>), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/shifts")]
pub(crate) async fn list_shifts(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::shifts::list(&flow, &allowed.caller, &query).await?))
}

/// A shift.
#[utoipa::path(
    tag = "means",
    responses((status = OK, body = ShiftView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/shifts/{id}")]
pub(crate) async fn get_shift(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::shifts::get(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(found.version)).json(found))
}

/// Change a shift.
#[utoipa::path(
    tag = "means",
    request_body = NewShift,
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = ShiftView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[put("/shifts/{id}")]
pub(crate) async fn change_shift(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewShift>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, new.fingerprint)?;
    let changed = workflow::shifts::change(&flow, &call, *id, &new.body).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(changed.version)).json(changed))
}

/// Retire a shift.
#[utoipa::path(
    tag = "means",
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = ShiftView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[delete("/shifts/{id}")]
pub(crate) async fn retire_shift(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, fingerprint("retire", id.as_bytes()))?;
    let retired = workflow::shifts::retire(&flow, &call, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(retired.version)).json(retired))
}
