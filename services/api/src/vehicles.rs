//! `/v1/vehicles`.

use actix_web::{HttpResponse, get, post, web};
use contract::problem::Problem;
use contract::vehicles::{
    DepartureView, IdentityCorrectionView, LockView, NewDeparture, NewIdentityCorrection,
    NewLockTransfer, NewReturn, VehicleView,
};
use uuid::Uuid;
use workflow::flow::Flow;

use crate::body::{Checked, fingerprint};
use crate::call::CallHeaders;
use crate::permits::{
    AgreeToIdentity, Allowed, CorrectIdentity, MoveVehicle, PassLock, ReadOrders,
};
use crate::problem::Rejection;

/// One vehicle: what stands open on it, and its orders.
#[utoipa::path(
    tag = "orders",
    responses(
        (status = OK, body = VehicleView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[get("/vehicles/{id}")]
pub(crate) async fn get_vehicle(
    flow: web::Data<Flow>,
    allowed: Allowed<ReadOrders>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, Rejection> {
    Ok(HttpResponse::Ok().json(workflow::orders::get_vehicle(&flow, &allowed.caller, *id).await?))
}

/// The vehicle leaves the premises without being released: a test drive, work elsewhere, or its owner took it.
///
/// Refused while anything keeps it where it stands.
#[utoipa::path(
    tag = "orders",
    request_body = NewDeparture,
    responses(
        (status = CREATED, body = DepartureView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/vehicles/{id}/departures")]
pub(crate) async fn depart(
    flow: web::Data<Flow>,
    allowed: Allowed<MoveVehicle>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewDeparture>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Created()
        .json(workflow::departures::depart(&flow, &call, *id, &new.body).await?))
}

/// The vehicle is back.
#[utoipa::path(
    tag = "orders",
    request_body = NewReturn,
    responses(
        (status = OK, body = DepartureView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/vehicles/{id}/returns")]
pub(crate) async fn come_back(
    flow: web::Data<Flow>,
    allowed: Allowed<MoveVehicle>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewReturn>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok()
        .json(workflow::departures::come_back(&flow, &call, *id, &new.body).await?))
}

/// Offer the lock of a service mode to another technician, or accept one.
#[utoipa::path(
    tag = "orders",
    request_body = NewLockTransfer,
    responses(
        (status = OK, body = LockView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/vehicles/{id}/lock-transfers")]
pub(crate) async fn pass_lock(
    flow: web::Data<Flow>,
    allowed: Allowed<PassLock>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewLockTransfer>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Ok().json(workflow::locks::transfer(&flow, &call, *id, &new.body).await?))
}

/// Say that the vehicle was taken for another one.
///
/// In force with the word of another person; what was shown of the vehicle is judged again.
#[utoipa::path(
    tag = "orders",
    request_body = NewIdentityCorrection,
    responses(
        (status = CREATED, body = IdentityCorrectionView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/vehicles/{id}/identity-corrections")]
pub(crate) async fn correct_identity(
    flow: web::Data<Flow>,
    allowed: Allowed<CorrectIdentity>,
    headers: CallHeaders,
    id: web::Path<Uuid>,
    new: Checked<NewIdentityCorrection>,
) -> Result<HttpResponse, Rejection> {
    let call = headers.call(allowed.caller, new.fingerprint);
    Ok(HttpResponse::Created()
        .json(workflow::identity_corrections::propose(&flow, &call, *id, &new.body).await?))
}

/// Agree to a correction: another person than the one who gave it.
#[utoipa::path(
    tag = "orders",
    params(
        ("id" = Uuid, Path, description = "the vehicle"),
        ("correction" = Uuid, Path, description = "the correction"),
    ),
    responses(
        (status = OK, body = IdentityCorrectionView),
        (status = "default", body = Problem, content_type = "application/problem+json")
    )
)]
#[post("/vehicles/{id}/identity-corrections/{correction}/approvals")]
pub(crate) async fn agree_to_identity(
    flow: web::Data<Flow>,
    allowed: Allowed<AgreeToIdentity>,
    headers: CallHeaders,
    path: web::Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Rejection> {
    let (vehicle, id) = path.into_inner();
    let call = headers.call(allowed.caller, fingerprint(&format!("{vehicle}/{id}"), &[]));
    let agreed = workflow::identity_corrections::approve(&flow, &call, vehicle, id).await?;
    Ok(HttpResponse::Ok().json(agreed))
}
