//! Pages of lists.

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// One page of a list, in a stable order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    /// The items.
    pub items: Vec<T>,
    /// Cursor of the next page; none on the last. The same stands in `Link: <...>; rel="next"` (RFC 8288).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// Which page of a list.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct PageQuery {
    /// Where the page begins: the `next` of the page before.
    #[serde(default)]
    pub cursor: Option<String>,
    /// How many items at the most, 1 to 500.
    #[serde(default)]
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u32>,
}
