//! Problem documents (RFC 9457) and the list of their types.

use chrono::{DateTime, Utc};
use domain::start::Obstacle;
use std::fmt;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// Every kind of refusal. The word stands at the end of the problem's `type`: `/problems/precondition-not-met`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ProblemKind {
    /// No token, or one that is not valid here.
    TokenMissingOrInvalid,
    /// The token's roles do not allow it.
    RoleNotAllowed,
    /// A person must act, not a program, or with a fresh sign-in.
    PersonRequired,
    /// Nothing of that name in this shop.
    NotFound,
    /// The path exists, for other methods.
    MethodNotAllowed,
    /// None of the media types asked for can be given.
    NotAcceptable,
    /// The body is not of a media type that is read here.
    UnsupportedMediaType,
    /// The body or a parameter breaks the contract.
    InvalidRequest,
    /// The body is larger than what is read here.
    BodyTooLarge,
    /// The contents are well formed but do not fit together.
    Unprocessable,
    /// The idempotency key was used with another body.
    IdempotencyKeyReused,
    /// A request with this idempotency key still runs.
    RequestInProgress,
    /// The thing changed since it was read.
    VersionStale,
    /// `If-Match` is required here.
    VersionRequired,
    /// The order's number is taken by another intake.
    NumberTaken,
    /// The order was taken in for another vehicle.
    VinDiffers,
    /// The vehicle has an open order.
    VehicleHasOpenOrder,
    /// It exists already.
    AlreadyExists,
    /// The state does not allow it.
    WrongState,
    /// The lease with this fence has ended.
    LeaseLost,
    /// Somebody else has it.
    Taken,
    /// The task waits for something.
    TaskWaiting,
    /// A precondition is not proven.
    PreconditionNotMet,
    /// A caution was not acknowledged.
    CautionNotAcknowledged,
    /// Something that comes first is open.
    OutOfOrder,
    /// A wait runs.
    Settling,
    /// A service mode stands open on the vehicle.
    BracketOpen,
    /// The vehicle is busy or held.
    VehicleBusy,
    /// Another vehicle than the order's was shown, or none.
    VehicleMismatch,
    /// The result is not proven.
    ResultNotProven,
    /// The vehicle may not leave.
    NotReleasable,
    /// It cannot be waived.
    NotWaivable,
    /// A different person must do this.
    SecondPersonRequired,
    /// The technician, bay or equipment cannot do it.
    NotAble,
    /// The catalogue document has faults.
    CatalogueFaulty,
    /// Too much at once.
    TooManyRequests,
    /// The database is not reachable or too busy.
    Unavailable,
    /// A fault of the service.
    Internal,
}

impl ProblemKind {
    /// Every kind.
    pub const ALL: &'static [Self] = &[
        Self::TokenMissingOrInvalid,
        Self::RoleNotAllowed,
        Self::PersonRequired,
        Self::NotFound,
        Self::MethodNotAllowed,
        Self::NotAcceptable,
        Self::UnsupportedMediaType,
        Self::InvalidRequest,
        Self::BodyTooLarge,
        Self::Unprocessable,
        Self::IdempotencyKeyReused,
        Self::RequestInProgress,
        Self::VersionStale,
        Self::VersionRequired,
        Self::NumberTaken,
        Self::VinDiffers,
        Self::VehicleHasOpenOrder,
        Self::AlreadyExists,
        Self::WrongState,
        Self::LeaseLost,
        Self::Taken,
        Self::TaskWaiting,
        Self::PreconditionNotMet,
        Self::CautionNotAcknowledged,
        Self::OutOfOrder,
        Self::Settling,
        Self::BracketOpen,
        Self::VehicleBusy,
        Self::VehicleMismatch,
        Self::ResultNotProven,
        Self::NotReleasable,
        Self::NotWaivable,
        Self::SecondPersonRequired,
        Self::NotAble,
        Self::CatalogueFaulty,
        Self::TooManyRequests,
        Self::Unavailable,
        Self::Internal,
    ];

    /// The word in the problem's `type`, and its title.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::TokenMissingOrInvalid => ("token-missing-or-invalid", "A valid token is needed"),
            Self::RoleNotAllowed => ("role-not-allowed", "The token's roles do not allow this"),
            Self::PersonRequired => ("person-required", "A person must do this"),
            Self::NotFound => ("not-found", "There is no such thing in this shop"),
            Self::MethodNotAllowed => ("method-not-allowed", "This path takes other methods"),
            Self::NotAcceptable => {
                ("not-acceptable", "None of the media types asked for can be given")
            }
            Self::UnsupportedMediaType => {
                ("unsupported-media-type", "The body's media type is not read here")
            }
            Self::InvalidRequest => ("invalid-request", "The request breaks the contract"),
            Self::BodyTooLarge => ("body-too-large", "The body is too large"),
            Self::Unprocessable => ("unprocessable", "The contents do not fit together"),
            Self::IdempotencyKeyReused => {
                ("idempotency-key-reused", "The idempotency key was used with another body")
            }
            Self::RequestInProgress => {
                ("request-in-progress", "A request with this key still runs")
            }
            Self::VersionStale => ("version-stale", "It changed since it was read"),
            Self::VersionRequired => ("version-required", "If-Match is required"),
            Self::NumberTaken => ("number-taken", "Another order has this number"),
            Self::VinDiffers => ("vin-differs", "The order is for another vehicle"),
            Self::VehicleHasOpenOrder => {
                ("vehicle-has-open-order", "The vehicle has an open order")
            }
            Self::AlreadyExists => ("already-exists", "It exists already"),
            Self::WrongState => ("wrong-state", "The state does not allow this"),
            Self::LeaseLost => ("lease-lost", "The lease with this fence has ended"),
            Self::Taken => ("taken", "Somebody else has it"),
            Self::TaskWaiting => ("task-waiting", "The task waits for something"),
            Self::PreconditionNotMet => ("precondition-not-met", "A precondition is not proven"),
            Self::CautionNotAcknowledged => {
                ("caution-not-acknowledged", "A caution was not acknowledged")
            }
            Self::OutOfOrder => ("out-of-order", "Something else comes first"),
            Self::Settling => ("settling", "A wait still runs"),
            Self::BracketOpen => ("bracket-open", "A service mode stands open on the vehicle"),
            Self::VehicleBusy => ("vehicle-busy", "The vehicle is busy or held"),
            Self::VehicleMismatch => ("vehicle-mismatch", "The right vehicle is not proven"),
            Self::ResultNotProven => ("result-not-proven", "The result is not proven"),
            Self::NotReleasable => ("not-releasable", "The vehicle may not leave yet"),
            Self::NotWaivable => ("not-waivable", "This cannot be waived"),
            Self::SecondPersonRequired => {
                ("second-person-required", "A different person must do this")
            }
            Self::NotAble => ("not-able", "The technician, bay or equipment cannot do this"),
            Self::CatalogueFaulty => ("catalogue-faulty", "The catalogue document has faults"),
            Self::TooManyRequests => ("too-many-requests", "Too many requests"),
            Self::Unavailable => ("unavailable", "The service cannot answer now"),
            Self::Internal => ("internal", "A fault of the service"),
        }
    }
}

/// A problem document.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// Stable, relative URI of the problem's type.
    #[serde(rename = "type")]
    #[schema(example = "/problems/precondition-not-met")]
    pub kind: String,
    /// The same for every problem of this type.
    pub title: String,
    /// HTTP status.
    pub status: u16,
    /// What happened here, for people.
    pub detail: String,
    /// Identifies this answer in the service's log, as the header `X-Request-Id` does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "urn:uuid:0193c0de-0000-4000-8000-000000000001")]
    pub instance: Option<String>,
    /// Broken fields, by JSON pointer (RFC 6901).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldFault>,
    /// Every reason at once, with the way out of each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<Obstacle>,
    /// Preconditions that nothing speaks to yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Obstacle>,
    /// Preconditions that evidence speaks against.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub violated: Vec<Obstacle>,
    /// Preconditions whose evidence is too old.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stale: Vec<Obstacle>,
    /// The earliest moment at which time alone lifts the refusal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earliest_at: Option<DateTime<Utc>>,
    /// Further members of this type of problem.
    #[serde(flatten)]
    pub members: Map<String, Value>,
}

/// A field that breaks the contract.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
pub struct FieldFault {
    /// JSON pointer into the body (RFC 6901), or the parameter's name.
    #[schema(example = "/lines/0/operations/0/action")]
    pub pointer: String,
    /// What is wrong with it.
    pub detail: String,
}

impl fmt::Display for FieldFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.pointer.is_empty() {
            out.write_str(&self.detail)
        } else {
            write!(out, "{}: {}", self.pointer, self.detail)
        }
    }
}
