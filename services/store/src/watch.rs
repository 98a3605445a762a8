//! A cheap look at whether anything changed on a vehicle.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::{Conn, StoreError};

/// How far the journal of a vehicle's orders has gone, and the time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pulse {
    /// Entries written for its orders; every change writes one.
    pub entries: i64,
    /// The service's clock.
    pub now: DateTime<Utc>,
}

/// The pulse of a vehicle.
pub async fn pulse(conn: &mut Conn, shop: Uuid, vehicle: Uuid) -> Result<Pulse, StoreError> {
    Ok(sqlx::query_as!(
        Pulse,
        r#"SELECT coalesce(sum(next_seq), 0)::bigint AS "entries!", service_now() AS "now!"
           FROM repair_order WHERE shop = $1 AND vehicle = $2"#,
        shop,
        vehicle
    )
    .fetch_one(conn)
    .await?)
}
