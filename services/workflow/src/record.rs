//! The journal entry of a change, written in the transaction that makes it.

use serde_json::Value;
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

impl Step {
    /// Writes the entry of one change.
    pub(crate) async fn record(&mut self, happening: Happening) -> Result<(), Refusal> {
        let shop = self.shop();
        let order = match happening.order {
            Some(order) => {
                Some((order, store::journal::next_order_seq(&mut self.tx, shop, order).await?))
            }
            None => None,
        };
        let at = self.now().await?;
        let id = self.new_id().await?;
        let entry = NewEntry {
            id,
            order,
            kind: happening.kind.to_owned(),
            at,
            bytes: Vec::new(),
            names: Value::Null,
        };
        store::journal::append(&mut self.tx, shop, &entry).await?;
        Ok(())
    }
}
