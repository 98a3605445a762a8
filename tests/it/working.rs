//! Working: nothing out of order, nothing unproven, and one person at a time.

use std::time::Duration;

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::Answer;
use crate::worker::{
    Held, VIN, Worker, Yard, line, now, order_view, proofs, rear_pads, taken_in, task, throttle,
    vin_frame, yard,
};

const OPENING: &str = "parking_brake_open_for_service";
const CLOSING: &str = "parking_brake_close_and_calibrate";

fn codes(problem: &Value) -> Vec<&str> {
    let reasons = problem["reasons"].as_array().expect("reasons");
    reasons.iter().map(|r| r["code"].as_str().expect("text")).collect()
}

/// What stands in the way of starting, and the type of the problem.
async fn refused_start(worker: &Worker, held: &Held) -> (String, Value) {
    let answer = worker.act(held, "start", json!({})).await;
    let kind = answer.body["type"].as_str().expect("a problem").trim_start_matches("/problems/");
    let kind = kind.to_owned();
    let problem = answer.expect_problem(409, &kind);
    (kind, problem)
}

async fn release(yard: &Yard, order: Uuid) -> Answer {
    let body = json!({ "kind": "complete" });
    yard.shop.as_role(Role::Dispatcher).post(&format!("/v1/orders/{order}/release"), body).await
}

#[tokio::test]
async fn the_parking_brake_is_opened_worked_on_closed_and_tried_in_this_order_or_not_at_all() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let order = taken_in(shop, rear_pads("RO-1")).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });

    // Not the line before the calipers stand open, not the closing before the work.
    let early = line(shop, order.id, 1, begin.clone()).await.expect_problem(409, "out-of-order");
    assert!(codes(&early).contains(&"earlier_task_open"), "{early:#}");
    let closing = task(&order, CLOSING);
    ada.try_to_take(closing.id).await.expect_problem(409, "task-waiting");

    start_is_refused_until_everything_is_shown(&yard, task(&order, OPENING).id).await;

    // The calipers settle: 30 s in which nothing goes on.
    let settling = line(shop, order.id, 1, begin.clone()).await.expect_problem(409, "settling");
    assert!(settling["earliest_at"].is_string(), "{settling:#}");
    shop.advance(31).await;

    the_battery_is_not_disconnected_while_calipers_stand_open(&yard, &order).await;

    line(shop, order.id, 1, begin).await.expect(200);
    ada.try_to_take(closing.id).await.expect_problem(409, "task-waiting");
    let unproven = line(shop, order.id, 1, json!({ "progress": "finished" })).await;
    let problem = unproven.expect_problem(409, "precondition-not-met");
    assert_eq!(problem["reasons"][0]["id"], "calipers_bolted");
    let bolted = json!({ "progress": "finished", "attests": ["calipers_bolted"] });
    line(shop, order.id, 1, bolted).await.expect(200);

    let refused = release(&yard, order.id).await.expect_problem(409, "not-releasable");
    let told = refused["blocked_by"].to_string();
    assert!(told.contains("where that is lost, `parking_brake_recovery` recovers it"), "{told}");
    let blocked = refused["blocked_by"].as_array().expect("a list").len();
    assert!(blocked >= 3, "the calipers, the closing and its tests: {refused:#}");
    let done = ada.work_off(&yard.bo, order.id).await;
    assert_eq!(task(&done, CLOSING).state, TaskState::Passed);
    assert_eq!(task(&done, "parking_brake_function_test").state, TaskState::Passed);
    shop.advance(31).await;
    assert_eq!(release(&yard, order.id).await.expect(200)["state"], "released");

    // A released order is not opened again.
    release(&yard, order.id).await.expect_problem(409, "wrong-state");
    let desk = shop.as_role(Role::Integration);
    let path = format!("/v1/orders/{}", order.id);
    let tag = desk.get(&path).await.header("etag").to_owned();
    let change = desk.with("if-match", &tag).patch(&path, json!({ "weight": 9 })).await;
    change.expect_problem(409, "wrong-state");
}

async fn start_is_refused_until_everything_is_shown(yard: &Yard, opening: Uuid) {
    let ada = &yard.ada;
    let held = ada.take(opening).await;
    let (cautions, conditions) = (held.task.cautions.len(), held.task.preconditions.len());
    assert!(cautions >= 3 && conditions >= 6);

    let (kind, problem) = refused_start(ada, &held).await;
    assert_eq!(kind, "precondition-not-met");
    let all = codes(&problem);
    let count = |code: &str| all.iter().filter(|c| **c == code).count();
    assert_eq!(count("caution_not_acknowledged"), cautions);
    assert_eq!(count("precondition_not_met"), conditions);
    assert_eq!(count("identity_missing"), 1);
    assert_eq!(all.len(), cautions + conditions + 1, "every reason at once, and no other");

    let moment = now(&yard.shop).await;
    let mut items = proofs(&held.task.preconditions, moment);
    let battery = items.iter_mut().find(|i| i["signal"] == "battery_voltage");
    battery.expect("it is asked for")["value"] = json!(11.9);
    ada.show(&held, items).await;
    let (kind, problem) = refused_start(ada, &held).await;
    assert_eq!(kind, "precondition-not-met");
    let unmet = &problem["reasons"][0];
    assert_eq!(
        (&unmet["id"], &unmet["verdict"]),
        (&json!("battery_supported"), &json!("violated"))
    );

    let items = proofs(&held.task.preconditions, now(&yard.shop).await);
    ada.show(&held, items).await;
    let (kind, problem) = refused_start(ada, &held).await;
    assert_eq!(kind, "caution-not-acknowledged");
    assert_eq!(codes(&problem).len(), cautions + 1);

    ada.acknowledge(&held).await;
    let (kind, problem) = refused_start(ada, &held).await;
    assert_eq!((kind.as_str(), codes(&problem)), ("vehicle-mismatch", vec!["identity_missing"]));

    ada.show(&held, vec![vin_frame(VIN, now(&yard.shop).await)]).await;
    ada.start(&held).await;
    ada.act(&held, "start", json!({})).await.expect_problem(409, "wrong-state");
    let bare = ada.act(&held, "finish", json!({ "outcome": "passed" })).await;
    let problem = bare.expect_problem(409, "result-not-proven");
    assert_eq!(problem["reasons"].as_array().map(Vec::len), Some(held.task.proof.len()));
    assert_eq!(ada.pass(&held).await.expect(200)["state"], "passed");
}

async fn the_battery_is_not_disconnected_while_calipers_stand_open(yard: &Yard, order: &OrderView) {
    let desk = yard.shop.as_role(Role::Integration);
    let path = format!("/v1/orders/{}/lines/2", order.id);
    let battery =
        json!({ "line": 2, "operations": [{ "action": "disconnect", "component": "battery" }] });
    desk.put(&path, battery).await.expect(200);
    let begin = json!({ "progress": "started", "bay": yard.bay });
    let refused = line(&yard.shop, order.id, 2, begin).await;
    let problem = refused.expect_problem(409, "bracket-open");
    assert!(codes(&problem).contains(&"bracket_open"), "{problem:#}");
    desk.delete(&path).await.expect(200);
}

#[tokio::test]
async fn another_vehicle_than_the_orders_is_refused() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, OPENING).id).await;
    yard.ada.prepare(&held).await;
    // The example of 49 CFR 565.15 Table VI, another vehicle than the order's.
    let other = vin_frame("1G4AH59H45G118341", now(&yard.shop).await);
    yard.ada.act(&held, "evidence", json!({ "items": [other] })).await.expect(200);
    let (kind, problem) = refused_start(&yard.ada, &held).await;
    assert_eq!((kind.as_str(), codes(&problem)), ("vehicle-mismatch", vec!["vehicle_mismatch"]));
}

#[tokio::test]
async fn what_another_vehicle_gave_counts_for_nothing_until_the_right_one_is_shown() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, OPENING).id).await;
    yard.ada.acknowledge(&held).await;
    let at = now(&yard.shop).await;
    let mut items = vec![vin_frame("1G4AH59H45G118341", at)];
    items.extend(proofs(&held.task.preconditions, at));
    yard.ada.act(&held, "evidence", json!({ "items": items })).await.expect(200);
    yard.shop.advance(1).await;
    yard.ada.show(&held, vec![vin_frame(crate::worker::VIN, now(&yard.shop).await)]).await;
    let (kind, problem) = refused_start(&yard.ada, &held).await;
    assert_eq!(kind, "precondition-not-met", "{problem:#}");
    yard.ada.prepare(&held).await;
    yard.ada.start(&held).await;
    // Nor does it pass with another vehicle before it.
    let at = now(&yard.shop).await;
    let mut evidence = proofs(&held.task.proof, at);
    evidence.push(vin_frame("1G4AH59H45G118341", at));
    let finish = json!({ "outcome": "passed", "evidence": evidence });
    yard.ada.act(&held, "finish", finish).await.expect_problem(409, "vehicle-mismatch");
}

#[tokio::test]
async fn of_two_technicians_who_take_one_task_at_once_one_gets_it() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let opening = task(&order, OPENING).id;
    let (one, two) = tokio::join!(yard.ada.try_to_take(opening), yard.bo.try_to_take(opening));
    let (got, lost) = if one.status == 201 { (one, two) } else { (two, one) };
    got.expect(201);
    lost.expect_problem(409, "taken");
    let state = task(&order_view(&yard.shop, order.id).await, OPENING).attempt;
    assert_eq!(state, 1);
}

async fn until(yard: &Yard, order: Uuid, state: TaskState) {
    for _ in 0..100 {
        if task(&order_view(&yard.shop, order).await, OPENING).state == state {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("the task does not become {}", state.word());
}

#[tokio::test]
async fn a_lease_that_ended_fences_off_its_holder_and_what_ran_waits_for_a_decision() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let order = taken_in(shop, rear_pads("RO-1")).await;
    let opening = task(&order, OPENING).id;

    // Taken and forgotten: it goes back.
    let forgotten = ada.take(opening).await;
    shop.advance(2 * 3600).await;
    ada.act(&forgotten, "renew", json!({})).await.expect_problem(409, "lease-lost");
    until(&yard, order.id, TaskState::Ready).await;

    // Running when its lease ends: nobody knows how the vehicle stands, so a person decides.
    let running = ada.begin(opening).await;
    assert!(running.fence > forgotten.fence);
    shop.advance(2 * 3600).await;
    ada.pass(&running).await.expect_problem(409, "lease-lost");
    until(&yard, order.id, TaskState::Held).await;
    let decide =
        |decision: &str| json!({ "decision": decision, "reason": "looked at it: all is still" });
    let path = format!("/v1/tasks/{opening}/decisions");
    let dispatcher = shop.as_role(Role::Dispatcher);
    let decided = dispatcher.post(&path, decide("retry")).await.expect(200);
    assert_eq!(decided["state"], "ready");
    dispatcher.post(&path, decide("retry")).await.expect_problem(409, "wrong-state");
    ada.pass(&running).await.expect_problem(409, "lease-lost");
    let held = yard.bo.begin(opening).await;
    assert_eq!(yard.bo.pass(&held).await.expect(200)["state"], "passed");
}

#[tokio::test]
async fn what_is_given_up_has_failed_keeps_the_vehicle_and_is_tried_again_by_a_decision() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    let idle = yard.ada.work_until(&yard.bo, &yard, order.id, "idle_relearn").await;
    let held = yard.ada.begin(idle.id).await;
    let broke = json!({ "vehicle_condition": "it smokes", "safe": false });
    yard.ada.act(&held, "interruptions", broke).await.expect(200);
    let path = format!("/v1/tasks/{}/decisions", idle.id);
    let dispatcher = yard.shop.as_role(Role::Dispatcher);
    let silent = json!({ "decision": "give_up", "reason": " " });
    dispatcher.post(&path, silent).await.expect_problem(400, "invalid-request");
    let resume = json!({ "decision": "resume", "reason": "it looks well" });
    let refused = yard.ada.client.post(&path, resume).await.expect_problem(409, "wrong-state");
    assert!(refused["detail"].to_string().contains("retry"), "{refused:#}");
    let given_up = json!({ "decision": "give_up", "reason": "the intake leaks" });
    assert_eq!(dispatcher.post(&path, given_up).await.expect(200)["state"], "failed");
    yard.ada
        .act(&held, "finish", json!({ "outcome": "passed" }))
        .await
        .expect_problem(409, "lease-lost");
    let problem = release(&yard, order.id).await.expect_problem(409, "not-releasable");
    let blocks = problem["blocked_by"].as_array().expect("blocks");
    assert!(blocks.iter().any(|b| b["code"] == "task_failed"), "{problem:#}");
    assert_eq!(
        yard.bo.try_to_take(idle.id).await.status,
        409,
        "nobody takes it without a decision"
    );
    let again = json!({ "decision": "retry", "reason": "the leak is mended" });
    assert_eq!(dispatcher.post(&path, again).await.expect(200)["state"], "ready");
    yard.ada.work_off(&yard.bo, order.id).await;
    assert_eq!(release(&yard, order.id).await.expect(200)["state"], "released");
}

#[tokio::test]
async fn a_task_is_handed_over_by_two_people_and_not_while_a_service_mode_runs() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let mut held = yard.ada.take(task(&order, OPENING).id).await;
    let path = format!("/v1/tasks/{}/handover", held.task.id);
    let accept = json!({ "accept": true });
    yard.bo.client.post(&path, accept.clone()).await.expect_problem(409, "wrong-state");
    yard.ada.act(&held, "handover", json!({ "to": yard.bo.id, "note": "lunch" })).await.expect(200);
    let accepted = yard.bo.client.post(&path, accept).await.expect(200);
    assert_eq!(accepted["technician"], json!(yard.bo.id));
    let fence = accepted["fence"].as_i64().expect("a fence");
    assert!(fence > held.fence);
    yard.ada.act(&held, "renew", json!({})).await.expect_problem(409, "lease-lost");
    held.fence = fence;
    yard.bo.prepare(&held).await;
    yard.bo.start(&held).await;
    let back = yard.bo.act(&held, "handover", json!({ "to": yard.ada.id })).await;
    back.expect_problem(409, "bracket-open");
}

#[tokio::test]
async fn a_waiver_that_needs_two_people_is_approved_by_another_and_some_tasks_are_never_waived() {
    let yard = yard().await;
    let shop = &yard.shop;
    let order = taken_in(shop, rear_pads("RO-1")).await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let why = json!({ "reason": "the customer drives it to the tester himself" });
    let never = format!("/v1/tasks/{}/waiver", task(&order, CLOSING).id);
    dispatcher.post(&never, why.clone()).await.expect_problem(409, "not-waivable");
    let road = task(&order, "brake_road_check").id;
    let path = format!("/v1/tasks/{road}/waiver");
    let decisions = format!("/v1/tasks/{road}/decisions");
    for blank in ["", "   ", "\t\n", "\u{a0}"] {
        let refused = dispatcher.post(&path, json!({ "reason": blank })).await;
        let problem = refused.expect_problem(400, "invalid-request");
        assert_eq!(problem["errors"][0]["pointer"], "/reason");
        let body = json!({ "decision": "give_up", "reason": blank });
        dispatcher.post(&decisions, body).await.expect_problem(400, "invalid-request");
    }
    let given = dispatcher.post(&path, why).await.expect(200);
    assert_eq!(given["approval_needed"], true);
    assert_ne!(given["task_state"], "waived");
    let approvals = format!("{path}/approvals");
    let own = dispatcher.post(&approvals, json!({})).await;
    own.expect_problem(409, "second-person-required");
    let owner = shop.client(&shop.claims("the owner", &[Role::Owner], None));
    let approved = owner.post(&approvals, json!({})).await.expect(200);
    assert_eq!(
        (&approved["approval_needed"], &approved["task_state"]),
        (&json!(false), &json!("waived"))
    );
}
