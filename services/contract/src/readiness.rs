//! Whether a task may start, or pass, as of now; for clients that watch.

use chrono::{DateTime, Utc};
use domain::lifecycle::TaskState;
use domain::start::Obstacle;
use domain::verdict::Finding;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// How long to watch.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ReadinessQuery {
    /// Seconds to wait for a change, 0 to 30.
    #[serde(default)]
    #[param(minimum = 0, maximum = 30)]
    pub wait: Option<u32>,
    /// The `mark` of the answer that the client has: whatever differs from it is told at once. Without it, what
    /// differs from the moment of asking.
    #[serde(default)]
    #[param(max_length = 64)]
    pub known: Option<String>,
}

/// Where a task stands between the evidence and the next step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReadinessView {
    /// The task.
    pub task: Uuid,
    /// Where it stands.
    pub state: TaskState,
    /// As of when, by the service's clock.
    pub at: DateTime<Utc>,
    /// It may start now; while it runs: it may be finished as passed now.
    pub ready: bool,
    /// Preconditions: all of them before the start; while it runs, those that must go on holding.
    pub preconditions: Vec<Finding>,
    /// Proofs of the result.
    pub proof: Vec<Finding>,
    /// Everything that stands in the way, as the refusal would tell it.
    pub obstacles: Vec<Obstacle>,
    /// When time alone lifts every obstacle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earliest_at: Option<DateTime<Utc>>,
    /// The earliest moment at which time alone changes this answer: evidence grows too old, a wait or the lease ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes_at: Option<DateTime<Utc>>,
    /// Stands for the verdicts and obstacles of this answer; send it as `known` to be told of the next change.
    pub mark: String,
}
