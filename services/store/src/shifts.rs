//! Technicians' working times.

use chrono::{NaiveDate, NaiveDateTime};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A shift.
#[derive(Debug, Clone)]
pub struct ShiftRow {
    /// The id.
    pub id: Uuid,
    /// Whose it is.
    pub technician: Uuid,
    /// The first occurrence, in the shop's local time.
    pub starts_local: NaiveDateTime,
    /// Its length.
    pub minutes: i32,
    /// How it repeats (RFC 5545).
    pub rrule: Option<String>,
    /// Days on which it does not happen.
    pub except_dates: Vec<NaiveDate>,
    /// Grows with every change.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
}

/// Adds a shift.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &ShiftRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO shift (shop, id, technician, starts_local, minutes, rrule, except_dates) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        shop,
        row.id,
        row.technician,
        row.starts_local,
        row.minutes,
        row.rrule.as_deref(),
        &row.except_dates
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every one, in a stable order.
pub async fn list(conn: &mut Conn, shop: Uuid) -> Result<Vec<ShiftRow>, StoreError> {
    Ok(sqlx::query_as!(
        ShiftRow,
        "SELECT id, technician, starts_local, minutes, rrule, except_dates, version, retired
         FROM shift WHERE shop = $1 ORDER BY starts_local, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// One.
pub async fn find(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<ShiftRow>, StoreError> {
    Ok(sqlx::query_as!(
        ShiftRow,
        "SELECT id, technician, starts_local, minutes, rrule, except_dates, version, retired
         FROM shift WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Changes a shift of this version; `false`: it has another by now.
pub async fn update(conn: &mut Conn, shop: Uuid, row: &ShiftRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE shift SET technician = $4, starts_local = $5, minutes = $6, rrule = $7, except_dates = $8, retired = $9,
             version = version + 1
         WHERE shop = $1 AND id = $2 AND version = $3",
        shop,
        row.id,
        row.version,
        row.technician,
        row.starts_local,
        row.minutes,
        row.rrule.as_deref(),
        &row.except_dates,
        row.retired
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
