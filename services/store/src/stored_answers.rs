//! Answers to requests that carried an idempotency key.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A stored answer: the fingerprint of the request's body, and the answer as JSON text.
#[derive(Debug)]
pub struct StoredAnswer {
    /// SHA-256 of the body.
    pub fingerprint: Vec<u8>,
    /// The answer.
    pub answer: String,
}

/// Looks an answer up.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    operation: &str,
    key: &str,
) -> Result<Option<StoredAnswer>, StoreError> {
    Ok(sqlx::query_as!(
        StoredAnswer,
        "SELECT fingerprint, answer FROM stored_answer WHERE shop = $1 AND operation = $2 AND key = $3",
        shop,
        operation,
        key
    )
    .fetch_optional(conn)
    .await?)
}

/// Stores an answer.
pub async fn insert(
    conn: &mut Conn,
    shop: Uuid,
    operation: &str,
    key: &str,
    stored: &StoredAnswer,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO stored_answer (shop, operation, key, fingerprint, answer, created_at)
         VALUES ($1, $2, $3, $4, $5, $6)",
        shop,
        operation,
        key,
        stored.fingerprint,
        stored.answer,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Forgets answers older than the moment given.
pub async fn forget_before(
    conn: &mut Conn,
    shop: Uuid,
    before: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done =
        sqlx::query!("DELETE FROM stored_answer WHERE shop = $1 AND created_at < $2", shop, before)
            .execute(conn)
            .await?;
    Ok(done.rows_affected())
}
