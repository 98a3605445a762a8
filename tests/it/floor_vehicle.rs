//! The vehicle on the floor: locks, departures, a wrong identity, and what was really used.

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::worker::{
    VIN, Worker, Yard, finish_line, line, now, order_view, proofs, read, rear_pads, taken_in, task,
    told_as_events, vin_frame, yard,
};

fn electric(number: &str) -> Value {
    json!({ "number": number, "vehicle": { "vin": VIN, "make": "Brennick", "model": "Tarn", "model_year": 2019,
            "powertrain": "electric", "features": { "high_voltage": true } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "inverter" }], "minutes": 90 }] })
}

#[tokio::test]
async fn a_high_voltage_lock_is_a_persons_and_passes_on_by_both_their_tokens() {
    let plain = yard().await;
    let bay = plain.shop.bay("hv", &["high_voltage_area", "lift", "level_floor"]).await;
    for kind in
        ["high_voltage_kit", "insulation_tester", "coolant_filler", "fluid_filler", "smoke_machine"]
    {
        plain.shop.equipment(kind, kind).await;
    }
    let yard = Yard { bay, ..plain };
    let (ada, bo) = (&yard.ada, &yard.bo);
    let order = taken_in(&yard.shop, electric("RO-HV")).await;
    let isolation = ada.work_until(bo, &yard, order.id, "high_voltage_isolation").await;

    // The second person is able, and is somebody.
    let helper = yard.shop.technician("Cy", &["general"]).await;
    let held = ada.take(isolation.id).await;
    let path = format!("/v1/tasks/{}/attestations", isolation.id);
    let present = json!({ "statement": "second_person_present", "holds": true });
    yard.shop
        .as_technician(helper)
        .post(&path, present.clone())
        .await
        .expect_problem(409, "not-able");
    let desk = yard.shop.as_role(Role::Dispatcher);
    desk.post(&path, present).await.expect_problem(403, "person-required");
    ada.act(&held, "return", json!({})).await.expect(200);
    ada.work_with(bo, isolation.id).await;

    let vehicle = format!("/v1/vehicles/{}", order.vehicle_id);
    let seen = desk.get(&vehicle).await.expect(200);
    assert_eq!(seen["locks"], json!([{ "mode": "high_voltage_isolated", "holder": ada.id }]));
    let closing = ada.work_until(bo, &yard, order.id, "high_voltage_re_energise").await;
    let held = bo.take(closing.id).await;
    ada.stand_by(closing.id, &held.task.preconditions).await;
    if held.task.needs.people > 1 {
        ada.attest(closing.id, "second_person_present").await.expect(200);
    }
    bo.prepare(&held).await;
    let refused = bo.act(&held, "start", json!({})).await;
    let problem = refused.expect_problem(409, "second-person-required");
    assert!(problem["detail"].as_str().is_some_and(|d| d.contains("held by Ada")), "{problem:#}");

    let transfers = format!("{vehicle}/lock-transfers");
    let offer = |to: Uuid| json!({ "mode": "high_voltage_isolated", "to": to });
    let accept = json!({ "mode": "high_voltage_isolated", "accept": true });
    bo.client.post(&transfers, offer(bo.id)).await.expect_problem(409, "not-able");
    bo.client.post(&transfers, accept.clone()).await.expect_problem(409, "wrong-state");
    ada.client.post(&transfers, offer(helper)).await.expect_problem(409, "not-able");
    ada.client.post(&transfers, offer(bo.id)).await.expect(200);
    yard.shop
        .as_technician(helper)
        .post(&transfers, accept.clone())
        .await
        .expect_problem(409, "wrong-state");
    let passed = bo.client.post(&transfers, accept).await.expect(200);
    assert_eq!(passed["holder"], json!(bo.id));
    ada.client.post(&transfers, offer(bo.id)).await.expect_problem(409, "not-able");
    bo.prepare(&held).await;
    bo.start(&held).await;
}

#[tokio::test]
async fn a_vehicle_leaves_for_a_test_drive_only_when_nothing_keeps_it_and_comes_back_with_its_odometer()
 {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let mut body = rear_pads("RO-1");
    body["odometer_in"] = json!(81_200);
    let order = taken_in(shop, body).await;
    let desk = shop.as_role(Role::Dispatcher);
    let vehicle = format!("/v1/vehicles/{}", order.vehicle_id);
    let departures = format!("{vehicle}/departures");
    let drive = json!({ "order": order.id, "kind": "test_drive", "reason": "a noise at the rear", "driver": ada.id,
        "odometer_out": 81_200 });
    for (field, value, status, word) in [
        ("reason", json!("  "), 400, "invalid-request"),
        ("driver", Value::Null, 422, "unprocessable"),
        ("driver", json!(yard.bay), 422, "unprocessable"),
        ("kind", json!("joyride"), 400, "invalid-request"),
        ("kind", json!("sublet"), 422, "unprocessable"),
    ] {
        let mut bad = drive.clone();
        bad[field] = value;
        if bad[field].is_null() {
            bad.as_object_mut().expect("an object").remove(field);
        }
        desk.post(&departures, bad).await.expect_problem(status, word);
    }
    let walker = shop.technician("Cy", &["general", "brakes"]).await;
    let mut unlicensed = drive.clone();
    unlicensed["driver"] = json!(walker);
    desk.post(&departures, unlicensed).await.expect_problem(409, "not-able");

    // Before the work it may go; while it is away nothing is begun on it.
    let out = desk.post(&departures, drive.clone()).await.expect(201);
    assert!(out["returned_at"].is_null());
    let again = desk.post(&departures, drive.clone()).await.expect_problem(409, "vehicle-busy");
    assert!(again.to_string().contains("away since"), "{again:#}");
    let held = ada.take(task(&order, "parking_brake_open_for_service").id).await;
    ada.prepare(&held).await;
    let refused = ada.act(&held, "start", json!({})).await.expect_problem(409, "vehicle-busy");
    assert!(refused.to_string().contains("vehicle_away"), "{refused:#}");
    let back = json!({ "odometer_in": 81_190, "condition": "unharmed" });
    desk.post(&format!("{vehicle}/returns"), back.clone()).await.expect(200);
    desk.post(&format!("{vehicle}/returns"), back).await.expect_problem(409, "wrong-state");
    let seen = order_view(shop, order.id).await;
    assert!(seen.findings.iter().any(|f| f.code == "odometer_decreased"), "{:?}", seen.findings);

    // Opened brakes and a pedal that nobody tried keep it.
    ada.prepare(&held).await;
    ada.start(&held).await;
    ada.pass(&held).await.expect(200);
    desk.post(&departures, drive.clone()).await.expect_problem(409, "vehicle-busy");
    shop.advance(31).await;
    line(shop, order.id, 1, json!({ "progress": "started", "bay": yard.bay })).await.expect(200);
    finish_line(shop, order.id, 1).await;
    ada.work_until(&yard.bo, &yard, order.id, "brake_road_check").await;
    let seen = order_view(shop, order.id).await;
    assert_eq!(task(&seen, "firm_pedal_check").state, TaskState::Passed);
    desk.post(&departures, drive).await.expect(201);
    let report = format!("/v1/orders/{}/report", order.id);
    let told = shop.as_role(Role::Auditor).get(&report).await.expect(200).to_string();
    assert!(told.contains("odometer_decreased") && told.contains("test drive"), "{told}");
}

#[tokio::test]
async fn a_wrong_identity_is_corrected_by_two_people_and_what_was_shown_is_judged_again() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    // Two digits were swapped on the order; the vehicle says its own number.
    let (typed, real) = ("1H9AC3EB9KA042112", VIN);
    let mut body = rear_pads("RO-1");
    body["vehicle"]["vin"] = json!(typed);
    let order = taken_in(shop, body).await;
    let opening = task(&order, "parking_brake_open_for_service").id;
    let held = ada.take(opening).await;
    ada.acknowledge(&held).await;
    let at = now(shop).await;
    ada.show(&held, proofs(&held.task.preconditions, at)).await;
    let shown = ada.act(&held, "evidence", json!({ "items": [vin_frame(real, at)] })).await;
    assert_eq!(shown.expect(200)["items"][0]["marks"], json!(["wrong_vehicle"]));
    ada.act(&held, "start", json!({})).await.expect_problem(409, "vehicle-mismatch");

    let corrections = format!("/v1/vehicles/{}/identity-corrections", order.vehicle_id);
    let desk = shop.as_role(Role::Dispatcher);
    let right = json!({ "vin": real, "reason": "two digits were swapped at the desk" });
    for (bad, status) in [
        (json!({ "vin": real, "reason": " " }), 400),
        (json!({ "reason": "nothing said" }), 422),
        (json!({ "vin": typed, "reason": "the same" }), 422),
        (json!({ "vin": "1H9AC3EB2KA04211O", "reason": "a letter O" }), 422),
    ] {
        assert_eq!(desk.post(&corrections, bad.clone()).await.status, status, "{bad}");
    }
    let given = desk.post(&corrections, right.clone()).await.expect(201);
    desk.post(&corrections, right).await.expect_problem(409, "already-exists");
    ada.act(&held, "start", json!({})).await.expect_problem(409, "vehicle-mismatch");
    let approvals = format!("{corrections}/{}/approvals", given["id"].as_str().expect("an id"));
    desk.post(&approvals, json!({})).await.expect_problem(409, "second-person-required");
    yard.bo.client.post(&approvals, json!({})).await.expect(200);
    yard.bo.client.post(&approvals, json!({})).await.expect_problem(409, "wrong-state");

    // The same frame, judged again: it is this vehicle after all.
    ada.show(&held, proofs(&held.task.preconditions, now(shop).await)).await;
    ada.start(&held).await;
    ada.pass(&held).await.expect(200);
    let seen = order_view(shop, order.id).await;
    assert_eq!(seen.vehicle.vin.as_deref(), Some(real));

    // Corrected to yet another vehicle, what passed on this one's frame is undone, and stays on record.
    let other =
        json!({ "vin": typed, "reason": "the order was right, the wrong vehicle stood here" });
    let given = desk.post(&corrections, other).await.expect(201);
    let approvals = format!("{corrections}/{}/approvals", given["id"].as_str().expect("an id"));
    yard.bo.client.post(&approvals, json!({})).await.expect(200);
    let seen: OrderView = order_view(shop, order.id).await;
    let undone = seen.tasks.iter().find(|t| t.id == opening).expect("it stays");
    assert_eq!(undone.state, TaskState::Disturbed);
    told_as_events(shop, &["vehicle.corrected", "order.identity_corrected"]).await;
}

#[tokio::test]
async fn a_start_tells_the_bay_the_tools_and_the_people_that_are_really_used() {
    let yard = yard().await;
    let (shop, ada) = (&yard.shop, &yard.ada);
    let order = taken_in(shop, rear_pads("RO-1")).await;
    let other_bay = shop.bay("2", &["lift", "battery_support"]).await;
    let yard_bay = shop.bay("yard", &["outdoors"]).await;
    let spare = shop.equipment("scan tool B", "scan_tool").await;
    let held = ada.take(task(&order, "parking_brake_open_for_service").id).await;
    ada.prepare(&held).await;
    let start = async |more: Value| ada.act(&held, "start", more).await;
    start(json!({ "people": [ada.id] })).await.expect_problem(422, "unprocessable");
    start(json!({ "equipment": [yard_bay] })).await.expect_problem(422, "unprocessable");
    start(json!({ "target_set": " " })).await.expect_problem(400, "invalid-request");
    let lacking: Vec<&str> = held.task.needs.bay.iter().flatten().map(String::as_str).collect();
    if !lacking.is_empty() {
        start(json!({ "bay": yard_bay })).await.expect_problem(409, "not-able");
    }
    start(json!({ "equipment": [] })).await.expect_problem(409, "not-able");
    let mut units: Vec<Uuid> = vec![spare];
    for kind in held.task.needs.equipment.iter().filter(|kind| *kind != "scan_tool") {
        units.push(shop.equipment(&format!("{kind} B"), kind).await);
    }
    let really = json!({ "bay": other_bay, "equipment": units, "people": [yard.bo.id] });
    let started = start(really).await.expect(200);
    assert_eq!(started["bay"], json!(other_bay));
    ada.pass(&held).await.expect(200);
    let report = format!("/v1/orders/{}/report", order.id);
    let told = shop.as_role(Role::Auditor).get(&report).await.expect(200);
    let opening = told["tasks"]
        .as_array()
        .and_then(|all| all.iter().find(|t| t["procedure"] == "parking_brake_open_for_service"));
    let attempt = &opening.expect("the task")["attempts"][0];
    assert_eq!(attempt["people"], json!(["Ada", "Bo (with)"]));
    assert_eq!(attempt["bay"], "2");
    assert!(attempt["equipment"].to_string().contains("scan tool B"), "{attempt:#}");
}

#[tokio::test]
async fn what_is_never_waived_is_finished_with_a_fresh_sign_in() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.begin(task(&order, "parking_brake_open_for_service").id).await;
    let mut claims =
        yard.shop.claims(&yard.ada.id.to_string(), &[Role::Technician], Some(yard.ada.id));
    let proof = proofs(&held.task.proof, now(&yard.shop).await);
    let path = format!("/v1/tasks/{}/finish", held.task.id);
    let finish = json!({ "fence": held.fence, "outcome": "passed", "evidence": proof });
    for stale in
        [None, claims.auth_time.map(|at| at - 2 * 3600), claims.auth_time.map(|at| at + 3600)]
    {
        claims.auth_time = stale;
        let tired = yard.shop.client(&claims);
        let refused =
            tired.post(&path, finish.clone()).await.expect_problem(403, "person-required");
        assert_eq!(refused["fresh_sign_in"], true, "{refused:#}");
    }
    let passed: Value = yard.ada.client.post(&path, finish).await.expect(200);
    assert_eq!(passed["state"], "passed");
    let worker: &Worker = &yard.bo;
    let seen: OrderView =
        read(worker.client.get(&format!("/v1/orders/{}", order.id)).await.expect(200));
    assert_eq!(task(&seen, "parking_brake_open_for_service").state, TaskState::Passed);
}

#[tokio::test]
async fn fewer_kilometres_than_before_are_found_at_intake() {
    let yard = yard().await;
    let visit = |number: &str, odometer: i64| {
        let mut body = rear_pads(number);
        body["odometer_in"] = json!(odometer);
        body["beside_open_order"] = json!(true);
        body
    };
    let found = |order: &OrderView| {
        order.findings.iter().filter(|f| f.code == "odometer_decreased").count()
    };
    assert_eq!(found(&taken_in(&yard.shop, visit("RO-1", 120_000)).await), 0);
    assert_eq!(found(&taken_in(&yard.shop, visit("RO-2", 120_400)).await), 0);
    let order = taken_in(&yard.shop, visit("RO-3", 80_000)).await;
    assert_eq!(found(&order), 1, "{:?}", order.findings);
}

#[tokio::test]
async fn only_the_routine_that_was_asked_for_proves_its_end() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, "parking_brake_open_for_service").id).await;
    yard.ada.prepare(&held).await;
    yard.ada
        .act(&held, "start", json!({ "routine": "xyz" }))
        .await
        .expect_problem(400, "invalid-request");
    yard.ada.act(&held, "start", json!({ "routine": "02a4" })).await.expect(200);
    let proof = held.task.proof.iter().find(|p| json!(p.condition).to_string().contains("routine"));
    let proof = proof.expect("a routine proves it").id.clone();
    let ended = async |routine: &str| {
        let at = now(&yard.shop).await;
        let frame = json!({ "kind": "frame", "protocol": "uds", "bytes": format!("7103{routine}00"), "taken_at": at });
        let read = json!({ "kind": "attestation", "statement": "routine_status_passed", "holds": true, "taken_at": at });
        let shown =
            yard.ada.act(&held, "evidence", json!({ "items": [frame, read] })).await.expect(200);
        let all = shown["proof"].as_array().expect("verdicts");
        all.iter().find(|f| f["id"] == proof.as_str()).expect("judged").clone()
    };
    let other = ended("0203").await;
    assert_eq!(other["verdict"], "missing", "{other:#}");
    assert_eq!(ended("02A4").await["verdict"], "met");
}
