//! Who asks.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use domain::role::Role;
use uuid::Uuid;

/// How long a sign-in counts as fresh.
pub const FRESH_MINUTES: i64 = 60;

/// An authenticated caller.
#[derive(Debug, Clone)]
pub struct Caller {
    /// The shop that everything the caller sees belongs to.
    pub shop: Uuid,
    /// Who it is, as the token says.
    pub subject: String,
    /// What it may do.
    pub roles: BTreeSet<Role>,
    /// The technician that a technician's token names.
    pub technician: Option<Uuid>,
    /// When the person signed in, if the token says so.
    pub signed_in_at: Option<DateTime<Utc>>,
    /// They signed in within the last [`FRESH_MINUTES`], by real time.
    pub freshly_signed_in: bool,
    /// The program that the caller uses, as it names itself.
    pub client: Option<String>,
}

impl Caller {
    /// A duty of the service itself, beside the requests.
    pub fn duty(shop: Uuid, name: &str) -> Self {
        Self {
            shop,
            subject: format!("service:{name}"),
            roles: BTreeSet::new(),
            technician: None,
            signed_in_at: None,
            freshly_signed_in: false,
            client: None,
        }
    }

    /// Who acts: the technician whose token it is, or the token's subject. Tokens of two technicians may name one subject.
    pub fn person(&self) -> String {
        self.technician.map_or_else(|| self.subject.clone(), |id| id.to_string())
    }

    /// Whether the caller has this role.
    pub fn has(&self, role: Role) -> bool {
        self.roles.contains(&role)
    }
}

/// A request that changes something.
#[derive(Debug, Clone)]
pub struct Call {
    /// Who asks.
    pub caller: Caller,
    /// The idempotency key, if the request carries one.
    pub once: Option<Once>,
    /// The version that the request expects (`If-Match`).
    pub expects: Option<i64>,
}

/// An idempotency key with the fingerprint of the body it came with.
#[derive(Debug, Clone)]
pub struct Once {
    /// The key, 1 to 255 characters.
    pub key: String,
    /// SHA-256 of the path and body.
    pub fingerprint: [u8; 32],
}
