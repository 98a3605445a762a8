//! Corrections of a vehicle's identity.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A correction.
#[derive(Debug, Clone)]
pub struct CorrectionRow {
    /// Its id.
    pub id: Uuid,
    /// The vehicle.
    pub vehicle: Uuid,
    /// The right VIN, if that was wrong.
    pub vin: Option<String>,
    /// The right plate, if that was wrong.
    pub plate: Option<String>,
    /// The VIN before.
    pub old_vin: Option<String>,
    /// The plate before.
    pub old_plate: Option<String>,
    /// Why.
    pub reason: String,
    /// Who gave it.
    pub given_by: String,
    /// When.
    pub given_at: DateTime<Utc>,
    /// Who agreed.
    pub approved_by: Option<String>,
    /// When.
    pub approved_at: Option<DateTime<Utc>>,
}

/// Proposes a correction; a second open one of a vehicle is a duplicate.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &CorrectionRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO identity_correction (shop, id, vehicle, vin, plate, old_vin, old_plate, reason, given_by, given_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        shop,
        row.id,
        row.vehicle,
        row.vin,
        row.plate,
        row.old_vin,
        row.old_plate,
        row.reason,
        row.given_by,
        row.given_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Agrees to a correction; `false`: somebody has.
pub async fn approve(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    by: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE identity_correction SET approved_by = $3, approved_at = $4
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

/// The corrections of a vehicle, oldest first.
pub async fn of_vehicle(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<CorrectionRow>, StoreError> {
    Ok(sqlx::query_as!(
        CorrectionRow,
        "SELECT id, vehicle, vin, plate, old_vin, old_plate, reason, given_by, given_at, approved_by, approved_at
         FROM identity_correction WHERE shop = $1 AND vehicle = $2 ORDER BY given_at, id",
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}
