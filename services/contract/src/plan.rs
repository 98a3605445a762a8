//! The plan.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// The plan in force.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanView {
    /// Grows with every change; 0 before the first plan.
    pub version: i64,
    /// When it was made.
    pub made_at: Option<DateTime<Utc>>,
    /// What each part of the objective costs.
    pub cost: PlanCost,
    /// What is planned, by start.
    pub items: Vec<PlanItem>,
    /// What could not be planned, with the reason.
    pub unplanned: Vec<Unplanned>,
    /// What the last round moved: to another bay, to other people, or by five minutes and more.
    pub moved: Vec<Moved>,
}

/// What each part of the objective costs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanCost {
    /// Weighted minutes of lateness.
    pub tardiness: f64,
    /// Weighted minutes until the vehicles are out.
    pub flow: f64,
    /// Moves of vehicles between bays.
    pub moves: f64,
    /// Changes against the plan before.
    pub changes: f64,
}

/// A task or a line's mechanical work in the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PlanItem {
    /// The order.
    pub order: Uuid,
    /// Its number.
    pub number: String,
    /// The task, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// the line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// Title for people.
    pub title: String,
    /// The bay; none on the road.
    pub bay: Option<Uuid>,
    /// Who; none for unattended work.
    pub technicians: Vec<Uuid>,
    /// Units of equipment, by kind.
    pub equipment: std::collections::BTreeMap<String, u32>,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
}

/// Something that could not be planned.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Unplanned {
    /// The order.
    pub order: Uuid,
    /// The task, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// the line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// Why, in words.
    pub reason: String,
}

/// Something that moved from one plan to the next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Moved {
    /// The order.
    pub order: Uuid,
    /// The task, or
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<Uuid>,
    /// the line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<i32>,
    /// What moved, in words: `from bay 2 10:15 to bay 4 10:40`.
    pub detail: String,
    /// What took its old place away (`Bay 1 is out of service then`), or else what keeps it from starting sooner now, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub because: String,
}

/// Which plan.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct PlanQuery {
    /// The calendar of this bay (`text/calendar`).
    #[serde(default)]
    pub bay: Option<Uuid>,
    /// The calendar of this technician (`text/calendar`).
    #[serde(default)]
    pub technician: Option<Uuid>,
}

/// Keep a task at a bay, with a technician, or at a time. It takes the place of an earlier pin of the task: what is not named is
/// free again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPin {
    /// The task.
    pub task: Uuid,
    /// In this bay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Uuid>,
    /// With this technician.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Uuid>,
    /// At this time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub starts_at: Option<DateTime<Utc>>,
}

/// A pin.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PinView {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// In this bay.
    pub bay: Option<Uuid>,
    /// With this technician.
    pub technician: Option<Uuid>,
    /// At this time.
    pub starts_at: Option<DateTime<Utc>>,
}

/// What if: the answer compares with the plan in force and changes nothing, unless the trial is adopted.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTrial {
    /// This order before all others.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order_first: Option<Uuid>,
    /// These bays are out for the rest of the horizon.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub bays_out: Vec<Uuid>,
    /// These technicians are away for the rest of the horizon.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub technicians_out: Vec<Uuid>,
    /// These tasks kept at a bay, with a technician, or at a time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub pins: Vec<NewPin>,
    /// Make it so: who and what is out becomes an absence without end, the order comes first by its weight, pins are set;
    /// the next round of planning puts the plan in force.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub adopt: bool,
}

/// A trial beside the plan in force.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TrialView {
    /// What the plan in force costs.
    pub in_force: PlanCost,
    /// What the trial would cost, by the same weights of orders.
    pub trial: PlanCost,
    /// Orders late in the plan in force: promised, and done later or not to be finished at all.
    pub late_in_force: Vec<Uuid>,
    /// Orders late in the trial.
    pub late_in_trial: Vec<Uuid>,
    /// Orders of which something has no place in the plan in force.
    pub unfinished_in_force: Vec<Uuid>,
    /// Orders of which something has no place in the trial.
    pub unfinished_in_trial: Vec<Uuid>,
    /// What would move.
    pub moved: Vec<Moved>,
    /// What the trial could not plan, with the reason.
    pub unplanned: Vec<Unplanned>,
    /// Whether it was made so.
    pub adopted: bool,
}
