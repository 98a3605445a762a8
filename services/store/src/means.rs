//! The shop's means together: what planning and leases choose from.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A technician who is here.
#[derive(Debug, Clone)]
pub struct Person {
    /// Their id.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Salt of the commitment to the name.
    pub salt: Vec<u8>,
    /// Skills that count now: one whose certificates have all run out does not.
    pub skills: Vec<String>,
    /// What certifies them.
    pub certificates: Value,
}

/// A unit of equipment that is used.
#[derive(Debug, Clone)]
pub struct Unit {
    /// Its id.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Kind.
    pub kind: String,
    /// Its calibration runs out then.
    pub calibrated_until: Option<DateTime<Utc>>,
}

/// A shift in force.
#[derive(Debug, Clone)]
pub struct ShiftTimes {
    /// The technician.
    pub technician: Uuid,
    /// The first occurrence, local.
    pub starts_local: NaiveDateTime,
    /// Its length.
    pub minutes: i32,
    /// How it repeats.
    pub rrule: Option<String>,
    /// Days without.
    pub except_dates: Vec<NaiveDate>,
}

/// Somebody or something is not there.
#[derive(Debug, Clone)]
pub struct Away {
    /// The technician, or
    pub technician: Option<Uuid>,
    /// the bay, or
    pub bay: Option<Uuid>,
    /// the unit.
    pub equipment: Option<Uuid>,
    /// From.
    pub from_at: DateTime<Utc>,
    /// Until; none: unknown.
    pub until_at: Option<DateTime<Utc>>,
}

impl Away {
    /// Whether it lasts at this moment and nobody knows for how long.
    pub fn is_open_end(&self, now: DateTime<Utc>) -> bool {
        self.from_at <= now && self.until_at.is_none()
    }
}

/// Technicians who are here, by name.
pub async fn people(conn: &mut Conn, shop: Uuid) -> Result<Vec<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        "SELECT id, name, salt, counting_skills(skills, certificates, service_now()) AS \"skills!\", certificates
         FROM technician WHERE shop = $1 AND NOT retired ORDER BY name, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// A technician, while they are here.
pub async fn person(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        "SELECT id, name, salt, counting_skills(skills, certificates, service_now()) AS \"skills!\", certificates
         FROM technician WHERE shop = $1 AND id = $2 AND NOT retired",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Units of equipment that are used, by name.
pub async fn units(conn: &mut Conn, shop: Uuid) -> Result<Vec<Unit>, StoreError> {
    Ok(sqlx::query_as!(
        Unit,
        "SELECT id, name, kind, calibrated_until FROM equipment WHERE shop = $1 AND NOT retired ORDER BY name, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Shifts in force.
pub async fn shift_times(conn: &mut Conn, shop: Uuid) -> Result<Vec<ShiftTimes>, StoreError> {
    Ok(sqlx::query_as!(
        ShiftTimes,
        "SELECT technician, starts_local, minutes, rrule, except_dates FROM shift
         WHERE shop = $1 AND NOT retired ORDER BY starts_local, id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Who and what is away at or after a moment.
pub async fn away(
    conn: &mut Conn,
    shop: Uuid,
    from: DateTime<Utc>,
) -> Result<Vec<Away>, StoreError> {
    Ok(sqlx::query_as!(
        Away,
        "SELECT technician, bay, equipment, from_at, until_at FROM absence
         WHERE shop = $1 AND (until_at IS NULL OR until_at > $2) ORDER BY from_at, id",
        shop,
        from
    )
    .fetch_all(conn)
    .await?)
}

/// Bays and units that taken or running tasks are bound to, with the vehicle.
pub async fn bound(conn: &mut Conn, shop: Uuid) -> Result<Vec<(Uuid, Uuid)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT a.bay AS "thing!", t.vehicle AS "vehicle!" FROM task t
           JOIN attempt a ON a.shop = t.shop AND a.task = t.id AND a.number = t.attempt
           WHERE t.shop = $1 AND t.state IN ('taken', 'running', 'held') AND a.bay IS NOT NULL
           UNION ALL
           SELECT unit::uuid, t.vehicle FROM task t
           JOIN attempt a ON a.shop = t.shop AND a.task = t.id AND a.number = t.attempt
           CROSS JOIN jsonb_array_elements_text(a.equipment) AS unit
           WHERE t.shop = $1 AND t.state IN ('taken', 'running', 'held')
           UNION ALL
           SELECT l.worked_in, o.vehicle FROM line l
           JOIN repair_order o ON o.shop = l.shop AND o.id = l.order_id
           WHERE l.shop = $1 AND l.state = 'started' AND l.worked_in IS NOT NULL AND o.state = 'open'"#,
        shop
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.thing, row.vehicle)).collect())
}
