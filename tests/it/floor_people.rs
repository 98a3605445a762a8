//! Two people, two orders, and the road: stories of the floor.

use domain::lifecycle::TaskState;
use serde_json::{Value, json};

use crate::worker::{Held, VIN, Worker, Yard, line, order_view, rear_pads, taken_in, task, yard};

fn vehicle(powertrain: &str, features: &Value) -> Value {
    json!({ "vin": VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019, "powertrain": powertrain,
        "features": features })
}

/// Work on a high-voltage component.
fn inverter(number: &str) -> Value {
    json!({ "number": number, "vehicle": vehicle("electric", &json!({ "high_voltage": true })),
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "inverter" }], "minutes": 90 }] })
}

fn codes(problem: &Value) -> Vec<&str> {
    let reasons = problem["reasons"].as_array().expect("reasons");
    reasons.iter().map(|r| r["code"].as_str().expect("text")).collect()
}

/// Work for two, prepared by the one who holds it.
async fn isolation() -> (Yard, Held) {
    let yard = yard().await;
    yard.shop.bay("hv", &["high_voltage_area", "lift"]).await;
    yard.shop.equipment("high_voltage_kit", "high_voltage_kit").await;
    let order = taken_in(&yard.shop, inverter("RO-HV")).await;
    let isolation = yard.ada.work_until(&yard.bo, &yard, order.id, "high_voltage_isolation").await;
    let held = yard.ada.take(isolation.id).await;
    yard.ada.prepare(&held).await;
    (yard, held)
}

async fn start(worker: &Worker, held: &Held) -> crate::harness::Answer {
    worker.act(held, "start", json!({})).await
}

#[tokio::test]
async fn what_needs_two_people_starts_with_the_word_of_the_second_by_their_own_token() {
    let (yard, held) = isolation().await;

    // The holder's own word is no second person's.
    let path = format!("/v1/tasks/{}/attestations", held.task.id);
    let word = |statement: &str| json!({ "statement": statement, "holds": true });
    yard.ada
        .client
        .post(&path, word("second_person_present"))
        .await
        .expect_problem(409, "second-person-required");
    let own = json!({ "kind": "attestation", "statement": "second_person_present", "holds": true,
        "taken_at": crate::worker::now(&yard.shop).await });
    yard.ada.show(&held, vec![own]).await;
    let refused = start(&yard.ada, &held).await;
    assert_eq!(refused.status, 409);
    assert!(codes(&refused.body).contains(&"second_person_missing"), "{:#}", refused.body);

    for statement in ["second_person_present", "second_qualified_person"] {
        yard.bo.client.post(&path, word(statement)).await.expect(200);
    }
    let started = start(&yard.ada, &held).await.expect(200);
    assert_eq!(started["state"], "running");
}

#[tokio::test]
async fn whoever_takes_a_task_over_reads_its_cautions_and_stands_by_themselves_no_longer() {
    let (yard, mut held) = isolation().await;
    let path = format!("/v1/tasks/{}/attestations", held.task.id);
    let statements = ["second_person_present", "second_qualified_person"];
    // Only who could do the work stands by for it.
    let apprentice = yard.shop.technician("Cy", &["general"]).await;
    for statement in statements {
        let word = json!({ "statement": statement, "holds": true });
        let apprentice = yard.shop.as_technician(apprentice);
        apprentice.post(&path, word.clone()).await.expect_problem(409, "not-able");
        let desk = yard.shop.as_role(domain::role::Role::Dispatcher);
        assert_eq!(desk.post(&path, word).await.status, 403);
        yard.bo.attest(held.task.id, statement).await.expect(200);
    }

    yard.ada.act(&held, "handover", json!({ "to": yard.bo.id })).await.expect(200);
    let handover = format!("/v1/tasks/{}/handover", held.task.id);
    let accepted = yard.bo.client.post(&handover, json!({ "accept": true })).await.expect(200);
    held.fence = accepted["fence"].as_i64().expect("a fence");
    let cautions = accepted["cautions"].as_array().expect("cautions");
    assert!(cautions.iter().all(|caution| caution["acknowledged"] == false), "{cautions:#?}");
    let refused = start(&yard.bo, &held).await;
    assert_eq!(refused.status, 409);
    let told = codes(&refused.body);
    assert!(told.contains(&"second_person_missing"), "{:#}", refused.body);
    assert!(told.iter().any(|code| code.contains("caution")), "{:#}", refused.body);

    for statement in statements {
        yard.ada.attest(held.task.id, statement).await.expect(200);
    }
    yard.bo.prepare(&held).await;
    assert_eq!(start(&yard.bo, &held).await.expect(200)["state"], "running");
}

#[tokio::test]
async fn work_on_one_order_undoes_what_passed_on_the_vehicles_other() {
    let yard = yard().await;
    let throttle = crate::worker::throttle;
    let first = taken_in(&yard.shop, throttle("RO-1")).await;
    let idle = yard.ada.work_until(&yard.bo, &yard, first.id, "idle_relearn").await;
    yard.ada.work_with(&yard.bo, idle.id).await;
    let mut second = throttle("RO-2");
    second["beside_open_order"] = json!(true);
    let second = taken_in(&yard.shop, second).await;
    yard.ada.work_until(&yard.bo, &yard, second.id, "idle_relearn").await;

    let first = order_view(&yard.shop, first.id).await;
    let of = |state: TaskState| {
        first.tasks.iter().filter(move |t| t.procedure == "idle_relearn" && t.state == state)
    };
    assert_eq!(of(TaskState::Disturbed).map(|t| t.id).collect::<Vec<_>>(), [idle.id]);
    let again = first.tasks.iter().find(|t| t.replaces == Some(idle.id)).expect("done again");
    assert!(!again.state.is_over(), "{:?}", again.state);
    let release = json!({ "kind": "complete" });
    let path = format!("/v1/orders/{}/release", first.id);
    let refused = yard.shop.as_role(domain::role::Role::Dispatcher).post(&path, release).await;
    refused.expect_problem(409, "not-releasable");
}

#[tokio::test]
async fn two_orders_on_one_vehicle_do_not_run_beside_each_other() {
    let yard = yard().await;
    let pads = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let mut second = rear_pads("RO-2");
    second["lines"] = json!([{ "line": 1, "operations": [{ "action": "replace", "component": "throttle_body" }] }]);
    let desk = yard.shop.as_role(domain::role::Role::Integration);
    desk.post("/v1/orders", second.clone()).await.expect_problem(409, "vehicle-has-open-order");
    second["beside_open_order"] = json!(true);
    let throttle = taken_in(&yard.shop, second).await;
    let other =
        throttle.tasks.iter().find(|t| t.state == TaskState::Ready).expect("something is ready");

    // Prepared while nothing runs, it is refused once the other order's task runs on the vehicle.
    let beside = yard.bo.take(other.id).await;
    let opening = yard.ada.begin(task(&pads, "parking_brake_open_for_service").id).await;
    yard.bo.prepare(&beside).await;
    let refused = start(&yard.bo, &beside).await.expect_problem(409, "vehicle-busy");
    assert!(codes(&refused).contains(&"vehicle_busy"), "{refused:#}");

    yard.ada.pass(&opening).await.expect(200);
    let refused = start(&yard.bo, &beside).await.expect_problem(409, "settling");
    assert!(
        refused["earliest_at"].is_string(),
        "the wait of the other order, with its end: {refused:#}"
    );
}

#[tokio::test]
async fn a_road_check_needs_no_bay_but_a_licensed_driver_and_a_vehicle_that_may_move() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    let opening = yard.ada.begin(task(&order, "parking_brake_open_for_service").id).await;
    yard.ada.pass(&opening).await.expect(200);
    yard.shop.advance(31).await;
    line(&yard.shop, order.id, 1, begin).await.expect(200);
    let done = json!({ "progress": "finished", "attests": ["calipers_bolted"] });
    line(&yard.shop, order.id, 1, done).await.expect(200);
    // While the calipers stand open nothing that needs the road is to be had.
    let road = task(&order, "brake_road_check");
    yard.ada.try_to_take(road.id).await.expect_problem(409, "task-waiting");

    let road = yard.ada.work_until(&yard.bo, &yard, order.id, "brake_road_check").await;
    assert!(road.needs.bay.is_none());
    let walker = yard.shop.technician("Cy", &["general", "brakes"]).await;
    let walker = yard.shop.as_technician(walker);
    walker.post("/v1/leases", json!({ "task": road.id })).await.expect_problem(409, "not-able");
    let held = yard.ada.begin(road.id).await;
    assert!(held.task.bay.is_none());
    assert_eq!(yard.ada.pass(&held).await.expect(200)["state"], "passed");
}
