//! The plan in force.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::tasks::Node;
use crate::{Conn, StoreError};

/// A task or a line in the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanItemRow {
    /// The order.
    pub order_id: Uuid,
    /// The task, or
    pub task: Option<Uuid>,
    /// the line.
    pub line: Option<i32>,
    /// The bay; none on the road.
    pub bay: Option<Uuid>,
    /// Who.
    pub technicians: Vec<Uuid>,
    /// Units of equipment by kind, as JSON.
    pub equipment: Value,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
}

impl PlanItemRow {
    /// The node it plans.
    pub fn node(&self) -> Option<Node> {
        self.task.map(Node::Task).or(self.line.map(Node::Line))
    }
}

/// The items of these orders, by start.
pub async fn of_orders(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<PlanItemRow>, StoreError> {
    Ok(sqlx::query_as!(
        PlanItemRow,
        "SELECT order_id, task, line, bay, technicians, equipment, starts_at, ends_at FROM plan_item
         WHERE shop = $1 AND order_id = ANY ($2) ORDER BY starts_at, order_id, node",
        shop,
        orders
    )
    .fetch_all(conn)
    .await?)
}

/// Every item, by start.
pub async fn items(conn: &mut Conn, shop: Uuid) -> Result<Vec<PlanItemRow>, StoreError> {
    Ok(sqlx::query_as!(
        PlanItemRow,
        "SELECT order_id, task, line, bay, technicians, equipment, starts_at, ends_at FROM plan_item
         WHERE shop = $1 ORDER BY starts_at, order_id, node",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// A version of the plan.
#[derive(Debug, Clone)]
pub struct PlanRow {
    /// Grows with every change.
    pub version: i64,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// The journal's size that it knew.
    pub through: i64,
    /// What each part costs, as JSON.
    pub cost: Value,
    /// What could not be planned, as JSON.
    pub unplanned: Value,
    /// What moved, as JSON.
    pub moved: Value,
}

/// The newest version.
pub async fn newest(conn: &mut Conn, shop: Uuid) -> Result<Option<PlanRow>, StoreError> {
    Ok(sqlx::query_as!(
        PlanRow,
        "SELECT version, made_at, through, cost, unplanned, moved FROM plan
         WHERE shop = $1 ORDER BY version DESC LIMIT 1",
        shop
    )
    .fetch_optional(conn)
    .await?)
}

/// Adds a version; a second one of the same number is a duplicate.
pub async fn insert(conn: &mut Conn, shop: Uuid, plan: &PlanRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO plan (shop, version, made_at, through, cost, unplanned, moved) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        shop,
        plan.version,
        plan.made_at,
        plan.through,
        plan.cost,
        plan.unplanned,
        plan.moved
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Replaces every item.
pub async fn replace_items(
    conn: &mut Conn,
    shop: Uuid,
    items: &[PlanItemRow],
) -> Result<(), StoreError> {
    sqlx::query!("DELETE FROM plan_item WHERE shop = $1", shop).execute(&mut *conn).await?;
    // Lists of lists do not go through `unnest`: technicians travel as text and are cast.
    sqlx::query!(
        "INSERT INTO plan_item (shop, order_id, node, task, line, bay, technicians, equipment, starts_at, ends_at)
         SELECT $1, order_id, node, task, line, bay, technicians::uuid[], equipment, starts_at, ends_at
         FROM unnest($2::uuid[], $3::text[], $4::uuid[], $5::int[], $6::uuid[], $7::text[], $8::jsonb[],
             $9::timestamptz[], $10::timestamptz[])
             AS t(order_id, node, task, line, bay, technicians, equipment, starts_at, ends_at)",
        shop,
        &items.iter().map(|i| i.order_id).collect::<Vec<_>>(),
        &items.iter().map(|i| i.node().map(Node::key).unwrap_or_default()).collect::<Vec<_>>(),
        &items.iter().map(|i| i.task).collect::<Vec<_>>() as &[Option<Uuid>],
        &items.iter().map(|i| i.line).collect::<Vec<_>>() as &[Option<i32>],
        &items.iter().map(|i| i.bay).collect::<Vec<_>>() as &[Option<Uuid>],
        &items.iter().map(|i| braces(&i.technicians)).collect::<Vec<_>>(),
        &items.iter().map(|i| i.equipment.clone()).collect::<Vec<_>>(),
        &items.iter().map(|i| i.starts_at).collect::<Vec<_>>(),
        &items.iter().map(|i| i.ends_at).collect::<Vec<_>>()
    )
    .execute(conn)
    .await?;
    Ok(())
}

fn braces(ids: &[Uuid]) -> String {
    let ids: Vec<String> = ids.iter().map(Uuid::to_string).collect();
    format!("{{{}}}", ids.join(","))
}

/// A pin.
#[derive(Debug, Clone)]
pub struct PinRow {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// In this bay.
    pub bay: Option<Uuid>,
    /// With this technician.
    pub technician: Option<Uuid>,
    /// At this time.
    pub starts_at: Option<DateTime<Utc>>,
}

/// The pins in force.
pub async fn pins(conn: &mut Conn, shop: Uuid) -> Result<Vec<PinRow>, StoreError> {
    Ok(sqlx::query_as!(
        PinRow,
        "SELECT id, task, bay, technician, starts_at FROM pin WHERE shop = $1 AND removed_at IS NULL ORDER BY id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Pins a task; an earlier pin of it is removed.
pub async fn pin(
    conn: &mut Conn,
    shop: Uuid,
    pin: &PinRow,
    by: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE pin SET removed_at = $3 WHERE shop = $1 AND task = $2 AND removed_at IS NULL",
        shop,
        pin.task,
        at
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO pin (shop, id, task, bay, technician, starts_at, given_by, given_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        pin.id,
        pin.task,
        pin.bay,
        pin.technician,
        pin.starts_at,
        by,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Removes a pin; `false`: there is none.
pub async fn unpin(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE pin SET removed_at = $3 WHERE shop = $1 AND id = $2 AND removed_at IS NULL",
        shop,
        id,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Notes that a plan knows the journal up to a size, when nothing in it changed.
pub async fn read_through(
    conn: &mut Conn,
    shop: Uuid,
    version: i64,
    through: i64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE plan SET through = $3 WHERE shop = $1 AND version = $2",
        shop,
        version,
        through
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether the clock has left the plan behind: something has not begun that was to start before `due`, or goes on that was to end
/// by `now`.
pub async fn lagging(
    conn: &mut Conn,
    shop: Uuid,
    now: DateTime<Utc>,
    due: DateTime<Utc>,
) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (
               SELECT FROM plan_item p
               LEFT JOIN task t ON t.shop = p.shop AND t.id = p.task
               LEFT JOIN line l ON l.shop = p.shop AND l.order_id = p.order_id AND l.line = p.line
               WHERE p.shop = $1
                 AND (p.starts_at < $3
                      AND coalesce(t.state IN ('waiting', 'ready', 'taken'), l.state IN ('open', 'paused'))
                      OR p.ends_at <= $2 AND coalesce(t.state = 'running', l.state = 'started'))
           ) AS "lagging!""#,
        shop,
        now,
        due
    )
    .fetch_one(conn)
    .await?)
}
