//! Catalogues and the shop's own words.

use chrono::{DateTime, Utc};
use domain::order::LineOperation;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A catalogue in the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CatalogueView {
    /// Version.
    pub version: String,
    /// `draft`, `in_force` or `retired`.
    pub state: String,
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
    /// Column, from 1.
    pub column: u64,
    /// Stable word for the sort of fault.
    pub code: String,
    /// In words.
    pub detail: String,
}

/// The shop's own phrase or labour code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LabourWord {
    /// The phrase or code, as lines carry it.
    #[schema(min_length = 1, max_length = 200)]
    pub phrase: String,
    /// What it means; empty: it needs nothing.
    #[schema(max_items = 50)]
    pub operations: Vec<LineOperation>,
}
