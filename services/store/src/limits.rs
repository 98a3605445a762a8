//! Limits by the manufacturer.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A limit by the manufacturer, for one precondition or proof of one task.
#[derive(Debug, Clone)]
pub struct LimitRow {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// The precondition or proof.
    pub precondition: String,
    /// `at_least` or `at_most`.
    pub bound: String,
    /// The figure, decimal.
    pub value: String,
    /// UCUM code.
    pub unit: String,
    /// The document.
    pub document: String,
    /// The page or section.
    pub page: String,
    /// The technician who read it there.
    pub read_by: String,
    /// How many people must agree.
    pub people: i32,
    /// Who gave it.
    pub given_by: String,
    /// When.
    pub given_at: DateTime<Utc>,
    /// Who approved it.
    pub approved_by: Option<String>,
    /// When.
    pub approved_at: Option<DateTime<Utc>>,
}

impl LimitRow {
    /// Whether everybody who must has agreed.
    pub fn is_in_force(&self) -> bool {
        self.people == 1 || self.approved_by.is_some()
    }
}

/// Gives a limit.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &LimitRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO limit_override (shop, id, task, precondition, bound, value, unit, document, page, read_by, people,
             given_by, given_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        shop,
        row.id,
        row.task,
        row.precondition,
        row.bound,
        row.value,
        row.unit,
        row.document,
        row.page,
        row.read_by,
        row.people,
        row.given_by,
        row.given_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Approves a limit that nobody approved; `false`: somebody has.
pub async fn approve(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    by: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE limit_override SET approved_by = $3, approved_at = $4
         WHERE shop = $1 AND id = $2 AND approved_by IS NULL",
        shop,
        id,
        by,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The limits given for these tasks, oldest first.
pub async fn load(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<LimitRow>, StoreError> {
    Ok(sqlx::query_as!(
        LimitRow,
        "SELECT id, task, precondition, bound, value, unit, document, page, read_by, people, given_by, given_at,
                approved_by, approved_at
         FROM limit_override WHERE shop = $1 AND task = ANY ($2) ORDER BY given_at, id",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}
