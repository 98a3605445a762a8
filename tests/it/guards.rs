//! PostgreSQL itself refuses what the service must never do, whoever writes the statement.

use serde_json::json;
use sqlx::{AssertSqlSafe, PgConnection};
use uuid::Uuid;

use crate::worker::{rear_pads, taken_in, task, yard};

/// SQLSTATE class 23, integrity constraint violation, as the guards raise it.
const GUARDED: &str = "23000";
const UNIQUE: &str = "23505";
const NOT_PERMITTED: &str = "42501";

/// Says which shops the connection serves.
async fn serve(conn: &mut PgConnection, shops: &[Uuid]) {
    let list: Vec<String> = shops.iter().map(Uuid::to_string).collect();
    let sql = format!("SET app.shops = '{{{}}}'", list.join(","));
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.expect("names the shops");
}

async fn refused(conn: &mut PgConnection, sql: &str, code: &str) {
    let error = sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.expect_err(sql);
    let found = error.as_database_error().and_then(|e| e.code().map(std::borrow::Cow::into_owned));
    assert_eq!(found.as_deref(), Some(code), "{sql}: {error}");
}

async fn touched(conn: &mut PgConnection, sql: &str) -> u64 {
    let done = sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await;
    done.expect("the statement is lawful").rows_affected()
}

#[tokio::test]
async fn a_task_goes_no_way_that_is_not_in_the_table_and_stays_what_it_is() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let opening = task(&order, "parking_brake_open_for_service").id;
    let closing = task(&order, "parking_brake_close_and_calibrate").id;
    let mut service = yard.shop.service_connection().await;
    serve(&mut service, &[yard.shop.id]).await;
    let of = |task: Uuid, set: &str| format!("UPDATE task SET {set} WHERE id = '{task}'");
    let passed = "state = 'passed', ended_at = now(), settled_at = now()";
    refused(&mut service, &of(closing, passed), GUARDED).await;
    refused(&mut service, &of(opening, passed), GUARDED).await;
    refused(&mut service, &of(opening, "state = 'disturbed'"), GUARDED).await;
    refused(&mut service, &of(opening, "definition = '{}'"), GUARDED).await;
    refused(&mut service, &of(opening, "fence = -1"), GUARDED).await;
    let taken = format!(
        "state = 'taken', technician = '{}', lease_until = now() + interval '1 hour'",
        yard.ada.id
    );
    refused(&mut service, &of(opening, &taken), GUARDED).await;
    let released = format!(
        "UPDATE repair_order SET state = 'released', released_at = now() WHERE id = '{}'",
        order.id
    );
    assert_eq!(touched(&mut service, &released).await, 1);
    let opened_again = format!(
        "UPDATE repair_order SET state = 'open', released_at = NULL WHERE id = '{}'",
        order.id
    );
    refused(&mut service, &opened_again, GUARDED).await;
}

#[tokio::test]
async fn of_two_tasks_on_one_vehicle_one_runs() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let running = yard.ada.begin(task(&order, "parking_brake_open_for_service").id).await;
    let mut service = yard.shop.service_connection().await;
    serve(&mut service, &[yard.shop.id]).await;
    let second = task(&order, "parking_brake_close_and_calibrate").id;
    assert_ne!(second, running.task.id);
    let step = |set: &str| format!("UPDATE task SET {set} WHERE id = '{second}'");
    assert_eq!(touched(&mut service, &step("state = 'ready'")).await, 1);
    let taken = format!(
        "state = 'taken', fence = 1, attempt = 1, technician = '{}', lease_until = now() + interval '1 hour'",
        yard.bo.id
    );
    assert_eq!(touched(&mut service, &step(&taken)).await, 1);
    refused(&mut service, &step("state = 'running', started_at = now()"), UNIQUE).await;
}

#[tokio::test]
async fn another_shops_rows_are_neither_seen_nor_written() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let other = yard.shop.beside("dockside").await;
    let mut service = yard.shop.service_connection().await;
    serve(&mut service, &[other.id]).await;
    let theirs = format!("UPDATE repair_order SET weight = 9 WHERE id = '{}'", order.id);
    assert_eq!(touched(&mut service, &theirs).await, 0, "it is not there");
    let smuggled = format!(
        "INSERT INTO bay (shop, id, name, capabilities) VALUES ('{}', gen_random_uuid(), 'x', '{{}}')",
        yard.shop.id
    );
    refused(&mut service, &smuggled, NOT_PERMITTED).await;
    let moved = format!("UPDATE bay SET shop = '{}' WHERE id = '{}'", other.id, yard.bay);
    serve(&mut service, &[yard.shop.id]).await;
    refused(&mut service, &moved, NOT_PERMITTED).await;
}

#[tokio::test]
async fn what_was_recorded_is_neither_changed_nor_deleted() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, "parking_brake_open_for_service").id).await;
    yard.ada.prepare(&held).await;
    yard.ada.act(&held, "return", json!({ "note": "no time" })).await.expect(200);
    let mut service = yard.shop.service_connection().await;
    serve(&mut service, &[yard.shop.id]).await;
    let sealed: i64 = loop {
        let sql = "SELECT count(*) FROM journal_entry WHERE position IS NOT NULL";
        match sqlx::query_scalar(sql).fetch_one(&mut service).await.expect("reads") {
            0 => tokio::time::sleep(std::time::Duration::from_millis(20)).await,
            some => break some,
        }
    };
    assert!(sealed > 0);
    refused(&mut service, "UPDATE journal_entry SET position = position + 1000", GUARDED).await;
    for forbidden in [
        "UPDATE journal_entry SET kind = 'nothing'",
        "DELETE FROM journal_entry",
        "TRUNCATE journal_entry CASCADE",
        "UPDATE evidence SET content = '{}'",
        "DELETE FROM evidence",
        "UPDATE acknowledgement SET by_person = 'somebody'",
        "DELETE FROM acknowledgement",
        "DELETE FROM attempt",
        "DELETE FROM waiver",
        "UPDATE journal_node SET hash = hash",
    ] {
        refused(&mut service, forbidden, NOT_PERMITTED).await;
    }
}
