//! Technicians.

use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A technician.
#[derive(Debug, Clone)]
pub struct TechnicianRow {
    /// The id.
    pub id: Uuid,
    /// Their name.
    pub name: String,
    /// What they are able to do.
    pub skills: Vec<String>,
    /// What certifies it.
    pub certificates: Value,
    /// Grows with every change.
    pub version: i64,
    /// No longer used.
    pub retired: bool,
}

/// Adds a technician.
pub async fn insert(conn: &mut Conn, shop: Uuid, row: &TechnicianRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO technician (shop, id, name, skills, certificates, salt)
         VALUES ($1, $2, $3, $4, $5, uuid_send(gen_random_uuid()))",
        shop,
        row.id,
        row.name,
        &row.skills,
        row.certificates
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every one, in a stable order.
pub async fn list(conn: &mut Conn, shop: Uuid) -> Result<Vec<TechnicianRow>, StoreError> {
    Ok(sqlx::query_as!(
        TechnicianRow,
        "SELECT id, name, skills, certificates, version, retired
         FROM technician WHERE shop = $1 ORDER BY name, id",
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
) -> Result<Option<TechnicianRow>, StoreError> {
    Ok(sqlx::query_as!(
        TechnicianRow,
        "SELECT id, name, skills, certificates, version, retired
         FROM technician WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Changes a technician of this version; `false`: it has another by now.
pub async fn update(conn: &mut Conn, shop: Uuid, row: &TechnicianRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE technician SET name = $4, skills = $5, retired = $6, certificates = $7,
             version = version + 1
         WHERE shop = $1 AND id = $2 AND version = $3",
        shop,
        row.id,
        row.version,
        row.name,
        &row.skills,
        row.retired,
        row.certificates
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
