//! The service as the people and systems of one shop reach it.

use std::fmt;
use std::sync::Arc;

use domain::role::Role;
use uuid::Uuid;

use crate::client::Client;

/// Signs a token for a subject with a role, for a technician with their id.
pub type Sign = dyn Fn(&str, Role, Option<Uuid>) -> String + Send + Sync;

/// A running service and tokens for one shop on it.
#[derive(Clone)]
pub struct Service {
    client: Client,
    sign: Arc<Sign>,
}

impl fmt::Debug for Service {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_tuple("Service").field(&self.client.base()).finish()
    }
}

impl Service {
    /// The service at `base`, with tokens from `sign`.
    pub fn new(
        base: &str,
        sign: impl Fn(&str, Role, Option<Uuid>) -> String + Send + Sync + 'static,
    ) -> Self {
        Self { client: Client::new(base, ""), sign: Arc::new(sign) }
    }

    /// A caller with this role.
    pub fn as_role(&self, role: Role) -> Client {
        self.as_person(role.word(), role)
    }

    /// A person with this role.
    pub fn as_person(&self, subject: &str, role: Role) -> Client {
        self.client.with_token((self.sign)(subject, role, None))
    }

    /// A technician of the shop.
    pub fn as_technician(&self, id: Uuid) -> Client {
        self.client.with_token((self.sign)(&id.to_string(), Role::Technician, Some(id)))
    }
}
