//! What must hold throughout a run: broken it is seen at once, and a stretch that nobody showed proves nothing.

use std::time::Duration;

use chrono::TimeDelta;
use contract::readiness::ReadinessView;
use domain::role::Role;
use domain::verdict::Verdict;
use serde_json::{Value, json};

use crate::worker::{Held, Yard, now, proofs, read, taken_in, throttle, yard};

const IDLE: &str = "idle_relearn";

async fn running(yard: &Yard) -> (uuid::Uuid, Held) {
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    let idle = yard.ada.work_until(&yard.bo, yard, order.id, IDLE).await;
    (order.id, yard.ada.begin(idle.id).await)
}

fn coolant(celsius: i32, at: chrono::DateTime<chrono::Utc>) -> Value {
    json!({ "kind": "reading", "signal": "engine_coolant_temperature", "value": celsius, "unit": "Cel", "taken_at": at })
}

#[tokio::test]
async fn a_violation_while_it_runs_is_recorded_seen_at_once_and_ends_the_attempt_as_failed() {
    let yard = yard().await;
    let (order, held) = running(&yard).await;
    let board = yard.shop.as_role(Role::Dispatcher);
    let path = format!("/v1/tasks/{}/readiness", held.task.id);
    let before: ReadinessView = read(board.get(&path).await.expect(200));
    let waiting = {
        let (board, path) = (board.clone(), format!("{path}?wait=30&known={}", before.mark));
        tokio::spawn(async move { board.get(&path).await.expect(200) })
    };
    tokio::time::sleep(Duration::from_millis(200)).await;
    // 110 Cel is beyond the 221 degF (105 Cel) that may be reached while it runs.
    let shown = yard.ada.show(&held, vec![coolant(110, now(&yard.shop).await)]).await;
    assert_eq!(shown["broken"], json!(["coolant_warm"]));
    let seen: ReadinessView = read(waiting.await.expect("watches"));
    let finding = seen.preconditions.iter().find(|f| f.id == "coolant_warm").expect("judged");
    assert_eq!(finding.verdict, Verdict::Violated);
    // Back in range is too late: it did not hold throughout.
    yard.ada.show(&held, vec![coolant(96, now(&yard.shop).await)]).await;
    yard.shop.advance(40).await;
    let refused = yard.ada.pass(&held).await.expect_problem(409, "result-not-proven");
    assert!(refused.to_string().contains("110 Cel"), "{refused:#}");
    assert!(refused["reasons"][0]["hazards"][0].is_string(), "what is dangerous: {refused:#}");
    let failed =
        yard.ada.act(&held, "finish", json!({ "outcome": "failed", "note": "fan stuck" })).await;
    assert_eq!(failed.expect(200)["state"], "ready", "the procedure lets it be tried again");
    let auditor = yard.shop.as_role(Role::Auditor);
    let report = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200).to_string();
    assert!(report.contains("did not hold throughout") && report.contains("110 Cel"), "{report}");
}

#[tokio::test]
async fn a_stretch_without_readings_longer_than_the_signal_allows_proves_nothing_until_they_are_sent()
 {
    let yard = yard().await;
    let (_, held) = running(&yard).await;
    let from = now(&yard.shop).await;
    yard.shop.advance(60).await;
    let to = now(&yard.shop).await;
    // The result alone, as if nothing had to hold meanwhile: coolant and supply are unknown for a minute.
    let speed = |seconds: i64| {
        json!({ "kind": "reading", "signal": "engine_speed", "value": 700, "unit": "/min",
            "taken_at": to - TimeDelta::seconds(seconds) })
    };
    yard.ada.show(&held, (0..9).map(|n| speed(n * 4)).collect()).await;
    let seen = yard.ada.client.get(&format!("/v1/tasks/{}/readiness", held.task.id)).await;
    let seen: ReadinessView = read(seen.expect(200));
    let finding = |seen: &ReadinessView, id: &str| {
        seen.preconditions.iter().find(|f| f.id == id).expect("judged").clone()
    };
    assert_eq!(finding(&seen, "coolant_warm").verdict, Verdict::Stale, "a watcher sees it");
    // A reading at the end proves no more: before and after do not show what lies between.
    let shown = yard.ada.show(&held, vec![coolant(96, to)]).await;
    let told = shown["preconditions"].as_array().expect("verdicts").iter();
    let told = told.filter(|f| f["id"] == "coolant_warm").collect::<Vec<_>>();
    assert_eq!(told[0]["verdict"], "missing");
    assert!(
        told[0]["detail"].as_str().is_some_and(|d| d.contains("is unknown between")),
        "{told:?}"
    );
    let finish = json!({ "outcome": "passed", "at": to, "evidence": proofs(&held.task.proof, to) });
    let refused = yard.ada.act(&held, "finish", finish.clone()).await;
    let problem = refused.expect_problem(409, "result-not-proven");
    let lacking: Vec<&str> = problem["reasons"]
        .as_array()
        .expect("reasons")
        .iter()
        .filter_map(|r| r["id"].as_str())
        .collect();
    assert!(
        lacking.contains(&"coolant_warm") && lacking.contains(&"supply_running"),
        "{lacking:?}"
    );
    assert!(
        !lacking.contains(&"parking_brake_applied"),
        "a brake stays known for minutes: {lacking:?}"
    );
    assert!(
        problem["reasons"][0]["how"].as_str().is_some_and(|how| how.contains("taken meanwhile"))
    );

    // The client had them all the time and sends them late: the gap is closed.
    let mut late = Vec::new();
    let mut at = from;
    while at < to {
        late.push(coolant(96, at));
        late.push(json!({ "kind": "reading", "signal": "battery_voltage", "value": 13.4, "unit": "V", "taken_at": at }));
        late.push(
            json!({ "kind": "reading", "signal": "engine", "is": "running", "taken_at": at }),
        );
        at += TimeDelta::seconds(10);
    }
    yard.ada.show(&held, late).await;
    let passed = yard.ada.act(&held, "finish", finish).await.expect(200);
    assert_eq!(passed["state"], "passed");
}

#[tokio::test]
async fn a_run_that_broke_off_goes_on_and_is_judged_from_there_besides_what_did_not_hold_before() {
    for overheated in [false, true] {
        let yard = yard().await;
        let (_, mut held) = running(&yard).await;
        yard.shop.advance(20).await;
        yard.ada.show_the_run(&held).await;
        if overheated {
            yard.ada.show(&held, vec![coolant(110, now(&yard.shop).await)]).await;
            yard.ada.show(&held, vec![coolant(96, now(&yard.shop).await)]).await;
        }
        let state = json!({ "vehicle_condition": "idling, nobody at it", "safe": true });
        yard.ada.act(&held, "interruptions", state).await.expect(200);
        yard.shop.advance(600).await;
        let path = format!("/v1/tasks/{}/decisions", held.task.id);
        let decision = json!({ "decision": "resume", "reason": "the scan tool was charged" });
        let resumed = yard.ada.client.post(&path, decision).await.expect(200);
        held.fence = resumed["fence"].as_i64().expect("a fence");
        let from = now(&yard.shop).await;
        yard.ada.show(&held, proofs(&held.task.preconditions, from)).await;
        yard.shop.advance(40).await;
        // Nobody has readings of the ten minutes in between, and nobody asks for them.
        let to = yard.ada.show_the_run_from(&held, &held.task, Some(from)).await;
        let finish =
            json!({ "outcome": "passed", "at": to, "evidence": proofs(&held.task.proof, to) });
        let finished = yard.ada.act(&held, "finish", finish).await;
        if overheated {
            let refused = finished.expect_problem(409, "result-not-proven");
            assert!(refused.to_string().contains("110 Cel"), "{refused:#}");
        } else {
            assert_eq!(finished.expect(200)["state"], "passed");
        }
    }
}

#[tokio::test]
async fn what_was_shown_at_once_decides_also_when_the_end_is_told_to_have_come_before_it() {
    let yard = yard().await;
    let (_, held) = running(&yard).await;
    yard.shop.advance(40).await;
    let end = yard.ada.show_the_run(&held).await;
    yard.shop.advance(20).await;
    let shown = yard.ada.show(&held, vec![coolant(118, now(&yard.shop).await)]).await;
    assert_eq!(shown["broken"], json!(["coolant_warm"]));
    let finish =
        json!({ "outcome": "passed", "at": end, "evidence": proofs(&held.task.proof, end) });
    let refused = yard.ada.act(&held, "finish", finish).await;
    let problem = refused.expect_problem(409, "result-not-proven");
    assert!(problem.to_string().contains("118 Cel"), "{problem:#}");
}

#[tokio::test]
async fn what_a_refused_finish_brought_is_kept() {
    let yard = yard().await;
    let (order, held) = running(&yard).await;
    yard.shop.advance(40).await;
    let at = now(&yard.shop).await;
    yard.ada.show_the_run(&held).await;
    let code = json!({ "kind": "frame", "protocol": "obd", "bytes": "43010300", "taken_at": at });
    let mut evidence = proofs(&held.task.proof, at);
    evidence.push(code);
    evidence.push(coolant(118, at));
    let finish = json!({ "outcome": "passed", "evidence": evidence });
    yard.ada.act(&held, "finish", finish).await.expect_problem(409, "result-not-proven");
    let again = yard.ada.act(&held, "finish", json!({ "outcome": "passed" })).await;
    let problem = again.expect_problem(409, "result-not-proven");
    assert!(problem.to_string().contains("118 Cel"), "{problem:#}");
    let auditor = yard.shop.as_role(Role::Auditor);
    let report = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200).to_string();
    assert!(report.contains("43010300") && report.contains("118 Cel"), "{report}");
}
