//! The real service for a test: a database of its own, the application on a loopback port, duties running.
//!
//! One private PostgreSQL serves the whole process; `TEST_DATABASE_URL` names another server instead, as a role
//! `bayproof_owner` that may make databases, beside a role `bayproof_service` and a superuser `postgres` with the same
//! password or none.

mod client;
mod server;

use std::sync::Arc;

use api::auth::{AUDIENCE, Claims, ISSUER};
use domain::role::Role;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use uuid::Uuid;
use workflow::flow::Flow;

pub(crate) use client::{Answer, Client, answer};
use server::Server;

/// A shop on a running service. The service and its database end with the last of its shops.
#[derive(Clone)]
pub(crate) struct Shop {
    server: Arc<Server>,
    /// Its id.
    pub(crate) id: Uuid,
}

/// A fresh service with one shop that has the starter catalogue.
pub(crate) async fn shop() -> Shop {
    let server = Arc::new(Server::start().await);
    add(server, "harbour").await
}

/// Now, by real time, as tokens count it.
fn signed_in() -> i64 {
    let since = std::time::UNIX_EPOCH.elapsed().expect("after 1970");
    i64::try_from(since.as_secs()).expect("fits")
}

async fn add(server: Arc<Server>, name: &str) -> Shop {
    let db = store::Db::connect(&server.service_url, 2).await.expect("connects");
    let catalogue = derivation::starter::catalogue().expect("the starter catalogue is sound");
    let flow = Flow::new(db.clone());
    let added = workflow::shops::add(&flow, name, "America/New_York", &catalogue).await;
    let id = added.expect("adds a shop");
    db.close().await;
    Shop { server, id }
}

impl Shop {
    /// Another shop on the same service.
    pub(crate) async fn beside(&self, name: &str) -> Shop {
        add(Arc::clone(&self.server), name).await
    }

    /// The same shop on another service, with what a dump of the database restores.
    pub(crate) async fn restored(&self) -> Shop {
        Shop { server: Arc::new(self.server.start_restored().await), id: self.id }
    }

    /// A caller with this role. For a technician see [`Self::as_technician`].
    pub(crate) fn as_role(&self, role: Role) -> Client {
        self.client(&self.claims(role.word(), &[role], None))
    }

    /// A caller who is this technician.
    pub(crate) fn as_technician(&self, id: Uuid) -> Client {
        self.client(&self.claims(&id.to_string(), &[Role::Technician], Some(id)))
    }

    /// Claims that the service accepts.
    pub(crate) fn claims(&self, subject: &str, roles: &[Role], technician: Option<Uuid>) -> Claims {
        Claims {
            iss: ISSUER.to_owned(),
            aud: AUDIENCE.to_owned(),
            exp: 4_000_000_000,
            sub: subject.to_owned(),
            shop: self.id,
            roles: roles.iter().copied().collect(),
            technician,
            auth_time: Some(signed_in()),
        }
    }

    /// A caller with these claims, signed with the service's key.
    pub(crate) fn client(&self, claims: &Claims) -> Client {
        self.with_token(&self.server.keys.write(claims).expect("signs"))
    }

    /// A caller with this token, whatever it is.
    pub(crate) fn with_token(&self, token: &str) -> Client {
        Client::new(&self.server.base, token)
    }

    /// Where the service listens, such as `http://127.0.0.1:40123`.
    pub(crate) fn base(&self) -> &str {
        &self.server.base
    }

    /// Moves the service's clock ahead.
    pub(crate) async fn advance(&self, seconds: i64) {
        self.owner_sql(&format!(
            "INSERT INTO service_clock (real_anchor, shown_anchor, rate)
             SELECT at, service_now() + interval '{seconds} seconds', 1 FROM clock_timestamp() AS at
             ON CONFLICT (only_row) DO UPDATE
             SET real_anchor = excluded.real_anchor, shown_anchor = excluded.shown_anchor"
        ))
        .await;
    }

    /// Sets the service's clock, for example `2026-11-02T08:00:00Z`; it goes on from there.
    pub(crate) async fn set_clock(&self, moment: &str) {
        self.owner_sql(&format!(
            "INSERT INTO service_clock (real_anchor, shown_anchor, rate)
             VALUES (clock_timestamp(), '{moment}', 1) ON CONFLICT (only_row) DO UPDATE
             SET real_anchor = excluded.real_anchor, shown_anchor = excluded.shown_anchor"
        ))
        .await;
    }

    /// The service's database, for a second server beside it.
    pub(crate) fn service_url(&self) -> String {
        self.server.service_url.clone()
    }

    /// A connection as the service role, which row security holds back.
    pub(crate) async fn service_connection(&self) -> PgConnection {
        PgConnection::connect(&self.server.service_url).await.expect("connects")
    }

    /// A connection as the owner role.
    pub(crate) async fn owner_connection(&self) -> PgConnection {
        PgConnection::connect(&self.server.owner_url).await.expect("connects")
    }

    /// Runs a statement as the owner role, with this shop named to row security.
    pub(crate) async fn owner_sql(&self, sql: &str) {
        let mut owner = self.owner_connection().await;
        let named = format!("SET app.shops = '{{{}}}'; {sql}", self.id);
        sqlx::raw_sql(AssertSqlSafe(named)).execute(&mut owner).await.expect("the owner may");
        owner.close().await.expect("closes");
    }

    /// Adds a bay and gives its id.
    pub(crate) async fn bay(&self, name: &str, capabilities: &[&str]) -> Uuid {
        self.made("/v1/bays", json!({ "name": name, "capabilities": capabilities })).await
    }

    /// Adds a technician and gives their id.
    pub(crate) async fn technician(&self, name: &str, skills: &[&str]) -> Uuid {
        self.made("/v1/technicians", json!({ "name": name, "skills": skills })).await
    }

    /// Adds a unit of equipment and gives its id.
    pub(crate) async fn equipment(&self, name: &str, kind: &str) -> Uuid {
        self.made("/v1/equipment", json!({ "name": name, "kind": kind })).await
    }

    /// Adds a shift of this technician and gives its id: first occurrence in local time, minutes, RRULE.
    pub(crate) async fn shift(
        &self,
        technician: Uuid,
        starts: &str,
        minutes: i32,
        rule: &str,
    ) -> Uuid {
        let body = json!({ "technician": technician, "starts_local": starts, "minutes": minutes, "rrule": rule });
        self.made("/v1/shifts", body).await
    }

    async fn made(&self, path: &str, body: Value) -> Uuid {
        let answer = self.as_role(Role::Dispatcher).post(path, body).await;
        answer.expect(201)["id"].as_str().and_then(|id| id.parse().ok()).expect("has an id")
    }
}
