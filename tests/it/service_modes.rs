//! Service modes: entered before the work that needs them, kept from what would disturb them, left before anything leaves.

use std::collections::BTreeSet;

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::worker::{Yard, line, order_view, read, taken_in, task, yard};

/// Work that is done in a service mode, and the procedures that enter and leave it.
struct Chain {
    operation: Value,
    features: Value,
    mode: &'static str,
    enter: &'static str,
    leave: &'static str,
    /// What must not happen meanwhile.
    disturbing: Value,
}

fn restraints() -> Chain {
    Chain {
        operation: json!({ "action": "replace", "component": "airbag", "place": "driver_side" }),
        features: json!({}),
        mode: "restraints_powered_down",
        enter: "restraint_power_down",
        leave: "restraint_power_up",
        disturbing: json!({ "action": "connect", "component": "battery" }),
    }
}

fn air_suspension() -> Chain {
    Chain {
        operation: json!({ "action": "replace", "component": "air_spring", "place": "front_left" }),
        features: json!({ "air_suspension": true }),
        mode: "air_suspension_off",
        enter: "air_suspension_service_mode",
        leave: "air_suspension_leave_service_mode",
        disturbing: Value::Null,
    }
}

fn order(chain: &Chain, number: &str, operation: &Value) -> Value {
    json!({ "number": number, "beside_open_order": true,
        "vehicle": { "vin": "1H9AC3EB2KA042117", "model_year": 2019, "powertrain": "combustion",
            "features": chain.features },
        "lines": [{ "line": 1, "operations": [operation], "minutes": 40 }] })
}

/// The shop's one bay and its tools are what the order's tasks need.
async fn equipped(yard: &Yard, order: &OrderView) {
    let path = format!("/v1/bays/{}", yard.bay);
    let dispatcher = yard.shop.as_role(Role::Dispatcher);
    let known = dispatcher.get(&path).await;
    let tag = known.header("etag").to_owned();
    let mut bay = known.expect(200);
    let mut able: BTreeSet<String> = read(bay["capabilities"].clone());
    able.extend(order.tasks.iter().flat_map(|t| t.needs.bay.iter().flatten().cloned()));
    bay = json!({ "name": bay["name"], "capabilities": able });
    dispatcher.with("if-match", &tag).put(&path, bay).await.expect(200);
    let tools: BTreeSet<&String> = order.tasks.iter().flat_map(|t| &t.needs.equipment).collect();
    for tool in tools {
        yard.shop.equipment(&format!("another {tool}"), tool).await;
    }
}

async fn kept_by(yard: &Yard, order: Uuid) -> Vec<String> {
    let release = format!("/v1/orders/{order}/release");
    let dispatcher = yard.shop.as_role(Role::Dispatcher);
    let refused = dispatcher.post(&release, json!({ "kind": "complete" })).await;
    let problem = refused.expect_problem(409, "not-releasable");
    let blocks = problem["blocked_by"].as_array().expect("blocks").clone();
    blocks.iter().map(|b| b["code"].as_str().expect("a code").to_owned()).collect()
}

/// Enters the mode, tries what must be refused, works, leaves it, and ends the order.
async fn is_gone_through(chain: Chain) {
    let yard = yard().await;
    let first = taken_in(&yard.shop, order(&chain, "RO-1", &chain.operation)).await;
    equipped(&yard, &first).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    line(&yard.shop, first.id, 1, begin.clone()).await.expect_problem(409, "out-of-order");
    let leave = task(&first, chain.leave).id;
    assert_eq!(
        yard.ada.try_to_take(leave).await.status,
        409,
        "nothing is left before it is entered"
    );

    let enter = yard.ada.work_until(&yard.bo, &yard, first.id, chain.enter).await;
    yard.ada.work_with(&yard.bo, enter.id).await;
    assert!(kept_by(&yard, first.id).await.contains(&"bracket_open".to_owned()));
    let vehicle = format!("/v1/vehicles/{}", first.vehicle_id);
    let seen = yard.ada.client.get(&vehicle).await.expect(200);
    assert_eq!(seen["open_brackets"][0]["mode"], chain.mode, "{seen:#}");
    if !chain.disturbing.is_null() {
        let other = taken_in(&yard.shop, order(&chain, "RO-2", &chain.disturbing)).await;
        yard.ada.wait(&first).await;
        let refused = line(&yard.shop, other.id, 1, begin).await;
        let problem = refused.expect_problem(409, "bracket-open");
        assert!(problem.to_string().contains(chain.leave), "{problem:#}");
        assert!(kept_by(&yard, other.id).await.contains(&"bracket_open".to_owned()));
    }

    let leaving = yard.ada.work_until(&yard.bo, &yard, first.id, chain.leave).await;
    let worked = order_view(&yard.shop, first.id).await;
    assert_eq!(worked.lines[0].state.word(), "finished", "the work comes before the leaving");
    yard.ada.work_with(&yard.bo, leaving.id).await;
    let seen = yard.ada.client.get(&vehicle).await.expect(200);
    assert_eq!(seen["open_brackets"], json!([]), "{seen:#}");
    let done = yard.ada.work_off(&yard.bo, first.id).await;
    assert!(done.tasks.iter().all(|t| t.state == TaskState::Passed), "{:#?}", done.tasks);
}

#[tokio::test]
async fn restraints_are_powered_down_before_an_airbag_is_touched_and_up_before_anything_leaves() {
    is_gone_through(restraints()).await;
}

#[tokio::test]
async fn air_suspension_is_in_service_mode_while_a_spring_is_changed_and_filled_before_it_leaves() {
    is_gone_through(air_suspension()).await;
}
