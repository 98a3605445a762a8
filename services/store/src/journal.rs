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

/// How many entries are sealed.
pub async fn size(conn: &mut Conn, shop: Uuid) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT coalesce(max(position) + 1, 0) AS "size!" FROM journal_entry WHERE shop = $1"#,
        shop
    )
    .fetch_one(conn)
    .await?)
}

/// Whether anything that matters to the plan stands at the positions `[from, until)`.
pub async fn happened(
    conn: &mut Conn,
    shop: Uuid,
    from: i64,
    until: i64,
) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (
               SELECT FROM journal_entry
               WHERE shop = $1 AND position >= $2 AND position < $3
                 AND kind NOT LIKE 'plan.%' AND kind NOT LIKE 'evidence.%' AND kind NOT LIKE 'cautions.%'
           ) AS "happened!""#,
        shop,
        from,
        until
    )
    .fetch_one(conn)
    .await?)
}

/// An entry as reports read it.
#[derive(Debug, Clone)]
pub struct EntryRow {
    /// Its id.
    pub id: Uuid,
    /// What happened.
    pub kind: String,
    /// When.
    pub at: DateTime<Utc>,
    /// What it happened to.
    pub subject: String,
    /// Who, by name.
    pub by: String,
    /// The particulars.
    pub data: Value,
}

/// The entries of an order, in their order.
pub async fn of_order(
    conn: &mut Conn,
    shop: Uuid,
    order: Uuid,
) -> Result<Vec<EntryRow>, StoreError> {
    let rows = sqlx::query!(
        "SELECT id, kind, at, bytes, names FROM journal_entry
         WHERE shop = $1 AND order_id = $2 ORDER BY order_seq",
        shop,
        order
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            let entry: Value = serde_json::from_slice(&row.bytes)?;
            let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
            Ok(EntryRow {
                id: row.id,
                kind: row.kind,
                at: row.at,
                subject: text(&entry["subject"]["id"]),
                by: row.names["by"]["name"].as_str().unwrap_or("the service").to_owned(),
                data: entry["data"].clone(),
            })
        })
        .collect()
}
