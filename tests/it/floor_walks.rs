//! Walks of the shop floor, from the first code read to the release, with what is refused on the way.

use contract::orders::OrderView;
use contract::tasks::TaskView;
use domain::lifecycle::{OrderState, TaskState};
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::harness::Answer;
use crate::worker::{
    Held, VIN, Worker, Yard, line, now, order_view, proofs, read, taken_in, task, throttle,
    vin_frame, yard,
};

/// What the precondition of this name lacks, among the reasons of a refused start.
async fn refused(worker: &Worker, held: &Held) -> Vec<(String, String)> {
    let answer = worker.act(held, "start", json!({})).await;
    let problem = answer.expect_problem(409, "precondition-not-met");
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let reasons = problem["reasons"].as_array().expect("reasons");
    reasons.iter().map(|r| (text(&r["id"]), text(&r["detail"]))).collect()
}

/// Shows the vehicle and everything that is asked for, with some items changed or left out.
async fn show_but(yard: &Yard, held: &Held, change: impl Fn(Value) -> Option<Value>) {
    let at = now(&yard.shop).await;
    let mut items = vec![vin_frame(VIN, at)];
    items.extend(proofs(&held.task.preconditions, at).into_iter().filter_map(change));
    yard.ada.show(held, items).await;
}

fn without(statement: &'static str) -> impl Fn(Value) -> Option<Value> {
    move |item| (item["statement"] != statement && item["signal"] != statement).then_some(item)
}

async fn release(yard: &Yard, order: Uuid, kind: &str) -> Answer {
    let body = json!({ "kind": kind });
    yard.shop.as_role(Role::Dispatcher).post(&format!("/v1/orders/{order}/release"), body).await
}

#[tokio::test]
async fn a_throttle_body_is_learned_with_the_engine_off_then_warm_and_proven_by_a_rescan() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let order = taken_in(shop, throttle("RO-T")).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    // The codes are on record before the part is touched.
    line(shop, order.id, 1, begin.clone()).await.expect_problem(409, "out-of-order");
    ada.work_with(&yard.bo, task(&order, "code_record_before_work").id).await;
    ada.try_to_take(task(&order, "throttle_position_relearn").id)
        .await
        .expect_problem(409, "task-waiting");
    line(shop, order.id, 1, begin).await.expect(200);
    line(shop, order.id, 1, json!({ "progress": "finished" })).await.expect(200);

    // The end stops are learned with the engine off.
    ada.try_to_take(task(&order, "idle_relearn").id).await.expect_problem(409, "task-waiting");
    let held = ada.take(task(&order, "throttle_position_relearn").id).await;
    ada.acknowledge(&held).await;
    show_but(&yard, &held, |mut item| {
        if item["signal"] == "engine" {
            item["is"] = json!("running");
        }
        Some(item)
    })
    .await;
    assert_eq!(refused(ada, &held).await.len(), 1);
    show_but(&yard, &held, Some).await;
    ada.start(&held).await;
    assert_eq!(ada.pass(&held).await.expect(200)["state"], "passed");

    let idle = ada.work_until(&yard.bo, &yard, order.id, "idle_relearn").await;
    the_idle_is_learned_warm_with_the_extraction_on(&yard, idle.id).await;
    let rescan = order_view(shop, order.id).await;
    assert_eq!(task(&rescan, "code_rescan_after_work").state, TaskState::Ready);
    release(&yard, order.id, "complete").await.expect_problem(409, "not-releasable");
    ada.work_off(&yard.bo, order.id).await;
    assert_eq!(release(&yard, order.id, "complete").await.expect(200)["state"], "released");
}

async fn the_idle_is_learned_warm_with_the_extraction_on(yard: &Yard, idle: Uuid) {
    let ada = &yard.ada;
    let held = ada.take(idle).await;
    assert_eq!(held.task.bay, Some(yard.bay), "where the exhaust is extracted");
    ada.acknowledge(&held).await;
    let cold = |celsius: Value| {
        move |mut item: Value| {
            if item["signal"] == "engine_coolant_temperature" {
                item["value"] = celsius.clone();
                item["unit"] = json!("Cel");
            }
            Some(item)
        }
    };
    let no_extraction = without("exhaust_extraction_connected");
    let at_68 = cold(json!(68));
    show_but(yard, &held, |item| no_extraction(item).and_then(&at_68)).await;
    let lacking = refused(ada, &held).await;
    assert_eq!(
        lacking.iter().map(|(id, _)| id.as_str()).collect::<Vec<_>>(),
        ["exhaust_extraction_connected", "coolant_warm"]
    );
    assert!(lacking[1].1.contains("68 Cel, needs"), "{}", lacking[1].1);

    // Warm: P0301 has nothing to do with the idle; P0507 is what this relearn cures.
    let read = |codes: &'static str| {
        move |mut item: Value| {
            if item["bytes"] == "4300" {
                item["bytes"] = json!(codes);
            }
            Some(item)
        }
    };
    show_but(yard, &held, read("430203010507")).await;
    let lacking = refused(ada, &held).await;
    assert_eq!(lacking.len(), 1, "{lacking:?}");
    assert_eq!(lacking[0].0, "no_other_engine_code");
    assert!(lacking[0].1.contains("P0301") && !lacking[0].1.contains("P0507"), "{lacking:?}");
    // Repaired and read again.
    yard.shop.advance(300).await;
    show_but(yard, &held, read("43010507")).await;
    ada.start(&held).await;
    yard.shop.advance(45).await;
    assert_eq!(ada.pass(&held).await.expect(200)["state"], "passed");
}

#[tokio::test]
async fn after_a_battery_swap_cheap_checks_close_what_works_and_the_sensor_learns_after_hand_over()
{
    let yard = yard().await;
    yard.shop.bay("level", &["level_floor"]).await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let features = json!({ "battery_sensor": true, "power_windows_one_touch": true, "sunroof": true,
        "electronic_throttle": true });
    let body = json!({ "number": "RO-B", "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn",
            "model_year": 2019, "powertrain": "combustion", "features": features },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "battery" }], "minutes": 20 }] });
    let order = taken_in(shop, body).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    ada.work_with(&yard.bo, task(&order, "code_record_before_work").id).await;

    // Without power the locks are dead: key outside, a way in kept open, the modules asleep.
    line(shop, order.id, 1, begin.clone()).await.expect_problem(409, "out-of-order");
    let held = ada.take(task(&order, "power_off_preparation").id).await;
    ada.acknowledge(&held).await;
    show_but(&yard, &held, without("access_kept_open")).await;
    let lacking = refused(ada, &held).await;
    assert_eq!((lacking.len(), lacking[0].0.as_str()), (1, "access_kept_open"));
    show_but(&yard, &held, Some).await;
    ada.start(&held).await;
    let awake = ada.act(&held, "finish", json!({ "outcome": "passed" })).await;
    let problem = awake.expect_problem(409, "result-not-proven");
    assert_eq!(problem["reasons"][0]["id"], "modules_asleep");
    ada.pass(&held).await.expect(200);
    line(shop, order.id, 1, begin).await.expect(200);
    line(shop, order.id, 1, json!({ "progress": "finished" })).await.expect(200);

    ada.work_with(&yard.bo, task(&order, "battery_registration").id).await;
    what_shares_a_set_up_stands_together(&yard, order.id).await;
    ada.work_with(&yard.bo, task(&order, "settings_after_power_loss").id).await;
    let checked = quick_checks(&yard, order.id).await;
    for procedure in ["window_one_touch_initialisation", "sunroof_initialisation"] {
        assert!(checked.contains(&procedure.to_owned()), "{checked:?}");
    }

    // The rest of the work, but what ends after the hand-over.
    let rest = "battery_sensor_rest_learning";
    let learning = ada.work_until(&yard.bo, &yard, order.id, rest).await;
    release(&yard, order.id, "complete").await.expect_problem(409, "not-releasable");
    let released: OrderView = read(release(&yard, order.id, "open_learning").await.expect(200));
    assert_eq!(released.state, OrderState::Released);
    assert_eq!(task(&released, rest).state, TaskState::Ready, "open, and seen");
    assert_eq!(released.progress.open, 1);
    let open = shop.as_role(Role::Dispatcher).get("/v1/tasks?state=ready").await.expect(200);
    assert!(open.to_string().contains(rest), "{open:#}");

    // Hours later the owner brings it by: the charge state is valid.
    shop.advance(5 * 3600).await;
    ada.work_with(&yard.bo, learning.id).await;
    let closed = order_view(shop, order.id).await;
    assert_eq!(closed.state, OrderState::Closed);
}

/// Closes by its quick check whatever has one and is ready; tells which.
async fn quick_checks(yard: &Yard, order: Uuid) -> Vec<String> {
    let ada = &yard.ada;
    let mut closed = Vec::new();
    loop {
        let seen = order_view(&yard.shop, order).await;
        let ready = seen.tasks.iter().find(|t| {
            t.state == TaskState::Ready && t.quick_check.is_some() && t.waits_for.is_empty()
        });
        let Some(ready) = ready else { return closed };
        let held = ada.take(ready.id).await;
        ada.acknowledge(&held).await;
        let check = held.task.quick_check.as_ref().expect("it has one");
        let finish = json!({ "outcome": "passed", "quick_check": true });
        if closed.is_empty() {
            let bare = ada.act(&held, "finish", finish.clone()).await;
            let problem = bare.expect_problem(409, "result-not-proven");
            let reasons = problem["reasons"].as_array().expect("reasons").len();
            assert_eq!(reasons, check.proof.len() + 1, "every proof, and the vehicle: {problem:#}");
        }
        let hold = check.proof.iter().filter_map(|p| p.hold_for).max();
        if let Some(hold) = hold {
            yard.shop.advance(i64::from(hold) + 5).await;
        }
        let at = now(&yard.shop).await;
        let mut items = vec![vin_frame(VIN, at)];
        items.extend(proofs(&check.proof, at));
        ada.show(&held, items).await;
        ada.show_for(&held, &check.proof).await;
        let passed = ada.act(&held, "finish", finish).await.expect(200);
        assert_eq!(passed["state"], "passed", "{}", held.task.procedure);
        closed.push(held.task.procedure.clone());
        if yard_settles(yard, order).await {
            yard.ada.wait(&order_view(&yard.shop, order).await).await;
        }
    }
}

async fn yard_settles(yard: &Yard, order: Uuid) -> bool {
    order_view(&yard.shop, order).await.tasks.iter().any(|t| t.until.is_some())
}

async fn what_shares_a_set_up_stands_together(yard: &Yard, order: Uuid) {
    let path = format!("/v1/orders/{order}/worklist");
    let list = yard.shop.as_role(Role::Dispatcher).get(&path).await.expect(200);
    let groups = list["groups"].as_array().expect("groups");
    let seen = order_view(&yard.shop, order).await;
    let open: Vec<&TaskView> = seen.tasks.iter().filter(|t| !t.state.is_over()).collect();
    let listed: Vec<&Value> =
        groups.iter().flat_map(|g| g["tasks"].as_array().into_iter().flatten()).collect();
    assert_eq!(listed.len(), open.len(), "every open task once: {list:#}");
    assert!(groups.len() * 2 <= open.len() + 1, "fewer errands than tasks: {list:#}");
    // The order works: whatever a task waits for is listed before it.
    let place = |id: &str| listed.iter().position(|t| t["task"] == id);
    for task in &open {
        for earlier in task.waits_for.iter().filter_map(|w| w.task) {
            assert!(place(&earlier.to_string()) < place(&task.id.to_string()), "{list:#}");
        }
    }
    for group in groups.iter().filter(|g| g["set_up"]["engine"] == "running") {
        let off = group["tasks"]
            .as_array()
            .expect("tasks")
            .iter()
            .any(|t| t["procedure"] == "throttle_position_relearn");
        assert!(!off, "the end stops are not learned with the engine running: {group:#}");
    }
    let last = listed.last().expect("something is listed");
    assert_eq!(last["procedure"], "battery_sensor_rest_learning");
    assert_eq!(last["after_handover"], true);
}

#[tokio::test]
async fn a_windshield_cures_before_anything_moves_and_its_camera_is_aimed_on_a_measured_floor() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let target_bay = shop.bay("targets", &["level_floor", "target_space"]).await;
    shop.equipment("targets A", "calibration_targets").await;
    let body = json!({ "number": "RO-W", "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn",
            "model_year": 2019, "powertrain": "combustion",
            "features": { "front_camera": true, "camera_calibration": "both" } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "windshield" }], "minutes": 90 }] });
    let order = taken_in(shop, body).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    ada.work_with(&yard.bo, task(&order, "code_record_before_work").id).await;
    line(shop, order.id, 1, begin.clone()).await.expect_problem(409, "out-of-order");
    ada.work_with(&yard.bo, task(&order, "windshield_bonding_preparation").id).await;
    line(shop, order.id, 1, begin).await.expect(200);
    let unproven = line(shop, order.id, 1, json!({ "progress": "finished" })).await;
    unproven.expect_problem(409, "precondition-not-met");
    let set = json!({ "progress": "finished", "attests": ["windshield_set"] });
    line(shop, order.id, 1, set).await.expect(200);

    it_does_not_move_while_it_cures(&yard, &order).await;
    let cure = ada.take(task(&order, "windshield_adhesive_cure").id).await;
    ada.acknowledge(&cure).await;
    show_but(&yard, &cure, Some).await;
    let lacking = refused(ada, &cure).await;
    assert_eq!(lacking[0].0, "cured", "the drive-away time has not passed: {lacking:?}");
    ada.act(&cure, "renew", json!({ "minutes": 480 })).await.expect(200);
    shop.advance(3601).await;
    let word = |statement: &str, at| json!({ "kind": "attestation", "statement": statement, "holds": true, "taken_at": at });
    let at = now(shop).await;
    ada.show(&cure, vec![word("drive_away_time_passed", at), vin_frame(VIN, at)]).await;
    ada.start(&cure).await;
    ada.pass(&cure).await.expect(200);

    let aim = ada.work_until(&yard.bo, &yard, order.id, "front_camera_target_calibration").await;
    for done in ["tire_pressure_setting", "vehicle_load_preparation"] {
        let seen = order_view(shop, order.id).await;
        assert_eq!(task(&seen, done).state, TaskState::Passed);
    }
    the_floor_is_measured_or_nothing_is_aimed_on_it(&yard, target_bay, aim.id).await;
    let done = ada.work_off(&yard.bo, order.id).await;
    for driven in ["front_camera_drive_calibration", "driver_assistance_road_check"] {
        assert_eq!(task(&done, driven).state, TaskState::Passed);
    }
    assert_eq!(release(&yard, order.id, "complete").await.expect(200)["state"], "released");
    let report = format!("/v1/orders/{}/report", order.id);
    let told = shop.as_role(Role::Auditor).get(&report).await.expect(200).to_string();
    assert!(told.contains("floor slope 0.3 deg") && told.contains("Inclinometer 2"), "{told}");
    assert!(told.contains("target set A-7"), "{told}");
}

async fn it_does_not_move_while_it_cures(yard: &Yard, order: &OrderView) {
    let dispatcher = yard.shop.as_role(Role::Dispatcher);
    let path = format!("/v1/vehicles/{}/departures", order.vehicle_id);
    let drive = json!({ "order": order.id, "kind": "test_drive", "reason": "wind noise", "driver": yard.ada.id });
    let refused = dispatcher.post(&path, drive).await.expect_problem(409, "vehicle-busy");
    let detail = refused["detail"].as_str().expect("words");
    assert!(detail.contains("windshield_bonding") && detail.contains("must not move"), "{detail}");
    let towed = json!({ "kind": "incomplete_towed", "reason": "the owner insists" });
    let path = format!("/v1/orders/{}/release", order.id);
    dispatcher.post(&path, towed).await.expect_problem(409, "not-releasable");
}

/// What the floor lacks.
#[track_caller]
fn slope(lacking: &[(String, String)]) -> &str {
    let found = lacking.iter().find(|(id, _)| id == "floor_level");
    found.map(|(_, detail)| detail.as_str()).expect("the floor lacks something")
}

async fn the_floor_is_measured_or_nothing_is_aimed_on_it(yard: &Yard, bay: Uuid, aim: Uuid) {
    let (shop, ada) = (&yard.shop, &yard.ada);
    let held = ada.take(aim).await;
    assert_eq!(held.task.bay, Some(bay));
    ada.acknowledge(&held).await;
    show_but(yard, &held, without("floor_slope")).await;
    let lacking = refused(ada, &held).await;
    assert_eq!((lacking.len(), lacking[0].0.as_str()), (1, "floor_level"));

    let path = format!("/v1/bays/{bay}");
    let dispatcher = shop.as_role(Role::Dispatcher);
    let at = now(shop).await;
    let days = chrono::TimeDelta::days;
    let measured = |value: f64, until: chrono::DateTime<chrono::Utc>| {
        json!({ "name": "targets", "capabilities": ["level_floor", "target_space"],
            "measured": [{ "signal": "floor_slope", "value": value, "unit": "deg",
                "instrument": "Inclinometer 2", "measured_at": at - days(400), "valid_until": until }] })
    };
    let put = async |body: Value| {
        let tag = dispatcher.get(&path).await.header("etag").to_owned();
        dispatcher.with("if-match", &tag).put(&path, body).await
    };
    put(measured(0.3, at - days(401))).await.expect_problem(422, "unprocessable");
    put(measured(0.3, at - days(35))).await.expect(200);
    assert!(slope(&refused(ada, &held).await).contains("has run out"));
    put(measured(0.9, at + days(30))).await.expect(200);
    assert!(slope(&refused(ada, &held).await).contains("0.9 deg"));
    put(measured(0.3, at + days(30))).await.expect(200);
    show_but(yard, &held, without("floor_slope")).await;
    let started =
        ada.act(&held, "start", json!({ "target_set": "A-7", "people": [yard.bo.id] })).await;
    assert_eq!(started.expect(200)["state"], "running");
    ada.pass(&held).await.expect(200);
}
