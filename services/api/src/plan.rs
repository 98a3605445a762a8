//! `/v1/plan`: as JSON, as a picture, as a calendar; pins and trials.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use contract::forecast::{GainsView, LoadQuery, LoadView, PromiseView, WhyLateQuery, WhyLateView};
use contract::list::{Page, PageQuery};
use contract::orders::NewOrder;
use contract::plan::{NewPin, NewTrial, PinView, PlanQuery, PlanView, TrialView};
use contract::problem::Problem;
use uuid::Uuid;
use workflow::flow::Flow;

use crate::accept::{Offer, choose};
use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::list::with_next;
use crate::permits::{Allowed, AmendOrder, ChangePlan, ReadOrders};
use crate::problem::Rejection;

const JSON: Offer = Offer("application/json");
const SVG: Offer = Offer("image/svg+xml");
const CALENDAR: Offer = Offer("text/calendar");

/// The plan in force: JSON, `image/svg+xml` is the board, `text/calendar` one bay or technician.
#[utoipa::path(
    tag = "plan",
    params(PlanQuery),
    responses(
        (status = OK, content((PlanView = "application/json"), (String = "image/svg+xml"), (String = "text/calendar"))),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/plan")]
pub(crate) async fn get_plan(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    request: HttpRequest,
    query: web::Query<PlanQuery>,
) -> Result<HttpResponse, Rejection> {
    let chosen = choose(&request, &[JSON, SVG, CALENDAR])?;
    let (media_type, body) = if chosen == SVG {
        ("image/svg+xml", workflow::plan::board(&flow, &allowed.caller).await?)
    } else if chosen == CALENDAR {
        (
            "text/calendar; charset=utf-8",
            workflow::plan::calendar(&flow, &allowed.caller, &query).await?,
        )
    } else {
        return Ok(HttpResponse::Ok()
            .insert_header((header::VARY, "accept"))
            .json(workflow::plan::get(&flow, &allowed.caller).await?));
    };
    Ok(HttpResponse::Ok()
        .insert_header((header::VARY, "accept"))
        .content_type(media_type)
        .body(body))
}

/// What if? Compares with the plan as it is; changes nothing unless `adopt` is set.
#[utoipa::path(
    tag = "plan",
    request_body = NewTrial,
    responses(
        (status = OK, body = TrialView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/plan/trials")]
pub(crate) async fn try_plan(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangePlan>,
    headers: CallHeaders,
    new: Checked<NewTrial>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::plan::trial(&flow, &call, &new.body).await?))
}

/// How much of what bays offer and people can do is planned, by hours of the clock.
#[utoipa::path(
    tag = "plan",
    params(LoadQuery),
    responses(
        (status = OK, body = LoadView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/plan/load")]
pub(crate) async fn get_load(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    query: web::Query<LoadQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::plan::forecast(&flow, &allowed.caller, &query).await?))
}

/// The earliest promise that can be kept for an order that is not there yet, all others left where they are planned. Stores nothing.
#[utoipa::path(
    tag = "plan",
    request_body = NewOrder,
    responses(
        (status = OK, body = PromiseView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/plan/promises")]
pub(crate) async fn ask_promise(
    flow: web::Data<Flow>,
    allowed: Allowed<AmendOrder>,
    new: Checked<NewOrder>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::plan::promise(&flow, &allowed.caller, &new.body).await?))
}

/// Why an order ends when it does: the chain of work that ends it, and what each link waited for.
#[utoipa::path(
    tag = "plan",
    params(WhyLateQuery),
    responses(
        (status = OK, body = WhyLateView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/plan/why-late")]
pub(crate) async fn why_late(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    query: web::Query<WhyLateQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok()
        .json(workflow::plan::why_late(&flow, &allowed.caller, query.order).await?))
}

/// What one more technician, bay or tool would save: each is tried by planning once more.
#[utoipa::path(
    tag = "plan",
    responses(
        (status = OK, body = GainsView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/plan/gains")]
pub(crate) async fn get_gains(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::plan::gains(&flow, &allowed.caller).await?))
}

/// Keep a task at a bay, with a technician, or at a time; an earlier pin of the task gives way whole.
#[utoipa::path(
    tag = "plan",
    request_body = NewPin,
    responses(
        (status = CREATED, body = PinView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/plan/pins")]
pub(crate) async fn pin_task(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangePlan>,
    headers: CallHeaders,
    new: Checked<NewPin>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Created().json(workflow::plan::pin(&flow, &call, &new.body).await?))
}

/// The pins in force.
#[utoipa::path(
    tag = "plan",
    params(PageQuery),
    responses(
        (status = OK, body = Page<PinView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/plan/pins")]
pub(crate) async fn list_pins(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    request: HttpRequest,
    query: web::Query<PageQuery>,
) -> Result<HttpResponse, Rejection> {
    Ok(with_next(&request, &workflow::plan::pins(&flow, &allowed.caller, &query).await?))
}

/// Remove a pin.
#[utoipa::path(
    tag = "plan",
    responses(
        (status = NO_CONTENT, description = "it is removed"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[delete("/plan/pins/{id}")]
pub(crate) async fn unpin_task(
    flow: web::Data<Flow>,
    allowed: Allowed<ChangePlan>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, fingerprint(&id.to_string(), &[]));
    workflow::plan::unpin(&flow, &call, *id).await?;
    Ok(HttpResponse::NoContent().finish())
}
