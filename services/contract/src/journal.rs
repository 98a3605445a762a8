//! Events, the journal and its checkpoints.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Something that happened: a `CloudEvents` 1.0 event, in the journal's order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Event {
    /// Always `1.0`.
    pub specversion: String,
    /// Id of the journal entry.
    pub id: Uuid,
    /// The shop, as a URI reference.
    pub source: String,
    /// What happened: `order.taken_in`, `task.started`, ...
    #[serde(rename = "type")]
    pub kind: String,
    /// What it happened to.
    pub subject: String,
    /// When.
    pub time: DateTime<Utc>,
    /// Media type of `data`.
    pub datacontenttype: String,
    /// Position in the journal.
    pub position: i64,
    /// The particulars.
    pub data: serde_json::Value,
}

/// A page of events.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EventsView {
    /// The events.
    pub events: Vec<Event>,
    /// Ask with `after` this position for what comes next.
    pub after: i64,
}

/// Which events.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct EventQuery {
    /// Events behind this position; -1 or nothing: from the beginning.
    #[serde(default)]
    pub after: Option<i64>,
    /// How many at the most, 1 to 500.
    #[serde(default)]
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u32>,
    /// Seconds to wait for the next event, 0 to 30.
    #[serde(default)]
    #[param(minimum = 0, maximum = 30)]
    pub wait: Option<u32>,
}

/// An entry of the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EntryView {
    /// Its id.
    pub id: Uuid,
    /// Its position, once sealed.
    pub position: Option<i64>,
    /// The canonical bytes (RFC 8785) as text; hash these with a 0x00 in front for the leaf.
    pub canonical: String,
    /// Leaf hash, hex.
    pub leaf: String,
    /// Names and salts behind the commitments in the bytes.
    pub names: serde_json::Value,
}

/// A signed statement of the journal's size and root.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CheckpointView {
    /// How many entries.
    pub size: i64,
    /// Root hash, hex.
    pub root: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// The signed text.
    pub note: String,
    /// The key that signed it (Ed25519), hex.
    pub public_key: String,
}

/// That an entry is in the journal, or that the journal only grew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ProofView {
    /// Position of the entry, for inclusion.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<i64>,
    /// Earlier size, for consistency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<i64>,
    /// Size of the journal that the proof speaks of.
    pub size: i64,
    /// Hashes, hex, in the order of RFC 9162 2.1.3 and 2.1.4.
    pub hashes: Vec<String>,
}

/// Which proof: of inclusion (`position`) or of consistency (`from`).
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ProofQuery {
    /// Position of an entry.
    #[serde(default)]
    pub position: Option<i64>,
    /// An earlier size.
    #[serde(default)]
    pub from: Option<i64>,
    /// The size it is to be proven against; without it, the newest checkpoint's.
    #[serde(default)]
    pub size: Option<i64>,
}
