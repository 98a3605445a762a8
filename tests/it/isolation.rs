//! Shops see nothing of each other, whatever a client, a statement or a second server tries.

use domain::lifecycle::TRANSITIONS;
use domain::role::Role;
use serde_json::json;
use sqlx::{AssertSqlSafe, PgConnection, Row as _};

use crate::harness;

#[tokio::test]
async fn another_shops_things_are_not_there() {
    let shop = harness::shop().await;
    let other = shop.beside("dockside").await;
    let bay = shop.bay("1", &["lift"]).await;
    let technician = shop.technician("Ada", &["general"]).await;
    let stranger = other.as_role(Role::Dispatcher);
    for path in [format!("/v1/bays/{bay}"), format!("/v1/technicians/{technician}")] {
        stranger.get(&path).await.expect_problem(404, "not-found");
        let named = if path.contains("bays") {
            json!({ "name": "x", "capabilities": [] })
        } else {
            json!({ "name": "x", "skills": [] })
        };
        stranger
            .with("if-match", "\"v1\"")
            .put(&path, named)
            .await
            .expect_problem(404, "not-found");
    }
    assert_eq!(stranger.get("/v1/bays").await.expect(200), json!({ "items": [] }));
    let mine = json!({ "bay": bay, "reason": "mine now" });
    stranger.post("/v1/absences", mine).await.expect_problem(422, "unprocessable");
    // The same name and the same idempotency key are free in another shop.
    let keyed = |shop: &harness::Shop| shop.as_role(Role::Dispatcher).with("idempotency-key", "k");
    let body = json!({ "name": "7", "capabilities": [] });
    let (first, second) = (
        keyed(&shop).post("/v1/bays", body.clone()).await,
        keyed(&other).post("/v1/bays", body).await,
    );
    assert_ne!(first.expect(201)["id"], second.expect(201)["id"]);
}

#[tokio::test]
async fn every_table_with_a_shop_begins_its_keys_with_it_and_forces_row_security() {
    let shop = harness::shop().await;
    let mut owner = shop.owner_connection().await;
    let tables = sqlx::query(
        "SELECT c.relname::text AS name, c.relrowsecurity AND c.relforcerowsecurity AS held,
             (SELECT a.attname::text FROM pg_index i
              JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]
              WHERE i.indrelid = c.oid AND i.indisprimary) AS first,
             EXISTS (SELECT FROM pg_attribute a WHERE a.attrelid = c.oid AND a.attname = 'shop') AS of_a_shop
         FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
         WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') ORDER BY 1",
    )
    .fetch_all(&mut owner)
    .await
    .expect("reads the catalogue");
    let mut of_no_shop = Vec::new();
    for table in &tables {
        let name: String = table.get("name");
        if table.get::<bool, _>("of_a_shop") {
            assert_eq!(table.get::<Option<String>, _>("first").as_deref(), Some("shop"), "{name}");
            assert!(table.get::<bool, _>("held"), "row security of {name}");
        } else {
            of_no_shop.push(name);
        }
    }
    assert!(tables.len() > 20);
    assert_eq!(of_no_shop, ["_sqlx_migrations", "service_clock", "shop", "transition"]);
}

#[tokio::test]
async fn the_service_role_sees_no_shop_that_it_does_not_name_and_rewrites_no_record() {
    let shop = harness::shop().await;
    shop.bay("1", &["lift"]).await;
    let mut service = shop.service_connection().await;
    for table in ["bay", "catalogue", "journal_entry", "shop"] {
        assert_eq!(count(&mut service, table).await, 0, "{table} without naming a shop");
    }
    let name = format!("SET app.shops = '{{{}}}'", shop.id);
    sqlx::raw_sql(AssertSqlSafe(name)).execute(&mut service).await.expect("names the shop");
    assert_eq!(count(&mut service, "bay").await, 1);
    assert!(count(&mut service, "journal_entry").await >= 2);
    for forbidden in [
        "UPDATE journal_entry SET bytes = ''",
        "UPDATE journal_entry SET at = at - interval '1 day'",
        "DELETE FROM journal_entry",
        "UPDATE checkpoint SET root = root",
        "DELETE FROM checkpoint",
        "DELETE FROM evidence",
        "UPDATE evidence SET taken_at = taken_at",
        "DELETE FROM attempt",
        "DELETE FROM task",
        "DELETE FROM repair_order",
        "UPDATE service_clock SET rate = 2",
        "INSERT INTO service_clock VALUES (true, now(), now(), 9)",
        "UPDATE transition SET to_state = 'passed'",
        "DELETE FROM shop",
        "ALTER TABLE bay DISABLE ROW LEVEL SECURITY",
        "CREATE TABLE mine (id int)",
    ] {
        let refused = sqlx::raw_sql(forbidden).execute(&mut service).await;
        let error = refused.expect_err(forbidden);
        let code =
            error.as_database_error().and_then(|e| e.code().map(std::borrow::Cow::into_owned));
        assert_eq!(code.as_deref(), Some("42501"), "{forbidden}: {error}");
    }
}

#[tokio::test]
async fn the_databases_transitions_are_those_of_the_domain() {
    let shop = harness::shop().await;
    let mut owner = shop.owner_connection().await;
    let rows = sqlx::query(
        "SELECT DISTINCT from_state::text AS f, to_state::text AS t FROM transition ORDER BY 1, 2",
    )
    .fetch_all(&mut owner)
    .await
    .expect("reads");
    let stored: Vec<(String, String)> =
        rows.iter().map(|row| (row.get("f"), row.get("t"))).collect();
    let word = |state| serde_json::to_value(state).ok().and_then(|v| v.as_str().map(str::to_owned));
    let mut known: Vec<(String, String)> = TRANSITIONS
        .iter()
        .map(|(from, _, to)| (word(from).expect("a word"), word(to).expect("a word")))
        .collect();
    known.sort();
    known.dedup();
    assert_eq!(stored, known);
}

async fn count(conn: &mut PgConnection, table: &str) -> i64 {
    let sql = format!("SELECT count(*) FROM {table}");
    sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(conn).await.expect("reads")
}
