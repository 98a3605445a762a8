//! `/v1/tasks/{id}/limit-overrides`.

use actix_web::{HttpRequest, HttpResponse, get, post, web};
use contract::limits::{LimitOverrideView, NewLimitOverride};
use contract::list::{Page, PageQuery};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::list::with_next;
use crate::permits::{Allowed, ApproveLimit, GiveLimit, ReadOrders};
use crate::problem::Rejection;

/// Put the manufacturer's figure in the place of a limit, within what the catalogue allows.
///
/// Where two people must agree it counts with the approval of another.
#[utoipa::path(
    tag = "tasks",
    request_body = NewLimitOverride,
    responses(
        (status = CREATED, body = LimitOverrideView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/limit-overrides")]
pub(crate) async fn give_limit(
    flow: web::Data<Flow>,
    allowed: Allowed<GiveLimit>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewLimitOverride>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let given = workflow::limits::give(&flow, &call, *id, &new.body).await?;
    Ok(HttpResponse::Created().json(given))
}

/// Every limit given for a task, oldest first.
#[utoipa::path(
    tag = "tasks",
    params(("id" = Uuid, Path, description = "the task"), PageQuery),
    responses(
        (status = OK, body = Page<LimitOverrideView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/tasks/{id}/limit-overrides")]
pub(crate) async fn list_limits(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    request: HttpRequest,
    id: web::Path<Uuid>,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::limits::list(&flow, &allowed.caller, *id, &query).await?))
}

/// Approve a limit that needs two people.
#[utoipa::path(
    tag = "tasks",
    params(
        ("id" = Uuid, Path, description = "the task"),
        ("limit" = Uuid, Path, description = "the limit"),
    ),
    responses(
        (status = OK, body = LimitOverrideView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/limit-overrides/{limit}/approvals")]
pub(crate) async fn approve_limit(
    flow: web::Data<Flow>,
    allowed: Allowed<ApproveLimit>,
    headers: CallHeaders,
    path: web::Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Rejection> {
    let (task, limit) = path.into_inner();
    let call = headers.call(allowed.caller, fingerprint(&format!("{task}/{limit}"), &[]));
    Ok(HttpResponse::Ok().json(workflow::limits::approve(&flow, &call, task, limit).await?))
}
