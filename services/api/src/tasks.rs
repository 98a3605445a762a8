//! `/v1/tasks` and `/v1/leases`.

use actix_web::{HttpRequest, HttpResponse, get, post, web};
use contract::evidence::NewEvidence;
use contract::leases::{LeasesView, NewLease, RenewLease, ReturnLease};
use contract::list::Page;
use contract::problem::Problem;
use contract::tasks::{
    NewAcknowledgement, NewAttestation, NewDecision, NewFinish, NewHandover, NewInterruption,
    NewRevocation, NewStart, NewWaiver, TaskQuery, TaskView, VerdictsView, WaiverQuery, WaiverView,
};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::batch::Items;
use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::list::with_next;
use crate::permits::{Allowed, Attest, DecideTask, ReadOrders, SendEvidence, WaiveTask, WorkTask};
use crate::problem::Rejection;

/// A page of tasks, oldest first.
#[utoipa::path(
    tag = "tasks",
    params(TaskQuery),
    responses(
        (status = OK, body = Page<TaskView>),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/tasks")]
pub(crate) async fn list_tasks(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    request: HttpRequest,
    query: web::Query<TaskQuery>,
) -> Result<HttpResponse, Rejection> {
    let page = workflow::orders::list_tasks(&flow, &allowed.caller, &query).await?;
    Ok(with_next(&request, &page))
}

/// One task, with why it is required, its cautions, and the present verdict of every precondition.
#[utoipa::path(
    tag = "tasks",
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/tasks/{id}")]
pub(crate) async fn get_task(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::orders::get_task(&flow, &allowed.caller, *id).await?))
}

/// Ask for the next right task.
///
/// 204 when there is none within the seconds of `wait`. A task asked for by id that cannot be taken is a 409.
#[utoipa::path(
    tag = "tasks",
    request_body = NewLease,
    responses(
        (status = CREATED, body = LeasesView),
        (status = NO_CONTENT, description = "there is nothing to do for this technician"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/leases")]
pub(crate) async fn take_lease(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    new: Checked<NewLease>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let given = workflow::take::take(&flow, &call, &new.body).await?;
    Ok(if given.leases.is_empty() {
        HttpResponse::NoContent().finish()
    } else {
        HttpResponse::Created().json(given)
    })
}

/// Send a batch of evidence; each item is judged for itself.
///
/// 202 when the lease under which it was taken has ended: it is stored, marked `late`, and proves nothing.
#[utoipa::path(
    tag = "tasks",
    request_body = NewEvidence,
    responses(
        (status = OK, body = VerdictsView),
        (status = ACCEPTED, body = VerdictsView, description = "it came late"),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/evidence")]
pub(crate) async fn send_evidence(
    flow: web::Data<Flow>,
    allowed: Allowed<SendEvidence>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Items,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    let (verdicts, late) = workflow::evidence::submit(&flow, &call, *id, &new.batch).await?;
    let mut answer = if late { HttpResponse::Accepted() } else { HttpResponse::Ok() };
    Ok(answer.json(verdicts))
}

/// Approve a waiver that needs two people.
#[utoipa::path(
    tag = "tasks",
    params(WaiverQuery),
    responses(
        (status = OK, body = WaiverView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/waiver/approvals")]
pub(crate) async fn approve_waiver(
    flow: web::Data<Flow>,
    allowed: Allowed<WaiveTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    query: web::Query<WaiverQuery>,
) -> Result<HttpResponse, Rejection> {
    let named = format!("{id}/{:?}", query.waiver);
    let call = headers.call(allowed.caller, fingerprint(&named, &[]));
    Ok(HttpResponse::Ok().json(workflow::waive::approve(&flow, &call, *id, query.waiver).await?))
}

/// Take a waiver back: the task is to be done after all.
#[utoipa::path(
    tag = "tasks",
    request_body = NewRevocation,
    responses(
        (status = OK, body = WaiverView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/waiver/revocations")]
pub(crate) async fn revoke_waiver(
    flow: web::Data<Flow>,
    allowed: Allowed<WaiveTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewRevocation>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::waive::revoke(&flow, &call, *id, &new.body).await?))
}

/// Acknowledge cautions by name, before preparing.
#[utoipa::path(
    tag = "tasks",
    request_body = NewAcknowledgement,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/acknowledgements")]
pub(crate) async fn acknowledge_cautions(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewAcknowledgement>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok()
        .json(workflow::acknowledge::acknowledge(&flow, &call, *id, &new.body).await?))
}

/// Start: only if the right vehicle stands there and every precondition holds now.
#[utoipa::path(
    tag = "tasks",
    request_body = NewStart,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/start")]
pub(crate) async fn start_task(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewStart>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::start::start(&flow, &call, *id, &new.body).await?))
}

/// Something broke off: tell the state in which the vehicle stands.
#[utoipa::path(
    tag = "tasks",
    request_body = NewInterruption,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/interruptions")]
pub(crate) async fn interrupt_task(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewInterruption>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::interrupt::interrupt(&flow, &call, *id, &new.body).await?))
}

/// Finish: passed with its proof, or failed with what was seen.
#[utoipa::path(
    tag = "tasks",
    request_body = NewFinish,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/finish")]
pub(crate) async fn finish_task(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewFinish>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::finish::finish(&flow, &call, *id, &new.body).await?))
}

/// Decide what becomes of a task that broke off or failed.
#[utoipa::path(
    tag = "tasks",
    request_body = NewDecision,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/decisions")]
pub(crate) async fn decide_task(
    flow: web::Data<Flow>,
    allowed: Allowed<DecideTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewDecision>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::interrupt::decide(&flow, &call, *id, &new.body).await?))
}

/// Offer a task to another technician, or accept one.
#[utoipa::path(
    tag = "tasks",
    request_body = NewHandover,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/handover")]
pub(crate) async fn hand_over_task(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewHandover>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::handover::hand_over(&flow, &call, *id, &new.body).await?))
}

/// A second person's word, with their own token.
#[utoipa::path(
    tag = "tasks",
    request_body = NewAttestation,
    responses(
        (status = OK, body = VerdictsView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/attestations")]
pub(crate) async fn attest(
    flow: web::Data<Flow>,
    allowed: Allowed<Attest>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewAttestation>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::evidence::attest(&flow, &call, *id, &new.body).await?))
}

/// Leave a task undone, with a reason.
#[utoipa::path(
    tag = "tasks",
    request_body = NewWaiver,
    responses(
        (status = OK, body = WaiverView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/waiver")]
pub(crate) async fn waive_task(
    flow: web::Data<Flow>,
    allowed: Allowed<WaiveTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewWaiver>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::waive::waive(&flow, &call, *id, &new.body).await?))
}

/// Prolong a lease.
#[utoipa::path(
    tag = "tasks",
    request_body = RenewLease,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/renew")]
pub(crate) async fn renew_lease(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<RenewLease>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::take::renew(&flow, &call, *id, &new.body).await?))
}

/// Give a task back that was not started.
#[utoipa::path(
    tag = "tasks",
    request_body = ReturnLease,
    responses(
        (status = OK, body = TaskView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/tasks/{id}/return")]
pub(crate) async fn return_lease(
    flow: web::Data<Flow>,
    allowed: Allowed<WorkTask>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<ReturnLease>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::take::give_back(&flow, &call, *id, &new.body).await?))
}
