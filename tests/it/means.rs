//! The shop's means, and the conventions that hold for every resource.

use std::sync::Arc;

use api::auth::Claims;
use domain::role::Role;
use reqwest::Method;
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::sync::Barrier;
use uuid::Uuid;

use crate::harness::{self, answer};

#[tokio::test]
async fn each_of_the_means_is_added_read_changed_by_its_version_and_retired() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let technician = shop.technician("Ada", &["general"]).await;
    let shift = json!({ "technician": technician, "starts_local": "2026-11-02T07:30:00", "minutes": 480,
        "rrule": "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR" });
    let means = [
        (
            "/v1/bays",
            json!({ "name": "1", "capabilities": ["lift"] }),
            "capabilities",
            json!(["lift", "level_floor"]),
        ),
        (
            "/v1/technicians",
            json!({ "name": "Bo", "skills": ["brakes"] }),
            "skills",
            json!(["brakes", "general"]),
        ),
        (
            "/v1/equipment",
            json!({ "name": "A", "kind": "scan_tool" }),
            "calibrated_until",
            json!("2027-01-01T00:00:00Z"),
        ),
        ("/v1/shifts", shift, "minutes", json!(300)),
    ];
    for (path, mut body, field, value) in means {
        let made = dispatcher.post(path, body.clone()).await;
        let (location, tag) = (made.header("location").to_owned(), made.header("etag").to_owned());
        made.expect(201);
        let read = shop.as_role(Role::Auditor).get(&location).await;
        assert_eq!(read.header("etag"), tag);
        read.expect(200);
        body[field] = value.clone();
        let changed = dispatcher.with("if-match", &tag).put(&location, body.clone()).await;
        assert_ne!(changed.header("etag"), tag);
        assert_eq!(changed.expect(200)[field], value, "{path}");
        dispatcher.put(&location, body.clone()).await.expect_problem(428, "version-required");
        let stale = dispatcher.with("if-match", &tag).put(&location, body.clone()).await;
        stale.expect_problem(412, "version-stale");
        // Whoever says that any version will do is taken at their word (RFC 9110, 13.1.1).
        let newest = dispatcher.with("if-match", "*").put(&location, body).await;
        let newer = newest.header("etag").to_owned();
        newest.expect(200);
        dispatcher.delete(&location).await.expect_problem(428, "version-required");
        let retired = dispatcher.with("if-match", &newer).delete(&location).await.expect(200);
        assert_eq!(retired["retired"], true, "{path}");
        let all = dispatcher.get(path).await.expect(200);
        assert!(
            all["items"].as_array().expect("a list").contains(&retired),
            "{path} still tells of it"
        );
    }
}

#[tokio::test]
async fn an_absence_may_have_no_end_until_somebody_knows_it() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let bay = shop.bay("1", &["lift"]).await;
    let body = json!({ "bay": bay, "reason": "the lift leaks" });
    let made = dispatcher.post("/v1/absences", body).await;
    let location = made.header("location").to_owned();
    assert_eq!(made.expect(201)["until_at"], Value::Null);
    let end = format!("{location}/end");
    let early = dispatcher.post(&end, json!({ "until_at": "2020-01-01T00:00:00Z" })).await;
    assert_eq!(early.expect_problem(422, "unprocessable")["errors"][0]["pointer"], "/until_at");
    dispatcher.post(&end, json!({ "until_at": "2099-01-01T00:00:00Z" })).await.expect(200);
    let read = dispatcher.get(&location).await.expect(200);
    assert_eq!(read["until_at"], "2099-01-01T00:00:00Z");
    let nobody = dispatcher.post("/v1/absences", json!({ "reason": "?" })).await;
    nobody.expect_problem(422, "unprocessable");
}

#[tokio::test]
async fn a_shift_names_a_technician_of_the_shop_and_a_rule_that_can_be_followed() {
    let shop = harness::shop().await;
    let body = json!({ "technician": Uuid::nil(), "starts_local": "2026-11-02T07:30:00", "minutes": 480,
        "rrule": "FREQ=HOURLY" });
    let refused = shop.as_role(Role::Dispatcher).post("/v1/shifts", body).await;
    let problem = refused.expect_problem(422, "unprocessable");
    let pointers: Vec<&Value> =
        problem["errors"].as_array().expect("errors").iter().map(|e| &e["pointer"]).collect();
    assert_eq!(pointers, ["/technician", "/rrule"]);
    // A rule that no day follows would leave a technician out of every plan, and nobody would be told.
    let ada = shop.technician("Ada", &["general"]).await;
    let body = json!({ "technician": ada, "starts_local": "2026-11-02T07:30:00", "minutes": 480,
        "rrule": "FREQ=DAILY;INTERVAL=0" });
    let refused = shop.as_role(Role::Dispatcher).post("/v1/shifts", body).await;
    let problem = refused.expect_problem(422, "unprocessable");
    assert_eq!(problem["errors"][0]["detail"], "no day follows this rule");
}

#[tokio::test]
async fn a_body_that_breaks_the_contract_names_every_broken_field_at_once() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let pointers = async |path: &str, body: Value| {
        let problem = dispatcher.post(path, body).await.expect_problem(400, "invalid-request");
        let errors = problem["errors"].as_array().expect("errors").clone();
        errors.iter().map(|e| e["pointer"].as_str().expect("text").to_owned()).collect::<Vec<_>>()
    };
    let wrong_types = json!({ "name": 7, "capabilities": "lift" });
    assert_eq!(pointers("/v1/bays", wrong_types).await, ["/capabilities", "/name"]);
    assert_eq!(pointers("/v1/bays", json!({ "name": "1" })).await, ["/capabilities"], "missing");
    let unknown = json!({ "name": "1", "capabilities": [], "colour": "red" });
    assert_eq!(pointers("/v1/bays", unknown).await, ["/colour"], "an unknown field");
    let naive =
        json!({ "name": "A", "kind": "scan_tool", "calibrated_until": "2026-11-02T07:30:00" });
    assert_eq!(
        pointers("/v1/equipment", naive).await,
        ["/calibrated_until"],
        "a time without offset"
    );
    let not_json =
        dispatcher.request(Method::POST, "/v1/bays").header("content-type", "application/json");
    answer(not_json.body("{")).await.expect_problem(400, "invalid-request");
    let plain = dispatcher.request(Method::POST, "/v1/bays").header("content-type", "text/plain");
    answer(plain.body("{}")).await.expect_problem(415, "unsupported-media-type");
    assert_eq!(
        dispatcher.get("/v1/bays").await.expect(200)["items"],
        json!([]),
        "nothing is half-written"
    );
}

#[tokio::test]
async fn a_body_of_50_megabytes_is_refused_by_its_size() {
    let shop = harness::shop().await;
    let request = shop.as_role(Role::Dispatcher).request(Method::POST, "/v1/bays");
    let request = request.header("content-type", "application/json").build().expect("a request");
    // A client that sends on is cut off, so that this one says its size and waits: the answer comes before the body.
    let address = shop.base().strip_prefix("http://").expect("plain HTTP");
    let mut stream = tokio::net::TcpStream::connect(address).await.expect("connects");
    let mut head =
        format!("POST /v1/bays HTTP/1.1\r\nhost: {address}\r\ncontent-length: 50000000\r\n");
    for (name, value) in request.headers() {
        let value = value.to_str().expect("text");
        head = format!("{head}{name}: {value}\r\n");
    }
    stream.write_all(format!("{head}\r\n").as_bytes()).await.expect("sends");
    let mut told = Vec::new();
    while !String::from_utf8_lossy(&told).contains("/problems/") {
        assert_ne!(stream.read_buf(&mut told).await.expect("answers"), 0, "no answer");
    }
    let told = String::from_utf8_lossy(&told);
    assert!(told.starts_with("HTTP/1.1 413 "), "{told}");
    assert!(told.contains("application/problem+json") && told.contains("body-too-large"), "{told}");
    shop.as_role(Role::Dispatcher).get("/v1/bays").await.expect(200);
}

#[tokio::test]
async fn a_word_that_the_catalogue_does_not_know_is_kept_and_told() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let means = [
        ("/v1/bays", json!({ "name": "1", "capabilities": ["lift", "lfit"] }), "`lfit`"),
        ("/v1/technicians", json!({ "name": "Bo", "skills": ["brake"] }), "`brake`"),
        ("/v1/equipment", json!({ "name": "A", "kind": "scantool" }), "`scantool`"),
    ];
    for (path, body, word) in means {
        let made = dispatcher.post(path, body).await.expect(201);
        let findings = made["findings"].as_array().expect("findings");
        assert_eq!(findings.len(), 1, "{made:#}");
        assert_eq!(findings[0]["code"], "unknown_word");
        assert!(findings[0]["detail"].as_str().expect("words").contains(word), "{made:#}");
    }
}

#[tokio::test]
async fn whoever_watches_over_the_service_needs_no_token_and_everything_else_does() {
    let shop = harness::shop().await;
    let nobody = shop.as_role(Role::Dispatcher).without("authorization");
    for path in ["/healthz", "/readyz", "/docs/", "/problems"] {
        let answer = nobody.request(Method::GET, path).send().await.expect("answers");
        assert_eq!(answer.status(), 200, "{path}");
    }
    let contract = nobody.get("/openapi.json").await.expect(200);
    let committed = concat!(env!("CARGO_MANIFEST_DIR"), "/../openapi/openapi.json");
    let committed = std::fs::read_to_string(committed).expect("is there");
    assert_eq!(contract, serde_json::from_str::<serde_json::Value>(&committed).expect("JSON"));
    for path in contract["paths"].as_object().expect("paths").keys() {
        if path.starts_with("/v1/") && contract["paths"][path]["get"].is_object() {
            let path = path.replace(['{', '}'], "");
            let refused = nobody.get(&path).await;
            let logged = format!("urn:uuid:{}", refused.header("x-request-id"));
            let problem = refused.expect_problem(401, "token-missing-or-invalid");
            assert_eq!(problem["instance"], json!(logged), "{path}");
        }
    }
}

#[tokio::test]
async fn a_token_of_another_issuer_type_or_role_does_not_pass() {
    let shop = harness::shop().await;
    let claims = shop.claims("desk", &[Role::Dispatcher], None);
    let other_issuer =
        shop.client(&Claims { iss: "https://elsewhere.example".to_owned(), ..claims.clone() });
    let ended = shop.client(&Claims { exp: 1_000_000_000, ..claims });
    for caller in [other_issuer, ended, shop.with_token("rubbish")] {
        let refused = caller.get("/v1/bays").await;
        assert_eq!(refused.header("www-authenticate"), "Bearer");
        refused.expect_problem(401, "token-missing-or-invalid");
    }
    let nobody = shop.as_role(Role::Dispatcher).without("authorization");
    nobody.get("/v1/bays").await.expect_problem(401, "token-missing-or-invalid");
    let body = json!({ "name": "1", "capabilities": [] });
    let auditor = shop.as_role(Role::Auditor).post("/v1/bays", body).await;
    auditor.expect_problem(403, "role-not-allowed");
}

#[tokio::test]
async fn every_list_comes_in_pages_that_link_to_the_next() {
    let shop = harness::shop().await;
    for number in 1..=3 {
        shop.bay(&format!("bay {number}"), &["lift"]).await;
        shop.technician(&format!("technician {number}"), &[]).await;
        shop.equipment(&format!("tool {number}"), "scan_tool").await;
    }
    crate::planning::checkpoint(&shop, 3).await;
    let reader = shop.as_role(Role::Auditor);
    for path in ["/v1/bays", "/v1/technicians", "/v1/equipment", "/v1/journal"] {
        let whole = reader.get(&format!("{path}?limit=500")).await.expect(200);
        let whole = whole["items"].as_array().expect("a list").clone();
        let mut seen = Vec::new();
        let mut next = Some(format!("{path}?limit=2"));
        while let Some(path) = next {
            let answer = reader.get(&path).await;
            let link = answer.header("link").to_owned();
            next = link.strip_prefix('<').and_then(|l| l.split_once('>')).map(|l| l.0.to_owned());
            let items = answer.expect(200)["items"].as_array().expect("a list").clone();
            assert!(items.len() <= 2 && (next.is_none() || items.len() == 2), "{items:?}");
            seen.extend(items);
        }
        assert!(whole.len() > 2 && whole == seen, "{path}: {whole:#?} {seen:#?}");
        for query in ["limit=0", "limit=501", "cursor=none", "after=3"] {
            let refused = reader.get(&format!("{path}?{query}")).await;
            assert!([400, 422].contains(&refused.status), "{path}?{query}: {}", refused.status);
        }
    }
    for path in ["/v1/shifts", "/v1/absences", "/v1/plan/pins"] {
        assert_eq!(reader.get(path).await.expect(200), json!({ "items": [] }), "{path}");
    }
    let newest = reader.get("/v1/journal/checkpoints?limit=1").await.expect(200);
    let size = newest["items"][0]["size"].as_i64().expect("a size");
    let below = reader.get(&format!("/v1/journal/checkpoints?cursor={size}")).await.expect(200);
    let below = below["items"].as_array().expect("a list");
    assert!(below.iter().all(|one| one["size"].as_i64() < Some(size)), "{below:#?}");
}

#[tokio::test]
async fn what_is_not_there_is_404_and_a_wrong_method_405_with_the_right_ones() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    dispatcher.get("/v1/nothing").await.expect_problem(404, "not-found");
    dispatcher.get("/v1/bays/no-id").await.expect_problem(404, "not-found");
    dispatcher.get(&format!("/v1/bays/{}", Uuid::nil())).await.expect_problem(404, "not-found");
    let wrong = dispatcher.patch("/v1/bays", json!({})).await;
    assert_eq!(wrong.header("allow"), "GET, POST");
    wrong.expect_problem(405, "method-not-allowed");
}

#[tokio::test]
async fn a_request_that_comes_again_with_its_key_gets_the_same_answer_and_does_nothing() {
    let shop = harness::shop().await;
    let caller = shop.as_role(Role::Dispatcher).with("idempotency-key", "\"k-1\"");
    let body = json!({ "name": "1", "capabilities": ["lift"] });
    let first = caller.post("/v1/bays", body.clone()).await;
    let again = caller.post("/v1/bays", body).await;
    for header in ["etag", "location"] {
        assert_eq!(first.header(header), again.header(header));
        assert_ne!(again.header(header), "");
    }
    assert_eq!(first.expect(201), again.expect(201));
    let other = caller.post("/v1/bays", json!({ "name": "2", "capabilities": [] })).await;
    other.expect_problem(422, "idempotency-key-reused");
    assert_eq!(caller.get("/v1/bays").await.expect(200)["items"].as_array().map(Vec::len), Some(1));
}

#[tokio::test]
async fn of_many_requests_with_one_key_at_once_one_works_and_the_rest_are_told() {
    let shop = harness::shop().await;
    let barrier = Arc::new(Barrier::new(8));
    let racers = (0..8).map(|_| {
        let caller = shop.as_role(Role::Dispatcher).with("idempotency-key", "k-2");
        let barrier = Arc::clone(&barrier);
        async move {
            barrier.wait().await;
            caller.post("/v1/bays", json!({ "name": "1", "capabilities": [] })).await
        }
    });
    let answers = futures::future::join_all(racers).await;
    let mut made = Vec::new();
    for answer in answers {
        match answer.status {
            201 => made.push(answer.body),
            _ => drop(answer.expect_problem(409, "request-in-progress")),
        }
    }
    assert!(!made.is_empty());
    assert!(made.windows(2).all(|pair| pair[0] == pair[1]), "one bay, told several times");
    let all = shop.as_role(Role::Dispatcher).get("/v1/bays").await.expect(200);
    assert_eq!(all["items"].as_array().map(Vec::len), Some(1));
}
