//! `/v1/technicians`.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use contract::resources::{NewTechnician, TechnicianView};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{Allowed, ChangeMeans, ReadMeans};
use crate::problem::Rejection;

/// Add a technician.
#[utoipa::path(
    tag = "means",
    request_body = NewTechnician,
    responses((status = CREATED, body = TechnicianView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/technicians")]
pub(crate) async fn add_technician(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    new: Checked<NewTechnician>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let added = workflow::technicians::add(&flow, &call, &new.body).await?;
    let location = format!("/v1/technicians/{}", added.id);
    Ok(HttpResponse::Created()
        .insert_header(etag::of(added.version))
        .insert_header(("location", location))
        .json(added))
}

/// Every one, retired ones too.
#[utoipa::path(
    tag = "means",
    params(PageQuery),
    responses((status = OK, body = Page<TechnicianView>), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/technicians")]
pub(crate) async fn list_technicians(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::technicians::list(&flow, &allowed.caller, &query).await?))
}

/// A technician.
#[utoipa::path(
    tag = "means",
    responses((status = OK, body = TechnicianView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/technicians/{id}")]
pub(crate) async fn get_technician(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::technicians::get(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(found.version)).json(found))
}

/// Change a technician.
#[utoipa::path(
    tag = "means",
    request_body = NewTechnician,
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = TechnicianView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[put("/technicians/{id}")]
pub(crate) async fn change_technician(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewTechnician>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, new.fingerprint)?;
    let changed = workflow::technicians::change(&flow, &call, *id, &new.body).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(changed.version)).json(changed))
}

/// Retire a technician.
#[utoipa::path(
    tag = "means",
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = TechnicianView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[delete("/technicians/{id}")]
pub(crate) async fn retire_technician(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, fingerprint("retire", id.as_bytes()))?;
    let retired = workflow::technicians::retire(&flow, &call, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(retired.version)).json(retired))
}
