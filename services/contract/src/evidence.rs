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
    /// The client's clock as it sends: by it a clock that is off is noticed, also one that is behind.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sent_at: Option<DateTime<Utc>>,
    /// The technician who saw it, where another enters it for them; nobody's word is entered for them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub observed_by: Option<Uuid>,
    /// What it is entered on, as the shop names it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "tablet 4", min_length = 1, max_length = 64)]
    pub device: Option<String>,
    /// The items, judged one by one: one that breaks the contract is refused, the others are kept.
    #[schema(min_items = 1, max_items = 10_000)]
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
    /// A list of stored trouble codes as a person read it from an instrument's display.
    TroubleCodes {
        /// Codes as SAE J2012 writes them; an empty list says that none is stored.
        #[schema(example = json!(["P0507"]), max_items = 200)]
        codes: Vec<String>,
        /// When it was read, by the client's clock.
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
        /// SHA-256 of the file as it is sent, 64 hex digits. Place data is taken out of pictures before they are hashed
        /// anew and kept; the answer says so.
        #[schema(min_length = 64, max_length = 64)]
        sha256: String,
        /// The file, base64 (RFC 4648).
        data: String,
        /// When it was taken, by the client's clock.
        taken_at: DateTime<Utc>,
    },
}

impl EvidenceItem {
    /// When it was taken, by the client's clock.
    pub fn taken_at(&self) -> DateTime<Utc> {
        match self {
            Self::Reading { taken_at, .. }
            | Self::Frame { taken_at, .. }
            | Self::TroubleCodes { taken_at, .. }
            | Self::Attestation { taken_at, .. }
            | Self::Attachment { taken_at, .. } => *taken_at,
        }
    }

    /// The unit of equipment that it was taken with, where that is named.
    pub fn equipment(&self) -> Option<Uuid> {
        match self {
            Self::Reading { equipment, .. }
            | Self::Frame { equipment, .. }
            | Self::TroubleCodes { equipment, .. } => *equipment,
            Self::Attestation { .. } | Self::Attachment { .. } => None,
        }
    }
}

/// How a frame's bytes are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Protocol {
    /// OBD answers (SAE J1979 / ISO 15031-5).
    Obd,
    /// UDS answers (ISO 14229-1).
    Uds,
    /// Data fields of raw CAN frames that carry one answer of either, in order and eight bytes each, joined by the
    /// service (ISO 15765-2).
    IsoTpCan,
}

/// What became of one item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ItemOutcome {
    /// Its id, when it was stored; a frame that cannot be read is refused as evidence and stored all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<Uuid>,
    /// `accepted`, `marked` (stored with what speaks against it) or `refused` (it says nothing).
    pub outcome: String,
    /// Marks: `late`, `clock_off`, `implausible`, `unverified`, ...
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<String>,
    /// What it says or what is wrong, in words.
    pub detail: String,
}
