//! On which vehicles something holds.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A condition on vehicle facts. With unknown facts it may be neither true nor false; the derivation
/// evaluates it in three values.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Predicate {
    /// The feature is there.
    Has(String),
    /// The feature is known not to be there.
    Lacks(String),
    /// The fact (`make`, `model`, `powertrain` or a feature with words) is one of these words.
    Is {
        /// The fact's name.
        fact: String,
        /// The words that satisfy it.
        one_of: Vec<String>,
    },
    /// The model year lies in a range, both ends included.
    ModelYear {
        /// First year, if bounded.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<i32>,
        /// Last year, if bounded.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<i32>,
    },
    /// Every one of these holds; an empty list always holds.
    #[schema(no_recursion)]
    All(Vec<Predicate>),
    /// At least one of these holds; an empty list never holds.
    #[schema(no_recursion)]
    Any(Vec<Predicate>),
    /// This does not hold.
    #[schema(no_recursion)]
    Not(Box<Predicate>),
}

impl Default for Predicate {
    /// Holds on every vehicle.
    fn default() -> Self {
        Self::All(Vec::new())
    }
}

impl Predicate {
    /// Whether this is the predicate that holds on every vehicle.
    pub fn is_always(&self) -> bool {
        matches!(self, Self::All(all) if all.is_empty())
    }
}
