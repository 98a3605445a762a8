//! The shop's own phrases and labour codes come first in reading a line, and are learnt from people's answers.

use domain::role::Role;
use serde_json::{Value, json};

use crate::harness::{self, Client};
use crate::worker::VIN;

fn order(number: &str, line: Value) -> Value {
    let mut line = line;
    line["line"] = json!(1);
    json!({ "number": number, "vehicle": { "vin": VIN, "powertrain": "combustion" }, "lines": [line],
        "beside_open_order": true })
}

fn throttle() -> Value {
    json!([{ "action": "replace", "component": "throttle_body" }])
}

async fn reads(desk: &Client, line: Value) -> Value {
    let derived = desk.post("/v1/derivations", order("RO-0", line)).await.expect(200);
    derived["lines"][0].clone()
}

#[tokio::test]
async fn the_shops_words_come_before_the_lexicon_on_every_way_a_line_comes_in() {
    let shop = harness::shop().await;
    let (keeper, desk) = (shop.as_role(Role::Keeper), shop.as_role(Role::Integration));
    let before = reads(&desk, json!({ "text": "Zipp job" })).await;
    assert_eq!(before["reading"], "unread", "nobody knows the phrase: {before:#}");
    let coded = reads(&desk, json!({ "labour_code": "BR-101" })).await;
    assert_eq!(coded["reading"], "unread", "an unknown code alone says nothing: {coded:#}");

    let made = keeper
        .post("/v1/labour-words", json!({ "phrase": " ZIPP  Job ", "operations": throttle() }))
        .await;
    let path = made.header("location").to_owned();
    assert_eq!(made.expect(201)["phrase"], "zipp job");
    assert_eq!(path, "/v1/labour-words/zipp%20job");
    let code = json!({ "operations": [{ "action": "replace", "component": "rear_brake_pads" }] });
    keeper.put("/v1/labour-words/BR-101", code).await.expect(201);
    let wash = json!({ "phrase": "full valet", "operations": [] });
    keeper.post("/v1/labour-words", wash).await.expect(201);

    let read = reads(&desk, json!({ "text": "zipp JOB" })).await;
    assert_eq!(read["reading"], "sure");
    assert_eq!(read["operations"][0]["component"], "throttle_body");
    assert_eq!(reads(&desk, json!({ "text": "Full valet" })).await["reading"], "none");
    let coded = reads(&desk, json!({ "labour_code": "br-101", "text": "see note" })).await;
    assert_eq!(
        (&coded["reading"], &coded["operations"][0]["component"]),
        (&json!("sure"), &json!("rear_brake_pads"))
    );
    let more = json!({ "labour_code": "BR-101", "text": "replace throttle body" });
    let more = reads(&desk, more).await;
    assert_eq!(more["reading"], "unsure", "text that says more than the code is asked: {more:#}");

    let taken_in =
        desk.post("/v1/orders", order("RO-1", json!({ "text": "Zipp job" }))).await.expect(201);
    assert!(
        taken_in["tasks"]
            .as_array()
            .expect("tasks")
            .iter()
            .any(|t| t["procedure"] == "throttle_position_relearn")
    );
    let line = json!({ "line": 2, "labour_code": "BR-101" });
    let path = format!("/v1/orders/{}/lines/2", taken_in["id"].as_str().expect("an id"));
    let amended = desk.put(&path, line).await.expect(200);
    assert_eq!(amended["lines"][1]["reading"], "sure");
}

#[tokio::test]
async fn words_are_listed_page_by_page_changed_and_forgotten() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    for phrase in ["c & d / 50%", "Ä", "a"] {
        let body = json!({ "phrase": phrase, "operations": throttle() });
        keeper.post("/v1/labour-words", body).await.expect(201);
    }
    let first = keeper.get("/v1/labour-words?limit=2").await;
    let next =
        first.header("link").trim_start_matches('<').split('>').next().expect("a link").to_owned();
    let mut phrases: Vec<Value> = Vec::new();
    for page in [first.expect(200), keeper.get(&next).await.expect(200)] {
        phrases
            .extend(page["items"].as_array().expect("items").iter().map(|w| w["phrase"].clone()));
    }
    assert_eq!(phrases, ["a", "c & d / 50%", "ä"]);
    let same = json!({ "phrase": "A", "operations": throttle() });
    keeper.post("/v1/labour-words", same).await.expect(200);
    let other = json!({ "phrase": "A", "operations": [] });
    keeper.post("/v1/labour-words", other).await.expect_problem(409, "already-exists");
    let path = "/v1/labour-words/c%20%26%20d%20%2F%2050%25";
    assert_eq!(keeper.get(path).await.expect(200)["operations"][0]["action"], "replace");
    assert_eq!(
        keeper.put(path, json!({ "operations": [] })).await.expect(200)["operations"],
        json!([])
    );
    assert_eq!(keeper.delete(path).await.expect(204), Value::Null);
    keeper.delete(path).await.expect_problem(404, "not-found");
    let stranger = shop.beside("dockside").await.as_role(Role::Keeper);
    assert_eq!(stranger.get("/v1/labour-words").await.expect(200)["items"], json!([]));
}

#[tokio::test]
async fn a_word_that_says_nothing_or_the_unknown_is_refused() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let pointers = async |body: Value| {
        let problem =
            keeper.post("/v1/labour-words", body).await.expect_problem(422, "unprocessable");
        let errors = problem["errors"].as_array().expect("errors").clone();
        errors.iter().map(|e| e["pointer"].as_str().expect("text").to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(pointers(json!({ "phrase": " -- ", "operations": [] })).await, ["/phrase"]);
    let unknown = json!([{ "action": "replace", "component": "flux_thing" }]);
    assert_eq!(
        pointers(json!({ "phrase": "x", "operations": unknown })).await,
        ["/operations/0/component"]
    );
    let nul =
        keeper.post("/v1/labour-words", json!({ "phrase": "a\u{0}b", "operations": [] })).await;
    assert!((400..500).contains(&nul.status), "{:#}", nul.body);
    let body = json!({ "phrase": "x", "operations": [] });
    for role in [Role::Integration, Role::Dispatcher] {
        let refused = shop.as_role(role).post("/v1/labour-words", body.clone()).await;
        refused.expect_problem(403, "role-not-allowed");
    }
}

#[tokio::test]
async fn what_a_person_says_of_a_line_can_be_kept_for_the_shop() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let first =
        desk.post("/v1/orders", order("RO-1", json!({ "text": "Zipp job" }))).await.expect(201);
    let second =
        desk.post("/v1/orders", order("RO-2", json!({ "text": "zipp job!" }))).await.expect(201);
    let question = &first["questions"][0];
    assert_eq!(question["asks"], "lines.1");
    let path = format!("/v1/orders/{}", first["id"].as_str().expect("an id"));
    let answer =
        json!({ "question": question["id"], "operations": throttle(), "keep_as_phrase": true });
    shop.as_role(Role::Dispatcher).post(&format!("{path}/answers"), answer).await.expect(200);
    let kept = shop.as_role(Role::Keeper).get("/v1/labour-words").await.expect(200);
    assert_eq!(
        kept["items"],
        json!([{ "phrase": "zipp job", "operations": throttle(), "learnt_from": first["id"] }])
    );
    assert_eq!(reads(&desk, json!({ "text": "ZIPP JOB" })).await["reading"], "sure");
    // The order beside it still asks, until it is derived anew.
    let path = format!("/v1/orders/{}/derivations", second["id"].as_str().expect("an id"));
    let anew = desk.post(&path, Value::Null).await.expect(200);
    assert_eq!(anew["lines"][0]["reading"], "sure");
    assert!(anew["questions"].as_array().expect("questions").iter().all(|q| q["state"] != "open"));
}
