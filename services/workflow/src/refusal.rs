//! Why a step did not happen: free of HTTP, with everything a problem document needs.

use chrono::{DateTime, Utc};
use contract::problem::{FieldFault, ProblemKind};
use domain::start::Obstacle;
use serde_json::{Map, Value};
use store::StoreError;

use crate::checks;

/// A step was refused, or failed. Boxed, so that results stay small.
#[derive(Debug, thiserror::Error)]
#[error("{}: {}", .0.kind.words().0, .0.detail)]
pub struct Refusal(pub Box<Reason>);

/// What a refusal says.
#[derive(Debug)]
pub struct Reason {
    /// Its kind.
    pub kind: ProblemKind,
    /// What happened here, for people.
    pub detail: String,
    /// Fields that do not fit.
    pub errors: Vec<FieldFault>,
    /// Every reason at once.
    pub reasons: Vec<Obstacle>,
    /// Further members of the problem document.
    pub members: Map<String, Value>,
    /// The fault behind it; for the log alone.
    pub cause: Option<StoreError>,
    /// What the step wrote before it was refused stays: evidence, and that something was asked for.
    pub(crate) kept: bool,
}

impl Refusal {
    /// A refusal of this kind.
    pub fn new(kind: ProblemKind, detail: impl Into<String>) -> Self {
        Self(Box::new(Reason {
            kind,
            detail: detail.into(),
            errors: Vec::new(),
            reasons: Vec::new(),
            members: Map::new(),
            cause: None,
            kept: false,
        }))
    }

    /// Nothing of that name in this shop.
    pub fn not_found(what: &str) -> Self {
        Self::new(ProblemKind::NotFound, format!("there is no such {what} in this shop"))
    }

    /// The contents do not fit together, field by field.
    pub fn unprocessable(errors: Vec<FieldFault>) -> Self {
        let detail = errors.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        let mut refusal = Self::new(ProblemKind::Unprocessable, detail);
        refusal.0.errors = errors;
        refusal
    }

    /// A request of which one field does not fit.
    pub fn field(pointer: &str, detail: impl Into<String>) -> Self {
        Self::unprocessable(vec![checks::fault(pointer, detail)])
    }

    /// A refusal with all its reasons; the gravest gives the kind, the first moment that time alone lifts it is told.
    pub fn obstacles(mut reasons: Vec<Obstacle>) -> Self {
        reasons.sort_by_key(|reason| rank(&reason.code));
        let kind = reasons.first().map_or(ProblemKind::WrongState, |reason| kind_of(&reason.code));
        let detail = reasons.iter().map(|r| r.detail.as_str()).collect::<Vec<_>>().join("; ");
        let mut refusal = Self::new(kind, detail);
        refusal.0.reasons = reasons;
        refusal
    }

    /// Adds a member to the problem document.
    #[must_use]
    pub fn with(mut self, member: &str, value: impl Into<Value>) -> Self {
        self.0.members.insert(member.to_owned(), value.into());
        self
    }

    /// The same refusal of a step that keeps what it wrote so far.
    #[must_use]
    pub(crate) fn keeping(mut self) -> Self {
        self.0.kept = true;
        self
    }

    /// The kind.
    pub fn kind(&self) -> ProblemKind {
        self.0.kind
    }
}

impl Reason {
    /// When time alone lifts every reason: the latest of their moments, if each has one.
    pub fn earliest_at(&self) -> Option<DateTime<Utc>> {
        Self::earliest_of(&self.reasons)
    }

    /// The same of any obstacles.
    pub(crate) fn earliest_of(reasons: &[Obstacle]) -> Option<DateTime<Utc>> {
        let moments: Option<Vec<_>> = reasons.iter().map(|r| r.earliest_at).collect();
        moments.and_then(|moments| moments.into_iter().max())
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        let (kind, detail) = match &error {
            StoreError::Duplicate { .. } => (ProblemKind::AlreadyExists, "it exists already"),
            StoreError::Guarded { .. } => {
                (ProblemKind::WrongState, "the database refuses this change")
            }
            StoreError::Unstorable => {
                (ProblemKind::Unprocessable, "a text holds the character U+0000, which is not kept")
            }
            StoreError::Collision => (ProblemKind::Unavailable, "two requests collided; try again"),
            StoreError::Unreachable(_) => {
                (ProblemKind::Unavailable, "the database is not reachable")
            }
            _ => (ProblemKind::Internal, "a fault of the service; it is in the log"),
        };
        let mut refusal = Self::new(kind, detail);
        refusal.0.cause = Some(error);
        refusal
    }
}

/// Codes of obstacles from the gravest to the lightest, with the kind of problem each makes.
const GRAVITY: &[(&str, ProblemKind)] = &[
    ("order_not_open", ProblemKind::WrongState),
    ("wrong_state", ProblemKind::WrongState),
    ("lease_lost", ProblemKind::LeaseLost),
    ("vehicle_mismatch", ProblemKind::VehicleMismatch),
    ("bracket_open", ProblemKind::BracketOpen),
    ("bracket_not_open", ProblemKind::OutOfOrder),
    ("vehicle_away", ProblemKind::VehicleBusy),
    ("vehicle_held", ProblemKind::VehicleBusy),
    ("vehicle_busy", ProblemKind::VehicleBusy),
    ("earlier_task_open", ProblemKind::OutOfOrder),
    ("line_open", ProblemKind::OutOfOrder),
    ("line_on_hold", ProblemKind::OutOfOrder),
    ("settling", ProblemKind::Settling),
    ("result_not_proven", ProblemKind::ResultNotProven),
    ("precondition_not_met", ProblemKind::PreconditionNotMet),
    ("caution_not_acknowledged", ProblemKind::CautionNotAcknowledged),
    ("second_person_missing", ProblemKind::SecondPersonRequired),
    ("lock_not_held", ProblemKind::SecondPersonRequired),
    ("sign_in_not_fresh", ProblemKind::PersonRequired),
    ("identity_missing", ProblemKind::VehicleMismatch),
    ("resource_missing", ProblemKind::NotAble),
];

fn rank(code: &str) -> usize {
    GRAVITY.iter().position(|(known, _)| *known == code).unwrap_or(GRAVITY.len())
}

fn kind_of(code: &str) -> ProblemKind {
    GRAVITY
        .iter()
        .find(|(known, _)| *known == code)
        .map_or(ProblemKind::WrongState, |(_, kind)| *kind)
}
