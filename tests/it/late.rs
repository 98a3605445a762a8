//! Without a network: what was done meanwhile counts as of its own moment, and is never taken for on time.

use chrono::{DateTime, TimeDelta, Utc};
use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::worker::{
    Held, VIN, Yard, now, order_view, proofs, read, rear_pads, taken_in, task, vin_frame, yard,
};

const OPENING: &str = "parking_brake_open_for_service";

async fn taken(yard: &Yard) -> (Uuid, Held) {
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, OPENING).id).await;
    yard.ada.acknowledge(&held).await;
    (order.id, held)
}

fn shown_at(held: &Held, at: DateTime<Utc>) -> Vec<Value> {
    let mut items = vec![vin_frame(VIN, at)];
    items.extend(proofs(&held.task.preconditions, at));
    items
}

/// Twenty minutes after the taking the client has its network back, and sends what it showed at minute 2.
async fn back_in_reach(yard: &Yard) -> (Uuid, Held, DateTime<Utc>) {
    let (order, held) = taken(yard).await;
    let shown = now(&yard.shop).await + TimeDelta::seconds(120);
    yard.shop.advance(1200).await;
    yard.ada.show(&held, shown_at(&held, shown)).await;
    (order, held, shown)
}

async fn report(yard: &Yard, order: Uuid) -> String {
    let auditor = yard.shop.as_role(Role::Auditor);
    auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200).to_string()
}

#[tokio::test]
async fn work_done_without_a_network_is_judged_as_of_then_and_told_as_late() {
    let yard = yard().await;
    let (order, held, shown) = back_in_reach(&yard).await;
    let taken_at = shown - TimeDelta::seconds(120);

    // A moment outside the attempt is no moment of it.
    for at in [taken_at - TimeDelta::seconds(600), taken_at + TimeDelta::seconds(9000)] {
        yard.ada
            .act(&held, "start", json!({ "at": at }))
            .await
            .expect_problem(422, "unprocessable");
    }
    // Before anything was shown nothing was proven.
    let before = json!({ "at": taken_at + TimeDelta::seconds(60) });
    yard.ada.act(&held, "start", before).await.expect_problem(409, "precondition-not-met");

    let started = shown + TimeDelta::seconds(10);
    let running: TaskView =
        read(yard.ada.act(&held, "start", json!({ "at": started })).await.expect(200));
    assert_eq!(running.state, TaskState::Running);
    assert_eq!(running.started_at, Some(started));
    assert_eq!(
        (running.reported_late[0].step.as_str(), running.reported_late[0].done_at),
        ("start", started)
    );

    let ended = started + TimeDelta::seconds(90);
    let proof = proofs(&held.task.proof, ended - TimeDelta::seconds(5));
    let early =
        json!({ "outcome": "passed", "at": started - TimeDelta::seconds(30), "evidence": proof });
    yard.ada.act(&held, "finish", early).await.expect_problem(422, "unprocessable");
    let finish = json!({ "outcome": "passed", "at": ended, "evidence": proof });
    let passed: TaskView = read(yard.ada.act(&held, "finish", finish).await.expect(200));
    assert_eq!(passed.state, TaskState::Passed);
    let steps: Vec<&str> = passed.reported_late.iter().map(|s| s.step.as_str()).collect();
    assert_eq!(steps, ["start", "finish"]);
    // The wait after it counts from the report: a client's clock shortens none.
    assert!(passed.until.is_some());
    let told = report(&yard, order).await;
    assert!(told.contains("by the client's word, reported"), "{told}");
}

#[tokio::test]
async fn a_late_start_is_refused_when_the_vehicle_was_in_use_since() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let at = now(&yard.shop).await + TimeDelta::seconds(60);
    // Meanwhile somebody worked on a line of the same vehicle.
    let desk = yard.shop.as_role(Role::Integration);
    let extra =
        json!({ "line": 2, "operations": [{ "action": "replace", "component": "engine_oil" }] });
    desk.put(&format!("/v1/orders/{order}/lines/2"), extra).await.expect(200);
    let begin = json!({ "progress": "started", "bay": yard.bay });
    yard.shop.advance(30).await;
    crate::worker::line(&yard.shop, order, 2, begin).await.expect(200);
    yard.shop.advance(300).await;
    crate::worker::line(&yard.shop, order, 2, json!({ "progress": "finished" })).await.expect(200);
    let held = match order_view(&yard.shop, order).await {
        view if task(&view, OPENING).state == TaskState::Taken => held,
        view => panic!("{:?}", task(&view, OPENING).state),
    };
    yard.ada.show(&held, shown_at(&held, at - TimeDelta::seconds(2))).await;
    yard.ada.act(&held, "start", json!({ "at": at })).await.expect_problem(409, "vehicle-busy");
}

#[tokio::test]
async fn a_batch_sent_twice_is_taken_in_once() {
    let yard = yard().await;
    let (_, held) = taken(&yard).await;
    let at = now(&yard.shop).await;
    let path = format!("/v1/tasks/{}/evidence", held.task.id);
    let body = json!({ "fence": held.fence, "items": shown_at(&held, at) });
    let client = yard.ada.client.with("idempotency-key", "a batch from the road");
    let first = client.post(&path, body.clone()).await.expect(200);
    yard.shop.advance(30).await;
    assert_eq!(client.post(&path, body.clone()).await.expect(200), first);
    let another = json!({ "fence": held.fence, "items": [vin_frame(VIN, at)] });
    client.post(&path, another).await.expect_problem(422, "idempotency-key-reused");
    let mut owner = yard.shop.owner_connection().await;
    let named = sqlx::query("SELECT set_config('app.shops', $1, false)")
        .bind(format!("{{{}}}", yard.shop.id));
    named.execute(&mut owner).await.expect("names the shop");
    let count = sqlx::query_scalar::<_, i64>("SELECT count(*) FROM evidence WHERE task = $1")
        .bind(held.task.id);
    let count = count.fetch_one(&mut owner).await.expect("counts");
    assert_eq!(usize::try_from(count).ok(), body["items"].as_array().map(Vec::len));
}

#[tokio::test]
async fn what_comes_after_the_lease_is_kept_marked_and_proves_nothing() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let at = now(&yard.shop).await + TimeDelta::seconds(60);
    yard.shop.advance(4 * 3600).await;
    let body = json!({ "items": shown_at(&held, at) });
    let late = yard.ada.act(&held, "evidence", body).await.expect(202);
    for item in late["items"].as_array().expect("outcomes") {
        assert_eq!(item["outcome"], "marked", "{item:#}");
        assert!(item["marks"].as_array().expect("marks").contains(&json!("late")));
    }
    yard.ada.act(&held, "start", json!({ "at": at })).await.expect_problem(409, "lease-lost");
    assert_eq!(task(&order_view(&yard.shop, order).await, OPENING).state, TaskState::Ready);
    let again = yard.bo.take(held.task.id).await;
    assert!(again.task.preconditions.iter().all(|p| p.verdict != domain::verdict::Verdict::Met));
    let told = report(&yard, order).await;
    assert!(told.contains("arrived after the lease had ended"), "{told}");
}

#[tokio::test]
async fn a_client_clock_that_is_off_is_noticed_and_told() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let real = now(&yard.shop).await;
    let ahead = real + TimeDelta::seconds(3600);
    let reading = |at: DateTime<Utc>| json!({ "kind": "reading", "signal": "battery_voltage", "value": 12.9, "unit": "V", "taken_at": at });
    let answer =
        yard.ada.act(&held, "evidence", json!({ "items": [reading(ahead)] })).await.expect(200);
    let off = answer["clock_off_seconds"].as_i64().expect("told");
    assert!((3500..=3600).contains(&off), "{off}");
    assert_eq!(answer["items"][0]["marks"], json!(["clock_off", "future"]));

    // One that is behind tells it by its own clock; the reading counts as of its time.
    yard.shop.advance(120).await;
    let moment = now(&yard.shop).await;
    let behind = moment - TimeDelta::seconds(90);
    let answer = yard
        .ada
        .act(&held, "evidence", json!({ "sent_at": behind, "items": [reading(behind)] }))
        .await
        .expect(200);
    let off = answer["clock_off_seconds"].as_i64().expect("told");
    assert!((-100..=-85).contains(&off), "{off}");
    assert_eq!(answer["items"][0]["marks"], json!(["clock_off"]));

    let answer = yard.ada.act(
        &held,
        "evidence",
        json!({ "sent_at": now(&yard.shop).await, "items": [reading(moment)] }),
    );
    assert!(answer.await.expect(200)["clock_off_seconds"].is_null());
    let told = report(&yard, order).await;
    assert!(told.contains("s ahead") && told.contains("s behind"), "{told}");
}

#[tokio::test]
async fn what_was_asked_for_and_refused_was_not_done_before_that() {
    let yard = yard().await;
    let (order, held, shown) = back_in_reach(&yard).await;
    // What was shown at minute 2 is too old for a start now, and whoever asks for a start now has not started before.
    yard.ada.act(&held, "start", json!({})).await.expect_problem(409, "precondition-not-met");
    let at = json!({ "at": shown + TimeDelta::seconds(10) });
    yard.ada.act(&held, "start", at).await.expect_problem(422, "unprocessable");
    yard.ada.prepare(&held).await;
    yard.ada.start(&held).await;

    yard.shop.advance(60).await;
    yard.ada
        .act(&held, "finish", json!({ "outcome": "passed" }))
        .await
        .expect_problem(409, "result-not-proven");
    let early = now(&yard.shop).await - TimeDelta::seconds(30);
    let proof = proofs(&held.task.proof, early);
    let finish = json!({ "outcome": "passed", "at": early, "evidence": proof });
    yard.ada.act(&held, "finish", finish).await.expect_problem(422, "unprocessable");

    let auditor = yard.shop.as_role(Role::Auditor);
    let told = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200);
    let asked: Vec<&str> = told["refusals"]
        .as_array()
        .expect("refusals")
        .iter()
        .filter_map(|r| r["asked"].as_str())
        .collect();
    assert!(asked[0].starts_with("start `") && asked[1].starts_with("finish `"), "{asked:?}");
    assert_eq!(asked.len(), 2, "{asked:?}");
}

#[tokio::test]
async fn cautions_are_read_before_the_start_that_is_told_late() {
    for in_time in [false, true] {
        let yard = yard().await;
        let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
        let held = yard.ada.take(task(&order, OPENING).id).await;
        let at = now(&yard.shop).await + TimeDelta::seconds(60);
        yard.shop.advance(600).await;
        yard.ada.show(&held, shown_at(&held, at)).await;
        let names = held.task.cautions.iter().map(|c| c.caution.id.as_str());
        let mut cautions = json!({ "cautions": names.collect::<Vec<_>>() });
        if in_time {
            cautions["at"] = json!(at);
        }
        yard.ada.act(&held, "acknowledgements", cautions).await.expect(200);
        let start = json!({ "at": at + TimeDelta::seconds(20) });
        let started = yard.ada.act(&held, "start", start).await;
        if in_time {
            started.expect(200);
        } else {
            started.expect_problem(409, "caution-not-acknowledged");
        }
    }
}

#[tokio::test]
async fn a_key_gives_nobody_the_answer_of_another() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let body = json!({ "task": task(&order, OPENING).id });
    let [ada, bo] = [&yard.ada, &yard.bo].map(|one| one.client.with("idempotency-key", "the same"));
    let first = ada.post("/v1/leases", body.clone()).await.expect(201);
    bo.post("/v1/leases", body.clone()).await.expect_problem(409, "taken");
    assert_eq!(ada.post("/v1/leases", body).await.expect(201), first);
}
