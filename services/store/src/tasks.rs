//! Tasks, and what comes before what.

use chrono::{DateTime, Utc};
use domain::lifecycle::TaskState;
use domain::operation::Operation;
use domain::procedure::Procedure;
use serde_json::Value;
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A task.
#[derive(Debug, Clone)]
pub struct TaskRow {
    /// Its id.
    pub id: Uuid,
    /// The order.
    pub order_id: Uuid,
    /// The vehicle.
    pub vehicle: Uuid,
    /// The procedure as it was when the task was derived.
    pub definition: Procedure,
    /// Where on the vehicle; empty for the vehicle as a whole.
    pub place: String,
    /// Why it is required, as JSON.
    pub because: Value,
    /// The lines that require it.
    pub lines: Vec<i32>,
    /// Where it stands.
    pub state: TaskState,
    /// Grows with every lease.
    pub fence: i64,
    /// Grows with every change.
    pub version: i64,
    /// Number of the present or last attempt.
    pub attempt: i32,
    /// Who holds or last held it.
    pub technician: Option<Uuid>,
    /// Where it is or was done.
    pub bay: Option<Uuid>,
    /// When the lease ends; only while taken or running.
    pub lease_until: Option<DateTime<Utc>>,
    /// When the present attempt was started.
    pub started_at: Option<DateTime<Utc>>,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// When its wait ends.
    pub settled_at: Option<DateTime<Utc>>,
    /// It runs to its end, but is no longer needed.
    pub no_longer_needed: bool,
    /// The disturbed task whose place it takes.
    pub replaces: Option<Uuid>,
    /// When it was derived.
    pub created_at: DateTime<Utc>,
}

/// Adds a task, waiting.
pub async fn insert(conn: &mut Conn, shop: Uuid, task: &TaskRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO task (shop, id, order_id, vehicle, procedure, place, definition, because, lines, state, replaces,
             created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        shop,
        task.id,
        task.order_id,
        task.vehicle,
        task.definition.id,
        task.place,
        Json(&task.definition) as _,
        task.because,
        &task.lines,
        task.state.word(),
        task.replaces,
        task.created_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes a task that still has this state and fence; `false`: it has not. What it is never changes.
pub async fn update(
    conn: &mut Conn,
    shop: Uuid,
    expects: (TaskState, i64),
    task: &TaskRow,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE task SET version = version + 1, because = $5, lines = $6, state = $7, fence = $8, attempt = $9,
             technician = $10, bay = $11, lease_until = $12, started_at = $13, ended_at = $14, settled_at = $15,
             no_longer_needed = $16
         WHERE shop = $1 AND id = $2 AND state = $3 AND fence = $4",
        shop,
        task.id,
        expects.0.word(),
        expects.1,
        task.because,
        &task.lines,
        task.state.word(),
        task.fence,
        task.attempt,
        task.technician,
        task.bay,
        task.lease_until,
        task.started_at,
        task.ended_at,
        task.settled_at,
        task.no_longer_needed
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Moves tasks to an order that was split off from theirs; `false`: one of them is not there any more.
pub async fn go_over(
    conn: &mut Conn,
    shop: Uuid,
    (from, into): (Uuid, Uuid),
    tasks: &[Uuid],
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE task SET order_id = $3, version = version + 1 WHERE shop = $1 AND order_id = $2 AND id = ANY ($4)",
        shop,
        from,
        into,
        tasks
    )
    .execute(conn)
    .await?;
    Ok(usize::try_from(done.rows_affected()).is_ok_and(|moved| moved == tasks.len()))
}

/// The tasks of these orders, in the order they were derived.
pub async fn of_orders(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<TaskRow>, StoreError> {
    let ids = sqlx::query_scalar!(
        "SELECT id FROM task WHERE shop = $1 AND order_id = ANY ($2) ORDER BY order_id, id",
        shop,
        orders
    )
    .fetch_all(&mut *conn)
    .await?;
    load(conn, shop, &ids).await
}

/// These tasks, by id.
pub async fn load(conn: &mut Conn, shop: Uuid, ids: &[Uuid]) -> Result<Vec<TaskRow>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT id, order_id, vehicle, place, definition AS "definition: Json<Procedure>", because, lines, state, fence,
                  version, attempt, technician, bay, lease_until, started_at, ended_at, settled_at, no_longer_needed,
                  replaces, created_at
           FROM task WHERE shop = $1 AND id = ANY ($2) ORDER BY id"#,
        shop,
        ids
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(TaskRow {
                id: row.id,
                order_id: row.order_id,
                vehicle: row.vehicle,
                definition: row.definition.0,
                place: row.place,
                because: row.because,
                lines: row.lines,
                state: TaskState::of_word(&row.state).ok_or(StoreError::Word(row.state))?,
                fence: row.fence,
                version: row.version,
                attempt: row.attempt,
                technician: row.technician,
                bay: row.bay,
                lease_until: row.lease_until,
                started_at: row.started_at,
                ended_at: row.ended_at,
                settled_at: row.settled_at,
                no_longer_needed: row.no_longer_needed,
                replaces: row.replaces,
                created_at: row.created_at,
            })
        })
        .collect()
}

/// A task as a draft of a catalogue is compared with.
#[derive(Debug, Clone)]
pub struct HeldRow {
    /// The order.
    pub order_id: Uuid,
    /// The procedure's name.
    pub procedure: String,
    /// Place on the vehicle; empty: none.
    pub place: String,
    /// Where it stands.
    pub state: TaskState,
    /// How often it was taken.
    pub attempt: i32,
    /// When it was started.
    pub started_at: Option<DateTime<Utc>>,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// What it does to the vehicle, once it was started.
    pub emits: Vec<Operation>,
}

impl From<&TaskRow> for HeldRow {
    fn from(task: &TaskRow) -> Self {
        Self {
            order_id: task.order_id,
            procedure: task.definition.id.clone(),
            place: task.place.clone(),
            state: task.state,
            attempt: task.attempt,
            started_at: task.started_at,
            ended_at: task.ended_at,
            emits: task.definition.emits.clone(),
        }
    }
}

/// The tasks of these orders, in no order, without what they say; definitions are large.
pub async fn held(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<HeldRow>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT order_id, procedure, place, state, attempt, started_at, ended_at,
                  CASE WHEN started_at IS NOT NULL THEN definition -> 'emits' END AS "emits: Json<Vec<Operation>>"
           FROM task WHERE shop = $1 AND order_id = ANY ($2)"#,
        shop,
        orders
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(HeldRow {
                order_id: row.order_id,
                procedure: row.procedure,
                place: row.place,
                state: TaskState::of_word(&row.state).ok_or(StoreError::Word(row.state))?,
                attempt: row.attempt,
                started_at: row.started_at,
                ended_at: row.ended_at,
                emits: row.emits.map(|emits| emits.0).unwrap_or_default(),
            })
        })
        .collect()
}

/// The order that a task belongs to.
pub async fn order_of(conn: &mut Conn, shop: Uuid, task: Uuid) -> Result<Option<Uuid>, StoreError> {
    Ok(sqlx::query_scalar!("SELECT order_id FROM task WHERE shop = $1 AND id = $2", shop, task)
        .fetch_optional(conn)
        .await?)
}

/// Which tasks a list shows.
#[derive(Debug, Clone, Default)]
pub struct TaskFilter {
    /// Only of this order.
    pub order: Option<Uuid>,
    /// Only in this state.
    pub state: Option<TaskState>,
    /// Only behind this id.
    pub after: Option<Uuid>,
}

/// A page of tasks as (id, order), oldest first.
pub async fn page(
    conn: &mut Conn,
    shop: Uuid,
    filter: &TaskFilter,
    limit: usize,
) -> Result<Vec<(Uuid, Uuid)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT id, order_id FROM task
         WHERE shop = $1 AND ($2::uuid IS NULL OR order_id = $2) AND ($3::text IS NULL OR state = $3)
           AND ($4::uuid IS NULL OR id > $4)
         ORDER BY id LIMIT $5",
        shop,
        filter.order,
        filter.state.map(TaskState::word),
        filter.after,
        i64::try_from(limit).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.order_id)).collect())
}

/// A node of the order's partial order: a task or a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// A task.
    Task(Uuid),
    /// The mechanical work of a line.
    Line(i32),
}

impl Node {
    /// The key under which the node is stored.
    pub fn key(self) -> String {
        match self {
            Self::Task(id) => id.to_string(),
            Self::Line(line) => format!("line {line}"),
        }
    }

    /// The task, if it is one.
    pub fn task(self) -> Option<Uuid> {
        if let Self::Task(id) = self { Some(id) } else { None }
    }

    /// The line, if it is one.
    pub fn line(self) -> Option<i32> {
        if let Self::Line(line) = self { Some(line) } else { None }
    }
}

/// Something that comes before something.
#[derive(Debug, Clone)]
pub struct PrecedenceRow {
    /// The order.
    pub order_id: Uuid,
    /// First this.
    pub before: Node,
    /// Then this.
    pub then: Node,
    /// Why: `phase`, `needs`, `after` or `disturbs`.
    pub kind: String,
}

/// Something that lies wholly before a service mode is entered or wholly after it is left.
#[derive(Debug, Clone)]
pub struct EitherOrRow {
    /// The order.
    pub order_id: Uuid,
    /// The task that enters.
    pub enter: Uuid,
    /// The task that leaves.
    pub leave: Uuid,
    /// What must not fall between.
    pub node: Node,
}

/// Replaces an order's partial order by a newly derived one.
pub async fn replace_precedence(
    conn: &mut Conn,
    shop: Uuid,
    order: Uuid,
    precedence: &[PrecedenceRow],
    either_or: &[EitherOrRow],
) -> Result<(), StoreError> {
    sqlx::query!("DELETE FROM precedence WHERE shop = $1 AND order_id = $2", shop, order)
        .execute(&mut *conn)
        .await?;
    sqlx::query!("DELETE FROM either_or WHERE shop = $1 AND order_id = $2", shop, order)
        .execute(&mut *conn)
        .await?;
    let column =
        |of: fn(&PrecedenceRow) -> Option<Uuid>| precedence.iter().map(of).collect::<Vec<_>>();
    sqlx::query!(
        "INSERT INTO precedence (shop, order_id, before_node, then_node, before_task, before_line, then_task, then_line,
             kind)
         SELECT $1, $2, * FROM unnest($3::text[], $4::text[], $5::uuid[], $6::int[], $7::uuid[], $8::int[], $9::text[])
         ON CONFLICT DO NOTHING",
        shop,
        order,
        &precedence.iter().map(|p| p.before.key()).collect::<Vec<_>>(),
        &precedence.iter().map(|p| p.then.key()).collect::<Vec<_>>(),
        &column(|p| p.before.task()) as &[Option<Uuid>],
        &precedence.iter().map(|p| p.before.line()).collect::<Vec<_>>() as &[Option<i32>],
        &column(|p| p.then.task()) as &[Option<Uuid>],
        &precedence.iter().map(|p| p.then.line()).collect::<Vec<_>>() as &[Option<i32>],
        &precedence.iter().map(|p| p.kind.clone()).collect::<Vec<_>>()
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO either_or (shop, order_id, enter_task, leave_task, node, node_task, node_line)
         SELECT $1, $2, * FROM unnest($3::uuid[], $4::uuid[], $5::text[], $6::uuid[], $7::int[])
         ON CONFLICT DO NOTHING",
        shop,
        order,
        &either_or.iter().map(|e| e.enter).collect::<Vec<_>>(),
        &either_or.iter().map(|e| e.leave).collect::<Vec<_>>(),
        &either_or.iter().map(|e| e.node.key()).collect::<Vec<_>>(),
        &either_or.iter().map(|e| e.node.task()).collect::<Vec<_>>() as &[Option<Uuid>],
        &either_or.iter().map(|e| e.node.line()).collect::<Vec<_>>() as &[Option<i32>]
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// What comes before what on these orders.
pub async fn precedence(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<PrecedenceRow>, StoreError> {
    let rows = sqlx::query!(
        "SELECT order_id, before_task, before_line, then_task, then_line, kind FROM precedence
         WHERE shop = $1 AND order_id = ANY ($2) ORDER BY order_id, before_node, then_node",
        shop,
        orders
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(PrecedenceRow {
                order_id: row.order_id,
                before: node(row.before_task, row.before_line)?,
                then: node(row.then_task, row.then_line)?,
                kind: row.kind,
            })
        })
        .collect()
}

/// What must not fall between entering and leaving a service mode on these orders.
pub async fn either_or(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<EitherOrRow>, StoreError> {
    let rows = sqlx::query!(
        "SELECT order_id, enter_task, leave_task, node_task, node_line FROM either_or
         WHERE shop = $1 AND order_id = ANY ($2) ORDER BY order_id, enter_task, node",
        shop,
        orders
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(EitherOrRow {
                order_id: row.order_id,
                enter: row.enter_task,
                leave: row.leave_task,
                node: node(row.node_task, row.node_line)?,
            })
        })
        .collect()
}

fn node(task: Option<Uuid>, line: Option<i32>) -> Result<Node, StoreError> {
    task.map(Node::Task)
        .or(line.map(Node::Line))
        .ok_or_else(|| StoreError::Word("an empty node".to_owned()))
}
