//! Shops.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A shop.
#[derive(Debug, Clone)]
pub struct ShopRow {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// IANA time zone.
    pub time_zone: String,
}

/// Adds a shop.
pub async fn insert(conn: &mut Conn, shop: &ShopRow, at: DateTime<Utc>) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO shop (id, name, time_zone, created_at) VALUES ($1, $2, $3, $4)",
        shop.id,
        shop.name,
        shop.time_zone,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The shop, if the transaction serves it.
pub async fn find(conn: &mut Conn, shop: Uuid) -> Result<Option<ShopRow>, StoreError> {
    Ok(sqlx::query_as!(ShopRow, "SELECT id, name, time_zone FROM shop WHERE id = $1", shop)
        .fetch_optional(conn)
        .await?)
}

/// The id of the shop of this name.
pub async fn named(conn: &mut Conn, name: &str) -> Result<Option<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!("SELECT shop_named($1)", name).fetch_one(conn).await?)
}

/// The ids of every shop, for the duties beside the requests.
pub async fn every(conn: &mut Conn) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(r#"SELECT every_shop() AS "id!""#).fetch_all(conn).await?)
}

/// Takes or keeps a duty of a shop until the moment given; `false`: another process holds it.
pub async fn hold_duty(
    conn: &mut Conn,
    shop: Uuid,
    name: &str,
    holder: Uuid,
    seconds: f64,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "INSERT INTO duty (shop, name, holder, held_until)
         VALUES ($1, $2, $3, clock_timestamp() + make_interval(secs => $4))
         ON CONFLICT (shop, name) DO UPDATE SET holder = $3, held_until = excluded.held_until
         WHERE duty.holder = $3 OR duty.held_until < clock_timestamp()",
        shop,
        name,
        holder,
        seconds
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
