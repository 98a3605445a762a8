//! The shop's means, and the conventions that hold for every resource.

use domain::role::Role;
use serde_json::json;

use crate::harness;

#[tokio::test]
async fn a_bay_is_added_read_and_changed_by_its_version() {
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);
    let made = dispatcher.post("/v1/bays", json!({ "name": "1", "capabilities": ["lift"] })).await;
    let location = made.header("location").to_owned();
    let tag = made.header("etag").to_owned();
    made.expect(201);
    let read = shop.as_role(Role::Auditor).get(&location).await;
    assert_eq!(read.header("etag"), tag);
    assert_eq!(read.expect(200)["capabilities"], json!(["lift"]));
    let body = json!({ "name": "1", "capabilities": ["lift", "level_floor"] });
    let changed = dispatcher.with("if-match", &tag).put(&location, body.clone()).await;
    assert_ne!(changed.header("etag"), tag);
    changed.expect(200);
    dispatcher.put(&location, body.clone()).await.expect_problem(428, "version-required");
    let stale = dispatcher.with("if-match", &tag).put(&location, body).await;
    stale.expect_problem(412, "version-stale");
}
