//! Events reach whoever waits for them: once, in order, and without a poll.

use std::time::{Duration, Instant};

use domain::role::Role;
use reqwest::{Method, Response};
use serde_json::Value;

use crate::harness::{self, Client};

/// Opens the stream of events.
async fn stream(client: &Client, path: &str) -> Response {
    let response = client.request(Method::GET, path).send().await.expect("the service answers");
    assert_eq!(response.status(), 200);
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    response
}

/// Reads until this many events with data are there: position and event.
async fn events(stream: &mut Response, count: usize) -> Vec<(i64, Value)> {
    let mut text = String::new();
    loop {
        let whole = text.rsplit_once("\n\n").map_or("", |(whole, _)| whole);
        let found: Vec<(i64, Value)> = whole.split("\n\n").filter_map(event).collect();
        // What the planner does beside is no part of these stories.
        let found: Vec<_> =
            found.into_iter().filter(|(_, e)| !e["type"].to_string().contains("plan.")).collect();
        if found.len() >= count {
            return found;
        }
        let chunk = stream.chunk().await.expect("the stream lives").expect("it goes on");
        text.push_str(std::str::from_utf8(&chunk).expect("UTF-8"));
    }
}

fn event(block: &str) -> Option<(i64, Value)> {
    let field = |name: &str| block.lines().find_map(|line| line.strip_prefix(name));
    let data = field("data: ")?;
    let id = field("id: ").expect("an id").parse().expect("a position");
    Some((id, serde_json::from_str(data).expect("JSON")))
}

#[tokio::test]
async fn a_stream_tells_what_happens_and_goes_on_where_a_client_left_off() {
    let shop = harness::shop().await;
    let anybody = shop.as_role(Role::Auditor);
    let mut all = stream(&anybody, "/v1/events/stream?after=-1").await;
    let before = events(&mut all, 1).await;
    assert_eq!((before[0].0, &before[0].1["type"]), (0, &Value::from("shop.added")));
    let mut from_now = stream(&anybody, "/v1/events/stream").await;
    shop.bay("1", &["lift"]).await;
    let told = events(&mut from_now, 1).await;
    assert_eq!(told[0].1["type"], "bay.added");
    drop(from_now);
    shop.bay("2", &["lift"]).await;
    shop.bay("3", &["lift"]).await;
    let seen = told[0].0;
    let back = anybody.with("last-event-id", &seen.to_string());
    let missed = events(&mut stream(&back, "/v1/events/stream?after=-1").await, 2).await;
    let told: Vec<&Value> =
        missed.iter().map(|(_, event)| &event["data"]["data"]["name"]).collect();
    assert_eq!(told, ["2", "3"]);
    let listed = anybody.get(&format!("/v1/events?after={seen}&wait=5")).await.expect(200);
    let listed = listed["events"].as_array().expect("events");
    assert!(listed.contains(&missed[0].1), "the same events as in the list");
    let stranger = shop.beside("dockside").await.as_role(Role::Auditor);
    let theirs = events(&mut stream(&stranger, "/v1/events/stream?after=-1").await, 1).await;
    assert_eq!(theirs[0].1["data"]["data"]["name"], "dockside");
    let wrong = anybody.with("last-event-id", "yesterday").get("/v1/events/stream").await;
    wrong.expect_problem(400, "invalid-request");
    let nobody = anybody.without("authorization").get("/v1/events/stream").await;
    nobody.expect_problem(401, "token-missing-or-invalid");
}

#[tokio::test]
async fn a_reader_who_waits_is_told_at_once_and_let_go_when_the_service_stops() {
    let shop = harness::shop().await;
    let anybody = shop.as_role(Role::Auditor);
    let waiting = tokio::spawn({
        let anybody = anybody.clone();
        async move {
            let mut after = Value::from(-1);
            loop {
                let path = format!("/v1/events?after={after}&wait=30");
                let page = anybody.get(&path).await.expect(200);
                let events = page["events"].as_array().expect("events");
                if events.iter().any(|event| event["type"] == "bay.added") {
                    return page["after"].clone();
                }
                after = page["after"].clone();
            }
        }
    });
    let began = Instant::now();
    shop.bay("1", &["lift"]).await;
    let after = waiting.await.expect("answers");
    // The planner answers the bay with a plan; after that nothing happens by itself.
    let path = format!("/v1/events?after={after}&wait=2");
    let planned = anybody.get(&path).await.expect(200);
    let path = format!("/v1/events?after={}&wait=30", planned["after"]);
    let mut streamed = stream(&anybody, "/v1/events/stream").await;
    let waiting = tokio::spawn(async move { anybody.get(&path).await.expect(200) });
    tokio::time::sleep(Duration::from_millis(200)).await; // so that it does wait
    tokio::task::spawn_blocking(move || drop(shop)).await.expect("the service stops");
    waiting.await.expect("answers");
    while let Some(_piece) = streamed.chunk().await.expect("ends well") {}
    assert!(began.elapsed() < Duration::from_secs(25), "nobody waited until the end of patience");
}
