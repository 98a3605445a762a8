//! Attempts at tasks, acknowledgements, evidence and attachments.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// An attempt.
#[derive(Debug, Clone)]
pub struct AttemptRow {
    /// The task.
    pub task: Uuid,
    /// Its number, from 1.
    pub number: i32,
    /// The fence that it began with.
    pub fence: i64,
    /// Who.
    pub technician: Uuid,
    /// Where.
    pub bay: Option<Uuid>,
    /// Units of equipment, as a JSON list of ids.
    pub equipment: Value,
    /// When it was taken.
    pub taken_at: DateTime<Utc>,
    /// When it was started.
    pub started_at: Option<DateTime<Utc>>,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// How it ended.
    pub outcome: Option<String>,
    /// Verdicts at start and end, notes, as JSON.
    pub detail: Value,
}

/// Adds an attempt.
pub async fn insert(conn: &mut Conn, shop: Uuid, attempt: &AttemptRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO attempt (shop, task, number, fence, technician, bay, equipment, taken_at, detail)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        shop,
        attempt.task,
        attempt.number,
        attempt.fence,
        attempt.technician,
        attempt.bay,
        attempt.equipment,
        attempt.taken_at,
        attempt.detail
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Changes an attempt that has not ended; `false`: it has.
pub async fn update(conn: &mut Conn, shop: Uuid, attempt: &AttemptRow) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE attempt SET technician = $4, bay = $5, equipment = $6, started_at = $7, ended_at = $8, outcome = $9,
             detail = $10
         WHERE shop = $1 AND task = $2 AND number = $3 AND (outcome IS NULL OR outcome = 'interrupted')",
        shop,
        attempt.task,
        attempt.number,
        attempt.technician,
        attempt.bay,
        attempt.equipment,
        attempt.started_at,
        attempt.ended_at,
        attempt.outcome,
        attempt.detail
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The attempts at these tasks, by task and number.
pub async fn load(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<AttemptRow>, StoreError> {
    Ok(sqlx::query_as!(
        AttemptRow,
        "SELECT task, number, fence, technician, bay, equipment, taken_at, started_at, ended_at, outcome, detail
         FROM attempt WHERE shop = $1 AND task = ANY ($2) ORDER BY task, number",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}

/// A caution that was acknowledged.
#[derive(Debug, Clone)]
pub struct AcknowledgementRow {
    /// The task.
    pub task: Uuid,
    /// The attempt.
    pub attempt: i32,
    /// The caution's name.
    pub caution: String,
    /// Who.
    pub by_person: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// Acknowledges cautions; one that was acknowledged before stays as it was.
pub async fn acknowledge(
    conn: &mut Conn,
    shop: Uuid,
    task: Uuid,
    attempt: i32,
    cautions: &[String],
    by: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO acknowledgement (shop, task, attempt, caution, by_person, at)
         SELECT $1, $2, $3, caution, $5, $6 FROM unnest($4::text[]) AS caution ON CONFLICT DO NOTHING",
        shop,
        task,
        attempt,
        cautions,
        by,
        at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// What was acknowledged on these tasks.
pub async fn acknowledgements(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<AcknowledgementRow>, StoreError> {
    Ok(sqlx::query_as!(
        AcknowledgementRow,
        "SELECT task, attempt, caution, by_person, at FROM acknowledgement
         WHERE shop = $1 AND task = ANY ($2) ORDER BY task, attempt, caution",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}

/// An item of evidence.
#[derive(Debug, Clone)]
pub struct EvidenceRow {
    /// Its id.
    pub id: Uuid,
    /// The task.
    pub task: Uuid,
    /// The attempt.
    pub attempt: i32,
    /// `reading`, `frame`, `attestation` or `attachment`.
    pub kind: String,
    /// As it was posted, without an attachment's bytes.
    pub given: Value,
    /// What it says, as a JSON list of samples.
    pub content: Value,
    /// What its readings are of, when it holds nothing else; otherwise empty.
    pub series: String,
    /// What speaks against it.
    pub marks: Vec<String>,
    /// When it counts as taken.
    pub taken_at: DateTime<Utc>,
    /// When it was received.
    pub received_at: DateTime<Utc>,
    /// Who saw it.
    pub observed_by: String,
    /// Who sent it.
    pub entered_by: String,
    /// The program it was sent with.
    pub client: Option<String>,
    /// What it was entered on.
    pub device: Option<String>,
}

/// Stores evidence, all of it in one statement.
pub async fn insert_evidence(
    conn: &mut Conn,
    shop: Uuid,
    rows: &[EvidenceRow],
) -> Result<(), StoreError> {
    // A list of lists does not go through `unnest`; marks travel as one text, joined by blanks.
    sqlx::query!(
        "INSERT INTO evidence (shop, id, task, attempt, kind, given, content, marks, taken_at, received_at,
             observed_by, entered_by, client, series, device)
         SELECT $1, id, task, attempt, kind, given, content, string_to_array(marks, ' '), taken_at,
             received_at, observed_by, entered_by, client, series, device
         FROM unnest($2::uuid[], $3::uuid[], $4::int[], $5::text[], $6::jsonb[], $7::jsonb[], $8::text[],
             $9::timestamptz[], $10::timestamptz[], $11::text[], $12::text[], $13::text[], $14::text[],
             $15::text[])
             AS t(id, task, attempt, kind, given, content, marks, taken_at, received_at, observed_by, entered_by,
                  client, series, device)",
        shop,
        &rows.iter().map(|r| r.id).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.task).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.attempt).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.kind.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.given.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.content.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.marks.join(" ")).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.taken_at).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.received_at).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.observed_by.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.entered_by.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.client.clone()).collect::<Vec<_>>() as &[Option<String>],
        &rows.iter().map(|r| r.series.clone()).collect::<Vec<_>>(),
        &rows.iter().map(|r| r.device.clone()).collect::<Vec<_>>() as &[Option<String>]
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The evidence of these tasks, in the order of its ids.
pub async fn evidence(
    conn: &mut Conn,
    shop: Uuid,
    tasks: &[Uuid],
) -> Result<Vec<EvidenceRow>, StoreError> {
    Ok(sqlx::query_as!(
        EvidenceRow,
        "SELECT id, task, attempt, kind, given, content, series, marks, taken_at, received_at, observed_by, entered_by,
             client, device
         FROM evidence WHERE shop = $1 AND task = ANY ($2) ORDER BY task, attempt, id",
        shop,
        tasks
    )
    .fetch_all(conn)
    .await?)
}

/// Which evidence of an attempt is needed.
#[derive(Debug, Clone, Copy)]
pub struct Needed {
    /// The task.
    pub task: Uuid,
    /// The attempt.
    pub attempt: i32,
    /// Readings from then on, and the last of each series before.
    pub since: DateTime<Utc>,
}

/// What the evidence of these attempts says, as far as it is needed: task and samples.
pub async fn recent(
    conn: &mut Conn,
    shop: Uuid,
    needed: &[Needed],
) -> Result<Vec<(Uuid, Value)>, StoreError> {
    // From one series to the next through the key, so that the cost does not grow with the rows between. OFFSET keeps the
    // parts apart: joined, they are done by reading all of the shop's evidence until statistics know better.
    let rows = sqlx::query!(
        r#"WITH RECURSIVE needed AS (
               SELECT * FROM unnest($2::uuid[], $3::int[], $4::timestamptz[]) AS t(task, attempt, since)
           ), of AS (
               SELECT n.task, n.attempt, n.since, ''::text COLLATE "C" AS series FROM needed n
               UNION ALL
               SELECT o.task, o.attempt, o.since, next.series FROM of o CROSS JOIN LATERAL (
                   SELECT e.series FROM evidence e
                   WHERE e.shop = $1 AND e.task = o.task AND e.attempt = o.attempt AND e.series > o.series
                   ORDER BY e.series LIMIT 1) next
           )
           SELECT r.task AS "task!", r.content AS "content!" FROM of o CROSS JOIN LATERAL (
               SELECT e.task, e.content FROM evidence e
               WHERE e.shop = $1 AND e.task = o.task AND e.attempt = o.attempt AND e.series = o.series
                   AND e.taken_at >= CASE o.series WHEN '' THEN '-infinity' ELSE o.since END OFFSET 0) r
           UNION ALL
           SELECT l.task, l.content FROM of o CROSS JOIN LATERAL (
               SELECT e.task, e.content FROM evidence e
               WHERE e.shop = $1 AND e.task = o.task AND e.attempt = o.attempt AND e.series = o.series
                   AND e.taken_at < o.since
               ORDER BY e.taken_at DESC FETCH FIRST 1 ROW WITH TIES) l
           WHERE o.series <> ''"#,
        shop,
        &needed.iter().map(|n| n.task).collect::<Vec<_>>(),
        &needed.iter().map(|n| n.attempt).collect::<Vec<_>>(),
        &needed.iter().map(|n| n.since).collect::<Vec<_>>()
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| (row.task, row.content)).collect())
}

/// The file of an attachment.
#[derive(Debug, Clone)]
pub struct FileRow {
    /// The task and the number of the attempt that its evidence belongs to.
    pub of: (Uuid, i32),
    /// The evidence that it belongs to.
    pub evidence: Uuid,
    /// Its media type.
    pub media_type: String,
    /// SHA-256 of its bytes.
    pub sha256: Vec<u8>,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Stores files, all of them in one statement.
pub async fn insert_files(
    conn: &mut Conn,
    shop: Uuid,
    files: &[FileRow],
) -> Result<(), StoreError> {
    if files.is_empty() {
        return Ok(());
    }
    sqlx::query!(
        "INSERT INTO attachment (shop, task, attempt, evidence, media_type, sha256, bytes)
         SELECT $1, * FROM unnest($2::uuid[], $3::int[], $4::uuid[], $5::text[], $6::bytea[], $7::bytea[])",
        shop,
        &files.iter().map(|f| f.of.0).collect::<Vec<_>>(),
        &files.iter().map(|f| f.of.1).collect::<Vec<_>>(),
        &files.iter().map(|f| f.evidence).collect::<Vec<_>>(),
        &files.iter().map(|f| f.media_type.clone()).collect::<Vec<_>>(),
        &files.iter().map(|f| f.sha256.as_slice()).collect::<Vec<_>>() as &[&[u8]],
        &files.iter().map(|f| f.bytes.as_slice()).collect::<Vec<_>>() as &[&[u8]]
    )
    .execute(conn)
    .await?;
    Ok(())
}
