//! What the floor sees that the order does not say, and how a vehicle leaves with work open.

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::Answer;
use crate::worker::{
    Yard, line, order_view, read, rear_pads, taken_in, task, throttle, told_as_events, yard,
};

async fn observed(yard: &Yard, order: Uuid, body: Value) -> Answer {
    yard.ada.client.post(&format!("/v1/orders/{order}/observations"), body).await
}

async fn release(yard: &Yard, order: Uuid, body: Value) -> Answer {
    let path = format!("/v1/orders/{order}/release");
    yard.shop.as_role(Role::Dispatcher).post(&path, body).await
}

#[tokio::test]
async fn a_code_that_comes_back_undoes_what_was_to_cure_it_and_another_part_adds_its_own() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    yard.ada.work_until(&yard.bo, &yard, order.id, "code_rescan_after_work").await;
    let seen = order_view(&yard.shop, order.id).await;
    let idle = task(&seen, "idle_relearn");
    assert_eq!(idle.state, TaskState::Passed);
    let desk = yard.shop.as_role(Role::Integration);
    let path = format!("/v1/orders/{}/observations", order.id);
    desk.post(&path, json!({ "trouble_code": "P0507" }))
        .await
        .expect_problem(403, "role-not-allowed");
    observed(&yard, order.id, json!({ "trouble_code": "507" }))
        .await
        .expect_problem(422, "unprocessable");
    // A code that has nothing to do with it undoes nothing.
    let other: OrderView =
        read(observed(&yard, order.id, json!({ "trouble_code": "B1342" })).await.expect(200));
    assert_eq!(other.changes.expect("told").disturbed, Vec::<Uuid>::new());
    let back: OrderView =
        read(observed(&yard, order.id, json!({ "trouble_code": "P0507" })).await.expect(200));
    assert!(
        back.changes.as_ref().expect("told").disturbed.contains(&idle.id),
        "{:?}",
        back.changes
    );
    let again =
        back.tasks.iter().find(|t| t.replaces == Some(idle.id)).expect("it is required anew");
    assert!(matches!(again.state, TaskState::Ready | TaskState::Waiting));

    let part = json!({ "operation": { "action": "replace", "component": "mass_air_flow_sensor", "done": "done" },
        "note": "the old one was cracked" });
    observed(&yard, order.id, part).await.expect(200);
    told_as_events(&yard.shop, &["order.observed", "P0507, which is there again"]).await;
}

#[tokio::test]
async fn a_vehicle_leaves_with_work_open_only_on_a_carrier_and_never_in_an_unsafe_state() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    release(&yard, order.id, json!({ "kind": "open_learning" }))
        .await
        .expect_problem(409, "not-releasable");
    let towed = |reason: &str| json!({ "kind": "incomplete_towed", "reason": reason, "odometer_out": 81_200 });
    release(&yard, order.id, json!({ "kind": "incomplete_towed" }))
        .await
        .expect_problem(422, "unprocessable");
    release(&yard, order.id, towed("  ")).await.expect_problem(400, "invalid-request");

    // Calipers stand open: not even on a carrier.
    let held = yard.ada.begin(task(&order, "parking_brake_open_for_service").id).await;
    release(&yard, order.id, towed("out of time")).await.expect_problem(409, "not-releasable");
    let broke =
        json!({ "vehicle_condition": "the tool lost its connection; nothing moves", "safe": true });
    yard.ada.act(&held, "interruptions", broke).await.expect(200);
    let blocked = release(&yard, order.id, towed("out of time")).await;
    let problem = blocked.expect_problem(409, "not-releasable");
    let codes: Vec<&str> = problem["blocked_by"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|b| b["code"].as_str())
        .collect();
    assert!(codes.contains(&"hold") && codes.contains(&"bracket_open"), "{codes:?}");
    let early =
        line(&yard.shop, order.id, 1, json!({ "progress": "started", "bay": yard.bay })).await;
    assert_eq!(early.status, 409);

    // Another one that was not begun leaves on its carrier, with what is open on its report.
    let mut other = rear_pads("RO-2");
    other["vehicle"]["vin"] = json!("1H9AC3EB9KA042112");
    other["odometer_in"] = json!(81_300);
    let other = taken_in(&yard.shop, other).await;
    let left: OrderView =
        read(release(&yard, other.id, towed("the customer's own carrier")).await.expect(200));
    assert!(left.findings.iter().any(|f| f.code == "odometer_decreased"), "{:?}", left.findings);
    // It left so: nothing that was open then is worked or waived afterwards.
    let open = task(&left, "wheel_fastener_torque").id;
    let ready = left.tasks.iter().find(|t| t.state == TaskState::Ready).expect("one is ready").id;
    yard.bo.try_to_take(ready).await.expect_problem(409, "wrong-state");
    let waiver = json!({ "reason": "done elsewhere", "customer_told": "yes" });
    let owner = yard.shop.as_role(Role::Owner);
    for one in [open, ready] {
        let refused = owner.post(&format!("/v1/tasks/{one}/waiver"), waiver.clone()).await;
        refused.expect_problem(409, "wrong-state");
    }
    let report = format!("/v1/orders/{}/report", other.id);
    let told = yard.shop.as_role(Role::Auditor).get(&report).await.expect(200);
    assert_eq!(told["release"]["kind"], "incomplete_towed");
    assert!(
        told["release"]["remarks"].to_string().contains("was open when the vehicle left"),
        "{told:#}"
    );
}
