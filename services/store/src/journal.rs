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

/// Appends an entry. One that belongs to an order takes the number that it names there, which must be the next one: an
/// order whose row is locked has it.
pub async fn append(conn: &mut Conn, shop: Uuid, entry: &NewEntry) -> Result<(), StoreError> {
    let done = sqlx::query!(
        "WITH taken AS (
             UPDATE repair_order SET next_seq = next_seq + 1
             WHERE shop = $1 AND id = $3 AND next_seq = $4 RETURNING id)
         INSERT INTO journal_entry (shop, id, order_id, order_seq, kind, at, bytes, names)
         SELECT $1, $2, $3, $4, $5, $6, $7, $8 WHERE $3::uuid IS NULL OR EXISTS (SELECT FROM taken)",
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
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Collision) }
}

/// The number that an order's next entry will have; the order's row is locked by asking.
pub async fn next_order_seq(conn: &mut Conn, shop: Uuid, order: Uuid) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT next_seq FROM repair_order WHERE shop = $1 AND id = $2 FOR UPDATE",
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

/// Whether any entry waits for its position.
pub async fn any_unsealed(conn: &mut Conn, shop: Uuid) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM journal_entry WHERE shop = $1 AND position IS NULL) AS "any!""#,
        shop
    )
    .fetch_one(conn)
    .await?)
}

/// Entries without a position, with their bytes, in the order in which they get one.
pub async fn unsealed(
    conn: &mut Conn,
    shop: Uuid,
    limit: i64,
) -> Result<Vec<(Uuid, Vec<u8>)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT id, bytes FROM journal_entry WHERE shop = $1 AND position IS NULL ORDER BY at, id LIMIT $2",
        shop,
        limit
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.bytes)).collect())
}

/// Gives these entries the positions from `first` on.
pub async fn put_positions(
    conn: &mut Conn,
    shop: Uuid,
    first: i64,
    ids: &[Uuid],
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE journal_entry e SET position = $2 + t.nth - 1
         FROM unnest($3::uuid[]) WITH ORDINALITY AS t(id, nth)
         WHERE e.shop = $1 AND e.id = t.id",
        shop,
        first,
        ids
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// A node of the tree.
#[derive(Debug, Clone)]
pub struct NodeRow {
    /// Its level; leaves are 0.
    pub level: i32,
    /// Its index on the level.
    pub index: i64,
    /// Its hash.
    pub hash: Vec<u8>,
}

/// Adds nodes of complete subtrees.
pub async fn put_nodes(conn: &mut Conn, shop: Uuid, nodes: &[NodeRow]) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO journal_node (shop, level, index, hash)
         SELECT $1, * FROM unnest($2::int[], $3::bigint[], $4::bytea[])",
        shop,
        &nodes.iter().map(|n| n.level).collect::<Vec<_>>(),
        &nodes.iter().map(|n| n.index).collect::<Vec<_>>(),
        &nodes.iter().map(|n| n.hash.clone()).collect::<Vec<_>>()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// These nodes, by level and index.
pub async fn nodes(
    conn: &mut Conn,
    shop: Uuid,
    levels: &[i32],
    indices: &[i64],
) -> Result<Vec<NodeRow>, StoreError> {
    // OFFSET makes it one look into the key for each, whatever a plan made on an empty table expects.
    Ok(sqlx::query_as!(
        NodeRow,
        r#"SELECT n.level AS "level!", n.index AS "index!", n.hash AS "hash!"
           FROM unnest($2::int[], $3::bigint[]) AS t(level, index) CROSS JOIN LATERAL (
               SELECT level, index, hash FROM journal_node
               WHERE shop = $1 AND level = t.level AND index = t.index OFFSET 0) n"#,
        shop,
        levels,
        indices
    )
    .fetch_all(conn)
    .await?)
}

/// A signed statement of size and root.
#[derive(Debug, Clone)]
pub struct CheckpointRow {
    /// How many entries.
    pub size: i64,
    /// Root hash.
    pub root: Vec<u8>,
    /// The signed text.
    pub note: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
}

/// Adds a checkpoint.
pub async fn put_checkpoint(
    conn: &mut Conn,
    shop: Uuid,
    row: &CheckpointRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO checkpoint (shop, size, root, note, made_at) VALUES ($1, $2, $3, $4, $5)",
        shop,
        row.size,
        row.root,
        row.note,
        row.made_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The newest checkpoints below a size, newest first.
pub async fn checkpoints(
    conn: &mut Conn,
    shop: Uuid,
    below: Option<i64>,
    limit: usize,
) -> Result<Vec<CheckpointRow>, StoreError> {
    Ok(sqlx::query_as!(
        CheckpointRow,
        "SELECT size, root, note, made_at FROM checkpoint
         WHERE shop = $1 AND ($2::bigint IS NULL OR size < $2) ORDER BY size DESC LIMIT $3",
        shop,
        below,
        i64::try_from(limit).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?)
}

/// A sealed entry.
#[derive(Debug, Clone)]
pub struct SealedRow {
    /// Its id.
    pub id: Uuid,
    /// Its position.
    pub position: i64,
    /// What happened.
    pub kind: String,
    /// When.
    pub at: DateTime<Utc>,
    /// The canonical bytes.
    pub bytes: Vec<u8>,
    /// Names and salts behind the commitments.
    pub names: Value,
}

/// Sealed entries behind a position, in their order.
pub async fn sealed(
    conn: &mut Conn,
    shop: Uuid,
    after: i64,
    limit: usize,
) -> Result<Vec<SealedRow>, StoreError> {
    Ok(sqlx::query_as!(
        SealedRow,
        r#"SELECT id, position AS "position!", kind, at, bytes, names FROM journal_entry
           WHERE shop = $1 AND position > $2 ORDER BY position LIMIT $3"#,
        shop,
        after,
        i64::try_from(limit).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?)
}
