//! The keeper's shelf: drafts with faults, drafts in force, and what they change on orders.

use contract::orders::OrderView;
use domain::lifecycle::TaskState;
use domain::role::Role;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::Row as _;

use crate::harness::{self, Answer, Client, Shop, answer};
use crate::worker::{line, order_view, read, rear_pads, taken_in, task, yard};

/// The document in force, as JSON.
async fn in_force(shop: &Shop) -> Value {
    let keeper = shop.as_role(Role::Keeper);
    let all = keeper.get("/v1/catalogues").await.expect(200);
    let all = all["items"].as_array().expect("a list");
    let one = all.iter().find(|one| one["state"] == "in_force").expect("one is in force");
    let version = one["version"].as_str().expect("a version");
    keeper.get(&format!("/v1/catalogues/{version}/document")).await.expect(200)
}

/// The document in force with another version and what `change` does to it.
async fn changed(shop: &Shop, version: &str, change: impl FnOnce(&mut Value)) -> Value {
    let mut document = in_force(shop).await;
    document["version"] = json!(version);
    change(&mut document);
    document
}

/// Uploads and puts in force.
async fn published(shop: &Shop, document: Value) {
    let keeper = shop.as_role(Role::Keeper);
    let path = format!("/v1/catalogues/{}/publish", document["version"].as_str().expect("text"));
    keeper.post("/v1/catalogues", document).await.expect(201);
    assert_eq!(keeper.post(&path, Value::Null).await.expect(200)["state"], "in_force");
}

async fn send(client: &Client, method: Method, path: &str, media: &str, text: &str) -> Answer {
    let request = client.request(method, path).header("content-type", media);
    answer(request.body(text.to_owned())).await
}

fn rule<'d>(document: &'d mut Value, id: &str) -> &'d mut Value {
    let rules = document["rules"].as_array_mut().expect("rules");
    rules.iter_mut().find(|rule| rule["id"] == id).expect("the rule is there")
}

fn procedure<'d>(document: &'d mut Value, id: &str) -> &'d mut Value {
    let procedures = document["procedures"].as_array_mut().expect("procedures");
    procedures.iter_mut().find(|one| one["id"] == id).expect("the procedure is there")
}

/// Pads need no wear reset any more, but a throttle relearn; and the pedal check takes longer.
fn another_practice(document: &mut Value) {
    rule(document, "new_pads")["require"] = json!(["throttle_position_relearn"]);
    let relearn = procedure(document, "throttle_position_relearn");
    for pads in ["front_brake_pads", "rear_brake_pads"] {
        let pads = json!({ "component": pads, "actions": ["replace"] });
        relearn["disturbed_by"].as_array_mut().expect("a list").push(pads);
    }
    procedure(document, "firm_pedal_check")["minutes"]["most"] = json!(99);
}

#[tokio::test]
async fn a_document_with_faults_is_refused_with_all_of_them_and_the_one_in_force_stays() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let before = keeper.get("/v1/catalogues").await.expect(200);
    let mut document = changed(&shop, "2027.1", |document| {
        rule(document, "new_pads")["require"] = json!(["no_such_procedure"]);
        rule(document, "wheel_was_off")["source"] = json!("hearsay");
    })
    .await;
    let text = serde_json::to_string_pretty(&document).expect("writes");
    for (media, path) in [("application/json", "/v1/catalogues"), ("text/yaml", "/v1/catalogues")] {
        let refused = send(&keeper, Method::POST, path, media, &text).await;
        let problem = refused.expect_problem(422, "catalogue-faulty");
        assert_eq!(problem["fault_count"], 2, "{:#}", problem["faults"]);
        for (code, word) in [("unknown_source", "hearsay"), ("unknown_name", "no_such_procedure")] {
            let faults = problem["faults"].as_array().expect("faults");
            let fault = faults.iter().find(|fault| fault["code"] == code);
            let fault = fault.unwrap_or_else(|| panic!("{code}: {faults:#?}"));
            let at = fault["line"].as_u64().and_then(|line| usize::try_from(line).ok());
            let line = text.lines().nth(at.expect("a line") - 1).expect("that line");
            assert!(line.contains(word), "the place is where the word stands: {line}");
            assert!(fault["column"].as_u64() > Some(1));
        }
    }
    let broken =
        send(&keeper, Method::POST, "/v1/catalogues", "application/yaml", "version: [").await;
    broken.expect_problem(422, "catalogue-faulty");
    let bomb = "a: &a [x, x]\nb: &b [*a, *a]\nversion: *b\n";
    let bomb = send(&keeper, Method::POST, "/v1/catalogues", "application/yaml", bomb).await;
    bomb.expect_problem(422, "catalogue-faulty");
    let checked =
        send(&keeper, Method::POST, "/v1/catalogue-checks", "application/json", &text).await;
    assert_eq!(checked.expect(200)["faults"].as_array().map(Vec::len), Some(2));
    document["version"] = json!("");
    let nameless = keeper.post("/v1/catalogues", document).await;
    nameless.expect_problem(422, "catalogue-faulty");
    let picture = send(&keeper, Method::POST, "/v1/catalogues", "image/png", "?").await;
    picture.expect_problem(415, "unsupported-media-type");
    assert_eq!(keeper.get("/v1/catalogues").await.expect(200), before);
}

#[tokio::test]
async fn a_draft_keeps_its_comments_is_changed_by_its_version_and_laid_aside() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let document = changed(&shop, "spring / 2027", |_| ()).await;
    let json = serde_json::to_string(&document).expect("writes");
    // JSON is YAML; the comment makes it a text that is only YAML.
    let yaml = format!("# kept by the keeper\n{json}");
    let made = send(&keeper, Method::POST, "/v1/catalogues", "application/yaml", &yaml).await;
    let (path, tag) = (made.header("location").to_owned(), made.header("etag").to_owned());
    let made = made.expect(201);
    assert_eq!((&made["state"], &made["version"]), (&json!("draft"), &json!("spring / 2027")));
    let again = send(&keeper, Method::POST, "/v1/catalogues", "application/json", &json).await;
    assert_eq!(again.expect(200)["digest"], made["digest"], "the same document in another form");
    let back = keeper.with("accept", "application/yaml").get(&format!("{path}/document")).await;
    assert_eq!(back.header("content-type"), "application/yaml");
    assert_eq!(back.expect(200), yaml);
    let back = keeper.get(&format!("{path}/document")).await;
    assert!(back.header("repr-digest").starts_with("sha-256=:"));
    assert_eq!(back.expect(200), document);
    let mut owner = shop.owner_connection().await;
    sqlx::query("SELECT set_config('app.shops', $1, false)")
        .bind(format!("{{{}}}", shop.id))
        .execute(&mut owner)
        .await
        .expect("names the shop");
    let row = sqlx::query(
        "SELECT encode(sha256(convert_to(document, 'UTF8')), 'hex') AS digest FROM catalogue WHERE state = 'draft'",
    )
    .fetch_one(&mut owner)
    .await
    .expect("reads");
    assert_eq!(made["digest"], row.get::<String, _>("digest"), "anybody can hash the document");

    let mut other = document.clone();
    other["notice"] = json!("Another notice.");
    let taken = keeper.post("/v1/catalogues", other.clone()).await;
    assert_eq!(taken.expect_problem(409, "already-exists")["state"], "draft");
    keeper.put(&path, other.clone()).await.expect_problem(428, "version-required");
    let newer = keeper.with("if-match", &tag).put(&path, other.clone()).await;
    let new_tag = newer.header("etag").to_owned();
    assert_ne!(newer.expect(200)["digest"], made["digest"]);
    let stale = keeper.with("if-match", &tag).put(&path, other.clone()).await;
    stale.expect_problem(412, "version-stale");
    other["version"] = json!("2028");
    let elsewhere = keeper.with("if-match", &new_tag).put(&path, other).await;
    elsewhere.expect_problem(422, "unprocessable");

    keeper.delete(&path).await.expect_problem(428, "version-required");
    let aside = keeper.with("if-match", &new_tag).delete(&path).await.expect(200);
    assert_eq!((&aside["state"], &aside["in_force_at"]), (&json!("retired"), &Value::Null));
    let publish = keeper.post(&format!("{path}/publish"), Value::Null).await;
    publish.expect_problem(409, "wrong-state");
    keeper.get("/v1/catalogues/none").await.expect_problem(404, "not-found");
}

#[tokio::test]
async fn only_a_keeper_or_owner_changes_the_shelf_and_another_shop_does_not_see_it() {
    let shop = harness::shop().await;
    let draft = changed(&shop, "2027.1", |_| ()).await;
    for role in [Role::Integration, Role::Dispatcher, Role::Auditor] {
        let caller = shop.as_role(role);
        let refused = caller.post("/v1/catalogues", draft.clone()).await;
        refused.expect_problem(403, "role-not-allowed");
        let refused = caller.post("/v1/catalogues/2026.11/publish", Value::Null).await;
        refused.expect_problem(403, "role-not-allowed");
        caller.get("/v1/catalogues/2026.11").await.expect(200);
    }
    shop.as_role(Role::Owner).post("/v1/catalogues", draft).await.expect(201);
    let stranger = shop.beside("dockside").await.as_role(Role::Keeper);
    for path in ["", "/document", "/check", "/impact"] {
        let path = format!("/v1/catalogues/2027.1{path}");
        stranger.get(&path).await.expect_problem(404, "not-found");
    }
    let publish = stranger.post("/v1/catalogues/2027.1/publish", Value::Null).await;
    publish.expect_problem(404, "not-found");
}

#[tokio::test]
async fn an_order_stays_on_its_catalogue_until_it_is_derived_anew_on_purpose() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Integration);
    let order = taken_in(&shop, rear_pads("RO-1")).await;
    assert!(order.tasks.iter().any(|task| task.procedure == "pad_wear_reset"));
    let draft = changed(&shop, "2027.1", |document| {
        another_practice(document);
    })
    .await;
    published(&shop, draft).await;
    let path = format!("/v1/orders/{}", order.id);
    let amended = json!({ "complaints": ["squeals"] });
    let tag = format!("\"v{}\"", order.version);
    let kept: OrderView = read(desk.with("if-match", &tag).patch(&path, amended).await.expect(200));
    assert_eq!(kept.catalogue_version, order.catalogue_version);
    assert!(kept.tasks.iter().any(|task| task.procedure == "pad_wear_reset"));

    let mut second = rear_pads("RO-2");
    second["vehicle"]["vin"] = json!("1H9AC3EB9KA042112");
    let second = desk.post("/v1/orders", second).await.expect(201);
    assert_eq!(second["catalogue_version"], "2027.1", "a new order has the one in force");

    let anew: OrderView =
        read(desk.post(&format!("{path}/derivations"), Value::Null).await.expect(200));
    assert_eq!(anew.catalogue_version, "2027.1");
    let changes = anew.changes.clone().expect("told");
    let old = task(&kept, "firm_pedal_check");
    let reworded = task(&anew, "firm_pedal_check");
    assert_eq!((reworded.minutes.most, reworded.replaces), (99, Some(old.id)));
    assert!(changes.withdrawn.contains(&old.id) && changes.added.contains(&reworded.id));
    let events = events(&shop).await;
    let told: Vec<&Value> =
        events.iter().filter(|event| event["type"] == "order.derived_anew").collect();
    assert_eq!(told.len(), 1);
    assert_eq!(
        told[0]["data"]["data"],
        json!({ "from": order.catalogue_version, "catalogue": "2027.1" })
    );
    let publishing = events.iter().find(|event| event["type"] == "catalogue.published");
    let publishing = &publishing.expect("told")["data"]["data"];
    assert_eq!(
        (&publishing["version"], &publishing["replaces"]),
        (&json!("2027.1"), &json!("2026.11"))
    );
}

#[tokio::test]
async fn of_two_drafts_published_at_once_one_is_in_force_and_the_other_was() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    for version in ["a", "b"] {
        let draft = changed(&shop, version, |_| ()).await;
        keeper.post("/v1/catalogues", draft).await.expect(201);
    }
    let publish = async |version: &str| {
        keeper.post(&format!("/v1/catalogues/{version}/publish"), Value::Null).await
    };
    let (a, b) = futures::future::join(publish("a"), publish("b")).await;
    a.expect(200);
    b.expect(200);
    let all = keeper.get("/v1/catalogues").await.expect(200);
    let states: Vec<&Value> =
        all["items"].as_array().expect("a list").iter().map(|one| &one["state"]).collect();
    assert_eq!(states.iter().filter(|state| **state == "in_force").count(), 1, "{states:?}");
    assert_eq!(states.iter().filter(|state| **state == "retired").count(), 2, "{states:?}");
}

#[tokio::test]
async fn deriving_anew_does_what_the_impact_foretold() {
    let yard = yard().await;
    let shop = &yard.shop;
    let keeper = shop.as_role(Role::Keeper);
    let order = taken_in(shop, rear_pads("RO-1")).await;
    let mut other = rear_pads("RO-2");
    other["vehicle"]["vin"] = json!("1H9AC3EB9KA042112");
    other["lines"] = json!([{ "line": 1, "text": "wash and vacuum" }]);
    taken_in(shop, other).await;
    let first = order.tasks.iter().find(|t| t.state == TaskState::Ready).expect("one is ready");
    let held = yard.ada.begin(first.id).await;
    yard.ada.pass(&held).await.expect(200);

    let same = changed(shop, "same", |document| document["notice"] = json!("New notice.")).await;
    keeper.post("/v1/catalogues", same).await.expect(201);
    let nothing = keeper.get("/v1/catalogues/same/impact").await.expect(200);
    assert_eq!(
        (&nothing["open_orders"], &nothing["affected_orders"]),
        (&json!(2), &json!(0)),
        "{nothing:#}"
    );

    let draft = changed(shop, "2027.1", |document| {
        another_practice(document);
    })
    .await;
    keeper.post("/v1/catalogues", draft).await.expect(201);
    let impact = keeper.get("/v1/catalogues/2027.1/impact").await.expect(200);
    assert_eq!((&impact["open_orders"], &impact["affected_orders"]), (&json!(2), &json!(1)));
    let foretold = &impact["orders"][0];
    assert_eq!(foretold["number"], "RO-1");
    let names = |keys: &Value| -> Vec<String> {
        let keys = keys.as_array().expect("a list").iter();
        keys.map(|key| key["procedure"].as_str().expect("a name").to_owned()).collect()
    };
    assert_eq!(names(&foretold["revises"]), ["firm_pedal_check"]);
    assert!(names(&foretold["adds"]).contains(&"throttle_position_relearn".to_owned()));
    assert!(names(&foretold["withdraws"]).contains(&"pad_wear_reset".to_owned()));
    keeper.post("/v1/catalogues/2027.1/publish", Value::Null).await.expect(200);
    let before = order_view(shop, order.id).await;
    let path = format!("/v1/orders/{}/derivations", order.id);
    let after: OrderView = read(keeper.post(&path, Value::Null).await.expect(200));
    let changes = after.changes.clone().expect("told");
    let named = |order: &OrderView, ids: &[uuid::Uuid]| -> Vec<String> {
        let mut names: Vec<String> = ids
            .iter()
            .map(|id| order.tasks.iter().find(|t| t.id == *id).expect("a task").procedure.clone())
            .collect();
        names.sort();
        names
    };
    let mut expected = [names(&foretold["adds"]), names(&foretold["revises"])].concat();
    expected.sort();
    assert_eq!(named(&after, &changes.added), expected);
    let mut expected = [names(&foretold["withdraws"]), names(&foretold["revises"])].concat();
    expected.sort();
    assert_eq!(named(&before, &changes.withdrawn), expected);
    assert!(changes.disturbed.is_empty());
    assert!(changes.kept.contains(&first.id), "what passed stays");
    let settled = keeper.get("/v1/catalogues/2027.1/impact").await.expect(200);
    assert_eq!(settled["affected_orders"], 0, "{settled:#}");
}

#[tokio::test]
async fn what_only_the_draft_calls_undone_is_done_again_once_the_order_is_derived_anew() {
    let yard = yard().await;
    let shop = &yard.shop;
    let keeper = shop.as_role(Role::Keeper);
    let mut body = rear_pads("RO-1");
    body["lines"] = json!([
        { "line": 1, "operations": [{ "action": "replace", "component": "rain_light_sensor" }] },
        { "line": 2, "operations": [{ "action": "replace", "component": "air_filter" }] } ]);
    let order = taken_in(shop, body).await;
    let begin = json!({ "progress": "started", "bay": yard.bay });
    line(shop, order.id, 1, begin.clone()).await.expect(200);
    line(shop, order.id, 1, json!({ "progress": "finished" })).await.expect(200);
    yard.ada.work_off(&yard.bo, order.id).await;
    line(shop, order.id, 2, begin).await.expect(200);

    let draft = changed(shop, "2027.1", |document| {
        let start = procedure(document, "rain_light_sensor_initialisation");
        let filter = json!({ "component": "air_filter", "actions": ["replace"] });
        start["disturbed_by"].as_array_mut().expect("a list").push(filter);
    })
    .await;
    keeper.post("/v1/catalogues", draft).await.expect(201);
    let impact = keeper.get("/v1/catalogues/2027.1/impact").await.expect(200);
    let undone = &impact["orders"][0]["disturbs"];
    assert_eq!(*undone, json!([{ "procedure": "rain_light_sensor_initialisation" }]), "{impact:#}");
    keeper.post("/v1/catalogues/2027.1/publish", Value::Null).await.expect(200);
    let path = format!("/v1/orders/{}/derivations", order.id);
    let anew: OrderView = read(keeper.post(&path, Value::Null).await.expect(200));
    let (old, again): (Vec<_>, Vec<_>) = anew
        .tasks
        .iter()
        .filter(|task| task.procedure == "rain_light_sensor_initialisation")
        .partition(|task| task.state == TaskState::Disturbed);
    assert_eq!((old.len(), again.len()), (1, 1));
    assert_eq!(again[0].replaces, Some(old[0].id));
    assert_eq!(anew.changes.expect("told").disturbed, [old[0].id]);
}

#[tokio::test]
async fn an_order_is_not_derived_anew_with_a_catalogue_that_lost_its_words() {
    let shop = harness::shop().await;
    let keeper = shop.as_role(Role::Keeper);
    let mut body = rear_pads("RO-1");
    body["lines"] =
        json!([{ "line": 3, "operations": [{ "action": "replace", "component": "air_filter" }] }]);
    let order = taken_in(&shop, body).await;
    let word = json!({ "phrase": "filter job", "operations": [{ "action": "replace", "component": "air_filter" }] });
    keeper.post("/v1/labour-words", word).await.expect(201);
    let draft = changed(&shop, "2027.1", |document| {
        let components = document["vocabulary"]["components"].as_array_mut().expect("a list");
        components.retain(|component| component["id"] != "air_filter");
    })
    .await;
    keeper.post("/v1/catalogues", draft).await.expect(201);
    let impact = keeper.get("/v1/catalogues/2027.1/impact").await.expect(200);
    assert_eq!(impact["orders"][0]["unknown_operations"], json!(["replace air_filter"]));
    assert_eq!(impact["unknown_labour_words"], json!(["filter job"]));
    keeper.post("/v1/catalogues/2027.1/publish", Value::Null).await.expect(200);
    let path = format!("/v1/orders/{}", order.id);
    let refused = keeper.post(&format!("{path}/derivations"), Value::Null).await;
    let problem = refused.expect_problem(422, "unprocessable");
    assert_eq!(problem["errors"][0]["pointer"], "lines.3");
    assert_eq!(order_view(&shop, order.id).await.catalogue_version, order.catalogue_version);
}

/// All that happened in the shop so far, once it has its positions.
async fn events(shop: &Shop) -> Vec<Value> {
    let auditor = shop.as_role(Role::Auditor);
    let mut all = Vec::new();
    let mut after = -1;
    loop {
        let page =
            auditor.get(&format!("/v1/events?after={after}&limit=500&wait=1")).await.expect(200);
        let events = page["events"].as_array().expect("events");
        if events.is_empty() {
            return all;
        }
        all.extend(events.iter().cloned());
        after = page["after"].as_i64().expect("a position");
    }
}
