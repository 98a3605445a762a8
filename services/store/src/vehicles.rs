//! Vehicles, and what stands open on them: service modes, holds, what is in use.

use chrono::{DateTime, Utc};
use domain::operation::OperationPattern;
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A vehicle.
#[derive(Debug, Clone)]
pub struct VehicleRow {
    /// Its id.
    pub id: Uuid,
    /// VIN, if it has one.
    pub vin: Option<String>,
    /// How it is known without a VIN.
    pub identity: Option<String>,
    /// Registration plate.
    pub plate: Option<String>,
}

/// A service mode that was entered.
#[derive(Debug, Clone)]
pub struct BracketRow {
    /// The task that entered it.
    pub entered_by: Uuid,
    /// The order that it was entered on.
    pub order_id: Uuid,
    /// The mode's name.
    pub mode: String,
    /// The procedure that leaves it.
    pub left_by: String,
    /// The vehicle must not be moved meanwhile.
    pub must_not_move: bool,
    /// No handover while a step of it runs.
    pub no_handover: bool,
    /// Operations that disturb it.
    pub disturbed_by: Json<Vec<OperationPattern>>,
    /// Since when.
    pub opened_at: DateTime<Utc>,
    /// The person whose lock it is, where it is a person's.
    pub holder: Option<Uuid>,
    /// To whom the lock is offered.
    pub offered_to: Option<Uuid>,
}

/// A hold on a vehicle.
#[derive(Debug, Clone)]
pub struct HoldRow {
    /// Its id.
    pub id: Uuid,
    /// `must_not_move` or `undecided`.
    pub kind: String,
    /// Why, in words.
    pub reason: String,
    /// The task that it comes from.
    pub task: Option<Uuid>,
    /// When it ends by itself.
    pub until_at: Option<DateTime<Utc>>,
}

/// Something in use.
#[derive(Debug, Clone)]
pub struct OccupancyRow {
    /// `vehicle`, `bay`, `technician` or `equipment`.
    pub kind: String,
    /// Its id.
    pub thing: Uuid,
    /// The order it is used for.
    pub order_id: Uuid,
    /// The task, or
    pub task: Option<Uuid>,
    /// the line.
    pub line: Option<i32>,
    /// Since when.
    pub from_at: DateTime<Utc>,
}

/// Finds the vehicle by VIN, or without one by identity or plate, and locks it; adds it when it is new. A plate, whatever its
/// letters' case and signs between, tells the vehicle where neither has a VIN, and while the one that bears it is in the shop: a
/// vehicle that is known by its plate on one order and by its VIN on another is one vehicle.
pub async fn find_or_add(
    conn: &mut Conn,
    shop: Uuid,
    new: &VehicleRow,
    at: DateTime<Utc>,
) -> Result<VehicleRow, StoreError> {
    let known = sqlx::query_as!(
        VehicleRow,
        "SELECT id, vin, identity, plate FROM vehicle v
         WHERE shop = $1 AND (vin = $2
             OR ($2::text IS NULL AND vin IS NULL AND identity = $3)
             OR (upper(regexp_replace(plate, '[^[:alnum:]]', '', 'g')) =
                     nullif(upper(regexp_replace($4::text, '[^[:alnum:]]', '', 'g')), '')
                 AND ($2::text IS NULL OR vin IS NULL)
                 AND ($3::text IS NULL OR identity IS NULL OR identity = $3)
                 AND (($2::text IS NULL AND vin IS NULL)
                     OR EXISTS (SELECT FROM repair_order o WHERE o.shop = $1 AND o.vehicle = v.id AND o.state = 'open'))))
         ORDER BY vin IS NOT DISTINCT FROM $2 DESC, id DESC LIMIT 1 FOR UPDATE",
        shop,
        new.vin.as_deref(),
        new.identity.as_deref(),
        new.plate.as_deref()
    )
    .fetch_optional(&mut *conn)
    .await?;
    if let Some(mut known) = known {
        if let Some(vin) = new.vin.as_deref().filter(|_| known.vin.is_none()) {
            identify(&mut *conn, shop, known.id, vin).await?;
            known.vin = Some(vin.to_owned());
        }
        if new.plate.is_some() && new.plate != known.plate {
            sqlx::query!(
                "UPDATE vehicle SET plate = $3 WHERE shop = $1 AND id = $2",
                shop,
                known.id,
                new.plate
            )
            .execute(conn)
            .await?;
        }
        return Ok(known);
    }
    sqlx::query!(
        "INSERT INTO vehicle (shop, id, vin, identity, plate, created_at) VALUES ($1, $2, $3, $4, $5, $6)",
        shop,
        new.id,
        new.vin,
        new.identity,
        new.plate,
        at
    )
    .execute(conn)
    .await?;
    Ok(new.clone())
}

/// Gives a vehicle its VIN; `false`: it has one. A VIN that another vehicle has is a duplicate.
pub async fn identify(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    vin: &str,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE vehicle SET vin = $3 WHERE shop = $1 AND id = $2 AND vin IS NULL",
        shop,
        id,
        vin
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Corrects what a vehicle is known by. A VIN that another vehicle has is a duplicate.
pub async fn correct(conn: &mut Conn, shop: Uuid, vehicle: &VehicleRow) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE vehicle SET vin = $3, plate = $4 WHERE shop = $1 AND id = $2",
        shop,
        vehicle.id,
        vehicle.vin,
        vehicle.plate
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// One vehicle.
pub async fn find(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<Option<VehicleRow>, StoreError> {
    Ok(sqlx::query_as!(
        VehicleRow,
        "SELECT id, vin, identity, plate FROM vehicle WHERE shop = $1 AND id = $2",
        shop,
        id
    )
    .fetch_optional(conn)
    .await?)
}

/// Locks a vehicle: the first lock of every step that bears on what stands open on it.
pub async fn lock(conn: &mut Conn, shop: Uuid, id: Uuid) -> Result<(), StoreError> {
    sqlx::query!("SELECT id FROM vehicle WHERE shop = $1 AND id = $2 FOR UPDATE", shop, id)
        .fetch_optional(conn)
        .await?;
    Ok(())
}

/// Service modes that stand open on a vehicle.
pub async fn open_brackets(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<BracketRow>, StoreError> {
    Ok(sqlx::query_as!(
        BracketRow,
        r#"SELECT entered_by, order_id, mode, left_by, must_not_move, no_handover,
                  disturbed_by AS "disturbed_by: Json<Vec<OperationPattern>>", opened_at, holder,
                  offered_to
           FROM bracket WHERE shop = $1 AND vehicle = $2 AND closed_at IS NULL ORDER BY opened_at, entered_by"#,
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}

/// Opens a service mode.
pub async fn open_bracket(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
    bracket: &BracketRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO bracket (shop, entered_by, vehicle, order_id, mode, left_by, must_not_move, no_handover,
                              disturbed_by, opened_at, holder)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        shop,
        bracket.entered_by,
        vehicle,
        bracket.order_id,
        bracket.mode,
        bracket.left_by,
        bracket.must_not_move,
        bracket.no_handover,
        Json(&bracket.disturbed_by.0) as _,
        bracket.opened_at,
        bracket.holder
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Offers the lock of an open service mode, or passes it on to whom it was offered; `false`: it is another's by now.
pub async fn pass_lock(
    conn: &mut Conn,
    shop: Uuid,
    entered_by: Uuid,
    holder: Uuid,
    offered_to: Option<Uuid>,
    expects: (Uuid, Option<Uuid>),
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE bracket SET holder = $3, offered_to = $4
         WHERE shop = $1 AND entered_by = $2 AND closed_at IS NULL AND holder = $5
           AND offered_to IS NOT DISTINCT FROM $6",
        shop,
        entered_by,
        holder,
        offered_to,
        expects.0,
        expects.1
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Closes the service mode of this name on a vehicle; `false`: none stood open.
pub async fn close_bracket(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
    mode: &str,
    by: Uuid,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE bracket SET closed_at = $5, closed_by = $4
         WHERE shop = $1 AND vehicle = $2 AND mode = $3 AND closed_at IS NULL",
        shop,
        vehicle,
        mode,
        by,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Holds on a vehicle that are neither cleared nor over.
pub async fn open_holds(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
    now: DateTime<Utc>,
) -> Result<Vec<HoldRow>, StoreError> {
    Ok(sqlx::query_as!(
        HoldRow,
        "SELECT id, kind, reason, task, until_at FROM hold
         WHERE shop = $1 AND vehicle = $2 AND cleared_at IS NULL AND (until_at IS NULL OR until_at > $3)
         ORDER BY opened_at, id",
        shop,
        vehicle,
        now
    )
    .fetch_all(conn)
    .await?)
}

/// Puts a hold on a vehicle.
pub async fn open_hold(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
    hold: &HoldRow,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO hold (shop, id, vehicle, kind, reason, task, opened_at, until_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        hold.id,
        vehicle,
        hold.kind,
        hold.reason,
        hold.task,
        at,
        hold.until_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Clears the holds of one kind that a task put on its vehicle.
pub async fn clear_holds(
    conn: &mut Conn,
    shop: Uuid,
    task: Uuid,
    kind: &str,
    at: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "UPDATE hold SET cleared_at = $4 WHERE shop = $1 AND task = $2 AND kind = $3 AND cleared_at IS NULL",
        shop,
        task,
        kind,
        at
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected())
}

/// Everything in use on or for a vehicle's orders.
pub async fn occupancy(
    conn: &mut Conn,
    shop: Uuid,
    vehicle: Uuid,
) -> Result<Vec<OccupancyRow>, StoreError> {
    Ok(sqlx::query_as!(
        OccupancyRow,
        "SELECT kind, thing, order_id, task, line, from_at FROM occupancy
         WHERE shop = $1 AND until_at IS NULL
           AND order_id IN (SELECT id FROM repair_order WHERE shop = $1 AND vehicle = $2)
         ORDER BY from_at, id",
        shop,
        vehicle
    )
    .fetch_all(conn)
    .await?)
}

/// Which of these things are in use, by whatever task or line.
pub async fn in_use(
    conn: &mut Conn,
    shop: Uuid,
    things: &[Uuid],
) -> Result<Vec<OccupancyRow>, StoreError> {
    Ok(sqlx::query_as!(
        OccupancyRow,
        "SELECT kind, thing, order_id, task, line, from_at FROM occupancy
         WHERE shop = $1 AND until_at IS NULL AND thing = ANY ($2) ORDER BY from_at, id",
        shop,
        things
    )
    .fetch_all(conn)
    .await?)
}

/// Who used any of these things at some time since a moment and no longer does.
pub async fn used_since(
    conn: &mut Conn,
    shop: Uuid,
    things: &[Uuid],
    since: DateTime<Utc>,
) -> Result<Vec<OccupancyRow>, StoreError> {
    Ok(sqlx::query_as!(
        OccupancyRow,
        "SELECT kind, thing, order_id, task, line, from_at FROM occupancy
         WHERE shop = $1 AND until_at > $3 AND thing = ANY ($2) ORDER BY from_at, id",
        shop,
        things,
        since
    )
    .fetch_all(conn)
    .await?)
}

/// Puts a thing in use; a second open row for it is a [`StoreError::Duplicate`] of `occupancy_open`.
pub async fn occupy(
    conn: &mut Conn,
    shop: Uuid,
    id: Uuid,
    row: &OccupancyRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO occupancy (shop, id, kind, thing, order_id, task, line, from_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        shop,
        id,
        row.kind,
        row.thing,
        row.order_id,
        row.task,
        row.line,
        row.from_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Frees everything that a task or a line uses.
pub async fn free(
    conn: &mut Conn,
    shop: Uuid,
    order: Uuid,
    task: Option<Uuid>,
    line: Option<i32>,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE occupancy SET until_at = $5
         WHERE shop = $1 AND order_id = $2 AND task IS NOT DISTINCT FROM $3 AND line IS NOT DISTINCT FROM $4
           AND until_at IS NULL",
        shop,
        order,
        task,
        line,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Frees the people of a task that broke off, or one of them who leaves it to another; the vehicle stays where it is.
pub async fn free_people(
    conn: &mut Conn,
    shop: Uuid,
    task: Uuid,
    one: Option<Uuid>,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE occupancy SET until_at = $4
         WHERE shop = $1 AND task = $2 AND kind = 'technician' AND thing = coalesce($3, thing) AND until_at IS NULL",
        shop,
        task,
        one,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}
