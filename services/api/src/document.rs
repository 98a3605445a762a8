//! Catalogue documents as bodies: YAML (RFC 9512) or JSON, read by the catalogue's own reader.

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use workflow::catalogues::LARGEST;

use crate::arrival::{Arriving, Gate, arrive};
use crate::problem::Rejection;

/// A document, not read yet.
pub(crate) struct Document {
    /// Its bytes.
    pub(crate) text: Vec<u8>,
    /// SHA-256 of the path and the bytes.
    pub(crate) fingerprint: [u8; 32],
}

/// What a document may be sent as; the text itself says which of the two it is.
const GATE: Gate = Gate {
    types: &[
        "application/json",
        "application/yaml",
        "application/x-yaml",
        "text/yaml",
        "text/x-yaml",
    ],
    asks_for: "`Content-Type: application/yaml` or `application/json`",
    limit: LARGEST,
};

impl FromRequest for Document {
    type Error = Rejection;
    type Future = Arriving<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, GATE, |arrived, _| {
            Ok(Self { text: arrived.bytes.into(), fingerprint: arrived.fingerprint })
        })
    }
}
