//! Every guard of the database, tried with direct SQL as the role that the service works as.

use std::collections::BTreeMap;

use domain::lifecycle::{TRANSITIONS, TaskState};
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

use crate::worker::{Yard, rear_pads, taken_in, task, yard};

/// SQLSTATE class 23, integrity constraint violation, as the guards raise it.
const GUARDED: &str = "23000";
const CHECK: &str = "23514";
const UNIQUE: &str = "23505";
const NOT_PERMITTED: &str = "42501";

/// A service-role connection inside a transaction, on a shop with an order.
struct Bench {
    // Closed before the yard goes, with its database.
    conn: PgConnection,
    yard: Yard,
    order: Uuid,
    /// A task of the order, from which others are copied.
    task: Uuid,
}

impl Bench {
    async fn new() -> Self {
        let yard = yard().await;
        let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
        let mut conn = yard.shop.service_connection().await;
        let named = format!("SET app.shops = '{{{}}}'", yard.shop.id);
        sqlx::raw_sql(AssertSqlSafe(named)).execute(&mut conn).await.expect("names the shop");
        let task = task(&order, "parking_brake_open_for_service").id;
        Self { order: order.id, task, yard, conn }
    }

    async fn run(&mut self, sql: &str) -> Result<u64, (String, String)> {
        match sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(&mut self.conn).await {
            Ok(done) => Ok(done.rows_affected()),
            Err(error) => {
                let found = error.as_database_error().expect("the database says it");
                let code = found.code().map(std::borrow::Cow::into_owned).unwrap_or_default();
                Err((code, found.message().to_owned()))
            }
        }
    }

    #[track_caller]
    fn done<T: std::fmt::Debug>(sql: &str, ran: Result<T, (String, String)>) -> T {
        ran.unwrap_or_else(|error| panic!("{sql}: {error:?}"))
    }

    async fn does(&mut self, sql: &str) {
        let ran = self.run(sql).await;
        Self::done(sql, ran);
    }

    /// Tries a statement and takes it back.
    async fn tried(&mut self, sql: &str) -> Result<u64, (String, String)> {
        self.does("SAVEPOINT tried").await;
        let ran = self.run(sql).await;
        self.does("ROLLBACK TO tried").await;
        ran
    }

    async fn refused(&mut self, sql: &str, code: &str) {
        let (found, words) = self.tried(sql).await.expect_err(sql);
        assert_eq!(found, code, "{sql}: {words}");
    }

    async fn allowed(&mut self, sql: &str) {
        let ran = self.tried(sql).await;
        assert_eq!(Self::done(sql, ran), 1, "{sql} changes one row");
    }

    /// A new task beside the order's own.
    async fn add_task(&mut self) -> Uuid {
        let id = Uuid::new_v4();
        let sql = format!(
            "INSERT INTO task (shop, id, order_id, vehicle, procedure, place, definition, because, lines, state,
                 created_at)
             SELECT shop, '{id}', order_id, vehicle, procedure, '{id}', definition, because, lines, 'waiting', now()
             FROM task WHERE id = '{}'",
            self.task
        );
        self.does(&sql).await;
        id
    }

    /// The statements that bring a task into a state, with what the state needs.
    fn step(&self, task: Uuid, to: TaskState) -> Vec<String> {
        let (shop, ada) = (self.yard.shop.id, self.yard.ada.id);
        let set = |set: &str| {
            format!("UPDATE task SET state = '{}', {set} WHERE id = '{task}'", to.word())
        };
        match to {
            TaskState::Taken => vec![
                set(&format!(
                    "fence = fence + 1, attempt = attempt + 1, technician = '{ada}',
                     lease_until = now() + interval '1 hour'"
                )),
                format!(
                    "INSERT INTO attempt (shop, task, number, fence, technician, taken_at)
                     SELECT '{shop}', id, attempt, fence, technician, now() FROM task WHERE id = '{task}'
                     ON CONFLICT DO NOTHING"
                ),
            ],
            TaskState::Running => vec![set(&format!(
                "fence = fence + 1, technician = '{ada}', started_at = now(),
                 lease_until = now() + interval '1 hour'"
            ))],
            TaskState::Passed => {
                vec![set("lease_until = NULL, ended_at = now(), settled_at = now()")]
            }
            TaskState::Waived => vec![
                format!(
                    "INSERT INTO waiver (shop, id, task, reason, people, given_by, given_at)
                     VALUES ('{shop}', gen_random_uuid(), '{task}', 'declined', 1, 'dispatcher', now())
                     ON CONFLICT DO NOTHING"
                ),
                set("lease_until = NULL"),
            ],
            _ => vec![set("lease_until = NULL")],
        }
    }

    /// The duty gives every entry its place in the tree soon after it was written.
    async fn wait_until_sealed(&mut self) {
        for _ in 0..200 {
            let open = "SELECT count(*) FROM journal_entry WHERE position IS NOT NULL";
            let sealed: i64 =
                sqlx::query_scalar(open).fetch_one(&mut self.conn).await.expect("reads");
            if sealed > 0 {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        panic!("nothing was sealed");
    }

    async fn bring(&mut self, task: Uuid, to: TaskState) {
        for state in way_to(to) {
            for sql in self.step(task, state) {
                self.does(&sql).await;
            }
        }
    }
}

/// The shortest way from waiting to a state by the table.
fn way_to(to: TaskState) -> Vec<TaskState> {
    let mut ways = BTreeMap::from([(TaskState::Waiting, Vec::new())]);
    while !ways.contains_key(&to) {
        for (from, _, next) in TRANSITIONS {
            if let Some(way) = ways.get(from).cloned()
                && !ways.contains_key(next)
            {
                ways.insert(*next, way.into_iter().chain([*next]).collect());
            }
        }
    }
    ways[&to].clone()
}

#[tokio::test]
async fn a_task_goes_every_way_of_the_table_and_no_other() {
    let mut bench = Bench::new().await;
    for from in TaskState::ALL {
        bench.does("BEGIN").await;
        let task = bench.add_task().await;
        bench.bring(task, from).await;
        for to in TaskState::ALL.into_iter().filter(|to| *to != from) {
            let steps = bench.step(task, to);
            let (update, needs) = match steps.as_slice() {
                [needs, update] if needs.starts_with("INSERT") => (update, Some(needs)),
                [update, ..] => (update, None),
                [] => unreachable!("a step has statements"),
            };
            bench.does("SAVEPOINT way").await;
            if let Some(needs) = needs {
                bench.does(needs).await;
            }
            if TRANSITIONS.iter().any(|(f, _, t)| (*f, *t) == (from, to)) {
                bench.allowed(update).await;
            } else {
                let (code, words) = bench.tried(update).await.expect_err(update);
                assert_eq!(code, GUARDED, "{from:?} to {to:?}: {words}");
                assert!(words.contains("no way from"), "{words}");
            }
            bench.does("ROLLBACK TO way").await;
        }
        bench.does("ROLLBACK").await;
    }
}

#[tokio::test]
async fn the_tables_of_events_are_the_same() {
    let yard = yard().await;
    let mut owner = yard.shop.owner_connection().await;
    let rows = sqlx::query("SELECT from_state, event, to_state FROM transition");
    let rows = rows.fetch_all(&mut owner).await.expect("reads");
    let mut stored: Vec<(String, String, String)> =
        rows.iter().map(|row| (row.get(0), row.get(1), row.get(2))).collect();
    let word = |(from, event, to): &(TaskState, domain::lifecycle::TaskEvent, TaskState)| {
        (from.word().to_owned(), event.word().to_owned(), to.word().to_owned())
    };
    let mut known: Vec<(String, String, String)> = TRANSITIONS.iter().map(word).collect();
    stored.sort();
    known.sort();
    assert_eq!(stored, known);
}

#[tokio::test]
async fn a_lease_is_never_given_resumed_or_passed_on_under_an_old_fence() {
    let mut bench = Bench::new().await;
    let bo = bench.yard.bo.id;
    bench.does("BEGIN").await;
    let task = bench.add_task().await;
    let of = |set: &str| format!("UPDATE task SET {set} WHERE id = '{task}'");
    let lease = format!("technician = '{bo}', lease_until = now() + interval '1 hour'");
    bench.bring(task, TaskState::Ready).await;
    bench.refused(&of(&format!("state = 'taken', attempt = 1, {lease}")), GUARDED).await;
    bench.allowed(&of(&format!("state = 'taken', attempt = 1, fence = 1, {lease}"))).await;
    bench.does("ROLLBACK; BEGIN").await;

    let task = bench.add_task().await;
    let of = |set: &str| format!("UPDATE task SET {set} WHERE id = '{task}'");
    bench.bring(task, TaskState::Taken).await;
    for backwards in ["fence = fence - 1", "attempt = attempt - 1", "fence = -1"] {
        bench.refused(&of(backwards), GUARDED).await;
    }
    bench.refused(&of(&lease), GUARDED).await;
    bench.allowed(&of(&format!("fence = fence + 1, {lease}"))).await;
    bench.refused(&of("lease_until = NULL"), CHECK).await;
    bench.refused(&of("technician = NULL, fence = fence + 1"), CHECK).await;
    // Not by an attempt of another person, and not by one that has ended.
    let passed = of("state = 'passed', lease_until = NULL, ended_at = now(), settled_at = now()");
    bench.allowed(&passed).await;
    bench.does("SAVEPOINT theirs").await;
    bench.does(&format!("UPDATE attempt SET technician = '{bo}' WHERE task = '{task}'")).await;
    bench.refused(&passed, GUARDED).await;
    bench.does("ROLLBACK TO theirs").await;
    let over = "SET outcome = 'lapsed', ended_at = now()";
    bench.does(&format!("UPDATE attempt {over} WHERE task = '{task}'")).await;
    bench.refused(&passed, GUARDED).await;
    bench.does("ROLLBACK; BEGIN").await;

    let task = bench.add_task().await;
    bench.bring(task, TaskState::Held).await;
    let resumed = |fence: &str| {
        format!("UPDATE task SET state = 'running', {lease}, {fence} WHERE id = '{task}'")
    };
    bench.refused(&resumed("fence = fence"), GUARDED).await;
    bench.allowed(&resumed("fence = fence + 1")).await;
}

#[tokio::test]
async fn a_second_task_runs_on_no_vehicle_not_even_beside_a_held_one() {
    let mut bench = Bench::new().await;
    for first in [TaskState::Running, TaskState::Held] {
        bench.does("BEGIN").await;
        let (running, second) = (bench.add_task().await, bench.add_task().await);
        bench.bring(running, first).await;
        bench.bring(second, TaskState::Taken).await;
        let start = bench.step(second, TaskState::Running).remove(0);
        bench.refused(&start, UNIQUE).await;
        let new = format!(
            "INSERT INTO task (shop, id, order_id, vehicle, procedure, place, definition, because, lines, state,
                 created_at, technician, lease_until, started_at)
             SELECT shop, gen_random_uuid(), order_id, vehicle, procedure, 'x', definition, because, lines, 'running',
                 now(), technician, lease_until, now() FROM task WHERE id = '{second}'"
        );
        bench.refused(&new, GUARDED).await;
        let (shop, order) = (bench.yard.shop.id, bench.order);
        let in_use = |task: Uuid| {
            format!(
                "INSERT INTO occupancy (shop, id, kind, thing, order_id, task, from_at)
                 SELECT '{shop}', gen_random_uuid(), 'vehicle', vehicle, '{order}', id, now()
                 FROM task WHERE id = '{task}'"
            )
        };
        bench.does(&in_use(running)).await;
        bench.refused(&in_use(second), UNIQUE).await;
        bench.does("ROLLBACK").await;
    }
}

#[tokio::test]
async fn nothing_is_waived_without_a_waiver_a_reason_and_all_approvals() {
    let mut bench = Bench::new().await;
    let shop = bench.yard.shop.id;
    bench.does("BEGIN").await;
    let task = bench.add_task().await;
    let waived = format!("UPDATE task SET state = 'waived' WHERE id = '{task}'");
    let waiver = |reason: &str, people: i32| {
        format!(
            "INSERT INTO waiver (shop, id, task, reason, people, given_by, given_at)
             VALUES ('{shop}', gen_random_uuid(), '{task}', '{reason}', {people}, 'dispatcher', now())"
        )
    };
    bench.refused(&waived, GUARDED).await;
    for blank in ["", "   ", "\t \n"] {
        bench.refused(&waiver(blank, 1), CHECK).await;
    }
    bench.refused(&waiver("declined", 3), CHECK).await;
    bench.does(&waiver("declined", 2)).await;
    bench.refused(&waiver("declined once more", 1), UNIQUE).await;
    bench.refused(&waived, GUARDED).await;
    let of = |set: &str| format!("UPDATE waiver SET {set} WHERE task = '{task}'");
    bench.refused(&of("approved_by = 'dispatcher', approved_at = now()"), CHECK).await;
    for rewritten in ["reason = 'other'", "people = 1", "given_by = 'x'", "restriction = 'x'"] {
        bench.refused(&of(rewritten), GUARDED).await;
    }
    bench.does(&of("approved_by = 'owner', approved_at = now()")).await;
    bench.refused(&of("approved_by = NULL, approved_at = NULL"), GUARDED).await;
    bench.allowed(&waived).await;
    bench.does(&of("revoked_by = 'owner', revoked_at = now()")).await;
    bench.refused(&waived, GUARDED).await;
    bench.refused(&of("revoked_by = NULL, revoked_at = NULL"), GUARDED).await;
}

#[tokio::test]
async fn no_decision_is_written_down_with_a_reason_of_blanks() {
    let mut bench = Bench::new().await;
    let (shop, order, bay) = (bench.yard.shop.id, bench.order, bench.yard.bay);
    bench.does("BEGIN").await;
    let decided = |reason: &str| {
        format!(
            r#"INSERT INTO journal_entry (shop, id, kind, at, bytes, names)
               VALUES ('{shop}', gen_random_uuid(), 'task.decided', now(),
                   convert_to('{{"data":{{"reason":"{reason}"}}}}', 'UTF8'), '{{}}')"#
        )
    };
    let absent = |reason: &str| {
        format!(
            "INSERT INTO absence (shop, id, bay, from_at, reason)
             VALUES ('{shop}', gen_random_uuid(), '{bay}', now(), '{reason}')"
        )
    };
    for blank in ["", "  ", "   "] {
        bench.refused(&decided(blank), CHECK).await;
        bench.refused(&absent(blank), CHECK).await;
    }
    bench.allowed(&decided("looked at it")).await;
    bench.allowed(&absent("painted")).await;
    let released = |reason: &str| {
        format!(
            r#"UPDATE repair_order SET release = '{{"reason": "{reason}"}}', version = version + 1
               WHERE id = '{order}'"#
        )
    };
    bench.refused(&released("  "), CHECK).await;
    bench.allowed(&released("towed")).await;
}

#[tokio::test]
async fn what_is_over_is_not_opened_again_and_no_past_is_rewritten() {
    let mut bench = Bench::new().await;
    let (task, order) = (bench.task, bench.order);
    let held = bench.yard.ada.begin(task).await;
    bench.yard.ada.pass(&held).await.expect(200);
    for (table, sets) in [
        ("attempt", ["outcome = 'failed'", "taken_at = now()", "detail = '{}'", "outcome = NULL"]),
        (
            "occupancy",
            ["until_at = NULL", "until_at = now()", "from_at = now()", "thing = order_id"],
        ),
    ] {
        for set in sets {
            let sql = format!("BEGIN; UPDATE {table} SET {set} WHERE task = '{task}'");
            let (code, words) = bench.run(&sql).await.expect_err(&sql);
            assert_eq!(code, GUARDED, "{sql}: {words}");
            bench.does("ROLLBACK").await;
        }
    }
    bench.does("BEGIN").await;
    // An attempt that goes on keeps its number, fence and beginning.
    let other = bench.add_task().await;
    bench.bring(other, TaskState::Taken).await;
    for set in ["fence = 9", "number = 9", "taken_at = taken_at - interval '1 hour'"] {
        bench.refused(&format!("UPDATE attempt SET {set} WHERE task = '{other}'"), GUARDED).await;
    }
    // A service mode and a hold that were closed.
    let close = "UPDATE bracket SET closed_at = now(), closed_by = entered_by";
    assert_eq!(bench.run(close).await, Ok(1), "the calipers stand open");
    bench.refused("UPDATE bracket SET closed_at = NULL, closed_by = NULL", GUARDED).await;
    assert_eq!(bench.run("UPDATE hold SET cleared_at = now()").await, Ok(1), "it settles");
    bench.refused("UPDATE hold SET cleared_at = NULL", GUARDED).await;
    bench.refused("UPDATE hold SET reason = 'x'", GUARDED).await;
    for (set, code) in [
        ("version = version - 1", GUARDED),
        ("next_seq = 1", GUARDED),
        ("state = 'released'", CHECK),
        ("state = 'done'", GUARDED),
    ] {
        let sql = format!("UPDATE repair_order SET {set} WHERE id = '{order}'");
        bench.refused(&sql, code).await;
    }
}

#[tokio::test]
async fn evidence_and_the_journal_are_written_once() {
    let mut bench = Bench::new().await;
    let held = bench.yard.ada.take(bench.task).await;
    bench.yard.ada.prepare(&held).await;
    bench.does("BEGIN").await;
    let id: Uuid = sqlx::query_scalar("SELECT id FROM evidence LIMIT 1")
        .fetch_one(&mut bench.conn)
        .await
        .expect("there is evidence");
    let shop = bench.yard.shop.id;
    bench
        .does(&format!(
            "INSERT INTO attachment (shop, task, attempt, evidence, media_type, sha256, bytes)
             SELECT shop, task, attempt, id, 'text/plain', sha256('hello'), 'hello' FROM evidence WHERE id = '{id}'"
        ))
        .await;
    let attachment = |set: &str| format!("UPDATE attachment SET {set} WHERE evidence = '{id}'");
    bench.refused(&attachment("bytes = 'other'"), GUARDED).await;
    bench.refused(&attachment("sha256 = sha256('other')"), NOT_PERMITTED).await;
    bench.refused(&attachment("bytes = NULL"), GUARDED).await; // nothing redacted is in their place
    bench
        .does(&format!(
            "INSERT INTO redaction (shop, evidence, media_type, sha256, bytes, reason, by_person, at)
             VALUES ('{shop}', '{id}', 'text/plain', sha256('h'), 'h', 'a plate', 'Ada', now())"
        ))
        .await;
    bench.does(&attachment("bytes = NULL")).await;
    bench.refused(&attachment("bytes = 'back again'"), GUARDED).await;
    for column in ["given", "content", "marks", "taken_at", "received_at", "observed_by", "attempt"]
    {
        bench.refused(&format!("UPDATE evidence SET {column} = {column}"), NOT_PERMITTED).await;
    }
    for column in ["bytes", "kind", "at", "order_seq", "names"] {
        bench
            .refused(&format!("UPDATE journal_entry SET {column} = {column}"), NOT_PERMITTED)
            .await;
    }
    for table in ["evidence", "attachment", "journal_entry", "journal_node", "checkpoint"] {
        bench.refused(&format!("DELETE FROM {table}"), NOT_PERMITTED).await;
        bench.refused(&format!("TRUNCATE {table} CASCADE"), NOT_PERMITTED).await;
    }
    let sealed = "UPDATE journal_entry SET position = NULL WHERE position IS NOT NULL";
    let unsealed =
        "UPDATE journal_entry SET position = 1000000 WHERE id = (SELECT id FROM journal_entry
         WHERE position IS NOT NULL LIMIT 1)";
    bench.does("COMMIT").await;
    bench.wait_until_sealed().await;
    bench.does("BEGIN").await;
    bench.refused(sealed, GUARDED).await;
    bench.refused(unsealed, GUARDED).await;
}

#[tokio::test]
async fn of_another_shop_no_row_of_any_table_is_read_or_written() {
    let mut bench = Bench::new().await;
    let (mine, other) = (bench.yard.shop.id, bench.yard.shop.beside("dockside").await.id);
    let held = bench.yard.ada.begin(bench.task).await;
    bench.yard.ada.pass(&held).await.expect(200);
    let mut owner = bench.yard.shop.owner_connection().await;
    let tables: Vec<String> = sqlx::query_scalar(
        "SELECT table_name::text FROM information_schema.columns
         WHERE table_schema = 'public' AND column_name = 'shop' ORDER BY 1",
    )
    .fetch_all(&mut owner)
    .await
    .expect("reads");
    assert!(tables.len() > 20);
    let mut filled = 0;
    for table in &tables {
        for served in [Some(mine), Some(other), None] {
            let named = served.map(|shop| shop.to_string()).unwrap_or_default();
            bench.does(&format!("SET app.shops = '{{{named}}}'; BEGIN")).await;
            let sql = format!("SELECT count(*) FROM {table} WHERE shop = '{mine}'");
            let seen: i64 = sqlx::query_scalar(AssertSqlSafe(sql.clone()))
                .fetch_one(&mut bench.conn)
                .await
                .expect(&sql);
            if served == Some(mine) {
                filled += i32::from(seen > 0);
                // A row of one's own is not given away either.
                let moved = bench.tried(&format!("UPDATE {table} SET shop = '{other}'")).await;
                if seen > 0 {
                    let (code, words) = moved.expect_err(table);
                    let known = [NOT_PERMITTED, GUARDED].contains(&code.as_str());
                    assert!(known, "{table}: {code} {words}");
                }
            } else {
                assert_eq!(seen, 0, "{table} is read by {served:?}");
                for write in
                    ["UPDATE {} SET shop = shop WHERE shop = ", "DELETE FROM {} WHERE shop = "]
                {
                    let sql = format!("{}'{mine}'", write.replace("{}", table));
                    match bench.tried(&sql).await {
                        Ok(rows) => assert_eq!(rows, 0, "{sql}"),
                        Err((code, words)) => assert_eq!(code, NOT_PERMITTED, "{sql}: {words}"),
                    }
                }
                bench
                    .refused(
                        &format!("INSERT INTO {table} (shop) VALUES ('{mine}')"),
                        NOT_PERMITTED,
                    )
                    .await;
            }
            bench.does("ROLLBACK").await;
        }
    }
    assert!(filled >= 14, "{filled} tables have rows to be kept from others");
}
