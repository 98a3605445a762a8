//! `/v1/orders`.

use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, get, patch, post, put, web};
use contract::list::Page;
use contract::orders::{
    NewAnswer, NewObservation, NewOrder, NewRelease, NewSplit, OrderPatch, OrderQuery,
    OrderSummary, OrderView, SplitView,
};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::Checked;
use crate::call::CallHeaders;
use crate::etag;
use crate::list::with_next;
use crate::permits::{
    Allowed, AmendOrder, AnswerQuestion, IntakeOrder, ObserveOrder, ReadOrders, ReleaseOrder,
};
use crate::problem::Rejection;

/// The answer that shows an order, with its tag.
pub(crate) fn shown(order: &OrderView) -> HttpResponse {
    HttpResponse::Ok().insert_header(etag::of(order.version)).json(order)
}

fn taken_in(order: &OrderView, created: bool) -> HttpResponse {
    let mut answer = if created { HttpResponse::Created() } else { HttpResponse::Ok() };
    let location = format!("/v1/orders/{}", order.id);
    answer.insert_header(etag::of(order.version)).insert_header(("location", location)).json(order)
}

/// Take an order in.
///
/// The answer holds its tasks, questions and unread lines at once. The same number with the same body gives the order
/// that is there (200), with another body a 409.
#[utoipa::path(
    tag = "orders",
    request_body = NewOrder,
    params(("Idempotency-Key" = Option<String>, Header, description = "the same key and body give the same answer")),
    responses(
        (status = CREATED, body = OrderView),
        (status = OK, body = OrderView, description = "it was taken in before"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders")]
pub(crate) async fn intake_order(
    flow: web::Data<Flow>,
    allowed: Allowed<IntakeOrder>,
    headers: CallHeaders,
    new: Checked<NewOrder>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (order, created) = workflow::intake::intake(&flow, &call, &new.body).await?;
    Ok(taken_in(&order, created))
}

/// Take the whole order again, by its number.
///
/// What the order says already changes nothing. The vehicle stays the same one: another VIN is a 422 of its own kind.
#[utoipa::path(
    tag = "orders",
    request_body = NewOrder,
    responses(
        (status = CREATED, body = OrderView),
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[put("/orders/by-number/{number}")]
pub(crate) async fn put_order(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    headers: CallHeaders,
    number: web::Path<String>,
    new: Checked<NewOrder>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (order, created) = workflow::put::put_whole(&flow, &call, &number, &new.body).await?;
    Ok(taken_in(&order, created))
}

/// A page of orders, oldest first.
#[utoipa::path(
    tag = "orders",
    params(OrderQuery),
    responses(
        (status = OK, body = Page<OrderSummary>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders")]
pub(crate) async fn list_orders(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    request: HttpRequest,
    query: web::Query<OrderQuery>,
) -> Result<HttpResponse, Rejection> {
    let page = workflow::orders::list(&flow, &allowed.caller, &query).await?;
    Ok(with_next(&request, &page))
}

/// One order, whole.
#[utoipa::path(
    tag = "orders",
    responses(
        (status = OK, body = OrderView),
        (status = NOT_MODIFIED, description = "it is as it was when it was read"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/orders/{id}")]
pub(crate) async fn get_order(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    Ok(shown(&workflow::orders::get(&flow, &allowed.caller, *id).await?))
}

/// Amend an order: vehicle facts, promise, weight (JSON Merge Patch). Lines are edited one by one.
#[utoipa::path(
    tag = "orders",
    request_body(content = OrderPatch, content_type = "application/merge-patch+json"),
    params(("If-Match" = String, Header, description = "the ETag that was read")),
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[patch("/orders/{id}")]
pub(crate) async fn amend_order(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    patch: Checked<OrderPatch>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.versioned_call(allowed.caller, patch.fingerprint)?;
    Ok(shown(&workflow::amend::amend(&flow, &call, *id, &patch.body).await?))
}

/// Answer a question.
#[utoipa::path(
    tag = "orders",
    request_body = NewAnswer,
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/answers")]
pub(crate) async fn answer_question(
    flow: web::Data<Flow>,
    allowed: Allowed<AnswerQuestion>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewAnswer>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(shown(&workflow::answer::answer(&flow, &call, *id, &new.body).await?))
}

/// Report what the floor sees and the order does not say.
#[utoipa::path(
    tag = "orders",
    request_body = NewObservation,
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/observations")]
pub(crate) async fn observe_order(
    flow: web::Data<Flow>,
    allowed: Allowed<ObserveOrder>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewObservation>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(shown(&workflow::observe::observe(&flow, &call, *id, &new.body).await?))
}

/// Split lines off to an order of their own, with their tasks and evidence. Both journals tell.
#[utoipa::path(
    tag = "orders",
    request_body = NewSplit,
    params(("If-Match" = Option<String>, Header, description = "the order's ETag, to be sure that nothing changed")),
    responses(
        (status = CREATED, body = SplitView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/splits")]
pub(crate) async fn split_order(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewSplit>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let split = workflow::split::split(&flow, &call, *id, &new.body).await?;
    let at = format!("/v1/orders/{}", split.into.id);
    Ok(HttpResponse::Created().insert_header((header::LOCATION, at)).json(split))
}

/// Release the vehicle, or learn all that is still open.
#[utoipa::path(
    tag = "orders",
    request_body = NewRelease,
    responses(
        (status = OK, body = OrderView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/orders/{id}/release")]
pub(crate) async fn release_order(
    flow: web::Data<Flow>,
    allowed: Allowed<ReleaseOrder>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewRelease>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let order = workflow::release::release(&flow, &call, *id, &new.body).await?;
    let mut answer = shown(&order);
    answer.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    Ok(answer)
}
