//! What a validator says of a body, as faults that point to the member that is wrong: also to the one that is missing,
//! and into a member that may be left out or of several kinds.

use contract::problem::FieldFault;
use jsonschema::ValidationError;
use jsonschema::error::ValidationErrorKind;

/// The faults that one finding of the validator stands for.
pub(crate) fn faults(error: &ValidationError<'_>) -> Vec<FieldFault> {
    let here = error.instance_path().to_string();
    match error.kind() {
        ValidationErrorKind::AnyOf { context } | ValidationErrorKind::OneOfNotValid { context } => {
            match meant(context, &here) {
                Some(errors) => errors.iter().flat_map(faults).collect(),
                None => vec![fault(here, error)],
            }
        }
        ValidationErrorKind::Required { property } => {
            vec![fault(member(&here, property.as_str().unwrap_or_default()), error)]
        }
        ValidationErrorKind::AdditionalProperties { unexpected } => {
            let unexpected = unexpected.iter();
            unexpected.map(|name| fault(member(&here, name), error)).collect()
        }
        _ => vec![fault(here, error)],
    }
}

/// The findings of the one alternative that a value was meant as: of its type, and of its kind where alternatives have
/// one. `None` where more than one is left.
fn meant<'e>(
    alternatives: &'e [Vec<ValidationError<'static>>],
    here: &str,
) -> Option<&'e [ValidationError<'static>]> {
    let kind = member(here, "kind");
    let is_another = |error: &ValidationError<'_>| {
        let at = error.instance_path().to_string();
        at == kind || at == here && matches!(error.kind(), ValidationErrorKind::Type { .. })
    };
    let mut meant = alternatives.iter().filter(|errors| !errors.iter().any(is_another));
    let first = meant.next()?;
    meant.next().is_none().then_some(first)
}

/// JSON pointer (RFC 6901) of a member.
fn member(parent: &str, name: &str) -> String {
    format!("{parent}/{}", name.replace('~', "~0").replace('/', "~1"))
}

fn fault(pointer: String, error: &ValidationError<'_>) -> FieldFault {
    FieldFault { pointer, detail: short(&error.to_string()) }
}

/// What is wrong, without all of a long value that it is wrong of.
fn short(detail: &str) -> String {
    let (most, tail) = (200, 100);
    let count = detail.chars().count();
    if count <= most + tail {
        return detail.to_owned();
    }
    let head: String = detail.chars().take(most).collect();
    let end: String = detail.chars().skip(count - tail).collect();
    format!("{head} ... {end}")
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn pointers(schema: &Value, value: &Value) -> Vec<String> {
        let validator = jsonschema::validator_for(schema).expect("a schema");
        validator.iter_errors(value).flat_map(|error| faults(&error)).map(|f| f.pointer).collect()
    }

    #[test]
    fn a_missing_and_an_unknown_member_are_pointed_to() {
        let schema = json!({ "type": "object", "required": ["a/b"], "properties": { "a/b": {} },
            "additionalProperties": false });
        assert_eq!(pointers(&schema, &json!({})), ["/a~1b"]);
        assert_eq!(pointers(&schema, &json!({ "a/b": 1, "x": 1, "y": 1 })), ["/x", "/y"]);
    }

    #[test]
    fn a_fault_inside_what_may_be_null_is_pointed_to() {
        let inner = json!({ "type": "object", "properties": { "year": { "type": "integer" } } });
        let schema =
            json!({ "properties": { "vehicle": { "oneOf": [{ "type": "null" }, inner] } } });
        assert_eq!(pointers(&schema, &json!({ "vehicle": { "year": "old" } })), ["/vehicle/year"]);
        assert_eq!(pointers(&schema, &json!({ "vehicle": 7 })), ["/vehicle"]);
    }

    #[test]
    fn a_fault_inside_the_kind_that_is_named_is_pointed_to() {
        let kind = |name: &str, member: &str| {
            json!({ "type": "object", "required": ["kind"],
                "properties": { "kind": { "enum": [name] }, member: { "type": "number" } } })
        };
        let schema = json!({ "oneOf": [kind("range", "least"), kind("state", "value")] });
        assert_eq!(pointers(&schema, &json!({ "kind": "range", "least": "low" })), ["/least"]);
        assert_eq!(pointers(&schema, &json!({ "kind": "other" })), [""]);
    }
}
