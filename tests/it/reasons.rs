//! Every task and every doubt of an order explains itself, and so does what is not there.

use domain::role::Role;
use serde_json::{Value, json};

use crate::harness;
use crate::worker::VIN;

#[tokio::test]
async fn each_task_and_each_question_tells_its_chain() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let body = json!({ "number": "RO-1", "vehicle": { "vin": VIN },
        "lines": [
            { "line": 1, "text": "R&R rear brake pads" },
            { "line": 2, "text": "Disconnect battery, replace throttle body" },
            { "line": 3, "text": "Zipp job" },
            { "line": 4, "operations": [{ "action": "align", "component": "wheel_alignment" }] } ],
        "trouble_codes": ["P0507"], "complaints": ["idle rough when warm"] });
    let dry = desk.post("/v1/derivations", body.clone()).await.expect(200);
    let kept = desk.post("/v1/orders", body).await.expect(201);
    for answer in [&dry, &kept] {
        let tasks = answer["tasks"].as_array().expect("tasks");
        assert!(tasks.len() > 5);
        let known = |name: &Value| tasks.iter().any(|task| task["procedure"] == *name);
        for task in tasks {
            let chains = task["because"].as_array().expect("chains");
            assert!(!chains.is_empty(), "{task:#}");
            for chain in chains {
                assert!(chain["why"].as_str().is_some_and(|why| !why.is_empty()), "{task:#}");
                assert!(
                    chain["source"].as_str().is_some_and(|source| !source.is_empty()),
                    "{task:#}"
                );
                let begins = ["line", "trouble_code", "complaint"]
                    .iter()
                    .any(|from| !chain[*from].is_null());
                let needed = chain["via"].as_array().is_some_and(|via| via.iter().any(&known));
                assert!(begins || needed || !chain["rule"].is_null(), "{chain:#}");
                if !chain["line"].is_null() {
                    assert!(!chain["operation"].is_null() || needed, "{chain:#}");
                }
            }
        }
        let questions = answer["questions"].as_array().expect("questions");
        assert!(questions.iter().any(|q| q["asks"] == "lines.3"));
        assert!(questions.iter().any(|q| q["asks"] != "lines.3"));
        for question in questions {
            let chains = question["because"].as_array().expect("chains");
            assert!(!chains.is_empty(), "{question:#}");
            assert!(
                chains.iter().all(|c| c["why"].as_str().is_some_and(|why| !why.is_empty())),
                "{question:#}"
            );
            for procedure in question["decides"].as_array().expect("procedures") {
                assert!(
                    chains.iter().any(|chain| chain["procedure"] == *procedure),
                    "{question:#}"
                );
            }
        }
    }
    assert_eq!(
        dry["questions"].as_array().map(Vec::len),
        kept["questions"].as_array().map(Vec::len)
    );
}

#[tokio::test]
async fn why_not_says_what_is_lacking_on_every_way() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let body = json!({ "number": "RO-1",
        "vehicle": { "vin": VIN, "powertrain": "combustion", "features": { "electronic_parking_brake": false } },
        "lines": [{ "line": 1, "operations": [{ "action": "replace", "component": "rear_brake_pads" }] }] });
    let order = desk.post("/v1/orders", body).await.expect(201);
    let path = format!("/v1/orders/{}/why-not", order["id"].as_str().expect("an id"));
    let ask = async |procedure: &str| desk.get(&format!("{path}?procedure={procedure}")).await;
    let brake = ask("parking_brake_open_for_service").await.expect(200);
    assert_eq!(brake["required"], "no");
    let ways = brake["ways"].as_array().expect("ways");
    let by_pads = ways.iter().find(|way| way["rule"] == "rear_brake_work_with_actuators");
    let lacks = &by_pads.expect("the rule that pads set off")["lacks"];
    let fact = json!({ "fact": "features.electronic_parking_brake", "value": "no" });
    assert_eq!(*lacks, json!([{ "code": "other_vehicles", "facts": [fact] }]), "{brake:#}");
    let throttle = ask("throttle_position_relearn").await.expect(200);
    assert_eq!(throttle["required"], "no");
    let ways = throttle["ways"].as_array().expect("ways");
    assert!(!ways.is_empty());
    for way in ways {
        assert!(!way["lacks"].as_array().expect("a list").is_empty(), "{way:#}");
        assert!(!way["because"].as_str().expect("text").is_empty() && !way["source"].is_null());
    }
    let there = ask("firm_pedal_check").await.expect(200);
    assert_eq!(there["required"], "yes");
    assert_eq!(there["tasks"].as_array().map(Vec::len), Some(1));
    let unknown = ask("throttle").await.expect_problem(404, "not-found");
    let near = unknown["procedures"].as_array().expect("names");
    assert!(near.contains(&json!("throttle_position_relearn")));
    desk.get(&path).await.expect_problem(400, "invalid-request");
}
