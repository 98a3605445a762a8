//! `/v1/equipment`.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, put, web};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use contract::resources::{EquipmentView, NewEquipment};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{Allowed, ChangeMeans, ReadMeans};
use crate::problem::Rejection;

/// Add a unit of equipment.
#[utoipa::path(
    tag = "means",
    request_body = NewEquipment,
    responses((status = CREATED, body = EquipmentView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[post("/equipment")]
pub(crate) async fn add_equipment(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    new: Checked<NewEquipment>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let added = workflow::equipment::add(&flow, &call, &new.body).await?;
    let location = format!("/v1/equipment/{}", added.id);
    Ok(HttpResponse::Created()
        .insert_header(etag::of(added.version))
        .insert_header(("location", location))
        .json(added))
}

/// Every one, retired ones too.
#[utoipa::path(
    tag = "means",
    params(PageQuery),
    responses((status = OK, body = Page<EquipmentView>), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/equipment")]
pub(crate) async fn list_equipment(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::equipment::list(&flow, &allowed.caller, &query).await?))
}

/// A unit of equipment.
#[utoipa::path(
    tag = "means",
    responses((status = OK, body = EquipmentView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[get("/equipment/{id}")]
pub(crate) async fn get_equipment(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadMeans>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let found = workflow::equipment::get(&flow, &allowed.caller, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(found.version)).json(found))
}

/// Change a unit of equipment.
#[utoipa::path(
    tag = "means",
    request_body = NewEquipment,
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = EquipmentView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[put("/equipment/{id}")]
pub(crate) async fn change_equipment(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewEquipment>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, new.fingerprint)?;
    let changed = workflow::equipment::change(&flow, &call, *id, &new.body).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(changed.version)).json(changed))
}

/// Retire a unit of equipment.
#[utoipa::path(
    tag = "means",
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses((status = OK, body = EquipmentView), (status = "default", body = Problem, content_type = "application/problem+json"))
)]
#[delete("/equipment/{id}")]
pub(crate) async fn retire_equipment(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangeMeans>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, fingerprint("retire", id.as_bytes()))?;
    let retired = workflow::equipment::retire(&flow, &call, *id).await?;
    Ok(HttpResponse::Ok().insert_header(etag::of(retired.version)).json(retired))
}
