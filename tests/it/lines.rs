//! Lines that the customer did not agree to, that wait for something, and that another business works.

use contract::orders::{LeavingConfidence, OrderView, SplitView};
use domain::lifecycle::TaskState;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::amendments::{desk, yard_with_horns};
use crate::harness::{self, Shop};
use crate::worker::{VIN, line, order_view, read, taken_in, task, yard};

fn order(lines: &Value) -> Value {
    json!({ "number": "RO-1", "lines": lines,
        "vehicle": { "vin": VIN, "powertrain": "combustion",
            "features": { "electronic_parking_brake": true, "front_camera": false } } })
}

fn pads(more: &Value) -> Value {
    let mut line = json!({ "line": 1, "minutes": 40,
        "operations": [{ "action": "replace", "component": "rear_brake_pads" }] });
    for (name, value) in more.as_object().into_iter().flatten() {
        line[name] = value.clone();
    }
    line
}

async fn put(shop: &Shop, order: Uuid, body: Value) -> OrderView {
    let path = format!("/v1/orders/{order}/lines/{}", body["line"]);
    read(shop.as_role(Role::Integration).put(&path, body).await.expect(200))
}

fn names(order: &OrderView) -> Vec<&str> {
    let live = order.tasks.iter().filter(|t| !t.state.is_over());
    live.map(|t| t.procedure.as_str()).collect()
}

#[tokio::test]
async fn a_line_requires_something_once_it_is_approved_and_a_declined_one_is_told_in_the_report() {
    let yard = yard().await;
    let shop = &yard.shop;
    let order = taken_in(shop, order(&json!([pads(&json!({ "authorisation": "pending" }))]))).await;
    let opening = "parking_brake_open_for_service";
    assert!(!names(&order).contains(&opening), "nobody agreed to it");
    assert!(order.leaving.blocked_by.iter().any(|b| b.line == Some(1)), "somebody must decide");
    let sure = [LeavingConfidence::Certain, LeavingConfidence::Planned];
    assert!(!sure.contains(&order.leaving.confidence), "{:?}", order.leaving);
    let begin = json!({ "progress": "started", "bay": yard.bay });
    line(shop, order.id, 1, begin).await.expect_problem(409, "wrong-state");

    let approved = put(shop, order.id, pads(&json!({}))).await;
    assert!(names(&approved).contains(&opening), "{:?}", names(&approved));
    let declined = put(shop, order.id, pads(&json!({ "authorisation": "declined" }))).await;
    assert!(!names(&declined).contains(&opening), "its tasks fall away");
    assert!(!declined.leaving.blocked_by.iter().any(|b| b.line == Some(1)));
    let report = shop.as_role(Role::Auditor).get(&format!("/v1/orders/{}/report", order.id)).await;
    let remarks = report.expect(200)["release"]["remarks"].take();
    assert!(remarks[0].as_str().is_some_and(|text| text.contains("declined")), "{remarks:#}");
}

#[tokio::test]
async fn a_line_on_hold_keeps_what_is_done_for_it_alone_from_beginning() {
    let yard = yard().await;
    let shop = &yard.shop;
    let order = taken_in(shop, order(&json!([pads(&json!({}))]))).await;
    yard.ada.work_until(&yard.bo, &yard, order.id, "parking_brake_open_for_service").await;
    let opening = task(&order_view(shop, order.id).await, "parking_brake_open_for_service").id;
    let held = yard.ada.take(opening).await;
    let desk = shop.as_role(Role::Integration);
    let path = format!("/v1/orders/{}/lines/1", order.id);
    let odd = desk.put(&path, pads(&json!({ "on_hold": "weather" }))).await;
    assert_eq!(odd.expect_problem(400, "invalid-request")["errors"][0]["pointer"], "/on_hold");

    let parts = json!({ "on_hold": "parts", "parts_expected_at": "2030-01-02T09:00:00Z" });
    let waits = put(shop, order.id, pads(&parts)).await;
    let row = task(&waits, "parking_brake_open_for_service");
    assert_eq!((row.state, row.fence), (TaskState::Waiting, held.fence + 1), "taken back");
    assert!(row.waits_for.iter().any(|w| w.line == Some(1)));
    let begin = json!({ "progress": "started", "bay": yard.bay });
    let refused = line(shop, order.id, 1, begin).await.expect_problem(409, "out-of-order");
    let reasons = refused["reasons"].as_array().expect("reasons");
    assert!(reasons.iter().any(|r| r["code"] == "line_on_hold"), "{refused:#}");
    let block = waits.leaving.blocked_by.iter().find(|b| b.line == Some(1)).expect("it blocks");
    assert!(block.detail.contains("on hold for parts"), "{}", block.detail);

    let goes_on = put(shop, order.id, pads(&json!({}))).await;
    assert_eq!(task(&goes_on, "parking_brake_open_for_service").state, TaskState::Ready);
}

/// A file of five bytes, `hello`; its SHA-256 as computed with `sha256sum`.
fn invoice() -> Value {
    json!({ "name": "invoice 4711", "media_type": "text/plain", "data": "aGVsbG8=",
        "sha256": "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824" })
}

#[tokio::test]
async fn work_of_another_business_is_proven_by_its_document_and_a_person_and_counts_from_its_return()
 {
    let yard = yard_with_horns().await;
    let shop = &yard.shop;
    let (desk, order) = desk(&yard, 1).await;
    let noted = task(&order, "horn_noted").clone();
    desk.bring(&noted, TaskState::Passed).await;
    let plugs = json!({ "line": 2, "operations": [{ "action": "replace", "component": "spark_plug" }],
        "sublet": { "provider": "the workshop next door", "back_at": "2030-01-02T09:00:00Z" } });
    put(shop, order.id, plugs).await;

    let away = json!({ "progress": "started" });
    let away: OrderView = read(line(shop, order.id, 2, away).await.expect(200));
    assert_eq!(away.changes.map(|c| c.disturbed), Some(Vec::new()), "nothing counts yet");
    let vehicle = format!("/v1/vehicles/{}", order.vehicle_id);
    let vehicle = shop.as_role(Role::Dispatcher).get(&vehicle).await.expect(200);
    assert_eq!(vehicle["busy_with"], json!(["line 2"]));
    let here = json!({ "progress": "started", "bay": yard.bay });
    line(shop, order.id, 1, here).await.expect_problem(409, "vehicle-busy");

    let path = format!("/v1/orders/{}/lines/2/progress", order.id);
    let whole = json!({ "progress": "finished", "attests": ["sublet_work_checked"], "document": invoice() });
    let program = shop.as_role(Role::Integration).post(&path, whole.clone()).await;
    program.expect_problem(403, "person-required");
    let bare = yard.ada.client.post(&path, json!({ "progress": "finished" })).await;
    let missing = bare.expect_problem(409, "precondition-not-met")["missing"].take();
    assert_eq!(
        (&missing[0]["id"], &missing[1]["id"]),
        (&json!("sublet_work_checked"), &json!("document"))
    );
    let mut forged = whole.clone();
    forged["document"]["data"] = json!("aGVsbG9v");
    yard.ada.client.post(&path, forged).await.expect_problem(422, "unprocessable");

    let back: OrderView = read(yard.ada.client.post(&path, whole).await.expect(200));
    assert_eq!(back.changes.as_ref().map(|c| c.disturbed.clone()), Some(vec![noted.id]));
    let told = back.lines.iter().find(|l| l.line == 2).expect("the line");
    assert_eq!(told.document.as_ref().map(|d| d.name.as_str()), Some("invoice 4711"));
    assert_eq!(told.sublet.as_ref().map(|s| s.provider.as_str()), Some("the workshop next door"));
    let file = format!("/v1/orders/{}/lines/2/document", order.id);
    assert_eq!(yard.ada.client.get(&file).await.expect(200), "hello");
    let auditor = shop.as_role(Role::Auditor);
    let report = auditor.get(&format!("/v1/orders/{}/report", order.id)).await.expect(200);
    let remarks = report["release"]["remarks"].to_string();
    assert!(remarks.contains("the workshop next door"), "{remarks}");
    assert!(remarks.contains("invoice 4711"), "{remarks}");
    let journal = auditor.get("/v1/journal?limit=500").await.expect(200).to_string();
    assert!(!journal.contains("aGVsbG8="), "the journal keeps the digest, not the file");
}

#[tokio::test]
async fn a_vehicle_that_comes_back_brings_what_was_left_behind() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let first = order(&json!([pads(&json!({})),
        { "line": 2, "text": "wiper blades", "authorisation": "declined" }]));
    let first: OrderView = read(desk.post("/v1/orders", first).await.expect(201));
    assert!(first.left_behind.is_empty());
    let towed = json!({ "kind": "incomplete_towed", "reason": "the customer wants it back" });
    desk.post(&format!("/v1/orders/{}/release", first.id), towed).await.expect(200);

    let mut again = order(&json!([pads(&json!({}))]));
    again["number"] = json!("RO-2");
    again["follows"] = json!(first.id);
    let again: OrderView = read(desk.post("/v1/orders", again).await.expect(201));
    let [left] = again.left_behind.as_slice() else { panic!("{:?}", again.left_behind) };
    assert_eq!((left.order, left.declined_lines.as_slice()), (first.id, [2].as_slice()));
    let opening = left.tasks.iter().find(|t| t.procedure == "parking_brake_open_for_service");
    assert!(opening.is_some_and(|t| !t.state.is_over()), "nothing counts as passed by inheritance");
    let mut strange = order(&json!([]));
    strange["number"] = json!("RO-3");
    strange["follows"] = json!(first.id);
    strange["vehicle"] = json!({ "plate": "AB 12" });
    let refused = desk.post("/v1/orders", strange).await.expect_problem(422, "unprocessable");
    assert_eq!(refused["errors"][0]["pointer"], "/follows");
}

#[tokio::test]
async fn lines_go_over_to_an_order_of_their_own_with_what_was_proven_and_both_journals_tell() {
    let yard = yard_with_horns().await;
    let shop = &yard.shop;
    let (desk, order) = desk(&yard, 1).await;
    for (number, part) in [(2, "horn"), (3, "air_filter")] {
        let operations = json!([{ "action": "replace", "component": part }]);
        put(shop, order.id, json!({ "line": number, "operations": operations })).await;
    }
    let client = shop.as_role(Role::Integration);
    let path = format!("/v1/orders/{}/splits", order.id);
    let ask = |number: &str, lines: &[i32]| {
        let (client, path) = (client.clone(), path.clone());
        let body = json!({ "number": number, "lines": lines });
        async move { client.post(&path, body).await }
    };
    let unknown = ask("RO-1-B", &[7]).await.expect_problem(422, "unprocessable");
    assert_eq!(unknown["errors"][0]["pointer"], "/lines/0");
    let all = ask("RO-1-B", &[1, 2, 3]).await.expect_problem(422, "unprocessable");
    assert_eq!(all["errors"][0]["pointer"], "/lines");
    ask("RO-1", &[1]).await.expect_problem(409, "number-taken");

    let noted = task(&order, "horn_noted").clone();
    let held = desk.bring(&noted, TaskState::Running).await.expect("a lease");
    let busy = ask("RO-1-B", &[1, 2]).await.expect_problem(409, "wrong-state");
    assert_eq!(
        (&busy["reasons"][0]["code"], &busy["reasons"][0]["task"]),
        (&json!("task_busy"), &json!(noted.id))
    );
    yard.ada.pass(&held).await.expect(200);
    let shared = ask("RO-1-B", &[2]).await.expect_problem(409, "wrong-state");
    assert_eq!(shared["reasons"][0]["code"], "task_shared", "noted once, for both horns");
    assert!(shared["reasons"][0]["detail"].as_str().is_some_and(|text| text.contains("line 1")));

    let made = ask("RO-1-B", &[1, 2]).await;
    let at = made.header("location").to_owned();
    let split: SplitView = read(made.expect(201));
    let (from, into) = (&split.from, &split.into);
    assert_eq!(at, format!("/v1/orders/{}", into.id));
    assert_eq!((into.split_from, into.vehicle_id), (Some(order.id), order.vehicle_id));
    let lines = |order: &OrderView| order.lines.iter().map(|l| l.line).collect::<Vec<_>>();
    assert_eq!((lines(from), lines(into)), (vec![3], vec![1, 2]));
    let moved = task(into, "horn_noted");
    assert_eq!((moved.id, moved.state, moved.attempt), (noted.id, TaskState::Passed, 1));
    assert!(!from.tasks.iter().any(|t| t.procedure.starts_with("horn")));
    assert!(from.other_open_orders.contains(&into.id), "one vehicle, two orders");
    let report = shop.as_role(Role::Auditor).get(&format!("/v1/orders/{}/report", into.id)).await;
    assert!(
        report.expect(200)["tasks"].to_string().to_lowercase().contains("chocked"),
        "its evidence too"
    );

    let mut owner = shop.owner_connection().await;
    sqlx::query("SELECT set_config('app.shops', $1, false)")
        .bind(format!("{{{}}}", shop.id))
        .execute(&mut owner)
        .await
        .expect("names the shop");
    let told: Vec<(Uuid, String)> = sqlx::query_as(
        "SELECT order_id, kind FROM journal_entry WHERE kind LIKE 'order.split%' ORDER BY kind",
    )
    .fetch_all(&mut owner)
    .await
    .expect("reads");
    let expected = [(order.id, "order.split".to_owned()), (into.id, "order.split_off".to_owned())];
    assert_eq!(told, expected);
    let back =
        sqlx::query("UPDATE task SET order_id = $1 WHERE id = $2").bind(order.id).bind(noted.id);
    assert!(back.execute(&mut owner).await.is_err(), "a task changes its order by a split alone");
}
