//! Bays.

use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A bay.
#[derive(Debug, Clone)]
pub struct BayRow {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// Part of the premises.
    pub zone: String,
    /// What can be done in it.
    pub capabilities: Vec<String>,
    /// What was measured of it, as a JSON list.
    pub measured: Value,
    /// Grows with every change.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
}

/// Adds a bay.
pub async fn insert(conn: &mut Conn, shop: Uuid, bay: &BayRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO bay (shop, id, name, zone, capabilities, measured) VALUES ($1, $2, $3, $4, $5, $6)",
        shop,
        bay.id,
        bay.name,
        bay.zone,
        &bay.capabilities,
        bay.measured
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every bay, by name.
pub async fn list(conn: &mut Conn, shop: Uuid) -> Result<Vec<BayRow>, StoreError> {
    Ok(sqlx::query_as!(
        BayRow,
        "SELECT id, name, zone, capabilities, measured, version, retired FROM bay WHERE shop = $1 ORDER BY name, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// One bay.
pub async fn find(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<BayRow>, StoreError> {
    Ok(sqlx::query_as!(
        BayRow,
        "SELECT id, name, zone, capabilities, measured, version, retired FROM bay WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Changes a bay if it still has this version; `false`: it has not.
pub async fn update(conn: &mut Conn, shop: Uuid, bay: &BayRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE bay SET name = $4, zone = $5, capabilities = $6, retired = $7, measured = $8, version = version + 1
         WHERE shop = $1 AND id = $2 AND version = $3",
        shop,
        bay.id,
        bay.version,
        bay.name,
        bay.zone,
        &bay.capabilities,
        bay.retired,
        bay.measured
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
