//! The shop's own phrases and labour codes.

use domain::order::LineOperation;
use sqlx::types::Json;
use uuid::Uuid;

use crate::{Conn, StoreError};

/// A phrase or labour code, and what the shop means by it.
#[derive(Debug, Clone, PartialEq)]
pub struct LabourWordRow {
    /// The phrase or code, in the form in which it is kept.
    pub phrase: String,
    /// What it means; none: it needs nothing.
    pub operations: Json<Vec<LineOperation>>,
    /// The order whose answer taught it.
    pub learnt_from: Option<Uuid>,
}

/// A mark that is another one after every change of the shop's words.
pub async fn mark(conn: &mut Conn, shop: Uuid) -> Result<Uuid, StoreError> {
    Ok(sqlx::query_scalar!("SELECT words_mark FROM shop WHERE id = $1", shop)
        .fetch_one(conn)
        .await?)
}

/// Every word, by phrase.
pub async fn every(conn: &mut Conn, shop: Uuid) -> Result<Vec<LabourWordRow>, StoreError> {
    Ok(sqlx::query_as!(
        LabourWordRow,
        r#"SELECT phrase, operations AS "operations: Json<Vec<LineOperation>>", learnt_from FROM labour_word
           WHERE shop = $1 ORDER BY phrase"#,
        shop
    )
    .fetch_all(conn)
    .await?)
}

/// A page of words behind a phrase, in the order of their bytes.
pub async fn page(
    conn: &mut Conn,
    shop: Uuid,
    after: &str,
    limit: usize,
) -> Result<Vec<LabourWordRow>, StoreError> {
    Ok(sqlx::query_as!(
        LabourWordRow,
        r#"SELECT phrase, operations AS "operations: Json<Vec<LineOperation>>", learnt_from FROM labour_word
           WHERE shop = $1 AND phrase COLLATE "C" > $2 ORDER BY phrase COLLATE "C" LIMIT $3"#,
        shop,
        after,
        i64::try_from(limit).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?)
}

/// One word.
pub async fn find(
    conn: &mut Conn,
    shop: Uuid,
    phrase: &str,
) -> Result<Option<LabourWordRow>, StoreError> {
    Ok(sqlx::query_as!(
        LabourWordRow,
        r#"SELECT phrase, operations AS "operations: Json<Vec<LineOperation>>", learnt_from FROM labour_word
           WHERE shop = $1 AND phrase = $2"#,
        shop,
        phrase
    )
    .fetch_optional(conn)
    .await?)
}

/// Keeps a word, in place of what it meant before.
pub async fn put(conn: &mut Conn, shop: Uuid, row: &LabourWordRow) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO labour_word (shop, phrase, operations, learnt_from) VALUES ($1, $2, $3, $4)
         ON CONFLICT (shop, phrase) DO UPDATE SET operations = $3, learnt_from = $4",
        shop,
        row.phrase,
        &row.operations as _,
        row.learnt_from
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Forgets a word; `false`: there was none.
pub async fn remove(conn: &mut Conn, shop: Uuid, phrase: &str) -> Result<bool, StoreError> {
    let done =
        sqlx::query!("DELETE FROM labour_word WHERE shop = $1 AND phrase = $2", shop, phrase)
            .execute(conn)
            .await?;
    Ok(done.rows_affected() == 1)
}
