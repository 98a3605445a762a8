//! A chain that is gone through more than once: each time from its beginning.

use contract::orders::OrderView;
use contract::tasks::TaskView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::Answer;
use crate::worker::{Held, Yard, line, order_view, read, rear_pads, taken_in, yard};

const OPENING: &str = "parking_brake_open_for_service";
const CLOSING: &str = "parking_brake_close_and_calibrate";
const TEST: &str = "parking_brake_function_test";

/// The task that lives for this procedure.
#[track_caller]
fn living<'a>(order: &'a OrderView, procedure: &str) -> &'a TaskView {
    let gone = |t: &TaskView| matches!(t.state, TaskState::Withdrawn | TaskState::Disturbed);
    let mut living = order.tasks.iter().filter(|t| t.procedure == procedure && !gone(t));
    living.next().expect("one lives")
}

async fn now(yard: &Yard, order: Uuid) -> OrderView {
    order_view(&yard.shop, order).await
}

/// Works the living task of a procedure, and waits until it has settled.
async fn work(yard: &Yard, order: Uuid, procedure: &str) {
    let task = living(&now(yard, order).await, procedure).id;
    yard.ada.work_with(&yard.bo, task).await;
    yard.shop.advance(31).await;
}

async fn begin_line(yard: &Yard, order: Uuid, number: i32) -> Answer {
    line(&yard.shop, order, number, json!({ "progress": "started", "bay": yard.bay })).await
}

async fn work_line(yard: &Yard, order: Uuid, number: i32) {
    begin_line(yard, order, number).await.expect(200);
    let done = json!({ "progress": "finished", "attests": ["calipers_bolted"] });
    line(&yard.shop, order, number, done).await.expect(200);
}

/// Puts rear brake discs on the order as line 2, and answers what that makes the service ask.
async fn add_discs(yard: &Yard, order: Uuid) -> OrderView {
    let desk = yard.shop.as_role(Role::Integration);
    let discs = json!({ "line": 2,
        "operations": [{ "action": "replace", "component": "rear_brake_rotors" }] });
    let mut seen: OrderView =
        read(desk.put(&format!("/v1/orders/{order}/lines/2"), discs).await.expect(200));
    while let Some(question) = seen.questions.iter().find(|q| q.state == "open") {
        let no = json!({ "question": question.id, "fact": false });
        seen = read(desk.post(&format!("/v1/orders/{order}/answers"), no).await.expect(200));
    }
    seen
}

async fn interrupt(yard: &Yard, held: &Held) {
    let told = json!({ "vehicle_condition": "one caliper is open", "safe": true });
    assert_eq!(yard.ada.act(held, "interruptions", told).await.expect(200)["state"], "held");
}

async fn decide(yard: &Yard, task: Uuid, decision: &str) -> Answer {
    let body = json!({ "decision": decision, "reason": "the clip broke" });
    let path = format!("/v1/tasks/{task}/decisions");
    yard.shop.as_role(Role::Dispatcher).post(&path, body).await
}

#[tokio::test]
async fn work_ordered_after_the_calipers_were_closed_is_done_with_them_open_again() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await.id;
    work(&yard, order, OPENING).await;
    work_line(&yard, order, 1).await;
    yard.ada.work_off(&yard.bo, order).await;
    yard.shop.advance(31).await;

    let amended = add_discs(&yard, order).await;
    let opening = living(&amended, OPENING);
    assert_eq!(opening.state, TaskState::Ready, "the calipers are closed");
    assert!(opening.replaces.is_some());
    assert_eq!(living(&amended, CLOSING).state, TaskState::Passed);
    begin_line(&yard, order, 2).await.expect_problem(409, "out-of-order");

    work(&yard, order, OPENING).await;
    let open = now(&yard, order).await;
    assert_eq!(living(&open, CLOSING).state, TaskState::Waiting, "what is open is to be closed");
    work_line(&yard, order, 2).await;
    let done = yard.ada.work_off(&yard.bo, order).await;
    assert_eq!(living(&done, CLOSING).state, TaskState::Passed);
    assert_eq!(living(&done, TEST).state, TaskState::Passed);
}

#[tokio::test]
async fn a_chain_that_breaks_off_twice_is_begun_again_twice() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await.id;
    work(&yard, order, OPENING).await;
    work_line(&yard, order, 1).await;
    let mut openings = vec![living(&now(&yard, order).await, OPENING).id];
    for _ in 0..2 {
        let ready: Vec<Uuid> = before_closing(&now(&yard, order).await);
        for task in ready {
            yard.ada.work_with(&yard.bo, task).await;
            yard.shop.advance(31).await;
        }
        let held = yard.ada.begin(living(&now(&yard, order).await, CLOSING).id).await;
        interrupt(&yard, &held).await;
        decide(&yard, held.task.id, "restart_chain").await.expect(200);
        let again = now(&yard, order).await;
        let opening = living(&again, OPENING);
        assert!(!openings.contains(&opening.id), "it is opened again, not only closed");
        assert_eq!(opening.state, TaskState::Ready);
        assert_eq!(living(&again, CLOSING).state, TaskState::Waiting);
        openings.push(opening.id);
        work(&yard, order, OPENING).await;
    }
    yard.ada.work_off(&yard.bo, order).await;
}

/// Ready tasks other than the closing.
fn before_closing(order: &OrderView) -> Vec<Uuid> {
    let ready = order.tasks.iter().filter(|t| t.state == TaskState::Ready);
    ready.filter(|t| t.procedure != CLOSING).map(|t| t.id).collect()
}

#[tokio::test]
async fn a_chain_is_not_begun_again_under_a_step_that_waits_for_a_decision() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await.id;
    work(&yard, order, OPENING).await;
    work_line(&yard, order, 1).await;
    let failed = fail_the_test(&yard, order).await;

    add_discs(&yard, order).await;
    work(&yard, order, OPENING).await;
    work_line(&yard, order, 2).await;
    for task in before_closing(&now(&yard, order).await) {
        yard.ada.work_with(&yard.bo, task).await;
        yard.shop.advance(31).await;
    }
    let held = yard.ada.begin(living(&now(&yard, order).await, CLOSING).id).await;
    interrupt(&yard, &held).await;
    let problem = decide(&yard, failed, "restart_chain").await;
    let detail: Value = problem.expect_problem(409, "vehicle-busy");
    assert!(detail["detail"].as_str().is_some_and(|d| d.contains("held")), "{detail:#}");
    decide(&yard, held.task.id, "retry").await.expect(200);
    decide(&yard, failed, "retry").await.expect(200);
    yard.ada.work_off(&yard.bo, order).await;
}

/// Works off all before the functional test, which fails.
async fn fail_the_test(yard: &Yard, order: Uuid) -> Uuid {
    for _ in 0..20 {
        let seen = now(yard, order).await;
        let ready = seen.tasks.iter().find(|t| t.state == TaskState::Ready).expect("one is ready");
        if ready.procedure != TEST {
            yard.ada.work_with(&yard.bo, ready.id).await;
            yard.shop.advance(31).await;
            continue;
        }
        let held = yard.ada.begin(ready.id).await;
        let failed = json!({ "outcome": "failed", "note": "the left wheel is not held" });
        assert_eq!(yard.ada.act(&held, "finish", failed).await.expect(200)["state"], "failed");
        return ready.id;
    }
    panic!("the test does not get ready");
}
