//! What is done to which part.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// An action on a component, for example `replace` a `throttle_body`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Operation {
    /// The action, a word of the catalogue's vocabulary.
    #[schema(example = "replace", min_length = 1, max_length = 64)]
    pub action: String,
    /// The component, a word of the catalogue's vocabulary.
    #[schema(example = "throttle_body", min_length = 1, max_length = 64)]
    pub component: String,
    /// Where on the vehicle, when it matters: a wheel, a seat, a door (`front_left`, ...).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "front_left", min_length = 1, max_length = 64)]
    pub place: Option<String>,
}

impl Operation {
    /// An operation that names no place.
    pub fn new(action: impl Into<String>, component: impl Into<String>) -> Self {
        Self { action: action.into(), component: component.into(), place: None }
    }
}

/// Matches operations by component and, if given, by action.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OperationPattern {
    /// The component itself or any of its parents.
    pub component: String,
    /// The actions that match; empty matches every action.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub actions: Vec<String>,
}
