//! Bodies, checked against the contract's own schema before they are read into types, so that every broken field is
//! named at once.

use std::collections::HashMap;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Datelike as _};
use contract::problem::FieldFault;
use jsonschema::Validator;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use utoipa::ToSchema;

use crate::BODY_LIMIT;
use crate::arrival::{Arriving, Gate, arrive};
use crate::problem::Rejection;
use crate::schema_faults;

/// Bodies in JSON.
pub(crate) const JSON: Gate = Gate {
    types: &["application/json", "application/merge-patch+json"],
    asks_for: "`Content-Type: application/json`",
    limit: BODY_LIMIT,
};

/// A body that keeps the contract.
pub(crate) struct Checked<T> {
    /// The body.
    pub(crate) body: T,
    /// SHA-256 of the path and the body's bytes.
    pub(crate) fingerprint: [u8; 32],
}

/// The contract's schemas, compiled, by component name.
pub(crate) struct Schemas(HashMap<String, Validator>);

impl Schemas {
    /// Compiles every component of the document.
    pub(crate) fn of(document: &utoipa::openapi::OpenApi) -> Self {
        let document = serde_json::to_value(document).unwrap_or_default();
        let components = &document["components"]["schemas"];
        let names = components
            .as_object()
            .map(|all| all.keys().cloned().collect::<Vec<_>>())
            .unwrap_or_default();
        let kinds = names.iter().flat_map(|name| {
            let kinds = components[name]["oneOf"].as_array().into_iter().flatten().enumerate();
            kinds.filter_map(move |(at, one)| {
                let kind = one["properties"]["kind"]["enum"][0].as_str()?;
                Some((format!("{name}/{kind}"), format!("{name}/oneOf/{at}")))
            })
        });
        let whole = names.iter().map(|name| (name.clone(), name.clone()));
        let compiled = whole.chain(kinds).filter_map(|(name, place)| {
            let schema = json!({
                "$schema": "https://json-schema.org/draft/2020-12/schema",
                "$ref": format!("#/components/schemas/{place}"),
                "components": { "schemas": components },
            });
            let validator = jsonschema::options()
                .should_validate_formats(true)
                .with_format("date-time", is_moment)
                .build(&schema)
                .ok()?;
            Some((name, validator))
        });
        Self(compiled.collect())
    }

    /// Whether a value keeps the schema of this name, of which there is one for each `kind`.
    pub(crate) fn allows(&self, name: &str, value: &Value) -> bool {
        self.0.get(&of_kind(name, value)).is_none_or(|validator| validator.is_valid(value))
    }

    /// What is wrong with such a value.
    pub(crate) fn faults_of_kind(&self, name: &str, value: &Value) -> Vec<FieldFault> {
        self.faults(&of_kind(name, value), value)
    }

    fn faults(&self, name: &str, value: &Value) -> Vec<FieldFault> {
        let Some(validator) = self.0.get(name) else { return Vec::new() };
        validator.iter_errors(value).flat_map(|error| schema_faults::faults(&error)).collect()
    }
}

/// Whether it is a moment of RFC 3339 that the same standard can write in UTC: its years have four digits.
fn is_moment(text: &str) -> bool {
    DateTime::parse_from_rfc3339(text).is_ok_and(|at| (0..=9999).contains(&at.to_utc().year()))
}

/// The name of the schema for a value of several kinds.
fn of_kind(name: &str, value: &Value) -> String {
    let kind = value["kind"].as_str().unwrap_or_default();
    format!("{name}/{kind}")
}

impl<T: DeserializeOwned + ToSchema + 'static> FromRequest for Checked<T> {
    type Error = Rejection;
    type Future = Arriving<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, JSON, |arrived, schemas| {
            let text = std::str::from_utf8(&arrived.bytes)
                .map_err(|error| whole(format!("not UTF-8 from byte {}", error.valid_up_to())))?;
            let value: Value =
                serde_json::from_str(text).map_err(|error| whole(format!("not JSON: {error}")))?;
            let faults = schemas.map(|schemas| schemas.faults(&T::name(), &value));
            if let Some(faults) = faults.filter(|faults| !faults.is_empty()) {
                return Err(Rejection::invalid(faults));
            }
            // What a schema can't say (a member given twice, a number too long) is found here, one at a time.
            let body = serde_json::from_str(text).map_err(|error| whole(error.to_string()))?;
            Ok(Self { body, fingerprint: arrived.fingerprint })
        })
    }
}

/// The refusal of a body as a whole.
fn whole(detail: String) -> Rejection {
    Rejection::invalid(vec![FieldFault { pointer: String::new(), detail }])
}

/// SHA-256 of a path and the body's bytes.
pub(crate) fn fingerprint(path: &str, bytes: &[u8]) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(path);
    hash.update([0]);
    hash.update(bytes);
    hash.finalize().into()
}
