//! Files of evidence, and redacted ones in their place.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// A file in place of one that shows what must not be kept: a person, a plate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRedaction {
    /// Media type; checked against the content.
    #[schema(example = "image/png", max_length = 64)]
    pub media_type: String,
    /// SHA-256 of the file, 64 hex digits.
    #[schema(min_length = 64, max_length = 64)]
    pub sha256: String,
    /// The file, base64 (RFC 4648).
    pub data: String,
    /// What had to go, and why.
    #[schema(min_length = 1, max_length = 2000, pattern = r"\S")]
    pub reason: String,
}

/// A file that was replaced: its digest stays on record, its bytes are gone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RedactionView {
    /// The attachment.
    pub attachment: Uuid,
    /// SHA-256 of the file that is gone.
    pub sha256: String,
    /// SHA-256 of the file in its place.
    pub redacted_sha256: String,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<Utc>,
}
