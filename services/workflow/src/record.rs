//! The journal entry of a change, written in the transaction that makes it.

use journal::entry::{By, Entry, Subject, VERSION, canonical};
use journal::hash::{SALT_BYTES, commitment};
use serde_json::{Map, Value, json};
use store::journal::NewEntry;
use uuid::Uuid;

use crate::flow::Step;
use crate::refusal::Refusal;

/// Something that happened.
#[derive(Debug)]
pub(crate) struct Happening {
    /// What: `task.started` and the like; a past participle after the thing it happened to.
    pub(crate) kind: &'static str,
    /// The order it belongs to.
    pub(crate) order: Option<Uuid>,
    /// What it happened to: a word and an id.
    pub(crate) subject: (&'static str, String),
    /// The particulars, as the journal keeps them.
    pub(crate) data: Value,
}

/// A person as the journal knows them: the name stands beside the hashed bytes, so that it can be erased without
/// touching the tree.
#[derive(Debug, Clone)]
pub(crate) struct Signature {
    pub(crate) name: String,
    pub(crate) salt: [u8; SALT_BYTES],
}

impl Step {
    /// Writes the entry of one change.
    pub(crate) async fn record(&mut self, happening: Happening) -> Result<(), Refusal> {
        let shop = self.shop();
        let order = match happening.order {
            Some(order) => Some((order, self.next_seq(order).await?)),
            None => None,
        };
        let at = self.now().await?;
        let id = self.new_id().await?;
        let signature = self.signature().await?;
        let role = self.caller.roles.iter().next().map_or("service", |role| role.word());
        let data = match happening.data {
            Value::Object(data) => data,
            Value::Null => Map::new(),
            other => Map::from_iter([("value".to_owned(), other)]),
        };
        let entry = Entry {
            v: VERSION,
            shop,
            entry: id,
            at,
            kind: happening.kind.to_owned(),
            order: order.map(|(order, _)| order),
            order_seq: order.and_then(|(_, seq)| u64::try_from(seq).ok()),
            subject: Subject { kind: happening.subject.0.to_owned(), id: happening.subject.1 },
            by: By {
                person: signature.as_ref().map(|s| commitment(&s.salt, &s.name)),
                role: role.to_owned(),
                client: self.caller.client.clone(),
            },
            data,
        };
        let names = signature
            .map_or(json!({}), |s| json!({ "by": { "name": s.name, "salt": hex(&s.salt) } }));
        let row =
            NewEntry { id, order, kind: entry.kind.clone(), at, bytes: canonical(&entry), names };
        store::journal::append(self.conn(), shop, &row).await?;
        if let Some((order, seq)) = order {
            self.touched.insert(order);
            self.next_seqs.insert(order, seq + 1);
        }
        Ok(())
    }

    /// The number that an order's next entry will have; nobody else writes one before this step ends.
    async fn next_seq(&mut self, order: Uuid) -> Result<i64, Refusal> {
        if let Some(known) = self.next_seqs.get(&order) {
            return Ok(*known);
        }
        let shop = self.shop();
        Ok(store::journal::next_order_seq(self.conn(), shop, order).await?)
    }

    /// Who signs this step's entries: a technician by name with their own salt, others by their subject with a salt of
    /// this step. The service itself signs nothing.
    async fn signature(&mut self) -> Result<Option<Signature>, Refusal> {
        if self.caller.roles.is_empty() {
            return Ok(None);
        }
        if let Some(signature) = &self.signature {
            return Ok(Some(signature.clone()));
        }
        let person = self.moment().await?.person.clone();
        let named = person.and_then(|(name, salt)| {
            Some(Signature { salt: salt.get(..SALT_BYTES)?.try_into().ok()?, name })
        });
        let signature = named.unwrap_or_else(|| Signature {
            name: self.caller.subject.clone(),
            salt: *Uuid::new_v4().as_bytes(),
        });
        self.signature = Some(signature.clone());
        Ok(Some(signature))
    }
}

/// Lower-case hex digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
