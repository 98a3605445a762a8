//! How a body arrives, whatever it is read as: its media type, its bytes up to a limit, its fingerprint.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::{Bytes, BytesMut};
use actix_web::{HttpRequest, web};
use contract::problem::ProblemKind;
use futures::StreamExt as _;

use crate::body::{Schemas, fingerprint};
use crate::problem::Rejection;

/// A body on its way.
pub(crate) type Arriving<T> = Pin<Box<dyn Future<Output = Result<T, Rejection>>>>;

/// What may arrive.
#[derive(Clone, Copy)]
pub(crate) struct Gate {
    /// Media types, without parameters.
    pub(crate) types: &'static [&'static str],
    /// How a refusal words them.
    pub(crate) asks_for: &'static str,
    /// Most bytes.
    pub(crate) limit: usize,
}

/// A body that has arrived.
pub(crate) struct Arrived {
    /// Its bytes.
    pub(crate) bytes: Bytes,
    /// SHA-256 of the path and the bytes.
    pub(crate) fingerprint: [u8; 32],
}

/// Waits for a body and reads it.
pub(crate) fn arrive<T: 'static>(
    request: &HttpRequest,
    payload: &mut Payload,
    gate: Gate,
    read: impl FnOnce(Arrived, Option<&Schemas>) -> Result<T, Rejection> + 'static,
) -> Arriving<T> {
    let request = request.clone();
    let payload = payload.take();
    Box::pin(async move {
        if !gate.types.contains(&essence(&request).as_str()) {
            let detail = format!("send {}", gate.asks_for);
            return Err(Rejection::new(ProblemKind::UnsupportedMediaType, detail));
        }
        let bytes = collect(&request, payload, gate.limit).await?;
        let fingerprint = fingerprint(request.path(), &bytes);
        let schemas = request.app_data::<web::Data<Schemas>>().map(|schemas| &***schemas);
        read(Arrived { bytes, fingerprint }, schemas)
    })
}

/// The media type of a body, without its parameters.
fn essence(request: &HttpRequest) -> String {
    let given = request.headers().get(header::CONTENT_TYPE);
    let given = given.and_then(|value| value.to_str().ok()).unwrap_or_default();
    given.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// The body's bytes, up to the limit; one that announces more is not read at all.
async fn collect(
    request: &HttpRequest,
    mut payload: Payload,
    limit: usize,
) -> Result<Bytes, Rejection> {
    let too_large = || {
        Rejection::new(ProblemKind::BodyTooLarge, format!("a body here has at most {limit} bytes"))
    };
    let announced = request
        .headers()
        .get(header::CONTENT_LENGTH)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.parse::<usize>().ok());
    if announced.is_some_and(|length| length > limit) {
        return Err(too_large());
    }
    let mut bytes = BytesMut::with_capacity(announced.unwrap_or(1024).min(64 * 1024));
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|error| {
            let detail = format!("the body does not arrive: {error}");
            Rejection::new(ProblemKind::InvalidRequest, detail)
        })?;
        if bytes.len() + chunk.len() > limit {
            return Err(too_large());
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes.freeze())
}
