//! Catalogue documents, and the shop's own labour words.

use chrono::{DateTime, Utc};
use domain::order::LineOperation;
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A catalogue.
#[derive(Debug, Clone)]
pub struct CatalogueRow {
    /// Version.
    pub version: String,
    /// `draft`, `in_force` or `retired`.
    pub state: String,
    /// The document, as canonical JSON.
    pub document: String,
    /// SHA-256 of it.
    pub digest: Vec<u8>,
    /// When it was uploaded.
    pub created_at: DateTime<Utc>,
    /// When it was put in force.
    pub in_force_at: Option<DateTime<Utc>>,
}

/// Adds a catalogue.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &CatalogueRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO catalogue (shop, version, state, document, digest, created_at, in_force_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        shop,
        row.version,
        row.state,
        row.document,
        row.digest,
        row.created_at,
        row.in_force_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Version and digest of the catalogue in force.
pub async fn in_force(
    conn: &mut Conn,
    shop: Uuid,
) -> Result<Option<(String, Vec<u8>)>, StoreError> {
    let row = sqlx::query!(
        "SELECT version, digest FROM catalogue WHERE shop = $1 AND state = 'in_force'",
        shop
    )
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|row| (row.version, row.digest)))
}

/// The digest of a version.
pub async fn digest(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT digest FROM catalogue WHERE shop = $1 AND version = $2",
        shop,
        version
    )
    .fetch_optional(conn)
    .await?)
}

/// One catalogue, whole.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
) -> Result<Option<CatalogueRow>, StoreError> {
    Ok(sqlx::query_as!(
        CatalogueRow,
        "SELECT version, state, document, digest, created_at, in_force_at FROM catalogue
         WHERE shop = $1 AND version = $2",
        shop,
        version
    )
    .fetch_optional(conn)
    .await?)
}

/// Every catalogue, newest first.
pub async fn list(conn: &mut Conn, shop: Uuid) -> Result<Vec<CatalogueRow>, StoreError> {
    Ok(sqlx::query_as!(
        CatalogueRow,
        "SELECT version, state, document, digest, created_at, in_force_at FROM catalogue
         WHERE shop = $1 ORDER BY created_at DESC, version",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Retires the catalogue in force and puts this draft in its place; `false`: it is no draft.
pub async fn publish(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    sqlx::query!(
        "UPDATE catalogue SET state = 'retired' WHERE shop = $1 AND state = 'in_force'",
        shop
    )
    .execute(&mut *conn)
    .await?;
    let done = sqlx::query!(
        "UPDATE catalogue SET state = 'in_force', in_force_at = $3
         WHERE shop = $1 AND version = $2 AND state = 'draft'",
        shop,
        version,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The shop's own phrases and labour codes.
pub async fn labour_words(
    conn: &mut Conn,
    shop: Uuid,
) -> Result<Vec<(String, Vec<LineOperation>)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT phrase, operations AS "operations: Json<Vec<LineOperation>>" FROM labour_word
           WHERE shop = $1 ORDER BY phrase"#,
        shop
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.phrase, row.operations.0)).collect())
}

/// Keeps a phrase.
pub async fn put_labour_word(
    conn: &mut Conn,
    shop: Uuid,
    phrase: &str,
    operations: &[LineOperation],
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO labour_word (shop, phrase, operations) VALUES ($1, $2, $3)
         ON CONFLICT (shop, phrase) DO UPDATE SET operations = $3",
        shop,
        phrase,
        Json(operations) as _
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Forgets a phrase; `false`: there was none.
pub async fn remove_labour_word(
    conn: &mut Conn,
    shop: Uuid,
    phrase: &str,
) -> Result<bool, StoreError> {
    let done =
        sqlx::query!("DELETE FROM labour_word WHERE shop = $1 AND phrase = $2", shop, phrase)
            .execute(conn)
            .await?;
    Ok(done.rows_affected() == 1)
}
