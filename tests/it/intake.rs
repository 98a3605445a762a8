//! Intake and amendment: what comes in wrong is refused whole, what comes in right is derived at once.

use contract::orders::OrderView;
use domain::role::Role;
use serde_json::{Value, json};
use sqlx::AssertSqlSafe;

use crate::harness::{self, Answer, Client, Shop};
use crate::worker::{line, order_view, read, rear_pads, taken_in, task, yard};

/// The example of 49 CFR 565.15 Table VI: its check digit, the ninth character, is 4.
const VIN_OF_THE_REGULATION: &str = "1G4AH59H45G118341";

fn with(mut body: Value, pointer: &str, value: Value) -> Value {
    *body.pointer_mut(pointer).expect("the field is there") = value;
    body
}

fn add_line(body: &mut Value, line: Value) {
    body["lines"].as_array_mut().expect("lines").push(line);
}

fn with_vin(vin: &str, market: &str) -> Value {
    let mut body = with(rear_pads("RO-1"), "/vehicle/vin", json!(vin));
    body["vehicle"]["market"] = json!(market);
    body["vehicle"]["model_year"] = json!(2005);
    body
}

fn pointers(problem: &Value) -> Vec<&str> {
    let errors = problem["errors"].as_array().expect("errors");
    errors.iter().map(|e| e["pointer"].as_str().expect("text")).collect()
}

/// How many rows an order could have left; the plan's own are left out, it is made beside the requests.
async fn rows(shop: &Shop) -> i64 {
    let mut owner = shop.owner_connection().await;
    let tables = ["vehicle", "repair_order", "line", "question", "task", "precedence"];
    let mut counts = tables.map(|t| format!("(SELECT count(*) FROM {t})")).join(" + ");
    counts.push_str(" + (SELECT count(*) FROM journal_entry WHERE kind NOT LIKE 'plan%')");
    let named = format!("SET app.shops = '{{{}}}'", shop.id);
    sqlx::raw_sql(AssertSqlSafe(named)).execute(&mut owner).await.expect("names the shop");
    let sql = format!("SELECT {counts}");
    sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut owner).await.expect("counts")
}

#[tokio::test]
async fn what_breaks_the_contract_or_the_catalogue_is_refused_by_field_and_leaves_nothing() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let before = rows(&shop).await;
    let good = rear_pads("RO-1");
    let mut no_vehicle = good.clone();
    no_vehicle.as_object_mut().expect("an object").remove("vehicle");
    let one = &good["lines"][0];
    let many: Vec<Value> = (1..=501).map(|n| with(one.clone(), "/line", json!(n))).collect();
    let mut naive = good.clone();
    naive["promised_at"] = json!("2026-11-02T08:00:00");
    let mut beyond = good.clone();
    beyond["promised_at"] = json!("9999-12-31T23:00:00-05:00");
    let unlawful = [
        ("a wrong JSON type", with(good.clone(), "/number", json!(7)), "/number"),
        ("a missing field", no_vehicle, "/vehicle"),
        ("501 lines", with(good.clone(), "/lines", json!(many)), "/lines"),
        ("a time without offset", naive, "/promised_at"),
        ("a time in year 10000", beyond, "/promised_at"),
    ];
    for (what, body, pointer) in unlawful {
        let problem = desk.post("/v1/orders", body).await.expect_problem(400, "invalid-request");
        assert_eq!(pointers(&problem), [pointer], "{what}");
    }
    let unknown = with(good.clone(), "/lines/0/operations/0/action", json!("polish_up"));
    let problem = desk.post("/v1/orders", unknown).await.expect_problem(422, "unprocessable");
    assert_eq!(pointers(&problem), ["/lines/0/operations/0/action"]);
    assert_eq!(rows(&shop).await, before, "nothing is half-written");
}

#[tokio::test]
async fn every_broken_field_is_named_at_once() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let mut body = with(rear_pads("RO-1"), "/number", json!(7));
    body["weight"] = json!("heavy");
    body["lines"][0]["line"] = json!("one");
    let problem = desk.post("/v1/orders", body).await.expect_problem(400, "invalid-request");
    assert_eq!(pointers(&problem), ["/lines/0/line", "/number", "/weight"]);
    let mut body = rear_pads("RO-1");
    body["trouble_codes"] = json!(["P0507", "P9999"]);
    body["lines"][0]["operations"][0] = json!({ "action": "polish_up", "component": "moon" });
    body["follows"] = json!(uuid::Uuid::nil());
    let problem = desk.post("/v1/orders", body).await.expect_problem(422, "unprocessable");
    let mut found = pointers(&problem);
    found.sort_unstable();
    let expected = [
        "/follows",
        "/lines/0/operations/0/action",
        "/lines/0/operations/0/component",
        "/trouble_codes/1",
    ];
    assert_eq!(found, expected);
}

#[tokio::test]
async fn a_vin_has_no_o_i_or_q_and_its_check_digit_binds_in_the_us_and_canada() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let before = rows(&shop).await;
    let misprinted = VIN_OF_THE_REGULATION.replacen("H45", "H55", 1);
    for (vin, market) in [
        ("1G4AH59H45G11834O", "DE"),
        ("IG4AH59H45G118341", "DE"),
        ("1G4AH59H45G1Q8341", "US"),
        (misprinted.as_str(), "US"),
        (misprinted.as_str(), "CA"),
    ] {
        let refused = desk.post("/v1/orders", with_vin(vin, market)).await;
        let problem = refused.expect_problem(422, "unprocessable");
        assert_eq!(pointers(&problem), ["/vehicle/vin"], "{vin} in {market}");
    }
    assert_eq!(rows(&shop).await, before, "nothing is half-written");
    desk.post("/v1/orders", with_vin(VIN_OF_THE_REGULATION, "US")).await.expect(201);
    let typed = format!(" {} ", VIN_OF_THE_REGULATION.to_lowercase());
    let typed = with(with_vin(&typed, "US"), "/number", json!("RO-3"));
    let same = desk.post("/v1/orders", typed).await;
    same.expect_problem(409, "vehicle-has-open-order");
    let elsewhere = with(with_vin(&misprinted, "DE"), "/number", json!("RO-2"));
    desk.post("/v1/orders", elsewhere).await.expect(201);
}

#[tokio::test]
async fn a_vehicle_without_any_identity_is_taken_in_and_the_order_says_so() {
    let shop = harness::shop().await;
    let mut body = rear_pads("RO-1");
    body["vehicle"].as_object_mut().expect("an object").remove("vin");
    let order = taken_in(&shop, body).await;
    let codes: Vec<&str> = order.findings.iter().map(|f| f.code.as_str()).collect();
    assert!(codes.contains(&"vehicle_unidentified"), "{codes:?}");
}

#[tokio::test]
async fn a_number_comes_in_once_and_a_vehicle_has_one_open_order_unless_it_says_so() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let first = desk.post("/v1/orders", rear_pads("RO-1")).await.expect(201);
    let before = rows(&shop).await;
    let again = desk.post("/v1/orders", rear_pads("RO-1")).await.expect(200);
    assert_eq!(again["id"], first["id"]);
    let other = with(rear_pads("RO-1"), "/lines/0/minutes", json!(50));
    let taken = desk.post("/v1/orders", other).await.expect_problem(409, "number-taken");
    assert_eq!(taken["order"], first["id"]);
    let beside = desk.post("/v1/orders", rear_pads("RO-2")).await;
    let problem = beside.expect_problem(409, "vehicle-has-open-order");
    assert_eq!(problem["orders"], json!([first["id"]]));
    assert_eq!(rows(&shop).await, before, "nothing is half-written");
    let mut meant = rear_pads("RO-2");
    meant["beside_open_order"] = json!(true);
    let second = desk.post("/v1/orders", meant).await.expect(201);
    assert_eq!(second["other_open_orders"], json!([first["id"]]));
    let release = format!("/v1/orders/{}/release", second["id"].as_str().expect("an id"));
    let kept = desk
        .post(&release, json!({ "kind": "complete" }))
        .await
        .expect_problem(409, "not-releasable");
    assert_eq!(kept["other_open_orders"], json!([first["id"]]));
}

/// A vehicle that is known by its plate is one vehicle, so that what stands open on it counts for all of its orders.
#[tokio::test]
async fn a_plate_tells_the_vehicle_however_it_is_written() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let by_plate = |number: &str, plate: &str| {
        let mut body = rear_pads(number);
        body["vehicle"]["plate"] = json!(plate);
        body["vehicle"].as_object_mut().expect("an object").remove("vin");
        body
    };
    let first = desk.post("/v1/orders", by_plate("RO-1", "ZZ 1234")).await.expect(201);
    let same = desk.post("/v1/orders", by_plate("RO-2", "zz-1234")).await;
    let problem = same.expect_problem(409, "vehicle-has-open-order");
    assert_eq!(problem["orders"], json!([first["id"]]));
    let mut with_vin = rear_pads("RO-3");
    with_vin["vehicle"]["plate"] = json!("ZZ1234");
    let told = desk.post("/v1/orders", with_vin.clone()).await;
    told.expect_problem(409, "vehicle-has-open-order");
    with_vin["beside_open_order"] = json!(true);
    let beside = desk.post("/v1/orders", with_vin).await.expect(201);
    assert_eq!(beside["vehicle_id"], first["vehicle_id"]);
    assert_eq!(beside["other_open_orders"], json!([first["id"]]));
    let other = desk.post("/v1/orders", by_plate("RO-4", "ZZ 1235")).await.expect(201);
    assert_ne!(other["vehicle_id"], first["vehicle_id"]);
    let none = desk.post("/v1/orders", by_plate("RO-5", "- -")).await.expect(201);
    let neither = desk.post("/v1/orders", by_plate("RO-6", "--")).await.expect(201);
    assert_ne!(none["vehicle_id"], neither["vehicle_id"], "no letter or digit tells nothing");
}

#[tokio::test]
async fn a_visit_that_does_not_happen_is_cancelled_by_itself_and_only_while_nothing_was_begun() {
    let yard = yard().await;
    let desk = yard.shop.as_role(Role::Integration);
    let made = desk.post("/v1/orders", rear_pads("RO-1")).await;
    let cancelled = json!({ "state": "cancelled" });
    let both = json!({ "state": "cancelled", "weight": 3 });
    let refused = patched(&desk, &made, both).await.expect_problem(422, "unprocessable");
    assert_eq!(pointers(&refused), ["/state"]);
    let reopened = patched(&desk, &made, json!({ "state": "open" })).await;
    reopened.expect_problem(400, "invalid-request");
    let seen = desk.get(made.header("location")).await.expect(200);
    assert_eq!((&seen["state"], &seen["weight"]), (&json!("open"), &json!(1)), "as it was");

    // What was only taken falls away with it, and whoever took it is told.
    let order: OrderView = read(seen);
    let held = yard.ada.take(task(&order, "parking_brake_open_for_service").id).await;
    let gone = patched(&desk, &made, cancelled.clone()).await.expect(200);
    assert_eq!(gone["state"], "cancelled");
    let lost = yard.ada.act(&held, "start", json!({})).await;
    assert_eq!(lost.status, 409, "{:#}", lost.body);
    patched(&desk, &made, json!({ "weight": 2 })).await.expect_problem(409, "wrong-state");

    let again = desk.post("/v1/orders", rear_pads("RO-2")).await;
    let order: OrderView = read(again.body.clone());
    yard.ada.begin(task(&order, "parking_brake_open_for_service").id).await;
    patched(&desk, &again, cancelled).await.expect_problem(409, "bracket-open");
}

async fn patched(desk: &Client, order: &Answer, patch: Value) -> Answer {
    let path = order.header("location").to_owned();
    let tag = desk.get(&path).await.header("etag").to_owned();
    let desk = desk.with("if-match", &tag).with("content-type", "application/merge-patch+json");
    desk.patch(&path, patch).await
}

/// RFC 7396: what is absent stays, `null` takes away, objects are merged, arrays replaced.
#[tokio::test]
async fn a_patch_merges_into_the_order_that_was_read_and_into_no_other() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let mut body = rear_pads("RO-1");
    body["promised_at"] = json!("2030-01-02T17:00:00Z");
    body["trouble_codes"] = json!(["P0507", "C0035"]);
    let made = desk.post("/v1/orders", body).await;
    assert_eq!(made.status, 201, "{:#}", made.body);
    let (path, tag) = (made.header("location").to_owned(), made.header("etag").to_owned());
    let patch =
        json!({ "trouble_codes": ["C0040"], "vehicle": { "features": { "front_camera": false } } });
    let changed = patched(&desk, &made, patch).await.expect(200);
    assert_eq!(changed["trouble_codes"], json!(["C0040"]));
    assert_eq!(changed["promised_at"], "2030-01-02T17:00:00Z");
    let features = json!({ "electronic_parking_brake": true, "front_camera": false });
    assert_eq!(changed["vehicle"]["features"], features);
    let cleared = patched(&desk, &made, json!({ "promised_at": null })).await.expect(200);
    assert_eq!(cleared["promised_at"], Value::Null);
    let full = json!({ "weight": 7, "odometer_out": 120_000, "complaints": ["stalls"], "vehicle": { "model": "Tarn" } });
    assert_eq!(patched(&desk, &made, full).await.expect(200)["weight"], 7);
    let nulls = json!({ "weight": null, "odometer_out": null, "complaints": null, "trouble_codes": null,
        "vehicle": { "powertrain": null, "model_year": null, "make": null, "model": null } });
    let cleared = patched(&desk, &made, nulls).await.expect(200);
    assert_eq!(cleared["weight"], 1, "as usual");
    assert_eq!((&cleared["trouble_codes"], &cleared["complaints"]), (&json!([]), &json!([])));
    for fact in ["powertrain", "model_year", "make", "model"] {
        assert_eq!(cleared["vehicle"][fact], Value::Null, "{fact}");
    }
    assert_eq!(cleared["vehicle"]["features"], features);
    let none = patched(&desk, &made, json!({ "vehicle": null })).await;
    none.expect_problem(422, "unprocessable");
    let stale = desk.with("if-match", &tag).patch(&path, json!({ "weight": 9 })).await;
    stale.expect_problem(412, "version-stale");
    desk.patch(&path, json!({ "weight": 9 })).await.expect_problem(428, "version-required");
    assert_eq!(desk.get(&path).await.expect(200)["weight"], 1);
}

#[tokio::test]
async fn a_fact_taken_back_is_asked_for_and_its_tasks_stay_until_the_answer_is_no() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let made = desk.post("/v1/orders", rear_pads("RO-1")).await;
    let id = made.body["id"].as_str().and_then(|id| id.parse().ok()).expect("an id");
    let known = order_view(&shop, id).await;
    let opening = task(&known, "parking_brake_open_for_service").id;
    let unknown = json!({ "vehicle": { "features": { "electronic_parking_brake": null } } });
    let changed = patched(&desk, &made, unknown).await.expect(200);
    assert_eq!(changed["changes"]["withdrawn"], json!([]), "what may be needed is kept");
    let asked = changed["questions"].as_array().expect("a list").iter();
    let mut asked = asked.filter(|q| q["state"] == "open");
    let question = asked.find(|q| q["asks"] == "features.electronic_parking_brake");
    let no = json!({ "question": question.expect("it is asked for")["id"], "fact": false });
    let path = format!("/v1/orders/{id}/answers");
    let answered = desk.post(&path, no.clone()).await.expect(200);
    let withdrawn = answered["changes"]["withdrawn"].as_array().expect("a list");
    assert!(withdrawn.contains(&json!(opening)), "{:#}", answered["changes"]);
    desk.post(&path, no).await.expect_problem(409, "wrong-state");
}

#[tokio::test]
async fn a_line_taken_off_withdraws_its_tasks_but_a_line_begun_stays() {
    let yard = yard().await;
    let shop = &yard.shop;
    let desk = shop.as_role(Role::Integration);
    let mut body = rear_pads("RO-1");
    body["vehicle"]["features"]["electronic_parking_brake"] = json!(false);
    add_line(
        &mut body,
        json!({ "line": 2, "operations": [{ "action": "replace", "component": "battery" }] }),
    );
    let order = taken_in(shop, body).await;
    let of_line = |order: &contract::orders::OrderView, number: i32| {
        let live = order.tasks.iter().filter(|t| !t.state.is_over());
        live.filter(|t| t.because.iter().all(|b| b.line == Some(number))).count()
    };
    assert!(of_line(&order, 2) > 0);
    desk.delete(&format!("/v1/orders/{}/lines/2", order.id)).await.expect(200);
    let less = order_view(shop, order.id).await;
    assert_eq!(of_line(&less, 2), 0);
    assert!(of_line(&less, 1) > 0, "those of the other line stay");
    let started = line(shop, order.id, 1, json!({ "progress": "started", "bay": yard.bay })).await;
    started.expect(200);
    let before = rows(shop).await;
    let refused = desk.delete(&format!("/v1/orders/{}/lines/1", order.id)).await;
    assert_eq!(refused.expect_problem(409, "wrong-state")["state"], "started");
    assert_eq!(rows(shop).await, before, "nothing is half-written");
}

#[tokio::test]
async fn a_dry_run_derives_what_intake_would_and_stores_nothing() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let mut body = rear_pads("RO-1");
    body["vehicle"]["features"] = json!({});
    add_line(&mut body, json!({ "line": 2, "text": "replace windshield, disconnect battery" }));
    body["trouble_codes"] = json!(["P0507"]);
    let before = rows(&shop).await;
    let dry = desk.post("/v1/derivations", body.clone()).await.expect(200);
    assert_eq!(rows(&shop).await, before);
    let stored = desk.post("/v1/orders", body).await.expect(201);
    assert_eq!(derived(&dry), derived(&stored));
    assert_eq!(dry["catalogue_version"], stored["catalogue_version"]);
    assert_eq!(dry["findings"], stored["findings"]);
    let readings = |view: &Value| -> Vec<Value> {
        let lines = view["lines"].as_array().expect("lines").iter();
        lines.map(|l| json!([l["line"], l["reading"], l["operations"]])).collect()
    };
    assert_eq!(readings(&dry), readings(&stored));
}

/// Tasks with what they wait for and why they are there, and questions: by name, since ids differ.
fn derived(view: &Value) -> Vec<Value> {
    let tasks = view["tasks"].as_array().expect("tasks");
    let name = |id: &Value| {
        let found = tasks.iter().find(|t| t["id"] == *id).expect("a task of this order");
        format!("{}@{}", found["procedure"].as_str().expect("text"), found["place"])
    };
    let waits = |task: &Value| {
        let mut names: Vec<String> = task["waits_for"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|w| w.get("task").map_or_else(|| w["line"].to_string(), name))
            .collect();
        names.sort();
        names
    };
    let mut all: Vec<Value> =
        tasks.iter().map(|t| json!([name(&t["id"]), t["because"], waits(t)])).collect();
    let questions = view["questions"].as_array().expect("questions").iter();
    all.extend(questions.map(|q| json!([q["asks"], q["text"], q["choices"], q["decides"]])));
    all.sort_by_key(Value::to_string);
    all
}

/// RFC 9457 section 3.1, RFC 8288 section 3.
#[tokio::test]
async fn problems_have_the_standards_members_and_pages_the_standards_links() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let problem = desk.post("/v1/orders", json!({})).await.expect_problem(400, "invalid-request");
    for member in ["type", "title", "detail"] {
        assert!(problem[member].as_str().is_some_and(|text| !text.is_empty()), "{member}");
    }
    let mut numbers = Vec::new();
    for number in ["RO-1", "RO-2", "RO-3", "RO-4", "RO-5"] {
        let mut body = rear_pads(number);
        body["vehicle"] = json!({ "plate": number });
        desk.post("/v1/orders", body).await.expect(201);
        numbers.push(number.to_owned());
    }
    let mut path = "/v1/orders?state=open&limit=2".to_owned();
    let mut told = Vec::new();
    for page in 1.. {
        let answer = desk.get(&path).await;
        let link = answer.header("link").to_owned();
        let items = answer.expect(200)["items"].take();
        let items = items.as_array().expect("a list").clone();
        assert!(items.len() <= 2);
        told.extend(items.iter().map(|o| o["number"].as_str().expect("text").to_owned()));
        if link.is_empty() {
            assert_eq!(page, 3);
            break;
        }
        let (target, relation) = link.split_once(';').expect("a parameter");
        assert_eq!(relation.trim(), "rel=\"next\"");
        path = target.trim_start_matches('<').trim_end_matches('>').to_owned();
    }
    told.sort();
    assert_eq!(told, numbers, "each order once");
}
