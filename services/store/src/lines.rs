//! Lines of orders.

use chrono::{DateTime, Utc};
use domain::lifecycle::LineState;
use domain::order::{Authorisation, LineOperation, ReadLine};
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A line.
#[derive(Debug, Clone)]
pub struct LineRow {
    /// The order.
    pub order_id: Uuid,
    /// Its number.
    pub line: i32,
    /// Where it stands.
    pub state: LineState,
    /// Whether the customer agreed.
    pub authorisation: Authorisation,
    /// What it says.
    pub text: String,
    /// The shop's own labour code.
    pub labour_code: Option<String>,
    /// Operations as posted or answered.
    pub operations: Vec<LineOperation>,
    /// What was read from it.
    pub reading: ReadLine,
    /// Minutes of mechanical work.
    pub minutes: Option<i32>,
    /// Capabilities of the bay.
    pub bay: Option<Vec<String>>,
    /// Skills.
    pub skills: Option<Vec<String>>,
    /// When the parts come.
    pub parts_expected_at: Option<DateTime<Utc>>,
    /// What it waits for.
    pub on_hold: Option<String>,
    /// The bay it is worked in.
    pub worked_in: Option<Uuid>,
    /// Who works on it.
    pub worked_by: Option<Uuid>,
    /// When work began.
    pub started_at: Option<DateTime<Utc>>,
    /// When work was done.
    pub finished_at: Option<DateTime<Utc>>,
}

/// Adds a line, or changes it whole.
pub async fn put(conn: &mut Conn, shop: Uuid, line: &LineRow) -> Result<(), StoreError> {
    let authorisation = word(line.authorisation);
    sqlx::query!(
        "INSERT INTO line (shop, order_id, line, state, authorisation, text, labour_code, operations, reading, minutes,
             bay, skills, parts_expected_at, on_hold, worked_in, worked_by, started_at, finished_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
         ON CONFLICT (shop, order_id, line) DO UPDATE SET state = $4, authorisation = $5, text = $6, labour_code = $7,
             operations = $8, reading = $9, minutes = $10, bay = $11, skills = $12, parts_expected_at = $13,
             on_hold = $14, worked_in = $15, worked_by = $16, started_at = $17, finished_at = $18",
        shop,
        line.order_id,
        line.line,
        line.state.word(),
        authorisation,
        line.text,
        line.labour_code,
        Json(&line.operations) as _,
        Json(&line.reading) as _,
        line.minutes,
        line.bay.as_deref(),
        line.skills.as_deref(),
        line.parts_expected_at,
        line.on_hold,
        line.worked_in,
        line.worked_by,
        line.started_at,
        line.finished_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The lines of these orders, by order and number.
pub async fn load(
    conn: &mut Conn,
    shop: Uuid,
    orders: &[Uuid],
) -> Result<Vec<LineRow>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT order_id, line, state, authorisation, text, labour_code,
                  operations AS "operations: Json<Vec<LineOperation>>", reading AS "reading: Json<ReadLine>", minutes,
                  bay, skills, parts_expected_at, on_hold, worked_in, worked_by, started_at, finished_at
           FROM line WHERE shop = $1 AND order_id = ANY ($2) ORDER BY order_id, line"#,
        shop,
        orders
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(LineRow {
                order_id: row.order_id,
                line: row.line,
                state: LineState::of_word(&row.state).ok_or(StoreError::Word(row.state))?,
                authorisation: of_word(&row.authorisation)
                    .ok_or(StoreError::Word(row.authorisation))?,
                text: row.text,
                labour_code: row.labour_code,
                operations: row.operations.0,
                reading: row.reading.0,
                minutes: row.minutes,
                bay: row.bay,
                skills: row.skills,
                parts_expected_at: row.parts_expected_at,
                on_hold: row.on_hold,
                worked_in: row.worked_in,
                worked_by: row.worked_by,
                started_at: row.started_at,
                finished_at: row.finished_at,
            })
        })
        .collect()
}

fn word(authorisation: Authorisation) -> &'static str {
    match authorisation {
        Authorisation::Pending => "pending",
        Authorisation::Approved => "approved",
        Authorisation::Declined => "declined",
    }
}

fn of_word(text: &str) -> Option<Authorisation> {
    [Authorisation::Pending, Authorisation::Approved, Authorisation::Declined]
        .into_iter()
        .find(|a| word(*a) == text)
}
