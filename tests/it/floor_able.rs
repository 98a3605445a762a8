//! Who is able, and what they are asked for: certificates, a handover while it runs, the form for the result.

use chrono::TimeDelta;
use domain::role::Role;
use serde_json::{Value, json};

use crate::worker::{Worker, Yard, now, proofs, rear_pads, taken_in, task, throttle, yard};

const OPENING: &str = "parking_brake_open_for_service";
const CLOSING: &str = "parking_brake_close_and_calibrate";

fn certified(valid_until: chrono::DateTime<chrono::Utc>) -> Value {
    json!([{ "skill": "brakes", "document": "brake course, no. 12", "issued_by": "a school of the trade",
        "valid_until": valid_until }])
}

async fn certify(yard: &Yard, one: &Worker, certificates: Value) -> crate::harness::Answer {
    let path = format!("/v1/technicians/{}", one.id);
    let desk = yard.shop.as_role(Role::Dispatcher);
    let there = desk.get(&path).await.expect(200);
    let body =
        json!({ "name": there["name"], "skills": there["skills"], "certificates": certificates });
    desk.with("if-match", &format!("\"v{}\"", there["version"])).put(&path, body).await
}

#[tokio::test]
async fn a_skill_counts_while_its_certificate_is_valid_and_the_report_names_the_one_that_counted() {
    let yard = yard().await;
    let until = now(&yard.shop).await + TimeDelta::hours(1);
    let foreign = json!([{ "skill": "stunts", "document": "none" }]);
    let refused = certify(&yard, &yard.ada, foreign).await.expect_problem(422, "unprocessable");
    assert_eq!(refused["errors"][0]["pointer"], "/certificates/0/skill");
    for beyond in ["2201-01-01T00:00:00Z", "0001-01-01T00:00:00Z"] {
        let mut certificates = certified(until);
        certificates[0]["valid_until"] = json!(beyond);
        let refused = certify(&yard, &yard.ada, certificates).await;
        let refused = refused.expect_problem(422, "unprocessable");
        assert_eq!(refused["errors"][0]["pointer"], "/certificates/0/valid_until");
    }
    let told = certify(&yard, &yard.ada, certified(until)).await.expect(200);
    assert_eq!(told["certificates"][0]["document"], "brake course, no. 12");
    assert!(told["lapsed"].is_null(), "{told:#}");

    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let opening = yard.ada.begin(task(&order, OPENING).id).await;
    yard.ada.pass(&opening).await.expect(200);
    yard.shop.advance(2 * 3600).await;
    let next = yard.bo.work_until(&yard.ada, &yard, order.id, CLOSING).await.id;
    let refused = yard.ada.try_to_take(next).await.expect_problem(409, "not-able");
    let detail = refused["detail"].as_str().expect("words");
    assert!(detail.contains("brakes (`brake course, no. 12` ran out on"), "{detail}");
    let path = format!("/v1/technicians/{}", yard.ada.id);
    let ada = yard.shop.as_role(Role::Dispatcher).get(&path).await.expect(200);
    assert_eq!(ada["lapsed"], json!(["brakes"]));
    // Whom nothing certifies the shop answers for.
    yard.bo.take(next).await;

    let auditor = yard.shop.as_role(Role::Auditor);
    let report =
        auditor.get(&format!("/v1/orders/{}/report", order.id)).await.expect(200).to_string();
    let words = "certified for brakes: brake course, no. 12 by a school of the trade, valid until";
    assert!(report.contains(words), "{report}");
}

#[tokio::test]
async fn whoever_takes_over_what_runs_names_its_cautions_first() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, throttle("RO-1")).await;
    let wanted = yard.ada.work_until(&yard.bo, &yard, order.id, "idle_relearn").await;
    assert!(!wanted.cautions.is_empty());
    let held = yard.ada.begin(wanted.id).await;
    yard.ada.act(&held, "handover", json!({ "to": yard.bo.id })).await.expect(200);
    let path = format!("/v1/tasks/{}/handover", held.task.id);
    let refused = yard.bo.client.post(&path, json!({ "accept": true })).await;
    let refused = refused.expect_problem(409, "caution-not-acknowledged");
    let reasons = refused["reasons"].as_array().expect("reasons");
    assert_eq!(reasons.len(), held.task.cautions.len());
    assert!(reasons.iter().all(|r| r["hazards"][0].is_string()), "{refused:#}");
    let skill = held.task.needs.skills.first().expect("a skill");
    let own = json!([{ "skill": skill, "document": "course of the taker, no. 7" }]);
    certify(&yard, &yard.bo, own).await.expect(200);
    let cautions: Vec<&String> = held.task.cautions.iter().map(|c| &c.caution.id).collect();
    let accept = json!({ "accept": true, "cautions": cautions });
    let accepted = yard.bo.client.post(&path, accept).await.expect(200);
    assert_eq!(accepted["technician"], json!(yard.bo.id));
    let cautions = accepted["cautions"].as_array().expect("cautions");
    assert!(cautions.iter().all(|caution| caution["acknowledged"] == true), "{cautions:#?}");
    let auditor = yard.shop.as_role(Role::Auditor);
    let path = format!("/v1/orders/{}/report", order.id);
    let report = auditor.get(&path).await.expect(200).to_string();
    assert!(report.contains("course of the taker, no. 7"), "{report}");
}

#[tokio::test]
async fn a_form_of_the_result_asks_for_all_that_proves_it_and_a_misspelt_word_is_told() {
    let yard = yard().await;
    let order = taken_in(&yard.shop, rear_pads("RO-1")).await;
    let held = yard.ada.take(task(&order, OPENING).id).await;
    let path = format!("/v1/tasks/{}", held.task.id);
    let view = yard.ada.client.get(&path).await.expect(200);
    let fields = view["result_fields"].as_array().expect("fields");
    let proofs_of: Vec<&str> = held.task.proof.iter().map(|p| p.id.as_str()).collect();
    for proof in &proofs_of {
        let serves =
            |field: &Value| field["proves"].as_array().expect("names").contains(&json!(proof));
        assert!(fields.iter().any(serves), "nothing asks for `{proof}`: {view:#}");
    }
    assert!(fields.iter().all(|field| field["kind"].is_string() && field["title"].is_string()));

    let at = now(&yard.shop).await;
    let word = json!({ "kind": "attestation", "statement": "whels_chocked", "holds": true, "taken_at": at });
    let shown = yard.ada.act(&held, "evidence", json!({ "items": [word] })).await.expect(200);
    assert_eq!(shown["items"][0]["outcome"], "marked");
    assert_eq!(shown["items"][0]["marks"], json!(["not_asked"]));
    let detail = shown["items"][0]["detail"].as_str().expect("words");
    assert!(detail.contains("nothing of this task asks for that"), "{detail}");
    let shown = yard.ada.show(&held, proofs(&held.task.preconditions, at)).await;
    let marks = shown["items"].as_array().expect("items").iter().map(|item| &item["marks"]);
    assert!(marks.into_iter().all(|marks| !marks.to_string().contains("not_asked")), "{shown:#}");
}
