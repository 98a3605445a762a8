//! The manufacturer's figure differs: it stands in for the catalogue's within bounds, with a second person, on record.

use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};

use crate::worker::{
    Held, VIN, Yard, now, proofs, read, taken_in, throttle, told_as_events, vin_frame, yard,
};

const IDLE: &str = "idle_relearn";

fn figure(yard: &Yard) -> Value {
    json!({ "precondition": "coolant_warm", "bound": "at_most", "value": 108, "unit": "Cel",
        "document": "Service manual 12-4, issue 2025-03", "page": "214", "by": yard.ada.id })
}

/// Shows everything that is asked for, with this coolant temperature in Cel.
async fn show_with_coolant(yard: &Yard, held: &Held, celsius: f64) {
    let at = now(&yard.shop).await;
    let mut items = vec![vin_frame(VIN, at)];
    items.extend(proofs(&held.task.preconditions, at));
    for item in items.iter_mut().filter(|i| i["signal"] == "engine_coolant_temperature") {
        item["value"] = json!(celsius);
        item["unit"] = json!("Cel");
    }
    yard.ada.show(held, items).await;
}

fn coolant(task: &TaskView) -> &contract::tasks::PreconditionView {
    task.preconditions.iter().find(|p| p.id == "coolant_warm").expect("it is asked for")
}

#[tokio::test]
async fn the_manufacturers_limit_counts_within_bounds_once_another_person_agrees_and_is_printed() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    let idle = yard.ada.work_until(&yard.bo, &yard, order.id, IDLE).await;
    let held = yard.ada.take(idle.id).await;
    yard.ada.acknowledge(&held).await;
    show_with_coolant(&yard, &held, 105.0).await;
    let refused = yard.ada.act(&held, "start", json!({})).await;
    let problem = refused.expect_problem(409, "precondition-not-met");
    assert_eq!(problem["reasons"].as_array().map(Vec::len), Some(1), "{problem:#}");
    assert_eq!(problem["reasons"][0]["id"], "coolant_warm");

    let path = format!("/v1/tasks/{}/limit-overrides", held.task.id);
    let ada = &yard.ada.client;
    bad_figures_are_refused_by_name(&yard, &path).await;
    let given = ada.post(&path, figure(&yard)).await.expect(201);
    assert_eq!(
        (&given["approval_needed"], &given["instead_of"]),
        (&json!(true), &json!("210 [degF]"))
    );
    // It does not count yet, and whoever gave or read it does not approve it.
    yard.ada.act(&held, "start", json!({})).await.expect_problem(409, "precondition-not-met");
    let approvals = format!("{path}/{}/approvals", given["id"].as_str().expect("an id"));
    ada.post(&approvals, json!({})).await.expect_problem(409, "second-person-required");
    yard.bo.client.post(&approvals, json!({})).await.expect(200);
    yard.bo.client.post(&approvals, json!({})).await.expect_problem(409, "wrong-state");

    show_with_coolant(&yard, &held, 109.0).await;
    yard.ada.act(&held, "start", json!({})).await.expect_problem(409, "precondition-not-met");
    show_with_coolant(&yard, &held, 107.5).await;
    let seen: TaskView = read(ada.get(&format!("/v1/tasks/{}", held.task.id)).await.expect(200));
    assert!(coolant(&seen).text.contains("page 214"), "{}", coolant(&seen).text);
    // 107.5 Cel is beyond what holds while it runs by the catalogue (221 degF): the new limit goes for the run too.
    let running: TaskView = read(yard.ada.act(&held, "start", json!({})).await.expect(200));
    assert_eq!(running.state, TaskState::Running);
    assert!(
        running
            .preconditions
            .iter()
            .all(|p| p.id != "coolant_warm" || p.verdict == domain::verdict::Verdict::Met)
    );
    ada.post(&path, figure(&yard)).await.expect_problem(409, "wrong-state");

    let listed = yard.shop.as_role(Role::Auditor).get(&path).await.expect(200);
    assert_eq!(listed["items"].as_array().map(Vec::len), Some(1));
    let auditor = yard.shop.as_role(Role::Auditor);
    let report = format!("/v1/orders/{}/report", order.id);
    let printed = auditor.with("accept", "application/json").get(&report).await.expect(200);
    let told =
        printed["tasks"].as_array().and_then(|all| all.iter().find(|t| t["procedure"] == IDLE));
    let limit = &told.expect("the task")["limits"][0];
    assert_eq!(
        limit["text"],
        "at most 108 Cel instead of 210 [degF], by Service manual 12-4, issue 2025-03, page 214"
    );
    assert_eq!((&limit["read_by"], &limit["approved_by"]), (&json!("Ada"), &json!("Bo")));
    let page = auditor.with("accept", "text/html").get(&report).await.expect(200);
    let page = page.as_str().expect("a page");
    assert!(page.contains("Limits by the manufacturer") && page.contains("page 214"));
    told_as_events(&yard.shop, &["limit.given", "limit.approved"]).await;
}

async fn bad_figures_are_refused_by_name(yard: &Yard, path: &str) {
    let ada = &yard.ada.client;
    for (field, value, pointer) in [
        ("precondition", json!("coolant_cold"), "/precondition"),
        ("precondition", json!("loads_off"), "/precondition"),
        ("bound", Value::Null, "/bound"),
        ("unit", json!("V"), "/unit"),
        ("unit", json!("degrees"), "/unit"),
        ("value", json!(130), "/value"),
        ("value", json!(80), "/value"),
        ("by", json!(yard.bay), "/by"),
    ] {
        let mut body = figure(yard);
        body[field] = value.clone();
        if value.is_null() {
            body.as_object_mut().expect("an object").remove(field);
        }
        let problem = ada.post(path, body).await.expect_problem(422, "unprocessable");
        assert_eq!(problem["errors"][0]["pointer"], pointer, "{field} {value}: {problem:#}");
    }
    for (field, value) in [("document", json!("  ")), ("page", json!("")), ("value", json!("warm"))]
    {
        let mut body = figure(yard);
        body[field] = value;
        ada.post(path, body).await.expect_problem(400, "invalid-request");
    }
    let owner = yard.shop.as_role(Role::Auditor);
    owner.post(path, figure(yard)).await.expect_problem(403, "role-not-allowed");
}
