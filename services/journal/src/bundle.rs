//! One order's part of the journal, exported: everything that is needed to check it offline.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::checkpoint::SignedCheckpoint;
use crate::hash::Hash;
use crate::key::PublicKey;

/// The version of the bundle's shape, its member `v`.
pub const VERSION: u8 = 1;

/// The member of an entry's `data` that names the SHA-256 of the report made then: with it a
/// report becomes part of the journal.
pub const REPORT_MEMBER: &str = "report_sha256";

/// An audit bundle of one order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bundle {
    /// Always [`VERSION`].
    pub v: u8,
    /// The shop.
    pub shop: Uuid,
    /// The order.
    pub order: Uuid,
    /// All entries of the order, by `order_seq`.
    pub entries: Vec<Sealed>,
    /// The names behind the commitments, where they were not erased.
    #[serde(default)]
    pub names: Vec<Opening>,
    /// The report that goes with the bundle.
    pub report: Option<Report>,
    /// The state of the journal that the proofs lead to.
    pub checkpoint: SignedCheckpoint,
    /// Proofs that this state and an earlier or later one are of the same journal.
    #[serde(default)]
    pub links: Vec<Link>,
    /// The key that the checkpoint is signed with.
    pub public_key: PublicKey,
}

/// An entry and the proof that it is in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sealed {
    /// Its position in the journal, from 0.
    pub position: u64,
    /// Its canonical bytes, which are UTF-8.
    pub bytes: String,
    /// The inclusion proof for the checkpoint's size (RFC 9162 section 2.1.3).
    pub proof: Vec<Hash>,
}

/// A name and the salt that show whose commitment stands in the entries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// What stands in the entries.
    pub person: Hash,
    /// The salt, 16 bytes as hexadecimal digits.
    pub salt: String,
    /// The name.
    pub name: String,
}

/// A report by its hash, and as far as wanted the report itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// SHA-256 of the report's bytes.
    pub sha256: Hash,
    /// The report (JSON) as it was hashed.
    pub text: Option<String>,
}

/// The proof that the journal of `older` entries is the beginning of that of `newer` entries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Link {
    /// Size of the earlier state.
    pub older: u64,
    /// Size of the later state.
    pub newer: u64,
    /// The consistency proof (RFC 9162 section 2.1.4).
    pub proof: Vec<Hash>,
}
