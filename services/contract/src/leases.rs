//! Leases: the time-limited right of one technician to work a task.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::tasks::TaskView;

/// Ask for the next right task, or for a certain one.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLease {
    /// Only this task.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// Only tasks of this order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Uuid>,
    /// Work in this bay; without it the planned bay, else any that is able and free.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// Units of equipment by id; without it any that are able and free.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub equipment: Vec<Uuid>,
    /// How many tasks at the most, 1 to 10.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 10)]
    pub max: Option<u32>,
    /// Seconds to wait for work, 0 to 30.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 30)]
    pub wait: Option<u32>,
    /// Minutes that the lease lasts, 1 to 480; a running task's lease lasts at least its most minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 480)]
    pub minutes: Option<u32>,
}

/// Leases that were given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeasesView {
    /// One per task.
    pub leases: Vec<LeaseView>,
}

/// A lease.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeaseView {
    /// The task, whole.
    pub task: TaskView,
    /// Send this number with everything that is done under the lease.
    pub fence: i64,
    /// When it ends.
    pub until: DateTime<Utc>,
    /// The bay.
    pub bay: Option<Uuid>,
    /// The units of equipment.
    pub equipment: Vec<Uuid>,
}

/// Prolong a lease.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RenewLease {
    /// The lease's fence.
    pub fence: i64,
    /// Minutes from now, 1 to 480.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 480)]
    pub minutes: Option<u32>,
}

/// Give a task back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReturnLease {
    /// The lease's fence.
    pub fence: i64,
    /// Why.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 2000)]
    pub note: String,
}
