//! What the published schema of a catalogue promises.

use std::path::Path;

use derivation::schema::schema;
use derivation::starter;
use serde_json::{Value, json};

#[test]
fn the_published_schema_is_the_one_of_the_types() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../openapi/catalogue.schema.json");
    let now = format!("{}\n", serde_json::to_string_pretty(&schema()).expect("writes"));
    if std::env::var_os("UPDATE_CONTRACT").is_some() {
        std::fs::write(&path, &now).expect("writes");
    }
    let published = std::fs::read_to_string(&path).expect("openapi/catalogue.schema.json is there");
    assert!(
        published == now,
        "openapi/catalogue.schema.json is stale: UPDATE_CONTRACT=1 renews it"
    );
}

#[test]
fn the_starter_catalogue_follows_the_schema_and_a_broken_one_does_not() {
    let validator = jsonschema::draft202012::new(&schema()).expect("a schema of 2020-12");
    let catalogue = serde_json::to_value(starter::catalogue().expect("reads")).expect("writes");
    let told: Vec<String> = validator
        .iter_errors(&catalogue)
        .take(5)
        .map(|error| format!("{} at {}", error, error.instance_path()))
        .collect();
    assert_eq!(told, Vec::<String>::new());
    let broken = |pointer: &str, value: Value| {
        let mut catalogue = catalogue.clone();
        *catalogue.pointer_mut(pointer).expect("there") = value;
        !validator.is_valid(&catalogue)
    };
    assert!(broken("/procedures/0/phase", json!("whenever")));
    assert!(broken("/procedures/0/minutes/likely", json!("ten")));
    assert!(broken("/rules/0/require", json!("one")));
    assert!(broken("/version", json!("")));
}
