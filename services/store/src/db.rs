//! The pool, and how transactions begin.

use std::fmt::Write as _;
use std::time::Duration;

use chrono::{DateTime, Utc};
use sqlx::migrate::Migrator;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{AssertSqlSafe, ConnectOptions as _};
use uuid::Uuid;

use crate::StoreError;

/// One connection; a [`Tx`] derefs to it.
pub type Conn = sqlx::PgConnection;
/// A transaction. Dropping it without [`commit`] rolls it back.
pub type Tx = sqlx::Transaction<'static, sqlx::Postgres>;

/// The migrations, embedded.
pub static MIGRATOR: Migrator = sqlx::migrate!("../../migrations");

/// The database, as the service role.
#[derive(Clone, Debug)]
pub struct Db(sqlx::PgPool);

impl Db {
    /// Connects as the service role, without migrating. A session that idles inside a transaction is ended after
    /// 30 s and a statement after 60 s, so that nothing holds back the whole database. No statement is worth compiling:
    /// where a plan expects it to be, it takes longer than the statement.
    pub async fn connect(url: &str, connections: u32) -> Result<Self, StoreError> {
        let options: PgConnectOptions = url.parse()?;
        let options = options
            .options([
                ("idle_in_transaction_session_timeout", "30s"),
                ("statement_timeout", "60s"),
                ("jit", "off"),
            ])
            .application_name("bayproof");
        let pool = PgPoolOptions::new()
            .max_connections(connections)
            .acquire_timeout(Duration::from_secs(10))
            .connect_with(options)
            .await?;
        Ok(Self(pool))
    }

    /// Applies the missing migrations, as the owner role.
    pub async fn migrate(owner_url: &str) -> Result<(), StoreError> {
        let options: PgConnectOptions = owner_url.parse()?;
        let mut conn = options.connect().await?;
        MIGRATOR.run_direct(None, &mut conn, false).await.map_err(sqlx::Error::from)?;
        Ok(())
    }

    /// Lets the service's clock go on at another pace from what it shows now, as the owner role; 1 is real time. For
    /// demonstrations: the clock never goes back.
    pub async fn set_pace(owner_url: &str, rate: f64) -> Result<(), StoreError> {
        let options: PgConnectOptions = owner_url.parse()?;
        let mut conn = options.connect().await?;
        sqlx::query(
            "INSERT INTO service_clock (real_anchor, shown_anchor, rate)
             SELECT at, service_now(), $1 FROM clock_timestamp() AS at
             ON CONFLICT (only_row) DO UPDATE SET real_anchor = excluded.real_anchor,
                 shown_anchor = excluded.shown_anchor, rate = excluded.rate",
        )
        .bind(rate)
        .execute(&mut conn)
        .await?;
        Ok(())
    }

    /// Begins a transaction that serves these shops, for a step that writes.
    pub async fn begin(&self, shops: &[Uuid]) -> Result<Tx, StoreError> {
        self.begin_as("BEGIN", shops).await
    }

    /// Begins a transaction that reads one state of these shops.
    pub async fn begin_reading(&self, shops: &[Uuid]) -> Result<Tx, StoreError> {
        self.begin_as("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", shops).await
    }

    async fn begin_as(&self, begin: &str, shops: &[Uuid]) -> Result<Tx, StoreError> {
        // One round trip; ids are the only thing in the text.
        let mut sql = format!("{begin}; SELECT set_config('app.shops', '{{");
        for (at, shop) in shops.iter().enumerate() {
            let comma = if at == 0 { "" } else { "," };
            write!(sql, "{comma}{shop}").map_err(|_| StoreError::Text)?;
        }
        sql.push_str("}', true)");
        Ok(self.0.begin_with(AssertSqlSafe(sql)).await?)
    }

    /// Whether the database answers, and whether this role is held back by row security as it must be.
    pub async fn ready(&self) -> Result<Readiness, StoreError> {
        let row = sqlx::query!(
            r#"SELECT (r.rolsuper OR r.rolbypassrls OR EXISTS (
                   SELECT FROM pg_class c WHERE c.relname = 'repair_order' AND c.relowner = r.oid)) AS "too_strong!"
               FROM pg_roles r WHERE r.rolname = current_user"#
        )
        .fetch_one(&self.0)
        .await?;
        Ok(Readiness { role_too_strong: row.too_strong })
    }

    /// Waits for every connection to come back, then closes them.
    pub async fn close(&self) {
        self.0.close().await;
    }
}

/// What [`Db::ready`] found.
#[derive(Debug, Clone, Copy)]
pub struct Readiness {
    /// The role owns the tables or passes by row security; the service refuses to run as it.
    pub role_too_strong: bool,
}

/// Commits. A function so that callers need not name `sqlx`.
pub async fn commit(tx: Tx) -> Result<(), StoreError> {
    Ok(tx.commit().await?)
}

/// Takes back what the transaction did.
pub async fn roll_back(tx: Tx) -> Result<(), StoreError> {
    Ok(tx.rollback().await?)
}

/// When something is done and who does it.
#[derive(Debug, Clone)]
pub struct Moment {
    /// The one clock, in microseconds.
    pub now: DateTime<Utc>,
    /// The technician's name and salt, while they are here.
    pub person: Option<(String, Vec<u8>)>,
}

/// The present moment, with the technician of a shop who does something. Read it after the locks of a transaction.
pub async fn moment(
    conn: &mut Conn,
    technician: Option<(Uuid, Uuid)>,
) -> Result<Moment, StoreError> {
    let (shop, technician) = technician.unzip();
    let row = sqlx::query!(
        r#"SELECT service_now() AS "now!", t.name AS "name?", t.salt AS "salt?"
           FROM (VALUES (1)) AS one LEFT JOIN technician t ON t.shop = $1 AND t.id = $2 AND NOT t.retired"#,
        shop,
        technician
    )
    .fetch_one(conn)
    .await?;
    Ok(Moment { now: row.now, person: row.name.zip(row.salt) })
}
