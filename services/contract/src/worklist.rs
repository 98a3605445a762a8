//! The work of an order, grouped by what stands ready.

use domain::lifecycle::TaskState;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What is left to do on an order: groups that share a set-up, in an order that works.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WorklistView {
    /// The order.
    pub order: Uuid,
    /// The groups, one after the other.
    pub groups: Vec<WorkGroup>,
    /// Likely minutes of all tasks in it, without the mechanical work.
    pub minutes: u32,
}

/// Tasks that share a set-up, or lines of mechanical work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WorkGroup {
    /// What stands ready for its tasks; none for a group of lines.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_up: Option<SetUp>,
    /// Its tasks, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tasks: Vec<WorkItem>,
    /// Lines whose mechanical work comes here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<i32>,
    /// Likely minutes of its tasks.
    pub minutes: u32,
}

/// What stands ready.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SetUp {
    /// Capabilities that the bay has; none: it is done on the road.
    pub bay: Option<Vec<String>>,
    /// Bays that are able.
    pub bays: Vec<Uuid>,
    /// The ignition's state, where it matters: `on`, `off`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ignition: Option<String>,
    /// The engine's state, where it matters: `off`, `running`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub engine: Option<String>,
    /// The engine is at operating temperature.
    pub warm_engine: bool,
}

/// One task of a group.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WorkItem {
    /// The task.
    pub task: Uuid,
    /// The procedure.
    pub procedure: String,
    /// Its title.
    pub title: String,
    /// Where on the vehicle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Where it stands.
    pub state: TaskState,
    /// A cheap check that may close it instead, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quick_check: Option<String>,
    /// Seconds to wait after it before what follows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wait_seconds: Option<u32>,
    /// The vehicle may leave before it has ended.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub after_handover: bool,
    /// Likely minutes.
    pub minutes: u32,
}
