//! Bodies, checked against the contract's own schema before they are read into types, so that every broken field is
//! named at once.

use std::collections::HashMap;
use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::{Bytes, BytesMut};
use actix_web::{FromRequest, HttpRequest, web};
use contract::problem::{FieldFault, ProblemKind};
use futures::StreamExt as _;
use jsonschema::Validator;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use utoipa::ToSchema;

use crate::BODY_LIMIT;
use crate::problem::Rejection;

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
        let compiled = names.into_iter().filter_map(|name| {
            let schema = json!({
                "$schema": "https://json-schema.org/draft/2020-12/schema",
                "$ref": format!("#/components/schemas/{name}"),
                "components": { "schemas": components },
            });
            let validator =
                jsonschema::options().should_validate_formats(true).build(&schema).ok()?;
            Some((name, validator))
        });
        Self(compiled.collect())
    }

    fn faults(&self, name: &str, value: &Value) -> Vec<FieldFault> {
        let Some(validator) = self.0.get(name) else { return Vec::new() };
        validator
            .iter_errors(value)
            .map(|error| FieldFault {
                pointer: error.instance_path().to_string(),
                detail: error.to_string(),
            })
            .collect()
    }
}

impl<T: DeserializeOwned + ToSchema + 'static> FromRequest for Checked<T> {
    type Error = Rejection;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Rejection>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let request = request.clone();
        let payload = payload.take();
        Box::pin(async move {
            json_type(&request)?;
            let bytes = read(&request, payload).await?;
            let value: Value = serde_json::from_slice(&bytes).map_err(|error| {
                Rejection::invalid(vec![FieldFault {
                    pointer: String::new(),
                    detail: format!("not JSON: {error}"),
                }])
            })?;
            let faults = request
                .app_data::<web::Data<Schemas>>()
                .map(|schemas| schemas.faults(&T::name(), &value))
                .unwrap_or_default();
            if !faults.is_empty() {
                return Err(Rejection::invalid(faults));
            }
            // What a schema can't say (a member given twice, a number too long) is found here, one at a time.
            let body = serde_json::from_slice(&bytes).map_err(|error| {
                Rejection::invalid(vec![FieldFault {
                    pointer: String::new(),
                    detail: error.to_string(),
                }])
            })?;
            Ok(Self { body, fingerprint: fingerprint(request.path(), &bytes) })
        })
    }
}

/// SHA-256 of a path and the body's bytes.
pub(crate) fn fingerprint(path: &str, bytes: &[u8]) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(path);
    hash.update([0]);
    hash.update(bytes);
    hash.finalize().into()
}

fn json_type(request: &HttpRequest) -> Result<(), Rejection> {
    let given = request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    let essence = given.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    if essence == "application/json" || essence == "application/merge-patch+json" {
        return Ok(());
    }
    Err(Rejection::new(ProblemKind::UnsupportedMediaType, "send `Content-Type: application/json`"))
}

/// The body's bytes, up to the limit.
pub(crate) async fn read(request: &HttpRequest, mut payload: Payload) -> Result<Bytes, Rejection> {
    let too_large = || {
        Rejection::new(ProblemKind::BodyTooLarge, format!("a body has at most {BODY_LIMIT} bytes"))
    };
    let announced = request
        .headers()
        .get(header::CONTENT_LENGTH)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.parse::<usize>().ok());
    if announced.is_some_and(|length| length > BODY_LIMIT) {
        return Err(too_large());
    }
    let mut bytes = BytesMut::with_capacity(announced.unwrap_or(1024).min(64 * 1024));
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|error| {
            Rejection::new(
                ProblemKind::InvalidRequest,
                format!("the body does not arrive: {error}"),
            )
        })?;
        if bytes.len() + chunk.len() > BODY_LIMIT {
            return Err(too_large());
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes.freeze())
}
