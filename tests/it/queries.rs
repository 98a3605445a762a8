//! Queries that do not read: the refusal names the parameter and what it accepts.

use domain::role::Role;
use serde_json::Value;

use crate::harness;

fn told(problem: &Value) -> Vec<(String, String)> {
    let errors = problem["errors"].as_array().expect("errors").iter();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    errors.map(|error| (text(&error["pointer"]), text(&error["detail"]))).collect()
}

#[tokio::test]
async fn a_query_that_does_not_read_names_each_parameter_and_what_it_accepts() {
    let shop = harness::shop().await;
    let desk = shop.as_role(Role::Dispatcher);
    let nobody = uuid::Uuid::nil();
    let cases = [
        ("/v1/orders?state=ajar".to_owned(), "state", "one of open, released, closed, cancelled"),
        ("/v1/tasks?limit=many".to_owned(), "limit", "a whole number from 1 to 500"),
        ("/v1/tasks?limit=-1".to_owned(), "limit", "a whole number from 1 to 500"),
        ("/v1/tasks?order=RO-1".to_owned(), "order", "a UUID"),
        ("/v1/plan/why-late".to_owned(), "order", "missing; it takes a UUID"),
        (format!("/v1/orders/{nobody}/why-not"), "procedure", "missing; it takes a text"),
        ("/v1/plan?tehcnician=x".to_owned(), "tehcnician", "there are `bay`, `technician`"),
        ("/v1/orders?limit=1&limit=2".to_owned(), "limit", "given more than once"),
    ];
    for (path, parameter, accepts) in cases {
        let problem = desk.get(&path).await.expect_problem(400, "invalid-request");
        let [(pointer, detail)] = told(&problem).try_into().expect("one fault");
        assert_eq!(pointer, parameter, "{path}");
        assert!(detail.contains(accepts), "{path}: {detail}");
    }
    let both = desk.get("/v1/tasks?order=1&state=asleep").await;
    let both = told(&both.expect_problem(400, "invalid-request"));
    let named: Vec<&str> = both.iter().map(|(pointer, _)| pointer.as_str()).collect();
    assert_eq!(named, ["order", "state"], "all at once");
}
