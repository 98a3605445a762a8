//! The shop's own phrases and labour codes; they come before the lexicon when a line is read.

use domain::operation::Operation;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// A phrase or labour code, and what the shop means by it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLabourWord {
    /// The phrase or code, as lines carry it; letter case, blanks and marks do not matter.
    #[schema(min_length = 1, max_length = 200, example = "TB service")]
    pub phrase: String,
    /// What it means; empty: it needs nothing.
    #[schema(max_items = 50)]
    pub operations: Vec<Operation>,
}

/// What the shop means by a phrase or code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewMeaning {
    /// What it means; empty: it needs nothing.
    #[schema(max_items = 50)]
    pub operations: Vec<Operation>,
}

/// A word as everybody sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LabourWordView {
    /// The phrase or code in the form in which it is kept: lower case, single blanks.
    pub phrase: String,
    /// What it means; empty: it needs nothing.
    pub operations: Vec<Operation>,
    /// The order whose confirmed answer taught it; none: a keeper wrote it.
    pub learnt_from: Option<Uuid>,
}
