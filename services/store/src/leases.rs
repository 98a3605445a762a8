//! What a lease is chosen from: takeable tasks in the plan's order, and leases that ran out.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// What a technician asks for.
#[derive(Debug, Clone, Default)]
pub struct Wish {
    /// Only this task.
    pub task: Option<Uuid>,
    /// Only tasks of this order.
    pub order: Option<Uuid>,
}

/// A task that may be taken, with where it is planned.
#[derive(Debug, Clone)]
pub struct Takeable {
    /// The task.
    pub task: Uuid,
    /// Its order.
    pub order_id: Uuid,
    /// The planned bay.
    pub bay: Option<Uuid>,
    /// The planned technicians.
    pub technicians: Option<Vec<Uuid>>,
}

/// Ready tasks of open orders, in the plan's order; what is planned for this technician first.
pub async fn takeable(
    conn: &mut Conn,
    shop: Uuid,
    technician: Uuid,
    wish: &Wish,
    limit: i64,
) -> Result<Vec<Takeable>, StoreError> {
    Ok(sqlx::query_as!(
        Takeable,
        r#"SELECT t.id AS task, t.order_id, p.bay AS "bay?", p.technicians AS "technicians?"
           FROM task t
           JOIN repair_order o ON o.shop = t.shop AND o.id = t.order_id
           LEFT JOIN plan_item p ON p.shop = t.shop AND p.task = t.id
           WHERE t.shop = $1 AND t.state = 'ready' AND o.state IN ('open', 'released')
             AND ($3::uuid IS NULL OR t.id = $3) AND ($4::uuid IS NULL OR t.order_id = $4)
           ORDER BY ($2 = ANY (p.technicians)) DESC NULLS LAST, p.starts_at NULLS LAST, t.id
           LIMIT $5"#,
        shop,
        technician,
        wish.task,
        wish.order,
        limit
    )
    .fetch_all(conn)
    .await?)
}

/// Orders with a lease that ran out.
pub async fn lapsed(
    conn: &mut Conn,
    shop: Uuid,
    now: DateTime<Utc>,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT DISTINCT order_id FROM task
         WHERE shop = $1 AND state IN ('taken', 'running') AND lease_until <= $2 ORDER BY order_id",
        shop,
        now
    )
    .fetch_all(conn)
    .await?)
}
