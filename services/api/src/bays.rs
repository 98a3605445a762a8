//! `/v1/bays`.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use contract::resources::{BayView, NewBay};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{Allowed, ChangeMeans, ReadMeans};
use crate::problem::Rejection;

/// Add a bay.
#[utoipa::path(
    tag = "means",
    request_body = NewBay,
    responses((status = CREATED, body = BayView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/bays")]
pub(crate) async fn add_bay(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    new: Checked<NewBay>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let added = workflow::bays::add(&flow, &call, &new.body).await?;
    let location = format!("/v1/bays/{}", added.id);
    Ok(HttpResponse::Created()
        .insert_header(etag::of(added.version))
        .insert_header(("location", location))
        .json(added))
}

/// Every one, retired ones too.
#[utoipa::path(
    tag = "means",
    params(PageQuery),
    responses((status = OK, body = Page<BayView>), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/bays")]
pub(crate) async fn list_bays(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::bays::list(&flow, &allowed.caller, &query).await?))
}

/// A bay.
#[utoipa::path(
    tag = "means",
    responses((status = OK, body = BayView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/bays/{id}")]
pub(crate) async fn get_bay(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::bays::get(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(found.version)).json(found))
}

/// Change a bay.
#[utoipa::path(
    tag = "means",
    request_body = NewBay,
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = BayView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[put("/bays/{id}")]
pub(crate) async fn change_bay(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewBay>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, new.fingerprint)?;
    let changed = workflow::bays::change(&flow, &call, *id, &new.body).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(changed.version)).json(changed))
}

/// Retire a bay.
#[utoipa::path(
    tag = "means",
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = BayView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[delete("/bays/{id}")]
pub(crate) async fn retire_bay(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, fingerprint("retire", id.as_bytes()))?;
    let retired = workflow::bays::retire(&flow, &call, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(retired.version)).json(retired))
}
