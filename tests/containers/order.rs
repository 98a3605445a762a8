//! The one thing that has to work: an order goes in, and it is there afterwards.

use std::time::{Duration, Instant};

use reqwest::Client;
use serde_json::{Value, json};

/// Posts an order to the service at `base` and reads it again.
pub(crate) async fn is_taken_in(base: &str, token: &str) {
    let client = Client::new();
    let order = json!({
        "number": "RO-20417",
        "vehicle": { "model_year": 2019, "powertrain": "combustion" },
        "lines": [{
            "line": 1,
            "text": "Replace throttle body",
            "operations": [{ "action": "replace", "component": "throttle_body" }],
        }],
    });
    let posted = client.post(format!("{base}/v1/orders")).bearer_auth(token).json(&order).send();
    let posted = posted.await.expect("the service answers");
    let (status, order) = (posted.status(), body(posted).await);
    assert_eq!(status, 201, "{order}");
    let tasks = order["tasks"].as_array().expect("has tasks");
    assert!(!tasks.is_empty(), "a new throttle body asks for a relearn: {order}");
    is_there(base, token).await;
}

/// Reads the order by its number.
pub(crate) async fn is_there(base: &str, token: &str) {
    let url = format!("{base}/v1/orders?number=RO-20417");
    let read = Client::new().get(url).bearer_auth(token).send().await.expect("answers");
    assert_eq!(read.status(), 200);
    let orders = body(read).await;
    assert_eq!(orders["items"][0]["number"], "RO-20417", "{orders}");
}

/// Waits until the service can serve.
pub(crate) async fn until_ready(base: &str) {
    let deadline = Instant::now() + Duration::from_mins(1);
    while Instant::now() < deadline {
        if reqwest::get(format!("{base}/readyz")).await.is_ok_and(|it| it.status() == 200) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("{base}/readyz did not say that it is ready within a minute");
}

async fn body(response: reqwest::Response) -> Value {
    response.json().await.expect("answers with JSON")
}
