//! Instruments: one whose calibration has run out proves nothing, and the report names it.

use chrono::TimeDelta;
use domain::role::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::worker::{Held, VIN, Yard, now, proofs, rear_pads, taken_in, task, vin_frame, yard};

async fn meter(yard: &Yard, name: &str, until: Option<chrono::DateTime<chrono::Utc>>) -> Uuid {
    let mut body = json!({ "name": name, "kind": "voltmeter" });
    if let Some(until) = until {
        body["calibrated_until"] = json!(until);
    }
    let made = yard.shop.as_role(Role::Dispatcher).post("/v1/equipment", body).await.expect(201);
    made["id"].as_str().and_then(|id| id.parse().ok()).expect("an id")
}

async fn volts(yard: &Yard, held: &Held, by: Uuid) -> Value {
    let reading = json!({ "kind": "reading", "signal": "battery_voltage", "value": 12.9, "unit": "V",
        "taken_at": now(&yard.shop).await, "equipment": by });
    yard.ada.act(held, "evidence", json!({ "items": [reading] })).await.expect(200)
}

fn battery(told: &Value) -> &Value {
    let all = told["preconditions"].as_array().expect("verdicts");
    all.iter().find(|f| f["id"] == "battery_supported").expect("judged")
}

#[tokio::test]
async fn an_instrument_whose_calibration_has_run_out_proves_nothing_and_is_named() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, "parking_brake_open_for_service").id).await;
    yard.ada.acknowledge(&held).await;
    let at = now(&yard.shop).await;
    let mut items = vec![vin_frame(VIN, at)];
    items.extend(
        proofs(&held.task.preconditions, at)
            .into_iter()
            .filter(|i| i["signal"] != "battery_voltage"),
    );
    yard.ada.show(&held, items).await;

    let old = meter(&yard, "Meter 3", Some(at - TimeDelta::days(1))).await;
    let told = volts(&yard, &held, old).await;
    assert_eq!(told["items"][0]["marks"], json!(["calibration_expired"]));
    assert_eq!(battery(&told)["verdict"], "missing");
    let refused =
        yard.ada.act(&held, "start", json!({})).await.expect_problem(409, "precondition-not-met");
    let detail = refused["reasons"][0]["detail"].as_str().expect("words");
    assert!(detail.contains("calibration has run out"), "{detail}");

    let stranger = volts(&yard, &held, Uuid::from_u128(1)).await;
    assert_eq!(stranger["items"][0]["marks"], json!(["unverified"]));
    assert_eq!(battery(&stranger)["verdict"], "missing");

    let valid = meter(&yard, "Meter 4", Some(at + TimeDelta::days(90))).await;
    assert_eq!(battery(&volts(&yard, &held, valid).await)["verdict"], "met");
    yard.ada.start(&held).await;

    let auditor = yard.shop.as_role(Role::Auditor);
    let report =
        auditor.get(&format!("/v1/orders/{}/report", order.id)).await.expect(200).to_string();
    assert!(
        report.contains("from Meter 3 does not count: its instrument's calibration has run out"),
        "{report}"
    );
    assert!(report.contains("Meter 4"), "the one that proved it is named");
}
