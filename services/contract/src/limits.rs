//! Limits by the manufacturer, in place of the catalogue's.

use chrono::{DateTime, Utc};
use domain::limit::Bound;
use domain::quantity::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// The manufacturer's figure for one precondition or proof of a task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLimitOverride {
    /// The precondition or proof, by name. Its catalogue entry says how far a limit may differ.
    #[schema(min_length = 1, max_length = 64, example = "coolant_warm")]
    pub precondition: String,
    /// The end of the range that is meant; needed where it has two.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bound: Option<Bound>,
    /// The manufacturer's figure.
    pub value: Decimal,
    /// UCUM code of the figure; `s`, `min` or `h` for a wait.
    #[schema(min_length = 1, max_length = 32, example = "Cel")]
    pub unit: String,
    /// The document that it stands in, so that another person finds it.
    #[schema(
        min_length = 1,
        max_length = 500,
        pattern = r"\S",
        example = "Service manual 12-4, issue 2025-03"
    )]
    pub document: String,
    /// The page or section.
    #[schema(min_length = 1, max_length = 64, pattern = r"\S", example = "214")]
    pub page: String,
    /// The technician who read it there.
    pub by: Uuid,
}

/// A limit by the manufacturer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LimitOverrideView {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// The precondition or proof.
    pub precondition: String,
    /// The end of the range.
    pub bound: Bound,
    /// The manufacturer's figure.
    pub value: Decimal,
    /// Its unit.
    pub unit: String,
    /// The catalogue's figure that it stands in for, with its unit.
    pub instead_of: String,
    /// The document.
    pub document: String,
    /// The page or section.
    pub page: String,
    /// The technician who read it there.
    pub by: Uuid,
    /// When it was given.
    pub given_at: DateTime<Utc>,
    /// Who approved it, where two people are needed.
    pub approved_by: Option<String>,
    /// It counts only with the approval of another person, which is still missing.
    pub approval_needed: bool,
}
