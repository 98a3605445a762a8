//! The whole order again, for systems that know no single changes.

use domain::role::Role;
use serde_json::{Value, json};

use crate::harness;

fn order(number: &str, vin: Option<&str>, lines: &Value) -> Value {
    json!({ "number": number, "vehicle": { "vin": vin, "powertrain": "combustion" }, "lines": lines })
}

fn pads() -> Value {
    json!([{ "line": 1, "operations": [{ "action": "replace", "component": "rear_brake_pads" }] }])
}

#[tokio::test]
async fn the_whole_order_again_never_turns_it_into_another_vehicles() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let (first, other) = ("1H9AC3EB2KA042117", "1H9AC3EB9KA042112");
    let taken_in = order("RO-1", Some(first), &pads());
    let before = desk.post("/v1/orders", taken_in.clone()).await.expect(201);
    let path = "/v1/orders/by-number/RO-1";
    let mut posted = order("RO-1", Some(other), &pads());
    let problem = desk.put(path, posted.clone()).await.expect_problem(422, "vin-differs");
    assert_eq!(problem["vin"], first);
    assert_eq!(problem["errors"][0]["pointer"], "/vehicle/vin");
    posted["vehicle"]["vin"] = json!(" 1h9ac3eb2ka042117 ");
    let same = desk.put(path, posted).await.expect(200);
    assert_eq!(
        same["version"], before["version"],
        "the same order in other letters changes nothing"
    );
    let mut more = taken_in.clone();
    more["complaints"] = json!(["pulls left"]);
    assert_eq!(desk.put(path, more).await.expect(200)["complaints"], json!(["pulls left"]));
    let back = desk.put(path, taken_in).await.expect(200);
    assert_eq!(back["complaints"], json!([]), "the body of the intake counts as much as any other");
}

#[tokio::test]
async fn the_whole_order_again_keeps_what_was_answered() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let mut posted = order("RO-1", Some("1H9AC3EB2KA042117"), &pads());
    let made = desk.post("/v1/orders", posted.clone()).await.expect(201);
    let open = |order: &Value| -> Vec<Value> {
        let all = order["questions"].as_array().expect("questions").clone();
        all.into_iter().filter(|q| q["state"] == "open").collect()
    };
    let asked = open(&made);
    let brake = asked.iter().find(|q| q["asks"] == "features.electronic_parking_brake");
    let question = &brake.expect("it asks for the brake")["id"];
    let path = format!("/v1/orders/{}/answers", made["id"].as_str().expect("an id"));
    let answered = json!({ "question": question, "fact": true });
    let after = desk.post(&path, answered).await.expect(200);
    posted["weight"] = json!(2);
    let again = desk.put("/v1/orders/by-number/RO-1", posted.clone()).await.expect(200);
    assert_eq!(again["vehicle"]["features"]["electronic_parking_brake"], true, "{again:#}");
    assert_eq!(open(&again), open(&after), "nothing is asked twice");
    posted["vehicle"]["features"] = json!({ "electronic_parking_brake": false });
    let denied = desk.put("/v1/orders/by-number/RO-1", posted).await.expect(200);
    assert_eq!(denied["vehicle"]["features"]["electronic_parking_brake"], false, "it says so");
}

#[tokio::test]
async fn a_vehicle_without_a_vin_gets_its_first_one_with_the_whole_order() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let (known, first) = ("1H9AC3EB2KA042117", "1H9AC3EB9KA042112");
    desk.post("/v1/orders", order("RO-1", Some(known), &pads())).await.expect(201);
    desk.post("/v1/orders", order("RO-2", None, &pads())).await.expect(201);
    let path = "/v1/orders/by-number/RO-2";
    let anothers = desk.put(path, order("RO-2", Some(known), &pads())).await;
    anothers.expect_problem(422, "vin-differs");
    let told = desk.put(path, order("RO-2", Some(first), &pads())).await.expect(200);
    assert_eq!(told["vehicle"]["vin"], first);
    let vehicle = format!("/v1/vehicles/{}", told["vehicle_id"].as_str().expect("an id"));
    assert_eq!(desk.get(&vehicle).await.expect(200)["vin"], first);
    desk.put(path, order("RO-2", Some(known), &pads())).await.expect_problem(422, "vin-differs");
}
