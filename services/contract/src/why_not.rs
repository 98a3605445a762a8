//! Why an order does not require a procedure.

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Which procedure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct WhyNotQuery {
    /// Its name in the catalogue that the order is derived with.
    #[param(example = "front_camera_calibration")]
    pub procedure: String,
}

/// What stands between an order and a procedure, way by way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WhyNotView {
    /// The procedure.
    pub procedure: String,
    /// What people call it.
    pub title: String,
    /// The catalogue that the order is derived with.
    pub catalogue_version: String,
    /// Whether the order requires it; `unknown` until its questions are answered.
    pub required: Truth,
    /// Whether the vehicle has it.
    pub exists: Truth,
    /// The facts that this depends on.
    pub exists_by: Vec<KnownFact>,
    /// Every rule and procedure that could require it, with what is lacking.
    pub ways: Vec<WayView>,
    /// All of it as sentences.
    pub sentences: Vec<String>,
    /// Tasks of the order that carry it, those that fell away among them.
    pub tasks: Vec<Uuid>,
    /// Open questions that decide it.
    pub questions: Vec<Uuid>,
}

/// What is known of a statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Truth {
    /// It holds.
    Yes,
    /// It does not hold.
    No,
    /// Nobody knows yet.
    Unknown,
}

/// A vehicle fact and what is known of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct KnownFact {
    /// The fact, as questions call it.
    #[schema(example = "features.front_camera")]
    pub fact: String,
    /// Its value in words; none: unknown.
    pub value: Option<String>,
}

/// One way in which the procedure could become necessary.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WayView {
    /// The rule that could require it, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// the procedure that needs it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needed_by: Option<String>,
    /// Why it would.
    pub because: String,
    /// The source.
    pub source: String,
    /// What is lacking; empty: this way is open.
    pub lacks: Vec<LackView>,
}

/// What is lacking on one way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LackView {
    /// `nothing_sets_it_off`, `other_vehicles`, `vehicle_unknown` or `not_required_itself`.
    pub code: String,
    /// The facts that it hangs on.
    pub facts: Vec<KnownFact>,
}
