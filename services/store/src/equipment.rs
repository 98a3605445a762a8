//! Units of shared equipment.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A unit of equipment.
#[derive(Debug, Clone)]
pub struct EquipmentRow {
    /// The id.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// Its kind, a word of the catalogue.
    pub kind: String,
    /// Its calibration runs out then.
    pub calibrated_until: Option<DateTime<Utc>>,
    /// Grows with every change.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
}

/// Adds a unit of equipment.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &EquipmentRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO equipment (shop, id, name, kind, calibrated_until) VALUES ($1, $2, $3, $4, $5)",
        shop,
        row.id,
        row.name,
        row.kind,
        row.calibrated_until
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every one, in a stable order.
pub async fn list(conn: &mut Conn, shop: Uuid) -> Result<Vec<EquipmentRow>, StoreError> {
    Ok(sqlx::query_as!(
        EquipmentRow,
        "SELECT id, name, kind, calibrated_until, version, retired
         FROM equipment WHERE shop = $1 ORDER BY name, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// One.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
) -> Result<Option<EquipmentRow>, StoreError> {
    Ok(sqlx::query_as!(
        EquipmentRow,
        "SELECT id, name, kind, calibrated_until, version, retired
         FROM equipment WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Changes a unit of equipment of this version; `false`: it has another by now.
pub async fn update(conn: &mut Conn, shop: Uuid, row: &EquipmentRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE equipment SET name = $4, kind = $5, calibrated_until = $6, retired = $7,
             version = version + 1
         WHERE shop = $1 AND id = $2 AND version = $3",
        shop,
        row.id,
        row.version,
        row.name,
        row.kind,
        row.calibrated_until,
        row.retired
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
