//! Bad input in a batch: each item is answered for itself, and the good ones are kept.

use std::time::Instant;

use chrono::TimeDelta;
use domain::role::Role;
use serde_json::{Value, json};
use sqlx::AssertSqlSafe;

use crate::harness::answer;
use crate::worker::{Held, Yard, now, rear_pads, taken_in, task, throttle, vin_frame, yard};

const OPENING: &str = "parking_brake_open_for_service";

async fn taken(yard: &Yard) -> Held {
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    yard.ada.take(task(&order, OPENING).id).await
}

/// Sends items as text, for what JSON values can't say.
async fn send(yard: &Yard, held: &Held, items: &[String]) -> Value {
    let body = format!(r#"{{ "fence": {}, "items": [{}] }}"#, held.fence, items.join(","));
    let path = format!("/v1/tasks/{}/evidence", held.task.id);
    let request = yard.ada.client.request(reqwest::Method::POST, &path);
    answer(request.header("content-type", "application/json").body(body)).await.expect(200)
}

#[tokio::test]
async fn every_bad_item_is_answered_for_itself_and_the_good_ones_are_kept() {
    let yard = yard().await;
    let held = taken(&yard).await;
    yard.shop.advance(10).await;
    let at = now(&yard.shop).await;
    let reading = |signal: &str, value: &str, unit: &str, at: &str| {
        format!(
            r#"{{ "kind": "reading", "signal": "{signal}", "value": {value}, "unit": "{unit}", "taken_at": "{at}" }}"#
        )
    };
    let stamp = at.to_rfc3339();
    let good = reading("battery_voltage", "12.9", "V", &stamp);
    let volts = |value: &str| reading("battery_voltage", value, "V", &stamp);
    let word = |text: &str| {
        format!(
            r#"{{ "kind": "attestation", "statement": "wheels_chocked", "holds": true, "text": "{text}", "taken_at": "{stamp}" }}"#
        )
    };
    let other_vehicle = vin_frame("1M8GDM9AXKP042788", at - TimeDelta::seconds(5)).to_string();
    let own_again = vin_frame(crate::worker::VIN, at - TimeDelta::seconds(1)).to_string();
    let cases: Vec<(String, &str, &str)> = vec![
        (good.clone(), "accepted", "12.9 V"),
        (good, "refused", "repeats item 0"),
        (volts(r#""NaN""#), "refused", "not a decimal"),
        (volts(r#""Infinity""#), "refused", "not a decimal"),
        (volts("1e999"), "refused", "out of range"),
        (volts("1e300"), "refused", "decimal"),
        (volts("null"), "refused", "a value with its unit"),
        (volts("-3"), "marked", "implausible"),
        (volts("9999"), "marked", "implausible"),
        (reading("battery_voltage", "12.9", "Cel", &stamp), "refused", "does not measure"),
        (reading("battery_voltage", "12.9", "volts", &stamp), "refused", "not a unit"),
        (reading("flux_capacitance", "1", "V", &stamp), "refused", "not a signal"),
        (reading("engine_speed", "700", "/min", &stamp), "marked", "not_asked"),
        (
            reading("battery_voltage", "13.0", "V", &(at + TimeDelta::days(1)).to_rfc3339()),
            "marked",
            "future",
        ),
        (
            reading("battery_voltage", "13.1", "V", &(at - TimeDelta::days(1)).to_rfc3339()),
            "marked",
            "before_attempt",
        ),
        (
            reading("battery_voltage", "13.2", "V", "9999-01-01T00:00:00Z"),
            "refused",
            "1970 to 2200",
        ),
        (reading("battery_voltage", "13.2", "V", "yesterday"), "refused", "`taken_at`"),
        (other_vehicle, "marked", "wrong_vehicle"),
        (own_again, "accepted", "VIN"),
        (word("a\\u0000b"), "refused", "NUL"),
        (
            r#"{ "kind": "rumour", "taken_at": "2026-01-01T00:00:00Z" }"#.to_owned(),
            "refused",
            "unknown variant",
        ),
        (r#""a word""#.to_owned(), "refused", "invalid type"),
        (
            format!(
                r#"{{ "kind": "frame", "protocol": "obd", "bytes": "41", "taken_at": "{stamp}" }}"#
            ),
            "refused",
            "bytes",
        ),
        (
            format!(
                r#"{{ "kind": "frame", "protocol": "uds", "bytes": "4x", "taken_at": "{stamp}" }}"#
            ),
            "refused",
            "hex",
        ),
        (word("both sides"), "accepted", "wheels_chocked: yes"),
    ];
    let items: Vec<String> = cases.iter().map(|(item, ..)| item.clone()).collect();
    let told = send(&yard, &held, &items).await;
    let outcomes = told["items"].as_array().expect("outcomes");
    assert_eq!(outcomes.len(), cases.len());
    for (told, (item, outcome, says)) in outcomes.iter().zip(&cases) {
        assert_eq!(told["outcome"], *outcome, "{item}: {told:#}");
        assert!(told.to_string().contains(says), "{item}: {told:#}, {says}");
        // A frame that can't be read is kept all the same.
        let kept = *outcome != "refused" || told["marks"] == json!(["undecoded"]);
        assert_eq!(told["id"].is_string(), kept, "{item}: {told:#}");
    }
    let verdict = |id: &str| {
        let all = told["preconditions"].as_array().expect("verdicts");
        all.iter().find(|f| f["id"] == id).expect("judged")["verdict"].clone()
    };
    assert_eq!(
        (verdict("battery_supported"), verdict("wheels_chocked")),
        (json!("met"), json!("met"))
    );
}

#[tokio::test]
async fn a_body_that_is_no_batch_is_refused_whole() {
    let yard = yard().await;
    let held = taken(&yard).await;
    let path = format!("/v1/tasks/{}/evidence", held.task.id);
    for body in [
        r#"{ "items": [NaN] }"#,
        r#"{ "items": [] }"#,
        r#"{ "fence": 1 }"#,
        "[]",
        r#"{ "items": [1], "more": 1 }"#,
    ] {
        let request = yard.ada.client.request(reqwest::Method::POST, &path);
        let answer = answer(request.header("content-type", "application/json").body(body)).await;
        answer.expect_problem(400, "invalid-request");
    }
}

#[tokio::test]
async fn ten_thousand_readings_in_one_batch_are_taken_in() {
    let yard = yard().await;
    let held = taken(&yard).await;
    yard.shop.advance(600).await;
    let at = now(&yard.shop).await;
    let items: Vec<Value> = (0..10_000_i64)
        .map(|n| {
            json!({ "kind": "reading", "signal": "battery_voltage", "value": 12.9, "unit": "V",
                "taken_at": at - TimeDelta::milliseconds(50 * (10_000 - n)) })
        })
        .collect();
    let began = Instant::now();
    let told = yard.ada.act(&held, "evidence", json!({ "items": items })).await.expect(200);
    let took = began.elapsed();
    println!("10 000 readings in one batch: {took:?}");
    assert!(took.as_secs() < 60, "{took:?}");
    let outcomes = told["items"].as_array().expect("outcomes");
    assert_eq!(outcomes.iter().filter(|o| o["outcome"] == "accepted").count(), 10_000);
}

#[tokio::test]
async fn a_batch_has_an_end() {
    let yard = yard().await;
    let held = taken(&yard).await;
    let item = vin_frame(crate::worker::VIN, now(&yard.shop).await);
    let body = json!({ "items": vec![item; 10_001] });
    yard.ada.act(&held, "evidence", body).await.expect_problem(400, "invalid-request");
}

#[tokio::test]
async fn raw_can_frames_are_joined_and_a_list_of_codes_may_be_typed() {
    let yard = yard().await;
    let held = taken(&yard).await;
    let at = now(&yard.shop).await;
    // ISO 15765-2: a first frame (10 14) with 20 bytes, then consecutive frames 21 and 22; SAE J1979 service 09, PID 02.
    let vin = crate::worker::VIN.as_bytes();
    let hex =
        |bytes: &[u8]| bytes.iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
    let joined = format!("1014490201{}21{}22{}", hex(&vin[..3]), hex(&vin[3..10]), hex(&vin[10..]));
    let frame =
        json!({ "kind": "frame", "protocol": "iso_tp_can", "bytes": joined, "taken_at": at });
    let shown = yard.ada.show(&held, vec![frame]).await;
    assert_eq!(shown["items"][0]["detail"], format!("VIN {}", crate::worker::VIN));
    let torn =
        json!({ "kind": "frame", "protocol": "iso_tp_can", "bytes": joined[..32], "taken_at": at });
    let refused = yard.ada.act(&held, "evidence", json!({ "items": [torn] })).await.expect(200);
    assert_eq!(refused["items"][0]["marks"], json!(["undecoded"]));

    let typed = json!({ "kind": "trouble_codes", "codes": ["p0507", "C0035-11"], "taken_at": at });
    let shown = yard.ada.show(&held, vec![typed]).await;
    assert_eq!(shown["items"][0]["detail"], "trouble codes P0507, C0035-11");
    let wrong = json!({ "kind": "trouble_codes", "codes": ["P05"], "taken_at": at });
    let refused = yard.ada.act(&held, "evidence", json!({ "items": [wrong] })).await.expect(200);
    assert_eq!(refused["items"][0]["outcome"], "refused");
}

#[tokio::test]
async fn what_an_alternative_proves_is_told_as_such_to_the_technician_and_to_the_auditor() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, "parking_brake_open_for_service").id).await;
    yard.ada.prepare(&held).await;
    let of_gear = |finding: &&Value| finding["detail"].as_str().is_some_and(|d| d.contains("gear"));
    for (is, by_alternative) in [("park", false), ("neutral", true)] {
        let reading = json!({ "kind": "reading", "signal": "gear_position", "is": is,
            "taken_at": now(&yard.shop).await });
        let shown = yard.ada.show(&held, vec![reading]).await;
        let found = shown["preconditions"].as_array().expect("verdicts").iter().find(of_gear);
        let found = found.expect("it is asked");
        assert_eq!(found["verdict"], "met", "{found:#}");
        assert_eq!(found["by_alternative"].as_bool().unwrap_or(false), by_alternative, "{found:#}");
    }
    yard.ada.start(&held).await;
    yard.ada.pass(&held).await.expect(200);
    let auditor = yard.shop.as_role(Role::Auditor);
    let report = auditor.get(&format!("/v1/orders/{}/report", order.id)).await.expect(200);
    assert!(report.to_string().contains(r#""alternative""#), "{report:#}");
}

#[tokio::test]
async fn a_value_is_stored_as_it_was_given_and_in_the_base_unit() {
    let yard = yard().await;
    let held = taken(&yard).await;
    let at = now(&yard.shop).await;
    let items = json!([{ "kind": "reading", "signal": "tire_pressure", "place": "front_left", "value": 35,
        "unit": "[psi]", "taken_at": at }]);
    yard.ada.act(&held, "evidence", json!({ "items": items })).await.expect(200);
    let mut owner = yard.shop.owner_connection().await;
    let query = format!(
        "SET app.shops = '{{{}}}'; SELECT content FROM evidence WHERE series LIKE 'tire_pressure%'",
        yard.shop.id
    );
    let row = sqlx::raw_sql(AssertSqlSafe(query)).fetch_one(&mut owner).await.expect("is stored");
    let content: Value = sqlx::Row::get(&row, 0);
    let given = &content[0]["kind"];
    assert_eq!((&given["value"], &given["unit"]), (&json!("35"), &json!("[psi]")), "{content:#}");
    // NIST SP 811 (2008), appendix B.8: 1 psi is 6.894 757 kPa.
    let base = &content[0]["in_base_unit"];
    assert_eq!(base["unit"], "kPa", "{content:#}");
    let kpa: f64 = base["value"].to_string().trim_matches('"').parse().expect("a number");
    assert!((kpa - 35.0 * 6.894_757).abs() < 1e-4, "{content:#}");
}

#[tokio::test]
async fn what_another_saw_is_entered_under_their_name_but_never_their_word() {
    let yard = yard().await;
    let held = taken(&yard).await;
    yard.ada.prepare(&held).await;
    let at = now(&yard.shop).await;
    let items = json!([
        { "kind": "reading", "signal": "battery_voltage", "value": 12.9, "unit": "V", "taken_at": at },
        { "kind": "attestation", "statement": "wheels_chocked", "holds": true, "taken_at": at },
    ]);
    let nobody = json!({ "items": items, "observed_by": uuid::Uuid::nil() });
    yard.ada.act(&held, "evidence", nobody).await.expect_problem(422, "unprocessable");
    for device in [json!(""), json!("x".repeat(65))] {
        let body = json!({ "items": items, "device": device });
        yard.ada.act(&held, "evidence", body).await.expect_problem(400, "invalid-request");
    }
    let told = json!({ "items": items, "observed_by": yard.bo.id, "device": "tablet 4" });
    let answer = yard.ada.act(&held, "evidence", told).await.expect(200);
    let outcomes = ["accepted", "refused"];
    for (item, outcome) in answer["items"].as_array().expect("items").iter().zip(outcomes) {
        assert_eq!(item["outcome"], outcome, "{item:#}");
    }
    yard.ada.start(&held).await;
    let report = format!("/v1/orders/{}/report", held.task.order.expect("an order"));
    let report = yard.shop.as_role(Role::Auditor).get(&report).await.expect(200).to_string();
    for words in ["\"source\":\"Bo\"", "entered by Ada", "entered on tablet 4"] {
        assert!(report.contains(words), "{words}: {report}");
    }
}

#[tokio::test]
async fn a_module_that_refuses_is_believed_and_what_goes_against_itself_is_told_to_the_auditor() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    let next = yard.ada.work_until(&yard.bo, &yard, order.id, "throttle_position_relearn").await;
    let held = yard.ada.take(next.id).await;
    yard.ada.prepare(&held).await;
    let frame = |protocol: &str, bytes: &str, taken_at| json!({ "kind": "frame", "protocol": protocol, "bytes": bytes, "taken_at": taken_at });
    // SAE J1979, parameter 4E: 120 minutes since codes were cleared, then 5. ISO 14229-1: `7F 31 83` is a routine refused
    // because the engine runs.
    let at = now(&yard.shop).await;
    let counted = [
        frame("obd", "414E0078", at - TimeDelta::seconds(2)),
        frame("obd", "414E0005", at - TimeDelta::seconds(1)),
        frame("uds", "7F3183", at),
    ];
    let answer = yard.ada.act(&held, "evidence", json!({ "items": counted })).await.expect(200);
    let found = answer["preconditions"].as_array().expect("verdicts");
    let engine = found.iter().find(|f| f["contradiction"].is_string());
    let engine = engine.unwrap_or_else(|| panic!("a refusal against readings: {answer:#}"));
    assert_eq!(engine["verdict"], "violated");
    let words = engine["contradiction"].as_str().expect("words");
    assert!(words.contains("engineIsRunning") && words.contains("although"), "{words}");
    let refused = yard.ada.act(&held, "start", json!({})).await;
    let refused = refused.expect_problem(409, "precondition-not-met");
    assert_eq!(refused["violated"][0]["id"], engine["id"], "{refused:#}");

    // Read again it holds, and a routine that was only begun proves no result.
    yard.shop.advance(1).await;
    yard.ada.prepare(&held).await;
    yard.ada.start(&held).await;
    let begun = frame("uds", "7101020300", now(&yard.shop).await);
    let answer = yard.ada.act(&held, "evidence", json!({ "items": [begun] })).await.expect(200);
    let proof = answer["proof"].as_array().expect("verdicts");
    assert!(proof.iter().any(|f| f["verdict"] != "met"), "{answer:#}");

    let path = format!("/v1/orders/{}/report", order.id);
    let report = yard.shop.as_role(Role::Auditor).get(&path).await.expect(200);
    let cleared = |f: &Value| f["code"] == "codes_cleared_unrecorded";
    assert!(report["findings"].as_array().expect("findings").iter().any(cleared), "{report:#}");
}
