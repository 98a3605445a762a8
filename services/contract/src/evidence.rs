//! Evidence: readings, frames, attestations, attachments.

use chrono::{DateTime, Utc};
use domain::quantity::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// A batch of evidence for the present attempt at a task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewEvidence {
    /// The fence of the lease under which it was taken; an integration may leave it out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fence: Option<i64>,
    /// The items, judged one by one.
    #[schema(min_items = 1, max_items = 1000)]
    pub items: Vec<EvidenceItem>,
}

/// One item of evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum EvidenceItem {
    /// A measured value or an observed state.
    Reading {
        /// The signal.
        #[schema(example = "engine_coolant_temperature", min_length = 1, max_length = 64)]
        signal: String,
        /// A measured value, with its unit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        value: Option<Decimal>,
        /// UCUM code of the value.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(example = "Cel", max_length = 32)]
        unit: Option<String>,
        /// An observed state, for signals that have states.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(example = "applied", max_length = 64)]
        is: Option<String>,
        /// Where on the vehicle (wheel, corner).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(max_length = 64)]
        place: Option<String>,
        /// When it was taken, by the client's clock.
        taken_at: DateTime<Utc>,
        /// The instrument; without it, read by hand from the vehicle.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        equipment: Option<Uuid>,
    },
    /// The raw bytes of a diagnostic answer; decoded by the service.
    Frame {
        /// How the bytes are to be read.
        protocol: Protocol,
        /// Hex digits.
        #[schema(example = "410585", min_length = 2, max_length = 8192)]
        bytes: String,
        /// When it was taken, by the client's clock.
        taken_at: DateTime<Utc>,
        /// The instrument.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        equipment: Option<Uuid>,
    },
    /// A person's word.
    Attestation {
        /// The statement's name.
        #[schema(example = "wheels_chocked", min_length = 1, max_length = 64)]
        statement: String,
        /// Whether it is so.
        holds: bool,
        /// Words or figures that belong to it (the last six characters of the VIN, a reason).
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(max_length = 2000)]
        text: Option<String>,
        /// When it was seen, by the client's clock.
        taken_at: DateTime<Utc>,
    },
    /// A file: a photo, a printed result.
    Attachment {
        /// What it shows.
        #[schema(example = "vehicle_identity", min_length = 1, max_length = 64)]
        shows: String,
        /// Media type; checked against the content.
        #[schema(example = "image/png", max_length = 64)]
        media_type: String,
        /// SHA-256 of the file, 64 hex digits.
        #[schema(min_length = 64, max_length = 64)]
        sha256: String,
        /// The file, base64 (RFC 4648).
        data: String,
        /// When it was taken, by the client's clock.
        taken_at: DateTime<Utc>,
    },
}

/// How a frame's bytes are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Protocol {
    /// OBD answers (SAE J1979 / ISO 15031-5).
    Obd,
    /// UDS answers (ISO 14229-1).
    Uds,
}

/// What became of one item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ItemOutcome {
    /// Its id, when it was stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<Uuid>,
    /// `accepted`, `marked` (stored, but it proves nothing) or `refused` (not stored).
    pub outcome: String,
    /// Marks: `late`, `clock_off`, `implausible`, `unverified`, ...
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<String>,
    /// What it says or what is wrong, in words.
    pub detail: String,
}
