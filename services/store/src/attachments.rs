//! Files of evidence, and the redacted ones in their place.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A file as it is kept.
#[derive(Debug, Clone)]
pub struct KeptFile {
    /// The task that it was sent for.
    pub task: Uuid,
    /// Media type of what is there now.
    pub media_type: String,
    /// SHA-256 of the file as it was sent.
    pub sha256: Vec<u8>,
    /// SHA-256 of the file in its place.
    pub redacted: Option<Vec<u8>>,
    /// The bytes that are there now.
    pub bytes: Vec<u8>,
}

/// A file in place of another.
#[derive(Debug)]
pub struct RedactionRow<'a> {
    /// The evidence whose file is replaced.
    pub evidence: Uuid,
    /// Media type.
    pub media_type: &'a str,
    /// SHA-256.
    pub sha256: &'a [u8],
    /// Bytes.
    pub bytes: &'a [u8],
    /// Why.
    pub reason: &'a str,
    /// Who.
    pub by: &'a str,
    /// When.
    pub at: DateTime<Utc>,
}

/// The file of this evidence: the redacted one where there is one.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    evidence: Uuid,
) -> Result<Option<KeptFile>, StoreError> {
    Ok(sqlx::query_as!(
        KeptFile,
        r#"SELECT a.task, coalesce(r.media_type, a.media_type) AS "media_type!", a.sha256, r.sha256 AS "redacted?",
                  coalesce(r.bytes, a.bytes) AS "bytes!"
           FROM attachment a LEFT JOIN redaction r ON r.shop = a.shop AND r.evidence = a.evidence
           WHERE a.shop = $1 AND a.evidence = $2"#,
        shop,
        evidence
    )
    .fetch_optional(conn)
    .await?)
}

/// Puts a file in place of another, whose bytes go; a second time is a [`StoreError::Duplicate`].
pub async fn redact(conn: &mut Conn, shop: Uuid, new: &RedactionRow<'_>) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO redaction (shop, evidence, media_type, sha256, bytes, reason, by_person, at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        new.evidence,
        new.media_type,
        new.sha256,
        new.bytes,
        new.reason,
        new.by,
        new.at
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "UPDATE attachment SET bytes = NULL WHERE shop = $1 AND evidence = $2",
        shop,
        new.evidence
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Which of the evidence of these tasks has a redacted file, with the SHA-256 of that.
pub async fn redacted(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<(Uuid, Vec<u8>)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT r.evidence, r.sha256 FROM redaction r
         JOIN attachment a ON a.shop = r.shop AND a.evidence = r.evidence
         WHERE r.shop = $1 AND a.task = ANY ($2) ORDER BY r.evidence",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.evidence, row.sha256)).collect())
}
