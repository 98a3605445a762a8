//! The journal's rows: appended in the transaction that changes something, sealed beside the requests.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// An entry to append.
#[derive(Debug, Clone)]
pub struct NewEntry {
    /// Its id.
    pub id: Uuid,
    /// The order it belongs to, and its gap-free number there.
    pub order: Option<(Uuid, i64)>,
    /// What happened.
    pub kind: String,
    /// When.
    pub at: DateTime<Utc>,
    /// The canonical bytes.
    pub bytes: Vec<u8>,
    /// Names and salts behind the commitments in the bytes.
    pub names: Value,
}

/// Appends an entry.
pub async fn append(conn: &mut Conn, shop: Uuid, entry: &NewEntry) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO journal_entry (shop, id, order_id, order_seq, kind, at, bytes, names)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        entry.id,
        entry.order.map(|(order, _)| order),
        entry.order.map(|(_, seq)| seq),
        entry.kind,
        entry.at,
        entry.bytes,
        entry.names
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Draws the next number of an order's entries; the order's row is locked by it.
pub async fn next_order_seq(conn: &mut Conn, shop: Uuid, order: Uuid) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"UPDATE repair_order SET next_seq = next_seq + 1 WHERE shop = $1 AND id = $2
           RETURNING next_seq - 1 AS "seq!""#,
        shop,
        order
    )
    .fetch_one(conn)
    .await?)
}
