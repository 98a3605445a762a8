//! The one file that knows status codes.

use actix_web::http::StatusCode;
use contract::problem::ProblemKind as Kind;

/// The status of every kind of problem.
pub(crate) fn of(kind: Kind) -> StatusCode {
    match kind {
        Kind::TokenMissingOrInvalid => StatusCode::UNAUTHORIZED,
        Kind::RoleNotAllowed | Kind::PersonRequired => StatusCode::FORBIDDEN,
        Kind::NotFound => StatusCode::NOT_FOUND,
        Kind::MethodNotAllowed => StatusCode::METHOD_NOT_ALLOWED,
        Kind::NotAcceptable => StatusCode::NOT_ACCEPTABLE,
        Kind::UnsupportedMediaType => StatusCode::UNSUPPORTED_MEDIA_TYPE,
        Kind::InvalidRequest => StatusCode::BAD_REQUEST,
        Kind::BodyTooLarge => StatusCode::PAYLOAD_TOO_LARGE,
        Kind::Unprocessable
        | Kind::IdempotencyKeyReused
        | Kind::VinDiffers
        | Kind::CatalogueFaulty => StatusCode::UNPROCESSABLE_ENTITY,
        Kind::VersionStale => StatusCode::PRECONDITION_FAILED,
        Kind::VersionRequired => StatusCode::PRECONDITION_REQUIRED,
        Kind::RequestInProgress
        | Kind::NumberTaken
        | Kind::VehicleHasOpenOrder
        | Kind::AlreadyExists
        | Kind::WrongState
        | Kind::LeaseLost
        | Kind::Taken
        | Kind::TaskWaiting
        | Kind::PreconditionNotMet
        | Kind::CautionNotAcknowledged
        | Kind::OutOfOrder
        | Kind::Settling
        | Kind::BracketOpen
        | Kind::VehicleBusy
        | Kind::VehicleMismatch
        | Kind::ResultNotProven
        | Kind::NotReleasable
        | Kind::NotWaivable
        | Kind::SecondPersonRequired
        | Kind::NotAble => StatusCode::CONFLICT,
        Kind::TooManyRequests => StatusCode::TOO_MANY_REQUESTS,
        Kind::Unavailable => StatusCode::SERVICE_UNAVAILABLE,
        Kind::Internal => StatusCode::INTERNAL_SERVER_ERROR,
    }
}
