//! Technicians who are away, bays and equipment out of service.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// An absence of exactly one technician, bay or unit.
#[derive(Debug, Clone)]
pub struct AbsenceRow {
    /// The id.
    pub id: Uuid,
    /// The technician, or
    pub technician: Option<Uuid>,
    /// the bay, or
    pub bay: Option<Uuid>,
    /// the unit of equipment.
    pub equipment: Option<Uuid>,
    /// From.
    pub from_at: DateTime<Utc>,
    /// Until; none: unknown.
    pub until_at: Option<DateTime<Utc>>,
    /// Why.
    pub reason: String,
    /// Grows with every change.
    pub version: i64,
}

/// Adds an absence.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &AbsenceRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO absence (shop, id, technician, bay, equipment, from_at, until_at, reason)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        row.id,
        row.technician,
        row.bay,
        row.equipment,
        row.from_at,
        row.until_at,
        row.reason
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every absence that has not ended at this moment, by its beginning.
pub async fn list_open(
    conn: &mut Conn,
    shop: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<AbsenceRow>, StoreError> {
    Ok(sqlx::query_as!(
        AbsenceRow,
        "SELECT id, technician, bay, equipment, from_at, until_at, reason, version FROM absence
         WHERE shop = $1 AND (until_at IS NULL OR until_at > $2) ORDER BY from_at, id",
        shop,
        at
    )
    .fetch_all(conn)
    .await?)
}

/// One absence.
pub async fn find(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<AbsenceRow>, StoreError> {
    Ok(sqlx::query_as!(
        AbsenceRow,
        "SELECT id, technician, bay, equipment, from_at, until_at, reason, version FROM absence
         WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Sets the end of an absence of this version; `false`: it has another by now.
pub async fn end(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    version: i64,
    until_at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE absence SET until_at = $4, version = version + 1
         WHERE shop = $1 AND id = $2 AND version = $3",
        shop,
        id,
        version,
        until_at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
