//! One thing that happened, and the bytes that are hashed for it.

use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize, Serializer};
use serde_json::{Map, Value};
use uuid::Uuid;

use crate::hash::Hash;

/// The version of the entry's shape, its member `v`.
pub const VERSION: u8 = 1;

/// Integers beyond this don't survive a reader that keeps numbers as IEEE 754 doubles
/// (RFC 7493 section 2.2), so they stand as strings.
const SAFE_INTEGER: u64 = (1 << 53) - 1;

/// One change, as it is hashed. Names of people are not in it: see [`crate::hash::commitment`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Always [`VERSION`].
    pub v: u8,
    /// The shop that it belongs to.
    pub shop: Uuid,
    /// The entry's own id.
    pub entry: Uuid,
    /// When it happened by the service's clock: RFC 3339, UTC, microseconds.
    #[serde(serialize_with = "microseconds")]
    pub at: DateTime<Utc>,
    /// What happened: `task.started`.
    pub kind: String,
    /// The order it belongs to, if it belongs to one.
    pub order: Option<Uuid>,
    /// Its number among the order's entries: from 1, without a gap, so that an omission shows.
    pub order_seq: Option<u64>,
    /// The thing that changed.
    pub subject: Subject,
    /// Who did it.
    pub by: By,
    /// What else is to be said; integers beyond 2^53 - 1 and decimals are kept as strings.
    pub data: Map<String, Value>,
}

/// The thing that an entry speaks about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    /// What it is: `task`, `order`, `bay`.
    #[serde(rename = "type")]
    pub kind: String,
    /// Which one.
    pub id: String,
}

/// Who did it, without the name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct By {
    /// The person's salted commitment; none for the service itself.
    pub person: Option<Hash>,
    /// The role that the token carried: `technician`; `service` for the service itself.
    pub role: String,
    /// The client program that was used.
    pub client: Option<String>,
}

/// Bytes are not an entry in its canonical form.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAnEntry {
    /// Not JSON, or not of the entry's shape.
    #[error("it is not an entry: {0}")]
    Shape(String),
    /// A version that this program doesn't know.
    #[error("it is an entry of version {0}, and this program knows version {VERSION}")]
    Version(u8),
    /// The same content would be written with other bytes.
    #[error("its bytes are not the canonical form (RFC 8785) of their content")]
    NotCanonical,
}

/// The bytes of an entry that are stored and hashed: RFC 8785, no number that a reader could
/// change.
pub fn canonical(entry: &Entry) -> Vec<u8> {
    let kept = Entry {
        data: entry.data.iter().map(|(name, value)| (name.clone(), exact(value))).collect(),
        ..entry.clone()
    };
    serde_json_canonicalizer::to_vec(&kept)
        .expect("strings, small integers, booleans and null always have a canonical form")
}

/// Reads the bytes of an entry; refuses any that [`canonical`] would not have written (among them
/// every duplicate name).
///
/// # Errors
/// What is wrong with the bytes.
pub fn read(bytes: &[u8]) -> Result<Entry, NotAnEntry> {
    let entry: Entry =
        serde_json::from_slice(bytes).map_err(|error| NotAnEntry::Shape(error.to_string()))?;
    if entry.v != VERSION {
        return Err(NotAnEntry::Version(entry.v));
    }
    if canonical(&entry) != bytes {
        return Err(NotAnEntry::NotCanonical);
    }
    Ok(entry)
}

fn exact(value: &Value) -> Value {
    match value {
        Value::Number(number) => {
            let safe =
                number.as_i64().is_some_and(|integer| integer.unsigned_abs() <= SAFE_INTEGER);
            if safe { value.clone() } else { Value::String(number.to_string()) }
        }
        Value::Array(values) => values.iter().map(exact).collect(),
        Value::Object(members) => {
            members.iter().map(|(name, value)| (name.clone(), exact(value))).collect()
        }
        Value::Null | Value::Bool(_) | Value::String(_) => value.clone(),
    }
}

fn microseconds<S: Serializer>(at: &DateTime<Utc>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&at.to_rfc3339_opts(SecondsFormat::Micros, true))
}
