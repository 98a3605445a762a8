//! Departures: a vehicle leaves the premises without being released.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A departure.
#[derive(Debug, Clone)]
pub struct DepartureRow {
    /// Its id.
    pub id: Uuid,
    /// The vehicle.
    pub vehicle: Uuid,
    /// The order it left on.
    pub order_id: Uuid,
    /// `test_drive`, `sublet` or `left_unreleased`.
    pub kind: String,
    /// Why.
    pub reason: String,
    /// The technician who drives.
    pub driver: Option<Uuid>,
    /// Who works on it elsewhere.
    pub provider: Option<String>,
    /// Odometer as it left, km.
    pub odometer_out: Option<i32>,
    /// When it left.
    pub left_at: DateTime<Utc>,
    /// When it is expected back.
    pub due_at: Option<DateTime<Utc>>,
    /// When it came back.
    pub returned_at: Option<DateTime<Utc>>,
    /// Odometer as it came back, km.
    pub odometer_in: Option<i32>,
    /// How it came back, in words.
    pub condition: Option<String>,
}

/// Adds a departure; a second open one of a vehicle is a duplicate.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &DepartureRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO departure (shop, id, vehicle, order_id, kind, reason, driver, provider, odometer_out, left_at, due_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        shop,
        row.id,
        row.vehicle,
        row.order_id,
        row.kind,
        row.reason,
        row.driver,
        row.provider,
        row.odometer_out,
        row.left_at,
        row.due_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The vehicle is back; `false`: it was before.
pub async fn end(conn: &mut Conn, shop: Uuid, row: &DepartureRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE departure SET returned_at = $3, odometer_in = $4, condition = $5
         WHERE shop = $1 AND id = $2 AND returned_at IS NULL",
        shop,
        row.id,
        row.returned_at,
        row.odometer_in,
        row.condition
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Every departure of a vehicle, oldest first.
pub async fn of_vehicle(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<DepartureRow>, StoreError> {
    Ok(sqlx::query_as!(
        DepartureRow,
        "SELECT id, vehicle, order_id, kind, reason, driver, provider, odometer_out, left_at, due_at, returned_at,
                odometer_in, condition
         FROM departure WHERE shop = $1 AND vehicle = $2 ORDER BY left_at, id",
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}
