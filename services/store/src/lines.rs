//! Lines of orders.

use chrono::{DateTime, Utc};
use domain::lifecycle::LineState;
use domain::order::{Authorisation, LineOperation, OnHold, ReadLine, Sublet};
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A line.
#[derive(Debug, Clone, PartialEq)]
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
    pub on_hold: Option<OnHold>,
    /// Another business does the work.
    pub sublet: Option<Sublet>,
    /// What that business says of it.
    pub document: Option<DocumentRow>,
    /// The bay it is worked in.
    pub worked_in: Option<Uuid>,
    /// Who works on it.
    pub worked_by: Option<Uuid>,
    /// When work began.
    pub started_at: Option<DateTime<Utc>>,
    /// When work was done.
    pub finished_at: Option<DateTime<Utc>>,
}

/// What the business that a line was sublet to says of its work, without the file's bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct DocumentRow {
    /// Number or title.
    pub name: String,
    /// Media type of the file.
    pub media_type: String,
    /// SHA-256 of the file.
    pub sha256: Vec<u8>,
    /// Who looked at the work and at the document.
    pub attested_by: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// Adds a line, or changes it whole. Its document is added by [`keep_document`].
pub async fn put(conn: &mut Conn, shop: Uuid, line: &LineRow) -> Result<(), StoreError> {
    let authorisation = word(line.authorisation);
    sqlx::query!(
        "INSERT INTO line (shop, order_id, line, state, authorisation, text, labour_code, operations, reading, minutes,
             bay, skills, parts_expected_at, on_hold, worked_in, worked_by, started_at, finished_at, sublet)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)
         ON CONFLICT (shop, order_id, line) DO UPDATE SET state = $4, authorisation = $5, text = $6, labour_code = $7,
             operations = $8, reading = $9, minutes = $10, bay = $11, skills = $12, parts_expected_at = $13,
             on_hold = $14, worked_in = $15, worked_by = $16, started_at = $17, finished_at = $18, sublet = $19",
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
        line.on_hold.map(OnHold::word),
        line.worked_in,
        line.worked_by,
        line.started_at,
        line.finished_at,
        line.sublet.as_ref().map(Json) as _
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
        r#"SELECT l.order_id, l.line, l.state, l.authorisation, l.text, l.labour_code,
                  l.operations AS "operations: Json<Vec<LineOperation>>", l.reading AS "reading: Json<ReadLine>",
                  l.minutes, l.bay, l.skills, l.parts_expected_at, l.on_hold, l.worked_in, l.worked_by, l.started_at,
                  l.finished_at, l.sublet AS "sublet: Json<Sublet>", d.name AS "name?", d.media_type AS "media_type?",
                  d.sha256 AS "sha256?", d.attested_by AS "attested_by?", d.at AS "at?"
           FROM line l LEFT JOIN sublet_document d
             ON d.shop = l.shop AND d.order_id = l.order_id AND d.line = l.line
           WHERE l.shop = $1 AND l.order_id = ANY ($2) ORDER BY l.order_id, l.line"#,
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
                on_hold: match row.on_hold {
                    Some(word) => Some(OnHold::of_word(&word).ok_or(StoreError::Word(word))?),
                    None => None,
                },
                sublet: row.sublet.map(|sublet| sublet.0),
                document: document(row.name, row.media_type, row.sha256, row.attested_by, row.at),
                worked_in: row.worked_in,
                worked_by: row.worked_by,
                started_at: row.started_at,
                finished_at: row.finished_at,
            })
        })
        .collect()
}

/// Keeps the document of a sublet line, with the file.
pub async fn keep_document(
    conn: &mut Conn,
    shop: Uuid,
    of: (Uuid, i32),
    document: &DocumentRow,
    bytes: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO sublet_document (shop, order_id, line, name, media_type, sha256, bytes, attested_by, at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        shop,
        of.0,
        of.1,
        document.name,
        document.media_type,
        document.sha256,
        bytes,
        document.attested_by,
        document.at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Moves lines to an order that was split off from theirs.
pub async fn go_over(
    conn: &mut Conn,
    shop: Uuid,
    (from, into): (Uuid, Uuid),
    lines: &[i32],
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE line SET order_id = $3 WHERE shop = $1 AND order_id = $2 AND line = ANY ($4)",
        shop,
        from,
        into,
        lines
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "UPDATE sublet_document SET order_id = $3 WHERE shop = $1 AND order_id = $2 AND line = ANY ($4)",
        shop,
        from,
        into,
        lines
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The file of a line's document: media type and bytes.
pub async fn document_file(
    conn: &mut Conn,
    shop: Uuid,
    order: Uuid,
    line: i32,
) -> Result<Option<(String, Vec<u8>)>, StoreError> {
    let row = sqlx::query!(
        "SELECT media_type, bytes FROM sublet_document WHERE shop = $1 AND order_id = $2 AND line = $3",
        shop,
        order,
        line
    )
    .fetch_optional(conn)
    .await?;
    Ok(row.map(|row| (row.media_type, row.bytes)))
}

fn document(
    name: Option<String>,
    media_type: Option<String>,
    sha256: Option<Vec<u8>>,
    attested_by: Option<String>,
    at: Option<DateTime<Utc>>,
) -> Option<DocumentRow> {
    Some(DocumentRow {
        name: name?,
        media_type: media_type?,
        sha256: sha256?,
        attested_by: attested_by?,
        at: at?,
    })
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
