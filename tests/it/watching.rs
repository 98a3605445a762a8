//! Watching: a client that waits is told when a verdict changes, and beforehand when time alone will change it.

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use contract::readiness::ReadinessView;
use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use domain::verdict::Verdict;
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use uuid::Uuid;

use crate::harness::Client;
use crate::worker::{Held, Yard, now, proofs, read, rear_pads, taken_in, task, yard};

const OPENING: &str = "parking_brake_open_for_service";
const CLOSING: &str = "parking_brake_close_and_calibrate";

async fn readiness(client: &Client, task: Uuid, query: &str) -> ReadinessView {
    read(client.get(&format!("/v1/tasks/{task}/readiness?{query}")).await.expect(200))
}

/// Watches beside the test.
fn watch(client: &Client, task: Uuid, query: String) -> JoinHandle<(ReadinessView, Duration)> {
    let client = client.clone();
    tokio::spawn(async move {
        let began = Instant::now();
        (readiness(&client, task, &query).await, began.elapsed())
    })
}

fn verdict(seen: &ReadinessView, id: &str) -> Verdict {
    seen.preconditions.iter().find(|f| f.id == id).expect("it is judged").verdict
}

fn codes(seen: &ReadinessView) -> Vec<&str> {
    seen.obstacles.iter().map(|o| o.code.as_str()).collect()
}

async fn opening_taken(yard: &Yard) -> (Held, Uuid) {
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    (yard.ada.take(task(&order, OPENING).id).await, task(&order, CLOSING).id)
}

#[tokio::test]
async fn who_waits_is_told_at_once_when_evidence_changes_a_verdict() {
    let yard = yard().await;
    let (held, _) = opening_taken(&yard).await;
    let board = yard.shop.as_role(Role::Dispatcher);
    let before = readiness(&board, held.task.id, "").await;
    assert!(!before.ready && before.state == TaskState::Taken);
    assert_eq!(verdict(&before, "battery_supported"), Verdict::Missing);

    // Nothing changes: the same answer after the wait.
    let (same, took) = watch(&board, held.task.id, "wait=1".to_owned()).await.expect("watches");
    assert_eq!(same.mark, before.mark);
    assert!(took >= Duration::from_secs(1), "{took:?}");

    let waiting = watch(&board, held.task.id, format!("wait=30&known={}", before.mark));
    tokio::time::sleep(Duration::from_millis(200)).await;
    let at = now(&yard.shop).await;
    let reading = json!({ "kind": "reading", "signal": "battery_voltage", "value": 12.9, "unit": "V", "taken_at": at });
    let shown = yard.ada.show(&held, vec![reading]).await;
    let answered = shown["preconditions"]
        .as_array()
        .expect("verdicts")
        .iter()
        .find(|f| f["id"] == "battery_supported");
    assert_eq!(answered.expect("judged")["verdict"], "met", "verdicts come back with the batch");
    let (after, took) = waiting.await.expect("watches");
    assert_eq!(verdict(&after, "battery_supported"), Verdict::Met);
    assert_ne!(after.mark, before.mark);
    assert!(took < Duration::from_secs(20), "{took:?}");

    // Who comes with an old mark is answered at once.
    let (late, took) = watch(&board, held.task.id, format!("wait=30&known={}", before.mark))
        .await
        .expect("watches");
    assert_eq!(late.mark, after.mark);
    assert!(took < Duration::from_secs(20), "{took:?}");
}

#[tokio::test]
async fn time_alone_changes_the_answer_and_the_moment_is_told_before() {
    let yard = yard().await;
    let (held, closing) = opening_taken(&yard).await;
    yard.ada.prepare(&held).await;
    let ready = readiness(&yard.ada.client, held.task.id, "").await;
    assert!(ready.ready, "{:?}", codes(&ready));
    // The battery's voltage counts for 60 s.
    let stale_at = ready.changes_at.expect("it is told");
    let left = stale_at - ready.at;
    assert!(left > TimeDelta::seconds(30) && left <= TimeDelta::seconds(61), "{left}");

    let waiting = watch(&yard.ada.client, held.task.id, format!("wait=30&known={}", ready.mark));
    tokio::time::sleep(Duration::from_millis(200)).await;
    yard.shop.advance(61).await;
    let (stale, took) = waiting.await.expect("watches");
    assert_eq!(verdict(&stale, "battery_supported"), Verdict::Stale);
    assert!(!stale.ready && stale.at >= stale_at);
    assert!(took < Duration::from_secs(20), "{took:?}");

    // A wait that runs is told with its end, and its end is told when it comes.
    yard.ada.prepare(&held).await;
    yard.ada.start(&held).await;
    yard.ada.pass(&held).await.expect(200);
    let settling = readiness(&yard.ada.client, closing, "").await;
    let obstacle = settling.obstacles.iter().find(|o| o.code == "settling").expect("it settles");
    let ends = obstacle.earliest_at.expect("with its end");
    assert_eq!(settling.changes_at, Some(ends));
    let waiting = watch(&yard.ada.client, closing, format!("wait=30&known={}", settling.mark));
    tokio::time::sleep(Duration::from_millis(200)).await;
    yard.shop.advance(31).await;
    let (over, _) = waiting.await.expect("watches");
    assert!(!codes(&over).contains(&"settling") && over.at >= ends);
}

#[tokio::test]
async fn many_who_wait_hold_no_connection() {
    let yard = yard().await;
    let (held, _) = opening_taken(&yard).await;
    let mark = readiness(&yard.ada.client, held.task.id, "").await.mark;
    // The service has 8 connections.
    let waiting: Vec<_> = (0..40)
        .map(|_| watch(&yard.ada.client, held.task.id, format!("wait=30&known={mark}")))
        .collect();
    tokio::time::sleep(Duration::from_secs(1)).await;
    let began = Instant::now();
    yard.ada.acknowledge(&held).await;
    let seen: TaskView =
        read(yard.ada.client.get(&format!("/v1/tasks/{}", held.task.id)).await.expect(200));
    assert!(seen.cautions.iter().all(|c| c.acknowledged));
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
    for one in waiting {
        assert_ne!(one.await.expect("watches").0.mark, mark);
    }
}

/// A running relearn whose supply voltage must hold throughout.
async fn relearn_runs(yard: &Yard) -> Held {
    let body = json!({ "number": "RO-2",
        "vehicle": { "vin": crate::worker::VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019,
            "powertrain": "combustion", "features": { "electronic_throttle": true } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "throttle_body" }], "minutes": 40 }] });
    let order = taken_in(&yard.shop, body).await;
    let relearn = yard.ada.work_until(&yard.bo, yard, order.id, "idle_relearn").await;
    yard.ada.begin(relearn.id).await
}

fn voltage(volts: f64, at: DateTime<Utc>) -> Value {
    json!({ "kind": "reading", "signal": "battery_voltage", "value": volts, "unit": "V", "taken_at": at })
}

#[tokio::test]
async fn what_does_not_hold_throughout_is_recorded_shown_and_ends_the_attempt_as_failed() {
    let yard = yard().await;
    let held = relearn_runs(&yard).await;
    let (ada, id) = (&yard.ada, held.task.id);
    let running = readiness(&ada.client, id, "").await;
    assert_eq!(running.state, TaskState::Running);
    let waiting =
        watch(&yard.shop.as_role(Role::Dispatcher), id, format!("wait=30&known={}", running.mark));
    tokio::time::sleep(Duration::from_millis(200)).await;

    let at = now(&yard.shop).await;
    let shown = ada.show(&held, vec![voltage(11.8, at)]).await;
    assert_eq!(shown["broken"], json!(["supply_running"]), "{shown:#}");
    let (seen, took) = waiting.await.expect("watches");
    assert_eq!(verdict(&seen, "supply_running"), Verdict::Violated);
    assert!(took < Duration::from_secs(20), "{took:?}");

    // Good again is not good throughout.
    let at = now(&yard.shop).await;
    let shown = ada.show(&held, vec![voltage(13.2, at)]).await;
    assert_eq!(shown["broken"], json!(["supply_running"]));
    let refused = ada.pass(&held).await.expect_problem(409, "result-not-proven");
    let reasons = refused["reasons"].as_array().expect("reasons");
    assert!(
        reasons.iter().any(|r| r["id"] == "supply_running" && r["verdict"] == "violated"),
        "{refused:#}"
    );

    // The procedure says that it may be tried again.
    let failed = json!({ "outcome": "failed", "note": "the support unit fell off" });
    let after: TaskView = read(ada.act(&held, "finish", failed).await.expect(200));
    assert_eq!(after.state, TaskState::Ready);

    let report = yard.shop.as_role(Role::Auditor);
    let order = after.order.expect("an order");
    let report = report.get(&format!("/v1/orders/{order}/report")).await.expect(200);
    let told = report.to_string();
    assert_eq!(told.matches("did not hold throughout").count(), 1, "recorded once");
}

#[tokio::test]
async fn a_watcher_may_not_wait_for_what_is_not_there_or_not_theirs() {
    let yard = yard().await;
    let (held, _) = opening_taken(&yard).await;
    let path = format!("/v1/tasks/{}/readiness?wait=30", held.task.id);
    let other = yard.shop.beside("hillside").await;
    other.as_role(Role::Dispatcher).get(&path).await.expect_problem(404, "not-found");
    let unknown = format!("/v1/tasks/{}/readiness", Uuid::from_u128(1));
    yard.ada.client.get(&unknown).await.expect_problem(404, "not-found");
    let words = proofs(&held.task.preconditions, now(&yard.shop).await);
    assert!(!words.is_empty());
}
