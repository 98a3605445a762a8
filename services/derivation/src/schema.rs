//! The JSON Schema (2020-12) of a catalogue document, made from the types that read it.

use domain::catalogue::Catalogue;
use serde_json::{Value, json};
use utoipa::{PartialSchema, ToSchema};

/// The schema as one document.
pub fn schema() -> Value {
    let mut parts = vec![(Catalogue::name().into_owned(), Catalogue::schema())];
    Catalogue::schemas(&mut parts);
    let mut definitions: serde_json::Map<String, Value> = parts
        .into_iter()
        .filter_map(|(name, schema)| Some((name, serde_json::to_value(schema).ok()?)))
        .collect();
    definitions.values_mut().for_each(point_inside);
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Bayproof catalogue",
        "description": "Procedures, and the rules that make them necessary. YAML documents follow it too.",
        "$ref": format!("#/$defs/{}", Catalogue::name()),
        "$defs": definitions,
    })
}

/// References lead into this document, not into a contract.
fn point_inside(value: &mut Value) {
    match value {
        Value::Object(entries) => {
            if let Some(Value::String(to)) = entries.get_mut("$ref") {
                *to = to.replace("#/components/schemas/", "#/$defs/");
            }
            entries.values_mut().for_each(point_inside);
        }
        Value::Array(items) => items.iter_mut().for_each(point_inside),
        _ => {}
    }
}
