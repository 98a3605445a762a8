//! What the plan lets a dispatcher foresee: load, promises, why an order is late, and what would help.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::orders::QuestionView;
use crate::plan::{PlanItem, Unplanned};

/// How far ahead.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct LoadQuery {
    /// Days from now, 1 to 14; without it, 5.
    #[serde(default)]
    #[param(minimum = 1, maximum = 14)]
    pub days: Option<u8>,
}

/// Load by hour.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LoadView {
    /// Version of the plan.
    pub plan_version: i64,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// By what bays offer.
    pub capabilities: Vec<LoadOf>,
    /// By what people can do.
    pub skills: Vec<LoadOf>,
}

/// Load of one capability or skill. A bay or person counts for all it offers, so the names do not add up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LoadOf {
    /// The capability or skill.
    pub name: String,
    /// Hours in which somebody or something is there, or planned.
    pub hours: Vec<LoadHour>,
}

/// One hour of the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LoadHour {
    /// When it begins.
    pub at: DateTime<Utc>,
    /// Minutes there, over all bays or people.
    pub there: u32,
    /// Minutes of them that are planned.
    pub planned: u32,
}

/// When a new order could be promised, every other order left where it is planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PromiseView {
    /// When it is likely to be ready; none: something can't be planned, see `unplanned`.
    pub ready_at: Option<DateTime<Utc>>,
    /// What can be promised: ready even if every task takes as long as it ever should, at the next full quarter of an hour.
    pub promise_at: Option<DateTime<Utc>>,
    /// What is not known yet; an answer may add work.
    pub questions: Vec<QuestionView>,
    /// Where its work would lie.
    pub items: Vec<PlanItem>,
    /// What of it can't be planned, with the reason.
    pub unplanned: Vec<Unplanned>,
}

/// Which order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct WhyLateQuery {
    /// The order.
    pub order: Uuid,
}

/// What holds an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WhyLateView {
    /// The order.
    pub order: Uuid,
    /// Its number.
    pub number: String,
    /// When it was promised.
    pub promised_at: Option<DateTime<Utc>>,
    /// When its last planned work ends; none while something of it has no place in the plan.
    pub ends_at: Option<DateTime<Utc>>,
    /// By how many minutes its planned work ends late.
    pub late_minutes: i64,
    /// What of it has no place in the plan, with the reason.
    pub unplanned: Vec<Unplanned>,
    /// The chain that ends it, from the last work back to where it began; work of other orders is part of it.
    pub chain: Vec<ChainLink>,
}

/// A link of the chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChainLink {
    /// The order that this work belongs to.
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
    /// When it starts.
    pub starts_at: DateTime<Utc>,
    /// What kept it from starting sooner, in words.
    pub because: String,
}

/// What one more of something would save, each tried by planning once more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GainsView {
    /// Orders late by the plan as it is.
    pub late_orders: u32,
    /// Minutes late, all together.
    pub late_minutes: i64,
    /// Orders that can't be finished, since something of them has no place in the plan.
    pub unfinished_orders: u32,
    /// What was tried, the most helpful first.
    pub gains: Vec<Gain>,
}

/// One more technician, bay or unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Gain {
    /// `technician`, `bay` or `equipment`.
    pub kind: String,
    /// The skills, the capabilities, or the kind of equipment.
    pub offers: Vec<String>,
    /// Orders late with it.
    pub late_orders: u32,
    /// Minutes late with it, all together.
    pub late_minutes: i64,
    /// Orders that can't be finished with it either.
    pub unfinished_orders: u32,
    /// The difference in words.
    pub words: String,
}
