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

/// What is known of an idempotency key.
#[derive(Debug)]
pub enum Known {
    /// Nothing: the key is locked for the rest of the transaction.
    New,
    /// A request with it still runs.
    Busy,
    /// It was answered.
    Answered(StoredAnswer),
}

/// Looks an answer up, after locking the key under a number made of it.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    operation: &str,
    key: &str,
    lock: i64,
) -> Result<Known, StoreError> {
    let row = sqlx::query!(
        r#"SELECT pg_try_advisory_xact_lock($4) AS "got!", s.fingerprint AS "fingerprint?", s.answer AS "answer?"
           FROM (VALUES (1)) AS one LEFT JOIN stored_answer s ON s.shop = $1 AND s.operation = $2 AND s.key = $3"#,
        shop,
        operation,
        key,
        lock
    )
    .fetch_one(conn)
    .await?;
    Ok(match (row.got, row.fingerprint.zip(row.answer)) {
        (false, _) => Known::Busy,
        (true, None) => Known::New,
        (true, Some((fingerprint, answer))) => {
            Known::Answered(StoredAnswer { fingerprint, answer })
        }
    })
}

/// Stores an answer. A collision: the key was answered between looking and locking.
pub async fn insert(
    conn: &mut Conn,
    shop: Uuid,
    operation: &str,
    key: &str,
    stored: &StoredAnswer,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let done = sqlx::query!(
        "INSERT INTO stored_answer (shop, operation, key, fingerprint, answer, created_at)
         VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING",
        shop,
        operation,
        key,
        stored.fingerprint,
        stored.answer,
        at
    )
    .execute(conn)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Collision) }
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
