//! Repair orders.

use chrono::{DateTime, Utc};
use domain::lifecycle::OrderState;
use domain::vehicle::VehicleFacts;
use serde_json::Value;
use sqlx::types::Json;
use uuid::Uuid;

use crate::vehicles::VehicleRow;
use crate::{Conn, StoreError};

/// A repair order.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderRow {
    /// Its id.
    pub id: Uuid,
    /// The shop's own number.
    pub number: String,
    /// The vehicle.
    pub vehicle: Uuid,
    /// Where it stands.
    pub state: OrderState,
    /// Grows with every change that its answer shows.
    pub version: i64,
    /// The catalogue it was derived with.
    pub catalogue_version: String,
    /// SHA-256 of the intake in canonical form.
    pub intake_digest: Vec<u8>,
    /// What is known of the vehicle.
    pub facts: VehicleFacts,
    /// Trouble codes.
    pub trouble_codes: Vec<String>,
    /// Complaints.
    pub complaints: Vec<String>,
    /// What the floor observed, as JSON.
    pub observations: Value,
    /// What was noticed, as JSON.
    pub findings: Value,
    /// The earlier order that it follows.
    pub follows: Option<Uuid>,
    /// The order that its lines were split off from.
    pub split_from: Option<Uuid>,
    /// Odometer at intake, km.
    pub odometer_in: Option<i32>,
    /// Odometer at the end, km.
    pub odometer_out: Option<i32>,
    /// When the vehicle is expected.
    pub arrives_at: Option<DateTime<Utc>>,
    /// When it is promised back.
    pub promised_at: Option<DateTime<Utc>>,
    /// How much lateness hurts.
    pub weight: i32,
    /// When it was taken in.
    pub created_at: DateTime<Utc>,
    /// When it was released.
    pub released_at: Option<DateTime<Utc>>,
    /// The release as it was decided, as JSON.
    pub release: Option<Value>,
}

/// Adds an order.
pub async fn insert(conn: &mut Conn, shop: Uuid, order: &OrderRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO repair_order (shop, id, number, vehicle, state, catalogue_version, intake_digest, facts,
             trouble_codes, complaints, observations, findings, follows, odometer_in, arrives_at, promised_at, weight,
             created_at, split_from)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)",
        shop,
        order.id,
        order.number,
        order.vehicle,
        order.state.word(),
        order.catalogue_version,
        order.intake_digest,
        Json(&order.facts) as _,
        &order.trouble_codes,
        &order.complaints,
        order.observations,
        order.findings,
        order.follows,
        order.odometer_in,
        order.arrives_at,
        order.promised_at,
        order.weight,
        order.created_at,
        order.split_from
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes an order that still has this version and state; `false`: it has not. The version grows by one.
pub async fn update(
    conn: &mut Conn,
    shop: Uuid,
    expects: (i64, OrderState),
    order: &OrderRow,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE repair_order SET version = version + 1, state = $5, catalogue_version = $6, facts = $7,
             trouble_codes = $8, complaints = $9, observations = $10, findings = $11, odometer_in = $12,
             odometer_out = $13, arrives_at = $14, promised_at = $15, weight = $16, released_at = $17, release = $18
         WHERE shop = $1 AND id = $2 AND version = $3 AND state = $4",
        shop,
        order.id,
        expects.0,
        expects.1.word(),
        order.state.word(),
        order.catalogue_version,
        Json(&order.facts) as _,
        &order.trouble_codes,
        &order.complaints,
        order.observations,
        order.findings,
        order.odometer_in,
        order.odometer_out,
        order.arrives_at,
        order.promised_at,
        order.weight,
        order.released_at,
        order.release
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// These orders, by id.
pub async fn load(conn: &mut Conn, shop: Uuid, ids: &[Uuid]) -> Result<Vec<OrderRow>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT id, number, vehicle, state, version, catalogue_version, intake_digest,
                  facts AS "facts: Json<VehicleFacts>", trouble_codes, complaints, observations, findings, follows,
                  split_from, odometer_in, odometer_out, arrives_at, promised_at, weight, created_at, released_at, release
           FROM repair_order WHERE shop = $1 AND id = ANY ($2) ORDER BY id"#,
        shop,
        ids
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(OrderRow {
                id: row.id,
                number: row.number,
                vehicle: row.vehicle,
                state: OrderState::of_word(&row.state).ok_or(StoreError::Word(row.state))?,
                version: row.version,
                catalogue_version: row.catalogue_version,
                intake_digest: row.intake_digest,
                facts: row.facts.0,
                trouble_codes: row.trouble_codes,
                complaints: row.complaints,
                observations: row.observations,
                findings: row.findings,
                follows: row.follows,
                split_from: row.split_from,
                odometer_in: row.odometer_in,
                odometer_out: row.odometer_out,
                arrives_at: row.arrives_at,
                promised_at: row.promised_at,
                weight: row.weight,
                created_at: row.created_at,
                released_at: row.released_at,
                release: row.release,
            })
        })
        .collect()
}

/// An order whose row is locked.
#[derive(Debug, Clone)]
pub struct Locked {
    /// Its vehicle, which is locked besides.
    pub vehicle: VehicleRow,
    /// The number that its next entry in the journal will have.
    pub next_seq: i64,
}

/// Locks an order, and its vehicle before it. `None`: there is no such order.
pub async fn lock(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<Locked>, StoreError> {
    // Rows are locked in the order in which FOR UPDATE names their tables; everybody takes the vehicle first.
    let row = sqlx::query!(
        "SELECT v.id, v.vin, v.identity, v.plate, o.next_seq
         FROM repair_order o JOIN vehicle v ON v.shop = o.shop AND v.id = o.vehicle
         WHERE o.shop = $1 AND o.id = $2 FOR UPDATE OF v, o",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|row| Locked {
        vehicle: VehicleRow { id: row.id, vin: row.vin, identity: row.identity, plate: row.plate },
        next_seq: row.next_seq,
    }))
}

/// The order of this number.
pub async fn numbered(
    conn: &mut Conn,
    shop: Uuid,
    number: &str,
) -> Result<Option<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT id FROM repair_order WHERE shop = $1 AND number = $2",
        shop,
        number
    )
    .fetch_optional(conn)
    .await?)
}

/// The last odometer that an order of a vehicle told, km, with the order's number.
pub async fn last_odometer(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Option<(i32, String)>, StoreError> {
    let row = sqlx::query!(
        r#"SELECT coalesce(odometer_out, odometer_in) AS "odometer!", number FROM repair_order
           WHERE shop = $1 AND vehicle = $2 AND coalesce(odometer_out, odometer_in) IS NOT NULL
           ORDER BY id DESC LIMIT 1"#,
        shop,
        vehicle
    )
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|row| (row.odometer, row.number)))
}

/// Orders of a vehicle, newest first.
pub async fn of_vehicle(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT id FROM repair_order WHERE shop = $1 AND vehicle = $2 ORDER BY id DESC",
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}

/// Open orders of a vehicle.
pub async fn open_of_vehicle(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT id FROM repair_order WHERE shop = $1 AND vehicle = $2 AND state = 'open' ORDER BY id",
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}

/// Every open order, oldest first.
pub async fn open(conn: &mut Conn, shop: Uuid) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT id FROM repair_order WHERE shop = $1 AND state = 'open' ORDER BY id",
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// Which orders a list shows.
#[derive(Debug, Clone, Default)]
pub struct OrderFilter {
    /// Only in this state.
    pub state: Option<OrderState>,
    /// Only of this number.
    pub number: Option<String>,
    /// Only of the vehicle with this VIN.
    pub vin: Option<String>,
    /// Only behind this id.
    pub after: Option<Uuid>,
}

/// A page of order ids, oldest first.
pub async fn page(
    conn: &mut Conn,
    shop: Uuid,
    filter: &OrderFilter,
    limit: usize,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!(
        "SELECT o.id FROM repair_order o JOIN vehicle v ON v.shop = o.shop AND v.id = o.vehicle
         WHERE o.shop = $1 AND ($2::text IS NULL OR o.state = $2) AND ($3::text IS NULL OR o.number = $3)
           AND ($4::text IS NULL OR v.vin = $4) AND ($5::uuid IS NULL OR o.id > $5)
         ORDER BY o.id LIMIT $6",
        shop,
        filter.state.map(OrderState::word),
        filter.number,
        filter.vin,
        filter.after,
        i64::try_from(limit).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?)
}
