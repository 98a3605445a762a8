//! Questions on orders.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A question.
#[derive(Debug, Clone)]
pub struct QuestionRow {
    /// Its id.
    pub id: Uuid,
    /// The order.
    pub order_id: Uuid,
    /// The fact or line it asks for.
    pub asks: String,
    /// In words.
    pub text: String,
    /// What may be answered, as a JSON list.
    pub choices: Value,
    /// Procedures that the answer decides.
    pub decides: Vec<String>,
    /// Why it is asked, as a JSON list of chains.
    pub because: Value,
    /// `open`, `answered`, `waived` or `dropped`.
    pub state: String,
    /// The answer, as JSON.
    pub answer: Option<Value>,
    /// Who answered.
    pub answered_by: Option<String>,
    /// When.
    pub answered_at: Option<DateTime<Utc>>,
}

/// Asks.
pub async fn insert(
    conn: &mut Conn,
    shop: Uuid,
    question: &QuestionRow,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO question (shop, id, order_id, asks, text, choices, decides, because, state, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $9, 'open', $8)",
        shop,
        question.id,
        question.order_id,
        question.asks,
        question.text,
        question.choices,
        &question.decides,
        at,
        question.because
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes an open question; `false`: it is no longer open.
pub async fn update_open(
    conn: &mut Conn,
    shop: Uuid,
    question: &QuestionRow,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE question SET text = $3, choices = $4, decides = $5, state = $6, answer = $7, answered_by = $8,
             answered_at = $9, because = $10
         WHERE shop = $1 AND id = $2 AND state = 'open'",
        shop,
        question.id,
        question.text,
        question.choices,
        &question.decides,
        question.state,
        question.answer,
        question.answered_by,
        question.answered_at,
        question.because
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// What these orders ask or leave unasked by a waiver: the order and the fact or line.
pub async fn pending(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<(Uuid, String)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT order_id, asks FROM question
         WHERE shop = $1 AND order_id = ANY ($2) AND state IN ('open', 'waived')",
        shop,
        orders
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.order_id, row.asks)).collect())
}

/// The questions of these orders: open ones first, then by id.
pub async fn load(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<QuestionRow>, StoreError> {
    Ok(sqlx::query_as!(
        QuestionRow,
        "SELECT id, order_id, asks, text, choices, decides, because, state, answer, answered_by, answered_at
         FROM question WHERE shop = $1 AND order_id = ANY ($2) ORDER BY order_id, (state = 'open') DESC, id",
        shop,
        orders
    )
    .fetch_all(conn)
    .await?)
}
