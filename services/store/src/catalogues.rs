//! Catalogue documents.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A catalogue, without its document.
#[derive(Debug, Clone)]
pub struct CatalogueRow {
    /// Version.
    pub version: String,
    /// `draft`, `in_force` or `retired`.
    pub state: String,
    /// Grows with every change of the row.
    pub revision: i64,
    /// How many procedures.
    pub procedures: i32,
    /// How many rules.
    pub rules: i32,
    /// SHA-256 of the document.
    pub digest: Vec<u8>,
    /// When it was uploaded.
    pub created_at: DateTime<Utc>,
    /// When it was put in force.
    pub in_force_at: Option<DateTime<Utc>>,
}

/// What a catalogue says.
#[derive(Debug, Clone)]
pub struct DocumentRow {
    /// The document, as canonical JSON.
    pub document: String,
    /// The text as it was uploaded, where that was YAML.
    pub yaml: Option<String>,
}

/// Adds a catalogue.
pub async fn insert(
    conn: &mut Conn,
    shop: Uuid,
    row: &CatalogueRow,
    document: &DocumentRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO catalogue (shop, version, state, procedures, rules, document, yaml, digest, created_at, in_force_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        shop,
        row.version,
        row.state,
        row.procedures,
        row.rules,
        document.document,
        document.yaml,
        row.digest,
        row.created_at,
        row.in_force_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes the document of a draft that still has this revision; `false`: it has not.
pub async fn redraft(
    conn: &mut Conn,
    shop: Uuid,
    row: &CatalogueRow,
    document: &DocumentRow,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE catalogue SET revision = revision + 1, procedures = $4, rules = $5, document = $6, yaml = $7, digest = $8
         WHERE shop = $1 AND version = $2 AND revision = $3 AND state = 'draft'",
        shop,
        row.version,
        row.revision,
        row.procedures,
        row.rules,
        document.document,
        document.yaml,
        row.digest
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
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

/// One catalogue.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
) -> Result<Option<CatalogueRow>, StoreError> {
    Ok(sqlx::query_as!(
        CatalogueRow,
        "SELECT version, state, revision, procedures, rules, digest, created_at, in_force_at FROM catalogue
         WHERE shop = $1 AND version = $2",
        shop,
        version
    )
    .fetch_optional(conn)
    .await?)
}

/// What a catalogue says.
pub async fn document(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
) -> Result<Option<DocumentRow>, StoreError> {
    Ok(sqlx::query_as!(
        DocumentRow,
        "SELECT document, yaml FROM catalogue WHERE shop = $1 AND version = $2",
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
        "SELECT version, state, revision, procedures, rules, digest, created_at, in_force_at FROM catalogue
         WHERE shop = $1 ORDER BY created_at DESC, version",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Retires the catalogue in force and puts this draft in its place, if it still has this revision; `false`: it is no
/// draft or changed. A duplicate: somebody else put one in force meanwhile.
pub async fn publish(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
    revision: i64,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    sqlx::query!(
        "UPDATE catalogue SET state = 'retired', revision = revision + 1 WHERE shop = $1 AND state = 'in_force'",
        shop
    )
    .execute(&mut *conn)
    .await?;
    let done = sqlx::query!(
        "UPDATE catalogue SET state = 'in_force', revision = revision + 1, in_force_at = $4
         WHERE shop = $1 AND version = $2 AND revision = $3 AND state = 'draft'",
        shop,
        version,
        revision,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Lays a draft aside that still has this revision; `false`: it is no draft or changed.
pub async fn lay_aside(
    conn: &mut Conn,
    shop: Uuid,
    version: &str,
    revision: i64,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE catalogue SET state = 'retired', revision = revision + 1
         WHERE shop = $1 AND version = $2 AND revision = $3 AND state = 'draft'",
        shop,
        version,
        revision
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
