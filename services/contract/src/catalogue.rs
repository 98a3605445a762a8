//! Catalogues: what is on the shelf, what a check finds, what a draft would change.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// Where a catalogue stands: a draft is changed, put in force, and retired by the next one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CatalogueState {
    /// It may still be changed; nothing is derived with it.
    Draft,
    /// New orders are derived with it.
    InForce,
    /// Only orders that were derived with it still are.
    Retired,
}

/// A catalogue on the shop's shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CatalogueView {
    /// Version, as the document says.
    pub version: String,
    /// Where it stands.
    pub state: CatalogueState,
    /// Grows with every change; the `ETag` is `"v<revision>"`.
    pub revision: i64,
    /// How many procedures.
    pub procedures: u32,
    /// How many rules.
    pub rules: u32,
    /// SHA-256 of the document in its canonical form, hex.
    pub digest: String,
    /// When it was uploaded.
    pub created_at: DateTime<Utc>,
    /// When it was put in force.
    pub in_force_at: Option<DateTime<Utc>>,
}

/// A draft that was taken onto the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct UploadView {
    /// The catalogue.
    #[serde(flatten)]
    pub catalogue: CatalogueView,
    /// What a keeper should look at.
    pub notes: Vec<DocumentNote>,
}

/// The result of a check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CheckView {
    /// What keeps the document from being used.
    pub faults: Vec<DocumentNote>,
    /// What a keeper should look at.
    pub notes: Vec<DocumentNote>,
}

/// A place in a document and what is noticed there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DocumentNote {
    /// Line, from 1; 0 when the place is unknown.
    pub line: u64,
    /// Column in characters, from 1; 0 when the place is unknown.
    pub column: u64,
    /// Stable word for the sort of fault.
    #[schema(example = "unknown_name")]
    pub code: String,
    /// In words.
    pub detail: String,
}

/// What deriving every open order anew with this catalogue would change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ImpactView {
    /// The catalogue that was tried.
    pub version: String,
    /// How many open orders were derived.
    pub open_orders: u32,
    /// How many of them would change.
    pub affected_orders: u32,
    /// How often each procedure is concerned, by its name; those that are not are left out.
    pub procedures: Vec<ProcedureImpact>,
    /// The orders that would change, oldest first.
    pub orders: Vec<OrderImpact>,
    /// Words of the shop whose operations this catalogue does not know: lines that say them would need nothing.
    pub unknown_labour_words: Vec<String>,
}

/// On how many tasks a draft would bear, for one procedure.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ProcedureImpact {
    /// The procedure.
    pub procedure: String,
    /// New tasks.
    pub adds: u32,
    /// Tasks no longer required.
    pub withdraws: u32,
    /// Passed tasks that work begun since has undone, as only this catalogue says.
    pub disturbs: u32,
    /// Tasks not yet tried that get another wording of the procedure.
    pub revises: u32,
}

/// What a draft would change on one order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OrderImpact {
    /// The order.
    pub order: Uuid,
    /// Its number.
    pub number: String,
    /// The catalogue it is derived with.
    pub catalogue_version: String,
    /// New tasks.
    pub adds: Vec<TaskKey>,
    /// Tasks no longer required; one that runs is finished first.
    pub withdraws: Vec<TaskKey>,
    /// Passed tasks that work begun since has undone, as only this catalogue says.
    pub disturbs: Vec<TaskKey>,
    /// Tasks not yet tried that get another wording of the procedure.
    pub revises: Vec<TaskKey>,
    /// Operations of its lines that only this catalogue does not know: it can't be derived anew before they are known.
    #[schema(example = json!(["replace wiper_motor"]))]
    pub unknown_operations: Vec<String>,
    /// What would be asked that is not asked now.
    #[schema(example = json!(["features.front_camera"]))]
    pub asks: Vec<String>,
}

/// A procedure at a place of the vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TaskKey {
    /// The procedure.
    pub procedure: String,
    /// Where on the vehicle, for procedures that are done per place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
}
