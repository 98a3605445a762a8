//! What the evidence says of a precondition.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// The verdict on one precondition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It holds.
    Met,
    /// Evidence says that it does not hold.
    Violated,
    /// It held, but the evidence is too old.
    Stale,
    /// Nothing speaks to it yet.
    Missing,
}

/// The verdict with the evidence it rests on, in words that tell the way out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Finding {
    /// Name of the precondition.
    pub id: String,
    /// What must be true.
    pub text: String,
    /// The verdict.
    pub verdict: Verdict,
    /// What is lacking or was seen, in words: `coolant is 68 Cel, needs 93 to 99 Cel`.
    pub detail: String,
    /// Evidence that the verdict rests on.
    #[serde(default)]
    pub evidence: Vec<Uuid>,
    /// What would be accepted: `reading of engine_coolant_temperature in Cel, [degF] or K`.
    #[serde(default)]
    pub accepts: Vec<String>,
    /// Who can give it: `technician`, `second_person`.
    #[serde(default)]
    pub who: Vec<String>,
    /// Seconds still to wait, when only time is lacking.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wait_seconds: Option<u32>,
    /// The earliest moment at which time alone can change the verdict: evidence grows too old, or a wait ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes_at: Option<DateTime<Utc>>,
    /// It was not proven in the regular way, but by an alternative that the catalogue names.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_alternative: bool,
    /// It is not proven and need not be: a waiver in force leaves it out.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub waived: bool,
    /// Two pieces of evidence contradict each other; shown, not resolved.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contradiction: Option<String>,
}
