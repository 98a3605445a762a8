//! Waivers and handovers.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A waiver.
#[derive(Debug, Clone)]
pub struct WaiverRow {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// Why.
    pub reason: String,
    /// What the customer was told.
    pub customer_told: Option<String>,
    /// What the driver must not do.
    pub restriction: Option<String>,
    /// Only this precondition; without it, the task.
    pub precondition: Option<String>,
    /// It holds until then.
    pub expires_at: Option<DateTime<Utc>>,
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
    /// When it was taken back or ended.
    pub revoked_at: Option<DateTime<Utc>>,
}

impl WaiverRow {
    /// Whether everybody who must has agreed, and it has not ended.
    pub fn is_in_force(&self, now: DateTime<Utc>) -> bool {
        let agreed = self.people == 1 || self.approved_by.is_some();
        agreed && self.revoked_at.is_none() && self.expires_at.is_none_or(|until| until > now)
    }
}

/// Gives a waiver.
pub async fn insert(conn: &mut Conn, shop: Uuid, waiver: &WaiverRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO waiver (shop, id, task, reason, customer_told, restriction, people, given_by, given_at, precondition,
             expires_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        shop,
        waiver.id,
        waiver.task,
        waiver.reason,
        waiver.customer_told,
        waiver.restriction,
        waiver.people,
        waiver.given_by,
        waiver.given_at,
        waiver.precondition,
        waiver.expires_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Approves a waiver that nobody approved or revoked; `false`: somebody has.
pub async fn approve(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    by: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE waiver SET approved_by = $3, approved_at = $4
         WHERE shop = $1 AND id = $2 AND approved_by IS NULL AND revoked_at IS NULL",
        shop,
        id,
        by,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a waiver back; `false`: it was before.
pub async fn revoke(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    by: &str,
    because: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE waiver SET revoked_by = $3, revoked_because = $4, revoked_at = $5
         WHERE shop = $1 AND id = $2 AND revoked_at IS NULL",
        shop,
        id,
        by,
        because,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Orders with a waiver that has ended by itself.
pub async fn ended(
    conn: &mut Conn,
    shop: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT DISTINCT t.order_id FROM waiver w JOIN task t ON t.shop = w.shop AND t.id = w.task
         WHERE w.shop = $1 AND w.revoked_at IS NULL AND w.expires_at <= $2",
        shop,
        at
    )
    .fetch_all(conn)
    .await?)
}

/// Every waiver ever given for these tasks.
pub async fn history(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<WaiverRow>, StoreError> {
    Ok(sqlx::query_as!(
        WaiverRow,
        "SELECT id, task, reason, customer_told, restriction, people, given_by, given_at, approved_by, approved_at,
                precondition, expires_at, revoked_at
         FROM waiver WHERE shop = $1 AND task = ANY ($2) ORDER BY given_at, id",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}

/// The waivers on these tasks that were not taken back.
pub async fn load(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<WaiverRow>, StoreError> {
    Ok(sqlx::query_as!(
        WaiverRow,
        "SELECT id, task, reason, customer_told, restriction, people, given_by, given_at, approved_by, approved_at,
                precondition, expires_at, revoked_at
         FROM waiver WHERE shop = $1 AND task = ANY ($2) AND revoked_at IS NULL ORDER BY given_at, id",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}

/// A handover that was offered.
#[derive(Debug, Clone)]
pub struct HandoverRow {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// The fence of the lease that is offered.
    pub fence: i64,
    /// Who offers.
    pub from_technician: Uuid,
    /// To whom.
    pub to_technician: Uuid,
    /// What the other must know.
    pub note: String,
}

/// Offers a handover; an offer that is open is replaced.
pub async fn offer(
    conn: &mut Conn,
    shop: Uuid,
    row: &HandoverRow,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO handover (shop, id, task, fence, from_technician, to_technician, note, offered_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
         ON CONFLICT (shop, task) WHERE accepted_at IS NULL
         DO UPDATE SET fence = $4, from_technician = $5, to_technician = $6, note = $7, offered_at = $8",
        shop,
        row.id,
        row.task,
        row.fence,
        row.from_technician,
        row.to_technician,
        row.note,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The open offer for a task.
pub async fn offered(
    conn: &mut Conn,
    shop: Uuid,
    task: Uuid,
) -> Result<Option<HandoverRow>, StoreError> {
    Ok(sqlx::query_as!(
        HandoverRow,
        "SELECT id, task, fence, from_technician, to_technician, note FROM handover
         WHERE shop = $1 AND task = $2 AND accepted_at IS NULL",
        shop,
        task
    )
    .fetch_optional(conn)
    .await?)
}

/// Accepts an offer.
pub async fn accept(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE handover SET accepted_at = $3 WHERE shop = $1 AND id = $2 AND accepted_at IS NULL",
        shop,
        id,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
