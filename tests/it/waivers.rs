//! Waivers: of a task or of one precondition, for a while, taken back; each with what it was given for.

use std::time::Duration;

use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::worker::{
    VIN, Yard, now, order_view, proofs, read, taken_in, task, throttle, vin_frame, yard,
};

const RESCAN: &str = "code_rescan_after_work";

fn headlamp() -> Value {
    json!({ "number": "RO-L", "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019,
            "powertrain": "combustion" },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "headlamp" }], "minutes": 40 }] })
}

#[tokio::test]
async fn one_precondition_is_left_out_where_the_catalogue_allows_it_and_the_report_says_so() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    shop.bay("aim", &["level_floor"]).await;
    shop.equipment("tester", "headlamp_tester").await;
    let order = taken_in(shop, headlamp()).await;
    let aim = ada.work_until(&yard.bo, &yard, order.id, "headlamp_aim").await;
    let path = format!("/v1/tasks/{}/waiver", aim.id);
    let desk = shop.as_role(Role::Dispatcher);
    let given = json!({ "precondition": "fuel_half", "reason": "the tank is new and empty",
        "customer_told": "aim it again with fuel", "restriction": "no night drives" });
    let mut never = given.clone();
    never["precondition"] = json!("load_space_empty");
    desk.post(&path, never).await.expect_problem(409, "not-waivable");
    for (field, value) in [
        ("precondition", json!("moon_full")),
        ("place", json!("rear_left")),
        ("expires_at", json!("2001-01-01T00:00:00Z")),
    ] {
        let mut bad = given.clone();
        bad[field] = value;
        let problem = desk.post(&path, bad).await.expect_problem(422, "unprocessable");
        assert_eq!(problem["errors"][0]["pointer"], format!("/{field}"), "{problem:#}");
    }
    let held = ada.take(aim.id).await;
    ada.acknowledge(&held).await;
    let at = now(shop).await;
    let mut items = vec![vin_frame(VIN, at)];
    let asked: Vec<_> =
        held.task.preconditions.iter().filter(|p| p.id != "fuel_half").cloned().collect();
    items.extend(proofs(&asked, at));
    ada.show(&held, items).await;
    let refused =
        ada.act(&held, "start", json!({})).await.expect_problem(409, "precondition-not-met");
    assert_eq!(refused["reasons"][0]["id"], "fuel_half");
    let told = desk.post(&path, given.clone()).await.expect(200);
    assert_eq!(
        (&told["task_state"], &told["precondition"]),
        (&json!("taken"), &json!("fuel_half"))
    );
    desk.post(&path, given).await.expect_problem(409, "already-exists");
    let started: TaskView = read(ada.act(&held, "start", json!({})).await.expect(200));
    assert_eq!(started.state, TaskState::Running);
    ada.pass(&held).await.expect(200);
    let report = format!("/v1/orders/{}/report", order.id);
    let auditor = shop.as_role(Role::Auditor);
    let told = auditor.get(&report).await.expect(200);
    assert_eq!(told["waivers"][0]["restriction"], "no night drives");
    let scope = told["waivers"][0]["scope"].as_str().expect("words");
    assert!(scope.contains("Fuel tank at least a quarter full"), "{scope}");
    assert!(told.to_string().contains(r#""verdict":"waived""#), "{told:#}");
}

async fn state(yard: &Yard, order: Uuid) -> TaskState {
    task(&order_view(&yard.shop, order).await, RESCAN).state
}

#[tokio::test]
async fn a_waiver_ends_with_its_time_or_is_taken_back_and_then_the_task_is_to_be_done() {
    let yard = yard().await;
    let shop = &yard.shop;
    let order = taken_in(shop, throttle("RO-1")).await;
    let rescan = task(&order, RESCAN).id;
    let desk = shop.as_role(Role::Dispatcher);
    let path = format!("/v1/tasks/{rescan}/waiver");
    let until = now(shop).await + chrono::TimeDelta::hours(1);
    let body = json!({ "reason": "the tool is away until noon", "expires_at": until });
    assert_eq!(desk.post(&path, body).await.expect(200)["task_state"], "waived");
    assert_eq!(state(&yard, order.id).await, TaskState::Waived);
    shop.advance(3601).await;
    for _ in 0..150 {
        if state(&yard, order.id).await == TaskState::Waiting {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert_eq!(state(&yard, order.id).await, TaskState::Waiting);

    let revocations = format!("{path}/revocations");
    let back = json!({ "reason": "the tool is here again" });
    desk.post(&revocations, back.clone()).await.expect_problem(404, "not-found");
    desk.post(&path, json!({ "reason": "it is away once more" })).await.expect(200);
    desk.post(&revocations, json!({ "reason": " " })).await.expect_problem(400, "invalid-request");
    let worker = yard.ada.client.post(&revocations, back.clone()).await;
    worker.expect_problem(403, "role-not-allowed");
    let revoked = desk.post(&revocations, back.clone()).await.expect(200);
    assert_eq!(revoked["task_state"], "waiting");
    assert!(revoked["revoked_at"].is_string());
    desk.post(&revocations, back).await.expect_problem(404, "not-found");
    let report = shop.as_role(Role::Auditor).get(&format!("/v1/orders/{}/report", order.id)).await;
    let waivers = report.expect(200)["waivers"].as_array().cloned().expect("a list");
    assert!(
        waivers.len() == 2 && waivers.iter().all(|w| w["revoked_at"].is_string()),
        "{waivers:#?}"
    );
}
